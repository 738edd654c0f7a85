"""Runs made in one process, and reruns of them: what the tests of rerun work with."""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Callable
from concurrent.futures import Executor, Future
from enum import Enum
from pathlib import Path
from typing import Any

import yaml
from pydantic import BaseModel

from goals.reading import Loaded, load_goals
from optimiser import workers
from optimiser.coordinator import Search
from optimiser.problem import Problem
from optimiser.runs import Run

Files = dict[str, dict[str, Any]]


class NoAliases(yaml.SafeDumper):
    """Writes what is shared twice, as people do."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def plain(value: Any) -> Any:
    """A validated model, as a person would write it."""
    if isinstance(value, BaseModel):
        value = value.model_dump(exclude_unset=True)
    if isinstance(value, dict):
        return {plain(key): plain(one) for key, one in value.items() if one is not None}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    return value.value if isinstance(value, Enum) else value


def files_of(problem: Problem) -> Files:
    """A problem's three files as mappings."""
    goals = {**plain(problem.goals), "car": "car.yaml", "parts": "parts.yaml"}
    return {"goals": goals, "car": plain(problem.car), "parts": plain(problem.parts)}


def write(folder: Path, files: Files) -> Path:
    """Lay files into a folder; returns the goals file's path."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        text = yaml.dump(content, Dumper=NoAliases, sort_keys=False)
        (folder / f"{name}.yaml").write_text(text)
    return folder / "goals.yaml"


def problem_of(loaded: Loaded) -> Problem:
    return Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)


class Here(Executor):
    """Does each task at once, in this process."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        workers.start_worker(self.problem)
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except BaseException as error:
            future.set_exception(error)
        return future


def go(run: Run, problem: Problem) -> str:
    """Search a run in this process; see the fixture ``one_process``."""
    return Search(run, problem, lambda progress: None).go()


def fresh(runs: Path, name: str, goals: Path) -> Run:
    """A run searched from its files with nothing known."""
    loaded = load_goals(goals)
    run = Run.create(runs, name, loaded, goals)
    go(run, problem_of(loaded))
    return run


def tables(run: Run) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of a run's ledger, to the byte."""
    connection = sqlite3.connect(run.folder / "ledger.sqlite")
    try:
        builds = connection.execute("SELECT * FROM builds ORDER BY number").fetchall()
        built = connection.execute("SELECT * FROM as_built ORDER BY number").fetchall()
    finally:
        connection.close()
    return {"builds": builds, "as_built": built}


def assert_same_run(found: Run, wanted: Run) -> None:
    """Ledgers row for row and rankings to the byte."""
    one, other = tables(found), tables(wanted)
    for table in one:
        assert [row[:-1] for row in one[table]] == [row[:-1] for row in other[table]], table
        for mine, theirs in zip(one[table], other[table], strict=True):
            if mine[-1] != theirs[-1]:
                # told as text first, for whoever has to find the difference
                assert json.loads(zlib.decompress(mine[-1])) == json.loads(
                    zlib.decompress(theirs[-1])
                )
            assert mine == theirs
    for name in ("ranked.json", "ranked.csv"):
        assert (found.folder / name).read_bytes() == (wanted.folder / name).read_bytes()

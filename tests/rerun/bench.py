"""Runs made in one process, and reruns of them: what the tests of rerun work with."""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Callable, Iterable
from concurrent.futures import Executor, Future
from enum import Enum
from pathlib import Path
from typing import Any

import yaml
from pydantic import BaseModel

from goals.reading import Loaded, load_goals
from optimiser import workers
from optimiser.coordinator import Search
from optimiser.pace import Progress
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


class Later(Future[Any]):
    """A task that is done in this process when someone waits for it."""

    def __init__(self, problem: Problem, fn: Callable[..., Any], args: tuple[Any, ...]) -> None:
        super().__init__()
        self.problem, self.fn, self.args = problem, fn, args

    def run(self) -> None:
        """Do it."""
        workers.start_worker(self.problem)
        try:
            self.set_result(self.fn(*self.args))
        except BaseException as error:
            self.set_exception(error)


class Here(Executor):
    """Does tasks one after the other, in this process."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        return Later(self.problem, fn, args)


def wait_here(futures: Iterable[Later], **_: Any) -> tuple[set[Later], set[Later]]:
    """Do the first of some tasks; in place of waiting for other processes."""
    first = next(iter(futures))
    if not first.done():
        first.run()
    return {first}, set(futures) - {first}


def go(run: Run, problem: Problem, rows: int | None = None) -> str:
    """Search a run in this process (fixture ``one_process``), to its end or until it has so many rows."""

    def show(progress: Progress) -> None:
        if rows is not None and progress.done >= rows:
            search.interrupts = 1

    search = Search(run, problem, show)
    return search.go()


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

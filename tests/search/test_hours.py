"""A search's hours, and what a run says of what it did not do: whole searches, here and in workers.

What a build costs and comes to is told by a stand-in for the search of one build, so that no test waits.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import time
from collections import Counter
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
import yaml

import optimiser.coordinator as coordinator
import optimiser.pace as pace
import optimiser.proposer as proposer
import optimiser.workers as workers
from goals.reading import load_goals
from optimiser.builds import search_build
from optimiser.coordinator import Search
from optimiser.covered import coverage_lines
from optimiser.pace import Progress
from optimiser.problem import Problem
from optimiser.proposer import LED, PROMISING, PROMISING_THEN_LED
from optimiser.ranking import Row
from optimiser.runs import Run
from tests.journeys.garage import write_garage
from tests.search.catalogues import random_problem
from tests.search.farm import command
from tests.search.workshop import row_of


@pytest.fixture
def garage(tmp_path: Path) -> Path:
    write_garage(tmp_path)
    return tmp_path


def set_search(folder: Path, **wanted: Any) -> None:
    path = folder / "goals.yaml"
    goals = yaml.safe_load(path.read_text())
    goals["search"].update(wanted)
    path.write_text(yaml.safe_dump(goals, sort_keys=False))


def many_knuckles(folder: Path, count: int) -> None:
    path = folder / "parts.yaml"
    parts = yaml.safe_load(path.read_text())
    knuckle = parts["stations"]["knuckle"][0]
    parts["stations"]["knuckle"] = [{**knuckle, "id": f"k{n}", "price": n} for n in range(count)]
    path.write_text(yaml.safe_dump(parts, sort_keys=False))


def new_run(folder: Path, name: str = "one") -> tuple[Run, Problem]:
    loaded = load_goals(folder / "goals.yaml")
    run = Run.create(folder / "runs", name, loaded)
    return run, run.load()


def made_up(problem: Problem, number: int) -> Row:
    """A row at once: nothing is searched, every build serves both duties and comes to a merit of its own."""
    row = row_of(problem, number)
    merit = 1.0 + sum(problem.space.picks(number))
    swept = {"settings_swept": 1, "refused_by": {}, "kept": []}
    for record in row["duties"].values():
        record.update(feasible=True, merit=merit, shortfalls={}, **swept)
    return row


class Stand:
    """A stand-in for the search of one build, and the threads that call it in place of processes."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, seconds: float = 0.0) -> None:
        self.seconds = seconds
        self.asked: Counter[int] = Counter()
        monkeypatch.setattr(workers, "search_build", self.search)
        monkeypatch.setattr(coordinator, "make_executor", self.executor)

    def search(self, problem: Problem, number: int, _known: dict[str, Row] | None = None) -> Row:
        self.asked[number] += 1
        time.sleep(self.seconds)
        return made_up(problem, number)

    def executor(self, problem: Problem, _workers: int) -> Executor:
        workers.start_worker(problem)
        return ThreadPoolExecutor(1)


def quiet(_progress: Progress) -> None:
    """Show nothing."""


def searched(run: Run, problem: Problem, *, stop_at: int | None = None) -> str:
    """Search a run to its end, or until so many builds are done and Ctrl-C is pressed once."""

    def show(progress: Progress) -> None:
        if stop_at is not None and progress.done >= stop_at:
            search.interrupts = 1

    search = Search(run, problem, show, grace=1.0)
    return search.go()


def test_what_can_be_searched_whole_is_and_the_order_is_no_part_of_the_ranking(
    garage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand = Stand(monkeypatch)
    run, problem = new_run(garage)
    assert searched(run, problem) == "finished"
    assert stand.asked == Counter(range(problem.space.builds))
    cover = run.state()["coverage"]
    assert cover["proven"] is True and cover["order"] == PROMISING
    assert coverage_lines(cover)[-1].startswith("proven")
    assert "order" not in json.loads((run.folder / "ranked.json").read_text())["coverage"]


def test_led_from_the_first_build_stopped_and_resumed_covers_all_and_each_build_once(
    garage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    many_knuckles(garage, 5)
    plain = Stand(monkeypatch)
    whole, problem = new_run(garage, "whole")
    searched(whole, problem)
    assert plain.asked.total() == problem.space.builds

    monkeypatch.setattr(coordinator, "MOST_IN_ORDER", 0)
    monkeypatch.setattr(proposer, "MOST_TOLD", 30)
    stand = Stand(monkeypatch)
    run, problem = new_run(garage, "led")
    assert searched(run, problem, stop_at=15) == "stopped"
    cover = run.state()["coverage"]
    assert 15 <= cover["builds_done"] < problem.space.builds
    assert cover["order"] == LED and cover["proven"] is False
    words = " ".join(coverage_lines(cover))
    assert "not proven" in words and "led by what had been found" in words
    # the study of the second stretch is made from the ledger
    assert searched(run, problem) == "finished"
    assert stand.asked == Counter(range(problem.space.builds))
    cover = run.state()["coverage"]
    assert cover["order"] == LED and cover["proven"] is True
    for name in ("ranked.json", "ranked.csv"):
        assert (run.folder / name).read_bytes() == (whole.folder / name).read_bytes()


def test_where_the_time_does_not_suffice_the_rest_is_led_and_the_run_says_so(
    garage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More than a hundred builds of 0.1 s want twelve seconds; there are three."""
    many_knuckles(garage, 40)
    set_search(garage, hours=3.0 / 3600.0)
    monkeypatch.setattr(pace, "ENOUGH", 5)
    stand = Stand(monkeypatch, seconds=0.1)
    run, problem = new_run(garage)
    assert searched(run, problem) == "finished"
    assert max(stand.asked.values()) == 1
    state = run.state()
    cover = state["coverage"]
    assert state["reason"] == "time is up"
    assert cover["order"] == PROMISING_THEN_LED and cover["proven"] is False
    assert 5 <= cover["builds_done"] == len(run.ledger.finished()) < problem.space.builds
    assert cover["covered"] == sum(problem.space.combinations(n) for n in run.ledger.finished())
    outcome = command("rank", "one", cwd=garage)
    said = " ".join(outcome.out.split())
    tenths = 1000 * cover["builds_done"] // cover["builds"]
    assert f"covered, {tenths / 10:.1f} % of the builds" in said
    assert "when the time was seen not to suffice for all, the rest was led" in said
    assert "what was not searched may hold a better build" in said
    assert max(len(line) for line in outcome.out.splitlines()) <= 80
    assert command("rank", "one", "--json", cwd=garage).document["coverage"] == cover


def start_sleepy(problem: Problem) -> None:
    """A worker to which every other build is one of ten minutes."""
    plain = workers.search_build

    def search(problem: Problem, number: int, _known: dict[str, Row] | None = None) -> Row:
        if number % 2:
            time.sleep(600.0)
        return plain(problem, number)

    workers.search_build = search
    workers.start_worker(problem)


@pytest.mark.parametrize("processes", [1, 2])
def test_the_hours_are_obeyed_whatever_a_build_costs(
    garage: Path, monkeypatch: pytest.MonkeyPatch, processes: int
) -> None:
    set_search(garage, hours=8.0 / 3600.0, workers=processes)
    pids: list[int] = []

    def executor(problem: Problem, count: int) -> Executor:
        assert count == processes
        return ProcessPoolExecutor(
            count,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=start_sleepy,
            initargs=(problem,),
        )

    monkeypatch.setattr(coordinator, "make_executor", executor)

    def stop(pool: Any) -> None:
        pids.extend(pool._processes)
        workers.stop_now(pool)

    monkeypatch.setattr(coordinator, "stop_now", stop)
    run, problem = new_run(garage)
    began = time.monotonic()
    status = Search(run, problem, quiet, grace=1.0).go()
    assert time.monotonic() - began < 8.0 + 60.0
    assert status == "finished" and run.state()["reason"] == "time is up"
    assert run.state()["coverage"]["proven"] is False
    # what was under way has no row, and nobody goes on with it
    assert all(number % 2 == 0 for number in run.ledger.finished())
    assert len(pids) == processes
    for pid in pids:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_one_worker_is_a_process_of_its_own() -> None:
    """Else nobody could end a build that takes too long."""
    problem = random_problem(1)
    with workers.make_executor(problem, 1) as executor:
        assert executor.submit(os.getpid).result(60) != os.getpid()
        assert executor.submit(workers.search_task, 0).result(60) == search_build(problem, 0)

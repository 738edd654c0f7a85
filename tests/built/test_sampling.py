"""Which candidates are built many times, how they rank by it, and that interruptions change nothing."""

from __future__ import annotations

import json
from concurrent.futures import Executor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

import optimiser.coordinator as coordinator
import optimiser.workers as workers
from goals.reading import load_goals
from optimiser.coordinator import Search
from optimiser.pace import Progress
from optimiser.problem import Problem
from optimiser.ranking import Row, feasible, key, rank
from optimiser.runs import Run, ranking_document
from optimiser.ties import tie_groups
from optimiser.yields import sample_row
from tests.journeys.garage import write_garage

FILES = ("ranked.json", "ranked.csv")


def lay(folder: Path, *, keep: int = 10, processes: int = 1, **tolerances: Any) -> None:
    """A small garage whose limits cost some of the cars."""
    write_garage(folder, roll_centre_height={"min": 59}, bump_steer={"max": 0.15})
    path = folder / "parts.yaml"
    parts = yaml.safe_load(path.read_text())
    parts["stations"]["knuckle"] = [
        {
            "id": f"drop{drop}",
            "moves": {"ball_joint": [0, 0, -drop], "tie_rod_outer": [4, 0, -drop]},
            "price": 300 + drop,
        }
        for drop in (12, 18, 24)
    ]
    path.write_text(yaml.safe_dump(parts, sort_keys=False))
    path = folder / "goals.yaml"
    goals = yaml.safe_load(path.read_text())
    goals["tolerances"] = tolerances
    goals["search"].update(keep=keep, workers=processes)
    path.write_text(yaml.safe_dump(goals, sort_keys=False))


def new_run(folder: Path, name: str) -> tuple[Run, Problem]:
    run = Run.create(folder / "runs", name, load_goals(folder / "goals.yaml"))
    return run, run.load()


def in_threads(problem: Problem, _workers: int) -> Executor:
    """Workers of this very process."""
    workers.start_worker(problem)
    return ThreadPoolExecutor(1)


@pytest.fixture
def threads(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(coordinator, "make_executor", in_threads)


def searched(run: Run, problem: Problem, *, stop_after: int | None = None) -> str:
    """Search a run; with ``stop_after``, press Ctrl-C once so many candidates are built many times."""

    def show(progress: Progress) -> None:
        if stop_after is not None and progress.phase.startswith(f"{stop_after} candidates built"):
            search.interrupts = 1

    search = Search(run, problem, show, grace=1.0)
    return search.go()


def files_of(run: Run) -> list[bytes]:
    return [(run.folder / name).read_bytes() for name in FILES]


def by_merit(run: Run) -> list[Row]:
    return sorted((row for row in run.ledger.each() if feasible(row)), key=key)


def test_processes_and_interruptions_leave_the_ranking_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lay(tmp_path, least_yield=0.5)
    one, problem = new_run(tmp_path, "one")
    assert searched(one, problem) == "finished"
    built = one.ledger.built()
    assert len(built) >= 4 and one.state()["as_built"]["complete"] is True
    lay(tmp_path, processes=2, least_yield=0.5)
    two, problem = new_run(tmp_path, "two")
    assert searched(two, problem) == "finished"
    assert files_of(two) == files_of(one)

    monkeypatch.setattr(coordinator, "make_executor", in_threads)
    lay(tmp_path, least_yield=0.5)
    cut, problem = new_run(tmp_path, "cut")
    assert searched(cut, problem, stop_after=2) == "stopped"
    partly = cut.ledger.built()
    assert 2 <= len(partly) < len(built)
    document = ranking_document(cut, problem, cut.ranked(10))
    assert [c["yield"] is None for c in document["candidates"]].count(False) == len(partly)
    assert searched(cut, problem) == "finished"
    assert files_of(cut) == files_of(one)
    assert cut.ledger.built() == built


@pytest.mark.usefixtures("threads")
def test_candidates_are_built_best_first_until_enough_have_the_yield(tmp_path: Path) -> None:
    lay(tmp_path)
    free, problem = new_run(tmp_path, "free")
    searched(free, problem)
    every = [free.ledger.built()[row["build"]]["yield"] for row in by_merit(free)[:10]]
    assert len(set(every)) > 2
    least = float(np.quantile(every, 0.6, method="lower"))
    meet = [share >= least for share in every]
    assert not all(meet) and meet.count(True) >= 2

    # two with enough are to be kept: those before them are built too, those behind are not
    lay(tmp_path, keep=2, least_yield=least)
    few, problem = new_run(tmp_path, "few")
    searched(few, problem)
    last = [i for i, good in enumerate(meet) if good][1]
    order = [row["build"] for row in by_merit(few)]
    assert set(few.ledger.built()) == set(order[: last + 1])
    ranked = few.ranked(2)
    assert [row["build"] for row in ranked] == [order[i] for i in range(last + 1) if meet[i]]
    assert all(row["as_built"]["enough"] for row in ranked)


@pytest.mark.usefixtures("threads")
def test_those_below_the_least_yield_rank_after_the_others_and_before_what_fails(
    tmp_path: Path,
) -> None:
    lay(tmp_path, keep=200)
    free, problem = new_run(tmp_path, "free")
    searched(free, problem)
    shares = {n: record["yield"] for n, record in free.ledger.built().items()}
    least = float(np.median(list(shares.values())))
    lay(tmp_path, keep=200, least_yield=least)
    run, problem = new_run(tmp_path, "strict")
    searched(run, problem)
    rows = run.ranked(200)
    standing = [2 if not feasible(row) else int(shares[row["build"]] < least) for row in rows]
    assert standing == sorted(standing) and {0, 1} <= set(standing)
    for place in (0, 1):
        keys = [key(row) for row, at in zip(rows, standing, strict=True) if at == place]
        assert keys == sorted(keys)
    document = ranking_document(run, problem, rows)
    told = [c["below_least_yield"] for c in document["candidates"]]
    assert told == [at == 1 for at in standing]
    ties = [c["tie"] for c in document["candidates"]]
    first_below = standing.index(1)
    assert ties[first_below] != ties[first_below - 1]


@pytest.mark.usefixtures("threads")
def test_a_record_is_a_pure_function_of_inputs_and_row(tmp_path: Path) -> None:
    lay(tmp_path)
    run, problem = new_run(tmp_path, "one")
    searched(run, problem)
    number, record = next(iter(run.ledger.built().items()))
    again = sample_row(Problem(problem.goals, problem.car, problem.parts), run.ledger.row(number))
    assert json.loads(json.dumps(again)) == record
    document = ranking_document(run, problem, run.ranked(10))
    first = document["candidates"][0]
    for name, duty in first["duties"].items():
        told = duty["as_built"]
        assert 0.0 <= told["yield"] <= min(told["limits"].values())
        assert first["yield"] <= told["yield"]
        assert told["yield_at_printed_stop"] <= 1.0
        assert set(told["bands"]) <= set(duty["measures"]), name
        asked = {k for k, e in duty["measures"].items() if "bounds" in e or "wanted" in e}
        assert asked <= set(told["bands"])
        assert "curves" not in told


@pytest.mark.usefixtures("threads")
def test_a_candidate_that_cannot_be_built_is_told_and_stops_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lay(tmp_path, keep=3)
    run, problem = new_run(tmp_path, "one")

    def broken(problem: Problem, row: Row) -> Row:
        if row["build"] == by_merit(run)[0]["build"]:
            raise ArithmeticError("no such car")
        return sample_row(problem, row)

    monkeypatch.setattr(workers, "sample_row", broken)
    assert searched(run, problem) == "finished"
    document = ranking_document(run, problem, run.ranked(3))
    shares = [c["yield"] for c in document["candidates"]]
    assert shares[0] is None and None not in shares[1:]
    assert document["candidates"][0]["tie"] is None
    failed = run.ledger.built()[document["candidates"][0]["number"]]
    assert failed["failed"] == "ArithmeticError: no such car"


def record(merits: Any, enough: bool = True) -> dict[str, Any]:
    return {"merits": list(merits), "enough": enough}


def test_ties_are_told_by_the_paired_difference_to_the_first_of_the_group() -> None:
    rng = np.random.default_rng(3)
    common = 1.0 + 0.3 * rng.random(256)
    # far less than the common spread, but the same way in every car: no tie
    apart = record(common + 0.01)
    mixed = record(common + 0.01 * rng.standard_normal(256))
    groups = tie_groups([record(common), mixed, apart, record(common + 0.01), None, mixed])
    assert groups == [1, 1, 2, 2, None, 3]


def test_a_tie_is_with_the_first_of_its_group_and_not_with_its_neighbour() -> None:
    rng = np.random.default_rng(4)
    steps = [1.0 + 0.02 * n + 0.02 * rng.standard_normal(256) for n in range(4)]
    # differences have a deviation of 0.028: 0.02 and 0.04 lie within 1.645 of them, 0.06 does not
    assert tie_groups([record(step) for step in steps]) == [1, 1, 1, 2]
    assert tie_groups([record(steps[0]), record(steps[0], enough=False)]) == [1, 2]


def test_rows_that_were_not_built_stand_by_merit_and_without_a_yield() -> None:
    def row(number: int, merit: float) -> Row:
        duty = {"feasible": True, "merit": merit, "shortfalls": {}}
        return {"build": number, "price": 0.0, "duties": {"only": duty}}

    rows = [row(1, 1.0), row(2, 2.0), row(3, 3.0)]
    short = {1: {"number": 1, "enough": False, "yield": 0.1}}
    assert [r["build"] for r in rank(rows, 3)] == [1, 2, 3]
    assert [r["build"] for r in rank(rows, 3, short)] == [2, 3, 1]
    assert [r["build"] for r in rank(rows, 2, short)] == [2, 3]

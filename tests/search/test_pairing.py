"""Settings of a build that go together are the best of all combinations, by plain enumeration."""

from __future__ import annotations

import numpy as np
import pytest

from goals.parts import Adjuster, Station
from optimiser.builds import Row, search_build
from optimiser.changeover import Work
from optimiser.evaluate import stopped
from optimiser.inner import sweep
from optimiser.pairing import pair
from optimiser.problem import Problem
from optimiser.ranking import feasible, rank
from tests.cars import CARS, Car
from tests.search.pairs import differing, minutes_of, pairing_problem, plain_front, set_of
from tests.search.test_sweep import plain
from tests.wishbones import WISHBONES

CASES = [(seed, CARS, 2) for seed in range(160)] + [
    (seed, WISHBONES, 2) for seed in range(160, 200)
]
CASES += [(seed, CARS, 3) for seed in range(200, 212)]
Front = list[tuple[float, float, float]]


def front_of(row: Row) -> Front:
    pairing = row["pairing"]
    return [(p["minutes"], p["merit"], p["mean"]) for p in pairing["front"]] if pairing else []


def assert_same_front(found: Front, wanted: Front) -> None:
    """Alike but for merits closer than the grain, which may or may not make a step of the front."""
    assert [f[0] for f in found] == [w[0] for w in wanted], (found, wanted)
    np.testing.assert_allclose(found, wanted, atol=3e-9)


@pytest.mark.parametrize(
    ("seed", "cars", "duties"), CASES, ids=lambda at: at if isinstance(at, int) else len(at)
)
def test_the_front_is_that_of_every_combination(
    seed: int, cars: tuple[Car, ...], duties: int
) -> None:
    problem = pairing_problem(seed, cars, duties)
    rows, wanted = [], {}
    # the build with least to set and the one with most
    for number in sorted({0, problem.space.builds - 1}):
        row = search_build(problem, number)
        rows.append(row)
        if problem.assembly(problem.space.build(number), problem.duties[0]) is None:
            continue
        front, served = plain_front(problem, number, plain, stopped)
        assert (row["pairing"] is not None) == served
        assert_same_front(front_of(row), front)
        assert feasible(row) == bool(front)
        if front:
            wanted[number] = front[-1]
            check_chosen(problem, row)
    ranked = [row["build"] for row in rank(rows, 100) if feasible(row)]
    assert sorted(ranked) == sorted(wanted)
    # worst merit, then mean, then minutes: in that order, but for the grain
    order = [(round(wanted[n][1], 8), round(wanted[n][2], 8), wanted[n][0]) for n in ranked]
    np.testing.assert_allclose([o[0] for o in order], sorted(o[0] for o in order), atol=2e-8)


def check_chosen(problem: Problem, row: Row) -> None:
    """What the row says was chosen is what its positions say, and may be swapped."""
    number, pairing = row["build"], row["pairing"]
    settings = {
        duty: set_of(problem, number, duty, tuple(each["positions"]))
        for duty, each in row["duties"].items()
    }
    apart = differing(problem, number, settings)
    assert apart == set(pairing["differs"])
    assert minutes_of(problem, number, apart) == pytest.approx(pairing["minutes"])
    assert problem.goals.changeover is not None
    assert apart <= {station.value for station in problem.goals.changeover.allow}
    best = pairing["front"][-1]
    for duty, each in row["duties"].items():
        assert list(each["positions"]) == best["positions"][duty]
        assert each["merit"] == pytest.approx(best["merits"][duty], abs=2e-9)
        assert each["merit"] >= pairing["alone"][duty] - 2e-9


def test_the_catalogues_are_worth_the_test() -> None:
    """Some builds pair, some do not; some fronts have several steps; some start at no minutes at all."""
    fronts, unpaired = [], 0
    for seed in range(24):
        problem = pairing_problem(seed)
        for number in (0, problem.space.builds - 1):
            row = search_build(problem, number)
            if row["pairing"] is None:
                continue
            fronts.append(front_of(row))
            unpaired += not row["pairing"]["found"]
    assert unpaired > 2
    assert sum(len(front) > 1 for front in fronts) > 4
    assert sum(bool(front) and front[0][0] == 0.0 for front in fronts) > 3


def test_without_a_changeover_each_duty_is_set_up_by_itself() -> None:
    problem = pairing_problem(0)
    apart = Problem(
        problem.goals.model_copy(update={"changeover": None}), problem.car, problem.parts
    )
    paired, alone = search_build(problem, 0), search_build(apart, 0)
    assert paired["pairing"] is not None and alone["pairing"] is None
    assert feasible(alone)
    for duty, each in alone["duties"].items():
        assert each["merit"] == paired["pairing"]["alone"][duty]


def test_lists_in_parts_come_to_the_same() -> None:
    """Where a duty's settings are too many to be listed at once they are taken in parts."""
    seen = 0
    for seed in range(12):
        problem = pairing_problem(seed)
        build = problem.space.build(0)
        change = problem.goals.changeover
        assemblies = {d: problem.assembly(build, d) for d in problem.duties}
        ready = {d: a for d, a in assemblies.items() if a is not None}
        assert change is not None and len(ready) == 2
        wanted = {d: problem.demands(a, d) for d, a in ready.items()}
        alone = {d: sweep(a, wanted[d], 10) for d, a in ready.items()}
        if not all(found.kept for found in alone.values()):
            continue
        work = Work.of(build, problem.parts, change, ready)
        whole = pair(ready, wanted, alone, work)
        parts = pair(ready, wanted, alone, work, most_listed=1)
        assert [t.score for t in parts.front] == [t.score for t in whole.front]
        assert [t.positions for t in parts.front] == [t.positions for t in whole.front]
        seen += bool(whole.front)
    assert seen > 3


def test_more_room_is_taken_among_equals() -> None:
    """Two tops that come to the same merit: the one that stands in the middle of its slot is taken."""
    problem = pairing_problem(1)
    top = problem.parts.stations[Station.TOP_MOUNT][0]
    # a slide that moves nothing that anyone asks for: every position is as good
    slide = Adjuster.model_validate(
        {"adds": {"wheel": {"width": 1}}, "range": [0, 8], "step": 2, "reads": "nothing"}
    )
    part = top.model_copy(update={"adjusts": {**top.adjusts, "idle": slide}})
    stations = {**problem.parts.stations, Station.TOP_MOUNT: [part]}
    parts = problem.parts.model_copy(update={"stations": stations})
    row = search_build(Problem(problem.goals, problem.car, parts), 0)
    assert row["pairing"] is not None and row["pairing"]["found"]
    for each in row["duties"].values():
        assert each["settings"]["top_mount"]["idle"] == 4.0

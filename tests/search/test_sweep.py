"""The staged sweep of one build finds the same best as plain full enumeration."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import numpy as np
import pytest

from goals.verdicts import Demand, holds, total_weight
from kinematics.arrays import Bools, Floats
from kinematics.measures.envelope import travels
from kinematics.scene import At, Scene
from kinematics.stops import STEP
from optimiser.evaluate import stopped, verdict_of
from optimiser.inner import sweep
from optimiser.problem import Problem
from tests.cars import CARS, Car
from tests.search.catalogues import random_problem
from tests.wishbones import WISHBONES

Stops = Callable[[Scene, list[Demand]], Scene]


def walked_stops(scene: Scene, wanted: list[Demand]) -> Floats:
    """Every lane's stop by walking outward step by step from the centre; nothing is skipped."""
    sides, past = scene.sides(), scene.frame.overtravel
    ways = [(way, t) for way in (1.0, -1.0) for t in travels(scene)]
    stop = np.zeros(scene.lanes)
    going = np.arange(scene.lanes)

    def kept(lanes: Scene, rack: Floats) -> Bools:
        there = lanes.with_stop(rack)
        places = [At(t, lock=way) for way, t in ways]
        good = np.ones(lanes.lanes, dtype=bool)
        for hold in holds(wanted):
            for side in sides:
                good &= hold.kept(hold.state(there, side, places)).all(axis=0)
        return good

    for n in range(int(scene.rack_travel.max() / STEP) + 2):
        lanes = scene.take(going)
        rack = np.minimum(n * STEP, lanes.rack_travel)
        good = kept(lanes, rack) & kept(lanes, rack + past)
        stop[going[good]] = rack[good]
        going = going[good & (rack < lanes.rack_travel)]
        if going.size == 0:
            break
    # a stop that is not the rack's own end is set to a whole step
    own = stop >= scene.rack_travel
    return np.where(own, stop, np.floor(stop / STEP + 1e-9) * STEP)


Found = list[tuple[float, tuple[int, ...]]]


def plain(problem: Problem, number: int, duty: str, stops: Stops) -> Found:
    """Every setting judged on its own, no stages, no bounds, no order: the slow twin of the sweep.

    Returns those that hold every limit with their merits, best first, equals by number.
    """
    assembly = problem.assembly(problem.space.build(number), duty)
    assert assembly is not None
    wanted = problem.demands(assembly, duty)
    everything = np.array(
        list(product(*(range(d.size) for d in assembly.dimensions))), dtype=np.int64
    )
    merits = merits_of(stops(assembly.scene(everything), wanted), wanted)
    feasible = np.flatnonzero(merits < np.inf)
    # merits closer than the project's grain are the same to it: rounding noise decides nothing
    order = feasible[np.lexsort((feasible, np.round(merits[feasible] / 1e-9)))]
    return [(float(merits[i]), tuple(int(p) for p in everything[i])) for i in order]


def merits_of(scene: Scene, wanted: list[Demand]) -> Floats:
    """Merit of every lane with a stop, infinite where a limit does not hold, (n,)."""
    squares, holds = np.zeros(scene.lanes), np.ones(scene.lanes, dtype=bool)
    for demand in wanted:
        figures = demand.figures(scene)
        if demand.is_limit:
            holds &= demand.shortfall(figures) <= 0.0
        else:
            squares += demand.weight * demand.miss(figures) ** 2
    return np.where(holds, np.sqrt(squares / total_weight(wanted)), np.inf)


def walked(scene: Scene, wanted: list[Demand]) -> Scene:
    """With stops that were walked to."""
    return scene.with_stop(walked_stops(scene, wanted))


def assert_same(found: Found, wanted: Found) -> None:
    """The same settings in the same order, but that merits alike to the last grain may change places."""
    assert sorted(at for _, at in found) == sorted(at for _, at in wanted)
    np.testing.assert_allclose([m for m, _ in found], [m for m, _ in wanted], atol=2e-9)
    merits = {at: m for m, at in wanted}
    for (_, at), (merit, there) in zip(found, wanted, strict=True):
        assert at == there or abs(merits[at] - merit) <= 2e-9


EVERYTHING = 10**6
SEEDS = [(seed, CARS) for seed in range(16)] + [(seed, WISHBONES) for seed in range(100, 103)]


@pytest.mark.parametrize(
    ("seed", "cars"), SEEDS, ids=lambda at: at if isinstance(at, int) else len(at)
)
def test_same_settings_as_plain_enumeration(seed: int, cars: tuple[Car, ...]) -> None:
    problem = random_problem(seed, cars)
    for number in range(problem.space.builds):
        for duty in problem.duties:
            assembly = problem.assembly(problem.space.build(number), duty)
            assert assembly is not None
            found = sweep(assembly, problem.demands(assembly, duty), EVERYTHING)
            assert_same(found.kept, plain(problem, number, duty, walked))
            best = sweep(assembly, problem.demands(assembly, duty))
            assert best.kept == found.kept[:1]
            assert (best.merit, best.best) == (found.kept[0] if found.kept else (None, None))


SMALL = [(seed, CARS) for seed in range(1000, 1160)] + [
    (seed, WISHBONES) for seed in range(1160, 1200)
]


@pytest.mark.parametrize(
    ("seed", "cars"), SMALL, ids=lambda at: at if isinstance(at, int) else len(at)
)
def test_feasible_set_of_a_small_catalogue(seed: int, cars: tuple[Car, ...]) -> None:
    """Of every build and duty all settings that hold, in order; how builds rank is in test_pairing."""
    problem = random_problem(seed, cars, small=True)
    for number in range(problem.space.builds):
        for duty in problem.duties:
            assembly = problem.assembly(problem.space.build(number), duty)
            assert assembly is not None
            wanted = plain(problem, number, duty, stopped)
            found = sweep(assembly, problem.demands(assembly, duty), EVERYTHING, problem.families)
            assert_same(found.kept, wanted)


@pytest.mark.parametrize(("first", "cars"), [(0, CARS), (100, WISHBONES)], ids=["strut", "arms"])
def test_the_random_catalogues_are_worth_the_test(first: int, cars: tuple[Car, ...]) -> None:
    """Some duties are served, some are not: else the comparison above would show little."""
    outcomes = []
    for seed in range(first, first + 12):
        problem = random_problem(seed, cars)
        for duty in problem.duties:
            outcomes.append(bool(plain(problem, 0, duty, stopped)))
    assert 3 < sum(outcomes) < len(outcomes) - 3


def test_best_judged_alone_is_as_the_sweep_says() -> None:
    """The figures of the winner do not depend on what was swept beside it."""
    seen = 0
    for seed in range(10):
        problem = random_problem(seed)
        for duty in problem.duties:
            assembly = problem.assembly(problem.space.build(0), duty)
            assert assembly is not None
            wanted = problem.demands(assembly, duty)
            found = sweep(assembly, wanted)
            if found.best is None:
                continue
            seen += 1
            verdict = verdict_of(stopped(assembly.scene(np.array([found.best])), wanted), wanted)
            assert verdict["feasible"]
            assert verdict["merit"] == pytest.approx(found.merit, abs=2e-9)
    assert seen > 3


def test_nothing_feasible_names_a_nearest_setting_and_its_lack() -> None:
    seen = 0
    for seed in range(20):
        problem = random_problem(seed)
        for duty in problem.duties:
            assembly = problem.assembly(problem.space.build(0), duty)
            assert assembly is not None
            wanted = problem.demands(assembly, duty)
            found = sweep(assembly, wanted)
            if found.best is not None:
                continue
            seen += 1
            assert found.nearest is not None
            verdict = verdict_of(stopped(assembly.scene(np.array([found.nearest])), wanted), wanted)
            assert not verdict["feasible"]
            assert all(lack > 0 for lack in verdict["shortfalls"].values())
    assert seen > 3

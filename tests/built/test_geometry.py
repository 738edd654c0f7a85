"""A car as built is the car of a file in which the points stand where they really are."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from goals.car import Car as CarFile
from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.measures import MEASURES
from kinematics.scene import STRAIGHT, Scene
from optimiser.as_built import BOTH, as_built
from optimiser.assembly import Assembly
from optimiser.errors import Drawn
from optimiser.problem import Problem
from optimiser.refine import as_refined
from tests.built.shop import NOTHING_OFF, mirrored, shop
from tests.cars import CARS, Car
from tests.search.catalogues import random_problem
from tests.wishbones import WISHBONES

LANES = (0, 3, 100, 255)
MIRROR = np.array([1.0, -1.0, 1.0])
# Figures of single wheels and of both, straight ahead, over travel and of the whole car.
FIGURES = (
    "toe",
    "camber",
    "caster",
    "kingpin_inclination",
    "scrub_radius",
    "mechanical_trail",
    "track_width",
    "roll_centre_height",
    "bump_steer",
    "roll_couple",
    "toggle_margin",
    "strut_stroke_left",
)


def with_tolerances(problem: Problem, **tolerances: Any) -> Problem:
    told = {**NOTHING_OFF, **tolerances}
    model = type(problem.goals.tolerances).model_validate(told)
    return replace(problem, goals=problem.goals.model_copy(update={"tolerances": model}))


def file_of(problem: Problem, drawn: Drawn, lane: int) -> CarFile:
    """The car file of one car: every point where it really is, on both sides."""
    points: dict[str, dict[str, list[float]]] = {"points": {}, "points_right": {}}
    car = problem.car
    for name, at in car.points.model_dump().items():
        given = None if car.points_right is None else getattr(car.points_right, name)
        right = np.array(at) * MIRROR if given is None else np.array(given)
        points["points"][name] = list(np.array(at) + drawn.point(name, "left")[:, lane])
        off = drawn.point(name, "right")[:, lane] * MIRROR
        points["points_right"][name] = list(right + off)
    return CarFile.model_validate({**car.model_dump(exclude_none=True), **points})


def middle(assembly: Assembly) -> tuple[int, ...]:
    return tuple(d.size // 2 for d in assembly.dimensions)


def row(positions: tuple[int, ...]) -> Any:
    return np.array([positions], dtype=np.int64).reshape(1, -1)


def same(one: Floats, other: Floats) -> None:
    np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-7)


def compare(many: Scene, lane: int, single: Scene) -> None:
    for side in BOTH:
        built, told = many.columns(side)[:, lane], single.columns(side)[:, 0]
        branches = [k.START, k.START_SLOPE]
        rows = [i for i in range(built.size) if i not in branches]
        same(built[rows], told[rows])
    for name in FIGURES:
        measure = MEASURES[name]
        if measure.kind is None or measure.kind == single.left[k.KIND, 0]:
            same(measure(many)[:, lane], measure(single)[:, 0])


@pytest.mark.parametrize("seed", range(12))
def test_measured_points_that_are_off_are_another_car_file(seed: int) -> None:
    cars: tuple[Car, ...] = CARS if seed % 3 else WISHBONES
    problem = with_tolerances(
        random_problem(seed, cars), hard_points=2, sides=3, points={"hub_face": [3, 1, 2]}
    )
    build = problem.space.build(seed % problem.space.builds)
    # points that a part brings do not move with the car's: parts of this box move them or bring none
    assembly = problem.assembly(build, "first")
    assert assembly is not None
    positions = middle(assembly)
    drawn = Drawn(problem.errors, "first")
    many = as_built(assembly, positions, drawn)
    for lane in LANES:
        other = replace(assembly, car=file_of(problem, drawn, lane))
        compare(many, lane, other.scene(row(positions)))


@pytest.mark.parametrize("car", [CARS[0], WISHBONES[0]], ids=lambda c: c.name)
def test_any_point_may_be_the_only_one_that_the_right_side_gives(car: Car) -> None:
    """Points that both kinds of suspension have tell nothing of the kind."""
    for names in ((), *((name,) for name in car.points)):
        problem = shop(car, right=mirrored(car, *names), hard_points=2)
        assembly = problem.assembly(problem.space.build(0), "only")
        assert assembly is not None
        drawn = Drawn(problem.errors, "only")
        many = as_built(assembly, (), drawn)
        other = replace(assembly, car=file_of(problem, drawn, 3))
        compare(many, 3, other.scene(row(())))


STRUT_STROKE = {"strut": {"bump": 60, "droop": 60}}


@pytest.mark.parametrize("car", [c for c in CARS if "top_mount" in c.points], ids=lambda c: c.name)
def test_the_struts_of_a_mirrored_car_are_each_its_own(car: Car) -> None:
    problem = shop(car, hard_points=2, sides=3, camber=0, car_changes=STRUT_STROKE)
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    drawn = Drawn(problem.errors, "only")
    many = as_built(assembly, (), drawn)
    assert many.fittings.struts.keys() == {"left", "right"}
    some = many.take(np.array([7, 200]))
    for place, lane in enumerate((7, 200)):
        single = replace(assembly, car=file_of(problem, drawn, lane)).scene(row(()))
        compare(some, place, single)


@pytest.mark.parametrize("car", [CARS[0], WISHBONES[0]], ids=lambda car: car.name)
def test_camber_that_was_measured_off_is_another_car_file(car: Car) -> None:
    problem = shop(car, hard_points=1, camber=0.4, duty={"lowered_by": 15})
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    drawn = Drawn(problem.errors, "only")
    many = as_built(assembly, (), drawn)
    for lane in LANES:
        told = file_of(problem, drawn, lane)
        static = told.static.model_copy(
            update={"camber": told.static.camber + float(drawn.camber("left")[lane])}
        )
        other = replace(assembly, car=told.model_copy(update={"static": static}))
        built, single = many.columns("left"), other.scene(row(())).columns("left")
        rows = [i for i in range(built.shape[0]) if i not in (k.START, k.START_SLOPE)]
        same(built[rows, lane], single[rows, 0])


@pytest.mark.parametrize("seed", [1, 2, 3, 5, 6, 9])
def test_an_adjuster_that_is_set_off_stands_there(seed: int) -> None:
    cars: tuple[Car, ...] = CARS if seed % 3 else WISHBONES
    problem = with_tolerances(random_problem(seed, cars), settings=1.5)
    assembly = problem.assembly(problem.space.build(0), "first")
    assert assembly is not None
    positions = middle(assembly)
    drawn = Drawn(problem.errors, "first")
    many = as_built(assembly, positions, drawn)
    adjusters = [i for i, d in enumerate(assembly.dimensions) if d.kind == "adjuster"]
    assert adjusters
    for lane in LANES:
        for side in BOTH:
            at = {}
            for i in adjusters:
                dim = assembly.dimensions[i]
                off = drawn.setting(dim.station.value, dim.name, side, None)[lane]
                at[i] = float(dim.values[positions[i]]) + float(off)
            moved, there = as_refined(assembly, positions, at)
            told = moved.scene(row(there)).columns(side)[:, 0]
            rows = [i for i in range(told.size) if i not in (k.START, k.START_SLOPE)]
            same(many.columns(side)[rows, lane], told[rows])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_two_errors_are_more_alike_than_by_chance(seed: int) -> None:
    errors = random_problem(seed).errors
    draws = errors.draws(range(len(errors.names)))
    assert draws.shape[0] > 60
    np.testing.assert_allclose(draws.mean(axis=1), 0.0, atol=0.02)
    # one draw far out in a tail is worth some hundredths
    np.testing.assert_allclose(draws.std(axis=1), 1.0, atol=0.06)
    # 256 draws by chance: a correlation's deviation is 1/16, the largest of some thousand pairs about four
    alike = np.abs(np.corrcoef(draws) - np.eye(draws.shape[0]))
    assert alike.max() < 5.0 / 16.0


@pytest.mark.parametrize("car", [*CARS, *WISHBONES], ids=lambda car: car.name)
def test_toe_and_ride_height_are_what_the_gauges_were_off(car: Car) -> None:
    problem = shop(
        car, hard_points=1, toe=0.3, ride_height=4, duty={"static": {"toe": 0.1}, "lowered_by": 20}
    )
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    drawn = Drawn(problem.errors, "only")
    scene = as_built(assembly, (), drawn)
    level = as_built(assembly, (), Drawn(shop(
        car, hard_points=1, toe=0.3, duty={"static": {"toe": 0.1}, "lowered_by": 20}
    ).errors, "only"))  # fmt: skip
    for side in BOTH:
        states, flat = scene.states(side, [STRAIGHT]), level.states(side, [STRAIGHT])
        np.testing.assert_allclose(states.toe[0], 0.1 + drawn.toe(side), atol=1e-9)
        lower = states.row(k.CENTRE + 2)[0] - flat.row(k.CENTRE + 2)[0]
        np.testing.assert_allclose(lower, drawn.ride_height(side), atol=1e-6)


def test_the_rack_is_one_and_its_centring_goes_opposite_ways() -> None:
    drawn = Drawn(shop(points={"tie_rod_inner": 2}, sides=5).errors, "only")
    left, right = (drawn.point("tie_rod_inner", side) for side in BOTH)
    np.testing.assert_array_equal(right, left * [[1.0], [-1.0], [1.0]])
    assert left.std() == pytest.approx(1.0, abs=0.05)


def test_points_that_a_part_brings_are_off_alike_on_both_sides_and_not_by_the_cars_error() -> None:
    knuckle = {
        "id": "forged",
        "today": True,
        "points": {"ball_joint": [2, -60, -110], "tie_rod_outer": [-125, -70, -85]},
    }
    parts = {"format": 1, "stations": {"knuckle": [knuckle]}}
    problem = with_tolerances(shop(parts=parts), hard_points=4, sides=4, parts=1)
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    drawn = Drawn(problem.errors, "only")
    scene = as_built(assembly, (), drawn)
    for channel, told in (
        ("knuckle_ball_joint", knuckle["points"]["ball_joint"]),  # type: ignore[index]
        ("tie_rod_outer", knuckle["points"]["tie_rod_outer"]),  # type: ignore[index]
    ):
        left, right = (scene.point(side, channel) for side in BOTH)
        np.testing.assert_array_equal(left, right)
        off = left - np.array(told)[:, None]
        # a tolerance of 1 mm is a deviation of a half along each axis
        np.testing.assert_allclose(off.std(axis=1), 0.5, atol=0.02)
    # the arm's end is the car's own, measured to 4 mm
    assert scene.point("left", "arm_ball_joint").std(axis=1) == pytest.approx(2.0, abs=0.08)


def test_an_adjusters_own_error_stands_in_place_of_the_general_one() -> None:
    slot = {"along": {"tie_rod_inner": [0, 0, 1]}, "range": [-10, 10], "step": 5, "error": 0.2}
    parts = {
        "format": 1,
        "stations": {"rack_mount": [{"id": "slot", "today": True, "adjusts": {"height": slot}}]},
    }
    problem = shop(parts=parts, settings=3)
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    drawn = Drawn(problem.errors, "only")
    scene = as_built(assembly, (2,), drawn)
    heights = scene.point("left", "tie_rod_inner")[2]
    assert heights.std() == pytest.approx(0.1, abs=0.005)
    assert heights.mean() == pytest.approx(problem.car.points.tie_rod_inner[2], abs=0.01)

"""What must hold for scenes of many lanes and for every measure read from them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.measures import MEASURES, Ask, Measure, Stage
from kinematics.scene import STRAIGHT, At, DutyFrame, Scene
from tests.cars import CARS, MIDDLING, Car, geometry, scene_of
from tests.properties.plausible import another_side, cars
from tests.wishbones import WISHBONES

FIGURES = tuple(measure for measure in MEASURES.values() if measure.name != "price")
BOUNDS = tuple(measure for measure in FIGURES if measure.bound is not None)
some_cars = st.one_of(
    *(st.lists(cars(bases), min_size=3, max_size=6) for bases in (CARS, WISHBONES))
)


def columns(batch: list[Car]) -> Floats:
    return np.concatenate([geometry(car) for car in batch], axis=1)


def other_columns(batch: list[Car]) -> Floats:
    return columns([another_side(car, number) for number, car in enumerate(batch)])


def named(measures: tuple[Measure, ...]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("measure", measures, ids=lambda measure: measure.name)


@named(FIGURES)
@settings(max_examples=12, deadline=None)
@given(batch=some_cars)
def test_a_car_with_two_like_corners_is_the_mirrored_car(
    measure: Measure, batch: list[Car]
) -> None:
    """Every figure of every wheel and turn is the one that is computed once where the car is symmetric."""
    left = columns(batch)
    once = measure(scene_of(MIDDLING, left))
    both = measure(scene_of(MIDDLING, left, right=left.copy()))
    assert once.shape[0] == 1
    for case in both:
        np.testing.assert_allclose(case, once[0], rtol=1e-9, atol=1e-9)


def swapped(scene: Scene) -> Scene:
    assert scene.right is not None
    return scene_of(MIDDLING, scene.right, right=scene.left, frame=scene.frame)


PER_WHEEL_OR_TURN = tuple(m for m in FIGURES if m.name not in ("thread_engagement",))


@named(PER_WHEEL_OR_TURN)
@settings(max_examples=12, deadline=None)
@given(batch=some_cars)
def test_swapping_the_sides_swaps_the_cases(measure: Measure, batch: list[Car]) -> None:
    """An asymmetric car seen in a mirror: left turns become right turns, left wheels right wheels."""
    left = columns(batch)
    scene = scene_of(MIDDLING, left, right=other_columns(batch))
    np.testing.assert_allclose(measure(swapped(scene))[::-1], measure(scene), rtol=1e-7, atol=1e-7)


@pytest.mark.parametrize(
    "at", [STRAIGHT, At(20.0, 0.5), At(-30.0, -1.0, 2.5), At(0.0, 0.0, 0.0, -12.0)]
)
@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
def test_the_right_wheel_of_a_symmetric_car_is_the_left_in_a_mirror(car: Car, at: At) -> None:
    scene = scene_of(car, geometry(car))
    mirror = At(at.travel, -at.turn, at.beyond, -at.rack)
    right, left = scene.states("right", [at]), scene.states("left", [mirror])
    np.testing.assert_array_equal(right.raw, left.raw)
    # a left turn is a left turn for both wheels: they steer the same way
    turned = At(turn=0.5)
    for side in ("left", "right"):
        assert scene.steer(side, scene.states(side, [turned]))[0, 0] > 5.0


@named(FIGURES)
@settings(max_examples=8, deadline=None)
@given(batch=some_cars, seed=st.integers(0, 2**32 - 1))
def test_taken_lanes_keep_their_figures(measure: Measure, batch: list[Car], seed: int) -> None:
    """Bit for bit, whether states were solved before lanes were taken or after, in any order."""
    left = columns(batch)
    lanes = np.random.default_rng(seed).permutation(len(batch))[:2]
    for right in (None, other_columns(batch)):
        scene = scene_of(MIDDLING, left, right=right)
        fresh = measure(scene.take(lanes))
        whole = measure(scene)
        np.testing.assert_array_equal(fresh, whole[:, lanes])
        np.testing.assert_array_equal(measure(scene.take(lanes)), whole[:, lanes])
        assert scene.take(lanes).take(np.array([1])).lanes == 1


@named(FIGURES)
def test_a_figure_does_not_hang_on_what_was_asked_before(measure: Measure) -> None:
    left = np.concatenate([geometry(car) for car in CARS], axis=1)
    alone = measure(scene_of(MIDDLING, left))
    busy = scene_of(MIDDLING, left)
    for other in FIGURES:
        other(busy)
    np.testing.assert_array_equal(measure(busy), alone)


@named(BOUNDS)
@settings(max_examples=15, deadline=None)
@given(
    batch=some_cars,
    low=st.floats(-60.0, -1.0),
    high=st.floats(1.0, 60.0),
    overtravel=st.floats(0.0, 5.0),
)
def test_fewer_states_give_a_bound(
    measure: Measure, batch: list[Car], low: float, high: float, overtravel: float
) -> None:
    """What the search relies on: ends and top can only fall short of a figure that grows with states."""
    left = columns(batch)
    scene = scene_of(MIDDLING, left, frame=DutyFrame((low, high), overtravel))
    over = (low, high) if "over" in measure.takes else None
    top, ends, whole = (measure(scene, Ask(over=over, sample=s)) for s in ("top", "ends", "all"))
    sign = 1.0 if measure.bound == "grows" else -1.0
    # where some state is not reached there is no figure, which counts as the worst there is
    top, ends, whole = (np.nan_to_num(f, nan=sign * np.inf) for f in (top, ends, whole))
    slack = 1e-9
    assert (sign * ends <= sign * whole + slack).all()
    assert (sign * top <= sign * ends + slack).all()


@settings(max_examples=15, deadline=None)
@given(car=cars())
def test_more_rack_never_turns_no_lock_into_lock(car: Car) -> None:
    """Once the linkage does not reach the stop there is no lock, however far the stop is moved out."""
    left = geometry(car)
    locks = []
    for travel in np.arange(20.0, 700.0, 20.0):
        scene = scene_of(car, left)
        scene.rack_travel[:] = travel
        margin = float(MEASURES["toggle_margin"](scene)[0, 0])
        lock = float(MEASURES["lock_inner"](scene)[0, 0])
        assert margin == 0.0 or np.isfinite(lock)
        locks.append(lock)
    missing = np.isnan(locks)
    assert not missing[0]
    assert not (np.diff(missing.astype(int)) < 0).any()
    assert (np.diff(np.array(locks)[~missing]) > 0.0).all()


def test_a_lane_that_is_not_a_number_spoils_no_other() -> None:
    left = np.concatenate([geometry(car) for car in CARS], axis=1)
    mixed = np.concatenate(
        [left[:, :3], np.full((k.GEOMETRY_ROWS, 1), np.nan), left[:, 3:]], axis=1
    )
    good = [0, 1, 2, 4, 5, 6, 7]
    for measure in FIGURES:
        figures = measure(scene_of(MIDDLING, mixed))
        np.testing.assert_array_equal(figures[:, good], measure(scene_of(MIDDLING, left)))
        # the rack's own end is a figure of the rack, and what parts say alone one of the parts
        own = measure.name == "stop_travel" or measure.stage is Stage.PARTS
        assert own or not (figures[:, 3] > 0.0).any(), measure.name

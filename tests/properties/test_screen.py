"""The closed forms of a corner without its tie rod, and the screen that is built on them.

The forms are held against distances between points and against solved states of unlike cars; the screen must
never refuse what the figures accept, whatever the tie rod's ends.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics import rows as k
from kinematics.arrays import Bools, Floats
from kinematics.corner import set_rods, set_toe
from kinematics.freed import about, frame, length_change, motions, parting
from kinematics.screen import Ends, roll_window, screen, toe_window
from kinematics.states import solve
from tests.cars import CARS, Car, geometry
from tests.wishbones import WISHBONES

ALL = [*CARS, *WISHBONES]
TOE = 0.1


def columns_of(car: Car, lanes: int, rng: np.random.Generator) -> Floats:
    """So many corners of a car, its pivots a few millimetres apart."""
    columns = np.repeat(geometry(car), lanes, axis=1)
    columns[k.CIRCLE_CENTRE : k.CIRCLE_CENTRE + 3] += rng.uniform(-4, 4, (3, lanes))
    return columns


def placed(columns: Floats, pose: Floats, ends: Ends) -> Floats:
    """Columns of every lane with every place of the rod's ends, rods set: (rows, lanes * a * b)."""
    lanes, a, b = columns.shape[1], ends.outer.shape[1], ends.inner.shape[1]
    every = np.repeat(columns, a * b, axis=1)
    outer = np.tile(np.repeat(ends.outer, b, axis=1), lanes)
    inner = np.tile(np.tile(ends.inner, a) + np.repeat(ends.with_outer, b, axis=1), lanes)
    every[k.ROD_END : k.ROD_END + 3] += outer
    every[k.RACK_END : k.RACK_END + 3] += inner
    set_rods(every, np.repeat(pose, a * b, axis=1))
    return every


def random_ends(rng: np.random.Generator, reach: float) -> Ends:
    return Ends(
        rng.uniform(-reach, reach, (3, 6)),
        rng.uniform(-reach, reach, (3, 15)),
        rng.uniform(-3, 3, (3, 6)),
    )


def toe_held(columns: Floats, pose: Floats, most: float, travels: list[float]) -> Bools:
    """Whether the solved toe keeps within the window at each of the travels, (n,)."""
    states = solve(columns, np.array(travels), np.zeros((len(travels), columns.shape[1])))
    return np.asarray((np.abs(states.toe - TOE) <= most).all(axis=0))


@pytest.mark.parametrize("car", ALL, ids=lambda car: car.name)
def test_change_of_length_is_that_between_the_points(car: Car) -> None:
    rng = np.random.default_rng(1)
    columns = columns_of(car, 20, rng)
    ride = set_toe(columns, TOE).raw[:, 0]
    there = solve(columns, np.array([30.0]), np.zeros((1, 20)), toe=0.4).raw[:, 0]
    p, q = rng.uniform(-150, 150, (3, 20)), rng.uniform(-400, 400, (3, 20))

    def squared(pose: Floats) -> Floats:
        outer = pose[k.BALL_JOINT : k.BALL_JOINT + 3] + (frame(pose) * p[None]).sum(axis=1)
        return np.asarray(((outer - q) ** 2).sum(axis=0))

    told = about(length_change(ride, there), p, q)[0, 0]
    np.testing.assert_allclose(told, squared(there) - squared(ride), atol=1e-8)


@pytest.mark.parametrize("car", ALL, ids=lambda car: car.name)
def test_both_motions_together_are_the_path_with_the_rod_on(car: Car) -> None:
    """Of the solved states: the contact point's path at ride height, by small steps of wheel travel."""
    rng = np.random.default_rng(2)
    columns = columns_of(car, 20, rng)
    columns[k.ROD_END : k.ROD_END + 3] += rng.uniform(-15, 15, (3, 20))
    columns[k.RACK_END : k.RACK_END + 3] += rng.uniform(-15, 15, (3, 20))
    pose = set_toe(columns, TOE).raw[:, 0]
    swing, turn = motions(columns, pose)
    p, q = columns[k.ROD_END : k.ROD_END + 3], columns[k.RACK_END : k.RACK_END + 3]
    parts = [about(parting(pose, motion), p, q)[0, 0] for motion in (swing, turn)]
    share = -parts[0] / parts[1]
    rate = swing.contact + share * turn.contact
    step = 0.05
    states = solve(columns, np.array([-step, step]), np.zeros((2, 20))).raw
    path = states[k.CONTACT + 1 : k.CONTACT + 3, 1] - states[k.CONTACT + 1 : k.CONTACT + 3, 0]
    np.testing.assert_allclose(rate[1] / rate[2], path[0] / path[1], atol=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    car=st.sampled_from(ALL),
    seed=st.integers(0, 10**6),
    most=st.floats(0.02, 2.0),
    reach=st.sampled_from([5.0, 20.0, 60.0]),
)
def test_nothing_is_refused_that_the_figures_accept(
    car: Car, seed: int, most: float, reach: float
) -> None:
    """Ends up to 60 mm away bring linkages that lie in line or do not reach at all."""
    rng = np.random.default_rng(seed)
    columns = columns_of(car, 5, rng)
    pose = set_toe(columns, TOE).raw[:, 0]
    ends = random_ends(rng, reach)
    every = placed(columns, pose, ends)
    travels = [40.0, -40.0, 20.0]
    height = solve(every, np.zeros(1), np.zeros((1, every.shape[1])))
    roll = height.row(k.CONTACT + 1)[0] * height.contact_slope[0]
    low, high = np.sort(rng.uniform(-100, 200, 2))
    marks, _ = screen(
        ends,
        roll_window(columns, pose, np.full(5, low), np.full(5, high)),
        [toe_window(columns, pose, TOE, most, travels, ends)],
        np.arange(5),
    )
    accepted = toe_held(every, pose, most, travels) & (roll >= low) & (roll <= high)
    assert not (accepted & ~marks.ravel()).any()


@pytest.mark.parametrize("car", ALL, ids=lambda car: car.name)
def test_what_the_figures_refuse_seldom_passes(car: Car) -> None:
    """A screen that lets everything through would be true, and of no use."""
    rng = np.random.default_rng(3)
    columns = columns_of(car, 5, rng)
    pose = set_toe(columns, TOE).raw[:, 0]
    ends = random_ends(rng, 12.0)
    every = placed(columns, pose, ends)
    travels = [40.0, -40.0]
    marks, refused = screen(
        ends, None, [toe_window(columns, pose, TOE, 0.15, travels, ends)], np.arange(5)
    )
    held = toe_held(every, pose, 0.15, travels)
    assert refused[1] == (~marks).sum() > 0
    assert (marks.ravel() & ~held).sum() <= 0.01 * held.size

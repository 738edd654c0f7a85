"""Random corners that a builder might measure: an invented car with every point moved a little."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import strategies as st

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.states import CornerStates
from tests.cars import CARS, Car
from tests.wishbones import WISHBONES

MOST_MOVED = 10.0


def _between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


@st.composite
def cars(draw: st.DrawFn, bases: tuple[Car, ...] = (*CARS, *WISHBONES)) -> Car:
    """A car whose points are up to 10 mm from an invented one, with toe and camber of its own.

    The moves come from a drawn seed: plain draws for two dozen coordinates make shrinking endless.
    """
    base = draw(st.sampled_from(bases))
    moves = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    size = draw(_between(0.0, MOST_MOVED))
    moved = base.moved(**{name: tuple(size * moves.uniform(-1.0, 1.0, 3)) for name in base.points})
    return replace(
        moved,
        toe=draw(_between(-0.4, 0.4)),
        camber=draw(_between(-4.0, 1.0)),
        inset=base.inset + draw(_between(-15.0, 15.0)),
    )


@st.composite
def state_grids(draw: st.DrawFn, states: int = 24) -> tuple[Floats, Floats]:
    """Travels (mm) and shares of rack travel, both (states,), from end to end and a little beyond."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    return random.uniform(-70.0, 70.0, states), random.uniform(-1.1, 1.1, states)


def knuckle_axes(states: CornerStates) -> Floats:
    """The knuckle's x, y and z axes in body axes as columns, (3, 3, n_states, n_lanes)."""
    x, y = (states.raw[row : row + 3] for row in (k.FORWARD, k.SPINDLE))
    return np.stack([x, y, np.cross(x, y, axis=0)], axis=1)


def another_side(car: Car, seed: int) -> Car:
    """The same car's other corner as an old shell has it: points up to 4 mm elsewhere."""
    random = np.random.default_rng(seed)
    return car.moved(**{name: tuple(random.uniform(-4.0, 4.0, 3)) for name in car.points})

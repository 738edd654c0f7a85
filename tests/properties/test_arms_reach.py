"""How far a double wishbone goes: every wheel travel that its arms can give is found, and no other."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics import rows as k
from kinematics.kernel import FURTHEST_T
from kinematics.states import solve
from tests.cars import Car, geometry
from tests.properties.plausible import cars
from tests.wishbones import WISHBONES

STEPS = 800
FAR = 200.0  # mm of wheel travel, more than any of these cars has


@settings(max_examples=60, deadline=None)
@given(cars(WISHBONES), st.floats(-1.2, 1.2))
def test_the_travels_found_are_those_that_a_walk_of_the_arm_passes(car: Car, share: float) -> None:
    """The lower arm is walked up and down from ride height in steps of 0.001 of its parameter.

    Wheel travels between two reached steps, no worse than 6 deg from over-centre, must be found there, up
    to 200 mm; 40 mm beyond the step where an arm cannot follow any more there is nothing to be found.
    """
    columns = geometry(car)
    rack = share * car.rack_travel
    start = columns[k.START, 0]
    for way in (1.0, -1.0):
        t = start + way * 0.001 * np.arange(STEPS)
        t = t[np.abs(t) < FURTHEST_T]
        walk = np.repeat(columns, t.size, axis=1)
        walk[k.START] = t
        states = solve(walk, np.zeros(1), np.full((1, t.size), rack), hold_arm=True)
        height = states.raw[k.CENTRE + 2, 0] - columns[k.RIDE_Z, 0]
        good = states.reached[0] & (states.toggle[0] > 6.0) & (np.abs(height) < FAR)
        end = t.size if good.all() else int(np.argmin(good))
        if end < 12:
            continue
        height = height[:end]
        if not (way * np.diff(height) > 0.0).all():
            continue  # past the wheel's highest (lowest) point one travel has two arm angles
        inside = np.linspace(height[1], height[-2], 25)
        found = solve(columns, inside, np.full((25, 1), rack))
        assert found.reached.all()
        # the arm stands between the walk's two steps around that height
        place = np.searchsorted(way * height, way * inside)
        low, high = t[place - 1], t[place]
        at = found.raw[k.ARM_T, :, 0]
        assert (at >= np.minimum(low, high) - 1e-9).all()
        assert (at <= np.maximum(low, high) + 1e-9).all()
        if end < t.size and states.marks[0, end] == k.ARM_OUT_OF_REACH:
            beyond = solve(columns, height[-1:] + way * 40.0, np.full((1, 1), rack))
            assert not beyond.reached.any()

"""The kernel against its slow, readable twin on random corners and states."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.states import solve
from tests.cars import CARS, Car, geometry
from tests.properties.plausible import cars, state_grids
from tests.properties.twin import Twin


@settings(max_examples=30, deadline=None)
@given(cars(CARS), state_grids(states=12))
def test_every_figure_is_the_twins(car: Car, grid: tuple[Floats, Floats]) -> None:
    """Points to 1e-7 mm and angles to 1e-8 deg, ten times that within 5 deg of over-centre."""
    twin = Twin(car)
    travel, share = grid
    rack = share * car.rack_travel
    states = solve(geometry(car), travel, rack[:, None])
    for s in range(travel.size):
        pose = twin.at(float(travel[s]), float(rack[s]))
        if pose is None or pose.toggle < 1.0:
            # the walk out cannot begin where ride height is past over-centre at this rack, and may stumble
            # where the way there is near it; never the other way about
            walks = twin.pose(0.0, float(rack[s])) is not None
            assert pose or not states.reached[s, 0] or not walks or states.toggle[s, 0] < 5.0
            continue
        assert states.reached[s, 0]
        slack = 1.0 if pose.toggle > 5.0 else 10.0
        for row, point in (
            (k.BALL_JOINT, pose.ball_joint),
            (k.ROD_OUTER, pose.rod_outer),
            (k.CENTRE, pose.centre),
            (k.CONTACT, pose.contact),
        ):
            np.testing.assert_allclose(
                states.raw[row : row + 3, s, 0], point, rtol=0.0, atol=slack * 1e-7
            )
        for got, angle in (
            (states.toe, pose.toe),
            (states.camber, pose.camber),
            (states.caster, pose.caster),
            (states.kingpin_inclination, pose.kingpin_inclination),
        ):
            assert got[s, 0] == pytest.approx(angle, abs=slack * 1e-8)
        # the arc cosine of the twin loses half its digits at 0 and 180 deg
        assert states.toggle[s, 0] == pytest.approx(pose.toggle, abs=1e-6)
        assert states.raw[k.STRUT_LENGTH, s, 0] == pytest.approx(pose.strut_length, abs=1e-7)

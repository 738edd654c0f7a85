"""Inner angles just before the linkage comes to its end: much steer in little rack, yet to be found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.measures.steer import LEFT_TURN, RIGHT_TURN, Turn, outer_angle, rack_for
from kinematics.scene import At, Scene
from tests.cars import CARS, Car, geometry, scene_of

LONG_RACK = 400.0  # mm: on every car further than the linkage goes


def inner_at(scene: Scene, turn: Turn, rack: float) -> float:
    """Inner wheel's steer at a rack displacement, deg; not-a-number past the linkage's end."""
    states = scene.states(turn.inner, [At(turn=turn.sign * rack / LONG_RACK)])
    return turn.sign * float(scene.steer(turn.inner, states)[0, 0])


def furthest(scene: Scene, turn: Turn) -> float:
    """Rack at which the linkage comes to its end, or steer to its most, mm: by small steps and halves."""
    rack, step, best = 0.0, 1.0, 0.0
    while step > 1e-7:
        there = inner_at(scene, turn, rack + step)
        if there > best:
            rack, best = rack + step, there
        else:
            step /= 2.0
    return rack


@pytest.mark.parametrize("turn", [LEFT_TURN, RIGHT_TURN], ids=["left", "right"])
@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
# beyond it, nearer to over-centre than any car may be set, an angle may be told as out of reach
@given(share=st.floats(0.05, 0.995))
@settings(max_examples=8, deadline=None)
def test_every_angle_before_the_end_is_found(car: Car, turn: Turn, share: float) -> None:
    scene = scene_of(replace(car, rack_travel=LONG_RACK), geometry(car))
    wanted = share * inner_at(scene, turn, furthest(scene, turn))
    rack = float(rack_for(scene, turn, wanted)[0])
    assert inner_at(scene, turn, rack) == pytest.approx(wanted, abs=1e-5)
    outer = scene.states(turn.outer, [At(turn=turn.sign * rack / LONG_RACK)])
    told = turn.sign * float(scene.steer(turn.outer, outer)[0, 0])
    assert float(outer_angle(scene, turn, wanted)[0]) == pytest.approx(told, nan_ok=True, abs=1e-4)


@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
def test_an_angle_past_the_end_has_no_rack(car: Car) -> None:
    scene = scene_of(replace(car, rack_travel=LONG_RACK), geometry(car))
    most = inner_at(scene, LEFT_TURN, furthest(scene, LEFT_TURN))
    assert np.isnan(rack_for(scene, LEFT_TURN, most + 0.01)[0])

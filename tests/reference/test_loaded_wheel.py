"""What steering does to the wheel that carries the load, against the raw mechanism and handbook rules."""

from __future__ import annotations

import numpy as np
import pytest

from kinematics.measures import MEASURES, Ask
from kinematics.measures.steer import LEFT_TURN, rack_for
from kinematics.scene import DutyFrame, Scene
from tests.cars import CARS, Car, geometry, scene_of
from tests.reference.planar import axis_corner
from tests.reference.test_kernel_rootfinder import Mechanism

GRIP, SLIDE = DutyFrame(), DutyFrame(counter_steers=True)


def figure(name: str, scene: Scene, ask: Ask | None = None) -> float:
    return float(MEASURES[name](scene, ask)[0, 0])


@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
@pytest.mark.parametrize("angle", [12.0, 24.0])
def test_camber_on_turns_by_a_root_finder_on_the_raw_joints(car: Car, angle: float) -> None:
    """The inner wheel is steered to the angle; its camber is the slide's, the outer wheel's that of grip."""
    mechanism = Mechanism(car)
    scene = scene_of(car, geometry(car), frame=SLIDE)
    rack = float((scene.turn_sign * rack_for(scene, LEFT_TURN, angle))[0])
    inner = mechanism.read(mechanism.walk(0.0, rack, steps=8))
    outer = mechanism.read(mechanism.walk(0.0, -rack, steps=8))
    straight = mechanism.read(np.zeros(7))
    # the left wheel's toe falls as it turns left
    assert straight.toe - inner.toe == pytest.approx(angle, abs=1e-5)
    ask = Ask(at=angle)
    assert figure("camber_on_turns", scene, ask) == pytest.approx(inner.camber, abs=1e-5)
    grip = scene_of(car, geometry(car), frame=GRIP)
    assert figure("camber_on_turns", grip, ask) == pytest.approx(outer.camber, abs=1e-5)
    named = Ask(at=angle, wheel="inner")
    assert figure("camber_on_turns", grip, named) == pytest.approx(inner.camber, abs=1e-5)


@pytest.mark.parametrize("caster", [3.0, 8.0])
def test_caster_leans_the_loaded_wheel_as_the_handbook_says(caster: float) -> None:
    """[D] common handbook rule: camber change is about caster sin d + KPI (1 - cos d) on the inner wheel
    and -caster sin d + KPI (1 - cos d) on the outer one; good to a few per cent (see the exact table of
    reference values, tests/reference/test_formulas.py)."""
    kingpin = 12.0
    left = axis_corner(caster, kingpin)
    for frame, sign in ((SLIDE, 1.0), (GRIP, -1.0)):
        scene = scene_of(CARS[0], left, frame=frame)
        scene = scene.with_stop(np.array([40.0]))
        name = "lock_inner" if sign > 0.0 else "lock_outer"
        steer = np.radians(figure(name, scene))
        rule = sign * caster * np.sin(steer) + kingpin * (1.0 - np.cos(steer))
        assert figure("camber_change_at_lock", scene) == pytest.approx(rule, rel=0.08, abs=0.06)


def test_at_lock_is_straight_ahead_and_the_change() -> None:
    for car in CARS:
        scene = scene_of(car, geometry(car), frame=SLIDE)
        whole = figure("camber", scene) + figure("camber_change_at_lock", scene)
        assert figure("camber_at_lock", scene) == pytest.approx(whole, abs=1e-9)


def test_beyond_the_stop_there_is_no_figure() -> None:
    car = CARS[0]
    scene = scene_of(car, geometry(car), frame=SLIDE)
    lock = figure("lock_inner", scene)
    at = Ask(at=0.9 * lock)
    assert np.isfinite(figure("camber_on_turns", scene, at))
    assert np.isfinite(figure("ackermann", scene, at))
    nearer = scene.with_stop(0.7 * scene.rack_travel)
    assert figure("lock_inner", nearer) < 0.9 * lock
    assert np.isnan(figure("camber_on_turns", nearer, at))
    assert np.isnan(figure("ackermann", nearer, at))


def test_trail_at_lock_from_the_contact_point_and_the_axis() -> None:
    """[D] With the axis upright at (10, 690) and the wheel square over (0, 720) straight ahead, contact
    and axis turn together: the trail along the wheel's heading stays what it was."""
    scene = scene_of(CARS[0], axis_corner(0.0, 0.0), frame=SLIDE).with_stop(np.array([35.0]))
    assert figure("mechanical_trail", scene) == pytest.approx(10.0, abs=1e-6)
    assert figure("trail_at_lock", scene) == pytest.approx(10.0, abs=1e-6)

"""What must hold of roll and load transfer whatever the car: moments balance, shares add up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics import rows as k
from kinematics.bars import Bar, arms_rate, relative_rate, torsion_rate, wheel_rate
from kinematics.measures import MEASURES
from kinematics.rolling import Axle, roll_arm, roll_per_g, sprung_height, transfer
from kinematics.scene import STRAIGHT, Scene
from tests.cars import Car, geometry, scene_of
from tests.properties.plausible import cars

GRAVITY = 9.80665


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


axles = st.builds(
    Axle,
    sprung=between(2000.0, 9000.0),
    unsprung=between(0.0, 2000.0),
    roll_centre=between(-150.0, 400.0),
    unsprung_height=between(240.0, 360.0),
    track=between(1200.0, 1700.0),
    stiffness=between(1e7, 1e8),
)
bars = st.builds(
    Bar,
    diameter=between(12.0, 35.0),
    length=between(500.0, 1200.0),
    arm=between(100.0, 300.0),
    arm_length=between(300.0, 400.0),
    motion_ratio=between(0.2, 1.0),
    bore=between(0.0, 11.0),
)


@given(front=axles, rear=axles, height=between(300.0, 800.0))
def test_load_transfers_balance_the_moments(front: Axle, rear: Axle, height: float) -> None:
    """Transfers times tracks are the moments of all masses about the ground, and of the lean."""
    arm = roll_arm(front, rear, height)
    weight = front.sprung + rear.sprung
    roll = roll_per_g(weight, arm, front.stiffness + rear.stiffness)
    held = sum(transfer(axle, roll) * axle.track for axle in (front, rear))
    moments = weight * height + weight * arm * roll
    moments += sum(axle.unsprung * axle.unsprung_height for axle in (front, rear))
    assert float(held) == pytest.approx(float(moments), rel=1e-9)


@given(front=axles, rear=axles, height=between(300.0, 800.0))
def test_the_sprung_cg_and_the_wheels_make_the_whole_cars_cg(
    front: Axle, rear: Axle, height: float
) -> None:
    own = [(axle.unsprung, axle.unsprung_height) for axle in (front, rear)]
    weight = front.sprung + rear.sprung
    whole = weight + sum(w for w, _ in own)
    mean = (weight * height + sum(w * h for w, h in own)) / whole
    assert sprung_height(whole, mean, *own) == pytest.approx(height, rel=1e-9)


@given(bar=bars)
def test_a_bar_in_series_is_softer_than_either_and_grows_with_the_fourth_power(bar: Bar) -> None:
    assert relative_rate(bar) < min(torsion_rate(bar), arms_rate(bar))
    thicker = replace(bar, diameter=2.0 * bar.diameter, bore=2.0 * bar.bore)
    assert wheel_rate(thicker) == pytest.approx(16.0 * wheel_rate(bar), rel=1e-9)
    if bar.bore > 0.0:
        assert wheel_rate(bar) <= wheel_rate(replace(bar, bore=0.0))


def loaded(car: Car, bar: Bar | None = None) -> Scene:
    scene = scene_of(car, geometry(car))
    left = scene.states("left", [STRAIGHT])
    numbers = replace(
        scene.car,
        ground_z=float(left.raw[k.CONTACT + 2, 0, 0]),
        hub_height=float(left.raw[k.CENTRE + 2, 0, 0] - left.raw[k.CONTACT + 2, 0, 0]),
        mass=1150.0,
        unsprung_front=76.0,
        unsprung_rear=98.0,
        wheel_rate=31.0,
        bar=bar,
        rear_roll_stiffness=390.0,
        rear_track=1420.0,
    )
    return replace(scene, car=numbers)


def figure(name: str, scene: Scene) -> float:
    return float(MEASURES[name](scene)[0, 0])


@settings(max_examples=20, deadline=None)
@given(car=cars(), bar=st.none() | bars)
def test_the_measures_of_a_car_balance_its_moments(car: Car, bar: Bar | None) -> None:
    """At the measured height: sum of transfer times track = weight times CG height + the lean's moment.

    K phi = W d (1 + phi), so the lean's moment W d phi is K phi^2 / (1 + phi).
    """
    scene = loaded(car, bar)
    parts = [
        figure(f"front_transfer_{part}", scene) for part in ("geometric", "elastic", "unsprung")
    ]
    front = sum(parts)
    rear = front * (100.0 / figure("front_load_transfer", scene) - 1.0)
    roll = np.radians(figure("roll_gradient", scene))
    stiffness = np.degrees((figure("front_roll_stiffness", scene) + 390.0) * 1000.0)
    held = front * figure("track_width", scene) + rear * 1420.0
    lean = stiffness * roll**2 / (1.0 + roll)
    assert held == pytest.approx(1150.0 * GRAVITY * car.cg_height + lean, rel=1e-9)


@settings(max_examples=10, deadline=None)
@given(car=cars(), bar=bars)
def test_a_front_bar_cuts_roll_and_loads_the_front(car: Car, bar: Bar) -> None:
    """Common practice, no source: holds wherever the sprung CG is above the roll axis."""
    without, fitted = loaded(car), loaded(car, bar)
    assert figure("roll_gradient", fitted) < figure("roll_gradient", without)
    assert figure("front_load_transfer", fitted) > figure("front_load_transfer", without)
    track = figure("track_width", fitted)
    added = figure("front_roll_stiffness", fitted) - figure("front_roll_stiffness", without)
    by_hand = 0.5 * figure("bar_rate", fitted) * track**2 / 1000.0 * np.pi / 180.0
    assert added == pytest.approx(by_hand, rel=1e-6, abs=1e-6)

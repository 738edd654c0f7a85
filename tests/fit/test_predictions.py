"""What the model expects of gauges, against plain rotations of points and against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from kinematics.scene import DutyFrame
from optimiser.assembly import as_measured
from optimiser.fit import Model
from optimiser.predict import predictions
from optimiser.reading_list import Reading, reading_list
from tests.cars import CARS, Car
from tests.fit.garage import model_of, really, space_of
from tests.gauges import Gauges
from tests.wishbones import WISHBONES


@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
@pytest.mark.parametrize("lowered", [0.0, 25.0])
def test_every_reading_is_what_plain_rotations_give(car: Car, lowered: float) -> None:
    """Source: tests/properties/twin.py, rotations of measured points; nothing shared with the kernel."""
    gauges = Gauges(car, lowered=lowered)
    model = model_of(space_of(car), gauges.file(steered=15.0))
    assert len(model.every) > 100 and model.reached.all()
    misses = model.given - np.array([r.value for r in model.every])
    assert np.abs(misses).max() < 1e-6


@pytest.mark.parametrize("car", CARS[:2], ids=lambda car: car.name)
def test_shifted_coordinates_are_the_shifted_points(car: Car) -> None:
    """The same of a car whose points are off by a millimetre or two each."""
    space = space_of(car)
    shift = np.random.default_rng(4).normal(size=space.points)
    gauges = Gauges(really(car, shift))
    model = model_of(space, gauges.file())
    found = model.predict(shift[:, None], model.every)[:, 0]
    assert np.abs(found - [r.value for r in model.every]).max() < 1e-6


@pytest.mark.parametrize("car", [*CARS, *WISHBONES], ids=lambda car: car.name)
def test_with_nothing_shifted_it_is_the_car_as_measured(car: Car) -> None:
    space = space_of(car)
    readings = [
        Reading(kind, side, 0.0, 1.0, "deg", travel)  # type: ignore[arg-type]
        for kind in ("toe_change", "camber", "caster", "kingpin_inclination")
        for side in ("left", "right")
        for travel in (-30.0, 0.0, 40.0)
    ]
    readings += [Reading("turn_plates", "left", 0.0, 1.0, "deg", inner=15.0)]
    scene = as_measured(space.car, DutyFrame())
    model = Model(space, tuple(readings), 0.0)
    assert np.array_equal(predictions(scene, readings)[:, 0], model.given)


def test_dials_are_told_in_the_dials_own_unit() -> None:
    """Two dials B apart on a plate that turns by a differ by B tan a: 300 mm and 1 deg are 5.2365 mm."""
    car = CARS[0]
    space = space_of(car)
    mm = Reading("dials", "left", 0.0, 0.05, "mm", 50.0, base=300.0)
    thou = Reading("dials", "left", 0.0, 2.0, "thou", 50.0, base=300.0)
    angle = Reading("toe_change", "left", 0.0, 0.015, "deg", 50.0)
    in_mm, in_thou, in_deg = Model(space, (mm, thou, angle), 0.0).given
    zero = np.radians(car.toe)
    expected = 300.0 * (np.tan(zero + np.radians(in_deg)) - np.tan(zero))
    assert in_mm == pytest.approx(expected, abs=1e-9)
    assert in_thou == pytest.approx(expected / 0.0254, abs=1e-6)  # 25.4 mm are 1000 thou
    assert abs(in_mm) > 0.01


def test_uncertainties_are_halved_to_standard_deviations_in_the_readings_unit() -> None:
    """Coverage factor 2, JCGM 100 (GUM); an outer plate carries the inner plate's error as well."""
    file = Gauges(CARS[0]).file(base=300.0)
    file["gauge"].append({"wheel": "left", "dials": {"unit": "thou", "base": 254}, "toe": [[9, 1]]})
    file["gauge"].append({"wheel": "left", "toe": [[8, 0.1]]})
    file["uncertainty"] = {"dials": 0.2, "turn_plates": 0.4, "toe_change": 0.06, "rod_length": 3}
    readings = {(r.kind, r.unit): r.sigma for r in reading_list(model_file(file))}
    assert readings["dials", "mm"] == pytest.approx(0.1)
    assert readings["dials", "thou"] == pytest.approx(0.1 / 0.0254)
    assert readings["turn_plates", "deg"] == pytest.approx(0.2 * 2.0**0.5)
    assert readings["toe_change", "deg"] == pytest.approx(0.03)
    assert readings["rod_length", "mm"] == pytest.approx(1.5)
    assert readings["camber", "deg"] == pytest.approx(0.05)


def model_file(file: dict[str, object]):  # type: ignore[no-untyped-def]
    from goals.readings import Readings

    return Readings.model_validate(file)

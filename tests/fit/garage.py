"""Cars as they are and as their files have them, for tests of the fit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.readings import Readings
from kinematics.arrays import Floats
from optimiser.fit import Model
from optimiser.point_space import PointSpace
from optimiser.reading_list import reading_list
from tests.cars import Car
from tests.search.catalogues import car_mapping

SIGMA = 0.5  # of a measured coordinate: ± 1 mm with coverage factor 2


def goals_of(car: CarFile, hard_points: float = 2.0 * SIGMA) -> GoalsFile:
    return GoalsFile.model_validate(
        {
            "format": 1,
            "car": car.model_dump(),
            "parts": "parts.yaml",
            "tolerances": {"hard_points": hard_points},
            "duties": {"hill": {"limits": {"bump_steer": {"max": 1}}}},
        }
    )


def space_of(car: Car, hard_points: float = 2.0 * SIGMA) -> PointSpace:
    file = CarFile.model_validate(car_mapping(car))
    return PointSpace.of(goals_of(file, hard_points), file)


def really(car: Car, shift: Floats) -> Car:
    """The car as it is, where its file is off: points shifted, in the file's order."""
    points = {
        name: tuple(float(v) for v in np.array(point) + shift[3 * at : 3 * at + 3])
        for at, (name, point) in enumerate(_in_order(car).items())
    }
    return replace(car, points=points)


def _in_order(car: Car) -> dict[str, tuple[float, float, float]]:
    names = type(CarFile.model_validate(car_mapping(car)).points).model_fields
    return {name: car.points[name] for name in names}


def model_of(space: PointSpace, file: dict[str, Any]) -> Model:
    readings = Readings.model_validate(file)
    return Model(space, tuple(reading_list(readings)), readings.lowered_by or 0.0)

"""Problems of one invented car as it stands, with the errors that a test asks for and no others."""

from __future__ import annotations

from typing import Any

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from optimiser.builds import search_build
from optimiser.errors import Errors
from optimiser.problem import Problem
from optimiser.yields import Sampled, sample_duty
from tests.cars import CARS, Car
from tests.search.catalogues import car_mapping

NOTHING_OFF: dict[str, Any] = {
    "hard_points": 0,
    "settings": 0,
    "sides": 0,
    "parts": 0,
    "camber": 0,
    "toe": 0,
    "ride_height": 0,
    "rack_overtravel": 2,
}
AS_IT_IS = {
    "format": 1,
    "stations": {"tie_rod": [{"id": "rods", "today": True}]},
}
USUAL = CARS[0]


def shop(
    car: Car = USUAL,
    *,
    limits: dict[str, Any] | None = None,
    targets: dict[str, Any] | None = None,
    parts: dict[str, Any] | None = None,
    right: dict[str, Any] | None = None,
    duty: dict[str, Any] | None = None,
    duties: dict[str, Any] | None = None,
    search: dict[str, Any] | None = None,
    car_changes: dict[str, Any] | None = None,
    **tolerances: Any,
) -> Problem:
    """The car with today's parts at its measured ride height, and only the errors that are given."""
    one = {"limits": limits or {}, "targets": targets or {}, "travel": [-30, 30], **(duty or {})}
    goals = {
        "format": 1,
        "car": "car.yaml",
        "parts": "parts.yaml",
        "tolerances": {**NOTHING_OFF, **tolerances},
        "duties": duties or {"only": one},
        "search": {"hours": 0.1, "workers": 1, "seed": 7, **(search or {})},
    }
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate({**car_mapping(car), "points_right": right, **(car_changes or {})}),
        Parts.model_validate(parts or AS_IT_IS),
    )


def with_samples(problem: Problem, samples: int) -> Problem:
    """The same problem with another number of cars drawn."""
    problem.__dict__["errors"] = Errors(problem.goals, problem.car, problem.space, samples)
    return problem


def sampled(problem: Problem, duty: str = "only", number: int = 0) -> Sampled:
    """One duty of one build, searched and then built many times."""
    return sample_duty(problem, search_build(problem, number), duty)


def mirrored(car: Car, *names: str) -> dict[str, list[float]]:
    """Right-hand points that are measured by themselves, and happen to be the left ones' mirror."""
    return {n: [car.points[n][0], -car.points[n][1], car.points[n][2]] for n in names}

"""An invented anti-roll bar on the first of the invented cars: its points by hand, in car-file words."""

from __future__ import annotations

from typing import Any

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from optimiser.problem import Problem
from tests.cars import MIDDLING, Car
from tests.search.catalogues import car_mapping

# A level arm of 200 mm that points rearward, the bar's axis above the lower arm. Link joints by carrier.
PIVOT, END = (220.0, 520.0, 300.0), (20.0, 585.0, 300.0)
LINKS = {
    "arm": (18.0, 592.0, 190.0),
    "knuckle": (24.0, 664.0, 205.0),
    "strut": (16.0, 628.0, 540.0),
}
BAR = {"diameter": 22, "length": 900}


def bar_mapping(link_on: str = "arm", **more: Any) -> dict[str, Any]:
    """The bar with its points as a car file says it."""
    points = {"pivot": list(PIVOT), "end": list(END), "link": list(LINKS[link_on])}
    return {**BAR, **points, "link_on": link_on, **more}


def car_with(bar: dict[str, Any] | None, car: Car = MIDDLING, **more: Any) -> CarFile:
    """The car file's model with a bar."""
    mapping = {**car_mapping(car), "springs": {"rate": 30}, **more}
    return CarFile.model_validate(mapping if bar is None else {**mapping, "antiroll_bar": bar})


def problem_with(
    bar: dict[str, Any] | None,
    part: dict[str, Any] | None = None,
    duty: dict[str, Any] | None = None,
    stations: dict[str, Any] | None = None,
    **more: Any,
) -> Problem:
    """That car with one part at the bar's station, on the car today, and one duty, 'only'."""
    goals = {
        "format": 1,
        "car": "c",
        "parts": "p",
        "duties": {"only": {"travel": [-50, 50], **(duty or {})}},
    }
    bars = [{"id": "bar", "today": True, **(part or {})}]
    return Problem(
        GoalsFile.model_validate(goals),
        car_with(bar, **more),
        Parts.model_validate({"format": 1, "stations": {**(stations or {}), "antiroll_bar": bars}}),
    )

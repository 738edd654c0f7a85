"""The goals file: duties with limits and targets, and how long to search.

A limit must hold or the candidate is out; a target is a wanted value or curve with a tolerance and a weight.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from goals.base import Angle, Identifier, Length, Strict
from goals.car import Car
from goals.parts import Parts, Station


class WheelName(StrEnum):
    LEFT = "left"
    RIGHT = "right"
    INNER = "inner"
    OUTER = "outer"
    LOADED = "loaded"


Window = tuple[Length, Length]


class Ask(Strict):
    """Which figure of a measure is meant: a window of travel, an inner steer angle, a wheel."""

    over: Window | None = None
    at: Angle | None = None
    wheel: WheelName | None = None

    @model_validator(mode="after")
    def _upright(self) -> Ask:
        if self.over is not None and self.over[0] >= self.over[1]:
            raise ValueError("the window 'over' is upside down: low end first")
        return self


class Limit(Ask):
    """A bound that must hold: ``min``, ``max`` or both."""

    min: float | None = None
    max: float | None = None

    @model_validator(mode="after")
    def _bounded(self) -> Limit:
        if self.min is None and self.max is None:
            raise ValueError("a limit needs 'min', 'max' or both")
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"limit is upside down: min {self.min:g} is above max {self.max:g}")
        return self


class Target(Ask):
    """A wanted ``value``, or ``points`` of a curve as [inner steer deg, wanted] pairs."""

    value: float | None = None
    points: Annotated[list[tuple[Angle, float]], Field(min_length=1)] | None = None
    tolerance: Annotated[float, Field(gt=0)]
    weight: Annotated[float, Field(gt=0)] = 1.0

    @model_validator(mode="after")
    def _one_kind(self) -> Target:
        if (self.value is None) == (self.points is None):
            raise ValueError("a target needs either 'value' or 'points'")
        return self


class LoweringRange(Strict):
    """Ride heights to search, mm of lowering from the measured ride height."""

    min: Length
    max: Length
    step: Annotated[Length, Field(gt=0)] = 5.0

    @model_validator(mode="after")
    def _upright(self) -> LoweringRange:
        if self.min > self.max:
            raise ValueError(f"range is upside down: min {self.min:g} is above max {self.max:g}")
        return self


class DutyStatic(Strict):
    """Static toe of each wheel that the tie rods are set to, toe-in positive."""

    toe: Angle


class Duty(Strict):
    """One use that the car must serve."""

    lowered_by: Length | LoweringRange = 0.0
    static: DutyStatic | None = None
    counter_steers: bool = False
    travel: Window = (-60.0, 60.0)
    limits: dict[str, Limit | list[Limit]] = {}
    targets: dict[str, Target | list[Target]] = {}
    note: str | None = None


class Tolerances(Strict):
    """How well the car is measured and set, mm; and how far the rack may go past its stop.

    ``rack_overtravel`` is the allowance for compliance and tolerance beyond the stop at which
    toggle_margin is judged (2 to 3 mm is common practice, no source).
    """

    hard_points: Annotated[Length, Field(ge=0)] = 1.0
    settings: Annotated[Length, Field(ge=0)] = 0.5
    rack_overtravel: Annotated[Length, Field(ge=0)] = 2.5


class ChangeoverMinutes(Strict):
    max: Annotated[float, Field(ge=0)]


class Changeover(Strict):
    """What may differ between duties on one car, and the minutes that the swap may take."""

    allow: list[Station] = []
    minutes: ChangeoverMinutes | None = None


class Search(Strict):
    hours: Annotated[float, Field(gt=0)] = 8.0
    workers: Annotated[int, Field(ge=1)] | Literal["auto"] = "auto"
    keep: Annotated[int, Field(ge=1)] = 200
    seed: Annotated[int, Field(ge=0)] = 1


class GoalsFile(Strict):
    """The goals file as written: car and parts are paths beside it, or the mappings themselves."""

    format: Literal[1]
    name: str | None = None
    car: str | Car
    parts: str | Parts
    tolerances: Tolerances = Tolerances()
    duties: Annotated[dict[Identifier, Duty], Field(min_length=1)]
    changeover: Changeover | None = None
    search: Search = Search()
    note: str | None = None

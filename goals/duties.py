"""The goals file: duties with limits and targets, and how long to search.

A limit must hold or the candidate is out; a target is a wanted value or curve with a tolerance and a weight.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, Tag, ValidationInfo, field_validator

from goals.base import (
    MANY,
    MAPPING,
    ONE,
    PLAIN,
    Angle,
    Figure,
    Flag,
    Format,
    Identifier,
    Length,
    Name,
    Note,
    Number,
    Strict,
    Travel,
    TravelWindow,
    Whole,
    Words,
    by_form,
    plain_or_mapping,
)
from goals.car import Car
from goals.faults import Unsound
from goals.parts import Parts, Station


class WheelName(StrEnum):
    LEFT = "left"
    RIGHT = "right"
    INNER = "inner"
    OUTER = "outer"
    LOADED = "loaded"


# Straight ahead neither wheel is the inner one.
InnerSteer = Annotated[Angle, Field(gt=0, le=85)]
CurvePoint = Annotated[
    tuple[InnerSteer, Figure], Words("a pair [inner steer angle in deg, wanted value]")
]


class Ask(Strict):
    """Which figure of a measure is meant: a window of travel, an inner steer angle, a wheel."""

    over: TravelWindow | None = None
    """Window of wheel travel [low, high] that the measure is judged over, mm from ride height."""
    at: InnerSteer | None = None
    """Steer angle of the inner wheel at which the measure is judged, deg."""
    wheel: WheelName | None = None
    """Which wheel is meant; inner and outer in the turn, loaded as the duty loads it."""


class Limit(Ask):
    """A bound that must hold: ``min``, ``max`` or both, in the measure's unit.

    With ``in_hand`` the search keeps so much more than the bound, and tables show what it kept to; cars as
    built are judged by the bound itself.
    """

    min: Figure | None = None
    """Least value that is still accepted, in the measure's unit."""
    max: Annotated[Figure | None, Field(validate_default=True)] = None
    """Greatest value that is still accepted, in the measure's unit."""

    # On the second field rather than the model: it is told together with the model's other faults.
    @field_validator("max")
    @classmethod
    def _bounded(cls, high: float | None, info: ValidationInfo) -> float | None:
        low = info.data.get("min")
        if high is None and "min" in info.data and low is None:
            raise Unsound("a limit without a bound", "'min', 'max' or both")
        if high is not None and low is not None and low > high:
            raise Unsound(f"limit is upside down: min {low:g} is above max {high:g}")
        return high

    in_hand: Annotated[Figure, Field(ge=0)] = 0.0
    """What the search keeps in hand inside the bound for measuring and setting errors, in the measure's
    unit."""

    @field_validator("in_hand")
    @classmethod
    def _leaves_some(cls, in_hand: float, info: ValidationInfo) -> float:
        low, high = info.data.get("min"), info.data.get("max")
        if low is not None and high is not None and high - low < 2.0 * in_hand:
            raise Unsound(
                f"in_hand {in_hand:g} at both ends leaves nothing between {low:g} and {high:g}",
                f"{0.5 * (high - low):g} at most",
            )
        return in_hand


class Target(Ask):
    """A wanted ``value``, or ``points`` of a curve as [inner steer deg, wanted] pairs."""

    value: Figure | None = None
    """Wanted value, in the measure's unit."""
    points: Annotated[
        list[CurvePoint] | None, Field(min_length=1, max_length=100, validate_default=True)
    ] = None
    """Wanted curve: pairs of inner steer angle, deg, and wanted value, in the measure's unit."""
    tolerance: Annotated[Figure, Field(gt=0)]
    """Miss that counts as 1 in the merit, in the measure's unit."""
    weight: Annotated[Number, Field(gt=0)] = 1.0
    """How much this target counts beside the others."""

    @field_validator("points")
    @classmethod
    def _one_kind(
        cls, points: list[CurvePoint] | None, info: ValidationInfo
    ) -> list[CurvePoint] | None:
        if "value" in info.data:
            if points is None and info.data["value"] is None:
                raise Unsound("a target without a wanted value", "either 'value' or 'points'")
            if points is not None and info.data["value"] is not None:
                raise Unsound("a target with both", "either 'value' or 'points'")
        return points


class LoweringRange(Strict):
    """Ride heights to search, mm of lowering from the measured ride height."""

    min: Travel
    """Least lowering, mm."""
    max: Travel
    """Greatest lowering, mm."""
    step: Annotated[Length, Field(gt=0)] = 5.0
    """Step between the heights that are tried, mm."""

    @field_validator("max")
    @classmethod
    def _upright(cls, high: float, info: ValidationInfo) -> float:
        low = info.data.get("min")
        if low is not None and low > high:
            raise Unsound(f"range is upside down: min {low:g} is above max {high:g}")
        return high


class DutyStatic(Strict):
    """Static toe of each wheel that the tie rods are set to, toe-in positive."""

    toe: Angle
    """Static toe of each wheel, deg, toe-in positive."""


# One ask of a measure, or several: a measure may be judged in more than one place.
Limits = Annotated[
    Annotated[Limit, Tag(ONE)]
    | Annotated[list[Limit], Field(min_length=1, max_length=30), Tag(MANY)],
    by_form((list, tuple), MANY, ONE),
]
Targets = Annotated[
    Annotated[Target, Tag(ONE)]
    | Annotated[list[Target], Field(min_length=1, max_length=30), Tag(MANY)],
    by_form((list, tuple), MANY, ONE),
]
Lowering = Annotated[
    Annotated[Travel, Tag(PLAIN)] | Annotated[LoweringRange, Tag(MAPPING)],
    plain_or_mapping(),
]


class Duty(Strict):
    """One use that the car must serve."""

    lowered_by: Lowering = 0.0
    """Lowering of the body from the measured ride height, mm; or a range to search."""
    static: DutyStatic | None = None
    """Static toe that this duty is set up to; the car's own when left out."""
    counter_steers: Flag = False
    """True for a duty that steers against the turn, so that the inner wheel carries the load."""
    travel: TravelWindow = (-60.0, 60.0)
    """Wheel travel that the duty uses, [low, high] in mm from its ride height, bump positive."""
    limits: dict[str, Limits] = Field(default_factory=dict)
    """Measure → bound that must hold, or the candidate is out."""
    targets: dict[str, Targets] = Field(default_factory=dict)
    """Measure → wanted value or curve, with tolerance and weight."""
    note: Note | None = None
    """Anything worth remembering; not used."""


# A point's own error: the same along x, y and z, or of each.
Error = Annotated[Length, Field(ge=0)]
PointError = Annotated[
    Annotated[Error, Tag(PLAIN)]
    | Annotated[
        tuple[Error, Error, Error], Tag(MANY), Words("errors along [x, y, z], mm, 0 or more")
    ],
    by_form((list, tuple), MANY, PLAIN),
    Words("an error in mm, or errors along [x, y, z]"),
]


# Standard deviations are tolerances over this: the coverage factor of all +/- figures in files (JCGM 100).
COVERAGE = 2.0


class Tolerances(Strict):
    """How well the car is measured and set; and how far the rack may go past its stop.

    Each error is a +/- figure with a coverage factor of 2: the true value is normally distributed about what
    is written, with half the figure as standard deviation (JCGM 100), so that 95 of 100 lie within. Figures
    left out are common practice, no source. ``rack_overtravel`` is no error but the allowance for
    compliance and tolerance beyond the stop at which toggle_margin is judged (2 to 3 mm is common practice,
    no source).
    """

    hard_points: Error = 1.0
    """How far a measured hard point may be off along x, y and z, +/- mm."""
    settings: Error = 0.5
    """How far an adjuster may be set off, +/- mm, where its own 'error' does not say; each side by itself."""
    rack_overtravel: Annotated[Length, Field(ge=0)] = 2.5
    """How far the rack may go past its stop, mm."""
    points: dict[str, PointError] = Field(default_factory=dict)
    """Hard point of the car file → how far it may be off, +/- mm, or [x, y, z]; others as 'hard_points'."""
    sides: Error = 1.0
    """How far a right-hand point may be from the mirror of the left one where only that is given, +/- mm."""
    parts: Error = 0.5
    """How far a point that a part brings may be off its drawing, +/- mm along each axis; both sides alike."""
    camber: Annotated[Angle, Field(ge=0)] = 0.1
    """How far each wheel's camber may be measured off, +/- deg."""
    toe: Annotated[Angle, Field(ge=0)] = 0.05
    """How far each wheel's static toe may be set off, +/- deg."""
    ride_height: Error = 1.0
    """How far each wheel's ride height may be set off, +/- mm."""
    least_yield: Annotated[Number, Field(ge=0, le=1)] | None = None
    """Share of cars as built that must hold every limit of every duty, 0 to 1: candidates with less rank
    after those that have it. When left out the yield is told but ranks nothing."""

    def of_point(self, name: str) -> tuple[float, float, float]:
        """How far a hard point of the car file may be off along x, y and z, +/- mm."""
        told = self.points.get(name, self.hard_points)
        return told if isinstance(told, tuple) else (told, told, told)

    def of_setting(self, own: float | None) -> float:
        """How far an adjuster may be set off, +/- mm; ``own`` is its own error where it tells one."""
        return self.settings if own is None else own


class ChangeoverMinutes(Strict):
    """How long the swap between duties may take."""

    max: Annotated[Number, Field(ge=0)]
    """Longest swap, minutes; of three duties and more, for all that differs between any two of them."""


class Changeover(Strict):
    """What may differ between duties on one car, and the minutes that the swap may take.

    Tie-rod length and steering stop are solved for each duty, so they are set anew whatever is allowed.
    """

    allow: list[Station] = Field(default_factory=list)
    """Stations whose setting may differ between duties; all else is set alike in all of them."""
    minutes: ChangeoverMinutes | None = None
    """How long the swap may take."""


# Each is a process of its own, of some 200 MiB: more of them would not speed a search up but stop a machine.
MOST_WORKERS = 256

Workers = Annotated[
    Annotated[Whole, Field(ge=1, le=MOST_WORKERS), Tag(PLAIN)]
    | Annotated[Literal["auto"], Tag(ONE)],
    by_form(str, ONE, PLAIN),
]


class Search(Strict):
    """How long and how wide to search."""

    hours: Annotated[Number, Field(gt=0)] = 8.0
    """Longest search, hours."""
    workers: Workers = "auto"
    """Number of processes, or auto for one a core."""
    keep: Annotated[Whole, Field(ge=1)] = 200
    """Number of ranked candidates to keep."""
    settings: Annotated[Whole, Field(ge=1, le=10000)] = 10
    """Number of each build's best settings to keep in each duty."""
    seed: Annotated[Whole, Field(ge=0)] = 1
    """Seed of all chance in the run; the same seed and files give the same ranking."""


def _some(duties: dict[str, Duty]) -> dict[str, Duty]:
    if not duties:
        raise Unsound("no duty", "at least one duty with its limits and targets")
    return duties


class GoalsFile(Strict):
    """The goals file as written: car and parts are paths beside it, or the mappings themselves."""

    format: Format
    name: Name | None = None
    """A name for this set of goals."""
    car: Annotated[Annotated[str, Tag(PLAIN)] | Annotated[Car, Tag(MAPPING)], plain_or_mapping()]
    """Path of the car file, from the folder of this file; or the car itself."""
    parts: Annotated[
        Annotated[str, Tag(PLAIN)] | Annotated[Parts, Tag(MAPPING)], plain_or_mapping()
    ]
    """Path of the parts file, from the folder of this file; or the parts themselves."""
    readings: str | None = None
    """Path of readings of the car as it stands, from the folder of this file, YAML or CSV; the car
    file is held against them."""
    tolerances: Tolerances = Tolerances()
    """How well the car is measured and set."""
    duties: Annotated[dict[Identifier, Duty], Field(max_length=30), AfterValidator(_some)]
    """The uses that the car must serve, each with its limits and targets."""
    changeover: Changeover | None = None
    """What may be changed between duties. Left out, each duty is set up by itself, whatever a swap takes."""
    search: Search = Search()
    """How long and how wide to search."""
    note: Note | None = None
    """Anything worth remembering; not used."""

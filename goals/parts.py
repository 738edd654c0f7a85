"""The parts file: what may be bolted on, declared by effect and never coded.

Points fixed to the knuckle (``ball_joint`` outside the arm's station, ``tie_rod_outer``, ``strut_lower``,
``strut_upper``, ``hub_face``) are given in the knuckle's own frame: origin at the middle of the hub face,
y along the spindle outward, x forward in the wheel plane and level as measured, z up in the wheel plane.
All other points are given in car axes. Everything is for the left side; the right side is its mirror.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from goals.base import Identifier, Length, Point, Strict


class Station(StrEnum):
    """The place on the car that a part occupies."""

    KNUCKLE = "knuckle"
    TIE_ROD = "tie_rod"
    TIE_ROD_STUD = "tie_rod_stud"
    RACK_MOUNT = "rack_mount"
    RACK_END = "rack_end"
    LOWER_ARM = "lower_arm"
    BALL_JOINT_STUB = "ball_joint_stub"
    TOP_MOUNT = "top_mount"
    WHEEL = "wheel"
    WHEEL_SPACER = "wheel_spacer"
    STEERING_STOP = "steering_stop"
    ANTIROLL_BAR = "antiroll_bar"
    SPRING_SEAT = "spring_seat"


class PointName(StrEnum):
    """A point that a part can replace or move.

    ``ball_joint`` means the arm's end for a part at the lower_arm station and the knuckle's end
    elsewhere; ``arm_ball_joint`` and ``knuckle_ball_joint`` say it outright.
    """

    ARM_FRONT = "arm_front"
    ARM_REAR = "arm_rear"
    BALL_JOINT = "ball_joint"
    ARM_BALL_JOINT = "arm_ball_joint"
    KNUCKLE_BALL_JOINT = "knuckle_ball_joint"
    TOP_MOUNT = "top_mount"
    STRUT_LOWER = "strut_lower"
    STRUT_UPPER = "strut_upper"
    TIE_ROD_OUTER = "tie_rod_outer"
    TIE_ROD_INNER = "tie_rod_inner"
    HUB_FACE = "hub_face"


class RackNumbers(Strict):
    travel: Length | None = None
    per_turn: Length | None = None


class WheelNumbers(Strict):
    offset: Length | None = None
    width: Length | None = None
    spacer: Length | None = None


class TyreNumbers(Strict):
    width: Length | None = None
    diameter: Length | None = None
    loaded_radius: Length | None = None


class Numbers(Strict):
    """Numbers of the car file, under the car file's own names, that a part sets or adds to."""

    rack: RackNumbers | None = None
    wheel: WheelNumbers | None = None
    tyre: TyreNumbers | None = None
    lowered_by: Length | None = None


class Position(Strict):
    """One named position of a choice, with its moves in mm."""

    moves: dict[PointName, Point] = {}
    adds: Numbers | None = None
    note: str | None = None


class Adjuster(Strict):
    """A range that moves points along a direction: a slot, a thread, a slide.

    At a setting of s mm each named point moves s mm along its direction (made a unit vector), and each
    number in ``adds`` grows by s times its factor. Settings stand ``step`` apart from the range's low
    end, its high end included only where a step falls on it.
    """

    along: dict[PointName, Point] = {}
    adds: Numbers | None = None
    range: tuple[Length, Length]
    step: Annotated[Length, Field(gt=0)]
    reads: str | None = None
    note: str | None = None

    @model_validator(mode="after")
    def _upright(self) -> Adjuster:
        if self.range[0] > self.range[1]:
            low, high = self.range
            raise ValueError(f"range is upside down: {low:g} to {high:g}; low end first")
        if not self.along and self.adds is None:
            raise ValueError("an adjuster moves something: give 'along' or 'adds'")
        for name, direction in self.along.items():
            if not any(direction):
                raise ValueError(f"the direction of {name} has no length")
        return self


class Stack(Strict):
    """Loose pieces on a stud: what is put under the joint moves the point, the rest goes above it.

    ``pieces`` is thickness → count in the box for the whole car; each side has half. With ``usable``
    given, under and above together must fill that length of stud to within ``slack``.
    """

    point: PointName
    along: Point
    pieces: dict[Length, Annotated[int, Field(ge=0)]]
    usable: Annotated[Length, Field(gt=0)] | None = None
    slack: Annotated[Length, Field(ge=0)] = 1.0

    @model_validator(mode="after")
    def _sound(self) -> Stack:
        if not any(self.along):
            raise ValueError("the direction 'along' has no length")
        if any(thickness <= 0 for thickness in self.pieces):
            raise ValueError("a piece has a thickness above 0")
        return self


class RodAdjuster(Strict):
    """A threaded tube or adjuster of the tie-rod kit; ``count`` in the box for the whole car."""

    length: Annotated[Length, Field(gt=0)]
    count: Annotated[int, Field(ge=0)] = 2
    price: Annotated[float, Field(ge=0)] = 0.0


class Rod(Strict):
    """How a tie rod makes its length: two ends screwed into one of several adjusters.

    ``inner`` and ``outer`` are the lengths from joint centre to the thread's end. Eye to eye is
    inner + adjuster + outer less the engagement at both ends, which are kept equal.
    """

    inner: Annotated[Length, Field(gt=0)]
    outer: Annotated[Length, Field(gt=0)]
    thread: Annotated[Length, Field(gt=0)]
    pitch: Annotated[Length, Field(gt=0)]
    flats: Annotated[int, Field(ge=2)] = 6
    engagement: Annotated[Length, Field(gt=0)]
    adjusters: Annotated[list[RodAdjuster], Field(min_length=1)]


class Fits(Strict):
    not_with: list[Identifier] = []


class Part(Strict):
    """One part. ``today: true`` marks the part that is on the car as measured."""

    id: Identifier
    name: str | None = None
    today: bool = False
    points: dict[PointName, Point] = {}
    moves: dict[PointName, Point] = {}
    sets: Numbers | None = None
    adds: Numbers | None = None
    choices: dict[Identifier, Annotated[dict[Identifier, Position], Field(min_length=1)]] = {}
    adjusts: dict[Identifier, Adjuster] = {}
    stack: Stack | None = None
    rod: Rod | None = None
    strength: dict[str, float | str] | None = None
    fits: Fits = Fits()
    price: Annotated[float, Field(ge=0)] = 0.0
    owned: bool = False
    count: Annotated[int, Field(ge=0)] | None = None
    minutes: Annotated[float, Field(ge=0)] | None = None
    note: str | None = None


class Parts(Strict):
    """The box: for each station the parts that may stand there.

    Where no part of a station is marked ``today``, leaving the station as measured is a part of its
    own, named ``as_is``.
    """

    format: Literal[1]
    name: str | None = None
    currency: str = ""
    stations: Annotated[dict[Station, list[Part]], Field(min_length=1)]
    note: str | None = None

"""The car file: measured hard points, tyre, masses, rack: the car as it stands.

Axes follow ISO 8855 (x forward, y left, z up), millimetres and degrees, origin on the ground below the
front wheel centres on the centre plane, at the measured ride height. The left corner is written down.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from goals.base import Angle, Length, Mass, Point, RollStiffness, SpringRate, Strict

Positive = Field(gt=0)


class StrutPoints(Strict):
    """Hard points of a strut corner, left side, car axes."""

    arm_front: Point
    arm_rear: Point
    ball_joint: Point
    top_mount: Point
    strut_lower: Point
    tie_rod_outer: Point
    tie_rod_inner: Point
    hub_face: Point


class StrutPointsRight(Strict):
    """What differs on the right side, y negative; a point left out is the left one mirrored."""

    arm_front: Point | None = None
    arm_rear: Point | None = None
    ball_joint: Point | None = None
    top_mount: Point | None = None
    strut_lower: Point | None = None
    tie_rod_outer: Point | None = None
    tie_rod_inner: Point | None = None
    hub_face: Point | None = None


class Static(Strict):
    """Toe and camber as measured, per wheel: toe-in and a top leaning outward are positive."""

    toe: Angle
    camber: Angle


class Rack(Strict):
    """Steering rack: travel mm each way, mm per handwheel turn, compliance mm per kN of rack force."""

    travel: Annotated[Length, Positive]
    per_turn: Annotated[Length, Positive]
    compliance: Annotated[Length, Field(ge=0)] = 0.0


class Wheel(Strict):
    """Offset is positive when the mounting face lies outboard of the wheel's middle plane."""

    offset: Length
    width: Annotated[Length, Positive]
    spacer: Annotated[Length, Field(ge=0)] = 0.0


class Tyre(Strict):
    width: Annotated[Length, Positive]
    diameter: Annotated[Length, Positive]
    loaded_radius: Annotated[Length, Positive]


class Masses(Strict):
    """Car with driver as it stands; ``front`` is the mass on the front axle."""

    total: Annotated[Mass, Positive]
    front: Annotated[Mass, Positive]
    cg_height: Annotated[Length, Positive]
    unsprung_front: Annotated[Mass, Field(ge=0)] = 0.0


class Springs(Strict):
    rate: Annotated[SpringRate, Positive]
    motion_ratio: Annotated[float, Positive] = 1.0


class Rear(Strict):
    """The rear axle, as far as the front needs it."""

    roll_stiffness: Annotated[RollStiffness, Field(ge=0)] | None = None
    roll_centre_height: Length
    track: Annotated[Length, Positive] | None = None


class Car(Strict):
    """One car, as measured."""

    format: Literal[1]
    name: str
    suspension: Literal["strut"]
    wheelbase: Annotated[Length, Positive]
    points: StrutPoints
    points_right: StrutPointsRight | None = None
    static: Static
    rack: Rack
    wheel: Wheel
    tyre: Tyre
    masses: Masses | None = None
    springs: Springs | None = None
    rear: Rear | None = None
    antiroll_bar: dict[str, Any] | None = None
    joints: dict[str, Any] | None = None
    obstacles: list[dict[str, Any]] | None = None
    note: str | None = None

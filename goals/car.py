"""The car file: measured hard points, tyre, masses, rack: the car as it stands.

Axes follow ISO 8855 (x forward, y left, z up), millimetres and degrees, origin on the ground below the
front wheel centres on the centre plane, at the measured ride height. The left corner is written down.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from goals.base import (
    Angle,
    Direction,
    Format,
    Length,
    Mass,
    Number,
    Point,
    RollStiffness,
    SpringRate,
    Strict,
)
from goals.obstacles import Obstacle

Positive = Field(gt=0)


class StrutPoints(Strict):
    """Hard points of a strut corner, left side, car axes."""

    arm_front: Point
    """Front body pivot of the lower arm, [x, y, z] mm."""
    arm_rear: Point
    """Rear body pivot of the lower arm, [x, y, z] mm."""
    ball_joint: Point
    """Centre of the lower ball joint, [x, y, z] mm."""
    top_mount: Point
    """Centre of the strut's top bearing, [x, y, z] mm."""
    strut_lower: Point
    """A second point on the strut's sliding axis, fixed to the knuckle, [x, y, z] mm."""
    tie_rod_outer: Point
    """Centre of the outer tie-rod joint, [x, y, z] mm."""
    tie_rod_inner: Point
    """Centre of the inner tie-rod joint, rack centred, [x, y, z] mm."""
    hub_face: Point
    """Centre of the face that the wheel bolts to, [x, y, z] mm."""


class StrutPointsRight(Strict):
    """What differs on the right side, y negative; a point left out is the left one mirrored."""

    arm_front: Point | None = None
    """Front body pivot of the lower arm, [x, y, z] mm."""
    arm_rear: Point | None = None
    """Rear body pivot of the lower arm, [x, y, z] mm."""
    ball_joint: Point | None = None
    """Centre of the lower ball joint, [x, y, z] mm."""
    top_mount: Point | None = None
    """Centre of the strut's top bearing, [x, y, z] mm."""
    strut_lower: Point | None = None
    """A second point on the strut's sliding axis, fixed to the knuckle, [x, y, z] mm."""
    tie_rod_outer: Point | None = None
    """Centre of the outer tie-rod joint, [x, y, z] mm."""
    tie_rod_inner: Point | None = None
    """Centre of the inner tie-rod joint, rack centred, [x, y, z] mm."""
    hub_face: Point | None = None
    """Centre of the face that the wheel bolts to, [x, y, z] mm."""


class Static(Strict):
    """Toe and camber as measured, per wheel: toe-in and a top leaning outward are positive."""

    toe: Angle
    """Toe of each wheel, deg, toe-in positive."""
    camber: Angle
    """Camber of each wheel, deg, top leaning outward positive."""


class Rack(Strict):
    """Steering rack: travel mm each way, mm per handwheel turn, compliance mm per kN of rack force."""

    travel: Annotated[Length, Positive]
    """Rack travel from the centre to each end, mm."""
    per_turn: Annotated[Length, Positive]
    """Rack travel per turn of the handwheel, mm."""
    compliance: Annotated[Length, Field(ge=0)] = 0.0
    """How far the rack gives, mm per kN of rack force."""
    force: Annotated[Number, Field(ge=0)] | None = None
    """Greatest force along the rack that is counted with, kN; with compliance it adds to the overtravel."""


class Wheel(Strict):
    """Offset is positive when the mounting face lies outboard of the wheel's middle plane."""

    offset: Length
    """Offset, mm, positive when the mounting face lies outboard of the wheel's middle plane."""
    width: Annotated[Length, Positive]
    """Width of the rim, mm."""
    spacer: Annotated[Length, Field(ge=0)] = 0.0
    """Thickness of the spacer between hub and wheel, mm."""
    barrel_radius: Annotated[Length, Positive] | None = None
    """Radius of the rim's inside over the tie rod's end, mm; needed by rod_clearance."""
    lip: Annotated[Length, Field(ge=0)] = 8.0
    """From where the rim's width is measured inboard to the rim's inner edge, mm."""


class Tyre(Strict):
    """The tyre, as mounted."""

    width: Annotated[Length, Positive]
    """Width of the tyre, mm."""
    diameter: Annotated[Length, Positive]
    """Outer diameter, unloaded, mm."""
    loaded_radius: Annotated[Length, Positive]
    """Height of the wheel centre above the ground under load, mm."""
    shoulder: Annotated[Length, Field(ge=0)] | None = None
    """Radius of the shoulder's rounding, mm; left out: 0.15 of the width (common practice, no source)."""
    growth: Annotated[Length, Field(ge=0)] = 0.0
    """Allowance all round for growth at speed, for movement and for what is stuck to it, mm."""
    bulge: Annotated[Length, Field(ge=0)] | None = None
    """How far each side bulges under load, mm; left out: half the deflection (common practice, no source)."""


class Masses(Strict):
    """Car with driver as it stands; ``front`` is the mass on the front axle."""

    total: Annotated[Mass, Positive]
    """Mass of the car with driver, kg."""
    front: Annotated[Mass, Positive]
    """Mass on the front axle, kg."""
    cg_height: Annotated[Length, Positive]
    """Height of the centre of gravity above the ground, mm."""
    unsprung_front: Annotated[Mass, Field(ge=0)] = 0.0
    """Unsprung mass of the front axle, both sides, kg; 0 counts all of it as sprung."""
    unsprung_rear: Annotated[Mass, Field(ge=0)] = 0.0
    """Unsprung mass of the rear axle, both sides, kg; 0 counts all of it as sprung."""


class Springs(Strict):
    """Front springs."""

    rate: Annotated[SpringRate, Positive]
    """Rate of one spring, N/mm."""
    motion_ratio: Annotated[Number, Positive] = 1.0
    """Spring travel per wheel travel."""


class AntirollBar(Strict):
    """A round front anti-roll bar, solid or a tube, of steel (G 79.3 GPa, E 206 GPa)."""

    diameter: Annotated[Length, Positive]
    """Outer diameter of the bar, mm."""
    bore: Annotated[Length, Field(ge=0)] = 0.0
    """Inner diameter of a tube, mm; 0 is a solid bar."""
    length: Annotated[Length, Positive]
    """Length of the bar between its arms, the part that twists, mm."""
    arm: Annotated[Length, Positive]
    """Lever of the link's joint square to the bar's axis, mm."""
    arm_length: Annotated[Length, Positive] | None = None
    """True length of the arm from bar to link, which bends, mm; as long as 'arm' when left out."""
    motion_ratio: Annotated[Number, Positive]
    """Travel of the arm's end per wheel travel."""


class Rear(Strict):
    """The rear axle, as far as the front needs it."""

    roll_stiffness: Annotated[RollStiffness, Field(ge=0)] | None = None
    """Roll stiffness of the whole rear axle, springs and bar, N·m/deg; needed by roll and load transfer."""
    roll_centre_height: Length
    """Height of the rear roll centre above the ground, mm."""
    track: Annotated[Length, Positive] | None = None
    """Rear track, mm; needed by the front share of load transfer."""


class Joint(Strict):
    """A spherical joint: how far its maker lets it tilt, and how much of that is kept in hand."""

    tilt: Annotated[Angle, Field(gt=0)]
    """Largest tilt from its middle, deg, by its maker."""
    reserve: Annotated[Angle, Field(ge=0)] = 3.0
    """Kept in hand, deg (3 to 5 is common practice, no source)."""
    axis: Direction = (0.0, 0.0, 1.0)
    """Direction of its stud as measured, car axes; a rack's inner joint has none."""


class Joints(Strict):
    """Joints whose tilt is judged. A gate: never traded against merit."""

    ball_joint: Joint | None = None
    """Lower ball joint: stud in the knuckle, socket in the arm."""
    tie_rod_outer: Joint | None = None
    """Outer tie-rod joint: stud in the knuckle's arm, eye on the rod."""
    tie_rod_inner: Joint | None = None
    """Inner tie-rod joint, in line with the rack at its middle."""


class Car(Strict):
    """One car, as measured."""

    format: Format
    name: str
    """Name of the car."""
    suspension: Literal["strut"]
    """Kind of front suspension: strut, the only one that this version computes."""
    wheelbase: Annotated[Length, Positive]
    """Wheelbase, mm."""
    points: StrutPoints
    """Hard points of the left corner at the measured ride height, mm in car axes."""
    points_right: StrutPointsRight | None = None
    """Right-hand points that differ from the mirrored left ones, y negative; a mirror when left out."""
    static: Static
    """Toe and camber as measured."""
    rack: Rack
    """The steering rack."""
    wheel: Wheel
    """The front wheels."""
    tyre: Tyre
    """The front tyres."""
    masses: Masses | None = None
    """Masses; needed by the measures of roll and load transfer."""
    springs: Springs | None = None
    """Front springs; needed by the measures of roll stiffness, roll and load transfer."""
    rear: Rear | None = None
    """The rear axle; needed by the measures of roll and load transfer."""
    antiroll_bar: AntirollBar | None = None
    """The front anti-roll bar; a car without one when left out."""
    joints: Joints | None = None
    """Joint → tilt limit and axis."""
    obstacles: list[Obstacle] | None = None
    """Bodies that the tyre must keep off, left side; a gate: the tyre never touches one."""
    note: str | None = None
    """Anything worth remembering; not used."""

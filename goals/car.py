"""The car file: measured hard points, tyre, masses, rack: the car as it stands.

Axes follow ISO 8855 (x forward, y left, z up), millimetres and degrees, origin on the ground below the
front wheel centres on the centre plane, at the measured ride height. The left corner is written down.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, Tag, ValidationInfo, field_validator

from goals.base import (
    WITH,
    WITHOUT,
    Angle,
    Direction,
    Format,
    Length,
    Mass,
    Name,
    Note,
    Number,
    Point,
    RollStiffness,
    SpringRate,
    Strict,
    Whole,
    by_keys,
)
from goals.faults import Unsound
from goals.obstacles import MOST_OBSTACLES, Obstacle
from goals.outlines import Barrel, CaliperOutline, PlanOutline, PlanPoint

Positive = Field(gt=0)
Bolts = Annotated[Whole, Field(ge=3, le=12)]


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


class WishbonePoints(Strict):
    """Hard points of a double-wishbone corner, left side, car axes."""

    arm_front: Point
    """Front body pivot of the lower arm, [x, y, z] mm."""
    arm_rear: Point
    """Rear body pivot of the lower arm, [x, y, z] mm."""
    ball_joint: Point
    """Centre of the lower ball joint, [x, y, z] mm."""
    upper_front: Point
    """Front body pivot of the upper arm, [x, y, z] mm."""
    upper_rear: Point
    """Rear body pivot of the upper arm, [x, y, z] mm."""
    upper_ball_joint: Point
    """Centre of the upper ball joint, [x, y, z] mm."""
    tie_rod_outer: Point
    """Centre of the outer tie-rod joint, [x, y, z] mm."""
    tie_rod_inner: Point
    """Centre of the inner tie-rod joint, rack centred, [x, y, z] mm."""
    hub_face: Point
    """Centre of the face that the wheel bolts to, [x, y, z] mm."""


class PointsRight(Strict):
    """What differs on the right side, y negative; a point left out is the left one mirrored.

    Those that only one kind of suspension has need not be there, so this is one form for both kinds.
    """

    arm_front: Point | None = None
    """Front body pivot of the lower arm, [x, y, z] mm."""
    arm_rear: Point | None = None
    """Rear body pivot of the lower arm, [x, y, z] mm."""
    ball_joint: Point | None = None
    """Centre of the lower ball joint, [x, y, z] mm."""
    top_mount: Point | None = None
    """Centre of a strut's top bearing, [x, y, z] mm."""
    strut_lower: Point | None = None
    """A second point on a strut's sliding axis, fixed to the knuckle, [x, y, z] mm."""
    upper_front: Point | None = None
    """Front body pivot of a double wishbone's upper arm, [x, y, z] mm."""
    upper_rear: Point | None = None
    """Rear body pivot of a double wishbone's upper arm, [x, y, z] mm."""
    upper_ball_joint: Point | None = None
    """Centre of a double wishbone's upper ball joint, [x, y, z] mm."""
    tie_rod_outer: Point | None = None
    """Centre of the outer tie-rod joint, [x, y, z] mm."""
    tie_rod_inner: Point | None = None
    """Centre of the inner tie-rod joint, rack centred, [x, y, z] mm."""
    hub_face: Point | None = None
    """Centre of the face that the wheel bolts to, [x, y, z] mm."""


# Which suspension they are of shows in the points themselves, so that only its own faults are told.
Points = Annotated[
    Annotated[StrutPoints, Tag(WITHOUT)] | Annotated[WishbonePoints, Tag(WITH)], by_keys("upper_")
]


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
    bolts: Bolts | None = None
    """Number of bolt holes."""
    pitch_circle: Annotated[Length, Positive] | None = None
    """Diameter of the circle of the bolt holes, mm."""
    bore: Annotated[Length, Positive] | None = None
    """Diameter of the middle bore, or of the ring in it, mm; left out where the nuts centre the wheel."""
    pad: Annotated[Length, Positive] | None = None
    """Thickness of the wheel where a stud goes through, mounting face to nut seat, mm."""
    barrel: Barrel | None = None
    """The wheel's inside as [y, radius] pairs, mm: from the pad to the inboard rim, y from the mounting face
    and positive inboard, free space up to that radius from the spindle."""
    barrel_radius: Annotated[Length, Positive] | None = None
    """Radius of the rim's inside over the tie rod's end, mm; needed by rod_clearance."""
    lip: Annotated[Length, Field(ge=0)] = 8.0
    """From where the rim's width is measured inboard to the rim's inner edge, mm."""


class Hub(Strict):
    """The hub as far as a wheel is bolted to it; what is left out is not judged."""

    bolts: Bolts | None = None
    """Number of wheel studs (or bolts)."""
    pitch_circle: Annotated[Length, Positive] | None = None
    """Diameter of the circle of the studs, mm."""
    spigot: Annotated[Length, Positive] | None = None
    """Diameter of the spigot that centres the wheel, mm; left out where the nuts do."""
    stud_length: Annotated[Length, Positive] | None = None
    """Length of a wheel stud from the hub face to the end of its thread, mm."""
    stud_diameter: Annotated[Length, Positive] | None = None
    """Diameter of the wheel studs' thread, mm."""
    stud_pitch: Annotated[Length, Positive] | None = None
    """Pitch of the wheel studs' thread, mm."""
    engagement: Annotated[Length, Positive] | None = None
    """Least thread of a stud in its nut, mm; 1.5 times the diameter when left out (common practice, no
    source)."""


class Brake(Strict):
    """The front brake as far as the wheel must clear it."""

    profile: CaliperOutline | None = None
    """The caliper's outline in a half-plane through the spindle as [y, radius] pairs, mm: y from the hub face
    as measured and positive inboard; closed from the last point to the first."""


class Strut(Strict):
    """What is left of the strut's stroke as measured, at the measured ride height."""

    bump: Annotated[Length, Field(ge=0)] | None = None
    """Stroke left to the bump stop (or to where it is hard), mm."""
    droop: Annotated[Length, Field(ge=0)] | None = None
    """Stroke left to full extension, mm."""


class Arch(Strict):
    """The front wheel arch."""

    centre_x: Length
    """Place of the arch's centre along the car, x in car axes, mm."""


class TopMountOutline(Strict):
    """Where the top mount's centre may stand, in plan view, car axes, left side: a circle or a polygon."""

    centre: PlanPoint | None = None
    """Centre of the circle, [x, y] mm."""
    radius: Annotated[Length, Positive] | None = None
    """Radius of the circle, mm."""
    polygon: Annotated[PlanOutline | None, Field(validate_default=True)] = None
    """Corners of the outline in order, [x, y] mm."""

    @field_validator("polygon")
    @classmethod
    def _one_form(cls, polygon: PlanOutline | None, info: ValidationInfo) -> PlanOutline | None:
        if not {"centre", "radius"} <= info.data.keys():
            return polygon
        given = [info.data[name] is not None for name in ("centre", "radius")]
        if (polygon is None) != all(given) or any(given) != all(given):
            raise Unsound("an outline that is not one form", "'centre' and 'radius', or 'polygon'")
        return polygon


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


class BarPointsRight(Strict):
    """What differs of the bar on the right side, y negative; a point left out is the left one mirrored."""

    pivot: Point | None = None
    """A point on the bar's axis, [x, y, z] mm."""
    end: Point | None = None
    """The link's joint at the bar's arm, [x, y, z] mm."""
    link: Point | None = None
    """The link's other joint, [x, y, z] mm."""


class CornerHeights(Strict):
    """How the car stands where its corners are not level: wheel travel from ride height, bump positive."""

    left: Length
    """Left wheel's travel at which the car stands, mm."""
    right: Length
    """Right wheel's travel at which the car stands, mm."""


class AntirollBar(Strict):
    """A round front anti-roll bar, solid or a tube, of steel (G 79.3 GPa, E 206 GPa).

    Its geometry is either told by 'arm' and 'motion_ratio', or solved from 'pivot', 'end', 'link' and
    'link_on', which go together.
    """

    diameter: Annotated[Length, Positive]
    """Outer diameter of the bar, mm."""
    bore: Annotated[Length, Field(ge=0)] = 0.0
    """Inner diameter of a tube, mm; 0 is a solid bar."""
    length: Annotated[Length, Positive]
    """Length of the bar between its arms, the part that twists, mm."""
    arm: Annotated[Length, Positive] | None = None
    """Lever of the link's joint square to the bar's axis, mm; follows from the bar's points where given."""
    arm_length: Annotated[Length, Positive] | None = None
    """True length of the arm from bar to link, which bends, mm; as long as its lever when left out."""
    motion_ratio: Annotated[Number, Positive] | None = None
    """Travel of the arm's end per wheel travel; solved where the bar's points are given."""
    pivot: Point | None = None
    """A point on the bar's axis, which runs along y, at the left arm, [x, y, z] mm."""
    end: Point | None = None
    """The left link's joint at the bar's arm, [x, y, z] mm."""
    link: Point | None = None
    """The left link's other joint, [x, y, z] mm."""
    link_on: Literal["arm", "knuckle", "strut"] | None = None
    """What carries the link's other joint: the lower arm, the knuckle or the strut."""
    right: BarPointsRight | None = None
    """Right-hand points of the bar that differ from the mirrored left ones, y negative."""
    corner_heights: CornerHeights | None = None
    """How the car stands, for the bar's preload; level at ride height when left out."""


class Rear(Strict):
    """The rear axle, as far as the front needs it."""

    roll_stiffness: Annotated[RollStiffness, Field(ge=0)] | None = None
    """Roll stiffness of the whole rear axle, springs and bar, N·m/deg; needed by roll and load transfer."""
    roll_centre_height: Length
    """Height of the rear roll centre above the ground, mm."""
    track: Annotated[Length, Positive] | None = None
    """Rear track, mm; needed by the front share of load transfer."""


# What is kept in hand of a joint's tilt where a file does not say, deg.
USUAL_RESERVE = 3.0


def _leaves_some(reserve: float, info: ValidationInfo) -> float:
    """A joint's reserve; raises ``Unsound`` where it takes all of the tilt."""
    tilt = info.data.get("tilt")
    if tilt is not None and reserve >= tilt:
        raise Unsound(
            f"a reserve of {reserve:g} deg leaves nothing of {tilt:g} deg of tilt",
            f"a reserve below the tilt; where none is given it is {USUAL_RESERVE:g} deg",
        )
    return reserve


# Looked at where it is left out too: the usual one may be too much for a joint. It stands after the tilt.
Reserve = Annotated[Angle, Field(ge=0, validate_default=True), AfterValidator(_leaves_some)]


class Joint(Strict):
    """A spherical joint: how far its maker lets it tilt, and how much of that is kept in hand."""

    tilt: Annotated[Angle, Field(gt=0)]
    """Largest tilt from its middle, deg, by its maker."""
    reserve: Reserve = USUAL_RESERVE
    """Kept in hand, deg (3 to 5 is common practice, no source)."""
    axis: Direction = (0.0, 0.0, 1.0)
    """Direction of its stud as measured, car axes; a rack's inner joint has none."""


class MountJoint(Strict):
    """A spherical bearing at the strut's top, fixed in the body."""

    tilt: Annotated[Angle, Field(gt=0)]
    """Largest tilt from its middle, deg, by its maker."""
    reserve: Reserve = USUAL_RESERVE
    """Kept in hand, deg (3 to 5 is common practice, no source)."""
    axis: Direction | None = None
    """Direction of its middle, car axes; the strut's sliding axis as measured when left out."""


class Joints(Strict):
    """Joints whose tilt is judged. A gate: never traded against merit."""

    ball_joint: Joint | None = None
    """Lower ball joint: stud in the knuckle, socket in the arm."""
    upper_ball_joint: Joint | None = None
    """Upper ball joint of a double wishbone: stud in the knuckle, socket in the arm."""
    tie_rod_outer: Joint | None = None
    """Outer tie-rod joint: stud in the knuckle's arm, eye on the rod."""
    tie_rod_inner: Joint | None = None
    """Inner tie-rod joint, in line with the rack at its middle."""
    top_mount: MountJoint | None = None
    """Top bearing, round the strut's sliding axis, fixed in the body."""


class Car(Strict):
    """One car, as measured."""

    format: Format
    name: Name
    """Name of the car."""
    suspension: Literal["strut", "double_wishbone"]
    """Kind of front suspension: strut or double_wishbone; it says which points there are."""
    wheelbase: Annotated[Length, Positive]
    """Wheelbase, mm."""
    points: Points
    """Hard points of the left corner at the measured ride height, mm in car axes."""
    points_right: PointsRight | None = None
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
    hub: Hub | None = None
    """The hub's studs and spigot; needed by the measures of how wheels fit."""
    brake: Brake | None = None
    """The caliper's outline; needed by caliper_clearance."""
    strut: Strut | None = None
    """Stroke left of the strut; needed by strut_stroke_left."""
    arch: Arch | None = None
    """The wheel arch; needed by wheel_in_arch."""
    top_mount_outline: TopMountOutline | None = None
    """Where the top mount may stand; needed by top_mount_room."""
    obstacles: Annotated[list[Obstacle] | None, Field(max_length=MOST_OBSTACLES)] = None
    """Bodies that the tyre must keep off, left side; a gate: the tyre never touches one."""
    note: Note | None = None
    """Anything worth remembering; not used."""

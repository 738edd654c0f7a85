"""The parts file: what may be bolted on, declared by effect and never coded.

Points fixed to the knuckle (``ball_joint`` and ``upper_ball_joint`` outside their arm's station,
``tie_rod_outer``, ``strut_lower``, ``strut_upper``, ``hub_face``, and ``bar_link`` where knuckle or strut
carries it) are given in the knuckle's own frame: origin at the middle of the hub face, y along the spindle
outward, x forward in the wheel plane and level as measured, z up in the wheel plane.
All other points are given in car axes. Everything is for the left side; the right side is its mirror.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from goals.base import (
    Angle,
    Currency,
    Direction,
    Flag,
    Format,
    Identifier,
    Length,
    Name,
    Note,
    Number,
    Point,
    Span,
    Strict,
    Whole,
)
from goals.car import USUAL_RESERVE, Bolts, Brake, Reserve
from goals.faults import Unsound
from goals.obstacles import MOST_OBSTACLES, Obstacle
from goals.outlines import Barrel
from goals.units import LENGTH


class Station(StrEnum):
    """The place on the car that a part occupies."""

    KNUCKLE = "knuckle"
    TIE_ROD = "tie_rod"
    TIE_ROD_STUD = "tie_rod_stud"
    RACK_MOUNT = "rack_mount"
    RACK_END = "rack_end"
    LOWER_ARM = "lower_arm"
    UPPER_ARM = "upper_arm"
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
    elsewhere; ``arm_ball_joint`` and ``knuckle_ball_joint`` say it outright. ``upper_ball_joint`` likewise,
    with the upper_arm station.
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
    UPPER_FRONT = "upper_front"
    UPPER_REAR = "upper_rear"
    UPPER_BALL_JOINT = "upper_ball_joint"
    ARM_UPPER_BALL_JOINT = "arm_upper_ball_joint"
    KNUCKLE_UPPER_BALL_JOINT = "knuckle_upper_ball_joint"
    BAR_PIVOT = "bar_pivot"
    BAR_END = "bar_end"
    BAR_LINK = "bar_link"


class RackNumbers(Strict):
    """Numbers of the steering rack."""

    travel: Length | None = None
    """Rack travel from the centre to each end, mm."""
    per_turn: Length | None = None
    """Rack travel per turn of the handwheel, mm."""


class WheelNumbers(Strict):
    """Numbers of the front wheels."""

    offset: Length | None = None
    """Offset, mm, positive when the mounting face lies outboard of the wheel's middle plane."""
    width: Length | None = None
    """Width of the rim, mm."""
    spacer: Length | None = None
    """Thickness of the spacer between hub and wheel, mm."""
    pitch_circle: Length | None = None
    """Diameter of the circle of the bolt holes, mm."""
    bore: Length | None = None
    """Diameter of the middle bore, or of the ring in it, mm."""
    pad: Length | None = None
    """Thickness of the wheel where a stud goes through, mm."""


class WheelData(WheelNumbers):
    """What a part may say of the front wheels: their numbers, and what cannot be added to."""

    bolts: Bolts | None = None
    """Number of bolt holes."""
    barrel: Barrel | None = None
    """The wheel's inside as [y, radius] pairs, mm, as in the car file."""
    barrel_radius: Length | None = None
    """Radius of the rim's inside over the tie rod's end, mm."""
    lip: Length | None = None
    """From where the rim's width is measured inboard to the rim's inner edge, mm."""


class HubNumbers(Strict):
    """Numbers of the hub; a stud's length counts from the car's own hub face, whatever is bolted to it."""

    pitch_circle: Length | None = None
    """Diameter of the circle of the wheel studs, mm."""
    spigot: Length | None = None
    """Diameter of the spigot that centres the wheel, mm."""
    stud_length: Length | None = None
    """Length of a wheel stud from the hub face to the end of its thread, mm."""


class HubData(HubNumbers):
    """What a part may say of the hub: its numbers, and what cannot be added to."""

    bolts: Bolts | None = None
    """Number of wheel studs (or bolts)."""
    stud_diameter: Annotated[Length, Field(gt=0)] | None = None
    """Diameter of the wheel studs' thread, mm."""
    stud_pitch: Annotated[Length, Field(gt=0)] | None = None
    """Pitch of the wheel studs' thread, mm."""
    engagement: Annotated[Length, Field(gt=0)] | None = None
    """Least thread of a stud in its nut, mm."""


class StrutNumbers(Strict):
    """What is left of the strut's stroke with the car as measured but for this part."""

    bump: Length | None = None
    """Stroke left to the bump stop, mm."""
    droop: Length | None = None
    """Stroke left to full extension, mm."""


class TyreNumbers(Strict):
    """Numbers of the front tyres."""

    width: Length | None = None
    """Width of the tyre, mm."""
    diameter: Length | None = None
    """Outer diameter, unloaded, mm."""
    loaded_radius: Length | None = None
    """Height of the wheel centre above the ground under load, mm."""


class BarNumbers(Strict):
    """Numbers of the front anti-roll bar."""

    diameter: Length | None = None
    """Outer diameter of the bar, mm."""
    bore: Length | None = None
    """Inner diameter of a tube, mm; 0 is a solid bar."""
    length: Length | None = None
    """Length of the bar between its arms, the part that twists, mm."""
    arm_length: Length | None = None
    """True length of the arm from bar to link, which bends, mm."""
    link_length: Length | None = None
    """Length of the link between its joints, mm; as measured from 'end' to 'link' when no part says."""


class Numbers(Strict):
    """Numbers of the car file, under the car file's own names, that a part sets or adds to."""

    rack: RackNumbers | None = None
    """Numbers of the steering rack."""
    wheel: WheelNumbers | None = None
    """Numbers of the front wheels."""
    tyre: TyreNumbers | None = None
    """Numbers of the front tyres."""
    antiroll_bar: BarNumbers | None = None
    """Numbers of the front anti-roll bar."""
    hub: HubNumbers | None = None
    """Numbers of the hub."""
    strut: StrutNumbers | None = None
    """Stroke of the strut."""
    lowered_by: Length | None = None
    """Lowering of the body, mm."""


class TyreData(TyreNumbers):
    """What a part may say of the front tyres: their numbers, and what cannot be added to."""

    shoulder: Length | None = None
    """Radius of the shoulder's rounding, mm."""
    growth: Length | None = None
    """Allowance all round for growth at speed, mm."""
    bulge: Length | None = None
    """How far each side bulges under load, mm."""


class Data(Numbers):
    """What a part says in place of the car file, under the car file's own names."""

    tyre: TyreData | None = None
    """The front tyres."""
    wheel: WheelData | None = None
    """The front wheels."""
    hub: HubData | None = None
    """The hub's studs and spigot."""
    brake: Brake | None = None
    """The front brake: the caliper's outline."""


class PartJoint(Strict):
    """A spherical joint that comes with a part, in place of the car file's."""

    tilt: Annotated[Angle, Field(gt=0)]
    """Largest tilt from its middle, deg, by its maker."""
    reserve: Reserve = USUAL_RESERVE
    """Kept in hand, deg (3 to 5 is common practice, no source)."""
    axis: Direction | None = None
    """Direction of its stud in the knuckle's own frame (of a top_mount: of its middle, in car axes); as the
    car file has it when left out."""


class PartJoints(Strict):
    """Joints that come with a part. Where two parts of a build tell of one, the later station's counts."""

    ball_joint: PartJoint | None = None
    """Lower ball joint."""
    upper_ball_joint: PartJoint | None = None
    """Upper ball joint of a double wishbone."""
    tie_rod_outer: PartJoint | None = None
    """Outer tie-rod joint."""
    tie_rod_inner: PartJoint | None = None
    """Inner tie-rod joint."""
    top_mount: PartJoint | None = None
    """Top bearing."""


class Position(Strict):
    """One named position of a choice, with its moves in mm."""

    moves: dict[PointName, Point] = Field(default_factory=dict)
    """Point → shift [x, y, z], mm."""
    adds: Numbers | None = None
    """What is added to the car's numbers."""
    note: Note | None = None
    """Anything worth remembering; not used."""


class Adjuster(Strict):
    """A range that moves points along a direction: a slot, a thread, a slide.

    At a setting of s mm each named point moves s mm along its direction (made a unit vector), and each
    number in ``adds`` grows by s times its factor. Settings stand ``step`` apart from the range's low
    end, its high end included only where a step falls on it.
    """

    along: dict[PointName, Direction] = Field(default_factory=dict)
    """Point → direction [x, y, z] in which it moves."""
    adds: Annotated[Numbers | None, Field(validate_default=True)] = None
    """Growth of the car's numbers per mm of setting."""
    range: Span
    """Range of settings [low, high], mm."""
    step: Annotated[Length, Field(gt=0)]
    """Step between settings, mm."""
    fine: Annotated[Length, Field(gt=0)] | None = None
    """Smallest step that a person can set by hand, mm, a whole part of ``step``: the best setting of each
    duty is refined to it. Where it is not told the adjuster stands on its steps alone."""
    error: Annotated[Length, Field(ge=0)] | None = None
    """How far it may be set off, +/- mm (coverage factor 2), each side on its own; as the goals file's
    tolerances say of 'settings' when left out."""
    reads: Name | None = None
    """What is read off on the car at a setting."""
    note: Note | None = None
    """Anything worth remembering; not used."""

    @field_validator("adds")
    @classmethod
    def _moves_something(cls, adds: Numbers | None, info: ValidationInfo) -> Numbers | None:
        if adds is None and info.data.get("along") == {}:
            raise Unsound("an adjuster that moves nothing", "'along', 'adds' or both")
        return adds


Thickness = Annotated[Length, Field(gt=0)]
# JSON Schema sees keys as texts: a bare number, or a number with a unit.
NUMBER_OR_LENGTH = rf"^[0-9.]+([eE][-+]?[0-9]+)?$|{LENGTH.pattern}"


class Stack(Strict):
    """Loose pieces on a stud: what is put under the joint moves the point, the rest goes above it.

    ``pieces`` is thickness → count in the box for the whole car; each side has half. With ``usable``
    given, under and above together must fill that length of stud to within ``slack``.
    """

    point: PointName
    """The point that the pieces move."""
    along: Direction
    """Direction [x, y, z] in which a piece put under the joint moves the point."""
    pieces: Annotated[
        dict[Thickness, Annotated[Whole, Field(ge=0)]],
        Field(json_schema_extra={"propertyNames": {"pattern": NUMBER_OR_LENGTH}}),
    ]
    """Thickness in mm → count in the box for the whole car."""
    usable: Annotated[Length, Field(gt=0)] | None = None
    """Usable length of the stud, mm, that the pieces must fill."""
    slack: Annotated[Length, Field(ge=0)] = 1.0
    """How far the pieces may be from filling the stud, mm."""


class RodAdjuster(Strict):
    """A threaded tube or adjuster of the tie-rod kit; ``count`` in the box for the whole car."""

    length: Annotated[Length, Field(gt=0)]
    """Length of the tube, mm."""
    count: Annotated[Whole, Field(ge=0)] = 2
    """How many there are in the box, for the whole car."""
    price: Annotated[Number, Field(ge=0)] = 0.0
    """Price of one."""


def _a_pair(adjusters: list[RodAdjuster]) -> list[RodAdjuster]:
    if not any(adjuster.count >= 2 for adjuster in adjusters):
        raise Unsound("no adjuster for both rods", "one length at least with a count of 2 or more")
    return adjusters


class Rod(Strict):
    """How a tie rod makes its length: two ends screwed into one of several adjusters.

    ``inner`` and ``outer`` are the lengths from joint centre to the thread's end. Eye to eye is
    inner + adjuster + outer less the engagement at both ends, which are kept equal.
    """

    inner: Annotated[Length, Field(gt=0)]
    """Inner rod, from joint centre to the thread's end, mm."""
    outer: Annotated[Length, Field(gt=0)]
    """Outer rod end, from joint centre to the thread's end, mm."""
    thread: Annotated[Length, Field(gt=0)]
    """Length of thread on each end, mm."""
    pitch: Annotated[Length, Field(gt=0)]
    """Pitch of the thread, mm."""
    flats: Annotated[Whole, Field(ge=2)] = 6
    """Flats by which the adjuster is turned and counted."""
    engagement: Annotated[Length, Field(gt=0)]
    """Least thread engagement at each end, mm."""
    adjusters: Annotated[
        list[RodAdjuster], Field(min_length=1, max_length=100), AfterValidator(_a_pair)
    ]
    """Tubes in the box, one of which joins the two ends."""


class Fits(Strict):
    """What the part can be combined with."""

    not_with: list[Identifier] = Field(default_factory=list, max_length=1000)
    """Ids of the parts that it can't be combined with."""


class Strength(Strict):
    """How strong the stud is on which the stack stands. A gate: never traded against merit."""

    stud_root: Annotated[Length, Field(gt=0)]
    """Root diameter of the stud's thread, mm."""
    lever: Annotated[Length, Field(ge=0)] = 0.0
    """From the arm's face to the joint's centre with nothing under the joint, mm."""
    design_load: Annotated[Number, Field(gt=0)] = 5000.0
    """Load across the stud at the joint's centre, N (5000 is common practice, no source)."""
    allowable_stress: Annotated[Number, Field(gt=0)]
    """Bending stress that the stud may see, MPa: from its maker, with a margin to yield."""


Positions = Annotated[dict[Identifier, Position], Field(min_length=1, max_length=500)]


# Things to set on one part, of a kind; more of them make numbers of settings that nobody can read.
MOST_SET = 24


class Part(Strict):
    """One part. ``today: true`` marks the part that is on the car as measured."""

    id: Identifier
    """Name of the part in tables and results, used once in the whole file."""
    name: Name | None = None
    """What it is called in the shop."""
    today: Flag = False
    """True for the part that is on the car as measured; at most one a station."""
    points: dict[PointName, Point] = Field(default_factory=dict)
    """Point → where this part puts it, [x, y, z] mm; knuckle points in the knuckle's own frame."""
    moves: dict[PointName, Point] = Field(default_factory=dict)
    """Point → fixed shift [x, y, z], mm."""
    sets: Data | None = None
    """What this part says in place of the car file."""
    adds: Numbers | None = None
    """What this part adds to numbers of the car file."""
    choices: dict[Identifier, Positions] = Field(default_factory=dict, max_length=MOST_SET)
    """Choice → its named positions, one of which is used: a turned mount, a bar's holes."""
    adjusts: dict[Identifier, Adjuster] = Field(default_factory=dict, max_length=MOST_SET)
    """Adjuster → the range in which it stands: a slot, a thread, a slide."""
    stack: Stack | None = None
    """Loose pieces on a stud."""
    rod: Rod | None = None
    """How the tie rod makes its length."""
    obstacles: list[Obstacle] = Field(default_factory=list, max_length=MOST_OBSTACLES)
    """Bodies that come with this part; one with a name of the car's takes that one's place."""
    strength: Strength | None = None
    """Strength of the stud on which the part's stack stands."""
    joints: PartJoints | None = None
    """Joints that come with the part, in place of the car file's."""
    fits: Fits = Fits()
    """What the part can be combined with."""
    price: Annotated[Number, Field(ge=0)] = 0.0
    """Price, in the file's currency."""
    owned: Flag = False
    """True when it need not be bought."""
    count: Annotated[Whole, Field(ge=0)] | None = None
    """How many there are."""
    minutes: Annotated[Number, Field(ge=0)] | None = None
    """Time to change or re-set it at the track, both sides of the car, without the wheel's, minutes."""
    behind_wheel: Flag | None = None
    """Whether the front wheels have to come off for it; where not told, wheels and wheel spacers alone."""
    note: Note | None = None
    """Anything worth remembering; not used."""


Choice = Annotated[list[Part], Field(max_length=1000)]


def _some(stations: dict[Station, list[Part]]) -> dict[Station, list[Part]]:
    if not stations:
        raise Unsound("no station", "at least one station with its parts")
    return stations


class Parts(Strict):
    """The box: for each station the parts that may stand there.

    Where no part of a station is marked ``today``, leaving the station as measured is a part of its
    own, named ``as_is``.
    """

    format: Format
    name: Name | None = None
    """A name for this box of parts."""
    currency: Currency = ""
    """Currency of all prices."""
    wheel_off: Annotated[Number, Field(ge=0)] = 0.0
    """Time to take one front wheel off and put it back, minutes: counted once a corner in a swap between
    duties, whatever is done behind it."""
    stations: Annotated[dict[Station, Choice], AfterValidator(_some)]
    """Station → the parts that may stand there."""
    note: Note | None = None
    """Anything worth remembering; not used."""

"""The readings file: what a builder's own gauges said of one car.

Bump-steer gauge, turn plates and alignment, taken of the car as it stands, or of a build on its set-down.
Signs are those of the car file: toe-in, a top leaning outward (camber), rearward (caster) or inward
(kingpin inclination), bump travel and a left turn are positive; rack displacement is positive to the left.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from goals.base import (
    Angle,
    Format,
    Identifier,
    Length,
    Name,
    Note,
    Number,
    Strict,
    Travel,
    Words,
)
from goals.faults import Fault, Unsound, nearest, one_of
from goals.geometry import ONLY, other_kind
from goals.section import Section
from goals.units import LENGTH

# Points whose height above the ground can be read on a standing car.
HEIGHTS = (
    "arm_front",
    "arm_rear",
    "ball_joint",
    "upper_front",
    "upper_rear",
    "top_mount",
    "tie_rod_outer",
    "tie_rod_inner",
)

Lean = Annotated[Angle, Field(ge=-45, le=45)]
Known = Annotated[Length, Field(gt=0)]
Sure = Annotated[Angle, Field(gt=0)]

ToePair = Annotated[
    tuple[Travel, Annotated[Number, Field(ge=-2000, le=2000)]],
    Words("a pair [travel in mm, toe change from ride height in deg, or in the dials' unit]"),
]
CamberPair = Annotated[tuple[Travel, Lean], Words("a pair [travel in mm, camber in deg]")]
PlatePair = Annotated[
    tuple[
        Annotated[Angle, Field(gt=0, le=80)],
        Annotated[Angle, Field(ge=-10, le=80)],
    ],
    Words("a pair [inner wheel in deg, outer wheel in deg], both positive into the turn"),
]


class Dials(Strict):
    """A gauge that is read as the difference of two dials on a plate beside the wheel."""

    unit: Literal["mm", "thou"] = "mm"
    """What the dials are marked in: mm, or thousandths of an inch."""
    base: Known
    """Distance between the two dials along the car, mm."""


def _each_once(pairs: list[tuple[float, float]]) -> list[tuple[float, float]]:
    seen: set[float] = set()
    for number, (at, _) in enumerate(pairs, 1):
        if at in seen:
            raise Unsound(f"{at:g} is read twice, again as #{number}", "each place once in a list")
        seen.add(at)
    return pairs


class GaugeRun(Strict):
    """One wheel taken over travel with the steering held, zeroed at ride height."""

    wheel: Literal["left", "right"]
    """Which wheel: left or right."""
    rack: Length = 0.0
    """Where the rack is held, mm from its centre, positive to the left of the car."""
    dials: Dials | None = None
    """The two dials that toe is read with; toe is in deg when left out."""
    toe: Annotated[list[ToePair], Field(max_length=500), AfterValidator(_each_once)] = Field(
        default_factory=list
    )
    """Toe change from ride height: pairs [travel in mm, deg or dials' unit], toe-in positive; with
    dials the front one's reading less the rear one's, both counted towards the car."""
    camber: Annotated[
        list[CamberPair],
        Field(max_length=500, validate_default=True),
        AfterValidator(_each_once),
    ] = Field(default_factory=list)
    """Camber: pairs [travel in mm, deg], top outward positive."""

    @field_validator("toe")
    @classmethod
    def _zeroed(cls, pairs: list[tuple[float, float]]) -> list[tuple[float, float]]:
        for travel, change in pairs:
            if travel == 0.0 and change != 0.0:
                found = f"a toe change of {change:g} at travel 0"
                raise Unsound(found, "0 there: the gauge is zeroed at ride height")
        return pairs

    @field_validator("camber")
    @classmethod
    def _something(
        cls, camber: list[tuple[float, float]], info: ValidationInfo
    ) -> list[tuple[float, float]]:
        if not camber and not info.data.get("toe", [None]):
            raise Unsound("a gauge run without a reading", "'toe', 'camber' or both")
        return camber


class PlateRun(Strict):
    """Both wheels on turn plates at ride height, for one direction of turn."""

    turn: Literal["left", "right"]
    """Which way is steered: left or right."""
    readings: Annotated[
        list[PlatePair], Field(min_length=1, max_length=500), AfterValidator(_each_once)
    ]
    """Pairs [inner wheel in deg, outer wheel in deg], each from its own straight ahead."""


class WheelReadings(Strict):
    """One wheel straight ahead at ride height."""

    toe: Lean | None = None
    """Toe of this wheel, deg, toe-in positive."""
    camber: Lean | None = None
    """Camber, deg, top outward positive."""
    caster: Lean | None = None
    """Caster, deg, top rearward positive."""
    kingpin_inclination: Lean | None = None
    """Kingpin inclination, deg, top inward positive."""
    rod_length: Known | None = None
    """Tie rod between joint centres, mm."""
    heights: dict[str, Length] = Field(default_factory=dict)
    """Hard point → height of its centre above the ground, mm."""

    @field_validator("heights")
    @classmethod
    def _known(cls, heights: dict[str, float]) -> dict[str, float]:
        for name in heights:
            if name not in HEIGHTS:
                close = nearest(name, HEIGHTS)
                raise Unsound(f"'{name}' is no point whose height is read", one_of(HEIGHTS), close)
        return heights


class StaticReadings(Strict):
    """Alignment straight ahead at ride height."""

    left: WheelReadings | None = None
    """The left wheel."""
    right: WheelReadings | None = None
    """The right wheel."""


class Uncertainty(Strict):
    """How far a reading may be off, ± with coverage factor 2: half of it is the standard deviation.

    The defaults are common practice, no source.
    """

    toe_change: Sure = 0.03
    """Toe change on the gauge, ± deg."""
    dials: Known = 0.1
    """Difference of the two dials, ± mm."""
    camber: Sure = 0.1
    """Camber, ± deg."""
    turn_plates: Sure = 0.3
    """One turn plate, ± deg."""
    toe: Sure = 0.05
    """Static toe of one wheel, ± deg."""
    caster: Sure = 0.3
    """Caster, ± deg."""
    kingpin_inclination: Sure = 0.5
    """Kingpin inclination, ± deg."""
    rod_length: Known = 1.0
    """Tie rod between joint centres, ± mm."""
    heights: Known = 2.0
    """Height of a point above the ground, ± mm."""


class Readings(Strict):
    """Readings of one car in one state."""

    format: Format
    name: Name | None = None
    """What was read, and when."""
    lowered_by: Travel | None = None
    """How much lower than the car file's ride height the car stood, mm; as the file, or as the
    duty sets it, when left out."""
    duty: Identifier | None = None
    """Duty that the car was set to, for the set-down of a build."""
    gauge: Annotated[list[GaugeRun], Field(max_length=100)] = Field(default_factory=list)
    """Runs of the bump-steer gauge."""
    turn_plates: Annotated[list[PlateRun], Field(max_length=100)] = Field(default_factory=list)
    """Readings on turn plates."""
    static: StaticReadings | None = None
    """Alignment straight ahead."""
    uncertainty: Uncertainty = Uncertainty()
    """How far readings may be off; common practice, no source, when left out."""
    note: Note | None = None
    """Anything worth remembering; not used."""


def check_readings(readings: Section, car: Section | None) -> Iterator[Fault]:
    """What no single field can tell, on plain data: an empty file, and what the car does not have."""
    data = readings.mapping()
    static = [side for _, side in readings.down("static").items() if side.mapping()]
    if data and not data.get("gauge") and not data.get("turn_plates") and not static:
        yield readings.fault("no reading in the file", "'gauge', 'turn_plates' or 'static'")
    if car is None:
        return
    limit = car.down("rack", "travel").quantity(LENGTH)
    for _, run in readings.down("gauge").items():
        rack = run.down("rack").quantity(LENGTH)
        if rack is not None and limit is not None and abs(rack) > limit:
            found = f"the rack at {rack:g} mm"
            yield run.down("rack").fault(found, f"no more than its travel, {limit:g} mm each way")
    own = car.mapping().get("suspension")
    other = other_kind(own)
    strange = ONLY[other] if other is not None else ()
    for side in static:
        for name, height in side.down("heights").items():
            if name in strange:
                yield height.fault(f"height of {name}, which a {own} has not", "", key=True)

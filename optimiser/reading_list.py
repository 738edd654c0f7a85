"""A readings file as a flat list: each reading with its value, its standard deviation and its words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import sqrt

from goals.duties import COVERAGE
from goals.readings import GaugeRun, PlateRun, Readings, Uncertainty, WheelReadings
from kinematics.scene import Side
from optimiser.precision import fixed
from optimiser.wording import short, spoken, travel_words

TOE_CHANGE, DIALS, CAMBER, PLATES = "toe_change", "dials", "camber", "turn_plates"
TOE, CASTER, KINGPIN = "toe", "caster", "kingpin_inclination"
ROD, HEIGHT = "rod_length", "heights"
# Kinds of reading in the order in which they are told, with their names and their units.
KINDS = {
    TOE_CHANGE: ("toe over travel", "deg"),
    DIALS: ("toe by dials", "mm"),
    CAMBER: ("camber", "deg"),
    PLATES: ("outer on turn plates", "deg"),
    TOE: ("static toe", "deg"),
    CASTER: ("caster", "deg"),
    KINGPIN: ("kingpin inclination", "deg"),
    ROD: ("tie-rod length", "mm"),
    HEIGHT: ("height of a point", "mm"),
}
DECIMALS = {"deg": 3, "mm": 2, "thou": 1}
THOU = 0.0254  # mm, exact


@dataclass(frozen=True)
class Reading:
    """One reading: ``value`` and its standard deviation ``sigma`` in ``unit``.

    ``side`` is the wheel, or the inner wheel of a turn on plates. ``travel`` and ``rack`` (along +y of the
    car) are mm, ``inner`` is the inner wheel's angle in deg, ``base`` the dials' in mm, ``point`` the point
    whose height was read.
    """

    kind: str
    side: Side
    value: float
    sigma: float
    unit: str
    travel: float = 0.0
    rack: float = 0.0
    inner: float = 0.0
    base: float = 0.0
    point: str = ""

    @property
    def words(self) -> str:
        """Which reading: 'toe over travel, left wheel, 60 mm bump, rack 20 mm'."""
        if self.kind == PLATES:
            return f"outer at inner {short(self.inner)} deg, {self.side} turn"
        name = KINDS[self.kind][0]
        if self.kind == HEIGHT:
            name = f"height of {spoken(self.point)}"
        at = f", {travel_words(self.travel)}" if self.over_travel else ""
        rack = f", rack {short(self.rack)} mm" if self.rack else ""
        return f"{name}, {self.side} wheel{at}{rack}"

    @property
    def over_travel(self) -> bool:
        """Whether the gauge took it over travel."""
        return self.kind in (TOE_CHANGE, DIALS, CAMBER)

    @property
    def mirrored(self) -> Reading:
        """The same reading of the other side, as a car with alike sides would give it."""
        other: Side = "right" if self.side == "left" else "left"
        return replace(self, side=other, rack=-self.rack)

    def told(self, value: float) -> str:
        """A value of this reading's kind in words, with its unit."""
        return f"{fixed(value, DECIMALS[self.unit])} {self.unit}"


def deviation(kind: str, sure: Uncertainty) -> float:
    """Standard deviation of a reading of a kind, in the kind's unit."""
    plain = float(getattr(sure, kind)) / COVERAGE
    # the inner plate is off as much as the outer one, and moves the outer angle about as much as itself
    return sqrt(2.0) * plain if kind == PLATES else plain


def reading_list(readings: Readings) -> list[Reading]:
    """Every reading of a file that can tell something; a gauge's zero at ride height cannot."""
    found: list[Reading] = []
    for run in readings.gauge:
        found += _gauge(run, readings)
    for plates in readings.turn_plates:
        found += _plates(plates, readings)
    sides: tuple[Side, ...] = ("left", "right")
    for side in sides:
        wheel = None if readings.static is None else getattr(readings.static, side)
        if wheel is not None:
            found += _static(side, wheel, readings)
    return found


def _gauge(run: GaugeRun, readings: Readings) -> Iterator[Reading]:
    sure = readings.uncertainty
    for travel, value in run.toe:
        if travel == 0.0:
            continue
        if run.dials is None:
            sigma = deviation(TOE_CHANGE, sure)
            yield Reading(TOE_CHANGE, run.wheel, value, sigma, "deg", travel, run.rack)
            continue
        sigma = deviation(DIALS, sure) / (THOU if run.dials.unit == "thou" else 1.0)
        unit, base = run.dials.unit, run.dials.base
        yield Reading(DIALS, run.wheel, value, sigma, unit, travel, run.rack, base=base)
    for travel, value in run.camber:
        yield Reading(
            CAMBER, run.wheel, value, deviation(CAMBER, sure), "deg", travel, run.rack
        )  # fmt: skip


def _plates(run: PlateRun, readings: Readings) -> Iterator[Reading]:
    sigma = deviation(PLATES, readings.uncertainty)
    for inner, outer in run.readings:
        yield Reading(PLATES, run.turn, outer, sigma, "deg", inner=inner)


def _static(side: Side, wheel: WheelReadings, readings: Readings) -> Iterator[Reading]:
    sure = readings.uncertainty
    for kind in (TOE, CAMBER, CASTER, KINGPIN, ROD):
        value = getattr(wheel, kind)
        if value is not None:
            yield Reading(kind, side, value, deviation(kind, sure), KINDS[kind][1])
    for point, height in wheel.heights.items():
        yield Reading(HEIGHT, side, height, deviation(HEIGHT, sure), "mm", point=point)

"""Errors told of single hard points: each must name a point that the car has."""

from __future__ import annotations

from collections.abc import Iterator

from goals.car import StrutPoints, WishbonePoints
from goals.faults import Fault, nearest, one_of, show
from goals.section import Section

POINTS = {
    "strut": tuple(StrutPoints.model_fields),
    "double_wishbone": tuple(WishbonePoints.model_fields),
}
EVERY_POINT = tuple(dict.fromkeys(name for names in POINTS.values() for name in names))


def check_tolerances(goals: Section, car: Section) -> Iterator[Fault]:
    """Faults of errors that are told of a point which the car's suspension has not."""
    # of a car whose suspension is no word of ours any point may be meant
    known = POINTS.get(str(car.mapping().get("suspension")), EVERY_POINT)
    for name, section in goals.down("tolerances", "points").items():
        if isinstance(goals.down("tolerances", "points").data, dict) and name not in known:
            close = nearest(str(name), known)
            found = f"unknown hard point {show(name)} in tolerances.points"
            yield section.fault(found, one_of(list(known), close), close, key=True)

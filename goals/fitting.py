"""Parts against the car: points and stations that its suspension does not have."""

from __future__ import annotations

from collections.abc import Iterator

from goals.faults import Fault, show
from goals.geometry import other_kind
from goals.parts import Station
from goals.section import Section

# What only one kind of suspension has: points of parts, and stations.
POINTS = {
    "strut": ("top_mount", "strut_lower", "strut_upper"),
    "double_wishbone": (
        "upper_front",
        "upper_rear",
        "upper_ball_joint",
        "arm_upper_ball_joint",
        "knuckle_upper_ball_joint",
    ),
}
STATIONS = {"strut": (Station.TOP_MOUNT,), "double_wishbone": (Station.UPPER_ARM,)}
SPOKEN = {"strut": "a strut", "double_wishbone": "a double wishbone"}


def check_fit(parts: Section, car: Section) -> Iterator[Fault]:
    """Faults of parts that name what the car's kind of suspension has not; told at the name."""
    own = car.mapping().get("suspension")
    other = other_kind(own)
    if other is None:
        return
    for name, station in parts.down("stations").items():
        if name in STATIONS[other]:
            found = (
                f"station {show(name)} is of {SPOKEN[other]}, and the car has {SPOKEN[str(own)]}"
            )
            yield station.fault(found, "a station that the car has", key=True)
            continue
        for _, part in station.items():
            for point, key in _points(part):
                word = point.path[-1] if key else point.data
                if word in POINTS[other]:
                    found = f"{word} is of {SPOKEN[other]}, and the car has {SPOKEN[str(own)]}"
                    yield point.fault(found, "a point that the car has", key=key)


def _points(part: Section) -> Iterator[tuple[Section, bool]]:
    """Where a part names points: as keys (True), or as the stack's value."""
    for effect in ("points", "moves"):
        yield from ((point, True) for _, point in part.down(effect).items())
    for _, choice in part.down("choices").items():
        for _, position in choice.items():
            yield from ((point, True) for _, point in position.down("moves").items())
    for _, adjuster in part.down("adjusts").items():
        yield from ((point, True) for _, point in adjuster.down("along").items())
    yield part.down("stack", "point"), False

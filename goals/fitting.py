"""What a car's kind of suspension does not have, wherever the files name it: points, stations, joints."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from goals.asks import catalogue, measures_named
from goals.faults import Fault, show
from goals.fitted import adds_of
from goals.geometry import other_kind
from goals.obstacles import places_of
from goals.parts import Station
from goals.section import Section
from kinematics.rows import STRUT, WISHBONE

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
JOINTS = {"strut": ("top_mount",), "double_wishbone": ("upper_ball_joint",)}
SECTIONS: dict[str, tuple[str, ...]] = {
    "strut": ("strut", "top_mount_outline"),
    "double_wishbone": (),
}
KINDS = {"strut": STRUT, "double_wishbone": WISHBONE}
SPOKEN = {"strut": "a strut", "double_wishbone": "a double wishbone"}


@dataclass(frozen=True)
class _Kinds:
    """The suspension that the car has, and the one that it has not."""

    own: str
    other: str

    def fault(self, at: Section, what: str, expected: str, *, key: bool = True) -> Fault:
        found = f"{what} is of {SPOKEN[self.other]}, and the car has {SPOKEN[self.own]}"
        return at.fault(found, expected, key=key)


def check_fit(goals: Section, car: Section, parts: Section) -> Iterator[Fault]:
    """Faults of what the car's kind of suspension has not: in the car, its parts, and what is asked."""
    own = car.mapping().get("suspension")
    other = other_kind(own)
    if other is None:
        return
    kinds = _Kinds(str(own), other)
    yield from _car(car, kinds)
    for name, station in parts.down("stations").items():
        if name in STATIONS[other]:
            yield kinds.fault(station, f"station {show(name)}", "a station that the car has")
            continue
        for _, part in station.items():
            yield from _part(part, kinds)
    measures = catalogue()
    for name, section in measures_named(goals):
        if name in measures and measures[name].kind == KINDS[other]:
            yield kinds.fault(section, str(name), "a measure that the car's suspension has")


def _car(car: Section, kinds: _Kinds) -> Iterator[Fault]:
    for name in SECTIONS[kinds.other]:
        if car.mapping().get(name) is not None:
            yield kinds.fault(car.down(name), name, "a section that belongs to the suspension")
    yield from _joints(car.down("joints"), kinds)
    yield from _obstacles(car.down("obstacles"), kinds)
    carrier = car.down("antiroll_bar", "link_on")
    if kinds.other == "strut" and carrier.data == "strut":
        yield carrier.fault(
            "the anti-roll bar's link is on a strut, and the car has a double wishbone",
            "arm or knuckle",
        )


def _joints(joints: Section, kinds: _Kinds) -> Iterator[Fault]:
    for name in JOINTS[kinds.other]:
        if joints.mapping().get(name) is not None:
            yield kinds.fault(joints.down(name), f"the joint {name}", "a joint that the car has")


def _obstacles(obstacles: Section, kinds: _Kinds) -> Iterator[Fault]:
    """Obstacles that ride on, or hang on, what the car has not."""
    for _, obstacle in obstacles.items() if isinstance(obstacles.data, list) else ():
        carrier = obstacle.down("on")
        if kinds.other == "strut" and carrier.data == "strut":
            expected = "body, arm, knuckle or tie_rod"
            yield kinds.fault(carrier, "an obstacle on the strut", expected, key=False)
        places = [*places_of(obstacle), obstacle.down("point")]
        for place in places:
            if isinstance(place.data, str) and place.data in POINTS[kinds.other]:
                expected = "a point that the car has"
                yield kinds.fault(place, place.data, expected, key=False)


def _part(part: Section, kinds: _Kinds) -> Iterator[Fault]:
    for point, key in _points(part):
        word = point.path[-1] if key else point.data
        if word in POINTS[kinds.other]:
            yield kinds.fault(point, str(word), "a point that the car has", key=key)
    yield from _joints(part.down("joints"), kinds)
    yield from _obstacles(part.down("obstacles"), kinds)
    if kinds.other == "strut":
        for numbers in (part.down("sets"), *adds_of(part)):
            if numbers.mapping().get("strut") is not None:
                yield kinds.fault(numbers.down("strut"), "strut", "numbers that the car has")


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

"""Obstacles: what the rolling tyre must keep off, in the car file and with the parts that bring them.

Everything is said of the left side and mirrored for the right. A place is a hard point's name, which goes
where that point goes, or coordinates: car axes as measured in the car file, and in the parts file the
knuckle's own frame for what rides on the knuckle or the strut.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from enum import StrEnum
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    Discriminator,
    Field,
    Tag,
    ValidationInfo,
    field_validator,
)

from goals.base import (
    MANY,
    PLAIN,
    Direction,
    Identifier,
    Length,
    Note,
    Point,
    Strict,
    by_form,
)
from goals.faults import Fault, Unsound, nearest, one_of, show
from goals.section import Section

SHAPES = ("capsule", "chain", "ball", "arch", "plane", "box")
# More of them, of a car or of a part, would take too long to keep clear of.
MOST_OBSTACLES = 60
# Points nearer to each other, or to a straight line, than this are one, mm.
SAME = 1.0


class Carrier(StrEnum):
    """What an obstacle rides on."""

    BODY = "body"
    ARM = "arm"
    KNUCKLE = "knuckle"
    STRUT = "strut"
    TIE_ROD = "tie_rod"
    BAR = "bar"


class HardPoint(StrEnum):
    """A hard point on which an obstacle can hang."""

    BALL_JOINT = "ball_joint"
    ARM_FRONT = "arm_front"
    ARM_REAR = "arm_rear"
    TOP_MOUNT = "top_mount"
    STRUT_LOWER = "strut_lower"
    TIE_ROD_OUTER = "tie_rod_outer"
    TIE_ROD_INNER = "tie_rod_inner"
    HUB_FACE = "hub_face"
    UPPER_FRONT = "upper_front"
    UPPER_REAR = "upper_rear"
    UPPER_BALL_JOINT = "upper_ball_joint"
    BAR_PIVOT = "bar_pivot"
    BAR_END = "bar_end"
    BAR_LINK = "bar_link"


BAR_POINTS = tuple(point.value for point in HardPoint if point.value.startswith("bar_"))
Place = Annotated[
    Annotated[Point, Tag(MANY)] | Annotated[HardPoint, Tag(PLAIN)],
    by_form((list, tuple), MANY, PLAIN),
]
Radius = Annotated[Length, Field(gt=0)]
Vector = tuple[float, float, float]


def _apart(places: Sequence[Vector | HardPoint]) -> Sequence[Vector | HardPoint]:
    """Each place apart from the one before it, as far as can be told without the car."""
    for number, (one, two) in enumerate(pairwise(places), start=1):
        if _is_one(one, two):
            where = "" if len(places) == 2 else f" #{number} and #{number + 1}"
            raise Unsound(f"places{where} are one point", "places that are apart")
    return places


def _is_one(one: Vector | HardPoint, two: Vector | HardPoint) -> bool:
    if isinstance(one, HardPoint) or isinstance(two, HardPoint):
        return one is two
    return math.dist(one, two) < SAME


def _bent(points: tuple[Vector, Vector, Vector]) -> tuple[Vector, Vector, Vector]:
    """Three points through which one circle goes."""
    one, two, three = points
    a, b, c = math.dist(one, two), math.dist(two, three), math.dist(one, three)
    # how far the middle point is from the line through the others, by Heron's formula
    half = (a + b + c) / 2.0
    area = math.sqrt(max(half * (half - a) * (half - b) * (half - c), 0.0))
    if min(a, b, c) < SAME or 2.0 * area / c < SAME:
        raise Unsound("the three points lie in line, or two are one", "points that make an arc")
    return points


class _Obstacle(Strict):
    """What every obstacle says."""

    name: Identifier
    """Name of the obstacle in tables and results."""
    on: Carrier
    """What it rides on: body, arm, knuckle, strut, tie_rod or bar (then its places are bar_pivot, bar_end or
    bar_link)."""
    note: Note | None = None
    """Anything worth remembering; not used."""


class Capsule(_Obstacle):
    """A straight tube or bar with round ends: an arm, a rod, a strut."""

    shape: Literal["capsule"]
    """Shape: capsule, chain, ball, arch, plane or box."""
    ends: Annotated[tuple[Place, Place], AfterValidator(_apart)]
    """Both ends of its middle line: [x, y, z] mm or a hard point's name."""
    radius: Radius
    """Radius of the tube, mm."""


class Chain(_Obstacle):
    """A bent tube or bar: straight tubes from each point to the next."""

    shape: Literal["chain"]
    """Shape: capsule, chain, ball, arch, plane or box."""
    points: Annotated[list[Place], Field(min_length=2, max_length=30), AfterValidator(_apart)]
    """Points along its middle line: [x, y, z] mm or a hard point's name."""
    radius: Radius
    """Radius of the tube, mm."""


class Ball(_Obstacle):
    """A ball: a joint, a bolt's head."""

    shape: Literal["ball"]
    """Shape: capsule, chain, ball, arch, plane or box."""
    point: Place
    """Its middle: [x, y, z] mm or a hard point's name."""
    radius: Radius
    """Radius of the ball, mm."""


class Arch(_Obstacle):
    """A tube or lip bent to an arc of a circle: a wheel arch's edge."""

    shape: Literal["arch"]
    """Shape: capsule, chain, ball, arch, plane or box."""
    points: Annotated[tuple[Point, Point, Point], AfterValidator(_bent)]
    """Three points of its middle line in order: one end, about the middle, the other end; [x, y, z] mm."""
    radius: Radius
    """Radius of the tube, mm."""


class Plane(_Obstacle):
    """Everything behind a flat surface without end: an inner fender, a bulkhead."""

    shape: Literal["plane"]
    """Shape: capsule, chain, ball, arch, plane or box."""
    point: Place
    """A point of the surface: [x, y, z] mm or a hard point's name."""
    normal: Direction
    """Direction [x, y, z] square to the surface, towards the side that is free."""


class Box(_Obstacle):
    """A box along the axes in which it is written: a rail, a caliper, a bracket."""

    shape: Literal["box"]
    """Shape: capsule, chain, ball, arch, plane or box."""
    low: Point
    """Corner with the smallest x, y and z, mm."""
    high: Point
    """Corner with the greatest x, y and z, mm."""

    @field_validator("high")
    @classmethod
    def _upright(cls, high: Vector, info: ValidationInfo) -> Vector:
        low = info.data.get("low")
        for axis, small, great in zip("xyz", low or high, high, strict=True):
            if low is not None and small >= great:
                raise Unsound(
                    f"box is upside down: its {axis} goes from {small:g} to {great:g}",
                    "more in 'high' than in 'low' along every axis",
                )
        return high


def _tag(raw: Any) -> str:
    """The branch by the shape that is written; any will do where that is told as a fault already."""
    shape = raw.get("shape") if isinstance(raw, dict) else getattr(raw, "shape", None)
    return f"<{shape}>" if shape in SHAPES else "<capsule>"


Obstacle = Annotated[
    Annotated[Capsule, Tag("<capsule>")]
    | Annotated[Chain, Tag("<chain>")]
    | Annotated[Ball, Tag("<ball>")]
    | Annotated[Arch, Tag("<arch>")]
    | Annotated[Plane, Tag("<plane>")]
    | Annotated[Box, Tag("<box>")],
    Discriminator(_tag),
]


def check_obstacles(car: Section, parts: Section) -> Iterator[Fault]:
    """Shapes that are none, and names that are used twice where both could stand on one car.

    A part's obstacle may have the name of one of the car's, whose place it takes; parts of one station are
    never fitted together.
    """
    yield from _shapes(car.down("obstacles"))
    told = car.down("antiroll_bar", "pivot").data is not None
    yield from _of_the_bar(car.down("obstacles"), told)
    yield from _twice(car.down("obstacles"), {})
    elsewhere: dict[str, int] = {}
    for _, station in parts.down("stations").items():
        here: dict[str, int] = {}
        for _, part in station.items():
            yield from _shapes(part.down("obstacles"))
            yield from _of_the_bar(part.down("obstacles"), told)
            own: dict[str, int] = {}
            yield from _twice(part.down("obstacles"), elsewhere, own)
            here = {**own, **here}
        elsewhere.update(here)


def _shapes(obstacles: Section) -> Iterator[Fault]:
    for _, obstacle in obstacles.items() if isinstance(obstacles.data, list) else ():
        if not isinstance(obstacle.data, dict):
            continue
        shape = obstacle.down("shape")
        word = shape.data
        if word in SHAPES:
            continue
        close = nearest(word, SHAPES)
        if "shape" in obstacle.data:
            yield shape.fault(f"{show(word)} is no shape", one_of(SHAPES, close), close)
        else:
            yield obstacle.fault("key 'shape' is missing", one_of(SHAPES))
        obstacle.document.broken.add(obstacle.path)


def _of_the_bar(obstacles: Section, told: bool) -> Iterator[Fault]:
    """Obstacles on the anti-roll bar hang on its points, which the car file has to tell."""
    for _, obstacle in obstacles.items() if isinstance(obstacles.data, list) else ():
        if not isinstance(obstacle.data, dict):
            continue
        rides = obstacle.down("on").data == Carrier.BAR.value
        places = list(places_of(obstacle))
        if rides and not places:
            found = f"{show(obstacle.down('shape').data)} on the bar"
            yield obstacle.down("on").fault(found, "a capsule, chain or ball on the bar's points")
        for place in places:
            if rides and place.data not in BAR_POINTS:
                yield place.fault(
                    "a place on the bar that is none of its points", one_of(BAR_POINTS)
                )
            elif place.data in BAR_POINTS and not told:
                found = f"{place.data} of a bar whose points the car file does not tell"
                yield place.fault(found, "antiroll_bar: {pivot: …, end: …, link: …, link_on: …}")


def places_of(obstacle: Section) -> Iterator[Section]:
    """Where an obstacle's line says that it stands: each of its ends or points."""
    for several in ("ends", "points"):
        if isinstance(obstacle.down(several).data, list):
            yield from (place for _, place in obstacle.down(several).items())
    if obstacle.mapping().get("shape") == "ball" and "point" in obstacle.mapping():
        yield obstacle.down("point")


def _twice(
    obstacles: Section, elsewhere: dict[str, int], own: dict[str, int] | None = None
) -> Iterator[Fault]:
    """Names met before, in this list or in ``elsewhere``; those of this list are put into ``own``."""
    met = {} if own is None else own
    for _, obstacle in obstacles.items() if isinstance(obstacles.data, list) else ():
        name = obstacle.down("name")
        if not isinstance(name.data, str | int) or not isinstance(obstacle.data, dict):
            continue
        word = str(name.data)
        line = met.get(word, elsewhere.get(word))
        if line is not None:
            found = f"obstacle name {show(word)} is used twice, first on line {line}"
            yield name.fault(found, "a name of its own for each obstacle")
        met.setdefault(word, name.document.place(name.path).line)

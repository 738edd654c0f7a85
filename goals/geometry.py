"""Car files that are well written but no car: points that coincide, sides that are swapped."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from goals.bars import check_bar
from goals.car import StrutPoints, WishbonePoints
from goals.document import NO_KEY
from goals.faults import Fault
from goals.section import Section
from goals.units import ANGLE, LENGTH, MASS

Vector = tuple[float, float, float]

# Two points nearer than this are one point to a tape measure, mm.
SAME = 1.0
# A wheel whose contact point is further than this from the ground was measured in two states, mm.
OFF_GROUND = 15.0

NAMES = tuple(dict.fromkeys([*StrutPoints.model_fields, *WishbonePoints.model_fields]))
# Points that only one kind of suspension has.
ONLY = {
    "strut": tuple(n for n in StrutPoints.model_fields if n not in WishbonePoints.model_fields),
    "double_wishbone": tuple(
        n for n in WishbonePoints.model_fields if n not in StrutPoints.model_fields
    ),
}
# Least sine of the angle between upper arm and steering axis: in line, the arm holds nothing.
IN_LINE = 0.05


@dataclass(frozen=True)
class _Side:
    """One side's points, mirrored ones filled in, and the section that faults are placed in."""

    points: Mapping[str, Vector]
    section: Section
    given: frozenset[str]


def check_car(car: Section) -> Iterator[Fault]:
    """Faults of a car that cannot be: on plain data, passing over what is no number or point."""
    yield from _other_suspension(car)
    yield from _strange_right(car)
    for side in _sides(car):
        yield from _wrong_side(side)
        for check in _CHECKS:
            yield from _checked(side, check)
    yield from _masses(car.down("masses"))
    yield from check_bar(car.down("antiroll_bar"))


def car_notices(car: Section) -> list[str]:
    """Things about a car that are odd, though it can be computed."""
    notices = []
    height = _contact_height(car)
    if height is not None and abs(height) > OFF_GROUND:
        where = "above" if height > 0 else "below"
        notices.append(
            f"the front tyres would touch {abs(height):.0f} mm {where} the ground: hub_face, the wheel's "
            "offset and spacer, and loaded_radius do not belong together"
        )
    radius = car.down("tyre", "loaded_radius").quantity(LENGTH)
    diameter = car.down("tyre", "diameter").quantity(LENGTH)
    if radius is not None and diameter is not None and radius > diameter / 2.0:
        notices.append(
            f"the tyre's loaded radius, {radius:g} mm, is more than half its diameter, {diameter:g} mm"
        )
    compliance = car.down("rack", "compliance").quantity(LENGTH)
    if compliance and car.down("rack").mapping().get("force") is None:
        notices.append(
            "the rack's compliance is not counted: no 'force' in the car's rack says how hard it is pushed"
        )
    moving = [each for _, each in car.down("obstacles").items() if each.down("on").data != "body"]
    if moving and car.down("wheel").mapping().get("barrel_radius") is None:
        notices.append(
            "the wheel counts as solid, and what reaches into it, as ball joint and tie rod do, touches it: "
            "no 'barrel_radius' in the car's wheel says how wide it is inside"
        )
    return notices


def other_kind(suspension: object) -> str | None:
    """The kind of suspension that a car is not; None where the file's word is neither."""
    others = [kind for kind in ONLY if kind != suspension]
    return others[0] if len(others) == 1 else None


def _other_suspension(car: Section) -> Iterator[Fault]:
    """Points of a suspension that the car does not have, told once."""
    own = car.mapping().get("suspension")
    other = other_kind(own)
    if other is None:
        return
    left = car.down("points")
    strange = [name for name in ONLY[other] if name in left.mapping()]
    if strange:
        found = f"suspension is {own}, but the points have {strange[0]}"
        yield car.down("suspension").fault(found, f"{other}, or {_listed(ONLY[str(own)])} instead")
    elif left.mapping() and not any(name in left.mapping() for name in ONLY[str(own)]):
        found = f"the points have none of those that a {own} has"
        yield left.fault(found, _listed(ONLY[str(own)]), key=True)
    else:
        return
    # what else is missing would be told of a suspension that may not be meant
    left.document.broken.add((*left.path, NO_KEY))


def _strange_right(car: Section) -> Iterator[Fault]:
    """What a right side has that the car's suspension has not."""
    own = car.mapping().get("suspension")
    other = other_kind(own)
    if other is None:
        return
    left, right = car.down("points"), car.down("points_right")
    strange = any(name in left.mapping() for name in ONLY[other])
    for name in ONLY[other]:
        if name in right.mapping() and not strange:
            found = f"points_right has {name}, which a {other} has and a {own} has not"
            yield right.down(name).fault(
                found, "points of the same suspension on both sides", key=True
            )


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names[:-1]) + " and " + names[-1]


def _sides(car: Section) -> Iterator[_Side]:
    left = car.down("points")
    points = {name: point for name in NAMES if (point := left.down(name).point()) is not None}
    yield _Side(points, left, frozenset(points))
    right = car.down("points_right")
    own = {name: point for name in NAMES if (point := right.down(name).point()) is not None}
    if own:
        # Seen in a mirror the right side is a left one, so that the same checks do for both.
        whole = {**points, **{name: (x, -y, z) for name, (x, y, z) in own.items()}}
        yield _Side(whole, right, frozenset(own))


def _wrong_side(side: _Side) -> Iterator[Fault]:
    sign, word = ("above", "left") if side.section.path[-1] == "points" else ("below", "right")
    for name in sorted(side.given):
        if side.points[name][1] <= 0.0:
            found = f"{name} is not on the {word} side of the car"
            yield side.section.down(name).fault(found, f"a y {sign} 0: y points to the left")


@dataclass(frozen=True)
class _Check:
    """A rule about some points: ``broken`` is true when it does not hold; the fault is at ``at``."""

    names: tuple[str, ...]
    at: str
    broken: Callable[..., bool]
    found: str
    expected: str


def _checked(side: _Side, check: _Check) -> Iterator[Fault]:
    points = [side.points[name] for name in check.names if name in side.points]
    own = [name for name in (check.at, *check.names) if name in side.given]
    if len(points) == len(check.names) and own and check.broken(*points):
        yield side.section.down(own[0]).fault(check.found, check.expected)


def _same(a: Vector, b: Vector) -> bool:
    return math.dist(a, b) < SAME


def _on_line(a: Vector, b: Vector, point: Vector) -> bool:
    """True when ``point`` is on the line through a and b, which are apart."""
    length = math.dist(a, b)
    if length < SAME:
        return False
    ux, uy, uz = ((q - p) / length for p, q in zip(a, b, strict=True))
    vx, vy, vz = (q - p for p, q in zip(a, point, strict=True))
    return math.hypot(uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx) < SAME


def _in_line(front: Vector, rear: Vector, joint: Vector, ball: Vector) -> bool:
    """True when the upper arm, seen along its pivots, points along the steering axis."""
    if _on_line(front, rear, joint) or _same(front, rear) or _same(joint, ball):
        return False
    f, r, j, b = (np.array(point) for point in (front, rear, joint, ball))
    pivot = f - r
    way = np.cross(pivot, j - r)  # in which the joint can move
    size = float(np.linalg.norm(way) * np.linalg.norm(j - b))
    return abs(float(way @ (j - b))) < IN_LINE * size


def _not_above(upper: Vector, lower: Vector) -> bool:
    return upper[2] <= lower[2]


_CHECKS = (
    _Check(
        ("arm_front", "arm_rear"),
        "arm_rear",
        _same,
        "arm_front and arm_rear are one point: the arm has no axis to turn about",
        "two pivots that are apart",
    ),
    _Check(
        ("arm_front", "arm_rear", "ball_joint"),
        "ball_joint",
        _on_line,
        "ball_joint is on the line through the arm's pivots: the arm has no length",
        "a ball joint outboard of the pivots",
    ),
    _Check(
        ("tie_rod_outer", "tie_rod_inner"),
        "tie_rod_inner",
        _same,
        "tie_rod_outer and tie_rod_inner are one point: the tie rod has no length",
        "two joints that are apart",
    ),
    _Check(
        ("top_mount", "ball_joint"),
        "top_mount",
        _not_above,
        "top_mount is not above ball_joint",
        "a greater z for the top mount",
    ),
    _Check(
        ("top_mount", "strut_lower"),
        "strut_lower",
        _same,
        "strut_lower and top_mount are one point: the strut has no direction",
        "a second point on the sliding axis, well below the top mount",
    ),
    _Check(
        ("top_mount", "strut_lower"),
        "strut_lower",
        lambda top, lower: _not_above(top, lower) and not _same(top, lower),
        "strut_lower is not below top_mount",
        "a smaller z for the lower point",
    ),
    _Check(
        ("top_mount", "ball_joint", "tie_rod_outer"),
        "tie_rod_outer",
        _on_line,
        "tie_rod_outer is on the steering axis: the steering arm has no length",
        "a joint beside the line from ball joint to top mount",
    ),
    _Check(
        ("upper_front", "upper_rear"),
        "upper_rear",
        _same,
        "upper_front and upper_rear are one point: the upper arm has no axis to turn about",
        "two pivots that are apart",
    ),
    _Check(
        ("upper_front", "upper_rear", "upper_ball_joint"),
        "upper_ball_joint",
        _on_line,
        "upper_ball_joint is on the line through the upper arm's pivots: the arm has no length",
        "a ball joint outboard of the pivots",
    ),
    _Check(
        ("upper_ball_joint", "ball_joint"),
        "upper_ball_joint",
        _not_above,
        "upper_ball_joint is not above ball_joint",
        "a greater z for the upper ball joint",
    ),
    _Check(
        ("upper_front", "upper_rear", "upper_ball_joint", "ball_joint"),
        "upper_ball_joint",
        _in_line,
        "the upper arm points along the steering axis: it holds the knuckle no way",
        "an arm that stands across the line between the ball joints",
    ),
    _Check(
        ("upper_ball_joint", "ball_joint", "tie_rod_outer"),
        "tie_rod_outer",
        _on_line,
        "tie_rod_outer is on the steering axis: the steering arm has no length",
        "a joint beside the line between the ball joints",
    ),
)


def _masses(masses: Section) -> Iterator[Fault]:
    total, front, unsprung, unsprung_rear = (
        masses.down(key).quantity(MASS)
        for key in ("total", "front", "unsprung_front", "unsprung_rear")
    )
    if total is not None and front is not None and front >= total > 0:
        found = f"the front axle carries {front:g} kg of {total:g} kg"
        yield masses.down("front").fault(found, "less than the whole mass")
    if front is not None and unsprung is not None and unsprung >= front > 0:
        found = f"unsprung_front is {unsprung:g} kg of the front axle's {front:g} kg"
        yield masses.down("unsprung_front").fault(found, "less than the front axle's mass")
    rear = None if total is None or front is None else total - front
    if rear is not None and unsprung_rear is not None and unsprung_rear >= rear > 0:
        found = f"unsprung_rear is {unsprung_rear:g} kg of the rear axle's {rear:g} kg"
        yield masses.down("unsprung_rear").fault(found, "less than the rear axle's mass")


def _contact_height(car: Section) -> float | None:
    """Height of the left contact point above the ground, mm, from hub face, wheel and radius."""
    hub = car.down("points", "hub_face").point()
    wheel = car.down("wheel")
    offset = wheel.down("offset").quantity(LENGTH)
    spacer = wheel.down("spacer").quantity(LENGTH) if "spacer" in wheel.mapping() else 0.0
    radius = car.down("tyre", "loaded_radius").quantity(LENGTH)
    camber = car.down("static", "camber").quantity(ANGLE)
    if hub is None or offset is None or spacer is None or radius is None or camber is None:
        return None
    lean = math.radians(camber)
    # The spindle points outward and, with the top leaning outward, down.
    centre = hub[2] - math.sin(lean) * (spacer - offset)
    return centre - radius * math.cos(lean)

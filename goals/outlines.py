"""Outlines that people write as lists of points: profiles in a half-plane, and outlines in plan view."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated

from pydantic import AfterValidator, Field

from goals.base import Length, Words
from goals.faults import Unsound

Pair = tuple[float, float]

# Every piece of an outline is held against every other.
MOST_POINTS = 100

_PAIRS = "the chain goes over itself between its pieces {} and {}"


def _crossing(points: Sequence[Pair], *, closed: bool) -> tuple[int, int] | None:
    """Numbers, from 1, of two pieces of a chain that cross; neighbours only share their end."""
    ends = [*points[1:], points[0]] if closed else list(points[1:])
    pieces = list(zip(points, ends, strict=False))
    for i, (a, b) in enumerate(pieces):
        for j in range(i + 2, len(pieces)):
            if closed and i == 0 and j == len(pieces) - 1:
                continue
            c, d = pieces[j]
            if _side(a, b, c) * _side(a, b, d) < 0 and _side(c, d, a) * _side(c, d, b) < 0:
                return i + 1, j + 1
    return None


def _side(a: Pair, b: Pair, point: Pair) -> float:
    return (b[0] - a[0]) * (point[1] - a[1]) - (b[1] - a[1]) * (point[0] - a[0])


def _apart(points: list[Pair]) -> list[Pair]:
    for i, (one, other) in enumerate(pairwise(points)):
        if one == other:
            raise Unsound(f"points {i + 1} and {i + 2} are one point", "points that are apart")
    return points


def _inboard(points: list[Pair]) -> list[Pair]:
    if points[-1][0] <= points[0][0]:
        raise Unsound(
            "the barrel ends no further inboard than it begins",
            "points from the wheel's pad to its inboard rim, y growing inboard",
        )
    crossed = _crossing(points, closed=False)
    if crossed:
        raise Unsound(_PAIRS.format(*crossed), "points in order along the wheel's inside")
    return points


def _simple(points: list[Pair]) -> list[Pair]:
    crossed = _crossing(points, closed=True)
    if crossed:
        raise Unsound(_PAIRS.format(*crossed), "points in order round the outline")
    return points


def _wide(points: list[Pair]) -> list[Pair]:
    around = zip(points, [*points[1:], points[0]], strict=True)
    if abs(sum(a[0] * b[1] - a[1] * b[0] for a, b in around)) < 2.0:
        raise Unsound(
            "an outline with nothing inside", "three corners or more that are not in line"
        )
    return points


_Radius = Annotated[Length, Field(ge=0)]
ProfilePoint = Annotated[tuple[Length, _Radius], Words("a point [y, radius], mm")]
PlanPoint = Annotated[tuple[Length, Length], Words("a point [x, y] in plan view, mm")]

Barrel = Annotated[
    list[ProfilePoint],
    Field(min_length=2, max_length=MOST_POINTS),
    AfterValidator(_apart),
    AfterValidator(_inboard),
]
CaliperOutline = Annotated[
    list[ProfilePoint],
    Field(min_length=2, max_length=MOST_POINTS),
    AfterValidator(_apart),
    AfterValidator(_simple),
]
PlanOutline = Annotated[
    list[PlanPoint],
    Field(min_length=3, max_length=MOST_POINTS),
    AfterValidator(_apart),
    AfterValidator(_simple),
    AfterValidator(_wide),
]

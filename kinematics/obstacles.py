"""What stands around the tyre: tubes, planes and boxes that ride on the body, arm, knuckle, strut or tie rod.

A spot is a hard point, which goes where that point goes, or coordinates in its carrier's axes as measured:
car axes for what rides on the body or the arm (which turns about its pivots), the knuckle's own axes from
the middle of the stock hub face for the knuckle and the strut (which goes with the sliding axis in the
knuckle), and for the tie rod from its inner joint along the rod, level and upward. All is said of the left
side, and the right side has the same in its mirror.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kinematics import tyre
from kinematics.arrays import Floats, Ints
from kinematics.rows import CIRCLE_COS, CIRCLE_SIN
from kinematics.vectors import cross, dot, length

Vector = tuple[float, float, float]
NOWHERE: Vector = (0.0, 0.0, 0.0)
GUARDED = 9  # pieces of a bent tube that are looked at together first

# Hard points that an obstacle can hang on: what carries each, and the channel that says where in it.
# No channel: the carrier's origin.
HARD_POINTS: dict[str, tuple[int, str | None]] = {
    "ball_joint": (tyre.KNUCKLE, "knuckle_ball_joint"),
    "arm_front": (tyre.BODY, "arm_front"),
    "arm_rear": (tyre.BODY, "arm_rear"),
    "top_mount": (tyre.BODY, "top_mount"),
    "strut_lower": (tyre.KNUCKLE, "strut_lower"),
    "tie_rod_outer": (tyre.KNUCKLE, "tie_rod_outer"),
    "tie_rod_inner": (tyre.TIE_ROD, None),
    "hub_face": (tyre.KNUCKLE, "hub_face"),
    "upper_front": (tyre.BODY, "upper_front"),
    "upper_rear": (tyre.BODY, "upper_rear"),
    "upper_ball_joint": (tyre.KNUCKLE, "knuckle_upper_ball_joint"),
    "bar_pivot": (tyre.BODY, "bar_pivot"),
    "bar_end": (tyre.BODY, "bar_end"),
    "bar_link": (tyre.BODY, "bar_link"),
}
# Those that stand elsewhere in every state.
MOVING = frozenset({"bar_end", "bar_link"})


@dataclass(frozen=True)
class Spot:
    """A hard point by its name, or coordinates in mm on a carrier."""

    carrier: int
    at: Vector = NOWHERE
    name: str | None = None

    @classmethod
    def hard_point(cls, name: str) -> Spot:
        """A spot that goes where the hard point goes."""
        carrier, channel = HARD_POINTS[name]
        return cls(carrier, NOWHERE, channel)


@dataclass(frozen=True)
class Piece:
    """A tube with round ends, a half-space or a box; ``owner`` is its obstacle's number.

    A tube goes from ``first`` to ``second``. A half-space lies behind ``first``, the first of ``axes`` points
    to its free side. A box has its middle at ``first`` and half sides ``size`` along its ``axes``. Axes are
    unit vectors in the carrier of ``second``.
    """

    kind: int
    owner: int
    first: Spot
    second: Spot
    radius: float = 0.0
    axes: tuple[Vector, Vector, Vector] = (NOWHERE, NOWHERE, NOWHERE)
    size: Vector = NOWHERE


@dataclass(frozen=True)
class Packed:
    """Pieces as :func:`kinematics.tyre.least_gaps` takes them; ``channels`` are those of the named spots."""

    kinds: Ints
    carriers: Ints
    named: Ints
    ends: Floats
    axes: Floats
    sizes: Floats
    radii: Floats
    runs: Ints
    owners: Ints
    rods: Ints
    used: Ints
    channels: tuple[str, ...]


@dataclass(frozen=True)
class Obstacles:
    """All obstacles of one build.

    ``names`` are the obstacles', by number, and ``rods`` the numbers of those that are the tie rod's.
    ``strut`` are two points of the sliding axis in the stock knuckle, the lower one first, from which what
    rides on the strut is counted; None where nothing does. ``bars`` and ``arms`` are the numbers of the
    obstacles on the anti-roll bar and on the lower arm.
    """

    names: tuple[str, ...]
    pieces: tuple[Piece, ...]
    rods: frozenset[int]
    strut: tuple[Vector, Vector] | None = None
    bars: frozenset[int] = frozenset()
    arms: frozenset[int] = frozenset()

    @cached_property
    def packed(self) -> Packed:
        """Every piece."""
        return pack(self.pieces, self.rods)

    @cached_property
    def rod_pieces(self) -> tuple[Piece, ...]:
        """Tubes of the tie rod."""
        return self.tubes(self.rods)

    def tubes(self, owners: frozenset[int]) -> tuple[Piece, ...]:
        """Tubes of some obstacles, by their numbers."""
        return tuple(p for p in self.pieces if p.owner in owners and p.kind == tyre.SEGMENT)

    @cached_property
    def packed_rods(self) -> Packed:
        """The tie rod's tubes."""
        return pack(self.rod_pieces, self.rods)


def pack(pieces: tuple[Piece, ...], rods: frozenset[int]) -> Packed:
    """Arrays of the pieces; ``rods`` are the numbers of the obstacles that are the tie rod's."""
    pieces, runs = guarded(pieces)
    spots = [(piece.first, piece.second) for piece in pieces]
    channels = tuple(
        sorted({spot.name for pair in spots for spot in pair if spot.name is not None})
    )
    used = np.zeros(tyre.CARRIERS, dtype=np.int64)
    for pair in spots:
        for spot in pair:
            used[spot.carrier] = 1

    def named(spot: Spot) -> int:
        return -1 if spot.name is None else channels.index(spot.name)

    return Packed(
        kinds=np.array([piece.kind for piece in pieces], dtype=np.int64),
        carriers=np.array([[spot.carrier for spot in pair] for pair in spots], dtype=np.int64),
        named=np.array([[named(spot) for spot in pair] for pair in spots], dtype=np.int64),
        ends=np.array([[spot.at for spot in pair] for pair in spots], dtype=np.float64),
        axes=np.array([piece.axes for piece in pieces], dtype=np.float64),
        sizes=np.array([piece.size for piece in pieces], dtype=np.float64),
        radii=np.array([piece.radius for piece in pieces], dtype=np.float64),
        runs=np.array(runs, dtype=np.int64),
        owners=np.array([piece.owner for piece in pieces], dtype=np.int64),
        rods=np.array([piece.owner in rods for piece in pieces], dtype=np.int64),
        used=used,
        channels=channels,
    )


def guarded(pieces: tuple[Piece, ...]) -> tuple[tuple[Piece, ...], list[int]]:
    """The pieces with guards before each few of a bent tube, and how many each guards (0: no guard)."""
    whole: list[Piece] = []
    runs: list[int] = []
    n = 0
    while n < len(pieces):
        count = 1
        while (
            count < GUARDED and n + count < len(pieces) and _goes_on(pieces[n], pieces[n + count])
        ):
            count += 1
        group = pieces[n : n + count]
        if count > 2:
            whole.append(_guard(group))
            runs.append(count)
        whole += group
        runs += [0] * count
        n += count
    return tuple(whole), runs


def _goes_on(one: Piece, other: Piece) -> bool:
    """Whether both are of the same tube and rest on the same carrier."""
    spots = (one.first, one.second, other.first, other.second)
    fixed = all(spot.name is None and spot.carrier == one.first.carrier for spot in spots)
    return one.kind == other.kind == tyre.SEGMENT and one.owner == other.owner and fixed


def _guard(group: tuple[Piece, ...]) -> Piece:
    """A straight tube in which several pieces of a bent one lie, its middle line shifted into their midst."""
    points = np.array([group[0].first.at, *(piece.second.at for piece in group)])
    along = points[-1] - points[0]
    share = np.clip((points - points[0]) @ along / max(float(along @ along), 1e-9), 0.0, 1.0)
    off = points - points[0] - share[:, None] * along
    widest = off[int((off * off).sum(axis=1).argmax())]
    shift = 0.5 * widest
    radius = group[0].radius + float(np.linalg.norm(off - shift, axis=1).max())
    carrier, owner = group[0].first.carrier, group[0].owner

    def spot(point: Floats) -> Spot:
        x, y, z = (float(v) for v in point + shift)
        return Spot(carrier, (x, y, z))

    # a hair wider, so that rounding leaves no piece outside
    return Piece(tyre.GUARD, owner, spot(points[0]), spot(points[-1]), radius + 1e-6)


def place_columns(obstacles: Obstacles, geometry: Floats, point: Callable[[str], Floats]) -> Floats:
    """What places the carriers of every lane, (PLACE_ROWS, n), see :func:`kinematics.tyre.least_gaps`.

    ``geometry`` are the kernel's columns (GEOMETRY_ROWS, n); ``point`` gives a channel's points (3, n).
    """
    place = np.zeros((tyre.PLACE_ROWS, geometry.shape[1]))
    spoke, turned = geometry[CIRCLE_COS : CIRCLE_COS + 3], geometry[CIRCLE_SIN : CIRCLE_SIN + 3]
    pivot = cross(spoke, turned)
    place[tyre.PIVOT : tyre.PIVOT + 3] = pivot / length(pivot)
    joint = point("knuckle_ball_joint")
    place[tyre.STOCK_JOINT : tyre.STOCK_JOINT + 3] = joint
    if obstacles.strut is not None:
        stock_lower, stock_upper = (np.array(end) for end in obstacles.strut)
        lower = point("strut_lower")
        turn = turn_onto(stock_upper - stock_lower, point("strut_upper") - lower)
        shift = lower - joint - np.einsum("ijn,j->in", turn, stock_lower)
        place[tyre.STRUT_SHIFT : tyre.STRUT_SHIFT + 3] = shift
        place[tyre.STRUT_TURN : tyre.STRUT_TURN + 9] = turn.reshape(9, -1)
    return place


def turn_onto(start: Floats, finish: Floats) -> Floats:
    """The shortest rotations (3, 3, n) that take direction ``start`` (3,) onto ``finish`` (3, n).

    R = 1 + [v] + [v]^2 / (1 + c) with v = start x finish and c their dot product, both made unit vectors;
    they must not be opposite.
    """
    a = start / np.linalg.norm(start)
    b = finish / length(finish)
    v = cross(a[:, None], b)
    c = dot(a[:, None], b)
    none = np.zeros_like(c)
    skew = np.stack(
        [
            np.stack([none, -v[2], v[1]]),
            np.stack([v[2], none, -v[0]]),
            np.stack([-v[1], v[0], none]),
        ]
    )
    square = np.einsum("ijn,jkn->ikn", skew, skew)
    return np.asarray(np.eye(3)[:, :, None] + skew + square / (1.0 + c))

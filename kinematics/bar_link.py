"""The anti-roll bar as a linkage: an arm that turns about the bar's axis, and a link of fixed length.

The bar's axis runs along y through ``pivot``; the link joins the arm's end to a point that the lower arm,
the knuckle or the strut carries. With r from pivot to end as drawn and d from pivot to the carried point,
|d - R r| = length, R a turn by the bar's angle about y, comes to a cos + b sin = c in closed form.
Seen along the bar's axis the discriminant a^2 + b^2 - c^2 is (arm times link times the sine of the angle
between them)^2: it falls to zero where arm and link lie in line, and the root's sign is the linkage's branch.

Left-hand axes (x forward, y outward, z up), mm; vectors are (3, n) for n lanes or (3, s, n) for s states.
The linkage is rigid: bushes that give, joints' play and a link's own give are left out.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Bools, Floats
from kinematics.vectors import cross, dot, square

Carrier = Literal["arm", "knuckle", "strut"]


@dataclass(frozen=True, eq=False)
class Mount:
    """What carries the link on one side, and where that stood as measured.

    A point carried by the arm is in body axes, one by knuckle or strut in the knuckle's frame: it was
    measured at ``origin`` + ``frame`` @ point, with ``origin`` (3,) mm and ``frame`` (3, 3).
    ``strut_lower`` (3,) and ``strut_direction`` (3,) are the strut as measured, in the knuckle's frame:
    what is clamped to the strut goes along where a part shifts or tilts that.
    """

    carrier: Carrier
    origin: Floats
    frame: Floats
    strut_lower: Floats = field(default_factory=lambda: np.zeros(3))
    strut_direction: Floats = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))

    def as_measured(self, point: Floats) -> Floats:
        """Carried points (3, n) in body axes where the carrier stood as measured, (3, n) mm."""
        return np.asarray(self.origin[:, None] + self.frame @ point)


@dataclass(frozen=True, eq=False)
class BarLinkage:
    """n linkages: ``pivot`` and ``end`` (3, n) mm as drawn, link ``length`` (n,) mm, ``branch`` (n,) ±1."""

    pivot: Floats
    end: Floats
    length: Floats
    branch: Floats

    @property
    def lever(self) -> Floats:
        """Distance of the arm's end from the bar's axis, (n,) mm."""
        return np.asarray(np.hypot(self.end[0] - self.pivot[0], self.end[2] - self.pivot[2]))

    @property
    def drawn_angle(self) -> Floats:
        """Direction of the arm as drawn, about y from forward, (n,) rad; down is positive."""
        return np.asarray(
            np.arctan2(-(self.end[2] - self.pivot[2]), self.end[0] - self.pivot[0])
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class BarStates:
    """Solved states; what was not reached is not-a-number.

    ``angle`` (s, n) rad, the arm's turn about y from where it is drawn: an arm that points forward goes
    down with a growing angle. ``end`` (3, s, n) mm, ``link`` (3, s, n) the unit vector from the bar's end
    to the carried point, ``link_angle`` (s, n) deg from square to the arm, seen along the bar's axis,
    positive where the link leans away from that axis.
    """

    angle: Floats
    end: Floats
    link: Floats
    link_angle: Floats
    reached: Bools

    @property
    def toggle(self) -> Floats:
        """Angle between arm and link or its supplement, the smaller, along the bar's axis, (s, n) deg."""
        return np.asarray(90.0 - np.abs(self.link_angle))


def branch_of(pivot: Floats, end: Floats, link: Floats) -> Floats:
    """The branch on which points as drawn (3, n) lie, (n,) of +1 or -1: the side of the arm with the link."""
    r, d = end - pivot, link - pivot
    return np.where(d[0] * r[2] - d[2] * r[0] >= 0.0, -1.0, 1.0)


def solve_bar(linkage: BarLinkage, carried: Floats) -> BarStates:
    """Solve every lane's bar at every place (3, s, n) of the carried point."""
    r = (linkage.end - linkage.pivot)[:, None, :]
    d = carried - linkage.pivot[:, None, :]
    a = d[0] * r[0] + d[2] * r[2]
    b = d[0] * r[2] - d[2] * r[0]
    c = 0.5 * (square(d) + square(r) - linkage.length**2) - d[1] * r[1]
    size = a * a + b * b
    spare = size - c * c
    reached = np.asarray((spare >= 0.0) & (size > 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        root = linkage.branch * np.sqrt(np.where(reached, spare, np.nan))
        cos, sin = (a * c - b * root) / size, (b * c + a * root) / size
    x, z = r[0] * cos + r[2] * sin, r[2] * cos - r[0] * sin
    end = np.stack([x, np.broadcast_to(r[1], x.shape), z]) + linkage.pivot[:, None, :]
    link = carried - end
    # along the arm, and square to it in the plane of its motion
    out, across = x * link[0] + z * link[2], np.abs(z * link[0] - x * link[2])
    angle = np.degrees(np.arctan2(out, across))
    return BarStates(
        np.asarray(np.arctan2(sin, cos)), end, link / linkage.length, np.asarray(angle), reached
    )


def motion_ratio(linkage: BarLinkage, below: BarStates, above: BarStates, apart: float) -> Floats:
    """Travel of the arm's end along its arc per wheel travel, (s, n), without sign.

    A central difference of exact solutions at wheel travels ``apart`` mm from one another.
    """
    return np.asarray(linkage.lever * np.abs(above.angle - below.angle) / apart)


def level_length(linkage: BarLinkage, direction: Floats, carried: Floats) -> Floats:
    """Link length (n,) mm with which the arm lies in a wanted direction, the carried point at (3, n).

    ``direction`` (n,) rad as ``BarLinkage.drawn_angle``.
    """
    lever = linkage.lever
    end = np.stack(
        [
            linkage.pivot[0] + lever * np.cos(direction),
            linkage.end[1],
            linkage.pivot[2] - lever * np.sin(direction),
        ]
    )
    return np.asarray(np.sqrt(square(carried - end)))


def carried_by_arm(geometry: Floats, raw: Floats, point: Floats) -> Floats:
    """Points (3, n) of the lower arm, in body axes as drawn, at solved states: (3, s, n) mm.

    Args:
        geometry: (GEOMETRY_ROWS, n) kernel columns.
        raw: (STATE_ROWS, s, n) solved rows.
    """
    centre, spoke, turned = (
        geometry[row : row + 3, None, :] for row in (k.CIRCLE_CENTRE, k.CIRCLE_COS, k.CIRCLE_SIN)
    )
    axis = cross(spoke, turned) / square(spoke)
    arm = point[:, None, :] - centre
    t = raw[k.ARM_T]
    cos, sin = (1.0 - t * t) / (1.0 + t * t), 2.0 * t / (1.0 + t * t)
    along = axis * dot(axis, arm)
    return np.asarray(centre + along + (arm - along) * cos + cross(axis, arm) * sin)


def carried_by_knuckle(raw: Floats, point: Floats, ball_joint: Floats) -> Floats:
    """Points (3, n) of the knuckle, in its frame with its ball joint (3, n), at states: (3, s, n) mm."""
    x, y = raw[k.FORWARD : k.FORWARD + 3], raw[k.SPINDLE : k.SPINDLE + 3]
    z = cross(x, y)
    v = (point - ball_joint)[:, None, :]
    return np.asarray(raw[k.BALL_JOINT : k.BALL_JOINT + 3] + x * v[0] + y * v[1] + z * v[2])


def clamped_to_strut(mount: Mount, point: Floats, lower: Floats, upper: Floats) -> Floats:
    """Where points (3, n) measured on the strut go with a strut through lower and upper, (3, n) mm.

    All in the knuckle's frame. The strut turns by the least turn that takes its direction along.
    """
    new = (upper - lower) / np.sqrt(square(upper - lower))
    old = np.broadcast_to(mount.strut_direction[:, None], new.shape)
    arm = point - mount.strut_lower[:, None]
    turn = cross(old, new)
    once = cross(turn, arm)
    twice = cross(turn, once)
    return np.asarray(lower + arm + once + twice / (1.0 + dot(old, new)))

"""How far spherical joints tilt: rod ends and ball joints have a cone of movement, and bind at its edge.

A joint's tilt is the angle from its middle position. All directions are unit vectors of a left-hand corner;
arrays are (3, n) for n lanes, or (3, s, n) for as many states of each.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.vectors import cross, dot, length, square


@dataclass(frozen=True)
class StudJoint:
    """A joint whose stud is fixed in the knuckle.

    ``in_knuckle`` is the stud's direction in the knuckle's frame, ``in_body`` the same as measured, in car
    axes: that of a socket which had the stud in its middle then.
    """

    in_knuckle: tuple[float, float, float]
    in_body: tuple[float, float, float]


@dataclass(frozen=True)
class MountJoint:
    """A spherical bearing in the body round the strut's sliding axis.

    ``in_body`` is side → the axis's direction at its middle, in left-hand car axes.
    """

    in_body: Mapping[str, tuple[float, float, float]]


@dataclass(frozen=True)
class Joints:
    """What is said of a build's joints; None where neither car nor parts say anything of one."""

    tie_rod_outer: StudJoint | None = None
    tie_rod_inner: bool = False
    ball_joint: StudJoint | None = None
    upper_ball_joint: StudJoint | None = None
    top_mount: MountJoint | None = None


def stud_direction(raw: Floats, in_knuckle: tuple[float, float, float]) -> Floats:
    """A direction fixed in the knuckle, in body axes, (3, ...); ``raw`` is (STATE_ROWS, ...)."""
    x, y = raw[k.FORWARD : k.FORWARD + 3], raw[k.SPINDLE : k.SPINDLE + 3]
    z = cross(x, y)
    return np.asarray(x * in_knuckle[0] + y * in_knuckle[1] + z * in_knuckle[2])


def outer_tilt(raw: Floats, rod: Floats, joint: StudJoint) -> Floats:
    """Tilt of the outer tie-rod joint, deg, (n,): how far the rod is from square to the stud.

    ``rod`` is (3, n) from the inner joint to the outer one, mm.
    """
    stud = stud_direction(raw, joint.in_knuckle)
    along = dot(rod, stud) / length(rod)
    return np.asarray(np.degrees(np.abs(np.arcsin(np.clip(along, -1.0, 1.0)))))


def inner_tilt(rod: Floats) -> Floats:
    """Tilt of the inner tie-rod joint, deg, (n,): how far the rod is from the rack's line (along y)."""
    across = np.hypot(rod[0], rod[2])
    return np.asarray(np.degrees(np.arctan2(across, rod[1])))


def ball_joint_tilt(raw: Floats, geometry: Floats, joint: StudJoint) -> Floats:
    """Tilt of the lower ball joint, deg, (n,): stud fixed in the knuckle, socket fixed in the arm.

    The arm is turned from its measured place about its pivots by Rodrigues' formula.
    """
    t = raw[k.ARM_T]
    cosine, sine = (1.0 - t * t) / (1.0 + t * t), 2.0 * t / (1.0 + t * t)
    spoke, turned = (_each_state(geometry, row, raw) for row in (k.CIRCLE_COS, k.CIRCLE_SIN))
    return _tilt_in_arm(raw, joint, spoke, turned, cosine, sine)


def upper_ball_joint_tilt(raw: Floats, geometry: Floats, joint: StudJoint) -> Floats:
    """Tilt of a double wishbone's upper ball joint, deg, (n,), likewise.

    The upper arm's angle is read from where the knuckle holds the joint: along the steering axis from the
    lower one, by their distance in the knuckle.
    """
    between = length(geometry[k.STRUT_FOOT : k.STRUT_FOOT + 3])
    joint_at = raw[k.BALL_JOINT : k.BALL_JOINT + 3] + between * raw[k.AXIS : k.AXIS + 3]
    spoke, turned, centre = (
        _each_state(geometry, row, raw) for row in (k.UPPER_COS, k.UPPER_SIN, k.TOP_MOUNT)
    )
    size = square(spoke)
    cosine, sine = (dot(way, joint_at - centre) / size for way in (spoke, turned))
    return _tilt_in_arm(raw, joint, spoke, turned, cosine, sine)


def _each_state(geometry: Floats, row: int, raw: Floats) -> Floats:
    """A vector of the geometry, with an axis for the states where there is one."""
    return geometry[row : row + 3][(slice(None),) + (None,) * (raw.ndim - geometry.ndim)]


def _tilt_in_arm(
    raw: Floats, joint: StudJoint, spoke: Floats, turned: Floats, cosine: Floats, sine: Floats
) -> Floats:
    """Angle of a stud in the knuckle to a socket in an arm turned by an angle of known cosine and sine."""
    stud = stud_direction(raw, joint.in_knuckle)
    socket = np.asarray(joint.in_body).reshape(3, *[1] * (raw.ndim - 1)) * np.ones(raw.shape[1:])
    pivot = cross(spoke, turned)
    pivot = pivot / length(pivot)
    along = dot(pivot, socket)
    socket = (
        socket * cosine
        + cross(pivot, socket) * sine
        + pivot * along * (1.0 - cosine)
    )  # fmt: skip
    return _between(stud, socket)


def top_mount_tilt(raw: Floats, geometry: Floats, middle: tuple[float, float, float]) -> Floats:
    """Tilt of the strut's sliding axis in its top bearing, deg, (n,) or (s, n).

    The axis is fixed in the knuckle, the bearing's ``middle`` (unit vector, left-hand car axes) in the body.
    """
    axis = geometry[k.STRUT_AXIS : k.STRUT_AXIS + 3]
    x, y = raw[k.FORWARD : k.FORWARD + 3], raw[k.SPINDLE : k.SPINDLE + 3]
    strut = x * axis[0] + y * axis[1] + cross(x, y) * axis[2]
    return _between(strut, np.asarray(middle).reshape(3, *[1] * (raw.ndim - 1)))


def _between(one: Floats, other: Floats) -> Floats:
    """Angle between directions (3, ...), deg."""
    # atan2 of cross and dot: exact near zero, where an arc cosine is not
    return np.asarray(np.degrees(np.arctan2(length(cross(one, other)), dot(one, other))))

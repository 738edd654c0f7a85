"""Corners so simple that their figures can be worked out on paper."""

from __future__ import annotations

import numpy as np

from kinematics import corner as c
from kinematics.arrays import Floats

Vector = tuple[float, float, float]


def columns(
    points: dict[str, Vector], inset: float = 0.0, radius: float = 300.0, camber: float = 0.0
) -> Floats:
    """Kernel columns (rows, 1) of one corner without static toe."""
    vectors = {name: np.array(point, dtype=float) for name, point in points.items()}
    corner = c.measured_corner(vectors, 0.0, camber, inset, radius)
    packed = c.pack(corner)
    c.set_measured_rods(packed, corner, 0.0, camber)
    return packed


def axis_corner(caster: float, kingpin: float, radius: float = 300.0) -> Floats:
    """A corner with the wheel upright and the steering axis at the given angles (deg).

    Ball joint at (10, 690, 180), strut along the steering axis, rack behind the axle.
    """
    lean = np.array([-np.tan(np.radians(caster)), -np.tan(np.radians(kingpin)), 1.0])
    ball = np.array([10.0, 690.0, 180.0])
    return columns(
        {
            "arm_front": (120.0, 360.0, 200.0),
            "arm_rear": (-180.0, 360.0, 200.0),
            "ball_joint": tuple(ball),
            "top_mount": tuple(ball + 640.0 * lean),
            "strut_lower": tuple(ball + 150.0 * lean),
            "tie_rod_outer": (-120.0, 680.0, 205.0),
            "tie_rod_inner": (-125.0, 330.0, 215.0),
            "hub_face": (0.0, 720.0, radius),
        },
        radius=radius,
    )


def flat_steering(
    kingpin_y: float, contact_y: float, arm: tuple[float, float], rod: tuple[float, float]
) -> Floats:
    """A corner with an upright steering axis and all of the steering linkage in one level plane.

    ``arm`` is rod end from kingpin (x, y), ``rod`` inner joint from rod end (x, y), mm.
    """
    outer = (arm[0], kingpin_y + arm[1], 250.0)
    return columns(
        {
            "arm_front": (150.0, kingpin_y - 330.0, 200.0),
            "arm_rear": (-150.0, kingpin_y - 330.0, 200.0),
            "ball_joint": (0.0, kingpin_y, 200.0),
            "top_mount": (0.0, kingpin_y, 850.0),
            "strut_lower": (0.0, kingpin_y, 400.0),
            "tie_rod_outer": outer,
            "tie_rod_inner": (outer[0] + rod[0], outer[1] + rod[1], 250.0),
            "hub_face": (0.0, contact_y, 300.0),
        }
    )


def flat_steer(arm: tuple[float, float], rod: tuple[float, float], rack: float) -> float:
    """Turn (deg, counter-clockwise seen from above) of that corner's kingpin for a rack shift along y.

    Plane trigonometry: the rod end lies on a circle about the kingpin and on one about the rod's inner
    joint; of the two crossings the one on the measured side of the line between the centres is meant.
    """
    inner = np.array([arm[0] + rod[0], arm[1] + rod[1] + rack])
    a, b, c_ = np.hypot(*arm), np.hypot(*rod), np.hypot(*inner)
    side = np.sign(inner[0] * arm[1] - (arm[1] + rod[1]) * arm[0])
    opening = np.arccos((a * a + c_ * c_ - b * b) / (2.0 * a * c_))
    direction = np.arctan2(inner[1], inner[0]) + side * opening
    turn = direction - np.arctan2(arm[1], arm[0])
    return float(np.degrees((turn + np.pi) % (2.0 * np.pi) - np.pi))

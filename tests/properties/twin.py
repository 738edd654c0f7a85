"""The strut corner again, slowly: plain rotations of measured points, one state at a time.

It shares the order of the steps with the kernel (arm, strut, tie rod, then the arm's angle for the wanted
height) and nothing of how they are computed: no tangent of half angles, no packed columns, no products
fixed in the knuckle, no derivative.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, atan2, cos, degrees, hypot, radians, sin, sqrt

import numpy as np
from scipy.optimize import brentq

from kinematics.arrays import Floats
from tests.cars import Car

ARM_STEP = radians(1.0)
MOST_ARM = radians(70.0)


@dataclass(frozen=True)
class Pose:
    """Where the knuckle stands: points in mm, angles in degrees."""

    ball_joint: Floats
    rod_outer: Floats
    centre: Floats
    contact: Floats
    toe: float
    camber: float
    caster: float
    kingpin_inclination: float
    toggle: float
    strut_length: float


def unit(vector: Floats) -> Floats:
    return vector / sqrt(vector @ vector)


def rotated(vector: Floats, axis: Floats, angle: float) -> Floats:
    """``vector`` turned by ``angle`` about the unit vector ``axis``, right-handed."""
    along = axis * (axis @ vector)
    return along + cos(angle) * (vector - along) + sin(angle) * np.cross(axis, vector)


def brought(vector: Floats, start: Floats, end: Floats) -> Floats:
    """``vector`` under the shortest turn that brings the unit vector ``start`` onto ``end``."""
    axis = np.cross(start, end)
    size = sqrt(axis @ axis)
    if size < 1e-15:
        return vector
    return rotated(vector, axis / size, atan2(size, start @ end))


class Twin:
    """One car's left corner."""

    def __init__(self, car: Car) -> None:
        self.points = p = car.vectors()
        toe, camber = radians(car.toe), radians(car.camber)
        self.spindle = np.array([sin(toe) * cos(camber), cos(toe) * cos(camber), -sin(camber)])
        self.centre = p["hub_face"] + car.inset * self.spindle
        self.radius = car.loaded_radius
        self.slide = unit(p["top_mount"] - p["strut_lower"])
        reach = p["tie_rod_outer"] - p["tie_rod_inner"]
        self.rod = sqrt(reach @ reach)
        self.side = self._side(p["tie_rod_outer"], p["ball_joint"], 0.0)

    def _side(self, outer: Floats, ball: Floats, rack: float) -> float:
        """On which side of the line from steering axis to inner joint the rod end stands."""
        axis = self.points["top_mount"] - ball
        inner = self.points["tie_rod_inner"] + np.array([0.0, rack, 0.0])
        return 1.0 if axis @ np.cross(inner - ball, outer - ball) > 0.0 else -1.0

    def pose(self, arm: float, rack: float) -> Pose | None:
        """The knuckle at an arm angle (rad) and rack displacement (mm); None past over-centre."""
        p = self.points
        pivot = unit(p["arm_front"] - p["arm_rear"])
        ball = p["arm_rear"] + rotated(p["ball_joint"] - p["arm_rear"], pivot, arm)
        to_mount = p["top_mount"] - ball
        axis, length = unit(to_mount), sqrt(to_mount @ to_mount)
        # the point of the sliding axis that must stand in the top mount, in the measured knuckle
        start = p["strut_lower"] - p["ball_joint"]
        foot = start - self.slide * (start @ self.slide)
        strut = sqrt(length * length - foot @ foot)
        held = unit(foot + strut * self.slide)

        def upright(vector: Floats) -> Floats:
            return brought(vector, held, axis)

        arm_vector = upright(p["tie_rod_outer"] - p["ball_joint"])
        inner = p["tie_rod_inner"] + np.array([0.0, rack, 0.0]) - ball
        turn = self._turn(axis, arm_vector, inner)
        if turn is None:
            return None

        def placed(point: Floats) -> Floats:
            return ball + rotated(upright(point - p["ball_joint"]), axis, turn)

        return self._read(
            ball, axis, strut, placed, rotated(upright(self.spindle), axis, turn), rack
        )

    def _turn(self, axis: Floats, arm: Floats, inner: Floats) -> float | None:
        """Turn about the steering axis at which the tie rod has its length, rad."""
        wanted = 0.5 * (arm @ arm + inner @ inner - self.rod**2) - (axis @ arm) * (axis @ inner)
        flat = arm - axis * (axis @ arm)
        a, b = flat @ inner, np.cross(axis, flat) @ inner
        if abs(wanted) >= hypot(a, b):
            return None
        return float(atan2(b, a) + self.side * acos(wanted / hypot(a, b)))

    def _read(self, ball, axis, strut, placed, spindle, rack) -> Pose:  # type: ignore[no-untyped-def]
        """Points and angles by their definitions."""
        centre, outer = placed(self.centre), placed(self.points["tie_rod_outer"])
        level = np.array([spindle[0], spindle[1], 0.0])
        heading = unit(np.cross(level, [0.0, 0.0, 1.0]))
        down = unit(np.cross(spindle, heading))
        down = down if down[2] < 0.0 else -down
        inner = self.points["tie_rod_inner"] + np.array([0.0, rack, 0.0])
        seen = [v - axis * (axis @ v) for v in (outer - ball, inner - outer)]
        angle = degrees(acos(max(-1.0, min(1.0, unit(seen[0]) @ unit(seen[1])))))
        return Pose(
            ball_joint=ball,
            rod_outer=outer,
            centre=centre,
            contact=centre + self.radius * down,
            toe=degrees(atan2(-heading[1], heading[0])),
            camber=degrees(atan2(-spindle[2], hypot(spindle[0], spindle[1]))),
            caster=degrees(atan2(-axis[0], axis[2])),
            kingpin_inclination=degrees(atan2(-axis[1], axis[2])),
            toggle=min(angle, 180.0 - angle),
            strut_length=strut,
        )

    def at(self, travel: float, rack: float) -> Pose | None:
        """The state at a wheel travel (mm): walk out from the measured arm angle, then close in."""

        def over(arm: float) -> float | None:
            pose = self.pose(arm, rack)
            return None if pose is None else pose.centre[2] - self.centre[2] - travel

        here = over(0.0)
        if here is None:
            return None
        # which way lifts the wheel hangs on the order of the two pivots: try it
        rising = 1.0 if (over(1e-4) or 0.0) > here else -1.0
        way = rising if here < 0.0 else -rising
        arm = 0.0
        while abs(arm) < MOST_ARM:
            ahead = arm + way * ARM_STEP
            there = over(ahead)
            if there is None:
                return None
            if (there < 0.0) != (here < 0.0):
                return self.pose(float(brentq(over, arm, ahead, xtol=1e-15, rtol=1e-14)), rack)
            arm, here = ahead, there
        return None

"""The kernel against a general root finder on the raw joint constraints.

Nothing of the kernel's chain is used here: the knuckle is a rigid body with six unknowns, the arm has one
angle (a double wishbone's upper arm another), and scipy is asked for those at which every joint holds and
the wheel centre stands at its height. The right branch of the linkage is kept by walking there from the
measured state in small steps.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from scipy.optimize import root

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.states import solve
from tests.cars import CARS, Car, geometry
from tests.wishbones import WISHBONES

# The root finder is polished until no joint is open by more than this; both sides then carry rounding only.
CLOSED_MM = 1e-10
POINT_TOLERANCE_MM = 1e-6
ANGLE_TOLERANCE_DEG = 1e-7

TRAVELS = (-60.0, -25.0, 0.0, 10.0, 45.0, 60.0)
SHARES = (-1.0, -0.9, -0.4, 0.0, 0.05, 0.6, 1.0)


class Solved(NamedTuple):
    """What the root finder found of one state, mm and deg."""

    ball_joint: Floats
    rod_outer: Floats
    centre: Floats
    contact: Floats
    toe: float
    camber: float


def turn_by(vector: Floats) -> Floats:
    """Rotation matrix of a rotation vector (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    if angle == 0.0:
        return np.eye(3)
    x, y, z = vector / angle
    skew = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + np.sin(angle) * skew + (1.0 - np.cos(angle)) * (skew @ skew)


class Mechanism:
    """One car's left corner as joints between rigid bodies."""

    def __init__(self, car: Car) -> None:
        self.points = car.vectors()
        toe, camber = np.radians(car.toe), np.radians(car.camber)
        self.spindle = np.array(
            [np.sin(toe) * np.cos(camber), np.cos(toe) * np.cos(camber), -np.sin(camber)]
        )
        self.centre = self.points["hub_face"] + car.inset * self.spindle
        self.radius = car.loaded_radius
        self.rod = float(
            np.linalg.norm(self.points["tie_rod_outer"] - self.points["tie_rod_inner"])
        )
        self.wishbone = "upper_front" in self.points
        self.freedoms = 8 if self.wishbone else 7
        if self.wishbone:
            return
        along = self.points["top_mount"] - self.points["strut_lower"]
        # two directions square to the sliding axis: the top mount may not leave it along either
        self.across = np.linalg.svd(along[None, :])[2][1:]

    def moved(self, unknowns: Floats, point: Floats) -> Floats:
        """Where a knuckle point stands for the knuckle's six unknowns."""
        origin = self.points["hub_face"]
        return origin + unknowns[:3] + turn_by(unknowns[3:6]) @ (point - origin)

    def open_joints(self, unknowns: Floats, travel: float, rack: float) -> Floats:
        """How far each joint is open, mm, for knuckle shift, knuckle turn (rad) and arm angles (rad)."""
        p = self.points
        inner = p["tie_rod_inner"] + np.array([0.0, rack, 0.0])
        rod = self.moved(unknowns, p["tie_rod_outer"]) - inner
        return np.concatenate(
            [
                self.open_end(unknowns, unknowns[6], "arm", "ball_joint"),
                self.open_end(unknowns, unknowns[7], "upper", "upper_ball_joint")
                if self.wishbone
                else self.open_strut(unknowns),
                [np.linalg.norm(rod) - self.rod],
                [self.moved(unknowns, self.centre)[2] - self.centre[2] - travel],
            ]
        )

    def open_end(self, unknowns: Floats, angle: float, arm: str, joint: str) -> Floats:
        """From an arm's end to where the knuckle has it, for the arm's angle."""
        p, rear = self.points, self.points[f"{arm}_rear"]
        pivot = p[f"{arm}_front"] - rear
        swing = turn_by(angle * pivot / np.linalg.norm(pivot))
        return self.moved(unknowns, p[joint]) - (rear + swing @ (p[joint] - rear))

    def open_strut(self, unknowns: Floats) -> Floats:
        """How far the top mount is off the sliding axis, both ways across it."""
        strut = self.points["top_mount"] - self.moved(unknowns, self.points["strut_lower"])
        return self.across @ turn_by(unknowns[3:6]).T @ strut

    def solve(self, guess: Floats, travel: float, rack: float) -> Floats:
        """The unknowns at which every joint is closed."""
        args = (travel, rack)
        found = root(self.open_joints, guess, args=args, tol=1e-9).x
        for _ in range(3):
            # the root finder's own estimate of the Jacobian is coarse: a few full Newton steps polish
            miss = self.open_joints(found, *args)
            if np.abs(miss).max() < 1e-13:
                break
            found = found - np.linalg.solve(self.slopes(found, travel, rack), miss)
        assert np.abs(self.open_joints(found, *args)).max() < CLOSED_MM
        return found

    def slopes(self, unknowns: Floats, travel: float, rack: float) -> Floats:
        """Jacobian by central differences."""
        columns = []
        for number in range(self.freedoms):
            step = np.zeros(self.freedoms)
            step[number] = 1e-3 if number < 3 else 1e-6
            ahead = self.open_joints(unknowns + step, travel, rack)
            behind = self.open_joints(unknowns - step, travel, rack)
            columns.append((ahead - behind) / (2.0 * step[number]))
        return np.array(columns).T

    def walk(self, travel: float, rack: float, steps: int = 4) -> Floats:
        """The unknowns at a state, reached from the measured one so that the branch cannot change."""
        found = np.zeros(self.freedoms)
        for share in np.linspace(0.0, 1.0, steps + 1)[1:]:
            found = self.solve(found, share * travel, share * rack)
        return found

    def read(self, found: Floats) -> Solved:
        """Points and angles of a solved state; toe and camber by their definitions."""
        spindle = turn_by(found[3:6]) @ self.spindle
        centre = self.moved(found, self.centre)
        down = np.array([0.0, 0.0, -1.0])
        steepest = down - spindle * (down @ spindle)
        heading = np.cross(spindle, [0.0, 0.0, 1.0])
        return Solved(
            self.moved(found, self.points["ball_joint"]),
            self.moved(found, self.points["tie_rod_outer"]),
            centre,
            centre + self.radius * steepest / np.linalg.norm(steepest),
            float(np.degrees(np.arctan2(-heading[1], heading[0]))),
            float(90.0 - np.degrees(np.arccos(-spindle[2]))),
        )


def _racks(car: Car) -> Floats:
    return np.array(SHARES) * car.rack_travel


@pytest.mark.parametrize("car", (*CARS, *WISHBONES), ids=lambda car: car.name)
def test_points_and_angles_over_travel_and_rack(car: Car) -> None:
    mechanism = Mechanism(car)
    travel, rack = (m.ravel() for m in np.meshgrid(TRAVELS, _racks(car), indexing="ij"))
    states = solve(geometry(car), travel, rack[:, None])
    assert states.reached.all()
    for s in range(travel.size):
        truth = mechanism.read(mechanism.walk(travel[s], rack[s]))
        for row, point in (
            (k.BALL_JOINT, truth.ball_joint),
            (k.ROD_OUTER, truth.rod_outer),
            (k.CENTRE, truth.centre),
            (k.CONTACT, truth.contact),
        ):
            np.testing.assert_allclose(
                states.raw[row : row + 3, s, 0], point, rtol=0.0, atol=POINT_TOLERANCE_MM
            )
        assert states.toe[s, 0] == pytest.approx(truth.toe, abs=ANGLE_TOLERANCE_DEG)
        assert states.camber[s, 0] == pytest.approx(truth.camber, abs=ANGLE_TOLERANCE_DEG)


@pytest.mark.parametrize("car", (*CARS, *WISHBONES), ids=lambda car: car.name)
@pytest.mark.parametrize("way", [-1.0, 1.0])
def test_close_to_over_centre(car: Car, way: float) -> None:
    """Rack pushed on until less than 12 deg are left: still the same points.

    Where rod and arm come into line the pose is the square root of what is left, and rounding grows with
    one over the toggle's sine: ten times the usual tolerance.
    """
    far = way * np.arange(30.0, 260.0, 0.1)
    states = solve(geometry(car), np.zeros(far.size), far[:, None])
    tight = np.flatnonzero(states.reached[:, 0] & (states.toggle[:, 0] < 12.0))
    s = int(tight[0])
    mechanism = Mechanism(car)
    truth = mechanism.read(mechanism.walk(0.0, far[s], steps=40))
    np.testing.assert_allclose(
        states.raw[k.ROD_OUTER : k.ROD_OUTER + 3, s, 0], truth.rod_outer, rtol=0.0, atol=1e-5
    )
    np.testing.assert_allclose(
        states.raw[k.CENTRE : k.CENTRE + 3, s, 0], truth.centre, rtol=0.0, atol=1e-5
    )
    assert states.toe[s, 0] == pytest.approx(truth.toe, abs=1e-6)


@pytest.mark.parametrize("car", (*CARS, *WISHBONES), ids=lambda car: car.name)
@pytest.mark.parametrize("travel", [-40.0, 0.0, 35.0])
def test_contact_path_slope(car: Car, travel: float) -> None:
    """The slope behind the roll centre is that of the path that the root finder walks.

    Central differences over 0.2 mm: the path's third derivative leaves about 1e-8, rounding less.
    """
    mechanism = Mechanism(car)
    start = mechanism.walk(travel, 0.0)
    above, below = (
        mechanism.read(mechanism.solve(start, travel + step, 0.0)).contact for step in (0.1, -0.1)
    )
    truth = (above[1] - below[1]) / (above[2] - below[2])
    states = solve(geometry(car), np.array([travel]), np.zeros((1, 1)))
    assert states.contact_slope[0, 0] == pytest.approx(truth, abs=1e-7)

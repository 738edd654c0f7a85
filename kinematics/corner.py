"""Hard points of one front corner, strut or double wishbone, and their packing into the kernel's columns.

A corner is always a *left* one: x forward, y outward to the left, z up, millimetres, body-fixed. The right
corner of a car is the mirror image of a left one and sees the rack move the other way.
Every array holds many corners at once: the last axis counts lanes.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.states import CornerStates, solve
from kinematics.vectors import cross, dot, length


def spindle_direction(toe: float, camber: float) -> Floats:
    """Outward unit vector along the left spindle, shape (3,).

    Toe and camber in degrees; toe-in and a top leaning outward are positive (ISO 8855 signs per wheel).
    """
    t, c = np.radians(toe), np.radians(camber)
    return np.array([np.sin(t) * np.cos(c), np.cos(t) * np.cos(c), -np.sin(c)])


def knuckle_frame(toe: float, camber: float) -> Floats:
    """Rotation (3, 3) whose columns are the knuckle frame's x, y, z axes in car axes, as measured.

    y runs along the spindle outward, x is level and forward in the wheel plane, z is the wheel plane's
    steepest line upward. Degrees, signs as in :func:`spindle_direction`.
    """
    y = spindle_direction(toe, camber)
    t = np.radians(toe)
    x = np.array([np.cos(t), -np.sin(t), 0.0])
    return np.column_stack([x, y, np.cross(x, y)])


@dataclass(frozen=True)
class Strut:
    """Many struts; (3, n), mm."""

    top_mount: Floats  # body axes
    lower: Floats  # a point on the sliding axis, knuckle frame
    direction: Floats  # unit vector up the sliding axis, knuckle frame

    def take(self, lanes: Floats) -> Strut:
        """The struts of the given lane numbers."""
        return Strut(self.top_mount[:, lanes], self.lower[:, lanes], self.direction[:, lanes])


@dataclass(frozen=True)
class UpperArm:
    """Many upper arms of double wishbones; (3, n), mm."""

    front: Floats  # body axes, as the next two
    rear: Floats
    ball_joint: Floats  # the arm's end
    knuckle_ball_joint: Floats  # the knuckle's end, knuckle frame

    def take(self, lanes: Floats) -> UpperArm:
        """The arms of the given lane numbers."""
        return UpperArm(
            self.front[:, lanes],
            self.rear[:, lanes],
            self.ball_joint[:, lanes],
            self.knuckle_ball_joint[:, lanes],
        )


@dataclass(frozen=True)
class Corners:
    """Many corners' geometry; vectors are (3, n), numbers are (n,), all in mm.

    The first group is in body axes, the second in each knuckle's own frame (origin at the middle of the
    hub face, see :func:`knuckle_frame`). ``upper`` is what holds the knuckle above the lower arm.
    """

    arm_front: Floats
    arm_rear: Floats
    arm_ball_joint: Floats
    tie_rod_inner: Floats

    knuckle_ball_joint: Floats
    tie_rod_outer: Floats
    upper: Strut | UpperArm

    wheel_inset: Floats  # wheel centre outboard of the hub face: spacer less offset
    loaded_radius: Floats
    ride_z: Floats  # wheel centre's height at travel zero

    @property
    def lanes(self) -> int:
        """How many corners there are."""
        return int(self.ride_z.shape[-1])

    def lowered(self, by: Floats | float) -> Corners:
        """The same corners with travel zero at a ride height lower by ``by`` mm."""
        return replace(self, ride_z=self.ride_z + by)

    def take(self, lanes: Floats) -> Corners:
        """The corners of the given lane numbers."""
        taken = {f.name: getattr(self, f.name) for f in fields(self)}
        upper = taken.pop("upper").take(lanes)
        return Corners(upper=upper, **{name: value[..., lanes] for name, value in taken.items()})


def measured_corner(points: dict[str, Floats], toe: float, camber: float, inset: float,
                    loaded_radius: float) -> Corners:  # fmt: skip
    """One corner (a single lane) from measured points.

    Args:
        points: arm_front, arm_rear, ball_joint, tie_rod_outer, tie_rod_inner, hub_face, and either
            top_mount, strut_lower or upper_front, upper_rear, upper_ball_joint; each (3,), left-hand axes
            at the measured ride height, mm.
        toe, camber: degrees as measured, toe-in and top outward positive.
        inset: mm from the hub face outward to the wheel centre (spacer less offset).
        loaded_radius: mm.
    """
    frame = knuckle_frame(toe, camber)
    hub = points["hub_face"]

    def in_knuckle(name: str) -> Floats:
        return frame.T @ (points[name] - hub)

    def strut() -> Strut:
        lower, top = in_knuckle("strut_lower"), in_knuckle("top_mount")
        direction = (top - lower) / np.linalg.norm(top - lower)
        return Strut(points["top_mount"][:, None], lower[:, None], direction[:, None])

    def upper_arm() -> UpperArm:
        return UpperArm(
            points["upper_front"][:, None],
            points["upper_rear"][:, None],
            points["upper_ball_joint"][:, None],
            in_knuckle("upper_ball_joint")[:, None],
        )

    centre = hub + frame[:, 1] * inset
    return Corners(
        arm_front=points["arm_front"][:, None],
        arm_rear=points["arm_rear"][:, None],
        arm_ball_joint=points["ball_joint"][:, None],
        tie_rod_inner=points["tie_rod_inner"][:, None],
        knuckle_ball_joint=in_knuckle("ball_joint")[:, None],
        tie_rod_outer=in_knuckle("tie_rod_outer")[:, None],
        upper=strut() if "top_mount" in points else upper_arm(),
        wheel_inset=np.array([inset]),
        loaded_radius=np.array([loaded_radius]),
        ride_z=np.array([centre[2]]),
    )


def pack(corners: Corners) -> Floats:
    """Geometry columns (GEOMETRY_ROWS, n) without a tie-rod length, which :func:`set_toe` adds."""
    g = np.zeros((k.GEOMETRY_ROWS, corners.lanes))
    centre, spoke, turned = _circle(corners.arm_front, corners.arm_rear, corners.arm_ball_joint)
    wheel = np.stack([np.zeros(corners.lanes), corners.wheel_inset, np.zeros(corners.lanes)])
    vectors = {
        k.CIRCLE_CENTRE: centre,
        k.CIRCLE_COS: spoke,
        k.CIRCLE_SIN: turned,
        k.RACK_END: corners.tie_rod_inner,
        k.ROD_END: corners.tie_rod_outer - corners.knuckle_ball_joint,
        k.WHEEL_CENTRE: wheel - corners.knuckle_ball_joint,
    }
    if isinstance(corners.upper, Strut):
        vectors |= _strut_rows(corners.upper, corners.knuckle_ball_joint)
        g[k.KIND] = k.STRUT
    else:
        vectors |= _upper_rows(corners.upper, corners.knuckle_ball_joint)
        # v . (the upper joint's way as its angle grows) is minus the root: see the kernel
        axis = corners.upper.ball_joint - corners.arm_ball_joint
        g[k.UPPER_BRANCH] = np.where(dot(axis, vectors[k.UPPER_SIN]) > 0.0, -1.0, 1.0)
        g[k.KIND] = k.WISHBONE
    for row, vector in vectors.items():
        g[row : row + 3] = vector
    g[k.LOADED_RADIUS] = corners.loaded_radius
    g[k.RIDE_Z] = corners.ride_z
    g[k.BRANCH] = 1.0
    # the ball joint's rise per unit of t at angle zero is the first guess of the wheel centre's
    g[k.START_SLOPE] = 0.5 / np.maximum(turned[2], 1.0)
    return g


def _circle(front: Floats, rear: Floats, joint: Floats) -> tuple[Floats, Floats, Floats]:
    """An arm's circle: its centre, the way from there to the joint, and that way turned by 90 degrees."""
    pivot = (front - rear) / np.linalg.norm(front - rear, axis=0)
    centre = rear + pivot * dot(joint - rear, pivot)
    spoke = joint - centre
    # turned so that a growing angle lifts the joint
    turned = cross(pivot, spoke)
    return centre, spoke, turned * np.where(turned[2] < 0.0, -1.0, 1.0)


def _strut_rows(strut: Strut, ball_joint: Floats) -> dict[int, Floats]:
    """Geometry rows of a strut on a knuckle whose ball joint is given in its own frame."""
    lower = strut.lower - ball_joint
    foot = lower - strut.direction * dot(lower, strut.direction)
    return {k.TOP_MOUNT: strut.top_mount, k.STRUT_FOOT: foot, k.STRUT_AXIS: strut.direction}


def _upper_rows(arm: UpperArm, ball_joint: Floats) -> dict[int, Floats]:
    """Geometry rows of an upper arm, likewise; STRUT_AXIS stays nothing."""
    centre, spoke, turned = _circle(arm.front, arm.rear, arm.ball_joint)
    return {
        k.TOP_MOUNT: centre,
        k.UPPER_COS: spoke,
        k.UPPER_SIN: turned,
        k.STRUT_FOOT: arm.knuckle_ball_joint - ball_joint,
    }


def set_toe(geometry: Floats, toe: float) -> CornerStates:
    """Solve the straight-ahead state at ride height for a wanted toe, and set the tie rods to it.

    Writes ROD_LENGTH, BRANCH, START and START_SLOPE into ``geometry`` and returns that state (one state,
    all lanes). ``toe`` in degrees, toe-in positive. A lane whose arm cannot reach ride height is marked
    in the states returned and stays unreachable in every later solve.
    """
    states = solve(geometry, np.zeros(1), np.zeros((1, geometry.shape[1])), toe=toe)
    raw = states.raw[:, 0, :]
    geometry[k.START] = raw[k.ARM_T]
    q = 1.0 + raw[k.ARM_T] ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = 0.5 * q / raw[k.CENTRE_RATE_Z]
    geometry[k.START_SLOPE] = np.where(np.isfinite(slope), np.clip(slope, -0.02, 0.02), 0.0)
    set_rods(geometry, raw)
    # a length that is not a number keeps such a lane out of reach at every other travel too
    geometry[k.ROD_LENGTH] = np.where(states.reached[0], geometry[k.ROD_LENGTH], np.nan)
    return states


def set_rods(geometry: Floats, pose: Floats) -> None:
    """Set the tie rods to reach from rack to steering arm at a known pose.

    ``pose`` is (STATE_ROWS, n), the knuckle's state straight ahead at ride height; where the rod ends
    stand in the knuckle and on the rack is read from ``geometry``, which gets ROD_LENGTH and BRANCH.
    Both may have more axes behind the rows, as long as they broadcast.
    """
    x, y = pose[k.FORWARD : k.FORWARD + 3], pose[k.SPINDLE : k.SPINDLE + 3]
    z = cross(x, y)
    end = geometry[k.ROD_END : k.ROD_END + 3]
    arm = x * end[0] + y * end[1] + z * end[2]
    inner = geometry[k.RACK_END : k.RACK_END + 3] - pose[k.BALL_JOINT : k.BALL_JOINT + 3]
    rod = arm - inner
    geometry[k.ROD_LENGTH] = length(rod)
    # the root's sign is that of the triple product axis . (arm x inner) reversed
    side = dot(pose[k.AXIS : k.AXIS + 3], cross(arm, inner))
    geometry[k.BRANCH] = np.where(side > 0.0, -1.0, 1.0)


def set_measured_rods(geometry: Floats, corners: Corners, toe: float, camber: float) -> None:
    """Set the tie rods to the length measured on the car (for the car as its file gives it).

    The measured state is the design state: the ball joint at arm angle zero and the knuckle turned as
    toe and camber say, so the length is the distance between the two measured joints.
    """
    set_toe(geometry, toe)
    frame = knuckle_frame(toe, camber)
    outer = corners.arm_ball_joint + frame @ (corners.tie_rod_outer - corners.knuckle_ball_joint)
    rod = outer - corners.tie_rod_inner
    geometry[k.ROD_LENGTH] = length(rod)

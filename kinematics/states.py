"""Solved states of corners, and the angles read from them.

Signs are ISO 8855 per wheel: toe-in, a top leaning outward (camber), a top leaning rearward (caster) and a
top leaning inward (kingpin inclination) are positive. Angles in degrees, lengths in mm.
Arrays are (n_states, n_lanes); a state that was not reached is not-a-number in every figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kinematics import kernel
from kinematics import rows as k
from kinematics.arrays import Bools, Floats, Ints, Marks


@dataclass(frozen=True)
class CornerStates:
    """Raw rows (STATE_ROWS, n_states, n_lanes) of left-hand corners with their marks."""

    raw: Floats
    marks: Marks

    @cached_property
    def reached(self) -> Bools:
        """Which states exist."""
        return np.asarray(self.marks == k.REACHED)

    def row(self, row: int) -> Floats:
        """One raw row, not-a-number where the state was not reached."""
        return np.asarray(np.where(self.reached, self.raw[row], np.nan))

    @cached_property
    def toe(self) -> Floats:
        """Angle of the wheel plane to the x axis seen from above, deg, toe-in positive."""
        return np.asarray(np.degrees(np.arctan2(self.row(k.SPINDLE), self.raw[k.SPINDLE + 1])))

    @cached_property
    def camber(self) -> Floats:
        """Angle of the wheel plane to the vertical along the wheel's heading, deg, top out positive."""
        return np.asarray(np.degrees(np.arcsin(-self.row(k.SPINDLE + 2))))

    @cached_property
    def caster(self) -> Floats:
        """Steering axis to the vertical in side view, deg, top rearward positive."""
        return np.asarray(np.degrees(np.arctan2(-self.row(k.AXIS), self.raw[k.AXIS + 2])))

    @cached_property
    def kingpin_inclination(self) -> Floats:
        """Steering axis to the vertical in front view, deg, top inward positive."""
        return np.asarray(np.degrees(np.arctan2(-self.row(k.AXIS + 1), self.raw[k.AXIS + 2])))

    @cached_property
    def toggle(self) -> Floats:
        """Angle between tie rod and steering arm or its supplement, the smaller, deg.

        Seen along the steering axis: sin of it is sqrt(a^2 + b^2 - c^2) over the product of arm and rod.
        """
        return np.asarray(np.degrees(np.arcsin(np.minimum(self.row(k.TOGGLE_SINE), 1.0))))

    @cached_property
    def contact_slope(self) -> Floats:
        """Lateral over vertical movement of the contact point along its path, mm per mm."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(self.row(k.CONTACT_RATE_Y) / self.raw[k.CONTACT_RATE_Z])

    def axis_ground_point(self) -> tuple[Floats, Floats]:
        """x and y where the steering axis meets the ground under the contact point, mm."""
        drop = (self.raw[k.CONTACT + 2] - self.raw[k.BALL_JOINT + 2]) / self.raw[k.AXIS + 2]
        x = self.row(k.BALL_JOINT) + drop * self.raw[k.AXIS]
        y = self.row(k.BALL_JOINT + 1) + drop * self.raw[k.AXIS + 1]
        return x, y

    def scrub_and_trail(self) -> tuple[Floats, Floats]:
        """Scrub radius and mechanical trail on the ground, mm.

        Across and along the wheel's heading, from the axis to the contact point: scrub is positive
        where the axis meets the ground inboard of it, trail where it meets the ground ahead of it.
        """
        x, y = self.axis_ground_point()
        level = np.hypot(self.raw[k.SPINDLE], self.raw[k.SPINDLE + 1])
        out_x, out_y = self.raw[k.SPINDLE] / level, self.raw[k.SPINDLE + 1] / level
        dx, dy = self.raw[k.CONTACT] - x, self.raw[k.CONTACT + 1] - y
        scrub = dx * out_x + dy * out_y
        trail = -(dx * out_y - dy * out_x)
        return scrub, trail

    def pick(self, states: Ints | list[int] | slice) -> CornerStates:
        """The given states, in that order."""
        return CornerStates(self.raw[:, states, :], self.marks[states, :])

    def take(self, lanes: Ints) -> CornerStates:
        """The given lanes, in that order."""
        return CornerStates(self.raw.take(lanes, axis=2), self.marks.take(lanes, axis=1))


def solve(geometry: Floats, travel: Floats, rack: Floats, *, toe: float | None = None,
          hold_arm: bool = False) -> CornerStates:  # fmt: skip
    """Solve every lane at every state; ValueError where struts and double wishbones are mixed.

    Args:
        geometry: (GEOMETRY_ROWS, n) columns from :func:`kinematics.corner.pack`.
        travel: (s,) mm of wheel-centre height from ride height, bump positive.
        rack: (s, n) mm along +y of this left-hand corner.
        toe: deg; hold this toe instead of the tie rod.
        hold_arm: keep the arm where it stands at ride height, whatever the travel.
    """
    lanes = geometry.shape[1]
    wishbones = geometry[k.KIND] > 0.5
    if (wishbones != wishbones[:1]).any() and (geometry[k.KIND] < 0.5).any():
        raise ValueError("struts and double wishbones cannot be solved in one call")
    states = np.empty((k.STATE_ROWS, travel.shape[0], lanes))
    marks = np.empty((travel.shape[0], lanes), dtype=np.int8)
    by_toe = toe is not None
    kernel.solve_states(
        np.ascontiguousarray(geometry),
        np.ascontiguousarray(travel, dtype=np.float64),
        np.ascontiguousarray(rack, dtype=np.float64),
        not hold_arm,
        float(np.radians(toe)) if toe is not None else 0.0,
        by_toe,
        states,
        marks,
    )
    return CornerStates(states, marks)


def warm_up() -> None:
    """Compile the kernel, or load it compiled: the first call takes seconds, later ones nothing.

    Done once before worker processes start, so that they find it compiled.
    """
    solve(np.ones((k.GEOMETRY_ROWS, 1)), np.zeros(1), np.zeros((1, 1)))

"""A strut's stroke: what is left of it to the bump stop and to full extension.

The strut's body is fixed in the knuckle at strut_lower; its length is the distance from there up the sliding
axis to the top mount. All lengths in mm; arrays (n,) for n lanes, or (s, n) for as many states of each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinematics.arrays import Floats


@dataclass(frozen=True)
class MeasuredStrut:
    """A strut as measured: unit vector up its axis in left-hand body axes, and its length, mm.

    The length is (n,) where lanes are cars that were measured differently.
    """

    direction: tuple[float, float, float]
    length: float | Floats


def strut_length(
    above_foot: Floats, lower: Floats, upper: Floats, ball_joint: Floats
) -> Floats:  # fmt: skip
    """Length from strut_lower to the top mount, (s, n) mm.

    ``above_foot`` is the kernel's STRUT_LENGTH, (s, n): from the axis's point square to the ball joint up
    to the top mount. ``lower``, ``upper`` and ``ball_joint`` (3, n) are in the knuckle: two points on the
    axis, and the knuckle's ball joint.
    """
    axis = upper - lower
    axis = axis / np.sqrt((axis * axis).sum(axis=0))
    return np.asarray(above_foot - ((lower - ball_joint) * axis).sum(axis=0))


def stroke_left(change: Floats, bump: Floats, droop: Floats) -> Floats:
    """The lesser of what is left to the bump stop and to full extension, (s, n) mm.

    ``change`` (s, n) is how much longer the strut is than where ``bump`` and ``droop`` (n,) are what is left
    of each; not-a-number where one of both is not told, which is then passed over.
    """
    return np.asarray(np.fmin(bump + change, droop - change))

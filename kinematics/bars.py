"""Anti-roll bars: torsion of the bar and bending of both arms, in series.

Standard beam theory: a round bar of length L twists by M L / (G J), an arm of length l held at the bar bends
by F l^3 / (3 E I) at its end. Left out: bending of the bar between its bushes, the give of bushes and links,
and twist of arms that are not square to the bar. Lengths in mm, forces in N, moduli in N/mm².
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kinematics.arrays import Value

SHEAR_MODULUS = 79_300.0  # N/mm², spring steel
YOUNGS_MODULUS = 206_000.0  # N/mm², spring steel


@dataclass(frozen=True)
class Bar:
    """A round bar, solid or a tube, with two arms of the same section.

    ``length`` is that of the part which twists, ``arm`` the lever of an arm's end square to the bar's axis,
    ``arm_length`` the arm's own length. ``motion_ratio`` is the arm end's travel per wheel travel.
    Each is a number, or an array of as many bars.
    """

    diameter: Value
    length: Value
    arm: Value
    arm_length: Value
    motion_ratio: Value = 1.0
    bore: Value = 0.0
    shear: float = SHEAR_MODULUS
    youngs: float = YOUNGS_MODULUS


def polar_moment(diameter: Value, bore: Value = 0.0) -> Value:
    """J = pi (d^4 - bore^4) / 32 of a round section, mm^4."""
    return math.pi * (diameter**4 - bore**4) / 32.0


def second_moment(diameter: Value, bore: Value = 0.0) -> Value:
    """I = pi (d^4 - bore^4) / 64 of a round section, mm^4."""
    return 0.5 * polar_moment(diameter, bore)


def torsional_stiffness(bar: Bar) -> Value:
    """G J / L: moment per angle between the bar's ends, N·mm/rad."""
    return bar.shear * polar_moment(bar.diameter, bar.bore) / bar.length


def torsion_rate(bar: Bar) -> Value:
    """Force at an arm's end per mm that it moves from the other, of the bar's twist alone, N/mm."""
    return torsional_stiffness(bar) / bar.arm**2


def arms_rate(bar: Bar) -> Value:
    """The same of both arms' bending alone, N/mm: half of one cantilever's 3 E I / l^3."""
    return 1.5 * bar.youngs * second_moment(bar.diameter, bar.bore) / bar.arm_length**3


def relative_rate(bar: Bar) -> Value:
    """Force at an arm's end per mm that it moves from the other, N/mm."""
    return 1.0 / (1.0 / torsion_rate(bar) + 1.0 / arms_rate(bar))


def wheel_rate(bar: Bar) -> Value:
    """Force at one wheel per mm of its own travel, the other wheel moving as far the other way, N/mm.

    The arm ends then part by twice a wheel's travel times the motion ratio, and the force at the wheel is
    the arm end's times the motion ratio.
    """
    return 2.0 * relative_rate(bar) * bar.motion_ratio**2


def twist_rate(left: Bar, right: Bar) -> Value:
    """Moment in the bar per angle between its two arms at their ends, N·mm/rad, the arms' bending included.

    Both arms may differ; the bar between them is that of ``left``. With equal arms it is the relative rate
    times the lever squared.
    """
    bending = sum(1.0 / (2.0 * arms_rate(bar) * bar.arm**2) for bar in (left, right))
    return 1.0 / (1.0 / torsional_stiffness(left) + bending)

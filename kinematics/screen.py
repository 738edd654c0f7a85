"""Places of the tie rod's ends, millions at a time, against a window of roll-centre height and of toe change.

Built on the bilinear forms of ``kinematics/freed.py``: no state is solved. What is refused here would be
refused by the figures themselves: the roll centre's height is exact but for rounding, and the toe test only
refuses where the linkage surely passes both ends of the window on one side. What is let through has still
to be judged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Bools, Floats, Ints
from kinematics.compiling import compiled
from kinematics.freed import about, length_change, motions, parting
from kinematics.states import CornerStates, solve
from kinematics.vectors import length

# Forms and figures agree to about 1e-12 of their size; what is nearer to a window's edge is let through.
SLACK = 1e-6
# A linkage this near to lying in line, deg, and so much more for each degree of the window, is let through:
# there toe need not change all one way between the window's ends.
NEAR_LINE = 3.0
NEAR_LINE_PER_DEGREE = 4.0


@dataclass(frozen=True)
class Ends:
    """Places of the rod's ends, as shifts from where a lane has them: every outer one with every inner one.

    ``outer`` is (3, a) mm in the knuckle's frame; ``inner`` (3, b) mm in body axes; ``with_outer`` (3, a) is
    what an outer place moves the inner end besides.
    """

    outer: Floats
    inner: Floats
    with_outer: Floats


@dataclass(frozen=True)
class ToeWindow:
    """Toe may change by at most so much from ride height at some travels of one corner: (n,) marks per lane.

    ``forms`` is (tests, 2, 4, 4, n): the rod's change of squared length at both ends of the window.
    ``least`` is (n,): what the two must differ by, mm^2, for a refusal to be sure.
    """

    forms: Floats
    least: Floats


def toe_window(geometry: Floats, pose: Floats, toe: float, most: float,
               travels: list[float], ends: Ends) -> ToeWindow:  # fmt: skip
    """The window of ``toe`` plus and minus ``most`` deg at the given travels, mm.

    Args:
        geometry: (GEOMETRY_ROWS, n) columns, tie-rod ends where the shifts count from.
        pose: (STATE_ROWS, n), the ride pose at ``toe`` deg.
    """
    edge = most * (1.0 + SLACK) + SLACK
    p, q = geometry[k.ROD_END : k.ROD_END + 3], geometry[k.RACK_END : k.RACK_END + 3]
    still = np.zeros((len(travels), geometry.shape[1]))
    forms = []
    for way in (-edge, edge):
        states = solve(geometry, np.array(travels), still, toe=toe + way)
        forms.append([_form(states, n, pose, p, q, way) for n in range(len(travels))])
    arm = length(p) + _longest(ends.outer)
    rod = _longest_rod(geometry, pose, p, q) + _longest(ends.outer) + _longest(ends.inner)
    rod += _longest(ends.with_outer)
    # d/dtoe of the squared length is 2 arm rod sin(angle between them), seen along the axis
    angle = np.radians(min(NEAR_LINE + NEAR_LINE_PER_DEGREE * edge, 90.0))
    least = 2.0 * np.radians(2.0 * edge) * arm * rod * np.sin(angle)
    return ToeWindow(np.ascontiguousarray(np.swapaxes(np.array(forms), 0, 1)), least)


def _form(states: CornerStates, n: int, pose: Floats, p: Floats, q: Floats, way: float) -> Floats:
    form = about(length_change(pose, states.raw[:, n]), p, q)
    # a pose that is not reached says nothing: a change that fits every rod
    form[..., ~states.reached[n]] = 0.0
    form[0, 0, ~states.reached[n]] = np.sign(way)
    return form


def _longest(shifts: Floats) -> float:
    return float(length(shifts).max(initial=0.0))


def _longest_rod(geometry: Floats, pose: Floats, p: Floats, q: Floats) -> Floats:
    """No shorter than any rod between the ends where the shifts count from, (n,) mm."""
    apart = q - pose[k.BALL_JOINT : k.BALL_JOINT + 3]
    return length(apart) + length(p)


@dataclass(frozen=True)
class RollWindow:
    """Roll-centre height above ground must lie in a window of each lane's own, mm; a mirrored car's.

    ``forms`` is (2, 4, 4, n): the rod's ends parting in the arm's swing and in a turn about the steering
    axis. ``path`` is (5, n): the contact point's y, and the rates of y and z in swing and in turn.
    """

    forms: Floats
    path: Floats
    low: Floats
    high: Floats


def roll_window(geometry: Floats, pose: Floats, low: Floats, high: Floats) -> RollWindow:
    """The window from ``low`` to ``high`` mm, (n,) each; arguments as in :func:`toe_window`."""
    swing, turn = motions(geometry, pose)
    p, q = geometry[k.ROD_END : k.ROD_END + 3], geometry[k.RACK_END : k.RACK_END + 3]
    forms = np.stack([about(parting(pose, motion), p, q) for motion in (swing, turn)])
    path = np.stack(
        [pose[k.CONTACT + 1], swing.contact[1], swing.contact[2], turn.contact[1], turn.contact[2]]
    )
    return RollWindow(forms, path, low - SLACK, high + SLACK)


def screen(
    ends: Ends, roll: RollWindow | None, toes: list[ToeWindow], lanes: Ints
) -> tuple[Bools, Ints]:
    """Which places of the rod's ends may do under each of the given lanes.

    Returns (lanes, a, b) marks, and how many the roll centre and the toe refused, (2,).
    """
    keep = np.ones((lanes.size, ends.outer.shape[1], ends.inner.shape[1]), dtype=np.bool_)
    refused = np.zeros(2, dtype=np.int64)
    for at, lane in enumerate(lanes):
        if roll is not None:
            _screen_roll(
                np.ascontiguousarray(roll.forms[..., lane]),
                roll.path[:, lane].copy(),
                float(roll.low[lane]),
                float(roll.high[lane]),
                ends.outer,
                ends.with_outer,
                ends.inner,
                keep[at],
            )
    before = keep.size - int(np.count_nonzero(keep))
    refused[0] = before
    for window in toes:
        for at, lane in enumerate(lanes):
            _screen_toe(
                np.ascontiguousarray(window.forms[..., lane]),
                float(window.least[lane]),
                ends.outer,
                ends.with_outer,
                ends.inner,
                keep[at],
            )
    refused[1] = keep.size - int(np.count_nonzero(keep)) - before
    return keep, refused


@compiled
def _screen_roll(forms, path, low, high, outer, with_outer, inner, keep):  # type: ignore[no-untyped-def]
    """Mark off the places of one lane whose roll centre is outside the window."""
    y, swing_y, swing_z, turn_y, turn_z = path[0], path[1], path[2], path[3], path[4]
    for a in range(outer.shape[1]):
        s0, s1, s2, s3 = _along_inner(forms[0], outer, with_outer, a)
        t0, t1, t2, t3 = _along_inner(forms[1], outer, with_outer, a)
        for b in range(inner.shape[1]):
            swing = s0 + s1 * inner[0, b] + s2 * inner[1, b] + s3 * inner[2, b]
            turn = t0 + t1 * inner[0, b] + t2 * inner[1, b] + t3 * inner[2, b]
            height = y * (swing_y * turn - turn_y * swing) / (swing_z * turn - turn_z * swing)
            # asked so that a height that is not a number is let through
            keep[a, b] = not ((height < low) | (height > high))


@compiled
def _screen_toe(forms, least, outer, with_outer, inner, keep):  # type: ignore[no-untyped-def]
    """Mark off the places of one lane with which the toe surely leaves the window."""
    for a in range(outer.shape[1]):
        for test in range(forms.shape[0]):
            l0, l1, l2, l3 = _along_inner(forms[test, 0], outer, with_outer, a)
            h0, h1, h2, h3 = _along_inner(forms[test, 1], outer, with_outer, a)
            for b in range(inner.shape[1]):
                low = l0 + l1 * inner[0, b] + l2 * inner[1, b] + l3 * inner[2, b]
                high = h0 + h1 * inner[0, b] + h2 * inner[1, b] + h3 * inner[2, b]
                sure = abs(high - low) > least
                keep[a, b] &= not ((low * high > 0.0) & sure)


@compiled
def _along_inner(form, outer, with_outer, a):  # type: ignore[no-untyped-def]
    """The form at one outer place, as a constant and its change along the inner end's x, y, z."""
    x, y, z = outer[0, a], outer[1, a], outer[2, a]
    c0 = form[0, 0] + x * form[1, 0] + y * form[2, 0] + z * form[3, 0]
    c1 = form[0, 1] + x * form[1, 1] + y * form[2, 1] + z * form[3, 1]
    c2 = form[0, 2] + x * form[1, 2] + y * form[2, 2] + z * form[3, 2]
    c3 = form[0, 3] + x * form[1, 3] + y * form[2, 3] + z * form[3, 3]
    c0 += c1 * with_outer[0, a] + c2 * with_outer[1, a] + c3 * with_outer[2, a]
    return c0, c1, c2, c3

"""A corner with its tie rod taken off: what any place of the rod's ends would make of it.

Without its rod a knuckle has two motions, so at a wheel travel it can be turned to any toe. Where the
rod's ends stand then decides which toe it takes, and the way in which it decides is simple: with p the outer
end in the knuckle's frame from the ball joint, and q the inner end in body axes, the change of the squared
distance between the ends from one pose of the knuckle to another is *bilinear* in p and q, and so is the
rate at which the ends part in a motion. Written [1 p]' K [1 q] the 4 x 4 numbers K hang on the poses alone.
They are found once, and then every place of the rod's ends costs a few multiplications: no state is solved.

- A rod keeps its length: between toe a and toe b at a travel there is a state of the linkage where the
  change of length from the ride pose has different signs at a and at b (:func:`length_change`).
- The wheel's path at ride height is the swing of the arm with the toe held, and so much turning about the
  steering axis that the rod's ends do not part (:func:`motions`, :func:`parting`).

All lengths are mm, angles rad; arrays are (..., n) with lanes last; poses are columns of solved states.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.vectors import cross, dot, length


@dataclass(frozen=True)
class Motion:
    """Rates of one motion: the knuckle's turn (3, n), and the ball joint's and contact point's (3, n).

    Per radian of arm angle, or per radian of turn about the steering axis. Of the contact point only
    y and z are told; its x is zero here.
    """

    turn: Floats
    ball_joint: Floats
    contact: Floats


def frame(pose: Floats) -> Floats:
    """The knuckle's axes as columns of a rotation, (3, 3, n), of states' rows (STATE_ROWS, n)."""
    x, y = pose[k.FORWARD : k.FORWARD + 3], pose[k.SPINDLE : k.SPINDLE + 3]
    return np.stack([x, y, cross(x, y)], axis=1)


def length_change(ride: Floats, there: Floats) -> Floats:
    """K (4, 4, n) of the rod's squared length at a pose less that at the ride pose, mm^2.

    |B + R p - q|^2 loses |p|^2 and |q|^2 in the difference; the rest is bilinear.
    """
    r0, r1 = frame(ride), frame(there)
    b0, b1 = _row(ride, k.BALL_JOINT), _row(there, k.BALL_JOINT)
    form = np.zeros((4, 4, ride.shape[-1]))
    form[0, 0] = dot(b1, b1) - dot(b0, b0)
    form[1:, 0] = 2.0 * (_into(r1, b1) - _into(r0, b0))
    form[0, 1:] = -2.0 * (b1 - b0)
    form[1:, 1:] = -2.0 * (r1 - r0).transpose(1, 0, 2)
    return form


def parting(pose: Floats, motion: Motion) -> Floats:
    """K (4, 4, n) of half the rate of the rod's squared length in a motion, mm^2 per rad.

    (B + R p - q) . (dB + w x R p): the term of second degree in p is zero, for w x R p is square to R p.
    """
    r, b = frame(pose), _row(pose, k.BALL_JOINT)
    form = np.zeros((4, 4, pose.shape[-1]))
    form[0, 0] = dot(b, motion.ball_joint)
    form[1:, 0] = _into(r, motion.ball_joint - cross(motion.turn, b))
    form[0, 1:] = -motion.ball_joint
    for axis in range(3):
        form[1 + axis, 1:] = -cross(motion.turn, r[:, axis])
    return form


def about(form: Floats, p: Floats, q: Floats) -> Floats:
    """The same form of shifts from p and q, each (3, n): [1 dp]' K' [1 dq]."""
    moved = form.copy()
    moved[0] += np.einsum("in,ijn->jn", p, form[1:])
    moved[:, 0] += np.einsum("ijn,jn->in", moved[:, 1:], q)
    return moved


def motions(geometry: Floats, pose: Floats) -> tuple[Motion, Motion]:
    """Swing of the arm with the toe held, and turn about the steering axis with the arm held.

    Args:
        geometry: (GEOMETRY_ROWS, n) columns of one kind of corner.
        pose: (STATE_ROWS, n), a state of them.
    """
    axis = _row(pose, k.AXIS)
    still = np.zeros_like(axis)
    t = pose[k.ARM_T]
    cosine, sine = (1.0 - t * t) / (1.0 + t * t), 2.0 * t / (1.0 + t * t)
    ball = cosine * _row(geometry, k.CIRCLE_SIN) - sine * _row(geometry, k.CIRCLE_COS)
    swing = _held_toe(geometry, pose, ball)
    return _motion(geometry, pose, swing, ball), _motion(geometry, pose, axis, still)


def _held_toe(geometry: Floats, pose: Floats, ball: Floats) -> Floats:
    """Turn of the knuckle as its ball joint moves and its toe stands still, (3, n).

    The knuckle's point at the top mount can only move along the strut, the upper ball joint only along its
    circle: dB + w x u = l s. With the heading's rate nothing these are four equations in w and l.
    """
    upper, along = _upper(geometry, pose)
    y = _row(pose, k.SPINDLE)
    matrix = np.zeros((pose.shape[-1], 4, 4))
    # w x u as a matrix on w
    ux, uy, uz = upper
    matrix[:, 0, 1], matrix[:, 0, 2] = uz, -uy
    matrix[:, 1, 0], matrix[:, 1, 2] = -uz, ux
    matrix[:, 2, 0], matrix[:, 2, 1] = uy, -ux
    matrix[:, :3, 3] = -along.T
    matrix[:, 3, 0], matrix[:, 3, 1] = y[2] * y[0], y[2] * y[1]
    matrix[:, 3, 2] = -(y[0] * y[0] + y[1] * y[1])
    wanted = np.zeros((pose.shape[-1], 4, 1))
    wanted[:, :3, 0] = -ball.T
    return np.asarray(np.linalg.solve(matrix, wanted)[:, :3, 0].T)


def _upper(geometry: Floats, pose: Floats) -> tuple[Floats, Floats]:
    """From the ball joint to the knuckle's upper point, and the direction in which that can move, (3, n)."""
    r = frame(pose)
    if (geometry[k.KIND] < 0.5).all():
        upper = _row(geometry, k.TOP_MOUNT) - _row(pose, k.BALL_JOINT)
        return upper, _out_of(r, _row(geometry, k.STRUT_AXIS))
    upper = _out_of(r, _row(geometry, k.STRUT_FOOT))
    spoke = upper + _row(pose, k.BALL_JOINT) - _row(geometry, k.TOP_MOUNT)
    pivot = cross(_row(geometry, k.UPPER_COS), _row(geometry, k.UPPER_SIN))
    along = cross(pivot, spoke)
    return upper, along / length(along)


def _motion(geometry: Floats, pose: Floats, turn: Floats, ball: Floats) -> Motion:
    """With the contact point's rates: it lies down the wheel plane's steepest line by the loaded radius."""
    spindle = _row(pose, k.SPINDLE)
    centre = ball + cross(turn, _row(pose, k.CENTRE) - _row(pose, k.BALL_JOINT))
    rate = cross(turn, spindle)
    level = 1.0 - spindle[2] ** 2
    down = geometry[k.LOADED_RADIUS] / np.sqrt(level)
    grow = spindle[2] * rate[2] / level
    contact = np.zeros_like(ball)
    side = rate[2] * spindle[1] + spindle[2] * rate[1] + grow * spindle[2] * spindle[1]
    contact[1] = centre[1] + down * side
    contact[2] = centre[2] + down * spindle[2] * rate[2]
    return Motion(turn, ball, contact)


def _row(columns: Floats, row: int) -> Floats:
    return columns[row : row + 3]


def _into(r: Floats, vector: Floats) -> Floats:
    """A body vector (3, n) in knuckles' frames."""
    return np.asarray((r * vector[:, None]).sum(axis=0))


def _out_of(r: Floats, vector: Floats) -> Floats:
    """A vector of knuckles' frames (3, n) in body axes."""
    return np.asarray((r * vector[None, :]).sum(axis=1))

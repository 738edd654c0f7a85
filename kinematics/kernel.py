"""The front corner's closed form, compiled: flat columns in, flat columns out.

One *lane* is one corner's geometry (a column of ``geometry``), one *state* is a wheel travel with a
rack displacement. ``solve_states`` fills every lane at every state; lanes lie side by side in memory so
that the compiler works on several at once. All lengths are millimetres, all directions body-fixed
ISO 8855 axes of a *left* corner (x forward, y left, z up); a right corner is solved as its mirror image.

The chain of closed forms:

1. The arm's angle, as t = tan(angle / 2) so that no sine is needed, puts the ball joint B on its circle.
2. The strut's sliding axis, fixed in the knuckle, must pass through the top mount M. With L = |BM| the
   place of M along that axis is a square root: this fixes the knuckle up to a turn about the steering
   axis v = BM.
   On a double wishbone v = BU instead, with U the upper ball joint: it lies on the upper arm's circle
   (centre C, at C + P cos psi + Q sin psi) and as far from B as in the knuckle, |BU| = h. With e = BC that
   is 2 (e . P cos psi + e . Q sin psi) = h^2 - e^2 - P^2, again a root whose sign is a branch, fixed as
   measured. Behind it both are one: the wishbone's knuckle is a strut's whose foot is the vector BU and
   whose sliding axis has no length.
3. The tie rod (or, to set the rod's length, a wanted toe) fixes that turn. Either says that a knuckle
   vector p (to the rod end; the spindle) and a body vector d (to the inner rod joint; the heading) have
   a known product p . d. Seen along v they stand at the angle whose cosine is c / sqrt(pp dd). The
   discriminant pp dd - c^2 falls to zero where tie rod and steering arm lie in line; the root's sign is
   the linkage's branch and never changes, so an inverted linkage is never taken for more lock.
   Any other knuckle vector follows from its products with v, p and v x p, which need only numbers fixed
   in the knuckle. No frame is built, v is not brought to unit length, and pp, dd and c are kept times
   L^2: divisions and roots, the slow operations, stay few.
4. Only the arm's angle for a wanted wheel-centre height is iterated: Newton's method on t with the exact
   derivative. A lane that has arrived is frozen, so its figures do not depend on its neighbours.

The chain is cut into short loops over a block of lanes. One long loop would be one chain of waiting for
roots and divisions; in short ones the processor works on other lanes while it waits.

No relaxed arithmetic is used: the same inputs give the same bits whatever the vector width.
Loops hold no calls that survive compilation and no allocation.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from kinematics.arrays import Floats, Marks
from kinematics.compiling import compiled
from kinematics.rows import (
    ARM_OUT_OF_REACH,
    ARM_T,
    AXIS,
    BALL_JOINT,
    BRANCH,
    CENTRE,
    CENTRE_RATE_Z,
    CIRCLE_CENTRE,
    CIRCLE_COS,
    CIRCLE_SIN,
    CONTACT,
    CONTACT_RATE_Y,
    CONTACT_RATE_Z,
    FORWARD,
    GEOMETRY_ROWS,
    KIND,
    LOADED_RADIUS,
    RACK_END,
    REACHED,
    RIDE_Z,
    ROD_END,
    ROD_LENGTH,
    ROD_OUT_OF_REACH,
    ROD_OUTER,
    SPINDLE,
    START,
    START_SLOPE,
    STATE_ROWS,
    STRUT_AXIS,
    STRUT_FOOT,
    STRUT_LENGTH,
    TOGGLE_SINE,
    TOP_MOUNT,
    UPPER_BRANCH,
    UPPER_COS,
    UPPER_SIN,
    WHEEL_CENTRE,
)

# A block of lanes is worked on in one flat scratch array: the state rows, then what follows. Rows a known
# distance apart are what lets the compiler see that lanes are independent.
LANES = 32
_MARK = STATE_ROWS  # the mark as a float
_GOING = STATE_ROWS + 1  # 1 while a lane is still on its way
# From the arm's angle:
_Q = STATE_ROWS + 2  # 1 / (1 + t^2)
_V = _Q + 1  # steering axis: ball joint to top mount or upper ball joint
_DV = _V + 3  # its change per radian
_E = (
    _DV + 3
)  # ball joint to the body's upper point: the top mount (then v itself), or the upper circle's centre
_DE = _E + 3  # its change per radian, so minus the ball joint's
_LL = _DE + 3  # v . v
_MU = (
    _LL + 1
)  # place of the top mount along the sliding axis; of a wishbone 1, or as good as none out of reach
# From the turn, seen along v; p and d as in the text above:
_D = _MU + 1
_P3 = _D + 3  # p . v
_PP = _P3 + 1  # square of p seen along v, times L^2
_M = _PP + 1  # pp dd, both times L^2
_DISC = _M + 1  # pp dd - c^2, all times L^2
_S = _DISC + 1  # its root over L, with the branch's sign
_RM = _S + 1  # 1 / m
_RLL = _RM + 1  # 1 / L^2
_RMU = _RLL + 1  # 1 / mu
_RL = _RMU + 1  # 1 / L
_K1 = _RL + 1  # along p's part square to v, in body axes
_K2 = _K1 + 3  # along v x that
# From the knuckle's images:
_O = _K2 + 3  # ball joint to wheel centre
_OMEGA = _O + 3  # turn of the knuckle per radian of arm angle, without its part about v
_NUM = _OMEGA + 3  # that part, as a share of v, times -S
_RISE = _NUM + 1  # wheel centre's rise per radian of arm angle without that part
_GAIN = _RISE + 1  # and its rise per share of v
# What the states of a block need of the geometry; f is the strut's foot, a its axis, and any knuckle
# vector x has five numbers: x . f, x . a, x . p, f . (p x x), a . (p x x).
_TO_CENTRE = _GAIN + 1  # from the lower circle's centre to the body's upper point
_COS = _TO_CENTRE + 3
_SIN = _COS + 3
_TOP = _SIN + 3
_RACK = _TOP + 3  # inner tie-rod joint, rack centred, and its y with the state's displacement
_RACK_Y = _RACK + 3
_D_FIXED = _RACK_Y + 1  # d = this + share * e
_FF = _D_FIXED + 3  # f . f
_DD = _FF + 1  # p . p - rod^2, or nothing
_OF_P = _DD + 1  # the first three of p
_OF_A = _OF_P + 3  # f . (p x a)
_OF_W = _OF_A + 1  # the five of ball joint to wheel centre
_OF_X = _OF_W + 5  # the five of the knuckle's x axis
_OF_Y = _OF_X + 5  # the five of its y axis, the spindle
_OF_R = _OF_Y + 5  # the five of ball joint to rod end
_SIGN = _OF_R + 5
_RADIUS = _SIGN + 1
_FROM = _RADIUS + 1
_SLOPE = _FROM + 1
_RIDE = _SLOPE + 1  # wheel-centre height at travel zero, from the body's upper point
# The upper arm's circle:
_UPPER_COS = _RIDE + 1
_UPPER_SIN = _UPPER_COS + 3
_UPPER_SIGN = _UPPER_SIN + 3
_UPPER_RR = _UPPER_SIGN + 1  # its radius squared
# The halving's bracket, and whether its low end lies below (1) the wanted height:
_LOW = _UPPER_RR + 1
_HIGH = _LOW + 1
_BELOW = _HIGH + 1
_ROWS = _BELOW + 1

LEAST_MU = 1e-5  # mm of sliding axis between foot and top mount: less is out of reach
OUT_OF_MU = 1e-6  # what stands there where the strut is too short or the upper arm cannot reach
LEAST_UPPER = 1e-7  # share of the upper root's squares: less is out of the upper arm's reach
ARRIVED = 1e-9  # mm of wheel-centre height: if more is left after it, halving takes over
PLACED = 1e-7  # mm of wheel-centre height: more than this is out of reach
# A rod out of reach by more than this share of pp dd, and by this much more for each mm that the wheel
# centre is from its height, is out of reach at that height too: arm and rod lie in line less quickly.
LOST = 1e-4
LOST_PER_MM = 0.02
MOST_STEPS = 14
MOST_HALVINGS = 60
MOST_TURN = 0.2  # of the arm parameter in one step
MOST_TURN_RATE = 3.0  # rad of turn per rad of arm angle that the iteration follows
# An arm more than this from its measured angle (tan of half of 75 degrees) is out of reach.
FURTHEST_T = 0.7673269879789604
# The safeguard of a wishbone looks for its bracket outward from ride height, in such steps of t.
BRACKET_STEP = 0.02
MOST_BRACKET_STEPS = 77


@compiled
def solve_states(
    geometry: Floats,
    travel: Floats,
    rack: Floats,
    by_travel: bool,
    wanted_toe: float,
    by_toe: bool,
    states: Floats,
    marks: Marks,
) -> None:
    """Fill ``states`` (STATE_ROWS, n_states, n_lanes) and ``marks`` (n_states, n_lanes).

    Args:
        geometry: (GEOMETRY_ROWS, n_lanes) columns, see the row names above; KIND alike in all lanes.
        travel: (n_states,) mm of wheel-centre height over RIDE_Z, bump positive.
        rack: (n_states, n_lanes) mm along +y from the centred rack.
        by_travel: find the arm's angle for the travel; else hold it at START and ignore the travel.
        wanted_toe: rad, toe-in positive; used with ``by_toe``.
        by_toe: hold the toe instead of the tie rod (the rod's length is then an answer).

    A state that cannot be reached is marked, and its figures are without meaning.
    """
    lanes = geometry.shape[1]
    share = 0.0 if by_toe else 1.0
    wishbone = _any_wishbone(geometry)
    g = np.zeros(_ROWS * LANES)
    for first in range(0, lanes, LANES):
        width = min(LANES, lanes - first)
        # a short last block is filled up with its last lane
        for row in range(GEOMETRY_ROWS):
            for i in range(width):
                g[row * LANES + i] = geometry[row, first + i]
            for i in range(width, LANES):
                g[row * LANES + i] = geometry[row, first + width - 1]
        _load(g)
        if wishbone:
            _load_upper(g)
        if by_toe:
            _load_knuckle(g, 0.0, np.cos(wanted_toe), -np.sin(wanted_toe))
        else:
            _load_knuckle(g, 1.0, 0.0, 0.0)
        for s in range(travel.shape[0]):
            lift = travel[s] if by_travel else 0.0
            for i in range(width):
                g[_RACK_Y * LANES + i] = g[(_RACK + 1) * LANES + i] + rack[s, first + i]
            for i in range(width, LANES):
                g[_RACK_Y * LANES + i] = g[_RACK_Y * LANES + width - 1]
            _start(g, lift, share)
            if by_travel:
                _find_arm(g, lift, share, wishbone)
                if _still_out(g, lift) > 0.0:
                    _halve(g, lift, share, wishbone)
            else:
                _pose(g, share, wishbone)
            _fill(g)
            _fill_contact(g)
            _fill_marks(g, lift, by_travel)
            if width == LANES:
                _write(g, states, marks, s, first, LANES)
            else:
                _write(g, states, marks, s, first, width)


@compiled
def _any_wishbone(geometry):  # type: ignore[no-untyped-def]
    """Whether the lanes are wishbones; a lane that is no number has no say."""
    found = 0
    for i in range(geometry.shape[1]):
        found += 1 if geometry[KIND, i] > 0.5 else 0
    return found > 0


@njit(inline="always")
def _write(g, states, marks, s, first, width):  # type: ignore[no-untyped-def]
    """Hand out a block's states; a width known beforehand makes plain runs of copies."""
    for row in range(STATE_ROWS):
        for i in range(width):
            states[row, s, first + i] = g[row * LANES + i]
    for i in range(width):
        marks[s, first + i] = np.int8(g[_MARK * LANES + i])


@compiled
def _load(g):  # type: ignore[no-untyped-def]
    """Scratch rows that follow from a block's geometry rows, which stand where states will."""
    for axis in range(3):
        for i in range(LANES):
            top = g[(TOP_MOUNT + axis) * LANES + i]
            g[(_TOP + axis) * LANES + i] = top
            g[(_TO_CENTRE + axis) * LANES + i] = top - g[(CIRCLE_CENTRE + axis) * LANES + i]
            g[(_COS + axis) * LANES + i] = g[(CIRCLE_COS + axis) * LANES + i]
            g[(_SIN + axis) * LANES + i] = g[(CIRCLE_SIN + axis) * LANES + i]
            g[(_RACK + axis) * LANES + i] = g[(RACK_END + axis) * LANES + i]
    for i in range(LANES):
        g[_RADIUS * LANES + i] = g[LOADED_RADIUS * LANES + i]
        g[_FROM * LANES + i] = g[START * LANES + i]
        g[_SLOPE * LANES + i] = g[START_SLOPE * LANES + i]
        g[_RIDE * LANES + i] = g[RIDE_Z * LANES + i] - g[(TOP_MOUNT + 2) * LANES + i]


@compiled
def _load_upper(g):  # type: ignore[no-untyped-def]
    """The upper arm's circle of a block, called while the geometry rows still stand."""
    for axis in range(3):
        for i in range(LANES):
            g[(_UPPER_COS + axis) * LANES + i] = g[(UPPER_COS + axis) * LANES + i]
            g[(_UPPER_SIN + axis) * LANES + i] = g[(UPPER_SIN + axis) * LANES + i]
    for i in range(LANES):
        px = g[UPPER_COS * LANES + i]
        py = g[(UPPER_COS + 1) * LANES + i]
        pz = g[(UPPER_COS + 2) * LANES + i]
        g[_UPPER_RR * LANES + i] = px * px + py * py + pz * pz
        g[_UPPER_SIGN * LANES + i] = g[UPPER_BRANCH * LANES + i]


@compiled
def _load_knuckle(g, share, heading_x, heading_y):  # type: ignore[no-untyped-def]
    """The numbers fixed in the knuckle, with the rod end as p (``share`` 1) or the spindle (0)."""
    for i in range(LANES):
        fx = g[STRUT_FOOT * LANES + i]
        fy = g[(STRUT_FOOT + 1) * LANES + i]
        fz = g[(STRUT_FOOT + 2) * LANES + i]
        ax = g[STRUT_AXIS * LANES + i]
        ay = g[(STRUT_AXIS + 1) * LANES + i]
        az = g[(STRUT_AXIS + 2) * LANES + i]
        px = share * g[ROD_END * LANES + i]
        py = share * g[(ROD_END + 1) * LANES + i] + (1.0 - share)
        pz = share * g[(ROD_END + 2) * LANES + i]
        rod = g[ROD_LENGTH * LANES + i]
        pp = px * px + py * py + pz * pz
        g[_FF * LANES + i] = fx * fx + fy * fy + fz * fz
        g[_DD * LANES + i] = pp - rod * rod
        g[_OF_P * LANES + i] = px * fx + py * fy + pz * fz
        g[(_OF_P + 1) * LANES + i] = px * ax + py * ay + pz * az
        g[(_OF_P + 2) * LANES + i] = pp
        # f x p and a x p: f . (p x x) is their product with x
        gx, gy, gz = fy * pz - fz * py, fz * px - fx * pz, fx * py - fy * px
        bx, by, bz = ay * pz - az * py, az * px - ax * pz, ax * py - ay * px
        g[_OF_A * LANES + i] = gx * ax + gy * ay + gz * az
        wx = g[WHEEL_CENTRE * LANES + i]
        wy = g[(WHEEL_CENTRE + 1) * LANES + i]
        wz = g[(WHEEL_CENTRE + 2) * LANES + i]
        g[_OF_W * LANES + i] = wx * fx + wy * fy + wz * fz
        g[(_OF_W + 1) * LANES + i] = wx * ax + wy * ay + wz * az
        g[(_OF_W + 2) * LANES + i] = wx * px + wy * py + wz * pz
        g[(_OF_W + 3) * LANES + i] = wx * gx + wy * gy + wz * gz
        g[(_OF_W + 4) * LANES + i] = wx * bx + wy * by + wz * bz
        rx = g[ROD_END * LANES + i]
        ry = g[(ROD_END + 1) * LANES + i]
        rz = g[(ROD_END + 2) * LANES + i]
        g[_OF_R * LANES + i] = rx * fx + ry * fy + rz * fz
        g[(_OF_R + 1) * LANES + i] = rx * ax + ry * ay + rz * az
        g[(_OF_R + 2) * LANES + i] = rx * px + ry * py + rz * pz
        g[(_OF_R + 3) * LANES + i] = rx * gx + ry * gy + rz * gz
        g[(_OF_R + 4) * LANES + i] = rx * bx + ry * by + rz * bz
        g[_OF_X * LANES + i] = fx
        g[(_OF_X + 1) * LANES + i] = ax
        g[(_OF_X + 2) * LANES + i] = px
        g[(_OF_X + 3) * LANES + i] = gx
        g[(_OF_X + 4) * LANES + i] = bx
        g[_OF_Y * LANES + i] = fy
        g[(_OF_Y + 1) * LANES + i] = ay
        g[(_OF_Y + 2) * LANES + i] = py
        g[(_OF_Y + 3) * LANES + i] = gy
        g[(_OF_Y + 4) * LANES + i] = by
        g[_SIGN * LANES + i] = share * g[BRANCH * LANES + i] + (1.0 - share)
        # the inner rod joint from the top mount (its y is set for each state), or the heading
        top = share * g[TOP_MOUNT * LANES + i]
        g[_D_FIXED * LANES + i] = share * g[RACK_END * LANES + i] - top + heading_x
        g[(_D_FIXED + 1) * LANES + i] = heading_y
        top = share * g[(TOP_MOUNT + 2) * LANES + i]
        g[(_D_FIXED + 2) * LANES + i] = share * g[(RACK_END + 2) * LANES + i] - top


@compiled
def _start(g, lift, share):  # type: ignore[no-untyped-def]
    """First guess of every lane's arm parameter, and the rack where the state has it."""
    for i in range(LANES):
        guess = g[_FROM * LANES + i] + lift * g[_SLOPE * LANES + i]
        g[ARM_T * LANES + i] = min(max(guess, -FURTHEST_T), FURTHEST_T)
    if share > 0.0:
        for i in range(LANES):
            inner = g[_RACK_Y * LANES + i]
            g[(_D_FIXED + 1) * LANES + i] = inner - g[(_TOP + 1) * LANES + i]


@compiled
def _pose(g, share, wishbone):  # type: ignore[no-untyped-def]
    """Knuckle pose of every lane at its arm parameter, and how it changes with the arm's angle."""
    if wishbone:
        _swing_arms(g)
    else:
        _swing_strut(g)
    _turn(g, share)
    _place(g)
    _rates(g, share)


@compiled
def _swing_strut(g):  # type: ignore[no-untyped-def]
    """1 and 2: arm, steering axis, and the top mount's place on the sliding axis."""
    for i in range(LANES):
        t = g[ARM_T * LANES + i]
        q = 1.0 / (1.0 + t * t)
        ca = (1.0 - t * t) * q
        sa = 2.0 * t * q
        vx = g[_TO_CENTRE * LANES + i] - ca * g[_COS * LANES + i] - sa * g[_SIN * LANES + i]
        vy = (
            g[(_TO_CENTRE + 1) * LANES + i]
            - ca * g[(_COS + 1) * LANES + i]
            - sa * g[(_SIN + 1) * LANES + i]
        )
        vz = (
            g[(_TO_CENTRE + 2) * LANES + i]
            - ca * g[(_COS + 2) * LANES + i]
            - sa * g[(_SIN + 2) * LANES + i]
        )
        dvx = sa * g[_COS * LANES + i] - ca * g[_SIN * LANES + i]
        dvy = sa * g[(_COS + 1) * LANES + i] - ca * g[(_SIN + 1) * LANES + i]
        dvz = sa * g[(_COS + 2) * LANES + i] - ca * g[(_SIN + 2) * LANES + i]
        ll = vx * vx + vy * vy + vz * vz
        g[_Q * LANES + i] = q
        g[_V * LANES + i] = vx
        g[(_V + 1) * LANES + i] = vy
        g[(_V + 2) * LANES + i] = vz
        g[_DV * LANES + i] = dvx
        g[(_DV + 1) * LANES + i] = dvy
        g[(_DV + 2) * LANES + i] = dvz
        g[_E * LANES + i] = vx
        g[(_E + 1) * LANES + i] = vy
        g[(_E + 2) * LANES + i] = vz
        g[_DE * LANES + i] = dvx
        g[(_DE + 1) * LANES + i] = dvy
        g[(_DE + 2) * LANES + i] = dvz
        g[_LL * LANES + i] = ll
        # a mount nearer than the foot has no place on the axis: the least value tells it later
        g[_MU * LANES + i] = np.sqrt(max(ll - g[_FF * LANES + i], OUT_OF_MU * OUT_OF_MU))


@compiled
def _swing_arms(g):  # type: ignore[no-untyped-def]
    """1 and 2 of a double wishbone: both arms, and the steering axis between their ball joints.

    a cos psi + b sin psi = c, as in the text above. Where c is too large the upper arm points at the lower
    ball joint (or away from it) as well as it can: the pose stays continuous, and is marked by its mu.
    """
    for i in range(LANES):
        t = g[ARM_T * LANES + i]
        q = 1.0 / (1.0 + t * t)
        ca = (1.0 - t * t) * q
        sa = 2.0 * t * q
        px = g[_UPPER_COS * LANES + i]
        py = g[(_UPPER_COS + 1) * LANES + i]
        pz = g[(_UPPER_COS + 2) * LANES + i]
        qx = g[_UPPER_SIN * LANES + i]
        qy = g[(_UPPER_SIN + 1) * LANES + i]
        qz = g[(_UPPER_SIN + 2) * LANES + i]
        ex = g[_TO_CENTRE * LANES + i] - ca * g[_COS * LANES + i] - sa * g[_SIN * LANES + i]
        ey = (
            g[(_TO_CENTRE + 1) * LANES + i]
            - ca * g[(_COS + 1) * LANES + i]
            - sa * g[(_SIN + 1) * LANES + i]
        )
        ez = (
            g[(_TO_CENTRE + 2) * LANES + i]
            - ca * g[(_COS + 2) * LANES + i]
            - sa * g[(_SIN + 2) * LANES + i]
        )
        dex = sa * g[_COS * LANES + i] - ca * g[_SIN * LANES + i]
        dey = sa * g[(_COS + 1) * LANES + i] - ca * g[(_SIN + 1) * LANES + i]
        dez = sa * g[(_COS + 2) * LANES + i] - ca * g[(_SIN + 2) * LANES + i]
        a = ex * px + ey * py + ez * pz
        b = ex * qx + ey * qy + ez * qz
        n = a * a + b * b
        # the foot's square is h^2
        c = 0.5 * (g[_FF * LANES + i] - (ex * ex + ey * ey + ez * ez) - g[_UPPER_RR * LANES + i])
        disc = n - c * c
        within = disc > LEAST_UPPER * n
        # not-a-number stays one: it fails `within` and is not clipped away
        most = np.sqrt(n)
        c = c if disc >= 0.0 else (-most if c < 0.0 else most)
        r = g[_UPPER_SIGN * LANES + i] * np.sqrt(max(disc, 0.0))
        rn = 1.0 / n
        cp = (a * c - b * r) * rn
        sp = (b * c + a * r) * rn
        vx = ex + cp * px + sp * qx
        vy = ey + cp * py + sp * qy
        vz = ez + cp * pz + sp * qz
        # the upper joint's way per radian of psi; v . that is -r, and v . dv = 0 gives psi's rate
        tx = cp * qx - sp * px
        ty = cp * qy - sp * py
        tz = cp * qz - sp * pz
        rate = (vx * dex + vy * dey + vz * dez) / (r if within else 1.0)
        rate = rate if within else 0.0
        g[_Q * LANES + i] = q
        g[_E * LANES + i] = ex
        g[(_E + 1) * LANES + i] = ey
        g[(_E + 2) * LANES + i] = ez
        g[_DE * LANES + i] = dex
        g[(_DE + 1) * LANES + i] = dey
        g[(_DE + 2) * LANES + i] = dez
        g[_V * LANES + i] = vx
        g[(_V + 1) * LANES + i] = vy
        g[(_V + 2) * LANES + i] = vz
        g[_DV * LANES + i] = dex + rate * tx
        g[(_DV + 1) * LANES + i] = dey + rate * ty
        g[(_DV + 2) * LANES + i] = dez + rate * tz
        g[_LL * LANES + i] = vx * vx + vy * vy + vz * vz
        g[_MU * LANES + i] = 1.0 if within else OUT_OF_MU


@compiled
def _turn(g, share):  # type: ignore[no-untyped-def]
    """3: the turn about the steering axis."""
    for i in range(LANES):
        vx = g[_V * LANES + i]
        vy = g[(_V + 1) * LANES + i]
        vz = g[(_V + 2) * LANES + i]
        ll = g[_LL * LANES + i]
        mu = g[_MU * LANES + i]
        p3 = g[_OF_P * LANES + i] + mu * g[(_OF_P + 1) * LANES + i]
        pp = g[(_OF_P + 2) * LANES + i] * ll - p3 * p3
        dx = g[_D_FIXED * LANES + i] + share * g[_E * LANES + i]
        dy = g[(_D_FIXED + 1) * LANES + i] + share * g[(_E + 1) * LANES + i]
        dz = g[(_D_FIXED + 2) * LANES + i] + share * g[(_E + 2) * LANES + i]
        d3 = vx * dx + vy * dy + vz * dz
        d2 = dx * dx + dy * dy + dz * dz
        # p . d = (p^2 + d^2 - rod^2) / 2, or 0 for the spindle square to the heading
        c = 0.5 * share * (g[_DD * LANES + i] + d2) * ll - p3 * d3
        m = pp * (d2 * ll - d3 * d3)
        disc = m - c * c
        # three reciprocals for one division
        every = 1.0 / (m * mu * ll)
        rll = every * m * mu
        s = np.sqrt(max(disc, 0.0) * rll) * g[_SIGN * LANES + i]
        along = d3 * rll
        g1x = dx - along * vx
        g1y = dy - along * vy
        g1z = dz - along * vz
        g2x = vy * dz - vz * dy
        g2y = vz * dx - vx * dz
        g2z = vx * dy - vy * dx
        sl = s * ll
        g[_D * LANES + i] = dx
        g[(_D + 1) * LANES + i] = dy
        g[(_D + 2) * LANES + i] = dz
        g[_P3 * LANES + i] = p3
        g[_PP * LANES + i] = pp
        g[_M * LANES + i] = m
        g[_DISC * LANES + i] = disc
        g[_S * LANES + i] = s
        g[_RM * LANES + i] = every * mu * ll
        g[_RLL * LANES + i] = rll
        g[_RMU * LANES + i] = every * m * ll
        g[_K1 * LANES + i] = c * g1x + s * g2x
        g[(_K1 + 1) * LANES + i] = c * g1y + s * g2y
        g[(_K1 + 2) * LANES + i] = c * g1z + s * g2z
        g[_K2 * LANES + i] = c * g2x - sl * g1x
        g[(_K2 + 1) * LANES + i] = c * g2y - sl * g1y
        g[(_K2 + 2) * LANES + i] = c * g2z - sl * g1z


@njit(inline="always")
def _image(g, i, five, to):  # type: ignore[no-untyped-def]
    """Write into rows ``to`` the body direction of the knuckle vector whose five numbers are given."""
    rm = g[_RM * LANES + i]
    mu = g[_MU * LANES + i]
    x3 = g[five * LANES + i] + mu * g[(five + 1) * LANES + i]
    x1 = (g[(five + 2) * LANES + i] * g[_LL * LANES + i] - g[_P3 * LANES + i] * x3) * rm
    x2 = (g[(five + 3) * LANES + i] + mu * g[(five + 4) * LANES + i]) * rm
    x3 = x3 * g[_RLL * LANES + i]
    for axis in range(3):
        g[(to + axis) * LANES + i] = (
            g[(_V + axis) * LANES + i] * x3
            + g[(_K1 + axis) * LANES + i] * x1
            + g[(_K2 + axis) * LANES + i] * x2
        )


@compiled
def _place(g):  # type: ignore[no-untyped-def]
    """Wheel centre, and the knuckle's turn rate without its part about the steering axis.

    The knuckle's point at the top mount may only slide along the sliding axis a, whose body direction is
    that of its five numbers: dB + omega x v = -dmu a, with dB = -dv. A wishbone's v keeps its length, so
    nothing slides.
    """
    for i in range(LANES):
        _image(g, i, _OF_W, _O)
        vx = g[_V * LANES + i]
        vy = g[(_V + 1) * LANES + i]
        vz = g[(_V + 2) * LANES + i]
        dvx = g[_DV * LANES + i]
        dvy = g[(_DV + 1) * LANES + i]
        dvz = g[(_DV + 2) * LANES + i]
        rm = g[_RM * LANES + i]
        rll = g[_RLL * LANES + i]
        mu = g[_MU * LANES + i]
        slide = (vx * dvx + vy * dvy + vz * dvz) * g[_RMU * LANES + i]
        a3 = slide * mu * rll
        a1 = g[(_OF_P + 1) * LANES + i] * g[_LL * LANES + i] - g[_P3 * LANES + i] * mu
        a1 = slide * a1 * rm
        a2 = slide * g[_OF_A * LANES + i] * rm
        ux = dvx - vx * a3 - g[_K1 * LANES + i] * a1 - g[_K2 * LANES + i] * a2
        uy = dvy - vy * a3 - g[(_K1 + 1) * LANES + i] * a1 - g[(_K2 + 1) * LANES + i] * a2
        uz = dvz - vz * a3 - g[(_K1 + 2) * LANES + i] * a1 - g[(_K2 + 2) * LANES + i] * a2
        g[_OMEGA * LANES + i] = (vy * uz - vz * uy) * rll
        g[(_OMEGA + 1) * LANES + i] = (vz * ux - vx * uz) * rll
        g[(_OMEGA + 2) * LANES + i] = (vx * uy - vy * ux) * rll


@compiled
def _rates(g, share):  # type: ignore[no-untyped-def]
    """The wheel centre's rise, and the turn about the steering axis that rod or toe asks for."""
    for i in range(LANES):
        wx = g[_OMEGA * LANES + i]
        wy = g[(_OMEGA + 1) * LANES + i]
        wz = g[(_OMEGA + 2) * LANES + i]
        dx = g[_D * LANES + i]
        dy = g[(_D + 1) * LANES + i]
        dz = g[(_D + 2) * LANES + i]
        p3 = g[_P3 * LANES + i] * g[_RLL * LANES + i]
        p1 = g[_PP * LANES + i] * g[_RM * LANES + i]
        px = g[_V * LANES + i] * p3 + g[_K1 * LANES + i] * p1
        py = g[(_V + 1) * LANES + i] * p3 + g[(_K1 + 1) * LANES + i] * p1
        pz = g[(_V + 2) * LANES + i] * p3 + g[(_K1 + 2) * LANES + i] * p1
        # d/d(angle) of p . d = (p^2 + d^2 - rod^2) / 2, or 0; a turn of v changes p . d by -S
        held = (
            (dx - px) * g[_DE * LANES + i]
            + (dy - py) * g[(_DE + 1) * LANES + i]
            + (dz - pz) * g[(_DE + 2) * LANES + i]
        )
        g[_NUM * LANES + i] = (
            wx * (dy * pz - dz * py)
            + wy * (dz * px - dx * pz)
            + wz * (dx * py - dy * px)
            + share * held
        )
        ox = g[_O * LANES + i]
        oy = g[(_O + 1) * LANES + i]
        g[_RISE * LANES + i] = wx * oy - wy * ox - g[(_DE + 2) * LANES + i]
        g[_GAIN * LANES + i] = g[_V * LANES + i] * oy - g[(_V + 1) * LANES + i] * ox


@njit(inline="always")
def _miss(g, i, lift):  # type: ignore[no-untyped-def]
    """Wheel centre's height over the wanted one, mm."""
    height = g[(_O + 2) * LANES + i] - g[(_E + 2) * LANES + i]
    return height - (g[_RIDE * LANES + i] + lift)


@njit(inline="always")
def _lost(g, i, miss):  # type: ignore[no-untyped-def]
    """Whether the rod is surely out of reach at the wanted height, this far from it.

    Where the upper arm cannot reach, the rod says nothing about other arm angles.
    """
    short = g[_DISC * LANES + i] < -(LOST + LOST_PER_MM * abs(miss)) * g[_M * LANES + i]
    return short & (g[_MU * LANES + i] > LEAST_MU)


@compiled
def _find_arm(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """Newton's method on the arm parameter of every lane, until the last has arrived.

    Close to over-centre (and past it, where the linkage is held in line) the turn's rate has no bound,
    and following it would throw the arm about: there the step leaves it out.
    """
    for _ in range(MOST_STEPS):
        _pose(g, share, wishbone)
        if _still_out(g, lift) == 0.0:
            return
        for i in range(LANES):
            miss = _miss(g, i, lift)
            s = g[_S * LANES + i]
            num = g[_NUM * LANES + i]
            rise = g[_RISE * LANES + i]
            # turn rate squared: (num / s)^2 v . v
            most = MOST_TURN_RATE * MOST_TURN_RATE
            followed = num * num * g[_LL * LANES + i] < most * s * s
            # d(height)/dt = (rise - gain * num / s) * 2 / (1 + t^2), all times s: one division
            rate = rise * s - g[_GAIN * LANES + i] * num if followed else rise
            step = miss * (s if followed else 1.0) / (2.0 * g[_Q * LANES + i] * rate)
            t = g[ARM_T * LANES + i]
            moved = t - min(max(step, -MOST_TURN), MOST_TURN)
            moved = min(max(moved, -FURTHEST_T), FURTHEST_T)
            g[ARM_T * LANES + i] = moved if g[_GOING * LANES + i] > 0.0 else t
    _pose(g, share, wishbone)


@compiled
def _count_going(g):  # type: ignore[no-untyped-def]
    going = 0.0
    for i in range(LANES):
        going += g[_GOING * LANES + i]
    return going


@compiled
def _still_out(g, lift):  # type: ignore[no-untyped-def]
    """Mark and count the lanes that are neither at their height nor surely out of the rod's reach."""
    for i in range(LANES):
        miss = _miss(g, i, lift)
        there = (abs(miss) <= ARRIVED) | _lost(g, i, miss)
        g[_GOING * LANES + i] = 0.0 if there else 1.0
    return _count_going(g)


@compiled
def _bracket_strut(g, lift, share):  # type: ignore[no-untyped-def]
    """The arm's whole range, where the wanted height lies between the heights of its ends."""
    for i in range(LANES):
        g[_LOW * LANES + i] = -FURTHEST_T
        g[_HIGH * LANES + i] = FURTHEST_T
        going = g[_GOING * LANES + i] > 0.0
        g[ARM_T * LANES + i] = -FURTHEST_T if going else g[ARM_T * LANES + i]
    _pose(g, share, False)
    for i in range(LANES):
        g[_BELOW * LANES + i] = 1.0 if _miss(g, i, lift) < 0.0 else 0.0
        going = g[_GOING * LANES + i] > 0.0
        g[ARM_T * LANES + i] = FURTHEST_T if going else g[ARM_T * LANES + i]
    _pose(g, share, False)
    for i in range(LANES):
        # both ends on one side of the wanted height: no arm angle gives it
        below = 1.0 if _miss(g, i, lift) < 0.0 else 0.0
        going = g[_GOING * LANES + i]
        g[_GOING * LANES + i] = 0.0 if below == g[_BELOW * LANES + i] else going


@compiled
def _bracket_arms(g, lift, share):  # type: ignore[no-untyped-def]
    """The first step outward from ride height, up or down as wanted, that passes the wanted height.

    Far from there the upper arm cannot reach and the upper ball joint may come to lie below the lower one:
    the ends of the range tell nothing, and the first passage is the one that the linkage comes to.
    """
    for i in range(LANES):
        start = g[_FROM * LANES + i]
        start = start if abs(start) <= FURTHEST_T else 0.0
        g[_LOW * LANES + i] = start
        g[_HIGH * LANES + i] = start
        going = g[_GOING * LANES + i] > 0.0
        g[ARM_T * LANES + i] = start if going else g[ARM_T * LANES + i]
    _pose(g, share, True)
    for i in range(LANES):
        g[_BELOW * LANES + i] = 1.0 if _miss(g, i, lift) < 0.0 else 0.0
    for _ in range(MOST_BRACKET_STEPS):
        open_lanes = 0.0
        for i in range(LANES):
            low, high = g[_LOW * LANES + i], g[_HIGH * LANES + i]
            # a lane whose bracket is found has low and high on both sides of the height
            found = _passed(g, i, lift) & (low != high)
            seeking = (g[_GOING * LANES + i] > 0.0) & (not found) & (abs(high) < FURTHEST_T)
            step = BRACKET_STEP if g[_BELOW * LANES + i] > 0.0 else -BRACKET_STEP
            further = min(max(high + step, -FURTHEST_T), FURTHEST_T)
            g[_LOW * LANES + i] = high if seeking else low
            g[_HIGH * LANES + i] = further if seeking else high
            g[ARM_T * LANES + i] = further if seeking else g[ARM_T * LANES + i]
            open_lanes += 1.0 if seeking else 0.0
        if open_lanes == 0.0:
            break
        _pose(g, share, True)
    for i in range(LANES):
        # no passage: no arm angle gives the height
        going = g[_GOING * LANES + i]
        g[_GOING * LANES + i] = going if _passed(g, i, lift) else 0.0


@njit(inline="always")
def _passed(g, i, lift):  # type: ignore[no-untyped-def]
    """Whether the wheel centre now stands on the other side of the wanted height than the low end."""
    return (1.0 if _miss(g, i, lift) < 0.0 else 0.0) != g[_BELOW * LANES + i]


@compiled
def _halve(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """The safeguard: lanes that Newton's method did not bring home are found by halving, or stay unmet.

    Close to over-centre the wheel centre's height has a square-root corner that Newton's method can
    bounce on; the height itself stays continuous, so halving the range always closes in.
    """
    if wishbone:
        _bracket_arms(g, lift, share)
    else:
        _bracket_strut(g, lift, share)
    for _ in range(MOST_HALVINGS):
        if _count_going(g) == 0.0:
            break
        for i in range(LANES):
            middle = 0.5 * (g[_LOW * LANES + i] + g[_HIGH * LANES + i])
            going = g[_GOING * LANES + i] > 0.0
            g[ARM_T * LANES + i] = middle if going else g[ARM_T * LANES + i]
        _pose(g, share, wishbone)
        for i in range(LANES):
            t = g[ARM_T * LANES + i]
            miss = _miss(g, i, lift)
            low_side = (1.0 if miss < 0.0 else 0.0) == g[_BELOW * LANES + i]
            g[_LOW * LANES + i] = t if low_side else g[_LOW * LANES + i]
            g[_HIGH * LANES + i] = g[_HIGH * LANES + i] if low_side else t
            there = (abs(miss) <= ARRIVED) | _lost(g, i, miss)
            g[_GOING * LANES + i] = 0.0 if there else g[_GOING * LANES + i]


@compiled
def _fill(g):  # type: ignore[no-untyped-def]
    """State rows of the joints and directions, and the whole turn rate of the knuckle."""
    for i in range(LANES):
        g[_RL * LANES + i] = np.sqrt(g[_RLL * LANES + i])
        _image(g, i, _OF_X, FORWARD)
        _image(g, i, _OF_Y, SPINDLE)
        _image(g, i, _OF_R, ROD_OUTER)
    for axis in range(3):
        for i in range(LANES):
            ball = g[(_TOP + axis) * LANES + i] - g[(_E + axis) * LANES + i]
            g[(AXIS + axis) * LANES + i] = g[(_V + axis) * LANES + i] * g[_RL * LANES + i]
            g[(BALL_JOINT + axis) * LANES + i] = ball
            g[(CENTRE + axis) * LANES + i] = ball + g[(_O + axis) * LANES + i]
    for i in range(LANES):
        s = g[_S * LANES + i]
        turn = -g[_NUM * LANES + i] / (s if abs(s) > 1e-6 else 1e-6)
        g[CENTRE_RATE_Z * LANES + i] = g[_RISE * LANES + i] + turn * g[_GAIN * LANES + i]
        g[_OMEGA * LANES + i] += turn * g[_V * LANES + i]
        g[(_OMEGA + 1) * LANES + i] += turn * g[(_V + 1) * LANES + i]
        g[(_OMEGA + 2) * LANES + i] += turn * g[(_V + 2) * LANES + i]
        g[STRUT_LENGTH * LANES + i] = g[_MU * LANES + i]
    _fill_toggle(g)
    for axis in range(3):
        for i in range(LANES):
            g[(ROD_OUTER + axis) * LANES + i] += g[(BALL_JOINT + axis) * LANES + i]


@compiled
def _fill_toggle(g):  # type: ignore[no-untyped-def]
    """Sine of the angle between steering arm and tie rod seen along the steering axis v.

    |v . (arm x rod)| / L over both lengths seen along v; the arm still stands in the rows of the rod end.
    """
    for i in range(LANES):
        vx = g[_V * LANES + i]
        vy = g[(_V + 1) * LANES + i]
        vz = g[(_V + 2) * LANES + i]
        ll = g[_LL * LANES + i]
        tx = g[ROD_OUTER * LANES + i]
        ty = g[(ROD_OUTER + 1) * LANES + i]
        tz = g[(ROD_OUTER + 2) * LANES + i]
        ux = g[_RACK * LANES + i] - g[BALL_JOINT * LANES + i] - tx
        uy = g[_RACK_Y * LANES + i] - g[(BALL_JOINT + 1) * LANES + i] - ty
        uz = g[(_RACK + 2) * LANES + i] - g[(BALL_JOINT + 2) * LANES + i] - tz
        area = vx * (ty * uz - tz * uy) + vy * (tz * ux - tx * uz) + vz * (tx * uy - ty * ux)
        t3 = vx * tx + vy * ty + vz * tz
        u3 = vx * ux + vy * uy + vz * uz
        arm = (tx * tx + ty * ty + tz * tz) * ll - t3 * t3
        rod = (ux * ux + uy * uy + uz * uz) * ll - u3 * u3
        g[TOGGLE_SINE * LANES + i] = abs(area) * np.sqrt(ll / (arm * rod))


@compiled
def _fill_contact(g):  # type: ignore[no-untyped-def]
    """Contact point, down the wheel plane's steepest line by the loaded radius, and its rates."""
    for i in range(LANES):
        sx = g[SPINDLE * LANES + i]
        sy = g[(SPINDLE + 1) * LANES + i]
        sz = g[(SPINDLE + 2) * LANES + i]
        wx = g[_OMEGA * LANES + i]
        wy = g[(_OMEGA + 1) * LANES + i]
        wz = g[(_OMEGA + 2) * LANES + i]
        level = 1.0 - sz * sz
        rl = 1.0 / np.sqrt(level)
        down = g[_RADIUS * LANES + i] * rl
        g[CONTACT * LANES + i] = g[CENTRE * LANES + i] + down * sz * sx
        g[(CONTACT + 1) * LANES + i] = g[(CENTRE + 1) * LANES + i] + down * sz * sy
        g[(CONTACT + 2) * LANES + i] = g[(CENTRE + 2) * LANES + i] - down * level
        # the spindle's y and z rates, and from them d/d(angle) of (sz * s - z) / sqrt(level)
        dsy = wz * sx - wx * sz
        dsz = wx * sy - wy * sx
        grow = sz * dsz * (rl * rl)
        rate = wz * g[_O * LANES + i] - wx * g[(_O + 2) * LANES + i] - g[(_DE + 1) * LANES + i]
        side = dsz * sy + sz * dsy + grow * sz * sy
        g[CONTACT_RATE_Y * LANES + i] = rate + down * side
        fall = 2.0 * sz * dsz - grow * level
        g[CONTACT_RATE_Z * LANES + i] = g[CENTRE_RATE_Z * LANES + i] + down * fall


@compiled
def _fill_marks(g, lift, by_travel):  # type: ignore[no-untyped-def]
    """Mark what was not reached; asked so that a figure that is not a number is never 'reached'."""
    for i in range(LANES):
        miss = abs(_miss(g, i, lift))
        there = (miss <= PLACED) if by_travel else (miss >= 0.0)
        joined = g[_MU * LANES + i] > LEAST_MU
        placed = there & joined & (abs(g[(CONTACT + 2) * LANES + i]) < np.inf)
        g[_MARK * LANES + i] = (
            (REACHED if placed else ARM_OUT_OF_REACH)
            if (g[_DISC * LANES + i] > 0.0) | (not joined)
            else ROD_OUT_OF_REACH
        )

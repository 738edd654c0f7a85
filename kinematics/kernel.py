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
4. Only the arm's angle for a wanted wheel-centre height is iterated. Newton's step from the first guess,
   with the exact derivative, and two steps of inverse interpolation, which need the height alone, bring
   nearly every lane home; Newton's method goes on with the rest, and halving is the last resort. A lane that
   has arrived is frozen, so its figures do not depend on its neighbours.

The closed form is written once, as *pieces* for one lane. Each *pass* is one loop over a block of lanes that
takes in the pieces it needs; what it does not need of them, the compiler leaves out. Between passes a block
stands in scratch that fits into the fastest cache.

No relaxed arithmetic is used: the same inputs give the same bits whatever the vector width.
Loops hold no calls that survive compilation and no allocation.
"""

from __future__ import annotations

import numpy as np

from kinematics.arrays import Floats, Marks
from kinematics.compiling import compiled, piece
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
# The way to the arm's angle: where a lane started, how far it was off there and after its first step, mm,
# and the arm parameter's change per mm at the start.
_T0 = _GOING + 1
_F0 = _T0 + 1
_T1 = _F0 + 1
_F1 = _T1 + 1
_PER_MM = _F1 + 1
# What the states of a block need of the geometry; f is the strut's foot, a its axis, and any knuckle
# vector x has five numbers: x . f, x . a, x . p, f . (p x x), a . (p x x).
_TO_CENTRE = GEOMETRY_ROWS  # from the lower circle's centre to the body's upper point
_COS = _TO_CENTRE + 3
_SIN = _COS + 3
_TOP = _SIN + 3
_RACK = _TOP + 3  # inner tie-rod joint, rack centred, and its y with the state's displacement
_RACK_Y = _RACK + 3
_D_FIXED = _RACK_Y + 1  # d = this + share * e
_FF = _D_FIXED + 3  # f . f
_DD = _FF + 1  # p . p - rod^2, or nothing
_ROD = _DD + 1  # rod^2
_OF_P = _ROD + 1  # the first three of p
_OF_A = _OF_P + 3  # f . (p x a)
_OF_W = _OF_A + 1  # the five of ball joint to wheel centre
_OF_X = _OF_W + 5  # the five of the knuckle's x axis
_OF_Y = _OF_X + 5  # the five of its y axis, the spindle
_END = _OF_Y + 5  # ball joint to rod end, in the knuckle
_SIGN = _END + 3
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
_MISS = _BELOW + 1  # wheel centre's height over the wanted one, mm
_LOST = _MISS + 1  # 1 where the rod is surely out of reach at the wanted height
_ROWS = _LOST + 1

LEAST_MU = 1e-5  # mm of sliding axis between foot and top mount: less is out of reach
OUT_OF_MU = 1e-6  # what stands there where the strut is too short or the upper arm cannot reach
LEAST_UPPER = 1e-7  # share of the upper root's squares: less is out of the upper arm's reach
ARRIVED = 1e-9  # mm of wheel-centre height: with less left a lane is frozen
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
    flat_geometry, flat_rack = geometry.reshape(-1), rack.reshape(-1)
    flat_states, flat_marks = states.reshape(-1), marks.reshape(-1)
    for first in range(0, lanes, LANES):
        width = min(LANES, lanes - first)
        for row in range(GEOMETRY_ROWS):
            _read(g, row, flat_geometry, row * lanes + first, width)
        _load(g)
        if wishbone:
            _load_upper(g)
        if by_toe:
            _load_knuckle(g, 0.0, np.cos(wanted_toe), -np.sin(wanted_toe))
        else:
            _load_knuckle(g, 1.0, 0.0, 0.0)
        for s in range(travel.shape[0]):
            lift = travel[s] if by_travel else 0.0
            _read(g, _RACK_Y, flat_rack, s * lanes + first, width)
            for i in range(LANES):
                g[_RACK_Y * LANES + i] += g[(_RACK + 1) * LANES + i]
            _start(g, lift, share)
            if by_travel:
                _find_arm(g, lift, share, wishbone)
            _fill(g, lift, share, by_travel, wishbone)
            if by_travel and _still_out(g) > 0:
                _find_further(g, lift, share, wishbone)
                _fill(g, lift, share, by_travel, wishbone)
            if by_toe:
                _hang_rod(g)
            _write(g, flat_states, flat_marks, s * lanes + first, marks.size, width)


@compiled
def _any_wishbone(geometry):  # type: ignore[no-untyped-def]
    """Whether the lanes are wishbones; a lane that is no number has no say."""
    found = 0
    for i in range(geometry.shape[1]):
        found += 1 if geometry[KIND, i] > 0.5 else 0
    return found > 0


@compiled
def _write(g, states, marks, place, apart, width):  # type: ignore[no-untyped-def]
    """Hand out a block's states, from ``place`` on, rows ``apart``.

    Places are unsigned, for a signed one is looked at whether it counts from the end; and a whole block's
    width is known beforehand, so that its rows are plain copies.
    """
    start = np.uint64(place)
    for row in range(STATE_ROWS):
        to = start + np.uint64(row * apart)
        if width == LANES:
            for i in range(LANES):
                states[to + np.uint64(i)] = g[row * LANES + i]
        else:
            for i in range(width):
                states[to + np.uint64(i)] = g[row * LANES + i]
    for i in range(width):
        marks[start + np.uint64(i)] = np.int8(g[_MARK * LANES + i])


@compiled
def _read(g, row, numbers, place, width):  # type: ignore[no-untyped-def]
    """Take up a row of a block's lanes; a short last block is filled up with its last lane."""
    start = np.uint64(place)
    if width == LANES:
        for i in range(LANES):
            g[row * LANES + i] = numbers[start + np.uint64(i)]
    else:
        for i in range(LANES):
            g[row * LANES + i] = numbers[start + np.uint64(min(i, width - 1))]


# --- vectors are three numbers


@piece
def _vector(g, row, i):  # type: ignore[no-untyped-def]
    return g[row * LANES + i], g[(row + 1) * LANES + i], g[(row + 2) * LANES + i]


@piece
def _put(g, row, i, v):  # type: ignore[no-untyped-def]
    g[row * LANES + i] = v[0]
    g[(row + 1) * LANES + i] = v[1]
    g[(row + 2) * LANES + i] = v[2]


@piece
def _dot(a, b):  # type: ignore[no-untyped-def]
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@piece
def _cross(a, b):  # type: ignore[no-untyped-def]
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@piece
def _sum(a, b):  # type: ignore[no-untyped-def]
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


@piece
def _less(a, b):  # type: ignore[no-untyped-def]
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@piece
def _times(a, k):  # type: ignore[no-untyped-def]
    return a[0] * k, a[1] * k, a[2] * k


@piece
def _mix(a, j, b, k):  # type: ignore[no-untyped-def]
    """a j + b k."""
    return a[0] * j + b[0] * k, a[1] * j + b[1] * k, a[2] * j + b[2] * k


# --- what follows from a block's geometry


@compiled
def _load(g):  # type: ignore[no-untyped-def]
    """Scratch rows that follow from a block's geometry rows, which stand where states will."""
    for i in range(LANES):
        top = _vector(g, TOP_MOUNT, i)
        _put(g, _TO_CENTRE, i, _less(top, _vector(g, CIRCLE_CENTRE, i)))
        _put(g, _TOP, i, top)
    for i in range(LANES):
        cos = _vector(g, CIRCLE_COS, i)
        sin = _vector(g, CIRCLE_SIN, i)
        _put(g, _COS, i, cos)
        _put(g, _SIN, i, sin)
    for i in range(LANES):
        _put(g, _RACK, i, _vector(g, RACK_END, i))
        _put(g, _END, i, _vector(g, ROD_END, i))
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
        g[_ROD * LANES + i] = rod * rod
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


# --- the closed form, for one lane; every pass below inlines what it needs of it


@piece
def _swing_strut(g, i, ca, sa):  # type: ignore[no-untyped-def]
    """1 and 2: arm, steering axis, and the top mount's place on the sliding axis."""
    cos, sin = _vector(g, _COS, i), _vector(g, _SIN, i)
    v = _less(_vector(g, _TO_CENTRE, i), _mix(cos, ca, sin, sa))
    dv = _mix(cos, sa, sin, -ca)
    ll = _dot(v, v)
    # a mount nearer than the foot has no place on the axis: the least value tells it later
    mu = np.sqrt(max(ll - g[_FF * LANES + i], OUT_OF_MU * OUT_OF_MU))
    return v, dv, v, dv, ll, mu


@piece
def _swing_arms(g, i, ca, sa):  # type: ignore[no-untyped-def]
    """1 and 2 of a double wishbone: both arms, and the steering axis between their ball joints.

    a cos psi + b sin psi = c, as in the text above. Where c is too large the upper arm points at the lower
    ball joint (or away from it) as well as it can: the pose stays continuous, and is marked by its mu.
    """
    cos, sin = _vector(g, _COS, i), _vector(g, _SIN, i)
    p, q = _vector(g, _UPPER_COS, i), _vector(g, _UPPER_SIN, i)
    e = _less(_vector(g, _TO_CENTRE, i), _mix(cos, ca, sin, sa))
    de = _mix(cos, sa, sin, -ca)
    a, b = _dot(e, p), _dot(e, q)
    n = a * a + b * b
    # the foot's square is h^2
    c = 0.5 * (g[_FF * LANES + i] - _dot(e, e) - g[_UPPER_RR * LANES + i])
    disc = n - c * c
    within = disc > LEAST_UPPER * n
    # not-a-number stays one: it fails `within` and is not clipped away
    most = np.sqrt(n)
    c = c if disc >= 0.0 else (-most if c < 0.0 else most)
    r = g[_UPPER_SIGN * LANES + i] * np.sqrt(max(disc, 0.0))
    rn = 1.0 / n
    cp = (a * c - b * r) * rn
    sp = (b * c + a * r) * rn
    v = _sum(e, _mix(p, cp, q, sp))
    # the upper joint's way per radian of psi; v . that is -r, and v . dv = 0 gives psi's rate
    way = _mix(q, cp, p, -sp)
    rate = _dot(v, de) / (r if within else 1.0)
    rate = rate if within else 0.0
    return e, de, v, _sum(de, _times(way, rate)), _dot(v, v), (1.0 if within else OUT_OF_MU)


@piece
def _swing(g, i, t, wishbone):  # type: ignore[no-untyped-def]
    """The arm at parameter t.

    Returns e (ball joint to the body's upper point: the top mount, then v itself, or the upper circle's
    centre) and its change per radian of arm angle, v (the steering axis, ball joint to top mount or upper
    ball joint) and its change, v . v, and mu (the top mount's place along the sliding axis; of a wishbone
    1, or as good as none out of reach).
    """
    q = 1.0 / (1.0 + t * t)
    ca = (1.0 - t * t) * q
    sa = 2.0 * t * q
    if wishbone:
        return _swing_arms(g, i, ca, sa)
    return _swing_strut(g, i, ca, sa)


@piece
def _turn(g, i, e, v, ll, mu, share):  # type: ignore[no-untyped-def]
    """3: the turn about the steering axis, as the axes into which knuckle vectors are put together.

    Returns d and d . v; p . v and p's square seen along v (times L^2); m = pp dd and the discriminant
    m - c^2, both times L^4; s, the discriminant's root over L with the branch's sign; 1 / L^2 and 1 / mu;
    and v / L^2, and over m p's part square to v and v x that, as they stand in the body: `_image` has
    nothing left to divide.
    """
    p3 = g[_OF_P * LANES + i] + mu * g[(_OF_P + 1) * LANES + i]
    pp = g[(_OF_P + 2) * LANES + i] * ll - p3 * p3
    d = _sum(_vector(g, _D_FIXED, i), _times(e, share))
    d3, d2 = _dot(v, d), _dot(d, d)
    # p . d = (p^2 + d^2 - rod^2) / 2, or 0 for the spindle square to the heading
    c = 0.5 * share * (g[_DD * LANES + i] + d2) * ll - p3 * d3
    m = pp * (d2 * ll - d3 * d3)
    disc = m - c * c
    # three reciprocals for one division
    mul = mu * ll
    every = 1.0 / (m * mul)
    rm = every * mul
    rll = every * m * mu
    rmu = every * m * ll
    s = np.sqrt(max(disc, 0.0) * rll) * g[_SIGN * LANES + i]
    axis = _times(v, rll)
    g1 = _less(d, _times(axis, d3))
    g2 = _cross(v, d)
    cm, sm = c * rm, s * rm
    k1 = _mix(g1, cm, g2, sm)
    k2 = _mix(g2, cm, g1, -sm * ll)
    return d, d3, p3, pp, m, disc, s, rll, rmu, axis, k1, k2


@piece
def _image(g, i, five, ll, mu, p3, axis, k1, k2):  # type: ignore[no-untyped-def]
    """Body direction of the knuckle vector whose five numbers are given."""
    x3 = g[five * LANES + i] + mu * g[(five + 1) * LANES + i]
    x1 = g[(five + 2) * LANES + i] * ll - p3 * x3
    x2 = g[(five + 3) * LANES + i] + mu * g[(five + 4) * LANES + i]
    return _sum(_times(axis, x3), _mix(k1, x1, k2, x2))


@piece
def _rates(g, i, de, v, dv, d, p, ll, mu, p3, rmu, axis, k1, k2, share):  # type: ignore[no-untyped-def]
    """Turn of the knuckle per radian of arm angle, without its part about the steering axis, and that part.

    The knuckle's point at the top mount may only slide along the sliding axis a, whose body direction is
    that of its five numbers: dB + omega x v = -dmu a, with dB = -dv. A wishbone's v keeps its length, so
    nothing slides. What a has along v turns nothing. The part about v, which rod or toe asks for, is given
    as a share of v, times -s.
    """
    vdv = _dot(v, dv)
    slide = vdv * rmu
    a1 = slide * (g[(_OF_P + 1) * LANES + i] * ll) - p3 * vdv
    a2 = slide * g[_OF_A * LANES + i]
    omega = _cross(axis, _less(dv, _mix(k1, a1, k2, a2)))
    # d/d(angle) of p . d = (p^2 + d^2 - rod^2) / 2, or 0; a turn of v changes p . d by -s
    return omega, _dot(omega, _cross(d, p)) + share * _dot(_less(d, p), de)


@piece
def _over(g, i, lift, e, o):  # type: ignore[no-untyped-def]
    """Wheel centre's height over the wanted one, mm."""
    return o[2] - e[2] - (g[_RIDE * LANES + i] + lift)


@piece
def _lost(miss, m, disc, mu):  # type: ignore[no-untyped-def]
    """Whether the rod is surely out of reach at the wanted height, this far from it.

    Where the upper arm cannot reach, the rod says nothing about other arm angles.
    """
    return (disc < -(LOST + LOST_PER_MM * abs(miss)) * m) & (mu > LEAST_MU)


@piece
def _height(g, i, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """How far the wheel centre is over the wanted height, and whether the rod is lost at it."""
    e, _, v, _, ll, mu = _swing(g, i, g[ARM_T * LANES + i], wishbone)
    _, _, p3, _, m, disc, _, _, _, axis, k1, k2 = _turn(g, i, e, v, ll, mu, share)
    miss = _over(g, i, lift, e, _image(g, i, _OF_W, ll, mu, p3, axis, k1, k2))
    return miss, _lost(miss, m, disc, mu)


# --- 4: the arm's angle


@compiled
def _newton(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """One step of Newton's method for every lane that has not arrived; returns how many those are."""
    if wishbone:
        return _newton_lanes(g, lift, share, True)
    return _newton_lanes(g, lift, share, False)


@piece
def _newton_lanes(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """The step, and where it started from.

    Close to over-centre (and past it, where the linkage is held in line) the turn's rate has no bound,
    and following it would throw the arm about: there the step leaves it out.
    """
    left = 0
    for i in range(LANES):
        t = g[ARM_T * LANES + i]
        e, de, v, dv, ll, mu = _swing(g, i, t, wishbone)
        d, _, p3, pp, m, disc, s, _, rmu, axis, k1, k2 = _turn(g, i, e, v, ll, mu, share)
        o = _image(g, i, _OF_W, ll, mu, p3, axis, k1, k2)
        p = _mix(axis, p3, k1, pp)
        omega, num = _rates(g, i, de, v, dv, d, p, ll, mu, p3, rmu, axis, k1, k2, share)
        miss = _over(g, i, lift, e, o)
        going = not ((abs(miss) <= ARRIVED) | _lost(miss, m, disc, mu))
        # wheel centre's rise per radian of arm angle without the turn about v, and its gain by that turn
        rise = omega[0] * o[1] - omega[1] * o[0] - de[2]
        gain = v[0] * o[1] - v[1] * o[0]
        # turn rate squared: (num / s)^2 v . v
        followed = num * num * ll < MOST_TURN_RATE * MOST_TURN_RATE * (s * s)
        # d(height)/dt = (rise - gain * num / s) * 2 / (1 + t^2), all times s: one division
        rate = rise * s - gain * num if followed else rise
        per_mm = 0.5 * (1.0 + t * t) * (s if followed else 1.0) / rate
        moved = t - min(max(miss * per_mm, -MOST_TURN), MOST_TURN)
        moved = min(max(moved, -FURTHEST_T), FURTHEST_T)
        g[_T0 * LANES + i] = t
        g[_F0 * LANES + i] = miss
        g[_PER_MM * LANES + i] = per_mm
        g[ARM_T * LANES + i] = moved if going else t
        g[_GOING * LANES + i] = 1.0 if going else 0.0
        left += 1 if going else 0
    return left


@compiled
def _second_step(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """The step after Newton's first, see `_second_lanes`."""
    if wishbone:
        _second_lanes(g, lift, share, True)
    else:
        _second_lanes(g, lift, share, False)


@piece
def _second_lanes(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """Inverse interpolation: t as a quadratic in the miss, through both misses and the first one's slope.

    It needs the height alone, not its rate. A lane whose miss was not halved is left as it is.
    """
    for i in range(LANES):
        miss, lost = _height(g, i, lift, share, wishbone)
        t, f0 = g[ARM_T * LANES + i], g[_F0 * LANES + i]
        ratio = f0 / (f0 - miss)
        moved = t - miss * g[_PER_MM * LANES + i] * (ratio * ratio)
        arrived = (abs(miss) <= ARRIVED) | lost | (abs(miss) > 0.5 * abs(f0))
        g[_T1 * LANES + i] = t
        g[_F1 * LANES + i] = miss
        going = (g[_GOING * LANES + i] > 0.0) & (not arrived)
        g[ARM_T * LANES + i] = moved if going else t
        g[_GOING * LANES + i] = 1.0 if going else 0.0


@compiled
def _third_step(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """The step after that, see `_third_lanes`."""
    if wishbone:
        _third_lanes(g, lift, share, True)
    else:
        _third_lanes(g, lift, share, False)


@piece
def _third_lanes(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """The same with a cubic through three misses and the first one's slope, by divided differences."""
    for i in range(LANES):
        f2, lost = _height(g, i, lift, share, wishbone)
        t0, t1, t2 = g[_T0 * LANES + i], g[_T1 * LANES + i], g[ARM_T * LANES + i]
        f0, f1 = g[_F0 * LANES + i], g[_F1 * LANES + i]
        per10 = 1.0 / (f1 - f0)
        per20 = 1.0 / (f2 - f0)
        d21 = (t2 - t1) / (f2 - f1)
        d10 = (t1 - t0) * per10
        d100 = (d10 - g[_PER_MM * LANES + i]) * per10
        d210 = (d21 - d10) * per20
        d2100 = (d210 - d100) * per20
        moved = t2 - f2 * (d21 - f1 * (d210 - f0 * d2100))
        arrived = (abs(f2) <= ARRIVED) | lost | (abs(f2) > 0.5 * abs(f1))
        going = (g[_GOING * LANES + i] > 0.0) & (not arrived)
        g[ARM_T * LANES + i] = moved if going else t2


@compiled
def _look(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """Each lane's miss as it stands, and whether it is lost."""
    if wishbone:
        _look_lanes(g, lift, share, True)
    else:
        _look_lanes(g, lift, share, False)


@piece
def _look_lanes(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    for i in range(LANES):
        miss, lost = _height(g, i, lift, share, wishbone)
        g[_MISS * LANES + i] = miss
        g[_LOST * LANES + i] = 1.0 if lost else 0.0


@compiled
def _still_out(g):  # type: ignore[no-untyped-def]
    """Mark and count the lanes that are neither at their height nor surely out of the rod's reach."""
    left = 0
    for i in range(LANES):
        there = (abs(g[_MISS * LANES + i]) <= ARRIVED) | (g[_LOST * LANES + i] > 0.0)
        g[_GOING * LANES + i] = 0.0 if there else 1.0
        left += 0 if there else 1
    return left


@compiled
def _find_arm(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """Newton's step and two by interpolation, which bring nearly every lane to its height."""
    if _newton(g, lift, share, wishbone) > 0:
        _second_step(g, lift, share, wishbone)
        _third_step(g, lift, share, wishbone)


@compiled
def _find_further(g, lift, share, wishbone):  # type: ignore[no-untyped-def]
    """Newton's method until the last lane has arrived; then halving for those that it cannot bring home."""
    for _ in range(MOST_STEPS):
        if _newton(g, lift, share, wishbone) == 0:
            return
    _look(g, lift, share, wishbone)
    if _still_out(g) > 0:
        _halve(g, lift, share, wishbone)


@compiled
def _count_going(g):  # type: ignore[no-untyped-def]
    going = 0
    for i in range(LANES):
        going += 1 if g[_GOING * LANES + i] > 0.0 else 0
    return going


@compiled
def _bracket_strut(g, lift, share):  # type: ignore[no-untyped-def]
    """The arm's whole range, where the wanted height lies between the heights of its ends."""
    for i in range(LANES):
        g[_LOW * LANES + i] = -FURTHEST_T
        g[_HIGH * LANES + i] = FURTHEST_T
        going = g[_GOING * LANES + i] > 0.0
        g[ARM_T * LANES + i] = -FURTHEST_T if going else g[ARM_T * LANES + i]
    _look(g, lift, share, False)
    for i in range(LANES):
        g[_BELOW * LANES + i] = 1.0 if g[_MISS * LANES + i] < 0.0 else 0.0
        going = g[_GOING * LANES + i] > 0.0
        g[ARM_T * LANES + i] = FURTHEST_T if going else g[ARM_T * LANES + i]
    _look(g, lift, share, False)
    for i in range(LANES):
        # both ends on one side of the wanted height: no arm angle gives it
        below = 1.0 if g[_MISS * LANES + i] < 0.0 else 0.0
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
    _look(g, lift, share, True)
    for i in range(LANES):
        g[_BELOW * LANES + i] = 1.0 if g[_MISS * LANES + i] < 0.0 else 0.0
    for _ in range(MOST_BRACKET_STEPS):
        open_lanes = 0.0
        for i in range(LANES):
            low, high = g[_LOW * LANES + i], g[_HIGH * LANES + i]
            # a lane whose bracket is found has low and high on both sides of the height
            found = _passed(g, i) & (low != high)
            seeking = (g[_GOING * LANES + i] > 0.0) & (not found) & (abs(high) < FURTHEST_T)
            step = BRACKET_STEP if g[_BELOW * LANES + i] > 0.0 else -BRACKET_STEP
            further = min(max(high + step, -FURTHEST_T), FURTHEST_T)
            g[_LOW * LANES + i] = high if seeking else low
            g[_HIGH * LANES + i] = further if seeking else high
            g[ARM_T * LANES + i] = further if seeking else g[ARM_T * LANES + i]
            open_lanes += 1.0 if seeking else 0.0
        if open_lanes == 0.0:
            break
        _look(g, lift, share, True)
    for i in range(LANES):
        # no passage: no arm angle gives the height
        going = g[_GOING * LANES + i]
        g[_GOING * LANES + i] = going if _passed(g, i) else 0.0


@piece
def _passed(g, i):  # type: ignore[no-untyped-def]
    """Whether the wheel centre now stands on the other side of the wanted height than the low end."""
    return (1.0 if g[_MISS * LANES + i] < 0.0 else 0.0) != g[_BELOW * LANES + i]


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
        if _count_going(g) == 0:
            break
        for i in range(LANES):
            middle = 0.5 * (g[_LOW * LANES + i] + g[_HIGH * LANES + i])
            going = g[_GOING * LANES + i] > 0.0
            g[ARM_T * LANES + i] = middle if going else g[ARM_T * LANES + i]
        _look(g, lift, share, wishbone)
        for i in range(LANES):
            t = g[ARM_T * LANES + i]
            miss = g[_MISS * LANES + i]
            low_side = (1.0 if miss < 0.0 else 0.0) == g[_BELOW * LANES + i]
            g[_LOW * LANES + i] = t if low_side else g[_LOW * LANES + i]
            g[_HIGH * LANES + i] = g[_HIGH * LANES + i] if low_side else t
            there = (abs(miss) <= ARRIVED) | (g[_LOST * LANES + i] > 0.0)
            g[_GOING * LANES + i] = 0.0 if there else g[_GOING * LANES + i]


# --- whole states


@compiled
def _fill(g, lift, share, by_travel, wishbone):  # type: ignore[no-untyped-def]
    """The state rows of every lane at its arm parameter, see `_fill_lanes`."""
    if wishbone:
        _fill_lanes(g, lift, share, by_travel, True)
    else:
        _fill_lanes(g, lift, share, by_travel, False)


@piece
def _fill_lanes(g, lift, share, by_travel, wishbone):  # type: ignore[no-untyped-def]
    """Joints, directions, rates, toggle and mark."""
    for i in range(LANES):
        e, de, v, dv, ll, mu = _swing(g, i, g[ARM_T * LANES + i], wishbone)
        d, d3, p3, pp, m, disc, s, rll, rmu, axis, k1, k2 = _turn(g, i, e, v, ll, mu, share)
        o = _image(g, i, _OF_W, ll, mu, p3, axis, k1, k2)
        spindle = _image(g, i, _OF_Y, ll, mu, p3, axis, k1, k2)
        p = _mix(axis, p3, k1, pp)
        omega, num = _rates(g, i, de, v, dv, d, p, ll, mu, p3, rmu, axis, k1, k2, share)
        ball = _less(_vector(g, _TOP, i), e)
        centre = _sum(ball, o)
        level = 1.0 - spindle[2] * spindle[2]
        root = np.sqrt(level)
        held = s if abs(s) > 1e-6 else 1e-6
        # arm and rod seen along v, squares times L^2; three reciprocals for one division
        rod3 = d3 - p3
        seen = pp * (g[_ROD * LANES + i] * ll - rod3 * rod3)
        every = 1.0 / (root * held * seen)
        rl = every * (held * seen)
        omega = _sum(omega, _times(v, -num * (every * root * seen)))
        rise = omega[0] * o[1] - omega[1] * o[0] - de[2]
        _put(g, AXIS, i, _times(v, np.sqrt(rll)))
        _put(g, SPINDLE, i, spindle)
        _put(g, FORWARD, i, _image(g, i, _OF_X, ll, mu, p3, axis, k1, k2))
        _put(g, BALL_JOINT, i, ball)
        _put(g, ROD_OUTER, i, _sum(ball, p))
        _put(g, CENTRE, i, centre)
        g[STRUT_LENGTH * LANES + i] = mu
        g[CENTRE_RATE_Z * LANES + i] = rise
        # v . (arm x rod) = v . (p x d), whose square is the discriminant over L^2
        g[TOGGLE_SINE * LANES + i] = np.sqrt(max(disc, 0.0) * (every * root * held))
        # contact point: down the wheel plane's steepest line, (sz * s - z) / sqrt(level), by the radius
        down = g[_RADIUS * LANES + i] * rl
        lean = down * spindle[2]
        contact_z = centre[2] - down * level
        g[CONTACT * LANES + i] = centre[0] + lean * spindle[0]
        g[(CONTACT + 1) * LANES + i] = centre[1] + lean * spindle[1]
        g[(CONTACT + 2) * LANES + i] = contact_z
        # the spindle's y and z rates, and from them that line's
        dsy = omega[2] * spindle[0] - omega[0] * spindle[2]
        dsz = omega[0] * spindle[1] - omega[1] * spindle[0]
        grow = spindle[2] * dsz * (rl * rl)
        rate = omega[2] * o[0] - omega[0] * o[2] - de[1]
        side = dsz * spindle[1] + spindle[2] * (dsy + grow * spindle[1])
        g[CONTACT_RATE_Y * LANES + i] = rate + down * side
        g[CONTACT_RATE_Z * LANES + i] = rise + down * (2.0 * spindle[2] * dsz - grow * level)
        miss = _over(g, i, lift, e, o)
        g[_MISS * LANES + i] = miss
        g[_LOST * LANES + i] = 1.0 if _lost(miss, m, disc, mu) else 0.0
        # asked so that a figure that is not a number is never 'reached'
        there = (abs(miss) <= PLACED) if by_travel else (abs(miss) >= 0.0)
        joined = mu > LEAST_MU
        placed = there & joined & (abs(contact_z) < np.inf)
        g[_MARK * LANES + i] = (
            (REACHED if placed else ARM_OUT_OF_REACH)
            if (disc > 0.0) | (not joined)
            else ROD_OUT_OF_REACH
        )


@compiled
def _hang_rod(g):  # type: ignore[no-untyped-def]
    """Where the toe was held: the rod end, and the sine of the angle between steering arm and tie rod.

    That is |v . (arm x rod)| / L over both lengths seen along v, which is along the steering axis.
    """
    for i in range(LANES):
        x, y = _vector(g, FORWARD, i), _vector(g, SPINDLE, i)
        end = _vector(g, _END, i)
        arm = _sum(_mix(x, end[0], y, end[1]), _times(_cross(x, y), end[2]))
        outer = _sum(_vector(g, BALL_JOINT, i), arm)
        inner = (g[_RACK * LANES + i], g[_RACK_Y * LANES + i], g[(_RACK + 2) * LANES + i])
        rod = _less(inner, outer)
        axis = _vector(g, AXIS, i)
        along, off = _dot(axis, arm), _dot(axis, rod)
        seen = (_dot(arm, arm) - along * along) * (_dot(rod, rod) - off * off)
        _put(g, ROD_OUTER, i, outer)
        g[TOGGLE_SINE * LANES + i] = abs(_dot(axis, _cross(arm, rod))) / np.sqrt(seen)

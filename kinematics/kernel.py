"""The strut corner's closed form, compiled: flat columns in, flat columns out.

One *lane* is one corner's geometry (a column of ``geometry``), one *state* is a wheel travel with a
rack displacement. ``solve_states`` fills every lane at every state; lanes lie side by side in memory so
that the compiler works on several at once. All lengths are millimetres, all directions body-fixed
ISO 8855 axes of a *left* corner (x forward, y left, z up); a right corner is solved as its mirror image.

The chain of closed forms:

1. The arm's angle, as t = tan(angle / 2) so that no sine is needed, puts the ball joint B on its circle.
2. The strut's sliding axis, fixed in the knuckle, must pass through the top mount M. With L = |BM| the
   place of M along that axis is a square root: this fixes the knuckle up to a turn about the steering
   axis BM.
3. The tie rod (or, to set the rod's length, a wanted toe) fixes that turn: a cos(turn) + b sin(turn) = c.
   The discriminant a^2 + b^2 - c^2 falls to zero where tie rod and steering arm lie in line; the root's
   sign is the linkage's branch and never changes, so an inverted linkage is never taken for more lock.
4. Only the arm's angle for a wanted wheel-centre height is iterated: Newton's method on t with the exact
   derivative. A lane that has arrived is frozen, so its figures do not depend on its neighbours.

No relaxed arithmetic is used: the same inputs give the same bits whatever the vector width.
Loops hold no calls that survive compilation and no allocation.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from kinematics.arrays import Floats, Marks

# Rows of the geometry columns. A vector takes three rows from the one named.
CIRCLE_CENTRE = 0  # centre of the ball joint's circle about the arm's pivot axis
CIRCLE_COS = 3  # from that centre to the ball joint at angle zero
CIRCLE_SIN = 6  # the same turned by 90 degrees about the pivot axis
TOP_MOUNT = 9
RACK_END = 12  # inner tie-rod joint, rack centred
STRUT_FOOT = 15  # knuckle frame, from ball joint square to the sliding axis
STRUT_AXIS = 18  # knuckle frame, unit vector up the sliding axis
ROD_END = 21  # knuckle frame, ball joint to outer tie-rod joint
WHEEL_CENTRE = 24  # knuckle frame, ball joint to wheel centre
LOADED_RADIUS = 27
ROD_LENGTH = 28
BRANCH = 29  # +1 or -1
START = 30  # first guess of t
START_SLOPE = 31  # change of t per millimetre of wheel travel at that guess
RIDE_Z = 32  # wheel-centre height at travel zero, body axes
GEOMETRY_ROWS = 33
_SHIFT = GEOMETRY_ROWS  # scratch only: rack displacement of the state at hand
_BY_TOE = GEOMETRY_ROWS + 1  # scratch only: 1 where the toe is held instead of the tie rod

# Rows of the state columns.
ARM_T = 0
AXIS = 1  # unit vector from ball joint to top mount
SPINDLE = 4  # unit vector, outward
CENTRE = 7  # wheel centre
CONTACT = 10  # contact point
CONTACT_RATE_Y = 13  # lateral movement of the contact point per arm-parameter change
CONTACT_RATE_Z = 14
CENTRE_RATE_Z = 15  # the same of the wheel centre's height
TOGGLE_SINE = 16  # sine of the angle between tie rod and steering arm along the steering axis
BALL_JOINT = 17
ROD_OUTER = 20
STRUT_LENGTH = 23  # along the sliding axis, from square to the ball joint up to the top mount
FORWARD = 24  # unit vector, the knuckle frame's x axis
STATE_ROWS = 27

# Marks of a state.
REACHED = 0
ROD_OUT_OF_REACH = 1  # tie rod cannot meet steering arm: past over-centre
ARM_OUT_OF_REACH = 2  # no arm angle gives this wheel-centre height

# Lanes are worked on in blocks, copied into one flat scratch array: geometry rows, then state rows.
# Rows a known distance apart are what lets the compiler see that lanes are independent.
LANES = 64
OUT = (GEOMETRY_ROWS + 2) * LANES
MARK = STATE_ROWS  # one more row, the mark as a float

ARRIVED = 1e-9  # mm of wheel-centre height: the iteration stops
PLACED = 1e-7  # mm of wheel-centre height: more than this is out of reach
MOST_STEPS = 14
MOST_TURN_RATE = 3.0  # rad of turn per rad of arm angle that the iteration follows
MOST_TURN = 0.2  # of the arm parameter in one step
# An arm more than this from its measured angle (tan of half of 75 degrees) is out of reach.
FURTHEST_T = 0.7673269879789604


@njit(error_model="numpy", forceinline=True)
def _pose(g, i, t, wanted_x, wanted_y):  # type: ignore[no-untyped-def]
    """Knuckle pose of lane ``i`` at arm parameter ``t``.

    Where the lane is held by toe the turn puts the spindle square to the heading (wanted_x, wanted_y);
    else the tie rod decides, its inner end moved by the lane's shift along y.
    """
    # read from memory lane by lane, so that the compiler makes one loop with a blend and not two loops
    by_toe = g[34 * LANES + i] > 0.0
    # 1. ball joint on its circle, and its movement per radian of arm angle
    q = 1.0 / (1.0 + t * t)
    ca = (1.0 - t * t) * q
    sa = 2.0 * t * q
    bx = g[i] + ca * g[3 * LANES + i] + sa * g[6 * LANES + i]
    by = g[1 * LANES + i] + ca * g[4 * LANES + i] + sa * g[7 * LANES + i]
    bz = g[2 * LANES + i] + ca * g[5 * LANES + i] + sa * g[8 * LANES + i]
    dbx = ca * g[6 * LANES + i] - sa * g[3 * LANES + i]
    dby = ca * g[7 * LANES + i] - sa * g[4 * LANES + i]
    dbz = ca * g[8 * LANES + i] - sa * g[5 * LANES + i]
    # 2. steering axis, and the top mount's place on the sliding axis
    vx = g[9 * LANES + i] - bx
    vy = g[10 * LANES + i] - by
    vz = g[11 * LANES + i] - bz
    ll = vx * vx + vy * vy + vz * vz
    rl = 1.0 / np.sqrt(ll)
    ex = vx * rl
    ey = vy * rl
    ez = vz * rl
    fx = g[15 * LANES + i]
    fy = g[16 * LANES + i]
    fz = g[17 * LANES + i]
    mu2 = ll - (fx * fx + fy * fy + fz * fz)
    mu = np.sqrt(mu2 if mu2 > 1e-12 else 1e-12)
    kx = (fx + mu * g[18 * LANES + i]) * rl
    ky = (fy + mu * g[19 * LANES + i]) * rl
    kz = (fz + mu * g[20 * LANES + i]) * rl
    # reference directions square to the axis, on the body (G1, G2) and in the knuckle (g1, g2)
    w = 1.0 / np.sqrt(ey * ey + ez * ez)
    g1x = (1.0 - ex * ex) * w
    g1y = -ex * ey * w
    g1z = -ex * ez * w
    g2y = ez * w
    g2z = -ey * w
    wk = 1.0 / np.sqrt(ky * ky + kz * kz)
    h1x = (1.0 - kx * kx) * wk
    h1y = -kx * ky * wk
    h1z = -kx * kz * wk
    h2y = kz * wk
    h2z = -ky * wk
    # rod end in axis coordinates
    rx = g[21 * LANES + i]
    ry = g[22 * LANES + i]
    rz = g[23 * LANES + i]
    r1 = h1x * rx + h1y * ry + h1z * rz
    r2 = h2y * ry + h2z * rz
    r3 = kx * rx + ky * ry + kz * rz
    # inner tie-rod joint in axis coordinates
    nx = g[12 * LANES + i] - bx
    ny = g[13 * LANES + i] + g[33 * LANES + i] - by
    nz = g[14 * LANES + i] - bz
    n1 = g1x * nx + g1y * ny + g1z * nz
    n2 = g2y * ny + g2z * nz
    n3 = ex * nx + ey * ny + ez * nz
    # 3. the turn about the axis
    p1 = wanted_x * g1x + wanted_y * g1y
    p2 = wanted_y * g2y
    p3 = wanted_x * ex + wanted_y * ey
    rod = g[28 * LANES + i]
    reach = 0.5 * (rx * rx + ry * ry + rz * rz + nx * nx + ny * ny + nz * nz - rod * rod)
    # by toe: spindle (knuckle y axis) square to the wanted heading, sx * hx + sy * hy = 0
    a = h1y * p1 + h2y * p2 if by_toe else r1 * n1 + r2 * n2
    b = h1y * p2 - h2y * p1 if by_toe else r1 * n2 - r2 * n1
    c = -ky * p3 if by_toe else reach - r3 * n3
    branch = 1.0 if by_toe else g[29 * LANES + i]
    m = a * a + b * b
    disc = m - c * c
    root = np.sqrt(disc if disc > 0.0 else 0.0) * branch
    cs = (a * c - b * root) / m
    sn = (b * c + a * root) / m
    k1x = cs * g1x
    k1y = cs * g1y + sn * g2y
    k1z = cs * g1z + sn * g2z
    k2x = -sn * g1x
    k2y = cs * g2y - sn * g1y
    k2z = cs * g2z - sn * g1z
    # spindle, and the offsets from the ball joint to rod end and wheel centre, in body axes
    sx = ex * ky + k1x * h1y + k2x * h2y
    sy = ey * ky + k1y * h1y + k2y * h2y
    sz = ez * ky + k1z * h1y + k2z * h2y
    tx = ex * r3 + k1x * r1 + k2x * r2
    ty = ey * r3 + k1y * r1 + k2y * r2
    tz = ez * r3 + k1z * r1 + k2z * r2
    c3 = kx * g[24 * LANES + i] + ky * g[25 * LANES + i] + kz * g[26 * LANES + i]
    c1 = h1x * g[24 * LANES + i] + h1y * g[25 * LANES + i] + h1z * g[26 * LANES + i]
    c2 = h2y * g[25 * LANES + i] + h2z * g[26 * LANES + i]
    ox = ex * c3 + k1x * c1 + k2x * c2
    oy = ey * c3 + k1y * c1 + k2y * c2
    oz = ez * c3 + k1z * c1 + k2z * c2
    # 4. rates per radian of arm angle: the knuckle's point at M may only slide along the axis a,
    # so (dB + omega x V) = slide * a; omega's part along the axis comes from rod (or toe)
    a3 = kx * g[18 * LANES + i] + ky * g[19 * LANES + i] + kz * g[20 * LANES + i]
    a1 = h1x * g[18 * LANES + i] + h1y * g[19 * LANES + i] + h1z * g[20 * LANES + i]
    a2 = h2y * g[19 * LANES + i] + h2z * g[20 * LANES + i]
    ax = ex * a3 + k1x * a1 + k2x * a2
    ay = ey * a3 + k1y * a1 + k2y * a2
    az = ez * a3 + k1z * a1 + k2z * a2
    slide = (vx * dbx + vy * dby + vz * dbz) / mu
    dx = slide * ax - dbx
    dy = slide * ay - dby
    dz = slide * az - dbz
    rll = rl * rl
    wx = (vy * dz - vz * dy) * rll
    wy = (vz * dx - vx * dz) * rll
    wz = (vx * dy - vy * dx) * rll
    ux = tx - nx
    uy = ty - ny
    uz = tz - nz
    num_toe = wanted_x * (wy * sz - wz * sy) + wanted_y * (wz * sx - wx * sz)
    den_toe = wanted_x * (ey * sz - ez * sy) + wanted_y * (ez * sx - ex * sz)
    num_rod = (
        ux * (dbx + wy * tz - wz * ty)
        + uy * (dby + wz * tx - wx * tz)
        + uz * (dbz + wx * ty - wy * tx)
    )
    den_rod = ux * (ey * tz - ez * ty) + uy * (ez * tx - ex * tz) + uz * (ex * ty - ey * tx)
    num = num_toe if by_toe else num_rod
    den = den_toe if by_toe else den_rod
    nu = -num / (den if abs(den) > 1e-9 else 1e-9)
    wx += nu * ex
    wy += nu * ey
    wz += nu * ez
    cz = bz + oz
    dcz = dbz + wx * oy - wy * ox
    # For the iteration only: close to over-centre (and past it, where the linkage is held in line) the
    # turn's rate has no bound, and following it would throw the arm about.
    held = nu if abs(nu) < MOST_TURN_RATE else 0.0
    held = held if disc > 0.0 else 0.0
    dcz_held = dcz + (held - nu) * (ex * oy - ey * ox)
    qx = ex * kx + k1x * h1x
    qy = ey * kx + k1y * h1x
    qz = ez * kx + k1z * h1x
    return (
        bx, by, bz, ex, ey, ez, sx, sy, sz, ox, oy, cz, tx, ty, tz, nx, ny, nz, wx, wy, wz,
        dbx, dby, dcz, oz, mu, mu2, disc, q, r1, r2, r3, n3,
        dcz_held, qx, qy, qz,
    )  # fmt: skip


@njit(error_model="numpy", cache=True)
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
        geometry: (GEOMETRY_ROWS, n_lanes) columns, see the row names above.
        travel: (n_states,) mm of wheel-centre height over RIDE_Z, bump positive.
        rack: (n_states, n_lanes) mm along +y from the centred rack.
        by_travel: find the arm's angle for the travel; else hold it at START and ignore the travel.
        wanted_toe: rad, toe-in positive; used with ``by_toe``.
        by_toe: hold the toe instead of the tie rod (the rod's length is then an answer).

    A state that cannot be reached is marked, and its figures are without meaning.
    """
    lanes = geometry.shape[1]
    heading_x = np.cos(wanted_toe)
    heading_y = -np.sin(wanted_toe)
    scratch = np.zeros((GEOMETRY_ROWS + STATE_ROWS + 3) * LANES)
    for i in range(LANES):
        scratch[_BY_TOE * LANES + i] = 1.0 if by_toe else 0.0
    for first in range(0, lanes, LANES):
        width = min(LANES, lanes - first)
        for row in range(GEOMETRY_ROWS):
            for i in range(LANES):
                # a short last block is filled up with its last lane
                scratch[row * LANES + i] = geometry[row, first + min(i, width - 1)]
        for s in range(travel.shape[0]):
            for i in range(LANES):
                scratch[_SHIFT * LANES + i] = rack[s, first + min(i, width - 1)]
            _start(scratch, travel[s] if by_travel else 0.0)
            if by_travel:
                waiting = _find_arm(scratch, travel[s], heading_x, heading_y)
                if waiting > 0:
                    _bisect(scratch, travel[s], heading_x, heading_y)
            _fill(scratch, travel[s], heading_x, heading_y, by_travel)
            for row in range(STATE_ROWS):
                for i in range(width):
                    states[row, s, first + i] = scratch[OUT + row * LANES + i]
            for i in range(width):
                marks[s, first + i] = np.int8(scratch[OUT + MARK * LANES + i])


@njit(error_model="numpy", cache=True)
def _start(g, lift):  # type: ignore[no-untyped-def]
    """First guess of the arm parameter of every lane."""
    for i in range(LANES):
        guess = g[START * LANES + i] + lift * g[START_SLOPE * LANES + i]
        g[OUT + i] = min(max(guess, -FURTHEST_T), FURTHEST_T)


@njit(error_model="numpy", cache=True)
def _find_arm(g, lift, hx, hy):  # type: ignore[no-untyped-def]
    """Newton's method on the arm parameter of every lane; returns how many have not arrived."""
    waiting = 0
    for _ in range(MOST_STEPS):
        waiting = 0
        for i in range(LANES):
            t = g[OUT + i]
            p = _pose(g, i, t, hx, hy)
            miss = p[11] - (g[RIDE_Z * LANES + i] + lift)
            # d(height)/dt = d(height)/d(angle) * 2 / (1 + t^2); a step is held to a quarter turn or so
            step = miss / (p[33] * 2.0 * p[28])
            step = step if step > -MOST_TURN else -MOST_TURN
            step = step if step < MOST_TURN else MOST_TURN
            moved = t - step
            moved = moved if moved > -FURTHEST_T else -FURTHEST_T
            moved = moved if moved < FURTHEST_T else FURTHEST_T
            far = not abs(miss) <= ARRIVED  # so that a figure that is not a number waits too
            g[OUT + i] = moved if far else t
            g[OUT + MARK * LANES + i] = 1.0 if far else 0.0
        for i in range(LANES):
            waiting += int(g[OUT + MARK * LANES + i])
        if waiting == 0:
            break
    return waiting


@njit(error_model="numpy", cache=True)
def _bisect(g, lift, hx, hy):  # type: ignore[no-untyped-def]
    """The safeguard: lanes that Newton's method left are found by halving, or stay unmet.

    Close to over-centre the wheel centre's height has a square-root corner that Newton's method can
    bounce on; the height itself stays continuous, so halving the range always closes in.
    """
    for i in range(LANES):
        if g[OUT + MARK * LANES + i] == 0.0:
            continue
        wanted = g[RIDE_Z * LANES + i] + lift
        low = -FURTHEST_T
        high = FURTHEST_T
        starts_below = _height(g, i, low, hx, hy) < wanted
        for _ in range(60):
            t = 0.5 * (low + high)
            if (_height(g, i, t, hx, hy) < wanted) == starts_below:
                low = t
            else:
                high = t
        g[OUT + i] = 0.5 * (low + high)


@njit(error_model="numpy", cache=True)
def _height(g, i, t, hx, hy):  # type: ignore[no-untyped-def]
    """Wheel-centre height of one lane at arm parameter ``t``."""
    return _pose(g, i, t, hx, hy)[11]


@njit(error_model="numpy", cache=True)
def _fill(g, lift, hx, hy, by_travel):  # type: ignore[no-untyped-def]
    """Write the state rows of every lane from its arm parameter, and mark what was not reached."""
    for i in range(LANES):
        (
            bx, by, bz, ex, ey, ez, sx, sy, sz, ox, oy, cz, tx, ty, tz, nx, ny, nz, wx, wy, wz,
            _dbx, dby, dcz, oz, mu, mu2, disc, _q, r1, r2, r3, n3,
            _held, qx, qy, qz,
        ) = _pose(g, i, g[OUT + i], hx, hy)  # fmt: skip
        g[OUT + 1 * LANES + i] = ex
        g[OUT + 2 * LANES + i] = ey
        g[OUT + 3 * LANES + i] = ez
        g[OUT + 4 * LANES + i] = sx
        g[OUT + 5 * LANES + i] = sy
        g[OUT + 6 * LANES + i] = sz
        g[OUT + 7 * LANES + i] = bx + ox
        g[OUT + 8 * LANES + i] = by + oy
        g[OUT + 9 * LANES + i] = cz
        # contact point: down the wheel plane's steepest line by the loaded radius
        lean = np.sqrt(1.0 - sz * sz)
        down = g[27 * LANES + i] / lean
        g[OUT + 10 * LANES + i] = bx + ox + down * sz * sx
        g[OUT + 11 * LANES + i] = by + oy + down * sz * sy
        g[OUT + 12 * LANES + i] = cz - down * (1.0 - sz * sz)
        dsy = wz * sx - wx * sz
        dsz = wx * sy - wy * sx
        # the spindle's y and z rates, and from them d/d(angle) of (sz * s - z) / lean, y and z parts
        grow = sz * dsz / (lean * lean)
        dcy = dby + wz * ox - wx * oz
        g[OUT + 13 * LANES + i] = dcy + down * (dsz * sy + sz * dsy + grow * sz * sy)
        g[OUT + 14 * LANES + i] = dcz + down * (2.0 * sz * dsz - grow * (1.0 - sz * sz))
        g[OUT + 15 * LANES + i] = dcz
        # area of the triangle axis-arm-rod seen along the axis, twice, is root(disc)
        arm = r1 * r1 + r2 * r2
        rod = (tx - nx) * (tx - nx) + (ty - ny) * (ty - ny) + (tz - nz) * (tz - nz)
        along = r3 - n3
        g[OUT + 16 * LANES + i] = np.sqrt(
            (disc if disc > 0.0 else 0.0) / (arm * (rod - along * along))
        )
        g[OUT + 17 * LANES + i] = bx
        g[OUT + 18 * LANES + i] = by
        g[OUT + 19 * LANES + i] = bz
        g[OUT + 20 * LANES + i] = bx + tx
        g[OUT + 21 * LANES + i] = by + ty
        g[OUT + 22 * LANES + i] = bz + tz
        g[OUT + 23 * LANES + i] = mu
        g[OUT + 24 * LANES + i] = qx
        g[OUT + 25 * LANES + i] = qy
        g[OUT + 26 * LANES + i] = qz
        miss = abs(cz - g[32 * LANES + i] - lift) if by_travel else 0.0
        # asked this way round, a figure that is not a number is never 'reached'
        met = disc > 0.0
        placed = (miss <= PLACED) & (mu2 > 1e-9)
        g[OUT + MARK * LANES + i] = (
            (REACHED if placed else ARM_OUT_OF_REACH) if met else ROD_OUT_OF_REACH
        )

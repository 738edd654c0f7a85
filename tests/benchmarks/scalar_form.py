"""The kernel's task as an ordinary compiled loop: one state of one lane after the other.

This is what one writes first: small functions on three numbers, plain Newton steps until a state has
arrived, no scratch and no thought of vector instructions. Same unknown, start, tolerances and figures as the
kernel; struts with their rod held only, and none of the kernel's halving behind the Newton steps.
"""

from __future__ import annotations

from math import inf, sqrt

from numba import njit

from kinematics import kernel
from kinematics import rows as k
from kinematics.arrays import Floats, Marks


@njit
def _three(rows, first, lane):  # type: ignore[no-untyped-def]
    return rows[first, lane], rows[first + 1, lane], rows[first + 2, lane]


@njit
def _dot(a, b):  # type: ignore[no-untyped-def]
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@njit
def _cross(a, b):  # type: ignore[no-untyped-def]
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@njit
def _mix(a, j, b, m):  # type: ignore[no-untyped-def]
    return a[0] * j + b[0] * m, a[1] * j + b[1] * m, a[2] * j + b[2] * m


@njit
def _image(x, foot, axis, p, v, ll, mu, p3, k1, k2):  # type: ignore[no-untyped-def]
    """Body direction of a knuckle vector, from its products with v, p and v x p."""
    held = _mix(foot, 1.0, axis, mu)
    x3 = _dot(x, held)
    x1 = _dot(x, p) * ll - p3 * x3
    along = _mix(v, x3 / ll, k1, x1)
    return _mix(along, 1.0, k2, _dot(held, _cross(p, x)))


@njit
def _pose(g, lane, t, rack):  # type: ignore[no-untyped-def]
    """Joints, axes, turn rates; names as in the kernel."""
    foot, axis, p = _three(g, 15, lane), _three(g, 18, lane), _three(g, 21, lane)
    ca, sa = (1.0 - t * t) / (1.0 + t * t), 2.0 * t / (1.0 + t * t)
    cos, sin, top = _three(g, 3, lane), _three(g, 6, lane), _three(g, 9, lane)
    ball = _mix(_three(g, 0, lane), 1.0, _mix(cos, ca, sin, sa), 1.0)
    v = _mix(top, 1.0, ball, -1.0)
    dv = _mix(cos, sa, sin, -ca)
    ll = _dot(v, v)
    mu = sqrt(max(ll - _dot(foot, foot), kernel.OUT_OF_MU**2))
    inner = _three(g, 12, lane)
    d = _mix((inner[0], inner[1] + rack, inner[2]), 1.0, ball, -1.0)
    rod = g[k.ROD_LENGTH, lane]
    p3, d3 = _dot(p, _mix(foot, 1.0, axis, mu)), _dot(v, d)
    c = 0.5 * (_dot(p, p) + _dot(d, d) - rod * rod) * ll - p3 * d3
    pp = _dot(p, p) * ll - p3 * p3
    m = pp * (_dot(d, d) * ll - d3 * d3)
    disc = m - c * c
    s = sqrt(max(disc, 0.0) / ll) * g[k.BRANCH, lane]
    g1, g2 = _mix(d, 1.0, v, -d3 / ll), _cross(v, d)
    k1, k2 = _mix(g1, c / m, g2, s / m), _mix(g2, c / m, g1, -s * ll / m)
    o = _image(_three(g, 24, lane), foot, axis, p, v, ll, mu, p3, k1, k2)
    arm = _image(p, foot, axis, p, v, ll, mu, p3, k1, k2)
    sliding = _image(axis, foot, axis, p, v, ll, mu, p3, k1, k2)
    u = _mix(dv, 1.0, sliding, -_dot(v, dv) / mu)
    omega = _cross(v, u)
    omega = (omega[0] / ll, omega[1] / ll, omega[2] / ll)
    num = _dot(omega, _cross(d, arm)) + _dot(_mix(d, 1.0, arm, -1.0), dv)
    y = _image((0.0, 1.0, 0.0), foot, axis, p, v, ll, mu, p3, k1, k2)
    x = _image((1.0, 0.0, 0.0), foot, axis, p, v, ll, mu, p3, k1, k2)
    return ball, v, dv, ll, mu, d, m, disc, s, o, arm, omega, num, x, y


@njit
def _put(out, row, s, lane, v):  # type: ignore[no-untyped-def]
    out[row, s, lane], out[row + 1, s, lane], out[row + 2, s, lane] = v


@njit
def _state(g, lane, s, travel, rack, by_travel, out):  # type: ignore[no-untyped-def]
    """One state; its mark is handed back."""
    t = g[k.START, lane]
    if by_travel:
        t += travel * g[k.START_SLOPE, lane]
    t = min(max(t, -kernel.FURTHEST_T), kernel.FURTHEST_T)
    for _ in range(kernel.MOST_STEPS + 1):
        ball, v, dv, ll, mu, d, m, disc, root, o, arm, omega, num, x, y = _pose(g, lane, t, rack)
        miss = ball[2] + o[2] - g[k.RIDE_Z, lane] - travel
        lost = disc < -(kernel.LOST + kernel.LOST_PER_MM * abs(miss)) * m
        if not by_travel or abs(miss) <= kernel.ARRIVED or lost:
            break
        rate = omega[0] * o[1] - omega[1] * o[0] - dv[2]
        if num * num * ll < kernel.MOST_TURN_RATE**2 * root * root:
            rate -= (v[0] * o[1] - v[1] * o[0]) * num / root
        step = 0.5 * miss * (1.0 + t * t) / rate
        t -= min(max(step, -kernel.MOST_TURN), kernel.MOST_TURN)
        t = min(max(t, -kernel.FURTHEST_T), kernel.FURTHEST_T)
    omega = _mix(omega, 1.0, v, -num / (root if abs(root) > 1e-6 else 1e-6))
    rise = omega[0] * o[1] - omega[1] * o[0] - dv[2]
    centre, length = _mix(ball, 1.0, o, 1.0), sqrt(ll)
    level = 1.0 - y[2] * y[2]
    down = g[k.LOADED_RADIUS, lane] / sqrt(level)
    rod = _mix(d, 1.0, arm, -1.0)
    t3, u3 = _dot(v, arm), _dot(v, rod)
    seen = (_dot(arm, arm) * ll - t3 * t3) * (_dot(rod, rod) * ll - u3 * u3)
    dsy, dsz = omega[2] * y[0] - omega[0] * y[2], omega[0] * y[1] - omega[1] * y[0]
    grow = y[2] * dsz / level
    side = dsz * y[1] + y[2] * (dsy + grow * y[1])
    out[k.ARM_T, s, lane] = t
    _put(out, k.AXIS, s, lane, (v[0] / length, v[1] / length, v[2] / length))
    _put(out, k.SPINDLE, s, lane, y)
    _put(out, k.CENTRE, s, lane, centre)
    _put(out, k.CONTACT, s, lane, _mix(centre, 1.0, (y[2] * y[0], y[2] * y[1], -level), down))
    out[k.CONTACT_RATE_Y, s, lane] = omega[2] * o[0] - omega[0] * o[2] - dv[1] + down * side
    out[k.CONTACT_RATE_Z, s, lane] = rise + down * (2.0 * y[2] * dsz - grow * level)
    out[k.CENTRE_RATE_Z, s, lane] = rise
    out[k.TOGGLE_SINE, s, lane] = abs(_dot(v, _cross(arm, rod))) * sqrt(ll / seen)
    _put(out, k.BALL_JOINT, s, lane, ball)
    _put(out, k.ROD_OUTER, s, lane, _mix(ball, 1.0, arm, 1.0))
    out[k.STRUT_LENGTH, s, lane] = mu
    _put(out, k.FORWARD, s, lane, x)
    joined = mu > kernel.LEAST_MU
    if joined and not disc > 0.0:
        return k.ROD_OUT_OF_REACH
    there = not by_travel or abs(miss) <= kernel.PLACED
    return k.REACHED if there and joined and down < inf else k.ARM_OUT_OF_REACH


@njit
def solve(  # type: ignore[no-untyped-def]
    geometry: Floats, travel: Floats, rack: Floats, by_travel: bool, states: Floats, marks: Marks
):
    """Fill states and marks as :func:`kinematics.kernel.solve_states` does for struts."""
    for lane in range(geometry.shape[1]):
        for s in range(travel.shape[0]):
            marks[s, lane] = _state(geometry, lane, s, travel[s], rack[s, lane], by_travel, states)

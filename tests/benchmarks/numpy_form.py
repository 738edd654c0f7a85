"""The kernel's equations as well-vectorised numpy: the fair rival in the benchmark.

Same unknown, same start, same Newton steps, same tolerances, same figures out. Lanes are taken in chunks of
a size that the caller picks for the machine's caches, and the few stragglers of a chunk are finished apart.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kinematics import kernel
from kinematics import rows as k
from kinematics.arrays import Bools, Floats

Five = tuple[Floats, Floats, Floats, Floats, Floats]


def _dot(a: Floats, b: Floats) -> Floats:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _cross(a: Floats, b: Floats) -> Floats:
    out = np.empty_like(a)
    out[0] = a[1] * b[2] - a[2] * b[1]
    out[1] = a[2] * b[0] - a[0] * b[2]
    out[2] = a[0] * b[1] - a[1] * b[0]
    return out


class Loaded:
    """What the states of a chunk need of its geometry columns, see the kernel's scratch rows."""

    def __init__(self, g: Floats) -> None:
        foot, axis, p = (g[row : row + 3] for row in (k.STRUT_FOOT, k.STRUT_AXIS, k.ROD_END))
        self.top = g[k.TOP_MOUNT : k.TOP_MOUNT + 3]
        self.to_centre = self.top - g[k.CIRCLE_CENTRE : k.CIRCLE_CENTRE + 3]
        self.cos = g[k.CIRCLE_COS : k.CIRCLE_COS + 3]
        self.sin = g[k.CIRCLE_SIN : k.CIRCLE_SIN + 3]
        self.d_fixed = g[k.RACK_END : k.RACK_END + 3] - self.top
        self.foot_square = _dot(foot, foot)
        self.p_foot, self.p_axis, self.p_square = _dot(p, foot), _dot(p, axis), _dot(p, p)
        self.d_square = self.p_square - g[k.ROD_LENGTH] ** 2
        self.axis_turned = _dot(foot, _cross(p, axis))
        self.sign = g[k.BRANCH]
        self.radius = g[k.LOADED_RADIUS]
        self.ride = g[k.RIDE_Z] - self.top[2]

        def five(x: Floats) -> Five:
            turned = _cross(p, x)
            return _dot(x, foot), _dot(x, axis), _dot(x, p), _dot(foot, turned), _dot(axis, turned)

        unit = np.zeros((2, *p.shape))
        unit[0, 0] = unit[1, 1] = 1.0
        self.wheel = five(g[k.WHEEL_CENTRE : k.WHEEL_CENTRE + 3])
        self.forward, self.spindle, self.rod_end = five(unit[0]), five(unit[1]), five(p)


class Pose(NamedTuple):
    """A pose with the rates that Newton's method needs; names as in the kernel."""

    q: Floats
    v: Floats
    dv: Floats
    ll: Floats
    mu: Floats
    p3: Floats
    m: Floats
    disc: Floats
    s: Floats
    rm: Floats
    rll: Floats
    k1: Floats
    k2: Floats
    o: Floats
    omega: Floats
    num: Floats
    rise: Floats
    gain: Floats


def _image(p: Pose | tuple, five: Five) -> Floats:  # type: ignore[type-arg]
    """Body direction of the knuckle vector whose five numbers are given."""
    v, ll, mu, p3, rm, rll, k1, k2 = p
    x3 = five[0] + mu * five[1]
    x1 = (five[2] * ll - p3 * x3) * rm
    x2 = (five[3] + mu * five[4]) * rm
    return v * (x3 * rll) + k1 * x1 + k2 * x2


def pose(c: Loaded, t: Floats, rack: Floats) -> Pose:
    """Knuckle pose at arm parameter ``t`` (n,) with the tie rod's length held."""
    q = 1.0 / (1.0 + t * t)
    ca, sa = (1.0 - t * t) * q, 2.0 * t * q
    v = c.to_centre - ca * c.cos - sa * c.sin
    dv = sa * c.cos - ca * c.sin
    ll = _dot(v, v)
    mu = np.sqrt(np.maximum(ll - c.foot_square, 1e-12))
    p3 = c.p_foot + mu * c.p_axis
    pp = c.p_square * ll - p3 * p3
    d = c.d_fixed + v
    d[1] += rack
    d3, d2 = _dot(v, d), _dot(d, d)
    cc = 0.5 * (c.d_square + d2) * ll - p3 * d3
    m = pp * (d2 * ll - d3 * d3)
    disc = m - cc * cc
    mul = mu * ll
    every = 1.0 / (m * mul)
    rm, em = every * mul, every * m
    rll, rmu = em * mu, em * ll
    s = np.sqrt(np.maximum(disc, 0.0) * rll) * c.sign
    g1 = d - (d3 * rll) * v
    g2 = _cross(v, d)
    k1, k2 = cc * g1 + s * g2, cc * g2 - (s * ll) * g1
    o = _image((v, ll, mu, p3, rm, rll, k1, k2), c.wheel)
    slide = _dot(v, dv) * rmu
    a1 = slide * (c.p_axis * ll - p3 * mu) * rm
    a2 = slide * c.axis_turned * rm
    u = dv - v * (slide * mu * rll) - k1 * a1 - k2 * a2
    omega = _cross(v, u) * rll
    arm = v * (p3 * rll) + k1 * (pp * rm)
    num = _dot(omega, _cross(d, arm)) + _dot(d - arm, dv)
    rise = omega[0] * o[1] - omega[1] * o[0] - dv[2]
    gain = v[0] * o[1] - v[1] * o[0]
    return Pose(q, v, dv, ll, mu, p3, m, disc, s, rm, rll, k1, k2, o, omega, num, rise, gain)


def _open(c: Loaded, p: Pose, lift: float) -> tuple[Floats, Bools]:
    """How far each wheel centre is from its height, and which lanes are still on their way."""
    miss = p.o[2] - p.v[2] - (c.ride + lift)
    size = np.abs(miss)
    lost = p.disc < -(kernel.LOST + kernel.LOST_PER_MM * size) * p.m
    return miss, ~((size <= kernel.ARRIVED) | lost)


def _step(t: Floats, p: Pose, miss: Floats) -> Floats:
    """Arm parameter after one step of Newton's method."""
    followed = p.num * p.num * p.ll < kernel.MOST_TURN_RATE**2 * p.s * p.s
    rate = np.where(followed, p.rise * p.s - p.gain * p.num, p.rise)
    step = miss * np.where(followed, p.s, 1.0) / (2.0 * p.q * rate)
    moved = t - np.clip(step, -kernel.MOST_TURN, kernel.MOST_TURN)
    return np.clip(moved, -kernel.FURTHEST_T, kernel.FURTHEST_T)


def _find_arm(g: Floats, c: Loaded, lift: float, rack: Floats) -> tuple[Floats, Pose]:
    """Newton's method on every lane of a chunk; stragglers are finished by themselves."""
    t = np.clip(g[k.START] + lift * g[k.START_SLOPE], -kernel.FURTHEST_T, kernel.FURTHEST_T)
    p = pose(c, t, rack)
    for _ in range(kernel.MOST_STEPS):
        miss, going = _open(c, p, lift)
        left = np.count_nonzero(going)
        if left == 0:
            return t, p
        if left < t.size // 4:
            few = np.flatnonzero(going)
            t[few] = _finish(g[:, few], t[few], lift, rack[few])
            return t, pose(c, t, rack)
        t = np.where(going, _step(t, p, miss), t)
        p = pose(c, t, rack)
    return t, p


def _finish(g: Floats, t: Floats, lift: float, rack: Floats) -> Floats:
    c = Loaded(g)
    for _ in range(kernel.MOST_STEPS):
        p = pose(c, t, rack)
        miss, going = _open(c, p, lift)
        if not going.any():
            break
        t = np.where(going, _step(t, p, miss), t)
    return t


def _fill(c: Loaded, p: Pose, t: Floats, rack: Floats, out: Floats) -> None:
    """Write the kernel's state rows."""
    turned = (p.v, p.ll, p.mu, p.p3, p.rm, p.rll, p.k1, p.k2)
    s, arm = _image(turned, c.spindle), _image(turned, c.rod_end)
    ball = c.top - p.v
    turn = -p.num / p.s
    omega = p.omega + turn * p.v
    centre_rate = p.rise + turn * p.gain
    level = 1.0 - s[2] * s[2]
    rl = 1.0 / np.sqrt(level)
    down = c.radius * rl
    lean = down * s[2]
    out[k.ARM_T] = t
    out[k.AXIS : k.AXIS + 3] = p.v * np.sqrt(p.rll)
    out[k.SPINDLE : k.SPINDLE + 3] = s
    out[k.FORWARD : k.FORWARD + 3] = _image(turned, c.forward)
    centre = np.add(ball, p.o, out=out[k.CENTRE : k.CENTRE + 3])
    out[k.CONTACT : k.CONTACT + 2] = centre[:2] + lean * s[:2]
    out[k.CONTACT + 2] = centre[2] - down * level
    rate_y = omega[2] * s[0] - omega[0] * s[2]
    rate_z = omega[0] * s[1] - omega[1] * s[0]
    grow = s[2] * rate_z * (rl * rl)
    side = omega[2] * p.o[0] - omega[0] * p.o[2] - p.dv[1]
    out[k.CONTACT_RATE_Y] = side + down * (rate_z * s[1] + s[2] * rate_y + grow * s[2] * s[1])
    out[k.CONTACT_RATE_Z] = centre_rate + down * (2.0 * s[2] * rate_z - grow * level)
    out[k.CENTRE_RATE_Z] = centre_rate
    rod = c.d_fixed + p.v - arm
    rod[1] += rack
    t3, u3 = _dot(p.v, arm), _dot(p.v, rod)
    seen = (_dot(arm, arm) * p.ll - t3 * t3) * (_dot(rod, rod) * p.ll - u3 * u3)
    out[k.TOGGLE_SINE] = np.abs(_dot(p.v, _cross(arm, rod))) * np.sqrt(p.ll / seen)
    out[k.BALL_JOINT : k.BALL_JOINT + 3] = ball
    np.add(ball, arm, out=out[k.ROD_OUTER : k.ROD_OUTER + 3])
    out[k.STRUT_LENGTH] = p.mu


def solve(
    geometry: Floats, travel: Floats, rack: Floats, chunk: int, states: Floats, reached: Bools
) -> None:
    """Fill state rows (STATE_ROWS, s, n) and which were reached (s, n), as the kernel does."""
    lanes = geometry.shape[1]
    for first in range(0, lanes, chunk):
        here = slice(first, first + chunk)
        g = np.ascontiguousarray(geometry[:, here])
        c = Loaded(g)
        for s in range(travel.shape[0]):
            lift, shift = travel[s], rack[s, here]
            t, p = _find_arm(g, c, lift, shift)
            _fill(c, p, t, shift, states[:, s, here])
            miss = np.abs(p.o[2] - p.v[2] - c.ride - lift)
            reached[s, here] = (p.disc > 0.0) & (miss <= kernel.PLACED)

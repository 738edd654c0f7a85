"""The kernel's equations as well-vectorised numpy: the fair rival in the benchmark.

Same unknown, same tolerance, same clamps, same frozen lanes, same figures out. Lanes are taken in chunks
small enough for the temporaries to stay in cache; a pose inside Newton's method computes only what the
method needs.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kinematics import kernel as k
from kinematics.arrays import Bools, Floats


class Pose(NamedTuple):
    """What the turn about the steering axis leaves: all vectors (3, n), numbers (n,)."""

    ball: Floats
    ball_rate: Floats
    axis: Floats
    spindle: Floats
    rod: Floats
    inner: Floats
    wheel: Floats
    omega: Floats
    mu: Floats
    disc: Floats
    q: Floats
    rod_in_axis: tuple[Floats, Floats, Floats]
    inner_along: Floats


def _dot(a: Floats, b: Floats) -> Floats:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _cross(a: Floats, b: Floats) -> Floats:
    out = np.empty_like(a)
    out[0] = a[1] * b[2] - a[2] * b[1]
    out[1] = a[2] * b[0] - a[0] * b[2]
    out[2] = a[0] * b[1] - a[1] * b[0]
    return out


def pose(g: Floats, t: Floats, rack: Floats) -> Pose:
    """Knuckle pose and its rates at arm parameter ``t`` (n,) with the tie rod's length held."""
    q = 1.0 / (1.0 + t * t)
    ca, sa = (1.0 - t * t) * q, 2.0 * t * q
    ball = g[0:3] + ca * g[3:6] + sa * g[6:9]
    ball_rate = ca * g[6:9] - sa * g[3:6]
    v = g[9:12] - ball
    ll = _dot(v, v)
    rl = 1.0 / np.sqrt(ll)
    e = v * rl
    foot, slide_axis = g[15:18], g[18:21]
    mu = np.sqrt(np.maximum(ll - _dot(foot, foot), 1e-12))
    kk = (foot + mu * slide_axis) * rl
    w = 1.0 / np.sqrt(e[1] * e[1] + e[2] * e[2])
    g1x, g1y, g1z = (1.0 - e[0] * e[0]) * w, -e[0] * e[1] * w, -e[0] * e[2] * w
    g2y, g2z = e[2] * w, -e[1] * w
    wk = 1.0 / np.sqrt(kk[1] * kk[1] + kk[2] * kk[2])
    h1x, h1y, h1z = (1.0 - kk[0] * kk[0]) * wk, -kk[0] * kk[1] * wk, -kk[0] * kk[2] * wk
    h2y, h2z = kk[2] * wk, -kk[1] * wk
    r = g[21:24]
    r1, r2 = h1x * r[0] + h1y * r[1] + h1z * r[2], h2y * r[1] + h2z * r[2]
    r3 = _dot(kk, r)
    inner = g[12:15] - ball
    inner[1] += rack
    n1, n2 = g1x * inner[0] + g1y * inner[1] + g1z * inner[2], g2y * inner[1] + g2z * inner[2]
    n3 = _dot(e, inner)
    a, b = r1 * n1 + r2 * n2, r1 * n2 - r2 * n1
    c = 0.5 * (_dot(r, r) + _dot(inner, inner) - g[28] * g[28]) - r3 * n3
    m = a * a + b * b
    disc = m - c * c
    root = np.sqrt(np.maximum(disc, 0.0)) * g[29]
    m = 1.0 / m
    cs, sn = (a * c - b * root) * m, (b * c + a * root) * m
    k1, k2 = np.empty_like(e), np.empty_like(e)
    k1[0], k1[1], k1[2] = cs * g1x, cs * g1y + sn * g2y, cs * g1z + sn * g2z
    k2[0], k2[1], k2[2] = -sn * g1x, cs * g2y - sn * g1y, cs * g2z - sn * g1z
    rod = e * r3 + k1 * r1 + k2 * r2
    cw, ax = g[24:27], slide_axis
    wheel = (
        e * _dot(kk, cw)
        + k1 * (h1x * cw[0] + h1y * cw[1] + h1z * cw[2])
        + k2 * (h2y * cw[1] + h2z * cw[2])
    )
    sliding = (
        e * _dot(kk, ax)
        + k1 * (h1x * ax[0] + h1y * ax[1] + h1z * ax[2])
        + k2 * (h2y * ax[1] + h2z * ax[2])
    )
    slide = _dot(v, ball_rate) / mu
    omega = _cross(v, slide * sliding - ball_rate) * (rl * rl)
    u = rod - inner
    nu = -_dot(u, ball_rate + _cross(omega, rod)) / _dot(u, _cross(e, rod))
    omega += nu * e
    spindle = e * kk[1] + k1 * h1y + k2 * h2y
    return Pose(
        ball, ball_rate, e, spindle, rod, inner, wheel, omega, mu, disc, q, (r1, r2, r3), n3
    )


def _figures(g: Floats, p: Pose, t: Floats, out: Floats) -> None:
    """Write the kernel's state rows."""
    s = p.spindle
    level = 1.0 - s[2] * s[2]
    lean = np.sqrt(level)
    down = g[k.LOADED_RADIUS] / lean
    out[k.ARM_T] = t
    out[k.AXIS : k.AXIS + 3] = p.axis
    out[k.SPINDLE : k.SPINDLE + 3] = s
    centre = p.ball + p.wheel
    out[k.CENTRE : k.CENTRE + 3] = centre
    out[k.CONTACT : k.CONTACT + 2] = centre[:2] + down * s[2] * s[:2]
    out[k.CONTACT + 2] = centre[2] - down * level
    rate_y = p.omega[2] * s[0] - p.omega[0] * s[2]
    rate_z = p.omega[0] * s[1] - p.omega[1] * s[0]
    grow = s[2] * rate_z / level
    centre_rate = p.ball_rate + _cross(p.omega, p.wheel)
    out[k.CONTACT_RATE_Y] = centre_rate[1] + down * (
        rate_z * s[1] + s[2] * rate_y + grow * s[2] * s[1]
    )
    out[k.CONTACT_RATE_Z] = centre_rate[2] + down * (2.0 * s[2] * rate_z - grow * level)
    out[k.CENTRE_RATE_Z] = centre_rate[2]
    r1, r2, r3 = p.rod_in_axis
    u = p.rod - p.inner
    along = r3 - p.inner_along
    out[k.TOGGLE_SINE] = np.sqrt(
        np.maximum(p.disc, 0.0) / ((r1 * r1 + r2 * r2) * (_dot(u, u) - along * along))
    )
    out[k.BALL_JOINT : k.BALL_JOINT + 3] = p.ball
    out[k.ROD_OUTER : k.ROD_OUTER + 3] = p.ball + p.rod
    out[k.STRUT_LENGTH] = p.mu


def solve(geometry: Floats, travel: Floats, rack: Floats, chunk: int) -> tuple[Floats, Bools]:
    """State rows (STATE_ROWS, s, n) and which were reached (s, n), as the kernel gives them."""
    lanes = geometry.shape[1]
    states = np.empty((k.STATE_ROWS, travel.shape[0], lanes))
    reached = np.empty((travel.shape[0], lanes), dtype=bool)
    for first in range(0, lanes, chunk):
        g = np.ascontiguousarray(geometry[:, first : first + chunk])
        here = slice(first, first + chunk)
        for s in range(travel.shape[0]):
            lift, shift = travel[s], rack[s, here]
            t = _find_arm(g, lift, shift)
            p = pose(g, t, shift)
            _figures(g, p, t, states[:, s, here])
            miss = np.abs(states[k.CENTRE + 2, s, here] - g[k.RIDE_Z] - lift)
            reached[s, here] = (p.disc > 0.0) & (miss <= k.PLACED)
    return states, reached


def _find_arm(g: Floats, lift: float, shift: Floats) -> Floats:
    """Newton's method on every lane of a chunk until the last has arrived."""
    t = np.clip(g[k.START] + lift * g[k.START_SLOPE], -k.FURTHEST_T, k.FURTHEST_T)
    wanted = g[k.RIDE_Z] + lift
    for _ in range(k.MOST_STEPS):
        p = pose(g, t, shift)
        miss = p.ball[2] + p.wheel[2] - wanted
        far = np.abs(miss) > k.ARRIVED
        if not far.any():
            break
        rate = p.ball_rate[2] + p.omega[0] * p.wheel[1] - p.omega[1] * p.wheel[0]
        step = np.clip(miss / (2.0 * rate * p.q), -k.MOST_TURN, k.MOST_TURN)
        t = np.where(far, np.clip(t - step, -k.FURTHEST_T, k.FURTHEST_T), t)
    return t

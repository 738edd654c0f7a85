"""Distance between straight pieces, many at once: the least of a convex function on a square."""

from __future__ import annotations

import numpy as np

from kinematics.arrays import Floats
from kinematics.vectors import dot

# Squares of the sine between two directions below this are parallel: the ends then tell the distance.
PARALLEL = 1e-12


def segment_distance(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats:
    """Least distance between the pieces a to b and c to d; points (3, ...), result (...), mm.

    Where the feet of the common perpendicular lie within both pieces it is that; else an end is nearest.
    """
    u, v, w = b - a, d - c, a - c
    uu, vv, uv = dot(u, u), dot(v, v), dot(u, v)
    uw, vw = dot(u, w), dot(v, w)
    spread = uu * vv - uv * uv
    askew = spread > PARALLEL * uu * vv
    safe = np.where(askew, spread, 1.0)
    s, t = (uv * vw - vv * uw) / safe, (uu * vw - uv * uw) / safe
    within = askew & (s >= 0.0) & (s <= 1.0) & (t >= 0.0) & (t <= 1.0)
    across = w + s * u - t * v
    least = np.where(within, np.sqrt(dot(across, across)), np.inf)
    for point, start, end in ((a, c, d), (b, c, d), (c, a, b), (d, a, b)):
        least = np.minimum(least, point_distance(point, start, end))
    return np.asarray(least)


def point_distance(point: Floats, start: Floats, end: Floats) -> Floats:
    """Distance of points from the pieces start to end; points (3, ...), result (...), mm."""
    along = end - start
    length = dot(along, along)
    share = dot(point - start, along) / np.where(length > 0.0, length, 1.0)
    away = point - start - np.clip(share, 0.0, 1.0) * along
    return np.asarray(np.sqrt(dot(away, away)))

"""Points, chains of straight pieces and closed outlines in a plane.

Points are (n, 2), pieces are given by their starts and ends, (s, 2) each; all in mm.
"""

from __future__ import annotations

import numpy as np

from kinematics.arrays import Bools, Floats


def pieces(chain: Floats, *, closed: bool = False) -> tuple[Floats, Floats]:
    """Starts and ends of the pieces of a chain (k, 2): k - 1 of them, or k where it is closed."""
    if closed:
        return chain, np.roll(chain, -1, axis=0)
    return chain[:-1], chain[1:]


def distance_to(points: Floats, starts: Floats, ends: Floats) -> Floats:
    """Distance of each point to the nearest piece, (n,) mm."""
    along = ends - starts
    square = np.maximum(along[:, 0] ** 2 + along[:, 1] ** 2, 1e-300)
    x = points[:, None, 0] - starts[None, :, 0]
    y = points[:, None, 1] - starts[None, :, 1]
    share = np.clip((x * along[:, 0] + y * along[:, 1]) / square, 0.0, 1.0)
    return np.asarray(np.hypot(x - share * along[:, 0], y - share * along[:, 1]).min(axis=1))


def inside(points: Floats, outline: Floats) -> Bools:
    """Whether each point is inside a closed outline (k, 2), (n,): an odd number of crossings of a ray."""
    starts, ends = pieces(outline, closed=True)
    x, y = points[:, None, 0], points[:, None, 1]
    spans = (starts[:, 1] > y) != (ends[:, 1] > y)
    rise = ends[:, 1] - starts[:, 1]
    run = (ends[:, 0] - starts[:, 0]) / np.where(rise == 0.0, 1.0, rise)
    beyond = x < starts[:, 0] + (y - starts[:, 1]) * run
    return np.asarray((spans & beyond).sum(axis=1) % 2 == 1)


def crossings(start: Floats, end: Floats, starts: Floats, ends: Floats) -> Floats:
    """Where one piece crosses others: shares of its length between 0 and 1, in order.

    Pieces that lie along it do not count as crossing it.
    """
    along, other = end - start, ends - starts
    turn = along[0] * other[:, 1] - along[1] * other[:, 0]
    away = starts - start
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        here = (away[:, 0] * other[:, 1] - away[:, 1] * other[:, 0]) / turn
        there = (away[:, 0] * along[1] - away[:, 1] * along[0]) / turn
    met = (turn != 0.0) & (here >= 0.0) & (here <= 1.0) & (there >= 0.0) & (there <= 1.0)
    return np.sort(here[met])


def room_in_circle(points: Floats, centre: tuple[float, float], radius: float) -> Floats:
    """Distance of each point to a circle, (n,) mm, positive inside it."""
    return np.asarray(radius - np.hypot(points[:, 0] - centre[0], points[:, 1] - centre[1]))


def room_in_outline(points: Floats, outline: Floats) -> Floats:
    """Distance of each point to a closed outline (k, 2), (n,) mm, positive inside it."""
    gap = distance_to(points, *pieces(outline, closed=True))
    return np.where(inside(points, outline), gap, -gap)

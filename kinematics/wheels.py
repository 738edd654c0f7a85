"""How a wheel sits on its hub: bolt circle and bore, studs, room round the caliper, how far the tyre reaches.

Lengths in mm. A profile is a chain of points [y, radius] in a half-plane through the spindle: y runs inboard
from the face named, the radius is counted from the spindle.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from kinematics.arrays import Floats
from kinematics.plane import crossings, distance_to, inside, pieces

Profile = tuple[tuple[float, float], ...]

# Beyond every wheel, mm.
FAR = 1e4
# Thread of a wheel stud in its nut, in stud diameters: common practice, no source.
LEAST_ENGAGEMENT = 1.5
# Shoulder radius of a tyre as a share of its width: common practice, no source.
SHOULDER = 0.15


def bolt_misfit(studs: Floats, stud_circle: Floats, holes: Floats, hole_circle: Floats) -> Floats:
    """How far a hub's studs are from a wheel's holes, in diameter, mm.

    Both are spread evenly on their circles and turned to suit each other best; the figure is twice the
    distance of the worst stud from its nearest hole. With as many holes as studs, or a multiple of them,
    that is the difference of the circles' diameters. All arrays (n,); not-a-number where one is.
    """
    known = np.isfinite(studs) & np.isfinite(holes) & np.isfinite(stud_circle + hole_circle)
    n = np.where(known, np.rint(studs), 1.0).astype(np.int64)
    m = np.where(known, np.rint(holes), 1.0).astype(np.int64)
    common = np.lcm(n, m)
    # seen from their nearest holes the studs stand at lcm/m places, 1/lcm of a turn apart
    angle = (common // m - 1) * np.pi / common
    a, b = 0.5 * stud_circle, 0.5 * hole_circle
    gap = np.sqrt((a - b) ** 2 + 4.0 * a * b * np.sin(0.5 * angle) ** 2)
    return np.where(known, 2.0 * gap, np.nan)


@lru_cache(maxsize=4096)
def caliper_gap(barrel: Profile, caliper: Profile, outboard: float) -> float:
    """Least gap between a caliper and the wheel that turns round it, mm; negative where it fouls.

    ``barrel`` is the wheel's inside from the pad to the inboard rim, y from the wheel's mounting face;
    ``caliper`` is the caliper's outline, closed from its last point to its first, y from the hub face.
    The mounting face is ``outboard`` mm outboard of the hub face. Between spindle and first point the wheel
    is taken to be solid, inboard of the last point there is no wheel. Where it fouls the figure is minus the
    depth of the deepest corner.
    """
    inner = np.asarray(barrel) - [outboard, 0.0]
    outline = np.asarray(caliper, dtype=float)
    wall = np.vstack([[inner[0, 0], 0.0], inner, [inner[-1, 0], FAR]])
    free = np.vstack([wall, [FAR, FAR], [FAR, 0.0]])
    starts, ends = pieces(wall)
    edges = pieces(outline, closed=True)
    cut = [_between(a, b, starts, ends) for a, b in zip(*edges, strict=True)]
    places = np.vstack([outline, *cut])
    depths = [
        distance_to(places[~inside(places, free)], starts, ends),
        distance_to(wall[inside(wall, outline)], *edges),
    ]
    deepest = max((float(d.max()) for d in depths if d.size), default=0.0)
    if deepest > 0.0:
        return -deepest
    if any(crossings(a, b, starts, ends).size for a, b in zip(*edges, strict=True)):
        return 0.0
    return float(min(distance_to(outline, starts, ends).min(), distance_to(wall, *edges).min()))


def _between(start: Floats, end: Floats, starts: Floats, ends: Floats) -> Floats:
    """Middles of what the wall cuts one edge of the outline into, (k, 2): each is on one side of it."""
    cuts = np.concatenate([[0.0], crossings(start, end, starts, ends), [1.0]])
    if cuts.size == 2:
        return np.zeros((0, 2))
    middles = 0.5 * (cuts[1:] + cuts[:-1])
    return np.asarray(start + middles[:, None] * (end - start))


def tyre_reach(
    centre_y: Floats, spindle: Floats, width: Floats, diameter: Floats, shoulder: Floats
) -> Floats:
    """How far out a tyre reaches across the car, mm along y: the support function of its solid.

    The tyre is a cylinder about the spindle whose edges are rounded: a flat one, smaller by ``shoulder`` all
    round, with a ball of that radius rolled over it. ``spindle`` is its unit vector, (3, n); all else (n,).
    """
    radius = 0.5 * diameter - shoulder
    half = 0.5 * width - shoulder
    return np.asarray(
        centre_y + half * np.abs(spindle[1]) + radius * np.hypot(spindle[0], spindle[2]) + shoulder
    )

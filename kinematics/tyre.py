"""The rolling tyre on its rim as a solid, and its gap to what stands around it.

The tyre is a rounded cylinder: the solid of revolution about the spindle, through the wheel's centre, that a
ball of the shoulder's radius sweeps when its centre runs through a flat cylinder (the core). Its signed
distance is that of the core less the shoulder, closed form in the distance rho from the spindle's line and
the distance s outboard of the wheel's middle plane. It is convex, so the gap to a straight piece is the least
of a convex function of one number, and that to a half-space follows from the tyre's reach in one direction.

Where the radius of the rim's barrel is known the wheel is a ring, open inboard, into which ball joint, tie
rod and caliper reach: the core has a bore, a shoulder wider than the barrel, and the rim is everything
outside of the barrel's radius and outboard of the rim's inner edge, out to the bore. The wheel's centre and
spokes are not known. Where it is not known the wheel counts as solid.

Gaps are mm; negative is an overlap, and where a tube or half-space overlaps the tyre outside of the bore it
is how deep its deepest point lies. Other overlaps are only told by the sign. Straight pieces are good to
``GRAIN``, boxes that reach into the bore to ``CHORD``; all else is exact but for rounding. Obstacles are
looked at in any order: one is left out only where a bound proves that it cannot be nearer, so the least gap
has the same bits whichever comes first.

All hot code is in this one module, so that what is kept compiled never goes stale in parts.
"""

from __future__ import annotations

from math import cos, pi, sin, sqrt

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats, Ints, Marks
from kinematics.compiling import compiled

GRAIN = 1e-4  # mm, how well the nearest place of a straight piece is found
MARGIN = 1e-9  # mm, so that rounding never leaves out what is nearest
CHORD = 0.2  # mm, how far a circle may be from the points that stand for it
CHORDS = 90  # of a circle of up to 320 mm radius: 320 (1 - cos 2 deg) = 0.195
ON_THE_LINE = 1e-9  # mm^2: a squared distance from the spindle's line that is rounding, no more
BESIDE = 1e-7  # of half a piece: next to its place nearest to the spindle's line
EDGE_GRAIN = 1e-5  # mm^2, the same for half the squared distance to a circle
TURN_COS, TURN_SIN = cos(2.0 * pi / CHORDS), sin(2.0 * pi / CHORDS)
MOST_STEPS = 80

Triple = tuple[float, float, float]
# A straight piece about the wheel: see :func:`_along`
Line = tuple[float, float, float, float, float]
# DISC, HALF, SHOULDER, BORE, RIM, EDGE, see below
Wheel = tuple[float, float, float, float, float, float]

# Kinds of piece. A guard is a tube round several short pieces that follow it: where it is too far to matter
# so are they.
SEGMENT, PLANE, BOX, GUARD = 0, 1, 2, 3
BODY, ARM, KNUCKLE, STRUT, TIE_ROD = 0, 1, 2, 3, 4  # carriers
CARRIERS = 5
# Rows of the columns that place carriers, (PLACE_ROWS, n); see :func:`least_gaps`.
PIVOT = 0  # unit vector along the arm's pivots
STOCK_JOINT = 3  # the knuckle's ball joint, knuckle frame from the stock hub face
STRUT_SHIFT = (
    6  # where the origin of what sits on the strut has gone, from the ball joint, knuckle frame
)
STRUT_TURN = 9  # rotation of the strut in the knuckle, row by row
PLACE_ROWS = 18
# Entries of a wheel: radius and half width of the tyre's core, and the shoulder's radius; radius of the
# core's bore, the barrel's radius, and the rim's inner edge from the middle plane (bore -1: solid).
DISC, HALF, SHOULDER, BORE, RIM, EDGE = 0, 1, 2, 3, 4, 5
ENTRIES = 6


def wheels(
    diameter: Floats, width: Floats, loaded_radius: Floats, shoulder: Floats, growth: Floats,
    bulge: Floats, barrel_radius: Floats, rim_edge: Floats,
) -> Floats:  # fmt: skip
    """Entries (n, ENTRIES) of wheels with these measures, all (n,) mm.

    The outer radius is half the diameter and the half width half the section's width with ``bulge`` on each
    side; ``growth`` is laid on all round. Not-a-number asks for the default: a shoulder of 0.15 of the
    width, a bulge of half the deflection (half the diameter less the loaded radius, never negative). Both
    are common practice, no source. A shoulder larger than the tyre has room for is cut to what fits.
    ``rim_edge`` is from the wheel's middle plane inboard to the rim's inner edge; without a
    ``barrel_radius`` the wheel is solid.
    """
    radius = 0.5 * diameter
    out = np.where(np.isnan(bulge), 0.5 * np.maximum(radius - loaded_radius, 0.0), bulge)
    half = 0.5 * width + out
    rounding = np.where(np.isnan(shoulder), 0.15 * width, shoulder)
    rounding = np.minimum(rounding, np.minimum(half, radius))
    disc, swept = radius - rounding, rounding + growth
    known = np.isfinite(barrel_radius)
    bore = np.where(known, np.minimum(barrel_radius + swept, disc), -1.0)
    rim = np.where(known, barrel_radius, -1.0)
    return np.stack([disc, half - rounding, swept, bore, rim, rim_edge], axis=1)


@compiled
def _along(t: float, line: Line, disc: float, half: float) -> tuple[float, float]:
    """Signed distance to the core at t in [-1, 1] along a straight piece, and its slope in t.

    ``line`` (s, s', q, c, q'): from the wheel's centre the piece stands s + t s' along the spindle, and at
    a squared distance of q + 2 t c + t^2 q' from the spindle's line.
    """
    s_mid, s_half, square, cross, spread = line
    s = s_mid + t * s_half
    rho = sqrt(max(square + t * (2.0 * cross + t * spread), 0.0))
    over, side = rho - disc, abs(s) - half
    side_slope = s_half if s >= 0.0 else -s_half
    if side >= over and over <= 0.0:
        return side, side_slope
    rho_slope = (cross + t * spread) / rho if rho > 0.0 else 0.0
    if side <= 0.0:
        return over, rho_slope
    away = sqrt(over * over + side * side)
    return away, (over * rho_slope + side * side_slope) / away


@compiled
def _reversed(line: Line) -> Line:
    return line[0], -line[1], line[2], -line[3], line[4]


@compiled
def _part(line: Line, low: float, high: float) -> Line:
    """The part of a straight piece from t = low to t = high."""
    s_mid, s_half, square, cross, spread = line
    middle, wide = 0.5 * (low + high), 0.5 * (high - low)
    return (
        s_mid + middle * s_half,
        wide * s_half,
        square + middle * (2.0 * cross + middle * spread),
        wide * (cross + middle * spread),
        wide * wide * spread,
    )


@compiled
def _least_along(
    line: Line, f_low: float, g_low: float, disc: float, half: float, bar: float
) -> float:
    """Least signed distance from the core to a straight piece, to GRAIN; infinite where it is above ``bar``.

    ``f_low`` and ``g_low`` are distance and slope at the middle. The least of a convex function: its slope's
    sign brackets the place, tangents bound what is left.
    """
    if f_low - abs(g_low) > bar + MARGIN:
        return np.inf
    if g_low == 0.0:
        return f_low
    if g_low > 0.0:
        # turned end for end, so that the way down is always towards t = 1
        line, g_low = _reversed(line), -g_low
    low, high = 0.0, 1.0
    f_high, g_high = _along(1.0, line, disc, half)
    if g_high <= 0.0:
        return f_high
    w_low, w_high, moved = g_low, g_high, 0
    for _ in range(MOST_STEPS):
        best = min(f_low, f_high)
        # where the tangents at both ends meet: the function is nowhere below that
        floor = f_low + g_low * (f_high - f_low - g_high * (high - low)) / (g_low - g_high)
        if best - floor <= GRAIN:
            break
        if floor > bar + MARGIN:
            return np.inf
        # false position on the slope; an end that stays twice counts half (Dowell and Jarratt 1971)
        t = (low * w_high - high * w_low) / (w_high - w_low)
        if not low < t < high:
            t = 0.5 * (low + high)
        f, g = _along(t, line, disc, half)
        if g == 0.0:
            return f
        if g < 0.0:
            low, f_low, g_low, w_low = t, f, g, g
            w_high = 0.5 * w_high if moved < 0 else w_high
            moved = -1
        else:
            high, f_high, g_high, w_high = t, f, g, g
            w_low = 0.5 * w_low if moved > 0 else w_low
            moved = 1
    return min(f_low, f_high)


@compiled
def _room(t: float, line: Line, wall: float, edge: float) -> float:
    """Signed distance at t to what lies outside of the radius ``wall`` and outboard of -``edge``."""
    u = wall - sqrt(max(line[2] + t * (2.0 * line[3] + t * line[4]), 0.0))
    v = -edge - (line[0] + t * line[1])
    if u > 0.0 and v > 0.0:
        return sqrt(u * u + v * v)
    return max(u, v)


@compiled
def _edge_slope(t: float, line: Line, wall: float, edge: float) -> float:
    """Half the slope in t of the squared distance to the circle in which wall and edge meet."""
    s_mid, s_half, square, cross, spread = line
    rho = sqrt(max(square + t * (2.0 * cross + t * spread), 0.0))
    rho_slope = (cross + t * spread) / rho if rho > 0.0 else 0.0
    return (rho - wall) * rho_slope + (s_mid + t * s_half + edge) * s_half


@compiled
def _edge_place(
    low: float, high: float, down: float, up: float, line: Line, wall: float, edge: float
) -> float:
    """Where that slope comes through zero between two places with slopes ``down`` < 0 < ``up``.

    It only rises between them. False position; an end that stays twice counts half.
    """
    t, moved = low, 0
    for _ in range(MOST_STEPS):
        t = (low * up - high * down) / (up - down)
        if not low < t < high:
            t = 0.5 * (low + high)
        slope = _edge_slope(t, line, wall, edge)
        if abs(slope) * (high - low) <= EDGE_GRAIN:
            break
        if slope < 0.0:
            low, down = t, slope
            up = 0.5 * up if moved < 0 else up
            moved = -1
        else:
            high, up = t, slope
            down = 0.5 * down if moved > 0 else down
            moved = 1
    return t


@compiled
def _least_room(line: Line, low: float, high: float, wall: float, edge: float) -> float:
    """Least of :func:`_room` between two places of a straight piece.

    Where it is positive it lies at an end, where the piece passes the edge's plane or the wall, or where the
    distance to the circle of the edge stands still; each is looked at.
    """
    s_mid, s_half, square, cross, spread = line
    least = min(_room(low, line, wall, edge), _room(high, line, wall, edge))
    first, last = low, high  # where the piece is inboard of the edge
    if s_half != 0.0:
        t = (-edge - s_mid) / s_half
        if low < t < high:
            least = min(least, _room(t, line, wall, edge))
        if s_half > 0.0:
            last = min(t, high)
        else:
            first = max(t, low)
    elif s_mid >= -edge:
        last = first
    if spread <= 0.0 or first >= last:
        return least
    nearest = -cross / spread  # to the spindle's line
    inmost = max(square + cross * nearest, 0.0)  # squared distance there
    reach = (wall * wall - inmost) / spread
    if reach > 0.0:
        root = sqrt(reach)
        for t in (nearest - root, nearest + root):
            if low < t < high:
                least = min(least, max(-edge - s_mid - t * s_half, 0.0))
    # half the slope's own slope is |d|^2 - wall spread inmost / rho^3; where that is negative, within
    # ``flat`` of ``nearest``, no place of standing still is a least
    close = min(max(nearest, first), last)
    square_there = square + close * (2.0 * cross + close * spread)
    falls, rises = wall * spread * inmost, spread + s_half * s_half
    if square_there > ON_THE_LINE and falls <= rises * square_there * sqrt(square_there):
        return min(least, _least_standing(line, first, last, wall, edge))
    rho = (falls / rises) ** (1.0 / 3.0)
    # where a piece crosses the spindle's line there is a ridge, which has a slope beside it alone
    flat = max(sqrt(max(rho * rho - inmost, 0.0) / spread), BESIDE)
    before = _least_standing(line, first, min(nearest - flat, last), wall, edge)
    after = _least_standing(line, max(nearest + flat, first), last, wall, edge)
    return min(least, before, after)


@compiled
def _least_standing(line: Line, low: float, high: float, wall: float, edge: float) -> float:
    """Distance to the edge's circle where it stands still between two places, infinite if nowhere."""
    if low >= high:
        return np.inf
    down, up = _edge_slope(low, line, wall, edge), _edge_slope(high, line, wall, edge)
    if down < 0.0 < up:
        return _room(_edge_place(low, high, down, up, line, wall, edge), line, wall, edge)
    return np.inf


@compiled
def _inside(radius: float, line: Line) -> tuple[float, float]:
    """From which t to which a straight piece is within a radius of the spindle's line; else 1 to -1."""
    square, cross, spread = line[2], line[3], line[4]
    if spread <= 0.0:
        return (-1.0, 1.0) if square < radius * radius else (1.0, -1.0)
    under = cross * cross - spread * (square - radius * radius)
    if under <= 0.0:
        return 1.0, -1.0
    root = sqrt(under)
    return max((-cross - root) / spread, -1.0), min((-cross + root) / spread, 1.0)


@compiled
def _one_ring(line: Line, wheel: Wheel, is_rod: bool, bar: float) -> float:
    """Signed distance from the wheel to a straight piece; infinite where it is above ``bar``.

    What is outside of the bore keeps off the convex tyre, what is inside off the bore's rounded edge and off
    the rim. Within the barrel's radius a tie rod is judged elsewhere (rod_clearance).
    """
    disc, half, shoulder, bore, rim, edge = wheel
    middle, slope = _along(0.0, line, disc, half)
    if middle - abs(slope) - shoulder > bar + MARGIN:
        return np.inf
    low, high = 1.0, -1.0
    if bore > 0.0:
        low, high = _inside(bore, line)
    if low >= high:
        return _least_along(line, middle, slope, disc, half, bar + shoulder) - shoulder
    least = np.inf
    for start, end in ((-1.0, low), (high, 1.0)):
        if start < end:
            part = _part(line, start, end)
            f, g = _along(0.0, part, disc, half)
            lower = min(bar, least) + shoulder
            least = min(least, _least_along(part, f, g, disc, half, lower) - shoulder)
    if not is_rod:
        rounded = _least_room(line, low, high, bore, half) - shoulder
        return min(least, rounded, _least_room(line, low, high, rim, edge))
    inner, outer = _inside(rim, line)
    if inner >= outer:
        inner, outer = high, high
    for start, end in ((low, inner), (outer, high)):
        if start < end:
            least = min(least, _least_room(line, start, end, bore, half) - shoulder)
    return least


@compiled
def _flange(wheel: Wheel) -> Wheel:
    """The rim as a ring of its own, out to the bore: it counts where it stands out beside a narrow tyre."""
    _, _, _, bore, rim, edge = wheel
    return bore, edge, 0.0, rim, rim, edge


@compiled
def _stands_out(wheel: Wheel) -> bool:
    return wheel[BORE] > 0.0 and wheel[EDGE] > wheel[HALF] + wheel[SHOULDER]


@compiled
def _ring_distance(line: Line, wheel: Wheel, is_rod: bool, bar: float) -> float:
    """Tyre and rim: see :func:`_one_ring`."""
    gap = _one_ring(line, wheel, is_rod, bar)
    if _stands_out(wheel):
        gap = min(gap, _one_ring(line, _flange(wheel), is_rod, bar))
    return gap


@compiled
def _bound(line: Line, wheel: Wheel) -> float:
    """What a straight piece's signed distance to the wheel surely reaches, by its middle's tangent."""
    middle, slope = _along(0.0, line, wheel[DISC], wheel[HALF])
    least = middle - abs(slope) - wheel[SHOULDER]
    if _stands_out(wheel):
        middle, slope = _along(0.0, line, wheel[BORE], wheel[EDGE])
        least = min(least, middle - abs(slope))
    return least


@compiled
def _line(a: Triple, b: Triple, centre: Triple, spindle: Triple) -> Line:
    """The straight line from a to b as :func:`_along` takes it."""
    m0, m1, m2 = 0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1]), 0.5 * (a[2] + b[2])
    d0, d1, d2 = b[0] - m0, b[1] - m1, b[2] - m2
    m0, m1, m2 = m0 - centre[0], m1 - centre[1], m2 - centre[2]
    s_mid = m0 * spindle[0] + m1 * spindle[1] + m2 * spindle[2]
    s_half = d0 * spindle[0] + d1 * spindle[1] + d2 * spindle[2]
    # what is left of both square to the spindle
    m0, m1, m2 = m0 - s_mid * spindle[0], m1 - s_mid * spindle[1], m2 - s_mid * spindle[2]
    d0, d1, d2 = d0 - s_half * spindle[0], d1 - s_half * spindle[1], d2 - s_half * spindle[2]
    square, spread = m0 * m0 + m1 * m1 + m2 * m2, d0 * d0 + d1 * d1 + d2 * d2
    return s_mid, s_half, square, m0 * d0 + m1 * d1 + m2 * d2, spread


@compiled
def _reach(along: float, disc: float, half: float) -> float:
    """How far the core reaches in a direction whose share along the spindle is ``along``."""
    return disc * sqrt(max(1.0 - along * along, 0.0)) + half * abs(along)


@compiled
def _met_by_face(axis: int, c: Triple, u: Triple, size: Triple, wheel: Wheel) -> bool:
    """Whether a face of a box that looks at the wheel's centre has the wheel's nearest point over it.

    Where the wheel is past the face's plane: whether it goes through the face. That is asked where the way
    from its furthest point, inward, comes back through the plane, if it is still in the wheel there.
    """
    disc, half, shoulder, bore, _, _ = wheel
    toward = -1.0 if c[axis] > 0.0 else 1.0
    level = sqrt(max(1.0 - u[axis] * u[axis], 0.0))
    outside = abs(c[axis]) - size[axis]
    side = 0.0
    if u[axis] != 0.0:
        side = half if toward * u[axis] > 0.0 else -half
    reach = _reach(u[axis], disc, half) + shoulder
    share, radial = 1.0, disc
    if outside < reach and bore > 0.0:
        radial = (outside - abs(side * u[axis]) - shoulder) / level if level > 0.0 else 0.0
        if radial < bore:
            return False
    elif outside < reach:
        share = outside / reach
    over = True
    for other in range(3):
        if other != axis:
            tip = side * u[other]
            if level > 0.0:
                tip -= radial * toward * u[axis] * u[other] / level
            over = over and abs(c[other] + share * tip) <= size[other]
    return over


@compiled
def _circle_to_box(c: Triple, u: Triple, size: Triple, radius: float, inboard: float) -> float:
    """Distance from a circle about the spindle to a box, too small by CHORD at most; 0 inside."""
    # p and q, two axes square to the spindle
    low = 0
    for axis in range(1, 3):
        if abs(u[axis]) < abs(u[low]):
            low = axis
    one, two = (low + 1) % 3, (low + 2) % 3
    level = sqrt(u[one] * u[one] + u[two] * u[two])
    p_one, p_two = -u[two] / level, u[one] / level
    q_low, q_one, q_two = level, -u[low] * u[one] / level, -u[low] * u[two] / level
    m_low, m_one, m_two = (
        c[low] - inboard * u[low],
        c[one] - inboard * u[one],
        c[two] - inboard * u[two],
    )
    least = np.inf
    x, y = radius, 0.0
    for _ in range(CHORDS):
        out_low = max(abs(m_low + y * q_low) - size[low], 0.0)
        out_one = max(abs(m_one + x * p_one + y * q_one) - size[one], 0.0)
        out_two = max(abs(m_two + x * p_two + y * q_two) - size[two], 0.0)
        least = min(least, out_low * out_low + out_one * out_one + out_two * out_two)
        x, y = x * TURN_COS - y * TURN_SIN, y * TURN_COS + x * TURN_SIN
    return max(sqrt(least) - CHORD, 0.0)


@compiled
def _box_edges(c: Triple, u: Triple, size: Triple, wheel: Wheel, bar: float) -> float:
    """Least signed distance from the wheel to the twelve edges of a box."""
    edges = np.inf
    for axis in range(3):
        one, two = (axis + 1) % 3, (axis + 2) % 3
        for corner in range(4):
            mid_one = size[one] * (1.0 if corner % 2 else -1.0) - c[one]
            mid_two = size[two] * (1.0 if corner // 2 else -1.0) - c[two]
            s_mid = mid_one * u[one] + mid_two * u[two] - c[axis] * u[axis]
            s_half = size[axis] * u[axis]
            square = c[axis] * c[axis] + mid_one * mid_one + mid_two * mid_two - s_mid * s_mid
            cross = -c[axis] * size[axis] - s_mid * s_half
            spread = size[axis] * size[axis] - s_half * s_half
            line = (s_mid, s_half, max(square, 0.0), cross, max(spread, 0.0))
            edge = _one_ring(line, wheel, False, bar)
            edges = min(edges, edge)
    return edges


@compiled
def _one_box(c: Triple, u: Triple, size: Triple, wheel: Wheel, bar: float) -> float:
    """Gap to a box about the origin with half sides ``size``; wheel centre c, spindle u in the box's axes.

    A face decides where the tyre's nearest point to its plane lies over the face itself, else an edge does,
    or, inside a bore, a circle in which the wheel's inner surfaces meet. Infinite where it is above ``bar``.
    """
    disc, half, shoulder, bore, rim, edge = wheel
    s = -(c[0] * u[0] + c[1] * u[1] + c[2] * u[2])
    hollow = bore > 0.0
    overlaps, deepest = not hollow, -np.inf  # a solid wheel does until its centre is found outside
    for axis in range(3):
        outside = abs(c[axis]) - size[axis]
        deepest = max(deepest, outside - _reach(u[axis], disc, half) - shoulder)
        overlaps = overlaps and outside <= 0.0
    # planes between both, square to the box's axes or to the spindle, bound the gap
    wide = size[0] * abs(u[0]) + size[1] * abs(u[1]) + size[2] * abs(u[2])
    if max(deepest, abs(s) - half - shoulder - wide) > max(bar, 0.0) + MARGIN:
        return np.inf
    for axis in range(3):
        outside = abs(c[axis]) - size[axis]
        if outside > 0.0 and _met_by_face(axis, c, u, size, wheel):
            gap = outside - _reach(u[axis], disc, half) - shoulder
            if gap >= 0.0 and (not hollow or abs(u[axis]) < 1.0):
                return gap
            overlaps = overlaps or gap < 0.0
    # an edge that is in the tyre is always looked at, whatever is asked: it tells of overlap
    edges = _box_edges(c, u, size, wheel, max(bar, 0.0))
    if hollow:
        far = sqrt(size[0] * size[0] + size[1] * size[1] + size[2] * size[2]) + max(bar, 0.0)
        rho = sqrt(max(c[0] * c[0] + c[1] * c[1] + c[2] * c[2] - s * s, 0.0))
        for radius, inboard, around in ((bore, half, shoulder), (rim, edge, 0.0)):
            away = sqrt((rho - radius) * (rho - radius) + (s + inboard) * (s + inboard))
            if away - around - CHORD <= far + MARGIN:
                edges = min(edges, _circle_to_box(c, u, size, radius, inboard) - around)
    if overlaps or edges <= 0.0:
        return min(edges, deepest, 0.0)
    return edges


@compiled
def _box_gap(c: Triple, u: Triple, size: Triple, wheel: Wheel, bar: float) -> float:
    """Tyre and rim: see :func:`_one_box`."""
    gap = _one_box(c, u, size, wheel, bar)
    if _stands_out(wheel):
        return min(gap, _one_box(c, u, size, _flange(wheel), bar))
    return gap


# What follows is called for every piece at every state: numbers and triples pass between functions, and one
# array at most, because each array that is passed costs as much as the work on it.


@compiled
def _dot(a: Triple, b: Triple) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@compiled
def _cross(a: Triple, b: Triple) -> Triple:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@compiled
def _from_to(a: Triple, b: Triple) -> Triple:
    return b[0] - a[0], b[1] - a[1], b[2] - a[2]


@compiled
def _state(rows: Floats, first: int, state: int, lane: int) -> Triple:
    return rows[first, state, lane], rows[first + 1, state, lane], rows[first + 2, state, lane]


@compiled
def _column(rows: Floats, first: int, lane: int) -> Triple:
    return rows[first, lane], rows[first + 1, lane], rows[first + 2, lane]


@compiled
def _own(values: Floats, piece: int, row: int) -> Triple:
    return values[piece, row, 0], values[piece, row, 1], values[piece, row, 2]


@compiled
def _along_axes(frames: Floats, n: int, p: Triple) -> Triple:
    """A direction in a carrier's axes, in body axes."""
    return (
        frames[n, 1, 0] * p[0] + frames[n, 2, 0] * p[1] + frames[n, 3, 0] * p[2],
        frames[n, 1, 1] * p[0] + frames[n, 2, 1] * p[1] + frames[n, 3, 1] * p[2],
        frames[n, 1, 2] * p[0] + frames[n, 2, 2] * p[1] + frames[n, 3, 2] * p[2],
    )


@compiled
def _in_body(frames: Floats, n: int, p: Triple) -> Triple:
    """A point in a carrier's axes, in body axes."""
    x, y, z = _along_axes(frames, n, p)
    return frames[n, 0, 0] + x, frames[n, 0, 1] + y, frames[n, 0, 2] + z


@compiled
def _set_frame(frames: Floats, n: int, origin: Triple, x: Triple, y: Triple, z: Triple) -> None:
    """Place a carrier: where its origin stands, and its axes."""
    for i in range(3):
        frames[n, 0, i] = origin[i]
        frames[n, 1, i] = x[i]
        frames[n, 2, i] = y[i]
        frames[n, 3, i] = z[i]


@compiled
def _place_knuckle(frames: Floats, x: Triple, y: Triple, ball: Triple, joint: Triple) -> None:
    """The knuckle, whose origin is where the middle of the stock hub face would be."""
    _set_frame(frames, KNUCKLE, ball, x, y, _cross(x, y))
    moved = _along_axes(frames, KNUCKLE, joint)
    for i in range(3):
        frames[KNUCKLE, 0, i] -= moved[i]


@compiled
def _place_strut(
    frames: Floats, ball: Triple, shift: Triple, one: Triple, two: Triple, three: Triple
) -> None:
    """What sits on the strut, turned and shifted in the knuckle as the sliding axis is; rows of the turn."""
    x = _along_axes(frames, KNUCKLE, (one[0], two[0], three[0]))
    y = _along_axes(frames, KNUCKLE, (one[1], two[1], three[1]))
    z = _along_axes(frames, KNUCKLE, (one[2], two[2], three[2]))
    moved = _along_axes(frames, KNUCKLE, shift)
    _set_frame(frames, STRUT, (ball[0] + moved[0], ball[1] + moved[1], ball[2] + moved[2]), x, y, z)


@compiled
def _place_arm(frames: Floats, t: float, p: Triple, centre: Triple) -> None:
    """The arm, turned about its pivots by Rodrigues' rotation; t is the tangent of half the angle."""
    q = 1.0 / (1.0 + t * t)
    c, s = (1.0 - t * t) * q, 2.0 * t * q
    r = 1.0 - c
    x = (c + p[0] * p[0] * r, p[1] * p[0] * r + p[2] * s, p[2] * p[0] * r - p[1] * s)
    y = (p[0] * p[1] * r - p[2] * s, c + p[1] * p[1] * r, p[2] * p[1] * r + p[0] * s)
    z = (p[0] * p[2] * r + p[1] * s, p[1] * p[2] * r - p[0] * s, c + p[2] * p[2] * r)
    _set_frame(frames, ARM, centre, x, y, z)
    moved = _along_axes(frames, ARM, centre)
    for i in range(3):
        frames[ARM, 0, i] -= moved[i]


@compiled
def _place_rod(frames: Floats, inner: Triple, outer: Triple) -> None:
    """The tie rod: x along it outward, y level; its origin is the inner joint."""
    d = _from_to(inner, outer)
    length = sqrt(_dot(d, d))
    x = (d[0] / length, d[1] / length, d[2] / length)
    level = sqrt(x[0] * x[0] + x[1] * x[1])
    y = (-x[1] / level, x[0] / level, 0.0)
    _set_frame(frames, TIE_ROD, inner, x, y, _cross(x, y))


@compiled
def _wheel(wheels: Floats, n: int) -> Wheel:
    return (
        wheels[n, DISC], wheels[n, HALF], wheels[n, SHOULDER],
        wheels[n, BORE], wheels[n, RIM], wheels[n, EDGE],
    )  # fmt: skip


@compiled
def _plane_gap(away: Triple, normal: Triple, spindle: Triple, wheel: Wheel) -> float:
    """Gap to the half-space behind a point; ``away`` leads from it to the wheel's centre."""
    along = _dot(normal, spindle)
    reach = _reach(along, wheel[DISC], wheel[HALF]) + wheel[SHOULDER]
    if _stands_out(wheel):
        reach = max(reach, _reach(along, wheel[BORE], wheel[EDGE]))
    return _dot(normal, away) - reach


@compiled
def _named(points: Floats, name: int, row: int, lane: int) -> Triple:
    return points[0, name, row, lane], points[1, name, row, lane], points[2, name, row, lane]


@compiled
def least_gaps(
    raw: Floats, marks: Marks, geometry: Floats, rack: Floats, place: Floats, wheels: Floats,
    kinds: Ints, carriers: Ints, named: Ints, ends: Floats, axes: Floats, sizes: Floats,
    radii: Floats, runs: Ints, rods: Ints, used: Ints, points: Floats,
    rim_alone: bool, gaps: Floats, nearest: Ints,
) -> None:  # fmt: skip
    """Least gap of the tyre to p pieces at every state of every lane.

    Args:
        raw, marks: solved states, (STATE_ROWS, s, n) and (s, n).
        geometry: (GEOMETRY_ROWS, n); rack: (s, n) mm along +y of this left-hand corner.
        place: (PLACE_ROWS, n), what places the carriers; wheels: (n, ENTRIES).
        kinds: (p,); carriers, named: (p, 2), of each end: its carrier, and its row in ``points`` or -1.
        ends: (p, 2, 3) mm in the carrier's axes as measured, used where an end has no name.
        axes: (p, 3, 3), rows are a box's axes, the first is a plane's normal, in the second end's carrier.
        sizes: (p, 3), a box's half sides; radii: (p,) of tubes.
        runs: (p,), how many pieces a guard stands for; rods: (p,), 1 for the tie rod's pieces.
        used: (CARRIERS,), 1 where a carrier has to be placed.
        points: (3, m, s or 1, n), hard points that move with parts, in their carrier's axes; a row for each
            state where some of them move with the state.
        rim_alone: gap of the pieces, all of them tubes, to the inside of the rim instead.
        gaps, nearest: (s, n) results: mm, and the piece's number; not-a-number and -1 where not reached.
    """
    frames = np.zeros((CARRIERS, 4, 3))
    for i in range(3):
        frames[BODY, 1 + i, i] = 1.0
    pieces, lanes = kinds.shape[0], raw.shape[2]
    last = np.zeros(lanes, dtype=np.int64)
    for state in range(raw.shape[1]):
        row = state if points.shape[2] > 1 else 0
        for lane in range(lanes):
            wheel = _wheel(wheels, lane)
            if marks[state, lane] != k.REACHED or (rim_alone and wheel[RIM] <= 0.0):
                gaps[state, lane] = np.nan
                nearest[state, lane] = -1
                continue
            centre = _state(raw, k.CENTRE, state, lane)
            spindle = _state(raw, k.SPINDLE, state, lane)
            if used[KNUCKLE] or used[STRUT]:
                ball = _state(raw, k.BALL_JOINT, state, lane)
                forward = _state(raw, k.FORWARD, state, lane)
                _place_knuckle(frames, forward, spindle, ball, _column(place, STOCK_JOINT, lane))
                if used[STRUT]:
                    _place_strut(
                        frames,
                        ball,
                        _column(place, STRUT_SHIFT, lane),
                        _column(place, STRUT_TURN, lane),
                        _column(place, STRUT_TURN + 3, lane),
                        _column(place, STRUT_TURN + 6, lane),
                    )
            if used[ARM]:
                pivot = _column(place, PIVOT, lane)
                middle = _column(geometry, k.CIRCLE_CENTRE, lane)
                _place_arm(frames, raw[k.ARM_T, state, lane], pivot, middle)
            if used[TIE_ROD]:
                at = _column(geometry, k.RACK_END, lane)
                inner = (at[0], at[1] + rack[state, lane], at[2])
                _place_rod(frames, inner, _state(raw, k.ROD_OUTER, state, lane))
            least, winner = np.inf, -1
            # what was nearest in the state before is looked at first: most others then fall away
            turn, piece = -1, last[lane]
            while True:
                n, name = carriers[piece, 0], named[piece, 0]
                at = (
                    _own(ends, piece, 0)
                    if name < 0
                    else (
                        points[0, name, row, lane],
                        points[1, name, row, lane],
                        points[2, name, row, lane],
                    )
                )
                one = _in_body(frames, n, at)
                n, name, skip = carriers[piece, 1], named[piece, 1], 0
                if kinds[piece] in (SEGMENT, GUARD):
                    at = (
                        _own(ends, piece, 1)
                        if name < 0
                        else (
                            points[0, name, row, lane],
                            points[1, name, row, lane],
                            points[2, name, row, lane],
                        )
                    )
                    line = _line(one, _in_body(frames, n, at), centre, spindle)
                    gap = np.inf
                    if kinds[piece] == GUARD:
                        # the rim alone reaches further out than the tyre, for which the bound is
                        if not rim_alone and _bound(line, wheel) - radii[piece] > least + MARGIN:
                            skip = runs[piece]
                    elif rim_alone:
                        gap = _least_room(line, -1.0, 1.0, wheel[RIM], wheel[EDGE]) - radii[piece]
                    else:
                        is_rod = rods[piece] == 1
                        gap = _ring_distance(line, wheel, is_rod, least + radii[piece])
                        gap -= radii[piece]
                elif kinds[piece] == PLANE:
                    normal = _along_axes(frames, n, _own(axes, piece, 0))
                    gap = _plane_gap(_from_to(one, centre), normal, spindle, wheel)
                else:
                    away = _from_to(one, centre)
                    x = _along_axes(frames, n, _own(axes, piece, 0))
                    y = _along_axes(frames, n, _own(axes, piece, 1))
                    z = _along_axes(frames, n, _own(axes, piece, 2))
                    c = (_dot(x, away), _dot(y, away), _dot(z, away))
                    u = (_dot(x, spindle), _dot(y, spindle), _dot(z, spindle))
                    size = (sizes[piece, 0], sizes[piece, 1], sizes[piece, 2])
                    gap = _box_gap(c, u, size, wheel, least)
                if gap < least or (gap == least and piece < winner):
                    least, winner = gap, piece
                turn += 1 + skip
                if turn == last[lane]:
                    turn += 1
                if turn >= pieces:
                    break
                piece = turn
            gaps[state, lane] = least
            nearest[state, lane] = winner
            last[lane] = max(winner, 0)


# More kinds for single poses: a tie rod's tube, and a tube against the rim alone.
ROD_TUBE, BARREL = 4, 5


@compiled
def _row(rows: Floats, n: int) -> Triple:
    return rows[n, 0], rows[n, 1], rows[n, 2]


@compiled
def _pose_gaps(
    kind: int, centres: Floats, spindles: Floats, wheels: Floats, a: Floats, b: Floats,
    size: Floats, radius: Floats, out: Floats,
) -> None:  # fmt: skip
    for n in range(out.shape[0]):
        wheel, centre, spindle = _wheel(wheels, n), _row(centres, n), _row(spindles, n)
        one, two = _row(a, n), _row(b, n)
        if kind == PLANE:
            out[n] = _plane_gap(_from_to(one, centre), two, spindle, wheel)
        elif kind == BOX:
            out[n] = _box_gap(_from_to(one, centre), spindle, _row(size, n), wheel, np.inf)
        elif kind == BARREL:
            line = _line(one, two, centre, spindle)
            out[n] = _least_room(line, -1.0, 1.0, wheel[RIM], wheel[EDGE]) - radius[n]
        else:
            line = _line(one, two, centre, spindle)
            gap = _ring_distance(line, wheel, kind == ROD_TUBE, np.inf)
            out[n] = gap - radius[n]


def gaps_to_capsules(
    centre: Floats, spindle: Floats, wheel: Floats, a: Floats, b: Floats, radius: Floats,
    *, is_rod: bool = False,
) -> Floats:  # fmt: skip
    """Gaps (n,) mm of n poses of a wheel to tubes with round ends.

    Args:
        centre, spindle: (n, 3), the wheel's centre in mm and the unit vector outward along its spindle.
        wheel: (n, ENTRIES) from :func:`wheels`.
        a, b: (n, 3), both ends of each tube's middle line; radius: (n,).
        is_rod: whether the tubes are tie rods, whose part within the barrel's radius is judged elsewhere.
    """
    kind = ROD_TUBE if is_rod else SEGMENT
    return _poses(kind, centre, spindle, wheel, a, b, np.zeros((1, 3)), radius)


def gaps_to_barrel(
    centre: Floats, spindle: Floats, wheel: Floats, a: Floats, b: Floats, radius: Floats
) -> Floats:
    """Gaps (n,) mm of tubes to the inside of the rim alone; arguments as in :func:`gaps_to_capsules`."""
    return _poses(BARREL, centre, spindle, wheel, a, b, np.zeros((1, 3)), radius)


def gaps_to_planes(
    centre: Floats, spindle: Floats, wheel: Floats, point: Floats, normal: Floats
) -> Floats:
    """Gaps (n,) mm to half-spaces behind a point (n, 3), unit normals (n, 3) towards the free side."""
    return _poses(PLANE, centre, spindle, wheel, point, normal, np.zeros((1, 3)), np.zeros(1))


def gaps_to_boxes(
    centre: Floats, spindle: Floats, wheel: Floats, middle: Floats, half_sides: Floats
) -> Floats:
    """Gaps (n,) mm to boxes along the axes: their middles and half sides, (n, 3) mm."""
    return _poses(BOX, centre, spindle, wheel, middle, middle, half_sides, np.zeros(1))


def _poses(
    kind: int, centre: Floats, spindle: Floats, wheel: Floats, a: Floats, b: Floats, size: Floats,
    radius: Floats,
) -> Floats:  # fmt: skip
    out = np.empty(centre.shape[0])
    _pose_gaps(kind, centre, spindle, wheel, a, b, size, radius, out)
    return out

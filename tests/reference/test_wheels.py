"""Wheels on hubs: by hand geometry, by trying every clocking, and by shapely, a general geometry library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull
from shapely import LineString, Point, Polygon

from kinematics.arrays import Floats
from kinematics.plane import room_in_circle, room_in_outline
from kinematics.wheels import Profile, bolt_misfit, caliper_gap, tyre_reach


def misfit(studs: float, stud_circle: float, holes: float, hole_circle: float) -> float:
    values = (np.array([v]) for v in (studs, stud_circle, holes, hole_circle))
    return float(bolt_misfit(*values)[0])


@pytest.mark.parametrize(
    ("hub", "wheel", "expected"),
    [
        ((4, 100), (4, 100), 0.0),
        ((4, 100), (4, 98), 2.0),  # the difference of the circles, by hand
        ((5, 112), (10, 112), 0.0),  # drilled twice as often: every stud finds a hole
        ((4, 114.3), (8, 114.3), 0.0),
        # [D] five studs, four holes, one circle: at best the worst two stand 36 deg from their holes
        ((5, 100), (4, 100), 4 * 50 * np.sin(np.radians(18))),
        ((4, 100), (5, 100), 2 * np.sqrt(2 * 50**2 * (1 - np.cos(np.radians(27))))),
    ],
)
def test_bolt_circles_by_hand(
    hub: tuple[float, float], wheel: tuple[float, float], expected: float
) -> None:
    assert misfit(*hub, *wheel) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("studs", "holes"), [(n, m) for n in range(3, 9) for m in range(3, 11)])
def test_bolt_circles_against_every_clocking(studs: int, holes: int) -> None:
    """The wheel is turned by a hundredth of a degree at a time; each stud's nearest hole is looked for."""
    a, b = 54.0, 50.0
    stud = np.exp(2j * np.pi * np.arange(studs) / studs) * a
    hole = np.exp(2j * np.pi * np.arange(holes) / holes) * b
    turns = np.exp(1j * np.radians(np.arange(0.0, 360.0 / holes, 0.01)))
    gaps = np.abs(stud[None, :, None] - turns[:, None, None] * hole[None, None, :])
    best = 2.0 * gaps.min(axis=2).max(axis=1).min()
    found = misfit(studs, 2 * a, holes, 2 * b)
    assert found <= best + 1e-9
    assert found == pytest.approx(best, abs=0.01)


BARREL: Profile = ((0.0, 70.0), (-14.0, 90.0), (-14.0, 140.0), (6.0, 168.0), (120.0, 176.0))


def test_a_corner_under_a_level_barrel_by_hand() -> None:
    """Barrel of radius 170 from y -30 to 120, caliper up to 163.5: 6.5 mm; its face 12 mm from the spokes."""
    barrel = ((-30.0, 60.0), (-30.0, 170.0), (120.0, 170.0))
    caliper = ((-18.0, 100.0), (-18.0, 163.5), (60.0, 163.5), (60.0, 100.0))
    assert caliper_gap(barrel, caliper, 0.0) == pytest.approx(6.5)
    lower = ((-18.0, 100.0), (-18.0, 150.0), (60.0, 150.0), (60.0, 100.0))
    assert caliper_gap(barrel, lower, 0.0) == pytest.approx(12.0)
    # a spacer of 5 mm takes the spokes 5 mm away
    assert caliper_gap(barrel, lower, 5.0) == pytest.approx(17.0)
    # and 3 mm of the caliper in the barrel are 3 mm
    fouling = ((-18.0, 100.0), (-18.0, 173.0), (60.0, 173.0), (60.0, 100.0))
    assert caliper_gap(barrel, fouling, 0.0) == pytest.approx(-3.0)


def test_a_slanted_wall_by_hand() -> None:
    """[D] A wall at 45 deg through (0, 100) and (100, 200), a corner at (40, 120): 20 / sqrt 2."""
    barrel = ((-50.0, 50.0), (100.0, 200.0))
    caliper = ((40.0, 120.0), (60.0, 110.0), (50.0, 90.0))
    assert caliper_gap(barrel, caliper, 0.0) == pytest.approx(20.0 / np.sqrt(2.0))


def test_where_the_wheel_meets_the_caliper_between_its_corners_it_fouls() -> None:
    """A spoke's nose goes 4 mm into the straight side of the caliper, whose own corners are all clear."""
    barrel = ((0.0, 60.0), (-40.0, 80.0), (-16.0, 120.0), (-40.0, 160.0), (120.0, 176.0))
    caliper = ((-20.0, 90.0), (-20.0, 150.0), (60.0, 150.0), (60.0, 90.0))
    assert caliper_gap(barrel, caliper, 0.0) < 0.0
    # the nose's own corner is 4 mm in, which is the deepest
    assert caliper_gap(barrel, caliper, 0.0) == pytest.approx(-4.0)
    assert caliper_gap(barrel, caliper, 4.5) > 0.0


def shapely_gap(barrel: Profile, caliper: Profile, outboard: float) -> float:
    """The same by shapely: the caliper's outline as a polygon against all that is not free for it."""
    wheel = np.array(barrel) - [outboard, 0.0]
    wall = [(wheel[0, 0], 0.0), *map(tuple, wheel), (wheel[-1, 0], 5000.0)]
    free = Polygon([*wall, (5000.0, 5000.0), (5000.0, 0.0)])
    body = Polygon(caliper)
    return float(body.distance(LineString(wall))) if free.contains(body) else -np.inf


OUTLINES = st.lists(
    st.tuples(st.floats(-40.0, 130.0), st.floats(60.0, 190.0)), min_size=3, max_size=7
)


def hull(points: list[tuple[float, float]]) -> Profile:
    """Corners of the points' convex hull in order: an outline that does not cross itself."""
    there = np.array(points)
    assume(np.linalg.matrix_rank(there - there[0], tol=5.0) == 2)
    corners = there[ConvexHull(there).vertices]
    return tuple((float(y), float(r)) for y, r in corners)


@settings(max_examples=120, deadline=None)
@given(OUTLINES, st.floats(0.0, 25.0))
def test_gap_against_shapely(points: list[tuple[float, float]], outboard: float) -> None:
    caliper = hull(points)
    found, expected = caliper_gap(BARREL, caliper, outboard), shapely_gap(BARREL, caliper, outboard)
    if abs(found) > 1e-9:
        assert (found > 0.0) == (expected > 0.0)
    if found > 0.0:
        assert found == pytest.approx(expected, abs=1e-9)


@settings(max_examples=150, deadline=None)
@given(OUTLINES, st.floats(0.0, 25.0), st.floats(0.0, 0.95), st.floats(0.0, 8.0))
def test_gap_of_smaller_moved_and_cut_up_calipers(
    points: list[tuple[float, float]], outboard: float, size: float, shift: float
) -> None:
    caliper = hull(points)
    gap = caliper_gap(BARREL, caliper, outboard)
    corners = np.array(caliper)
    middle = corners.mean(axis=0)
    smaller = tuple((float(y), float(r)) for y, r in middle + size * (corners - middle))
    assume(size > 0.05)
    if gap > 0.0:
        # what lies inside a clear caliper is no nearer to the wheel
        assert caliper_gap(BARREL, smaller, outboard) >= gap - 1e-9
        # a wheel moved by so much comes no more than that nearer
        assert caliper_gap(BARREL, caliper, outboard + shift) >= gap - shift - 1e-9
    ends = np.roll(corners, -1, axis=0)
    cut_up = np.stack([corners, 0.5 * (corners + ends)], axis=1).reshape(-1, 2)
    again = caliper_gap(BARREL, tuple((float(y), float(r)) for y, r in cut_up), outboard)
    if gap > 0.0:
        assert again == pytest.approx(gap, abs=1e-9)
    assert (again > 0.0) == (gap > 0.0) or abs(gap) < 1e-9


def reach(centre: float, spindle: Floats, width: float, diameter: float, shoulder: float) -> float:
    centre_y, *sizes = (np.array([v]) for v in (centre, width, diameter, shoulder))
    return float(tyre_reach(centre_y, spindle[:, None], *sizes)[0])


@settings(max_examples=60, deadline=None)
@given(
    st.floats(-9.0, 9.0),
    st.floats(-12.0, 12.0),
    st.floats(120.0, 320.0),
    st.floats(420.0, 760.0),
    st.floats(0.0, 1.0),
)
def test_reach_of_a_tyre_against_points_of_its_solid(
    camber: float, toe: float, width: float, diameter: float, share: float
) -> None:
    """Points all over the rounded cylinder, turned into place; the furthest is what the formula says."""
    shoulder = share * min(0.5 * width, 0.25 * diameter)
    half, radius = 0.5 * width - shoulder, 0.5 * diameter - shoulder
    c, t = np.radians(camber), np.radians(toe)
    spindle = np.array([np.sin(t) * np.cos(c), np.cos(t) * np.cos(c), -np.sin(c)])
    round_it = np.linspace(0.0, 2.0 * np.pi, 721)
    side = np.cross(spindle, [0.0, 0.0, 1.0])
    side = side / np.linalg.norm(side)
    rim = np.cos(round_it)[:, None] * side + np.sin(round_it)[:, None] * np.cross(side, spindle)
    edge = np.linspace(0.0, 0.5 * np.pi, 181)[:, None, None]
    solid = (
        spindle * (half + shoulder * np.sin(edge)) + rim[None] * (radius + shoulder * np.cos(edge))
    )  # fmt: skip
    far = max(
        solid[..., 1].max(), (solid - 2.0 * spindle * (solid @ spindle)[..., None])[..., 1].max()
    )
    found = reach(700.0, spindle, width, diameter, shoulder)
    assert found >= 700.0 + far - 1e-9
    assert found == pytest.approx(700.0 + far, abs=0.02)


def test_an_upright_tyre_reaches_half_its_width() -> None:
    assert reach(700.0, np.array([0.0, 1.0, 0.0]), 205.0, 600.0, 30.0) == pytest.approx(802.5)


def test_room_in_a_circle_and_a_square_by_hand() -> None:
    points = np.array([[0.0, 0.0], [3.0, 4.0], [12.0, 0.0], [9.0, -1.0]])
    np.testing.assert_allclose(
        room_in_circle(points, (0.0, 0.0), 10.0), [10.0, 5.0, -2.0, 10.0 - np.sqrt(82.0)]
    )
    square = np.array([[-10.0, -10.0], [10.0, -10.0], [10.0, 10.0], [-10.0, 10.0]])
    np.testing.assert_allclose(room_in_outline(points, square), [10.0, 6.0, -2.0, 1.0])
    corner = np.array([[13.0, 14.0]])
    np.testing.assert_allclose(room_in_outline(corner, square), [-5.0])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-60.0, 60.0), st.floats(-60.0, 60.0)), min_size=1, max_size=8))
def test_room_in_an_l_shaped_outline_against_shapely(points: list[tuple[float, float]]) -> None:
    outline = np.array([[-40, -40], [40, -40], [40, 0], [0, 0], [0, 40], [-40, 40]], dtype=float)
    body = Polygon(outline)
    for point, room in zip(points, room_in_outline(np.array(points), outline), strict=True):
        gap = body.exterior.distance(Point(point))
        assert room == pytest.approx(gap if body.contains(Point(point)) else -gap, abs=1e-9)

"""The tyre's gap against an outside collision library (python-fcl), and against hand geometry.

A cylinder swept by a ball has the distance of the cylinder less the ball's radius, so fcl's cylinder is an
exact reference for the solid wheel. fcl solves these distances by iteration to about 0.005 mm at these
sizes, and we allow 0.02. The hollow wheel is compared with a fine mesh of its revolved outline, whose chords
lie inside the true surface by up to 0.03 mm.
"""

from __future__ import annotations

import fcl
import numpy as np
import pytest

from kinematics import tyre
from kinematics.arrays import Floats
from optimiser.obstacles import arc_points

POSES = 1500
NEAR = 0.02  # mm, fcl's iteration and ours
SEGMENTS = (
    360  # of a full turn; the chord of a 320 mm circle is off by 320 (1 - cos 0.5 deg) = 0.012 mm
)
MESH = 0.05  # mm, the mesh's chords and both iterations


def directions(rng: np.random.Generator, count: int) -> Floats:
    """Random unit vectors (count, 3)."""
    raw = rng.normal(size=(count, 3))
    return np.asarray(raw / np.linalg.norm(raw, axis=1)[:, None])


def facing(axis: Floats) -> Floats:
    """A rotation whose z axis is ``axis``."""
    z = axis / np.linalg.norm(axis)
    x = np.cross(z, [1.0, 0.0, 0.0] if abs(z[0]) < 0.9 else [0.0, 1.0, 0.0])
    x /= np.linalg.norm(x)
    return np.column_stack([x, np.cross(z, x), z])


def wheels(rng: np.random.Generator, count: int, *, hollow: bool) -> Floats:
    """Random wheels of road sizes."""
    nothing = np.full(count, np.nan)
    diameter = rng.uniform(520, 680, count)
    return tyre.wheels(
        diameter=diameter,
        width=rng.uniform(155, 285, count),
        loaded_radius=diameter / 2 - rng.uniform(5, 20, count),
        shoulder=nothing,
        growth=rng.uniform(0, 5, count),
        bulge=nothing,
        barrel_radius=rng.uniform(160, 200, count) if hollow else nothing,
        rim_edge=rng.uniform(70, 120, count),
    )


def distance(one: fcl.CollisionObject, other: fcl.CollisionObject) -> float:
    """Distance by fcl; not positive where they overlap."""
    return float(fcl.distance(one, other, fcl.DistanceRequest(), fcl.DistanceResult()))


def solid(wheel: Floats, centre: Floats, spindle: Floats) -> fcl.CollisionObject:
    """The solid wheel's core."""
    shape = fcl.Cylinder(wheel[tyre.DISC], 2 * wheel[tyre.HALF])
    return fcl.CollisionObject(shape, fcl.Transform(facing(spindle), centre))


def tube(a: Floats, b: Floats, radius: float) -> fcl.CollisionObject:
    """A tube with round ends from a to b."""
    length = float(np.linalg.norm(b - a))
    return fcl.CollisionObject(
        fcl.Capsule(radius, length), fcl.Transform(facing(b - a), (a + b) / 2)
    )


def test_tubes_about_a_solid_wheel_against_fcl() -> None:
    rng = np.random.default_rng(1)
    wheel, spindle = wheels(rng, POSES, hollow=False), directions(rng, POSES)
    centre = rng.normal(size=(POSES, 3)) * 300
    a = centre + rng.normal(size=(POSES, 3)) * 400
    b = a + rng.normal(size=(POSES, 3)) * 250
    radius = rng.uniform(4, 40, POSES)
    ours = tyre.gaps_to_capsules(centre, spindle, wheel, a, b, radius)
    compared = 0
    for n in range(POSES):
        theirs = distance(solid(wheel[n], centre[n], spindle[n]), tube(a[n], b[n], radius[n]))
        theirs -= wheel[n, tyre.SHOULDER]
        if theirs > -wheel[n, tyre.SHOULDER]:  # the core itself is clear of the tube
            assert ours[n] == pytest.approx(theirs, abs=NEAR)
            compared += 1
        else:
            assert ours[n] <= -wheel[n, tyre.SHOULDER] + NEAR
    assert compared > 0.8 * POSES


def test_boxes_about_a_solid_wheel_against_fcl() -> None:
    rng = np.random.default_rng(2)
    wheel, spindle = wheels(rng, POSES, hollow=False), directions(rng, POSES)
    centre = rng.normal(size=(POSES, 3)) * 100
    middle = centre + rng.normal(size=(POSES, 3)) * 350
    half_sides = rng.uniform(5, 250, size=(POSES, 3))
    ours = tyre.gaps_to_boxes(centre, spindle, wheel, middle, half_sides)
    compared = 0
    for n in range(POSES):
        box = fcl.CollisionObject(
            fcl.Box(*(2 * half_sides[n])), fcl.Transform(np.eye(3), middle[n])
        )
        theirs = distance(solid(wheel[n], centre[n], spindle[n]), box) - wheel[n, tyre.SHOULDER]
        if theirs > 0:
            assert ours[n] == pytest.approx(theirs, abs=NEAR)
            compared += 1
        else:
            assert ours[n] <= NEAR
    assert compared > 0.4 * POSES


def test_half_spaces_against_fcl_with_a_box_of_twenty_metres() -> None:
    rng = np.random.default_rng(3)
    count, side = 400, 20_000.0
    wheel, spindle = wheels(rng, count, hollow=False), directions(rng, count)
    normal = directions(rng, count)
    centre = rng.normal(size=(count, 3)) * 100
    point = centre - normal * rng.uniform(330, 500, count)[:, None]
    ours = tyre.gaps_to_planes(centre, spindle, wheel, point, normal)
    for n in range(count):
        at = fcl.Transform(facing(normal[n]), point[n] - normal[n] * side / 2)
        ground = fcl.CollisionObject(fcl.Box(side, side, side), at)
        theirs = distance(solid(wheel[n], centre[n], spindle[n]), ground)
        assert ours[n] == pytest.approx(theirs - wheel[n, tyre.SHOULDER], abs=NEAR)


def revolved(outline: Floats, centre: Floats, spindle: Floats) -> fcl.CollisionObject:
    """A mesh of a closed outline (m, 2) of rho and s, turned about the spindle."""
    frame = facing(spindle)
    turns = np.linspace(0.0, 2 * np.pi, SEGMENTS, endpoint=False)
    rho, s = outline[:, 0], outline[:, 1]
    ring = np.stack(
        [
            rho[None, :] * np.cos(turns)[:, None],
            rho[None, :] * np.sin(turns)[:, None],
            np.repeat(s[None, :], SEGMENTS, axis=0),
        ],
        axis=2,
    )
    points = ring.reshape(-1, 3) @ frame.T + centre
    rows, columns = np.meshgrid(np.arange(SEGMENTS), np.arange(len(outline)), indexing="ij")
    here = rows * len(outline) + columns
    beside = rows * len(outline) + (columns + 1) % len(outline)
    next_, both = (here + len(outline)) % len(points), (beside + len(outline)) % len(points)
    faces = np.concatenate(
        [
            np.stack([here, beside, both], axis=2).reshape(-1, 3),
            np.stack([here, both, next_], axis=2).reshape(-1, 3),
        ]
    )
    mesh = fcl.BVHModel()
    mesh.beginModel(len(points), len(faces))
    mesh.addSubModel(points, faces)
    mesh.endModel()
    return fcl.CollisionObject(mesh, fcl.Transform())


def rounded_ring(wheel: Floats) -> Floats:
    """Outline of the hollow tyre: the core's section from its bore to its disc, swept by the shoulder."""
    r = wheel[tyre.SHOULDER]
    corners = [
        (wheel[tyre.DISC], wheel[tyre.HALF], 0.0),
        (wheel[tyre.BORE], wheel[tyre.HALF], 90.0),
        (wheel[tyre.BORE], -wheel[tyre.HALF], 180.0),
        (wheel[tyre.DISC], -wheel[tyre.HALF], 270.0),
    ]
    outline = []
    for rho, s, start in corners:
        for angle in np.radians(np.linspace(start, start + 90.0, 31)):
            outline.append((rho + r * np.cos(angle), s + r * np.sin(angle)))
    return np.array(outline)


def rim_section(wheel: Floats, outer: float, outboard: float) -> Floats:
    """Outline of the rim: from the barrel's wall out, and from its inner edge outboard."""
    rim, edge = wheel[tyre.RIM], wheel[tyre.EDGE]
    return np.array([(outer, -edge), (outer, outboard), (rim, outboard), (rim, -edge)])


@pytest.mark.parametrize("seed", range(4))
def test_tubes_that_reach_into_a_hollow_wheel_against_a_mesh(seed: int) -> None:
    """Tubes from inboard, with an end in the barrel: nearer to the tyre's bore, its side or the rim."""
    rng = np.random.default_rng(seed)
    count = 120
    wheel = np.repeat(wheels(rng, 1, hollow=True), count, axis=0)
    spindle = np.repeat(directions(rng, 1), count, axis=0)
    centre = np.zeros((count, 3))
    frame = facing(spindle[0])
    inside = rng.normal(size=(count, 3)) * [60, 60, 30] + [0, 0, -40]
    outside = rng.normal(size=(count, 3)) * [150, 150, 60] + [0, 0, -300]
    a, b = inside @ frame.T, outside @ frame.T
    radius = rng.uniform(4, 20, count)
    ours = tyre.gaps_to_capsules(centre, spindle, wheel, a, b, radius)
    barrel = tyre.gaps_to_barrel(centre, spindle, wheel, a, b, radius)
    # within the bore the rim counts, outside of it the tyre covers it
    rubber = revolved(rounded_ring(wheel[0]), centre[0], spindle[0])
    metal = revolved(
        rim_section(wheel[0], wheel[0, tyre.BORE], wheel[0, tyre.HALF]), centre[0], spindle[0]
    )
    wide = revolved(rim_section(wheel[0], 5000.0, 600.0), centre[0], spindle[0])
    compared = 0
    for n in range(count):
        probe = tube(a[n], b[n], 0.01)
        tyre_gap = distance(rubber, probe) + 0.01 - radius[n]
        rim_gap = distance(metal, probe) + 0.01 - radius[n]
        wide_gap = distance(wide, probe) + 0.01 - radius[n]
        if min(tyre_gap, rim_gap) + radius[n] > 0.1:
            assert ours[n] == pytest.approx(min(tyre_gap, rim_gap), abs=MESH)
            compared += 1
        if wide_gap + radius[n] > 0.1:
            assert barrel[n] == pytest.approx(wide_gap, abs=MESH)
    assert compared > count / 3


@pytest.mark.parametrize("seed", range(3))
def test_boxes_inside_and_about_a_hollow_wheel_against_a_mesh(seed: int) -> None:
    """Brackets and calipers: within the barrel, at its mouth, and about the tyre; never too far, and never
    too near by more than the chords that stand for the inner circles (0.2 mm)."""
    rng = np.random.default_rng(seed)
    count = 150
    wheel = np.repeat(wheels(rng, 1, hollow=True), count, axis=0)
    spindle = np.repeat(directions(rng, 1), count, axis=0)
    centre = np.zeros((count, 3))
    frame = facing(spindle[0])
    spread = np.where(rng.random(count)[:, None] < 0.6, [90.0, 90.0, 60.0], [350.0, 350.0, 150.0])
    places = rng.normal(size=(count, 3)) * spread
    places[:, 2] = -50.0 - np.abs(places[:, 2])  # inboard, where the wheel is open
    middle = places @ frame.T
    half_sides = rng.uniform(4, 60, size=(count, 3))
    ours = tyre.gaps_to_boxes(centre, spindle, wheel, middle, half_sides)
    rubber = revolved(rounded_ring(wheel[0]), centre[0], spindle[0])
    metal = revolved(
        rim_section(wheel[0], wheel[0, tyre.BORE], wheel[0, tyre.HALF]), centre[0], spindle[0]
    )
    w, rho, s = wheel[0], np.hypot(places[:, 0], places[:, 1]), places[:, 2]
    buried = (
        np.hypot(
            np.maximum(np.maximum(w[tyre.BORE] - rho, rho - w[tyre.DISC]), 0.0),
            np.maximum(np.abs(s) - w[tyre.HALF], 0.0),
        )
        < w[tyre.SHOULDER]
    )  # a mesh is a skin: fcl sees no overlap from within
    assert (ours[buried] < 0.0).all()
    compared = 0
    for n in np.flatnonzero(~buried):
        box = fcl.CollisionObject(
            fcl.Box(*(2 * half_sides[n])), fcl.Transform(np.eye(3), middle[n])
        )
        theirs = min(distance(rubber, box), distance(metal, box))
        if theirs > 0.1:
            assert theirs - tyre.CHORD - MESH <= ours[n] <= theirs + MESH
            compared += 1
        elif theirs <= 0.0:
            assert ours[n] <= MESH
    assert compared > count / 4


def one(**given: float) -> Floats:
    """One wheel 600 mm in diameter and 200 wide with nothing left to defaults but as given."""
    said = {
        "diameter": 600.0,
        "width": 200.0,
        "loaded_radius": 300.0,
        "shoulder": 30.0,
        "growth": 0.0,
        "bulge": 0.0,
        "barrel_radius": np.nan,
        "rim_edge": 97.0,
        **given,
    }
    return tyre.wheels(**{name: np.array([value]) for name, value in said.items()})


def gap_to_ball(wheel: Floats, at: tuple[float, float, float], radius: float = 10.0) -> float:
    """Gap of a wheel at the origin, spindle along y, to a ball."""
    point = np.array([at])
    origin, outward = np.zeros((1, 3)), np.array([[0.0, 1.0, 0.0]])
    return float(tyre.gaps_to_capsules(origin, outward, wheel, point, point, np.array([radius]))[0])


def test_gaps_by_hand() -> None:
    """Plane geometry in the section through the spindle: tread at 300, sides at 100, shoulder of 30."""
    wheel = one()
    assert gap_to_ball(wheel, (0.0, 0.0, 340.0)) == pytest.approx(30.0)
    assert gap_to_ball(wheel, (0.0, -150.0, 200.0)) == pytest.approx(40.0)
    # from the shoulder's centre (270, 70): a 3-4-5 triangle of 40, 30 and 50
    assert gap_to_ball(wheel, (310.0, 100.0, 0.0)) == pytest.approx(50.0 - 30.0 - 10.0)
    assert gap_to_ball(wheel, (0.0, -95.0, 200.0)) == pytest.approx(-15.0)


def test_gaps_in_the_barrel_by_hand() -> None:
    """Barrel of 190: a ball at 150 has 30 mm to its wall; at the mouth the rim's edge (190, -97) decides."""
    wheel = one(barrel_radius=190.0)
    assert gap_to_ball(wheel, (150.0, -20.0, 0.0)) == pytest.approx(30.0)
    assert gap_to_ball(wheel, (0.0, -137.0, 160.0)) == pytest.approx(np.hypot(30, 40) - 10.0)
    assert gap_to_ball(one(), (150.0, -20.0, 0.0)) < -80.0  # no barrel is known: the wheel is solid


def test_what_is_left_out_has_its_documented_default() -> None:
    """Shoulder 0.15 of the width; bulge half of 300 - 280; both common practice, no source."""
    given = one(shoulder=30.0, bulge=10.0, loaded_radius=280.0)
    left_out = one(shoulder=np.nan, bulge=np.nan, loaded_radius=280.0)
    np.testing.assert_allclose(left_out, given)
    # a loaded radius above half the diameter bulges nothing; a huge shoulder is cut to the half width
    assert gap_to_ball(one(bulge=np.nan, loaded_radius=310.0), (0, -150, 200)) == pytest.approx(40)
    assert one(shoulder=400.0)[0, tyre.HALF] == 0.0
    # growth is laid on all round
    assert gap_to_ball(one(growth=4.0), (310.0, 100.0, 0.0)) == pytest.approx(6.0)


def test_a_flat_box_and_a_half_space_by_hand() -> None:
    """A plate over the tread, one beside the side, and the ground under a wheel leaning 3-4-5."""
    origin, upright = np.zeros((1, 3)), np.array([[0.0, 1.0, 0.0]])
    plate = tyre.gaps_to_boxes(
        origin, upright, one(), np.array([[0.0, 0.0, 330.0]]), np.array([[400.0, 400.0, 10.0]])
    )
    assert float(plate[0]) == pytest.approx(20.0)
    beside = tyre.gaps_to_boxes(
        origin, upright, one(), np.array([[0.0, -130.0, 0.0]]), np.array([[20.0, 5.0, 20.0]])
    )
    assert float(beside[0]) == pytest.approx(25.0)
    leaning = np.array([[0.0, 0.8, -0.6]])
    ground = tyre.gaps_to_planes(
        origin, leaning, one(), np.array([[0.0, 0.0, -320.0]]), np.array([[0.0, 0.0, 1.0]])
    )
    # core of 270 by 70: 270 times 0.8 and 70 times 0.6 down, and the shoulder's 30
    assert float(ground[0]) == pytest.approx(320.0 - (270 * 0.8 + 70 * 0.6 + 30))


def test_an_archs_pieces_keep_to_its_circle() -> None:
    """Half a circle of 340 about (0, 780, 290): all corners on it, all chords within 0.2 mm, inside."""
    points = np.array(
        arc_points((-340.0, 780.0, 290.0), (0.0, 780.0, 630.0), (340.0, 780.0, 290.0))
    )
    out = np.hypot(points[:, 0], points[:, 2] - 290.0)
    np.testing.assert_allclose(out, 340.0, atol=1e-9)
    np.testing.assert_allclose(points[:, 1], 780.0, atol=1e-9)
    np.testing.assert_allclose(points[[0, -1]], [[-340, 780, 290], [340, 780, 290]], atol=1e-9)
    middles = 0.5 * (points[1:] + points[:-1])
    inside = 340.0 - np.hypot(middles[:, 0], middles[:, 2] - 290.0)
    assert (inside >= 0.0).all() and inside.max() <= 0.2
    assert points[:, 2].min() >= 290.0 - 1e-9  # the upper half, through the middle point

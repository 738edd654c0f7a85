"""What holds of the tyre's gaps whatever the numbers."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from kinematics import tyre
from kinematics.arrays import Floats
from kinematics.measures.clearance import gaps, gaps_and_nearest
from kinematics.measures.envelope import envelope
from kinematics.scene import At, Scene
from optimiser.assembly import Assembly
from optimiser.obstacles import arc_points
from tests.cars import CARS
from tests.reference.test_clearance import problem

GRAIN = 2 * tyre.GRAIN
# boxes that reach into the bore are told up to CHORD too near, the examples here by less than half of it
HOLLOW_GRAIN = 0.5 * tyre.CHORD

lengths = st.floats(-500.0, 500.0)
vectors = st.tuples(lengths, lengths, lengths)
directions = vectors.filter(lambda v: float(np.linalg.norm(v)) > 1.0)
wheels = st.fixed_dictionaries(
    {
        "diameter": st.floats(500.0, 700.0),
        "width": st.floats(150.0, 300.0),
        "loaded_radius": st.floats(230.0, 350.0),
        "shoulder": st.one_of(st.floats(0.0, 80.0), st.just(float("nan"))),
        "growth": st.floats(0.0, 10.0),
        "bulge": st.one_of(st.floats(0.0, 10.0), st.just(float("nan"))),
        "barrel_radius": st.one_of(st.floats(150.0, 205.0), st.just(float("nan"))),
        "rim_edge": st.floats(60.0, 160.0),
    }
)
Vector = tuple[float, float, float]


def unit(vector: Vector) -> Floats:
    return np.asarray(vector) / np.linalg.norm(vector)


def all_gaps(
    said: dict[str, float], centre: Floats, spindle: Floats, a: Floats, b: Floats
) -> Floats:
    """Gaps of one wheel to a tube from a to b and to a half-space at a, facing b."""
    wheel = tyre.wheels(**{name: np.array([value]) for name, value in said.items()})
    tube = tyre.gaps_to_capsules(centre[None], spindle[None], wheel, a[None], b[None], np.ones(1))
    plane = tyre.gaps_to_planes(
        centre[None], spindle[None], wheel, a[None], unit(tuple(b - a + [0, 0, 1e-3]))[None]
    )
    return np.concatenate([tube, plane])


def box_gap(said: dict[str, float], spindle: Floats, middle: Floats, size: Floats) -> float:
    wheel = tyre.wheels(**{name: np.array([value]) for name, value in said.items()})
    origin = np.zeros((1, 3))
    return float(tyre.gaps_to_boxes(origin, spindle[None], wheel, middle[None], size[None])[0])


@example(
    # the tube crosses the spindle's line inside the rim: seen by chance, and wrong by 0.01 mm once
    said={
        "diameter": 500.0,
        "width": 150.0,
        "loaded_radius": 230.0,
        "shoulder": float("nan"),
        "growth": 0.0,
        "bulge": 0.0,
        "barrel_radius": 150.0,
        "rim_edge": 60.0,
    },
    spindle=(0.5, -1.0, 0.0),
    a=(0.0, 56.0, 0.0),
    b=(-171.0, 70.0, 0.0),
    shift=(0.0, 0.0, 0.0),
    turn=(0.0, 0.0, 1.0),
)
@settings(max_examples=200, deadline=None)
@given(said=wheels, spindle=directions, a=vectors, b=vectors, shift=vectors, turn=vectors)
def test_moving_everything_together_changes_nothing(
    said: dict[str, float], spindle: Vector, a: Vector, b: Vector, shift: Vector, turn: Vector
) -> None:
    angle = float(np.linalg.norm(turn)) + 1e-9
    x, y, z = np.asarray(turn) / angle
    skew = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    rotation = np.eye(3) + np.sin(angle) * skew + (1 - np.cos(angle)) * skew @ skew
    here = all_gaps(said, np.zeros(3), unit(spindle), np.array(a), np.array(b))
    there = all_gaps(
        said,
        np.array(shift),
        rotation @ unit(spindle),
        rotation @ np.array(a) + shift,
        rotation @ np.array(b) + shift,
    )
    # a plane's direction is made from a and b, which the shift along z in it does not turn alike
    np.testing.assert_allclose(here[0], there[0], atol=GRAIN)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    said=wheels,
    spindle=directions,
    a=vectors,
    b=vectors,
    size=st.tuples(*[st.floats(1.0, 200.0)] * 3),
    more=st.floats(0.1, 30.0),
    which=st.sampled_from(["diameter", "width", "growth", "bulge", "rim_edge"]),
)
@example(
    said={
        "diameter": 500.0,
        "width": 150.0,
        "loaded_radius": 236.0,
        "shoulder": 60.0,
        "growth": 0.0,
        "bulge": float("nan"),
        "barrel_radius": 150.0,
        "rim_edge": 60.0,
    },
    spindle=(0.0, 0.0, 2.0),
    a=(0.0, 0.0, -25.0),
    b=(0.0, 0.0, 0.0),
    size=(1.0, 1.0, 3.0),
    more=1.0,
    which="diameter",
)
def test_a_gap_never_grows_when_the_wheel_does(
    said: dict[str, float],
    spindle: Vector,
    a: Vector,
    b: Vector,
    size: Vector,
    more: float,
    which: str,
) -> None:
    if np.isnan(said[which]):
        said = {**said, which: 0.0}
    if np.isnan(said["shoulder"]):
        said = {
            **said,
            "shoulder": 20.0,
        }  # its default would grow with the width and round the tyre
    # a shoulder that is cut to what fits, or a bore to the disc, changes the tyre's shape with its size
    shoulder = min(said["shoulder"], 60.0)
    inside = np.nan_to_num(said["barrel_radius"]) + 2.0 * shoulder + said["growth"] + more
    said = {**said, "shoulder": shoulder, "diameter": max(said["diameter"], 560.0, 2.0 * inside)}
    larger = {**said, which: said[which] + more}
    before = all_gaps(said, np.zeros(3), unit(spindle), np.array(a), np.array(b))
    after = all_gaps(larger, np.zeros(3), unit(spindle), np.array(a), np.array(b))
    positive = np.maximum(before, 0.0)
    assert (np.maximum(after, 0.0) <= positive + GRAIN).all()
    box = [box_gap(w, unit(spindle), np.array(a), np.array(size)) for w in (said, larger)]
    # a box that stands inside a hollow wheel is told less finely
    grain = GRAIN if np.isnan(said["barrel_radius"]) else HOLLOW_GRAIN
    assert max(box[1], 0.0) <= max(box[0], 0.0) + grain


@settings(max_examples=200, deadline=None)
@given(said=wheels, spindle=directions, a=vectors, b=vectors, share=st.floats(0.0, 1.0))
def test_a_longer_tube_is_never_further_and_every_point_of_it_bounds_the_gap(
    said: dict[str, float], spindle: Vector, a: Vector, b: Vector, share: float
) -> None:
    p, q, u = np.array(a), np.array(b), unit(spindle)
    whole = all_gaps(said, np.zeros(3), u, p, q)[0]
    middle = p + share * (q - p)
    part = all_gaps(said, np.zeros(3), u, p, middle)[0]
    point = all_gaps(said, np.zeros(3), u, middle, middle)[0]
    # where they overlap inside a bore only the sign is told
    assert max(whole, 0.0) <= max(part, 0.0) + GRAIN
    assert max(whole, 0.0) <= max(point, 0.0) + GRAIN


OBSTACLES = [
    {"name": "strut", "on": "strut", "shape": "capsule", "radius": 24,
     "ends": ["strut_lower", [-40, 480, 800]]},
    {"name": "arm", "on": "arm", "shape": "chain", "radius": 14,
     "points": ["arm_rear", [-60, 540, 190], "ball_joint"]},
    {"name": "rod", "on": "tie_rod", "shape": "capsule", "radius": 9,
     "ends": ["tie_rod_inner", "tie_rod_outer"]},
    {"name": "rail", "on": "body", "shape": "box", "low": [-450, 300, 250], "high": [400, 380, 420]},
    {"name": "fender", "on": "body", "shape": "plane", "point": [0, 430, 600], "normal": [0, 1, -0.1]},
    {"name": "arch", "on": "body", "shape": "arch", "radius": 6,
     "points": [[-390, 840, 288], [0, 840, 680], [390, 840, 288]]},
    {"name": "caliper", "on": "knuckle", "shape": "box", "low": [70, 630, 260], "high": [130, 700, 360]},
]  # fmt: skip


def assembly_of(number: int, obstacles: list[dict]) -> Assembly:  # type: ignore[type-arg]
    """A car whose top mount slides in twelve steps, and whose wheel is hollow."""
    slide = {"along": {"top_mount": [0, -1, 0]}, "range": [0, 11], "step": 1}
    parts = {"top_mount": [{"id": "slider", "today": True, "adjusts": {"in_out": slide}}]}
    case = problem(CARS[number], obstacles, parts=parts, barrel=190)
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    return assembly


def scene_of(number: int, obstacles: list[dict] | None = None) -> Scene:  # type: ignore[type-arg]
    assembly = assembly_of(number, OBSTACLES if obstacles is None else obstacles)
    return assembly.scene(np.arange(12)[:, None])


def test_no_lane_hangs_on_its_neighbours_nor_a_state_on_those_before_it() -> None:
    """What is nearest is looked at first; the figure has the same bits whatever that was."""
    for number in range(len(CARS)):
        scene = scene_of(number)
        places = envelope(scene)
        whole, nearest = gaps_and_nearest(scene, "left", places)
        alone = gaps(scene.take(np.array([7])), "left", places)
        np.testing.assert_array_equal(whole[:, [7]], alone)
        backward, nearest_back = gaps_and_nearest(scene, "left", places[::-1])
        np.testing.assert_array_equal(whole, backward[::-1])
        np.testing.assert_array_equal(nearest, nearest_back[::-1])
        single = np.concatenate([gaps(scene, "left", [at]) for at in places])
        np.testing.assert_array_equal(whole, single)


def test_every_obstacle_alone_gives_the_least_of_all() -> None:
    """Leaving out what cannot be nearer loses nothing: the least over each by itself, bit for bit."""
    for number in range(len(CARS)):
        scene = scene_of(number)
        places = envelope(scene)
        each = [gaps(scene_of(number, [one]), "left", places) for one in OBSTACLES]
        np.testing.assert_array_equal(gaps(scene, "left", places), np.min(each, axis=0))


def test_more_states_never_give_a_larger_least_gap() -> None:
    scene = scene_of(0)
    places = envelope(scene)
    more = [*places, *(At(7.0 * n, rack=9.0 * n) for n in range(-5, 6))]
    assert (gaps(scene, "left", more).min(axis=0) <= gaps(scene, "left", places).min(axis=0)).all()


def test_an_arch_is_the_least_of_its_pieces() -> None:
    """Pieces that are left out a few at a time lose nothing: as many tubes by themselves, bit for bit."""
    arch = {"on": "body", "radius": 6}
    ends = [(-390.0, 790.0, 250.0), (0.0, 790.0, 640.0), (390.0, 790.0, 250.0)]
    corners = arc_points(*ends)
    whole = scene_of(0, [{**arch, "name": "arch", "shape": "arch", "points": ends}])
    places = envelope(whole)
    each = [
        gaps(
            scene_of(0, [{**arch, "name": "piece", "shape": "capsule", "ends": pair}]),
            "left",
            places,
        )
        for pair in pairwise(corners)
    ]
    assert len(each) > 20
    # a corner at the origin is written as 0, which the pieces are told with all their noise
    np.testing.assert_allclose(gaps(whole, "left", places), np.min(each, axis=0), rtol=0, atol=1e-9)

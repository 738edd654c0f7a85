"""The tyre's clearance on whole cars: obstacles on every carrier, the envelope, and the gates."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq, minimize

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from kinematics import tyre
from kinematics.arrays import Floats
from kinematics.measures import MEASURES
from kinematics.measures.clearance import bar_gaps, closest, gaps, rod_gaps, wheels
from kinematics.measures.envelope import envelope
from kinematics.scene import At, Scene
from optimiser.assembly import Assembly
from optimiser.evaluate import candidate
from optimiser.inner import sweep
from optimiser.problem import Problem
from optimiser.settings import solved_texts
from tests.cars import CARS, Car
from tests.reference.test_kernel_rootfinder import Mechanism, turn_by
from tests.search.catalogues import car_mapping

RADIUS = 7.0


def problem(
    car: Car,
    obstacles: list[dict[str, Any]] | None,
    *,
    limits: dict[str, Any] | None = None,
    parts: dict[str, Any] | None = None,
    barrel: float | None = None,
    **more: Any,
) -> Problem:
    """A problem of one duty on an invented car with these obstacles."""
    mapping = {**car_mapping(car), **more}
    if obstacles is not None:
        mapping["obstacles"] = obstacles
    if barrel is not None:
        mapping["wheel"]["barrel_radius"] = barrel
    duty = {"travel": [-50, 50], "limits": limits or {}}
    goals = {"format": 1, "car": "c", "parts": "p", "duties": {"only": duty}}
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate(mapping),
        Parts.model_validate({"format": 1, "stations": parts or {"wheel": [{"id": "w"}]}}),
    )


def scene_of(case: Problem, build: int = 0) -> Scene:
    """The scene of one lane of a build without settings."""
    assembly = case.assembly(case.space.build(build), "only")
    assert assembly is not None
    return assembly.scene(np.zeros((1, len(assembly.dimensions)), dtype=np.int64))


def ball(on: str, at: Any, name: str = "ball") -> dict[str, Any]:
    """A ball on a carrier, or at a hard point."""
    return {"name": name, "on": on, "shape": "ball", "point": at, "radius": RADIUS}


def gap_to_point(wheel: Floats, centre: Floats, spindle: Floats, point: Floats) -> float:
    """Gap of a solid wheel to a ball by plane geometry: rho and s of its middle, and the core's corner."""
    q = point - centre
    s = float(q @ spindle)
    rho = float(np.sqrt(max(q @ q - s * s, 0.0)))
    over, side = rho - wheel[tyre.DISC], abs(s) - wheel[tyre.HALF]
    core = np.hypot(max(over, 0.0), max(side, 0.0)) + min(max(over, side), 0.0)
    return float(core - wheel[tyre.SHOULDER] - RADIUS)


# Where a point as measured goes, by a root finder's solution: rotation vector of the knuckle and arm angle.
Follow = Callable[[Mechanism, Floats, Floats], Floats]


def on_body(mechanism: Mechanism, found: Floats, point: Floats) -> Floats:
    return point


def on_arm(mechanism: Mechanism, found: Floats, point: Floats) -> Floats:
    rear = mechanism.points["arm_rear"]
    pivot = mechanism.points["arm_front"] - rear
    turn = turn_by(found[6] * pivot / np.linalg.norm(pivot))
    return np.asarray(rear + turn @ (point - rear))


def on_knuckle(mechanism: Mechanism, found: Floats, point: Floats) -> Floats:
    return mechanism.moved(found, point)


def on_rod(mechanism: Mechanism, found: Floats, point: Floats, rack: float = 0.0) -> Floats:
    """From the inner joint along the rod, level and upward, each as far as measured."""
    inner, outer = mechanism.points["tie_rod_inner"], mechanism.points["tie_rod_outer"]

    def axes(rod: Floats) -> Floats:
        x = rod / np.linalg.norm(rod)
        y = np.cross([0.0, 0.0, 1.0], x)
        y /= np.linalg.norm(y)
        return np.column_stack([x, y, np.cross(x, y)])

    start = inner + np.array([0.0, rack, 0.0])
    return np.asarray(
        start
        + axes(mechanism.read(found).rod_outer - start) @ axes(outer - inner).T @ (point - inner)
    )


def wheel_of(mechanism: Mechanism, found: Floats) -> tuple[Floats, Floats]:
    """The wheel's centre and spindle by the root finder."""
    return mechanism.read(found).centre, turn_by(found[3:6]) @ mechanism.spindle


@pytest.mark.parametrize("car", CARS[:4], ids=lambda car: car.name)
@pytest.mark.parametrize(
    ("on", "follow"),
    [
        ("body", on_body),
        ("arm", on_arm),
        ("knuckle", on_knuckle),
        ("strut", on_knuckle),
        ("tie_rod", on_rod),
    ],
)
@pytest.mark.parametrize(("travel", "share"), [(-45.0, 0.6), (40.0, -0.6), (0.0, 0.0)])
def test_obstacles_ride_on_their_carriers_against_a_root_finder(
    car: Car, on: str, follow: Follow, travel: float, share: float
) -> None:
    """A general root finder on the raw joints says where body, arm and knuckle go; the rest by hand."""
    point = np.array([140.0, car.points["hub_face"][1] - 260.0, car.points["hub_face"][2] + 60.0])
    scene = scene_of(problem(car, [ball(on, point.tolist())]))
    rack = share * car.rack_travel
    mechanism = Mechanism(car)
    found = mechanism.walk(travel, rack, steps=8)
    centre, spindle = wheel_of(mechanism, found)
    there = follow(mechanism, found, point)
    if on == "tie_rod":
        there = on_rod(mechanism, found, point, rack)
    expected = gap_to_point(wheels(scene)[0], centre, spindle, there)
    ours = float(gaps(scene, "left", [At(travel, rack=rack)])[0, 0])
    assert ours == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("car", CARS[:4], ids=lambda car: car.name)
def test_obstacles_hang_on_hard_points_against_a_root_finder(car: Car) -> None:
    travel, rack = 35.0, 0.5 * car.rack_travel
    mechanism = Mechanism(car)
    found = mechanism.walk(travel, rack, steps=8)
    centre, spindle = wheel_of(mechanism, found)
    read = mechanism.read(found)
    where = {
        "ball_joint": read.ball_joint,
        "tie_rod_outer": read.rod_outer,
        "tie_rod_inner": mechanism.points["tie_rod_inner"] + [0.0, rack, 0.0],
        **{name: mechanism.points[name] for name in ("arm_front", "arm_rear", "top_mount")},
        **{
            name: mechanism.moved(found, mechanism.points[name])
            for name in ("strut_lower", "hub_face")
        },
    }
    for name, there in where.items():
        scene = scene_of(problem(car, [ball("body", name)]))
        expected = gap_to_point(wheels(scene)[0], centre, spindle, there)
        ours = float(gaps(scene, "left", [At(travel, rack=rack)])[0, 0])
        assert ours == pytest.approx(expected, abs=1e-5), name


@pytest.mark.parametrize("car", CARS[:3], ids=lambda car: car.name)
def test_the_bar_and_its_link_go_with_the_bar(car: Car) -> None:
    """[D] The bar's end by a root finder on two circles in the bar's plane and the link's length.

    The link's joint on the arm goes with a root finder's arm; the end stays on its circle about the bar's
    axis, at the link's length from that joint.
    """
    x, y, z = car.points["ball_joint"]
    inner_y = 0.5 * (y + car.points["arm_rear"][1])
    link, end = np.array([x, inner_y, z + 12.0]), np.array([x + 4.0, inner_y - 6.0, z + 110.0])
    pivot = end + np.array([170.0, -20.0, 5.0])
    bar = {"diameter": 20, "length": 800, "link_on": "arm"}
    bar |= {name: p.tolist() for name, p in (("pivot", pivot), ("end", end), ("link", link))}
    names = ("bar_end", "bar_link", "bar_pivot")
    mechanism = Mechanism(car)
    for travel in (-40.0, 0.0, 45.0):
        found = mechanism.walk(travel, 0.0)
        joint = on_arm(mechanism, found, link)
        lever = end - pivot

        def turned(angle: float, lever: Floats = lever) -> Floats:
            return np.asarray(pivot + turn_by(np.array([0.0, angle, 0.0])) @ lever)

        def miss(angle: float, joint: Floats = joint) -> float:
            return float(np.linalg.norm(turned(angle) - joint) - np.linalg.norm(end - link))

        angle = brentq(miss, -0.5, 0.5, xtol=1e-13)
        centre, spindle = wheel_of(mechanism, found)
        for name, at in zip(names, (turned(angle), joint, pivot), strict=True):
            case = problem(car, [ball("bar", name)], antiroll_bar=bar)
            scene = scene_of(case)
            gap = float(gaps(scene, "left", [At(travel)])[0, 0])
            by_hand = gap_to_point(wheels(scene)[0], centre, spindle, at)
            assert gap == pytest.approx(by_hand, abs=1e-6)


@pytest.mark.parametrize("car", CARS[:3], ids=lambda car: car.name)
def test_the_bars_gap_to_the_arm_against_a_root_finder(car: Car) -> None:
    """Both middle lines from root finders, their least distance from a bounded minimiser."""
    x, y, z = car.points["ball_joint"]
    inner_y = 0.5 * (y + car.points["arm_rear"][1])
    link, end = np.array([x, inner_y, z + 42.0]), np.array([x + 4.0, inner_y - 6.0, z + 130.0])
    pivot = end + np.array([170.0, -20.0, 5.0])
    bar = {"diameter": 20, "length": 800, "link_on": "arm"}
    bar |= {name: p.tolist() for name, p in (("pivot", pivot), ("end", end), ("link", link))}
    tubes: list[dict[str, Any]] = [
        {"name": "arm", "on": "arm", "shape": "capsule", "ends": ["arm_rear", "ball_joint"], "radius": 12},
        {"name": "link", "on": "bar", "shape": "capsule", "ends": ["bar_end", "bar_link"], "radius": 6},
    ]  # fmt: skip
    scene = scene_of(problem(car, tubes, antiroll_bar=bar))
    mechanism = Mechanism(car)
    for travel in (-40.0, 45.0):
        found = mechanism.walk(travel, 0.0)
        joint = on_arm(mechanism, found, link)

        def turned(angle: float) -> Floats:
            return np.asarray(pivot + turn_by(np.array([0.0, angle, 0.0])) @ (end - pivot))

        def miss(angle: float, joint: Floats = joint) -> float:
            return float(np.linalg.norm(turned(angle) - joint) - np.linalg.norm(end - link))

        top = turned(brentq(miss, -0.5, 0.5, xtol=1e-13))
        rear, ball_joint = mechanism.points["arm_rear"], mechanism.read(found).ball_joint

        def apart(
            at: Floats,
            rear: Floats = rear,
            far: Floats = ball_joint,
            top: Floats = top,
            low: Floats = joint,
        ) -> float:
            return float(np.linalg.norm(rear + at[0] * (far - rear) - top - at[1] * (low - top)))

        by_hand = minimize(apart, [0.5, 0.5], bounds=[(0.0, 1.0)] * 2, tol=1e-12).fun - 18.0
        gap = float(bar_gaps(scene, "left", [At(travel)])[0, 0])
        assert gap == pytest.approx(by_hand, abs=1e-3)
    assert float(MEASURES["bar_clearance"](scene)[0, 0]) <= gap
    no_bar = scene_of(problem(car, tubes[:1]))
    assert np.isnan(MEASURES["bar_clearance"](no_bar)).all()


def test_what_moves_a_hard_point_moves_what_hangs_on_it_and_rides_on_the_strut() -> None:
    """A part that shifts the sliding axis 12 mm inboard in the knuckle takes along what sits on the strut."""
    car = CARS[0]
    moved = {"knuckle": [{"id": "k", "today": True, "moves": {"strut_lower": [0, -12, 0]}}]}
    spot = [30.0, 560.0, 420.0]
    for on, shift in (("strut", -12.0), ("knuckle", 0.0)):
        at = [spot[0], spot[1] + shift, spot[2]]
        # toe and camber as measured are small, so the knuckle's axes are the car's but for 0.2 mm
        level = {"static": {"toe": 0.0, "camber": 0.0}}
        shifted = scene_of(problem(car, [ball(on, spot)], parts=moved, **level))
        expected = scene_of(problem(car, [ball("knuckle", at)], parts=moved, **level))
        assert gaps(shifted, "left", [At()]) == pytest.approx(gaps(expected, "left", [At()]))


def test_the_right_side_is_the_lefts_mirror() -> None:
    """A right side written out that mirrors the left has the left's gaps with the rack the other way."""
    car = CARS[1]
    points = {name: [x, -y, z] for name, (x, y, z) in car.points.items()}
    obstacles = [
        ball("arm", [40.0, 560.0, 180.0]),
        {"name": "rail", "on": "body", "shape": "box", "low": [-300, 300, 250], "high": [300, 400, 420]},
        {"name": "rod", "on": "tie_rod", "shape": "capsule", "radius": 9,
         "ends": ["tie_rod_inner", "tie_rod_outer"]},
    ]  # fmt: skip
    whole = scene_of(problem(car, obstacles, barrel=185, points_right=points))
    assert not whole.mirrored
    places, mirrored = [At(20.0, rack=25.0)], [At(20.0, rack=-25.0)]
    np.testing.assert_allclose(
        gaps(whole, "right", places), gaps(whole, "left", mirrored), atol=1e-9
    )
    np.testing.assert_allclose(
        rod_gaps(whole, "right", places), rod_gaps(whole, "left", mirrored), atol=1e-9
    )


STRUT_SIDE = {
    "name": "strut",
    "on": "strut",
    "shape": "capsule",
    "ends": [[-20, 500, 420], [-40, 480, 800]],
    "radius": 24,
}
RAIL = {"name": "rail", "on": "body", "shape": "capsule", "radius": 20,
        "ends": [[-420, 470, 330], [-250, 470, 330]]}  # fmt: skip


def test_the_figure_is_the_least_of_the_states_and_closest_says_where() -> None:
    scene = scene_of(problem(CARS[0], [STRUT_SIDE, RAIL]))
    places = envelope(scene)
    each = gaps(scene, "left", places)[:, 0]
    figure = float(MEASURES["tyre_clearance"](scene)[0, 0])
    assert figure == each.min()
    at = places[int(each.argmin())]
    found = closest(scene)
    assert found is not None
    assert (found.gap, found.travel, found.side) == (figure, at.travel, "left")
    assert found.obstacle == "rail"  # on lock the tyre's rear comes inboard to it
    assert abs(found.rack) > 0.7 * CARS[0].rack_travel
    alone = scene_of(problem(CARS[0], [STRUT_SIDE]))
    nearest = closest(alone)
    assert nearest is not None and nearest.obstacle == "strut" and nearest.gap > figure


def test_a_candidate_tells_what_the_tyre_comes_nearest_to_in_words() -> None:
    case = problem(CARS[0], [STRUT_SIDE, RAIL])
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    record = candidate(assembly, case.demands(assembly, "only"), ())
    nearest = record["solved"]["tyre_nearest"]
    assert nearest["to"] == "rail"
    assert nearest["gap"] == record["measures"]["tyre_clearance"]["value"]
    lines = dict(solved_texts({"only": record}))
    assert lines["tyre comes nearest to"]["only"].startswith(f"rail, {nearest['gap']:.1f} mm: ")
    bare = candidate(assembly_of(problem(CARS[0], None)), [], ())
    assert "tyre_nearest" not in bare["solved"]


def assembly_of(case: Problem) -> Assembly:
    """The first build made ready."""
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    return assembly


def test_nothing_declared_is_no_figure_and_no_gate() -> None:
    case = problem(CARS[0], None)
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    scene = scene_of(case)
    for name in ("tyre_clearance", "rod_clearance"):
        assert np.isnan(MEASURES[name](scene)).all()
    assert closest(scene) is None
    labels = {d.label for d in case.demands(assembly, "only")}
    assert not labels & {"tyre_gap", "rod_gap"}


def rejected(case: Problem, build: int = 0) -> dict[str, float]:
    """What a build without settings lacks."""
    assembly = case.assembly(case.space.build(build), "only")
    assert assembly is not None
    record = candidate(assembly, case.demands(assembly, "only"), ())
    assert record["feasible"] is (not record["shortfalls"])
    return dict(record["shortfalls"])


def plate(y: float) -> dict[str, Any]:
    """A plate inboard of the wheel, its free side outboard."""
    return {
        "name": "plate",
        "on": "body",
        "shape": "plane",
        "point": [0, y, 300],
        "normal": [0, 1, 0],
    }


def test_a_build_that_breaks_only_this_gate_is_rejected_by_its_name() -> None:
    """The tyre's inner side stands at about 708 - 107 mm: a plate there is in the way straight ahead."""
    assert rejected(problem(CARS[0], [plate(400.0)])) == {}
    short = rejected(problem(CARS[0], [plate(640.0)]))
    assert set(short) == {"tyre_gap"} and short["tyre_gap"] > 30.0


def test_a_rod_that_only_touches_the_rim_is_rejected_by_its_name() -> None:
    rod = {"name": "rod", "on": "tie_rod", "shape": "capsule", "radius": 9,
           "ends": ["tie_rod_inner", "tie_rod_outer"]}  # fmt: skip
    knob = {
        "name": "knob",
        "on": "tie_rod",
        "shape": "ball",
        "point": "tie_rod_outer",
        "radius": 60,
    }
    assert rejected(problem(CARS[0], [rod], barrel=190)) == {}
    assert set(rejected(problem(CARS[0], [rod, knob], barrel=190))) == {"rod_gap"}


def test_a_goals_own_limit_comes_on_top_and_the_gate_is_not_judged_twice() -> None:
    case = problem(CARS[0], [plate(590.0)], limits={"tyre_clearance": {"min": 14}})
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    labels = [d.label for d in case.demands(assembly, "only")]
    assert "tyre_clearance" in labels and "tyre_gap" not in labels
    assert set(rejected(case)) == {"tyre_clearance"}
    one_wheel = problem(
        CARS[0], [plate(500.0)], limits={"tyre_clearance": {"min": 1, "wheel": "left"}}
    )
    assembly = one_wheel.assembly(one_wheel.space.build(0), "only")
    assert assembly is not None
    assert "tyre_gap" in [d.label for d in one_wheel.demands(assembly, "only")]


def test_the_stop_stands_where_the_tyre_would_touch() -> None:
    """A plate that the tyre only reaches on lock takes lock, and at the stop the gap still holds."""
    case = problem(CARS[0], [plate(520.0)], limits={"tyre_clearance": {"min": 5}})
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    record = candidate(assembly, case.demands(assembly, "only"), ())
    assert record["feasible"]
    assert 0.0 < record["solved"]["stop"] < CARS[0].rack_travel
    assert record["solved"]["stop_set_by"]["by"] == "tyre_clearance"
    assert 5.0 <= record["measures"]["tyre_clearance"]["value"] < 8.0


def test_a_part_brings_its_obstacles_and_takes_the_place_of_the_cars() -> None:
    thin = {**STRUT_SIDE, "ends": [[-20, -238, 132], [-40, -258, 512]], "radius": 12}
    stations = {
        "top_mount": [
            {"id": "plain", "today": True},
            {"id": "thin strut", "obstacles": [thin]},
            {"id": "with a hose", "obstacles": [{**RAIL, "name": "hose"}]},
        ]
    }
    case = problem(CARS[0], [STRUT_SIDE], parts=stations, static={"toe": 0, "camber": 0})
    figures = []
    for build in range(3):
        assembly = case.assembly(case.space.build(build), "only")
        assert assembly is not None and assembly.obstacles is not None
        figures.append(
            (assembly.obstacles.names, gaps(scene_of(case, build), "left", [At()])[0, 0])
        )
    assert [names for names, _ in figures] == [("strut",), ("strut",), ("strut", "hose")]
    # the same line in the knuckle's own frame, from the hub face at (0, 738, 288), and half as thick
    assert figures[1][1] == pytest.approx(figures[0][1] + 12.0, abs=1e-6)


def test_wheels_offset_and_spacer_move_the_tyre_off_what_rides_on_the_knuckle() -> None:
    """A 10 mm spacer takes a flat tyre side 10 mm from a ball fixed to the knuckle beside it."""
    stations = {
        "wheel_spacer": [
            {"id": "none", "today": True},
            {"id": "ten", "sets": {"wheel": {"spacer": 10}}},
        ]
    }
    at = [60.0, 560.0, 450.0]
    case = problem(CARS[0], [ball("knuckle", at)], parts=stations)
    near, far = (float(gaps(scene_of(case, n), "left", [At()])[0, 0]) for n in range(2))
    assert far - near == pytest.approx(10.0, abs=1e-6)


def test_the_sweep_refuses_by_the_gate() -> None:
    case = problem(CARS[0], [plate(640.0)])
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    found = sweep(assembly, case.demands(assembly, "only"))
    assert found.best is None and set(found.refused_by) == {"tyre_gap"}

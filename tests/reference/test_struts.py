"""Strut stroke and tilt of the top bearing: by a root finder on the raw joints, and by what a scene poses."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.joints import top_mount_tilt
from kinematics.measures import MEASURES
from kinematics.measures.struts import strut_change
from kinematics.scene import At, Scene
from kinematics.struts import stroke_left
from optimiser.problem import Problem
from tests.cars import CARS, Car, geometry, scene_of
from tests.reference.test_joints import angle
from tests.reference.test_kernel_rootfinder import Mechanism, turn_by
from tests.search.catalogues import car_mapping

STATES = [(-45.0, 0.6), (45.0, 0.6), (45.0, -0.6), (0.0, 0.6), (-60.0, 0.0), (60.0, 0.0)]


@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
@pytest.mark.parametrize(("travel", "share"), STATES)
def test_length_and_tilt_against_a_root_finder_on_the_raw_joints(
    car: Car, travel: float, share: float
) -> None:
    """Strut length as a distance of two points, tilt as an angle of two directions, of a posed mechanism."""
    mechanism = Mechanism(car)
    rack = share * car.rack_travel
    found = mechanism.walk(travel, rack, steps=8)
    top, lower = (mechanism.points[name] for name in ("top_mount", "strut_lower"))
    longer = np.linalg.norm(top - mechanism.moved(found, lower)) - np.linalg.norm(top - lower)
    tilt = angle(turn_by(found[3:6]) @ (top - lower), top - lower)

    scene = scene_of(car, geometry(car))
    place = At(travel, rack=rack)
    assert float(strut_change(scene, "left", [place])[0, 0]) == pytest.approx(longer, abs=1e-6)
    joint = scene.fittings.joints.top_mount
    assert joint is not None
    raw = scene.states("left", [place]).raw
    there = top_mount_tilt(raw, scene.left, joint.in_body["left"])
    assert float(there[0, 0]) == pytest.approx(tilt, abs=1e-6)
    state = MEASURES["top_mount_tilt"].state
    assert state is not None
    assert float(state(scene, "left", [place])[0, 0]) == pytest.approx(tilt, abs=1e-6)


def test_stroke_by_hand() -> None:
    """60 mm to the stop and 50 to full extension: 20 mm shorter leaves 40 and 70; 45 longer 105 and 5."""
    change = np.array([[0.0], [-20.0], [45.0], [-75.0], [58.0]])
    left = stroke_left(change, np.array([60.0]), np.array([50.0]))
    np.testing.assert_allclose(left[:, 0], [50.0, 40.0, 5.0, -15.0, -8.0])
    alone = stroke_left(change, np.array([60.0]), np.array([np.nan]))
    np.testing.assert_allclose(alone[:, 0], [60.0, 40.0, 105.0, -15.0, 118.0])


def problem(car: Car, stations: dict[str, Any], lowered: float = 0.0, **extra: Any) -> Problem:
    duty = {"travel": [-50, 50], "lowered_by": lowered}
    goals = {"format": 1, "car": "c", "parts": "p", "duties": {"only": duty}}
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate({**car_mapping(car), **extra}),
        Parts.model_validate({"format": 1, "stations": stations}),
    )


def every_scene(case: Problem, number: int = 0) -> Scene:
    """All settings of a build with one dimension at the most, stops at the rack's own end."""
    assembly = case.assembly(case.space.build(number), "only")
    assert assembly is not None
    sizes = [d.size for d in assembly.dimensions]
    assert len(sizes) <= 1
    positions = np.arange(sizes[0] if sizes else 1, dtype=np.int64)[:, None]
    return assembly.scene(positions if sizes else positions[:, :0])


def posed(scene: Scene, places: list[At], lower: Floats) -> Floats:
    """Where strut_lower stands in each state, (3, s, n): ball joint, and the knuckle's axes as they stand.

    ``lower`` is (3,) from the ball joint in the knuckle's frame.
    """
    raw = scene.states("left", places).raw
    x, y = raw[k.FORWARD : k.FORWARD + 3], raw[k.SPINDLE : k.SPINDLE + 3]
    z = np.cross(x, y, axis=0)
    return np.asarray(
        raw[k.BALL_JOINT : k.BALL_JOINT + 3] + x * lower[0] + y * lower[1] + z * lower[2]
    )


SLIDER = {
    "id": "slider",
    "adjusts": {"in": {"along": {"top_mount": [0, -1, 0]}, "range": [0, 24], "step": 8}},
    "today": True,
}


@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
def test_a_lowered_car_with_a_sliding_top_by_the_points_of_its_poses(car: Car) -> None:
    """Length and tilt of every setting from where its strut's two ends stand."""
    case = problem(car, {"top_mount": [SLIDER]}, lowered=30.0, strut={"bump": 70, "droop": 60})
    scene = every_scene(case)
    places = [At(-50.0), At(0.0), At(50.0), At(20.0, turn=0.5)]
    measured = car.vectors()
    toe, camber = np.radians(car.toe), np.radians(car.camber)
    y = np.array([np.sin(toe) * np.cos(camber), np.cos(toe) * np.cos(camber), -np.sin(camber)])
    x = np.array([np.cos(toe), -np.sin(toe), 0.0])
    frame = np.column_stack([x, y, np.cross(x, y)])
    lower = frame.T @ (measured["strut_lower"] - measured["ball_joint"])
    foot = posed(scene, places, lower)
    top = measured["top_mount"][:, None] - np.outer([0.0, 1.0, 0.0], [0.0, 8.0, 16.0, 24.0])
    strut = top[:, None, :] - foot
    length = np.linalg.norm(strut, axis=0)
    stock = measured["top_mount"] - measured["strut_lower"]
    np.testing.assert_allclose(
        strut_change(scene, "left", places), length - np.linalg.norm(stock), rtol=0.0, atol=1e-6
    )
    tilts = MEASURES["top_mount_tilt"].state
    case = problem(car, {"top_mount": [SLIDER]}, lowered=30.0, joints={"top_mount": {"tilt": 20}})
    assert tilts is not None
    found = tilts(every_scene(case), "left", places)
    for s in range(len(places)):
        for lane in range(4):
            assert found[s, lane] == pytest.approx(angle(strut[:, s, lane], stock), abs=1e-5)


def test_a_lower_car_has_less_bump_and_more_droop() -> None:
    case = [problem(CARS[0], {"wheel": [{"id": "w"}]}, strut={name: 90}, lowered=by)
            for name in ("bump", "droop") for by in (0.0, 40.0)]  # fmt: skip
    bump, bump_low, droop, droop_low = (
        float(MEASURES["strut_stroke_left"](every_scene(each))[0, 0]) for each in case
    )
    # a strut that leans little gives up nearly as much as the body comes down
    assert 36.0 < bump - bump_low < 42.0
    assert 36.0 < droop_low - droop < 42.0


def test_a_strut_body_that_stands_lower_in_the_knuckle_gives_bump_travel() -> None:
    """strut_lower 25 mm down the axis: 25 mm longer in every state, bump gains what droop loses."""
    car = CARS[0]
    p = car.vectors()
    down = (p["strut_lower"] - p["top_mount"]) / np.linalg.norm(p["strut_lower"] - p["top_mount"])
    toe, camber = np.radians(car.toe), np.radians(car.camber)
    y = np.array([np.sin(toe) * np.cos(camber), np.cos(toe) * np.cos(camber), -np.sin(camber)])
    x = np.array([np.cos(toe), -np.sin(toe), 0.0])
    move = np.column_stack([x, y, np.cross(x, y)]).T @ (25.0 * down)
    parts = {"knuckle": [{"id": "low clamp", "moves": {"strut_lower": [float(v) for v in move]}}]}
    for name, sign in (("bump", 1.0), ("droop", -1.0)):
        case = problem(car, parts, strut={name: 90})
        stock, low = (
            float(MEASURES["strut_stroke_left"](every_scene(case, number))[0, 0])
            for number in (0, 1)
        )
        assert low - stock == pytest.approx(sign * 25.0, abs=1e-9)


def test_a_part_may_tell_the_stroke_and_a_car_that_does_not_has_no_figure() -> None:
    parts = {"spring_seat": [{"id": "short damper", "sets": {"strut": {"bump": 80, "droop": 20}}}]}
    case = problem(CARS[0], parts)
    assert np.isnan(MEASURES["strut_stroke_left"](every_scene(case, 0))).all()
    found = float(MEASURES["strut_stroke_left"](every_scene(case, 1))[0, 0])
    told = problem(CARS[0], {"wheel": [{"id": "w"}]}, strut={"bump": 80, "droop": 20})
    assert found == float(MEASURES["strut_stroke_left"](every_scene(told))[0, 0])


def test_where_the_bearings_middle_is_told_the_tilt_is_from_there() -> None:
    """A bearing whose middle is upright: straight ahead at ride height the tilt is the strut's own lean."""
    car = CARS[0]
    joint = {"top_mount": {"tilt": 30, "axis": [0, 0, 2]}}
    scene = every_scene(problem(car, {"wheel": [{"id": "w"}]}, joints=joint))
    state = MEASURES["top_mount_tilt"].state
    assert state is not None
    p = car.vectors()
    lean = angle(p["top_mount"] - p["strut_lower"], np.array([0.0, 0.0, 1.0]))
    assert float(state(scene, "left", [At()])[0, 0]) == pytest.approx(lean, abs=1e-6)


def test_the_right_sides_strut_is_measured_for_itself() -> None:
    """Where the sides differ each strut stands at no change and no tilt as measured."""
    x, y, z = CARS[0].points["top_mount"]
    right = {"top_mount": [x - 6.0, -(y - 9.0), z + 4.0]}
    joint = {"top_mount": {"tilt": 30}}
    case = problem(CARS[0], {"wheel": [{"id": "w"}]}, points_right=right, joints=joint,
                   strut={"bump": 70})  # fmt: skip
    scene = every_scene(case)
    state = MEASURES["top_mount_tilt"].state
    assert state is not None
    for side in scene.sides():
        assert float(state(scene, side, [At()])[0, 0]) == pytest.approx(0.0, abs=1e-5)
        assert float(strut_change(scene, side, [At()])[0, 0]) == pytest.approx(0.0, abs=1e-6)

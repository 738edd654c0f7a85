"""Joint tilt by plane trigonometry and by the raw mechanism, and as a gate."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from kinematics import rows as k
from kinematics.joints import (
    StudJoint,
    ball_joint_tilt,
    inner_tilt,
    outer_tilt,
    upper_ball_joint_tilt,
)
from kinematics.measures import MEASURES
from kinematics.scene import At
from optimiser.problem import Problem
from tests.cars import AHEAD, CARS, INCLINED, LOWERED, MIDDLING, OFF_LINE, SMALL, Car
from tests.reference.test_kernel_multibody import Mechanism as Multibody
from tests.reference.test_kernel_rootfinder import Mechanism, turn_by
from tests.search.catalogues import car_mapping
from tests.wishbones import ROADSTER, WISHBONES

UPRIGHT = np.zeros((k.STATE_ROWS, 1))
UPRIGHT[k.FORWARD], UPRIGHT[k.SPINDLE + 1] = 1.0, 1.0


@pytest.mark.parametrize("rise", [-80.0, 0.0, 45.0])
def test_a_rod_that_rises_tilts_both_its_joints_by_its_slope(rise: float) -> None:
    """Stud upright, rack level: both tilts are atan(rise / run), by plane trigonometry."""
    rod = np.array([[0.0], [300.0], [rise]])
    slope = abs(np.degrees(np.arctan2(rise, 300.0)))
    stud = StudJoint((0.0, 0.0, 1.0), (0.0, 0.0, 1.0))
    assert float(outer_tilt(UPRIGHT, rod, stud)[0]) == pytest.approx(slope)
    assert float(inner_tilt(rod)[0]) == pytest.approx(slope)


def test_a_rod_swept_in_the_level_tilts_the_inner_joint_alone() -> None:
    rod = np.array([[120.0], [300.0], [0.0]])
    stud = StudJoint((0.0, 0.0, 1.0), (0.0, 0.0, 1.0))
    assert float(outer_tilt(UPRIGHT, rod, stud)[0]) == pytest.approx(0.0)
    assert float(inner_tilt(rod)[0]) == pytest.approx(np.degrees(np.arctan2(120, 300)))


def test_an_arm_turned_under_a_knuckle_that_stays_upright_tilts_by_the_arms_angle() -> None:
    """Pivots along x: the socket turns with the arm, the stud does not."""
    angle = 17.0
    raw = UPRIGHT.copy()
    raw[k.ARM_T] = np.tan(np.radians(angle) / 2)
    geometry = np.zeros((k.GEOMETRY_ROWS, 1))
    geometry[k.CIRCLE_COS + 1], geometry[k.CIRCLE_SIN + 2] = 330.0, 330.0
    stud = StudJoint((0.0, 0.0, 1.0), (0.0, 0.0, 1.0))
    assert float(ball_joint_tilt(raw, geometry, stud)[0]) == pytest.approx(angle)


def problem(car: Car, joints: dict[str, Any]) -> Problem:
    goals = {"format": 1, "car": "c", "parts": "p", "duties": {"only": {"travel": [-50, 50]}}}
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate({**car_mapping(car), "joints": joints}),
        Parts.model_validate({"format": 1, "stations": {"wheel": [{"id": "w"}]}}),
    )


EVERY = {name: {"tilt": 25} for name in ("ball_joint", "tie_rod_outer", "tie_rod_inner")}


@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
def test_no_tilt_of_the_ball_joint_as_measured_and_rods_as_their_points_lie(car: Car) -> None:
    """As measured the socket has the stud in its middle; rod angles follow from the written points."""
    case = problem(car, EVERY)
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    scene = assembly.scene(np.zeros((1, 0), dtype=np.int64))
    raw = scene.states("left", [At()]).raw[:, 0, :]
    joints = scene.fittings.joints
    assert joints.ball_joint is not None and joints.tie_rod_outer is not None
    assert float(ball_joint_tilt(raw, scene.left, joints.ball_joint)[0]) < 1e-5
    rod = np.array(car.points["tie_rod_outer"]) - np.array(car.points["tie_rod_inner"])
    flat = np.degrees(np.arcsin(abs(rod[2]) / np.linalg.norm(rod)))
    assert float(outer_tilt(raw, rod[:, None], joints.tie_rod_outer)[0]) == pytest.approx(
        flat, abs=1e-6
    )


def angle(one: np.ndarray, other: np.ndarray) -> float:
    """Angle between two directions, deg."""
    cosine = one @ other / np.linalg.norm(one) / np.linalg.norm(other)
    return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
@pytest.mark.parametrize(("travel", "share"), [(-45.0, 0.6), (45.0, 0.6), (45.0, -0.6), (0.0, 0.6)])
def test_tilts_against_a_root_finder_on_the_raw_joints(
    car: Car, travel: float, share: float
) -> None:
    """Rod, stud and socket directions from a general root finder, with no closed form in common."""
    case = problem(car, EVERY)
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    scene = assembly.scene(np.zeros((1, 0), dtype=np.int64))
    rack = share * car.rack_travel
    states = scene.states("left", [At(travel, rack=rack)])
    assert states.reached.all()
    mechanism = Mechanism(car)
    found = mechanism.walk(travel, rack, steps=8)
    inner = mechanism.points["tie_rod_inner"] + np.array([0.0, rack, 0.0])
    rod = mechanism.read(found).rod_outer - inner
    pivot = mechanism.points["arm_front"] - mechanism.points["arm_rear"]
    up = np.array([0.0, 0.0, 1.0])
    stud = turn_by(found[3:6]) @ up
    socket = turn_by(found[6] * pivot / np.linalg.norm(pivot)) @ up

    joints = scene.fittings.joints
    assert joints.ball_joint is not None and joints.tie_rod_outer is not None
    raw = states.raw[:, 0, :]
    assert float(inner_tilt(rod[:, None])[0]) == pytest.approx(
        angle(rod, np.array([0.0, 1.0, 0.0])), abs=1e-6
    )
    assert float(outer_tilt(raw, rod[:, None], joints.tie_rod_outer)[0]) == pytest.approx(
        abs(90.0 - angle(rod, stud)), abs=1e-6
    )
    assert float(ball_joint_tilt(raw, scene.left, joints.ball_joint)[0]) == pytest.approx(
        angle(stud, socket), abs=1e-5
    )


@pytest.mark.parametrize("car", WISHBONES, ids=lambda car: car.name)
@pytest.mark.parametrize(("travel", "share"), [(-45.0, 0.6), (45.0, -0.6), (0.0, 0.6), (0.0, 0.0)])
def test_tilt_of_the_upper_ball_joint_against_a_root_finder(
    car: Car, travel: float, share: float
) -> None:
    """Stud and socket from a general root finder on knuckle and both arms; not tilted as measured."""
    case = problem(car, {"upper_ball_joint": {"tilt": 25, "axis": [0.1, -0.2, 1]}})
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    scene = assembly.scene(np.zeros((1, 0), dtype=np.int64))
    rack = share * car.rack_travel
    states = scene.states("left", [At(travel, rack=rack)])
    assert states.reached.all()
    mechanism = Mechanism(car)
    found = mechanism.walk(travel, rack, steps=8)
    pivot = mechanism.points["upper_front"] - mechanism.points["upper_rear"]
    as_measured = np.array([0.1, -0.2, 1.0])
    stud = turn_by(found[3:6]) @ as_measured
    socket = turn_by(found[7] * pivot / np.linalg.norm(pivot)) @ as_measured
    joint = scene.fittings.joints.upper_ball_joint
    assert joint is not None
    tilt = float(upper_ball_joint_tilt(states.raw[:, 0, :], scene.left, joint)[0])
    assert tilt == pytest.approx(angle(stud, socket), abs=1e-5)
    assert (tilt < 1e-5) == (travel == 0.0 and share == 0.0)


def test_the_upper_ball_joints_limit_is_a_gate() -> None:
    """Declared, it stands among the demands with its maker's limit less the reserve."""
    case = problem(ROADSTER, {"upper_ball_joint": {"tilt": 25, "reserve": 4}})
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    gates = {d.label: d for d in case.demands(assembly, "only")}
    assert gates["upper_ball_joint_limit"].maximum == 21.0
    assert gates["upper_ball_joint_limit"].measure is MEASURES["upper_ball_joint_tilt"]


@pytest.mark.parametrize(
    "car", [MIDDLING, AHEAD, SMALL, LOWERED, INCLINED, OFF_LINE], ids=lambda car: car.name
)
def test_tilts_against_a_multibody_library(car: Car) -> None:
    """Ball-joint and rod angles from the frames of MuJoCo's own bodies, at the corners of the envelope."""
    case = problem(car, EVERY)
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    scene = assembly.scene(np.zeros((1, 0), dtype=np.int64))
    joints = scene.fittings.joints
    assert joints.ball_joint is not None and joints.tie_rod_outer is not None
    bodies = Multibody(car)
    up = np.array([0.0, 0.0, 1.0])
    for travel in (-50.0, 50.0):
        for rack in (-0.8 * car.rack_travel, 0.8 * car.rack_travel):
            bodies.walk(travel, rack)
            # bodies' frames stand along the car's axes as measured, so a frame's z is where 'up' has gone
            stud = bodies.data.body("knuckle").xmat.reshape(3, 3) @ up
            socket = bodies.data.body("arm").xmat.reshape(3, 3) @ up
            rod = bodies.site("rod_end") - bodies.data.body("tie_rod").xpos
            states = scene.states("left", [At(travel, rack=rack)])
            raw = states.raw[:, 0, :]
            for found, wanted in (
                (ball_joint_tilt(raw, scene.left, joints.ball_joint), angle(stud, socket)),
                (outer_tilt(raw, rod[:, None], joints.tie_rod_outer), 90.0 - angle(stud, rod)),
                (inner_tilt(rod[:, None]), angle(rod, np.array([0.0, 1.0, 0.0]))),
            ):
                assert float(found[0]) == pytest.approx(abs(wanted), abs=1e-5)


def test_a_joint_past_its_limit_less_the_reserve_is_a_gate() -> None:
    loose, tight = ({**EVERY, "ball_joint": {"tilt": tilt, "reserve": 3}} for tilt in (60, 3.5))
    for joints, holds in ((loose, True), (tight, False)):
        case = problem(CARS[0], joints)
        assembly = case.assembly(case.space.build(0), "only")
        assert assembly is not None
        scene = assembly.scene(np.zeros((1, 0), dtype=np.int64))
        gate = next(d for d in case.demands(assembly, "only") if d.label == "ball_joint_limit")
        assert bool(gate.shortfall(gate.figures(scene))[0] == 0.0) is holds


def test_a_joint_that_the_car_file_does_not_tell_of_has_no_figure_and_no_gate() -> None:
    case = problem(CARS[0], {"tie_rod_inner": {"tilt": 25}})
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    scene = assembly.scene(np.zeros((1, 0), dtype=np.int64))
    assert np.isnan(MEASURES["ball_joint_tilt"](scene)).all()
    assert np.isfinite(MEASURES["tie_rod_inner_tilt"](scene)).all()
    labels = {d.label for d in case.demands(assembly, "only")}
    assert "tie_rod_inner_limit" in labels and "ball_joint_limit" not in labels

"""The steering stop: by plane trigonometry, and by walking outward half a millimetre at a time."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from goals.verdicts import holds
from kinematics import stops
from kinematics.arrays import Floats
from kinematics.measures import MEASURES
from kinematics.measures.envelope import travels
from kinematics.scene import At, DutyFrame, Scene
from kinematics.stops import STEP, Hold
from optimiser.evaluate import candidate, stopped
from optimiser.inner import sweep
from optimiser.problem import Problem
from tests.cars import CARS, Car, geometry, scene_of
from tests.reference.planar import flat_steer, flat_steering
from tests.search.catalogues import car_mapping

ARM, ROD = (-98.0, 6.0), (4.0, -330.0)
TOGGLE = MEASURES["toggle_margin"].state
assert TOGGLE is not None


def solve_stop(scene: Scene, wanted: list[Hold]) -> Floats:
    """The stops of every lane, (n,) mm."""
    return stops.stopped(scene, wanted).stop


def toggle_hold(least: float) -> Hold:
    return Hold("toggle_margin", TOGGLE, minimum=least)


def flat_toggle(rack: float) -> float:
    """[D] Angle between arm and rod, or its supplement, of the flat linkage at a rack shift, deg."""
    turn = np.radians(flat_steer(ARM, ROD, rack))
    arm = np.array(
        [
            ARM[0] * np.cos(turn) - ARM[1] * np.sin(turn),
            ARM[0] * np.sin(turn) + ARM[1] * np.cos(turn),
        ]
    )
    inner = np.array([ARM[0] + ROD[0], ARM[1] + ROD[1] + rack])
    rod = arm - inner
    sine = abs(arm[0] * rod[1] - arm[1] * rod[0]) / np.hypot(*arm) / np.hypot(*rod)
    return float(np.degrees(np.arcsin(sine)))


def first_crossing(way: float, least: float) -> float:
    """Rack shift at which the flat linkage first falls to the angle, one way; inf where it never does."""
    for rack in np.arange(0.0, 95.0, 1.0):
        if not flat_toggle(way * (rack + 1.0)) >= least:
            return float(brentq(lambda u: flat_toggle(way * u) - least, rack, rack + 1.0))
    return np.inf


@pytest.mark.parametrize("least", [15.0, 22.0, 30.0])
@pytest.mark.parametrize("past", [0.0, 2.5])
def test_stop_of_a_flat_linkage_by_plane_trigonometry(least: float, past: float) -> None:
    """The last half millimetre at which the angle still holds, with the allowance beyond it counted."""
    frame = DutyFrame(travel=(-0.1, 0.1), overtravel=past)
    car = scene_of(CARS[0], flat_steering(690.0, 735.0, ARM, ROD), frame=frame)
    car.rack_travel[:] = 95.0
    reach = min(first_crossing(way, least) for way in (1.0, -1.0))
    assert 20.0 < reach < 95.0
    expected = np.floor((reach - past) / STEP) * STEP
    assert solve_stop(car, [toggle_hold(least)])[0] == pytest.approx(expected)


def walked(scene: Scene, wanted: list[Hold]) -> float:
    """The stop found by walking: every half millimetre of rack from the centre is looked at, none skipped."""
    sides = scene.sides()
    own, past = float(scene.rack_travel[0]), scene.frame.overtravel

    def holds_at(rack: float) -> bool:
        places = [At(t, rack=way * rack) for way in (1.0, -1.0) for t in travels(scene)]
        return all(h.kept(h.state(scene, side, places)).all() for h in wanted for side in sides)

    if not holds_at(0.0):
        return 0.0
    steps = [STEP * n for n in range(int(own / STEP) + 1)]
    if all(holds_at(rack) for rack in [*steps, own, own + past]):
        return own
    sound = 0.0
    for rack in steps:
        if not (holds_at(rack) and holds_at(rack + past)):
            break
        sound = rack
    return sound


@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
@pytest.mark.parametrize("least", [5.0, 25.0, 45.0])
def test_stop_against_a_walk_on_unlike_cars(car: Car, least: float) -> None:
    frame = DutyFrame(travel=(-50.0, 50.0), overtravel=2.5)
    scene = scene_of(car, geometry(car), frame=frame)
    scene.rack_travel[:] = 1.25 * car.rack_travel
    inner = MEASURES["tie_rod_inner_tilt"].state
    assert inner is not None
    wanted = [toggle_hold(least), Hold("tie_rod_inner_limit", inner, maximum=24.0)]
    found = float(solve_stop(scene, wanted)[0])
    assert found == pytest.approx(walked(scene, wanted))
    assert 0.0 <= found <= scene.rack_travel[0]


@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
def test_the_stop_never_lies_beyond_toggle(car: Car) -> None:
    """Whatever is asked: up to the stop and the allowance past it the linkage keeps the angle asked for."""
    for least in (1e-6, 12.0, 28.0):
        for past in (0.0, 3.0):
            scene = scene_of(car, geometry(car), frame=DutyFrame((-60.0, 60.0), past))
            scene.rack_travel[:] = 2.0 * car.rack_travel
            scene = scene.with_stop(solve_stop(scene, [toggle_hold(least)]))
            reach = np.linspace(0.0, float(scene.stop[0]) + past, 40)
            places = [At(t, rack=w * u) for u in reach for w in (1, -1) for t in (-60.0, 0.0, 60.0)]
            states = scene.states("left", places)
            assert states.reached.all()
            assert states.toggle.min() >= least - 1e-6
            assert float(MEASURES["toggle_margin"](scene).min()) >= least - 1e-6


def test_a_stricter_hold_never_lets_the_rack_go_further() -> None:
    for car in CARS:
        scene = scene_of(car, geometry(car))
        found = [float(solve_stop(scene, [toggle_hold(m)])[0]) for m in (5.0, 20.0, 35.0, 60.0)]
        assert (np.diff(found) <= 0.0).all()


def problem(limits: dict[str, Any], joints: dict[str, Any] | None = None) -> Problem:
    goals = {
        "format": 1,
        "car": "c",
        "parts": "p",
        "duties": {"only": {"travel": [-50, 50], "limits": limits}},
    }
    car = {**car_mapping(CARS[0]), "rack": {"travel": 78.0, "per_turn": 44}}
    if joints is not None:
        car["joints"] = joints
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate(car),
        Parts.model_validate({"format": 1, "stations": {"wheel": [{"id": "w"}]}}),
    )


def judged(case: Problem) -> dict[str, Any]:
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    return candidate(assembly, case.demands(assembly, "only"), ())


def test_what_set_the_stop_is_named_with_its_place() -> None:
    free = judged(problem({}))
    toggle = judged(problem({"toggle_margin": {"min": 40}}))
    tilt = judged(
        problem({"toggle_margin": {"min": 20}}, {"tie_rod_inner": {"tilt": 20, "reserve": 3}})
    )
    assert free["solved"]["stop"] == 78.0
    assert free["solved"]["stop_set_by"] == {"by": "rack_end"}
    for record, name in ((toggle, "toggle_margin"), (tilt, "tie_rod_inner_limit")):
        assert 0.0 < record["solved"]["stop"] < 78.0
        said = record["solved"]["stop_set_by"]
        assert said["by"] == name and said["wheel"] in ("inner", "outer")
        assert -50.0 <= said["travel"] <= 50.0
        assert record["feasible"]
    assert toggle["measures"]["lock_inner"]["value"] < free["measures"]["lock_inner"]["value"]


def test_a_lock_that_the_stop_does_not_reach_is_refused_by_name() -> None:
    """Toggle holds at the stop that it sets itself, so it is the lock that cannot be had."""
    case = problem({"toggle_margin": {"min": 40}, "lock_inner": {"min": 38}})
    record = judged(case)
    assert record["shortfalls"].keys() == {"lock_inner"}
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    found = sweep(assembly, case.demands(assembly, "only"))
    assert found.best is None and found.refused_by == {"lock_inner": 1}


def test_where_even_straight_ahead_does_not_hold_the_limit_itself_is_named() -> None:
    record = judged(problem({"toggle_margin": {"min": 89.9}}))
    assert record["solved"]["stop"] == 0.0
    assert record["shortfalls"].keys() == {"toggle_margin"}


def test_one_lane_or_many_have_the_same_stops() -> None:
    lanes = np.concatenate([geometry(car) for car in CARS], axis=1)
    together = scene_of(CARS[0], lanes)
    found = solve_stop(together, [toggle_hold(33.0)])
    for lane in range(len(CARS)):
        alone = scene_of(CARS[0], lanes[:, [lane]])
        assert solve_stop(alone, [toggle_hold(33.0)])[0] == found[lane]
    case = problem({})
    assembly = case.assembly(case.space.build(0), "only")
    assert assembly is not None
    wanted = case.demands(assembly, "only")
    scene = stopped(assembly.scene(np.zeros((1, 0), dtype=np.int64)), wanted)
    assert [hold.name for hold in holds(wanted)] == ["linkage"]
    assert scene.stop[0] <= scene.rack_travel[0]

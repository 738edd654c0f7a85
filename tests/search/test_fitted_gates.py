"""Gates of what a build fits: a build that breaks one of them alone is refused by that gate's name.

In each case the same build with a better part holds every limit, so nothing else refuses it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from kinematics.measures import MEASURES
from optimiser.evaluate import candidate
from optimiser.fitted_sheet import fitted_blocks
from optimiser.inner import sweep
from optimiser.problem import Problem
from optimiser.wording import failing, fault_words, lacks
from tests.cars import CARS
from tests.search.catalogues import car_mapping
from tests.wishbones import ROADSTER

Record = dict[str, Any]

HUB = {
    "bolts": 5,
    "pitch_circle": 108,
    "spigot": 63.4,
    "stud_length": 45,
    "stud_diameter": 12,
    "stud_pitch": 1.5,
}
WHEEL = {"bolts": 5, "pitch_circle": 108, "bore": 63.4, "pad": 12}
BARREL = [[0, 70], [-14, 90], [-14, 140], [6, 168], [120, 176]]
CALIPER = [[-8, 95], [-8, 140], [70, 150], [70, 90]]
X, Y, _ = CARS[0].points["top_mount"]


def car(**sections: Any) -> Record:
    """An invented car with sections added; ``wheel`` adds to what the wheel has."""
    written = car_mapping(CARS[0])
    wheel = {**written["wheel"], **sections.pop("wheel", {})}
    return {**written, **sections, "wheel": wheel}


def problem(written: Record, stations: Record, limits: Record | None = None) -> Problem:
    duty = {"travel": [-50, 50], "limits": limits or {}}
    goals = {"format": 1, "car": "c", "parts": "p", "duties": {"only": duty}}
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate(written),
        Parts.model_validate({"format": 1, "stations": stations}),
    )


def clear(face: float) -> float:
    """[D] Gap of the caliper's corner from the wall that slants up from (-14, 140) to (6, 168), mm.

    ``face`` is how far the corner, which stands level with its lower end, is inboard of it.
    """
    return float(face * 28.0 / np.hypot(20.0, 28.0))


ROD: Record = {"inner": 98, "outer": 86, "thread": 40, "pitch": 1.5, "engagement": 18}


@dataclass(frozen=True)
class Case:
    """A car, a station with a good part of today and a bad one, and what is said of the bad one."""

    gate: str
    written: Record
    station: str
    bad: Record
    words: tuple[str, ...] = ()
    good: Record = field(default_factory=dict)


CASES = {
    "bolts": Case(
        "hub_fit",
        car(hub=HUB, wheel=WHEEL),
        "wheel",
        {"sets": {"wheel": {"bolts": 4, "pitch_circle": 100}}},
        ("wheel on hub", "4 x 100 wheel on a 5 x 108 hub"),
    ),
    "pitch circle": Case(
        "hub_fit",
        car(hub=HUB, wheel=WHEEL),
        "wheel",
        {"sets": {"wheel": {"pitch_circle": 110}}},
        ("5 x 110 wheel on a 5 x 108 hub", "2.0 mm, needs <= 0.2"),
    ),
    "bore": Case(
        "hub_fit",
        car(hub=HUB, wheel=WHEEL),
        "wheel",
        {"sets": {"wheel": {"bore": 73.1}}},
        ("bore 73.1 mm on a spigot of 63.4 mm",),
    ),
    "wheel studs by their diameter": Case(
        # 45 mm less 12 of wheel leave 33, less a plate of 16 leave 17: under 1.5 x 12 = 18
        "wheel_studs",
        car(hub=HUB, wheel=WHEEL),
        "wheel_spacer",
        {"adds": {"wheel": {"spacer": 16}}},
        ("17.0 mm, needs >= 18", "stud 45 mm less spacer 16 mm and wheel 12 mm"),
        {"adds": {"wheel": {"spacer": 15}}},
    ),
    "wheel studs by what is declared": Case(
        "wheel_studs",
        car(hub={**HUB, "engagement": 24}, wheel=WHEEL),
        "wheel",
        {"sets": {"wheel": {"pad": 22}}},
        ("23.0 mm, needs >= 24",),
        {"sets": {"wheel": {"pad": 21}}},
    ),
    "caliper": Case(
        "caliper_gap",
        car(wheel={"barrel": BARREL}, brake={"profile": CALIPER}),
        "knuckle",
        {"sets": {"brake": {"profile": [[-8, 95], [-8, 140], [70, 178], [70, 90]]}}},
        ("caliper clearance", "needs not touching"),
    ),
    "caliper, by the wheel": Case(
        "caliper_gap",
        car(wheel={"barrel": BARREL}, brake={"profile": CALIPER}),
        "wheel",
        {"sets": {"wheel": {"barrel": [[0, 70], [-4, 90], [-4, 140], [6, 168], [120, 176]]}}},
        ("-4.0 mm, needs not touching",),
    ),
    "bump stop": Case(
        "strut_stroke",
        car(strut={"bump": 70, "droop": 70}),
        "spring_seat",
        {"sets": {"strut": {"bump": 30}}},
        ("bump stop at 50 mm bump", "needs >= 0"),
    ),
    "full extension": Case(
        "strut_stroke",
        car(strut={"bump": 70, "droop": 70}),
        "spring_seat",
        {"sets": {"strut": {"droop": 30}}},
        ("full extension at 50 mm droop",),
    ),
    "top mount in a circle": Case(
        "top_mount_outline",
        car(top_mount_outline={"centre": [X, Y], "radius": 15}),
        "top_mount",
        {"moves": {"top_mount": [0, -16, 0]}},
        ("top mount in outline", "-1.0 mm, needs >= 0"),
        {"moves": {"top_mount": [0, -15, 0]}},
    ),
    "top mount in a polygon": Case(
        "top_mount_outline",
        car(
            top_mount_outline={
                "polygon": [
                    [X - 30, Y - 10],
                    [X + 30, Y - 10],
                    [X + 30, Y + 10],
                    [X - 30, Y + 10],
                ]
            }
        ),
        "top_mount",
        {"moves": {"top_mount": [-8, -12, 0]}},
        ("-2.0 mm",),
        {"moves": {"top_mount": [-8, -8, 0]}},
    ),
    "top bearing": Case(
        "top_mount_limit",
        car(joints={"top_mount": {"tilt": 12}}),
        "top_mount",
        {"joints": {"top_mount": {"tilt": 4, "reserve": 3.5}}},
        ("top mount tilt", "needs <= 0.5"),
    ),
    "ball joint of a part": Case(
        "ball_joint_limit",
        car(joints={"ball_joint": {"tilt": 60}}),
        "ball_joint_stub",
        {"joints": {"ball_joint": {"tilt": 5}}},
        ("needs <= 2",),
    ),
    "rod end of a part": Case(
        "tie_rod_outer_limit",
        car(),
        "tie_rod",
        {"joints": {"tie_rod_outer": {"tilt": 7, "reserve": 4}}},
        ("needs <= 3",),
        {"joints": {"tie_rod_outer": {"tilt": 40}}},
    ),
    "upper ball joint of a part, on two arms": Case(
        "upper_ball_joint_limit",
        {**car_mapping(ROADSTER), "joints": {"upper_ball_joint": {"tilt": 60}}},
        "knuckle",
        {"joints": {"upper_ball_joint": {"tilt": 4, "reserve": 3}}},
        ("needs <= 1",),
    ),
    # rack and inner joint 120 mm up: the rod falls by 98 over 344 mm even before it moves
    "inner joint by a rack that stands too high": Case(
        "tie_rod_inner_limit",
        car(joints={"tie_rod_inner": {"tilt": 19}}),
        "rack_mount",
        {"moves": {"tie_rod_inner": [0, 0, 120]}},
        ("needs <= 16",),
    ),
    # 345 mm eye to eye: (98 + 86 + 205 - 345) / 2 = 22 mm in each end, with a tube of 150 mm none
    "rods that no tube in the box joins": Case(
        "rod_fit",
        car(),
        "tie_rod",
        {"rod": {**ROD, "adjusters": [{"length": 150}]}},
        ("no adjuster in the box fits",),
        {"rod": {**ROD, "adjusters": [{"length": 205}]}},
    ),
    # 5 kN on 40 mm of lever: 32 x 5000 x 40 / (pi 12^3) = 1179 MPa; on 12 mm 354 MPa
    "stud under a stack that is too high": Case(
        "stud_strength",
        car(),
        "tie_rod_stud",
        {"strength": {"stud_root": 12, "lever": 40, "allowable_stress": 500}},
        ("1179 MPa, needs <= 500",),
        {"strength": {"stud_root": 12, "lever": 12, "allowable_stress": 500}},
    ),
    # an arm of 4 mm: the rod cannot follow the wheel's travel on so short a circle
    "steering arm that goes over centre": Case(
        "linkage",
        car(),
        "knuckle",
        {"moves": {"tie_rod_outer": [118, 0, 0]}},
        ("goes over centre or out of reach",),
    ),
}


def judged(case: Problem, number: int) -> Record:
    assembly = case.assembly(case.space.build(number), "only")
    assert assembly is not None
    return candidate(assembly, case.demands(assembly, "only"), ())


@pytest.mark.parametrize("name", CASES)
def test_a_build_that_breaks_one_gate_alone_is_refused_by_its_name(name: str) -> None:
    case = CASES[name]
    parts = [{"id": "good", "today": True, **case.good}, {"id": "bad", **case.bad}]
    asked = problem(case.written, {case.station: parts})
    builds = {asked.space.build(n).name[case.station]: n for n in range(asked.space.builds)}
    good, bad = (judged(asked, builds[part]) for part in ("good", "bad"))
    assert good["feasible"], good["shortfalls"]
    assert bad["shortfalls"].keys() == {case.gate}
    assembly = asked.assembly(asked.space.build(builds["bad"]), "only")
    assert assembly is not None
    found = sweep(assembly, asked.demands(assembly, "only"))
    assert found.best is None and found.refused_by == {case.gate: 1}
    (margin,) = failing("only", bad)
    said = f"{lacks('only', bad)} / {fault_words(margin)}"
    for words in case.words:
        assert words in said, said


def labels(written: Record, stations: Record) -> set[str]:
    asked = problem(written, stations)
    build = max(range(asked.space.builds))
    assembly = asked.assembly(asked.space.build(build), "only")
    assert assembly is not None
    return {d.label for d in asked.demands(assembly, "only")}


PLAIN: Record = {"wheel": [{"id": "other"}]}


@pytest.mark.parametrize(
    ("written", "stations"),
    [
        (car(), PLAIN),
        (car(hub=HUB), PLAIN),
        (car(wheel={**WHEEL, "barrel": BARREL}), PLAIN),
        (car(hub={"stud_length": 40}, wheel={"pad": 12}), PLAIN),  # nothing tells the least
        (car(brake={"profile": CALIPER}), PLAIN),
        # a wheel of another width has another inside, which nobody tells
        (
            car(wheel={"barrel": BARREL}, brake={"profile": CALIPER}),
            {"wheel": [{"id": "wide", "sets": {"wheel": {"width": 200}}}]},
        ),
    ],
)
def test_what_is_told_by_half_makes_no_gate(written: Record, stations: Record) -> None:
    assert labels(written, stations) == {"linkage"}


def test_gates_follow_the_build_and_not_the_car() -> None:
    """The wheel that tells its holes is judged, the one before it, of which nothing is known, is not."""
    stations = {"wheel": [{"id": "told", "sets": {"wheel": WHEEL}}]}
    asked = problem(car(hub=HUB), stations)
    for number, gates in ((0, {"linkage"}), (1, {"linkage", "hub_fit", "wheel_studs"})):
        assembly = asked.assembly(asked.space.build(number), "only")
        assert assembly is not None
        assert {d.label for d in asked.demands(assembly, "only")} == gates


RODS = {"tie_rod_outer": {"tilt": 14}}
PLAIN_STUD = {
    "id": "plain",
    "today": True,
    "strength": {"stud_root": 13.5, "lever": 30, "allowable_stress": 650},
    "joints": RODS,
}
# the same reach of the joint's centre on a smaller bolt, with conical spacers that let the eye lean further
MISALIGNED = {
    "id": "cones",
    "strength": {"stud_root": 9.85, "lever": 30, "allowable_stress": 650},
    "joints": {"tie_rod_outer": {"tilt": 28}},
}


def test_spacers_that_let_a_rod_end_lean_further_pay_with_stud_stress() -> None:
    """32 F l / (pi d^3), by hand: 5 kN at 30 mm is 621 MPa on 13.5 mm and 1,599 MPa on 9.85 mm.

    One part trades tilt for stress: it leans 14 deg further on a stud that is far too weak for its lever.
    """
    asked = problem(car(), {"tie_rod_stud": [PLAIN_STUD, MISALIGNED]})
    plain, cones = (judged(asked, n) for n in (0, 1))
    stress = [r["measures"]["stud_stress"]["value"] for r in (plain, cones)]
    assert stress == [pytest.approx(621.0, abs=0.5), pytest.approx(1598.7, abs=0.5)]
    bounds = [r["measures"]["tie_rod_outer_tilt"]["bounds"][0][1] for r in (plain, cones)]
    assert bounds == [11.0, 25.0]
    assert plain["solved"]["stop"] < cones["solved"]["stop"]
    assert plain["feasible"]
    assert cones["shortfalls"].keys() == {"stud_strength"}


def test_spacers_with_room_to_lean_give_back_the_lock_that_a_plain_rod_end_costs() -> None:
    """With a stud that holds either way, only the tilt differs: the stop goes out and the lock with it."""
    short = {"stud_root": 13.5, "lever": 10, "allowable_stress": 620}
    stiff = {**PLAIN_STUD, "strength": short}
    free = {**MISALIGNED, "strength": {**short, "stud_root": 12}}
    asked = problem(car(), {"tie_rod_stud": [stiff, free]})
    plain, cones = (judged(asked, n) for n in (0, 1))
    assert plain["feasible"] and cones["feasible"]
    assert plain["solved"]["stop_set_by"]["by"] == "tie_rod_outer_limit"
    assert plain["solved"]["stop"] < cones["solved"]["stop"]
    lock = [r["measures"]["lock_inner"]["value"] for r in (plain, cones)]
    assert lock[0] < lock[1]


def test_the_later_stations_joint_counts() -> None:
    """Rod ends with the rods, cones on the stud: the cones are what leans."""
    kit = {"id": "kit", "today": True, "joints": RODS}
    stations = {"tie_rod": [kit], "tie_rod_stud": [{**MISALIGNED, "today": True}]}
    asked = problem(car(joints={"tie_rod_outer": {"tilt": 50}}), stations)
    assert judged(asked, 0)["measures"]["tie_rod_outer_tilt"]["bounds"] == [[None, 25.0]]


def test_a_joints_axis_in_the_knuckle_is_that_of_the_car_file_turned() -> None:
    """The car file's stud leans in car axes; a part that says the same in the knuckle's frame tilts alike."""
    car_axis = np.array([0.05, -0.2, 1.0])
    toe, camber = np.radians(CARS[0].toe), np.radians(CARS[0].camber)
    y = np.array([np.sin(toe) * np.cos(camber), np.cos(toe) * np.cos(camber), -np.sin(camber)])
    x = np.array([np.cos(toe), -np.sin(toe), 0.0])
    own = [float(v) for v in np.column_stack([x, y, np.cross(x, y)]).T @ car_axis]
    names = ("ball_joint", "tie_rod_outer")
    by_car = {name: {"tilt": 60, "axis": car_axis.tolist()} for name in names}
    by_part = {name: {"tilt": 60, "axis": own} for name in names}
    one = judged(problem(car(joints=by_car), PLAIN), 0)
    two = judged(problem(car(), {"knuckle": [{"id": "k", "today": True, "joints": by_part}]}), 0)
    for name in names:
        figures = [r["measures"][f"{name}_tilt"]["value"] for r in (one, two)]
        assert figures[0] == pytest.approx(figures[1], abs=1e-9)
        assert figures[0] > 1.0


def test_spacer_plates_shift_the_wheel_and_wear_away_the_studs() -> None:
    """Engagement by hand: 45 less 12 less the plate."""
    plates = {"p": {f"p{t}": {"adds": {"wheel": {"spacer": t}}} for t in (0, 5, 10, 15)}}
    written = car(hub=HUB, wheel={**WHEEL, "barrel": BARREL}, brake={"profile": CALIPER})
    asked = problem(written, {"wheel_spacer": [{"id": "plates", "today": True, "choices": plates}]})
    assembly = asked.assembly(asked.space.build(0), "only")
    assert assembly is not None
    scene = assembly.scene(np.arange(4, dtype=np.int64)[:, None])
    engaged = MEASURES["wheel_stud_engagement"](scene)[0]
    np.testing.assert_allclose(engaged, [33.0, 28.0, 23.0, 18.0])
    np.testing.assert_allclose(MEASURES["wheel_nut_turns"](scene)[0], engaged / 1.5)
    width = MEASURES["width_over_tyres"](scene)[0]
    # both wheels go out along spindles that are level to within a degree or so
    np.testing.assert_allclose(np.diff(width), 10.0, atol=0.02)
    gaps = MEASURES["caliper_clearance"](scene)[0]
    np.testing.assert_allclose(gaps[:2], [clear(6.0), clear(11.0)])
    assert (np.diff(gaps) > 0.0).all()
    assert (MEASURES["hub_fit"](scene) == 0.0).all()


def test_a_hub_face_that_a_part_moves_out_takes_the_wheel_off_the_caliper() -> None:
    written = car(wheel={"barrel": BARREL}, brake={"profile": CALIPER})
    thick = {"id": "thick", "points": {"hub_face": [0, 3, 0]}}
    asked = problem(written, {"knuckle": [thick]})
    gaps = [judged(asked, n)["measures"]["caliper_clearance"]["value"] for n in (0, 1)]
    assert gaps == [pytest.approx(clear(6.0)), pytest.approx(clear(9.0))]


def test_the_wheel_in_its_arch() -> None:
    """A track-control arm 7 mm further forward moves the wheel about as far: by the centres of its points."""
    moved = {"id": "fore", "moves": {name: [7, 0, 0] for name in ("arm_front", "arm_rear")}}
    moved["moves"] |= {"ball_joint": [7, 0, 0], "top_mount": [7, 0, 0], "tie_rod_inner": [7, 0, 0]}
    asked = problem(car(arch={"centre_x": -3}), {"lower_arm": [moved]})
    stock, fore = (judged(asked, n)["measures"]["wheel_in_arch"]["value"] for n in (0, 1))
    toe, camber = np.radians(CARS[0].toe), np.radians(CARS[0].camber)
    centre = CARS[0].points["hub_face"][0] + CARS[0].inset * np.sin(toe) * np.cos(camber)
    assert stock == pytest.approx(centre + 3.0, abs=1e-6)
    assert fore - stock == pytest.approx(7.0, abs=1e-6)


def sheet_words(asked: Problem) -> str:
    assembly = asked.assembly(asked.space.build(0), "only")
    assert assembly is not None
    scene = assembly.scene(np.zeros((1, 0), dtype=np.int64))
    return "\n".join(str(block) for block in fitted_blocks(scene))


def test_the_sheet_tells_what_to_count_and_measure_where_it_is_known() -> None:
    """45 mm of stud less 12 of wheel are 33 mm, at 1.5 mm of pitch 22 full turns."""
    written = car(hub=HUB, wheel={**WHEEL, "barrel": BARREL}, brake={"profile": CALIPER})
    words = sheet_words(problem(written, PLAIN))
    for expected in ("33.0", "'22'", f"{clear(6.0):.1f}", "full turns of the wheel nut"):
        assert expected in words
    assert "strut stroke" not in words
    assert sheet_words(problem(car(), PLAIN)) == ""

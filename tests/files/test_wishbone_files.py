"""What a double wishbone's files may say, and each slip in them: one fault, at its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from goals.car import WishbonePoints
from goals.document import read_document
from goals.reading import load_goals
from goals.schema import json_schema
from tests.files.inputs import CAR, GOALS, WISHBONE_CAR, faults_of, lay, marked, spoil
from tests.files.test_schemas import problems


def test_a_wishbone_car_is_read(tmp_path: Path) -> None:
    goals = lay(tmp_path, car=WISHBONE_CAR)
    car = load_goals(goals).car
    assert isinstance(car.points, WishbonePoints)
    assert car.points.upper_ball_joint == (-24.0, 640.0, 474.0)


def test_its_right_side_may_differ_in_any_point(tmp_path: Path) -> None:
    for line in ("hub_face: [1, -723, 292]", "upper_rear: [-104, -425, 451]"):
        text = spoil(WISHBONE_CAR, "static:", f"points_right: {{{line}}}\nstatic:")
        right = load_goals(lay(tmp_path, car=text)).car.points_right
        assert right is not None
        assert getattr(right, line.split(":")[0])[1] < 0.0


def test_the_schema_knows_it() -> None:
    schema = json_schema("car")
    good = read_document("", WISHBONE_CAR.encode()).data
    assert list(problems(schema, good, schema)) == []
    slip = spoil(WISHBONE_CAR, "upper_front", "uper_front")
    assert list(problems(schema, read_document("", slip.encode()).data, schema))


SLIPS = {
    "missing": (
        "points:\n  arm_front: [132, 348, 172]\n",
        "§points:\n",
        ["key 'arm_front' is missing in points"],
    ),
    "upper missing": (
        "points:\n  arm_front: [132, 348, 172]\n  arm_rear: [-148, 344, 168]\n  ball_joint: "
        "[6, 676, 160]\n  upper_front: [92, 428, 462]\n",
        "§points:\n  arm_front: [132, 348, 172]\n  arm_rear: [-148, 344, 168]\n  ball_joint: "
        "[6, 676, 160]\n",
        ["key 'upper_front' is missing in points"],
    ),
    "no upper point": (
        "  upper_front: [92, 428, 462]\n  upper_rear: [-104, 424, 450]\n"
        "  upper_ball_joint: [-24, 640, 474]\n",
        "",
        ["the points have none of those that a double_wishbone has", "upper_front"],
    ),
    "misspelt": ("  upper_rear", "  §uper_rear", ["perhaps you meant 'upper_rear'"]),
    "suspension": (
        "suspension: double_wishbone",
        "suspension: §strut",
        ["suspension is strut, but the points have upper_front"],
    ),
    "strut's point on the right": (
        "static:",
        "points_right: {§top_mount: [-30, -560, 780]}\nstatic:",
        ["points_right has top_mount"],
    ),
    "pivots in one": (
        "upper_rear: [-104, 424, 450]",
        "upper_rear: §[92, 428, 462.5]",
        ["upper_front and upper_rear are one point"],
    ),
    "arm without length": (
        "upper_ball_joint: [-24, 640, 474]",
        "upper_ball_joint: §[-6, 426, 456]",
        ["upper_ball_joint is on the line through the upper arm's pivots"],
    ),
    "upside down": (
        "upper_ball_joint: [-24, 640, 474]",
        "upper_ball_joint: §[-24, 640, 150]",
        ["upper_ball_joint is not above ball_joint"],
    ),
    "arm along the steering axis": (
        "upper_front: [92, 428, 462]\n  upper_rear: [-104, 424, 450]",
        "upper_front: [80, 658, 317]\n  upper_rear: [-100, 658, 317]",
        ["the upper arm points along the steering axis"],
    ),
    "steering arm without length": (
        "tie_rod_outer: [-112, 660, 196]",
        "tie_rod_outer: §[-9, 658, 317]",
        ["tie_rod_outer is on the steering axis"],
    ),
    "left on the right": (
        "upper_front: [92, 428, 462]",
        "upper_front: §[92, -428, 462]",
        ["upper_front is not on the left side"],
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_one_slip_is_one_fault_at_its_place(tmp_path: Path, slip: str) -> None:
    old, new, words = SLIPS[slip]
    text, line, column = spoil(WISHBONE_CAR, old, new), 0, 0
    if "§" in text:
        text, line, column = marked(text)
    faults = faults_of(lay(tmp_path, car=text))
    assert len(faults) == 1, faults
    assert not line or (faults[0].line, faults[0].column) == (line, column)
    for word in words:
        assert word in str(faults[0])


STRUT_ONLY = {
    "strut section": ("static:", "strut: {bump: 60}\nstatic:", "strut is of a strut"),
    "outline": (
        "static:",
        "top_mount_outline: {centre: [0, 560], radius: 30}\nstatic:",
        "top_mount_outline is of a strut",
    ),
    "joint": (
        "static:",
        "joints: {top_mount: {tilt: 20}}\nstatic:",
        "the joint top_mount is of a strut",
    ),
    "bar's link": (
        "static:",
        "antiroll_bar: {diameter: 20, length: 800, pivot: [200, 350, 250], end: [20, 400, 250], "
        "link: [15, 420, 330], link_on: strut}\nstatic:",
        "the anti-roll bar's link is on a strut",
    ),
}


@pytest.mark.parametrize("slip", STRUT_ONLY)
def test_what_only_a_strut_has_is_told(tmp_path: Path, slip: str) -> None:
    old, new, words = STRUT_ONLY[slip]
    faults = faults_of(lay(tmp_path, car=spoil(WISHBONE_CAR, old, new)))
    assert len(faults) == 1, faults
    assert words in str(faults[0])


def test_a_measure_that_the_suspension_has_not_is_told(tmp_path: Path) -> None:
    asked = spoil(GOALS, "toggle_margin: {min: 18}", "upper_ball_joint_tilt: {max: 20}")
    joint = spoil(CAR, "static:", "joints: {ball_joint: {tilt: 25}}\nstatic:")
    faults = faults_of(lay(tmp_path, goals=asked, car=joint))
    assert len(faults) == 1, faults
    assert "upper_ball_joint_tilt is of a double wishbone, and the car has a strut" in str(
        faults[0]
    )


@pytest.mark.parametrize("point", ["top_mount", "strut_lower", "strut_upper"])
def test_a_part_for_a_strut_is_told_at_the_point(tmp_path: Path, point: str) -> None:
    parts = f"""\
format: 1
stations:
  knuckle:
    - id: other
      moves: {{{point}: [0, 0, 5]}}
      choices: {{hole: {{low: {{moves: {{{point}: [0, 0, 1]}}}}}}}}
      adjusts: {{slot: {{along: {{{point}: [0, 1, 0]}}, range: [0, 4], step: 2}}}}
  top_mount:
    - id: slider
      moves: {{top_mount: [0, 0, 5]}}
"""
    faults = faults_of(lay(tmp_path, car=WISHBONE_CAR, parts=parts))
    assert [fault.line for fault in faults] == [5, 6, 7, 8]
    for fault in faults[:3]:
        assert f"{point} is of a strut, and the car has a double wishbone" in str(fault)
    assert "station 'top_mount' is of a strut" in str(faults[3])

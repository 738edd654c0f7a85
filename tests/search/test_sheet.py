"""The bench sheet: complete, in order, on the paper, and telling what the geometry says."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from kinematics import rows as k
from kinematics.measures import MEASURES
from kinematics.measures.steer import LEFT_TURN, RIGHT_TURN, outer_angle
from kinematics.scene import STRAIGHT, Scene, Side
from optimiser.evaluate import candidate
from optimiser.paper import Grid, as_text, wrapped
from optimiser.problem import Problem
from optimiser.sheet import Sheet
from tests.search.workshop import box, duty, problem, row_of, uneven

Row = dict[str, Any]
DIGEST = "0123456789abcdef" * 4


def sheet(asked: Problem, row: Row) -> str:
    return Sheet(asked, "night", 3, row, {"goals.yaml": DIGEST}, "0.1.0").text()


def section(text: str, heading: str) -> str:
    """What stands below a part's heading, up to the next part."""
    return re.split(r"\n\n\n[^\n]+\n-{80}\n", text.split(f"\n{heading}\n", 1)[1])[0]


def table_rows(text: str, heading: str) -> list[list[str]]:
    """Cells of the first table below a heading, its head left out."""
    lines = text.split(f"\n{heading}\n", 1)[1].splitlines()
    start = next(i for i, line in enumerate(lines) if re.fullmatch(r"-+(  -+)+", line))
    rows = []
    for line in lines[start + 1 :]:
        if not line.strip():
            break
        rows.append(line.split())
    return rows


def scene_of(asked: Problem, row: Row, name: str) -> Scene:
    assembly = asked.assembly(asked.space.build(row["build"]), name)
    assert assembly is not None
    return assembly.scene(np.array([row["duties"][name]["positions"]]))


PLAIN = problem()
PLAIN_ROW = row_of(PLAIN)
PLAIN_TEXT = sheet(PLAIN, PLAIN_ROW)
UNEVEN = problem(right=uneven())
UNEVEN_ROW = row_of(UNEVEN)
UNEVEN_TEXT = sheet(UNEVEN, UNEVEN_ROW)


def test_says_what_it_is_of() -> None:
    head = PLAIN_TEXT.split("Read this first")[0]
    for fact in (PLAIN.car.name, "night", "rank 3", f"build {PLAIN_ROW['build']}", "0.1.0"):
        assert fact in head
    assert DIGEST[:10] in head
    assert DIGEST not in head


@pytest.mark.parametrize("name", PLAIN.duties)
def test_every_setting_is_there(name: str) -> None:
    text = section(PLAIN_TEXT, f"Duty: {name}")
    settings = PLAIN_ROW["duties"][name]["settings"]
    assert f"in out: {settings['top_mount']['in_out']:g} mm - slid inboard" in text
    assert f"thick side: {settings['rack_mount']['thick_side']}" in text
    assert f"turned down: {settings['spring_seat']['turned_down']:g} mm" in text
    assert f"Body {settings['spring_seat']['turned_down']:.1f} mm lower than measured" in text
    assert f"{PLAIN_ROW['duties'][name]['solved']['tie_rod']['length']:.1f}" in text
    beside = section(PLAIN_TEXT, "What differs between hill and pad")
    assert f"{settings['top_mount']['in_out']:g} mm" in beside
    assert settings["rack_mount"]["thick_side"] in beside


@pytest.mark.parametrize("name", PLAIN.duties)
def test_stack_is_told_from_the_joint_outward(name: str) -> None:
    block = PLAIN_ROW["duties"][name]["settings"]["tie_rod_stud"]
    text = section(PLAIN_TEXT, f"Duty: {name}")
    under = text.index("under the joint ")
    joint = text.index("\nthe joint")
    above = text.index("above the joint ")
    nut = text.index("the nut")
    assert under < joint < above < nut
    for place, key in ((under, "pieces_under"), (above, "pieces_above")):
        line = text[place:].split("\n", 1)[0]
        assert " + ".join(f"{piece:g}" for piece in block[key]) in line
        assert line.split()[-1] == f"{sum(block[key]):g}"


def test_only_what_differs_is_marked() -> None:
    beside = section(PLAIN_TEXT, "What differs between hill and pad")
    assert "\n* top mount: in out" in beside
    assert "\ntoe each wheel, deg" in beside


def test_swap_tells_the_flats_that_put_toe_back() -> None:
    rods = [PLAIN_ROW["duties"][name]["solved"]["tie_rod"] for name in PLAIN.duties]
    assert rods[0]["adjuster"] == rods[1]["adjuster"]
    longer = rods[1]["length"] - rods[0]["length"]
    flats = abs(longer) / (2 * rods[0]["pitch"] / rods[0]["flats"])
    way = "longer" if longer > 0 else "shorter"
    assert f"Both tie rods {flats:.1f} flats {way}" in " ".join(PLAIN_TEXT.split())


def test_cautions_and_what_was_not_checked() -> None:
    words = " ".join(PLAIN_TEXT.split())
    for caution in (
        "Positive locking",
        "two threads stand beyond each locknut",
        "by hand from lock to lock at full bump and at full droop",
        "paint-mark, and check again after the first run",
        "Never heat, bend or weld",
        "makers' limits",
        "Local rules",
        "licensed engineer or inspector",
        "rigid, ideal model",
        "signature",
    ):
        assert caution in words
    unchecked = section(PLAIN_TEXT, "Not checked in this version")
    for what in ("tyre clearance", "joint tilt", "stress", "strut stroke", "steering stop"):
        assert what in " ".join(unchecked.split())


@pytest.mark.parametrize("name", PLAIN.duties)
def test_gauge_readings_are_those_of_the_curves(name: str) -> None:
    assembly = PLAIN.assembly(PLAIN.space.build(PLAIN_ROW["build"]), name)
    assert assembly is not None
    positions = tuple(PLAIN_ROW["duties"][name]["positions"])
    curve = candidate(assembly, [], positions, curves=True)["curves"]["travel"]
    at = {t: i for i, t in enumerate(curve["travel"])}
    rows = table_rows(section(PLAIN_TEXT, f"Duty: {name}"), "Bump-steer gauge, expected")
    assert [float(row[0]) for row in rows] == [float(t) for t in range(60, -51, -10)]
    for row in rows:
        i = at[float(row[0])]
        assert float(row[1]) == pytest.approx(curve["toe"][i] - curve["toe"][at[0.0]], abs=6e-3)
        assert float(row[2]) == pytest.approx(curve["camber"][i], abs=6e-2)
        assert set(row[3]) == {"_"}


@pytest.mark.parametrize("turn", [LEFT_TURN, RIGHT_TURN])
def test_turn_plate_readings_of_an_uneven_car(turn: Any) -> None:
    scene = scene_of(UNEVEN, UNEVEN_ROW, "hill")
    text = section(UNEVEN_TEXT, "Duty: hill")
    way = "left" if turn is LEFT_TURN else "right"
    rows = table_rows(text, f"Turn plates, expected, {way} turn")
    assert [row[0] for row in rows] == ["10", "20", "30", "lock"]
    for row in rows[:-1]:
        outer = float(outer_angle(scene, turn, float(row[0]))[0])
        assert float(row[1]) == float(row[0])
        assert float(row[2]) == pytest.approx(outer, abs=6e-2)
        assert float(row[3]) == pytest.approx(float(row[0]) - outer, abs=6e-2)
    case = 0 if turn is LEFT_TURN else 1
    assert float(rows[-1][1]) == pytest.approx(MEASURES["lock_inner"](scene)[case, 0], abs=6e-2)
    assert float(rows[-1][2]) == pytest.approx(MEASURES["lock_outer"](scene)[case, 0], abs=6e-2)
    assert float(rows[-1][4]) == pytest.approx(scene.rack_travel[0], abs=0.06)


def test_rack_position_of_a_reading_gives_that_reading() -> None:
    scene = scene_of(PLAIN, PLAIN_ROW, "pad")
    rows = table_rows(section(PLAIN_TEXT, "Duty: pad"), "Turn plates, expected, either way")
    for row in rows:
        rack = scene.turn_sign * np.array([[float(row[4])]])
        angle = scene.steer("left", scene.solve_rack("left", rack))[0, 0]
        # the rack is told to 0.1 mm, which is less than 0.1 deg
        assert angle == pytest.approx(float(row[1]), abs=0.1)


@pytest.mark.parametrize("name", UNEVEN.duties)
def test_both_sides_of_an_uneven_car(name: str) -> None:
    solved = UNEVEN_ROW["duties"][name]["solved"]
    text = section(UNEVEN_TEXT, f"Duty: {name}")
    rods = {row[0]: row for row in table_rows(text, "Tie rods")}
    assert rods["eye"][4:6] == [
        f"{solved[key]['length']:.1f}" for key in ("tie_rod", "tie_rod_right")
    ]
    assert solved["tie_rod"]["length"] != solved["tie_rod_right"]["length"]
    gauge = table_rows(text, "Bump-steer gauge, expected")
    assert any(row[1] != row[3] for row in gauge)


def test_one_flat_of_the_rod_is_the_toe_that_it_makes() -> None:
    """Set two toes, see how far apart the rods' lengths are: the other way about than the sheet."""
    row = {line[2]: line for line in _flat_lines(PLAIN_TEXT, "hill")}
    length, degrees = float(row["mm"][5]), float(row["deg"][5])
    rod = PLAIN_ROW["duties"]["hill"]["solved"]["tie_rod"]
    assert length == pytest.approx(2 * rod["pitch"] / rod["flats"], abs=6e-3)
    lengths = []
    for change in (-0.05, 0.05):
        scene = scene_of(problem({"hill": duty(20, toe=0.1 + change)}), PLAIN_ROW, "hill")
        lengths.append(float(scene.left[k.ROD_LENGTH, 0]))
    slope = 0.1 / (lengths[1] - lengths[0])
    assert degrees == pytest.approx(abs(slope) * length, abs=6e-3)
    way = "toe-in" if slope > 0 else "toe-out"
    assert f"A longer rod turns the wheel {way}" in " ".join(PLAIN_TEXT.split())


def _flat_lines(text: str, name: str) -> list[list[str]]:
    lines = [line.split() for line in section(text, f"Duty: {name}").splitlines()]
    return [line for line in lines if line[:2] == ["one", "flat,"]]


@pytest.mark.parametrize("side", ["left", "right"])
def test_heights_above_the_ground(side: Side) -> None:
    scene = scene_of(UNEVEN, UNEVEN_ROW, "hill")
    ground = float(scene.states(side, [STRAIGHT]).row(k.CONTACT + 2)[0, 0])
    rows = table_rows(section(UNEVEN_TEXT, "Duty: hill"), "Ride height")
    column = {"left": -4, "right": -3}[side]
    front = UNEVEN.car.points.arm_front[2] - ground
    assert float(rows[0][column]) == pytest.approx(front, abs=0.06)


def test_a_candidate_that_fails_says_so_first() -> None:
    asked = problem(
        {
            "hill": duty(20),
            "pad": duty(30, toggle_margin={"min": 80}),
            "low": duty(300),
        }
    )
    row = row_of(asked)
    head = sheet(asked, row).split("Read this first")[0]
    assert "DOES NOT HOLD EVERY LIMIT - not to be built" in head
    assert re.search(r"pad: toggle margin \d+\.\d deg, needs >= 80", head)
    assert "low: the build cannot give this duty's ride height" in head
    assert "hill:" not in head
    assert "DOES NOT HOLD" not in PLAIN_TEXT


def test_a_rod_that_no_adjuster_makes() -> None:
    rod = {**box()["stations"]["tie_rod"][0]["rod"], "adjusters": [{"length": 60, "count": 2}]}
    asked = problem(parts=box(rod=rod))
    text = sheet(asked, row_of(asked))
    assert "NO ADJUSTER IN THE BOX FITS" in text
    assert "none fits" in text
    assert "not to be built" in text


def test_one_duty_has_nothing_to_differ_from() -> None:
    asked = problem({"hill": duty(20)})
    text = sheet(asked, row_of(asked))
    assert "What differs" not in text
    assert "Duty: hill" in text


def test_state_out_of_reach_is_a_dash() -> None:
    asked = problem({"hill": duty(20)}, rack_travel=30.0)
    rows = table_rows(sheet(asked, row_of(asked)), "Turn plates, expected, either way")
    assert [line[2] == "-" for line in rows] == [False, True, True, False]


LONG = {"hill": duty(20), "p" * 30: duty(10), "q" * 25: duty(5), "pad": duty(30), "low": duty(40)}


def _texts() -> dict[str, str]:
    many = problem(LONG)
    parts = box()
    parts["stations"]["tie_rod_stud"][0]["name"] = "x" * 120 + " äöü 輪輪輪 " * 12
    odd = problem(parts=parts)
    return {
        "plain": PLAIN_TEXT,
        "uneven": UNEVEN_TEXT,
        "many duties": sheet(many, row_of(many)),
        "odd names": sheet(odd, row_of(odd)),
    }


def test_no_line_is_longer_than_the_paper() -> None:
    for name, text in _texts().items():
        longest = max(text.splitlines(), key=cell_len)
        assert cell_len(longest) <= 80, f"{name}: {longest}"
        assert not any(line != line.rstrip() for line in text.splitlines())


def test_every_duty_of_many_stands_beside_the_others() -> None:
    many = problem(LONG)
    text = sheet(many, row_of(many))
    for name in LONG:
        assert f"Duty: {name}" in text


@given(st.text(max_size=200), st.integers(min_value=2, max_value=40))
def test_wrapping_loses_nothing_and_keeps_the_width(text: str, width: int) -> None:
    lines = wrapped(text, width)
    assert all(cell_len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_grid_too_wide_for_the_paper_comes_in_parts() -> None:
    head = ("name", *(f"column {n}" for n in range(20)))
    grid = Grid(head, (("row", *(str(10000000 + n) for n in range(20))),), right=1)
    text = as_text([grid])
    assert all(len(line) <= 80 for line in text.splitlines())
    assert all(str(10000000 + n) in text for n in range(20))
    assert text.count("row ") > 1

"""Parts of the anti-roll bar: holes, links, brackets and other bars, their gate, and the search over them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from kinematics.arrays import Floats
from kinematics.measures import MEASURES
from kinematics.measures.bar import bar_states
from kinematics.scene import At, Scene
from optimiser.checking import check_document
from optimiser.evaluate import candidate
from optimiser.inner import sweep
from optimiser.problem import Problem
from optimiser.settings import solved_texts
from optimiser.wording import bound_words
from tests.bars import END, LINKS, PIVOT, bar_mapping, problem_with
from tests.cars import MIDDLING
from tests.search.test_sweep import plain, walked

HOLES = {
    "choices": {
        "hole": {"outer": {}, "middle": {"moves": {"bar_end": [20, 0, 0]}},
                 "inner": {"moves": {"bar_end": [40, 0, 0]}}}
    }
}  # fmt: skip
LINK = {
    "adjusts": {
        "link": {"adds": {"antiroll_bar": {"link_length": 1}}, "range": [-10, 10], "step": 10}
    }
}
BRACKET = {"adjusts": {"bracket": {"along": {"bar_link": [0, 0, 1]}, "range": [0, 20], "step": 10}}}


def scene_of(problem: Problem, *positions: tuple[int, ...]) -> Scene:
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    count = len(assembly.dimensions)
    return assembly.scene(np.array(positions, dtype=np.int64).reshape(len(positions) or 1, count))


def figures(scene: Scene, name: str) -> Floats:
    return MEASURES[name](scene)[0]


def test_a_hole_further_in_shortens_the_lever_and_stiffens_the_bar() -> None:
    """[D] GJ/L r^2 and 3EI/l^3 with G 79.3, E 206 GPa (reference-checks.md F): K_rel by hand."""
    scene = scene_of(problem_with(bar_mapping("arm"), HOLES), (0,), (1,), (2,))
    levers = np.array([200.0, 180.0, 160.0])
    polar = np.pi * 22.0**4 / 32.0
    torsion = 79_300.0 * polar / 900.0 / levers**2
    bending = 1.5 * 206_000.0 * 0.5 * polar / levers**3
    relative = 1.0 / (1.0 / torsion + 1.0 / bending)
    ratios = figures(scene, "bar_motion_ratio")
    assert figures(scene, "bar_rate") == pytest.approx(2.0 * relative * ratios**2, rel=1e-12)
    assert relative[0] == pytest.approx(45.4729, rel=2e-6)


def test_a_link_of_another_length_turns_the_bar_as_the_triangle_says() -> None:
    """Arm, link and the joint's distance from the axis make a triangle: the law of cosines at the axis."""
    scene = scene_of(problem_with(bar_mapping("arm"), LINK), (0,), (1,), (2,))
    aside = LINKS["arm"][1] - END[1]
    measured = np.linalg.norm(np.array(LINKS["arm"]) - np.array(END))
    link = np.sqrt((measured + np.array([-10.0, 0.0, 10.0])) ** 2 - aside**2)
    reach = np.hypot(LINKS["arm"][0] - PIVOT[0], LINKS["arm"][2] - PIVOT[2])
    at_axis = np.arccos((200.0**2 + reach**2 - link**2) / (2.0 * 200.0 * reach))
    angle = bar_states(scene, "left", [At()]).angle[0]
    assert angle - angle[1] == pytest.approx(at_axis - at_axis[1], abs=1e-9)
    assert angle[1] == pytest.approx(0.0, abs=1e-9)


def test_a_bracket_raised_with_a_link_shortened_as_much_leaves_an_upright_link_where_it_was() -> (
    None
):
    """The link stands upright under the level arm: what the bracket gains the link gives up."""
    upright = [END[0], END[1], 180.0]
    part = {"adjusts": {**BRACKET["adjusts"], **LINK["adjusts"]}}
    problem = problem_with({**bar_mapping("arm"), "link": upright}, part)
    angle = bar_states(scene_of(problem, (0, 1), (1, 0), (1, 1)), "left", [At()]).angle[0]
    assert angle[:2] == pytest.approx(0.0, abs=1e-9)
    # 10 mm higher with the link as it was: a level arm of 200 that points rearward turns by about 10 / 200
    assert angle[2] == pytest.approx(0.05, abs=5e-4)


def test_another_bar_sets_its_own_section() -> None:
    tube = {
        "sets": {"antiroll_bar": {"diameter": 25, "bore": 18, "length": 850, "arm_length": 230}}
    }
    scene = scene_of(problem_with(bar_mapping("arm", bore=3), tube))
    polar = np.pi * (25.0**4 - 18.0**4) / 32.0
    torsion = 79_300.0 * polar / 850.0 / 200.0**2
    bending = 1.5 * 206_000.0 * 0.5 * polar / 230.0**3
    expected = 2.0 / (1.0 / torsion + 1.0 / bending) * figures(scene, "bar_motion_ratio") ** 2
    assert figures(scene, "bar_rate") == pytest.approx(expected, rel=1e-12)


def test_another_bar_on_a_car_that_tells_only_the_ratio() -> None:
    """[D] K goes with d^4 where the arms are of the bar's own section."""
    told = {"diameter": 22, "length": 900, "arm": 200, "motion_ratio": 0.6}
    thicker = {"sets": {"antiroll_bar": {"diameter": 25}}}
    rate = figures(scene_of(problem_with(told, thicker)), "bar_rate")[0]
    assert rate == pytest.approx(90.9458 * 0.36 * (25.0 / 22.0) ** 4, rel=2e-6)


def test_a_section_that_cannot_be_has_no_rate() -> None:
    part = {
        "adjusts": {"bore": {"adds": {"antiroll_bar": {"bore": 1}}, "range": [0, 30], "step": 15}}
    }
    rates = figures(scene_of(problem_with(bar_mapping("arm"), part), (0,), (1,), (2,)), "bar_rate")
    assert np.isfinite(rates).tolist() == [True, True, False]


@pytest.mark.parametrize("link_on", list(LINKS))
def test_lanes_do_not_hang_on_their_neighbours(link_on: str) -> None:
    part = {**HOLES, "adjusts": {**LINK["adjusts"], **BRACKET["adjusts"]}}
    problem = problem_with(bar_mapping(link_on), part)
    places = [(h, n, b) for h in range(3) for n in range(3) for b in range(3)]
    names = ("bar_motion_ratio", "link_angle", "bar_rate", "bar_toggle", "front_roll_stiffness")
    together = scene_of(problem, *places)
    for number, place in enumerate(places):
        alone = scene_of(problem, place)
        for name in names:
            np.testing.assert_array_equal(figures(alone, name)[0], figures(together, name)[number])


# --- what carries the link


def joint(problem: Problem, *positions: tuple[int, ...]) -> Floats:
    states = bar_states(scene := scene_of(problem, *positions), "left", [At()])
    length = scene.number("antiroll_bar.link_length")
    return np.asarray(states.end[:, 0] + length * states.link[:, 0])


def test_a_longer_arm_leaves_the_joint_in_the_body_of_the_arm() -> None:
    """An adjuster at the arm's end moves the ball joint; the bracket inboard of it stays about there."""
    arms = {"lower_arm": [{"id": "arm", "today": True, "moves": {"ball_joint": [0, 6, 0]}}]}
    plain, longer = (
        joint(problem_with(bar_mapping("arm"), stations=stations)) for stations in ({}, arms)
    )
    assert longer[:, 0] == pytest.approx(plain[:, 0], abs=1.5)


def test_a_strut_slid_in_the_knuckle_takes_a_clamped_joint_along() -> None:
    """A strut 10 mm further inboard in the knuckle takes what it carries along, and nothing else."""
    slid = {"knuckle": [{"id": "slid", "today": True, "moves": {"strut_lower": [0, -10, 0]}}]}
    moved = {}
    for link_on in ("strut", "knuckle"):
        plain, there = (
            joint(problem_with(bar_mapping(link_on), stations=stations)) for stations in ({}, slid)
        )
        ball = {}
        for key, stations in (("plain", {}), ("slid", slid)):
            scene = scene_of(problem_with(bar_mapping(link_on), stations=stations))
            state = scene.states("left", [At()])
            spindle, forward = state.raw[4:7, 0, 0], state.raw[24:27, 0, 0]
            frame = np.stack([forward, spindle, np.cross(forward, spindle)])
            at = plain if key == "plain" else there
            ball[key] = frame @ (at[:, 0] - state.raw[17:20, 0, 0])
        moved[link_on] = ball["slid"] - ball["plain"]
    assert moved["strut"] == pytest.approx([0.0, -10.0, 0.0], abs=1e-9)
    assert moved["knuckle"] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)


def test_a_strut_tilted_in_the_knuckle_turns_a_clamped_joint_with_it() -> None:
    """A joint on the sliding axis stays on it, at its distance from the lower point, when the axis tilts."""
    lower, upper = (np.array(MIDDLING.points[name]) for name in ("strut_lower", "top_mount"))
    on_axis = list(lower + 0.4 * (upper - lower))
    tilt = {"knuckle": [{"id": "tilt", "today": True, "moves": {"strut_upper": [0, -20, 0]}}]}
    problem = problem_with({**bar_mapping("strut"), "link": on_axis}, stations=tilt)
    scene = scene_of(problem)
    state = scene.states("left", [At()])
    spindle, forward = state.raw[4:7, 0, 0], state.raw[24:27, 0, 0]
    frame = np.stack([forward, spindle, np.cross(forward, spindle)], axis=1)

    def in_body(point: Floats) -> Floats:
        ball = scene.point("left", "knuckle_ball_joint")
        return np.asarray(state.raw[17:20, 0, 0] + frame @ (point - ball)[:, 0])

    low, high = (in_body(scene.point("left", f"strut_{end}")) for end in ("lower", "upper"))
    along = (high - low) / np.linalg.norm(high - low)
    expected = low + along * 0.4 * np.linalg.norm(upper - lower)
    assert joint(problem)[:, 0] == pytest.approx(expected, abs=1e-8)


# --- the gate


def test_a_build_that_breaks_only_the_bars_gate_is_refused_by_its_name() -> None:
    """Links so short that arm and link cannot reach the joint at full droop; all else holds."""
    short = {
        "adjusts": {
            "link": {"adds": {"antiroll_bar": {"link_length": 1}}, "range": [-70, 0], "step": 70}
        }
    }
    duty = {"limits": {"lock_inner": {"min": 20}, "bump_steer": {"max": 5}}}
    problem = problem_with(bar_mapping("arm"), short, duty)
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    wanted = problem.demands(assembly, "only")
    assert {"bar_linkage", "bar_linkage_at_lock"} <= {d.label for d in wanted}
    broken, sound = (candidate(assembly, wanted, (n,)) for n in (0, 1))
    assert sound["feasible"] and not broken["feasible"]
    only_short = assembly.dimensions[0].only([0])
    lone = problem.assembly_of(problem.space.build(0), "only", (only_short,), 0.0)
    found = sweep(lone, wanted)
    assert found.best is None
    assert found.refused_by == {"bar_linkage": 1}
    assert sweep(assembly, wanted).best == (1,)


def test_a_strut_link_that_steering_takes_out_of_reach_sets_the_stop() -> None:
    """A joint far behind the steering axis swings with the wheel: the gate bounds how far the rack goes."""
    behind = {
        **bar_mapping("knuckle"),
        "link": [-150.0, 640.0, 300.0],
        "end": [-150.0, 585.0, 300.0],
    }
    problem = problem_with({**behind, "pivot": [50.0, 520.0, 300.0]}, None, {"travel": [-10, 10]})
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    record = candidate(assembly, problem.demands(assembly, "only"), ())
    assert record["solved"]["stop"] < MIDDLING.rack_travel
    assert record["solved"]["stop_set_by"]["by"] == "bar_linkage_at_lock"


def test_no_gate_where_the_bars_points_are_not_told() -> None:
    told = {"diameter": 22, "length": 900, "arm": 200, "motion_ratio": 0.6}
    for bar in (None, told):
        problem = problem_with(bar)
        assembly = problem.assembly(problem.space.build(0), "only")
        assert assembly is not None
        labels = {d.label for d in problem.demands(assembly, "only")}
        assert not {"bar_linkage", "bar_linkage_at_lock"} & labels


# --- the search


@pytest.mark.parametrize("seed", range(6))
def test_the_sweep_over_bars_finds_the_best_of_plain_enumeration(seed: int) -> None:
    rng = np.random.default_rng(seed)
    link_on = list(LINKS)[seed % 3]
    part: dict[str, Any] = {**HOLES, "adjusts": {**LINK["adjusts"], **BRACKET["adjusts"]}}
    part["sets"] = {"antiroll_bar": {"diameter": float(rng.integers(18, 28))}}
    stations = {
        "top_mount": [
            {"id": "slider", "today": True,
             "adjusts": {"in_out": {"along": {"top_mount": [0, -1, 0]}, "range": [0, 8], "step": 4}}}
        ],
        "rack_mount": [
            {"id": "high", "today": True,
             "adjusts": {"up": {"along": {"tie_rod_inner": [0, 0, 1]}, "range": [0, 6], "step": 3}}}
        ],
    }  # fmt: skip
    duty = {
        "lowered_by": 20,
        "limits": {"link_angle": {"max": float(rng.uniform(15, 40)), "over": [-30, 30]}},
        "targets": {
            "bar_rate": {"value": float(rng.uniform(20, 90)), "tolerance": 5},
            "bar_motion_ratio": {"value": 0.7, "tolerance": 0.1},
            "camber": {"value": -1.0, "tolerance": 0.5},
            "bump_steer": {"value": 0, "tolerance": 0.1, "over": [-30, 30]},
        },
    }
    problem = problem_with(bar_mapping(link_on), part, duty, stations)
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    bars = [d for d in assembly.dimensions if d.station == "antiroll_bar"]
    assert len(bars) == 3 and all(d.steering_only for d in bars)
    found = sweep(assembly, problem.demands(assembly, "only"))
    wanted = plain(problem, 0, "only", walked)
    if not wanted:
        assert found.best is None
    else:
        assert found.merit == pytest.approx(wanted[0][0], abs=2e-9)
        assert found.best == wanted[0][1]


def test_check_tells_the_bars_figures() -> None:
    document = check_document(problem_with(bar_mapping("strut")))
    measured = document["as_measured"]["measures"]
    for name in ("bar_motion_ratio", "link_angle", "bar_preload", "bar_toggle", "bar_rate"):
        assert measured[name]["value"] is not None, name
    assert measured["bar_preload"]["value"] == 0.0


def test_a_candidate_tells_its_links_and_the_right_one_that_frees_the_bar() -> None:
    """As measured on the left; the right arm was drawn 8 mm lower than level."""
    measured = float(np.linalg.norm(np.array(LINKS["arm"]) - np.array(END)))
    lower = [PIVOT[0] - np.sqrt(200.0**2 - 8.0**2), -END[1], PIVOT[2] - 8.0]
    for right, freed in ((None, measured), ({"end": lower}, measured)):
        more = {} if right is None else {"right": right}
        problem = problem_with(bar_mapping("arm", **more))
        assembly = problem.assembly(problem.space.build(0), "only")
        assert assembly is not None
        record = candidate(assembly, problem.demands(assembly, "only"), ())
        links = record["solved"]["bar_link"]
        assert links["left"] == pytest.approx(measured, abs=1e-9)
        assert links["right_free"] == pytest.approx(freed, abs=1e-9)
        words = dict(solved_texts({"only": record}))
        if right is None:
            assert words["bar links, mm between joints"] == {"only": f"{measured:.1f}"}
        else:
            assert links["right"] < measured - 5.0
            assert words["the same for no preload"] == {"only": f"{measured:.1f}"}


def test_a_car_without_the_bars_points_tells_no_links() -> None:
    problem = problem_with(None)
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    record = candidate(assembly, problem.demands(assembly, "only"), ())
    assert "bar_link" not in record["solved"]


def test_the_gates_are_worded_as_reach_and_a_limit_of_ones_own_is_not() -> None:
    assert bound_words("bar_linkage", [None, 90.0 - 1e-6]) == "in reach"
    assert bound_words("bar_linkage_at_lock", [1e-6, None]) == "in reach"
    assert bound_words("link_angle", [None, 30.0]) == "<= 30"
    assert bound_words("toggle_margin", [1e-6, None]) == "not over centre"

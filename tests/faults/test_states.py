"""Every limit tells the state in which it was decided, and that state alone gives the told figure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from kinematics.measures import MEASURES, Ask
from kinematics.obstacles import Obstacles
from kinematics.scene import Scene
from optimiser import decided
from optimiser.checking import check_document
from optimiser.compare import Side, compare_document
from optimiser.compare_table import print_compare
from optimiser.evaluate import measures_of
from optimiser.problem import Problem
from optimiser.runs import Run, ranking_document
from optimiser.sheet import Sheet
from optimiser.tables import print_check, print_rank
from tests.faults.again import told_again
from tests.faults.equipped import ASKS, KINDS, everything_asked, problem_of, scene_of
from tests.faults.wards import files
from tests.rerun.bench import Files

Record = dict[str, Any]
SAMPLE = Path(__file__).parents[2] / "runs" / "sample"
# Figures and states that are of none: what they follow from is told instead.
OF_NO_STATE = frozenset(
    {
        "price",
        "stack_fit",
        "stud_stress",
        "hub_fit",
        "wheel_stud_engagement",
        "wheel_nut_turns",
        "caliper_clearance",
        "top_mount_room",
    }
)


def assert_told_again(scene: Scene, wheel: str | None) -> set[str]:
    """Each figure of a scene against its told state; returns the measures that had a figure."""
    wanted = everything_asked(scene, wheel)
    seen = set()
    for demand in wanted:
        name = demand.measure.name
        entry = measures_of(scene, [demand])[name]
        if entry["value"] is None:
            continue
        seen.add(name)
        state = entry["state"]
        if name in OF_NO_STATE or name == "stop_travel":
            assert "basis" in state or name == "stop_travel"
            continue
        again = told_again(scene, name, state, ASKS.get(name, demand.asks[0]))
        if again is not None:
            size = max(1.0, abs(entry["value"]))
            assert again == pytest.approx(entry["value"], abs=1e-9 * size, rel=0.0), (name, state)
    return seen


def scenes(kind: str, count: int, first: int = 0) -> list[Scene]:
    found = []
    for seed in range(first, first + count):
        problem = problem_of(kind, seed)
        for duty in problem.duties:
            scene = scene_of(problem, duty, seed)
            if scene is not None:
                found.append(scene)
    return found


@pytest.mark.parametrize("kind", KINDS)
def test_the_told_state_alone_gives_the_figure(kind: str) -> None:
    seen: set[str] = set()
    for number, scene in enumerate(scenes(kind, 3)):
        wheels = (None, "left", "right") if kind.startswith("uneven") else (None, "inner", "outer")
        seen |= assert_told_again(scene, wheels[number % len(wheels)])
    kinds = {"strut_stroke_left", "top_mount_room", "top_mount_tilt", "upper_ball_joint_tilt"}
    left_out = {"stack_fit", "stud_stress", "wheel_in_arch", "caliper_clearance"} | kinds
    assert set(MEASURES) - left_out <= seen, set(MEASURES) - left_out - seen


def problem_from(told: Files) -> Problem:
    """A problem of files' mappings."""
    return Problem(
        GoalsFile.model_validate(told["goals"]),
        CarFile.model_validate(told["car"]),
        Parts.model_validate(told["parts"]),
    )


def printed(table: Callable[..., None], *told: Any, width: int = 80) -> str:
    """What a table prints."""
    console = Console(file=StringIO(), width=width)
    table(console, *told)
    return console.file.getvalue()  # type: ignore[attr-defined]


def only(obstacles: Obstacles, name: str, there: bool) -> Obstacles:
    """The obstacle of a name alone, or all others."""
    pieces = tuple(p for p in obstacles.pieces if (obstacles.names[p.owner] == name) is there)
    return replace(obstacles, pieces=pieces)


@pytest.mark.parametrize("kind", KINDS[:2])
def test_the_named_obstacle_is_the_nearest(kind: str) -> None:
    tyre = MEASURES["tyre_clearance"]
    for scene in scenes(kind, 3):
        assert scene.obstacles is not None
        wanted = [d for d in everything_asked(scene) if d.measure is tyre]
        entry = measures_of(scene, wanted)["tyre_clearance"]
        state = entry["state"]
        named = state["of"]
        alone, others = (
            replace(scene, obstacles=only(scene.obstacles, named, there)) for there in (True, False)
        )
        found = [told_again(one, tyre.name, state, Ask()) for one in (alone, others)]
        assert found[0] == pytest.approx(entry["value"], abs=1e-9)
        assert found[1] is not None and found[1] >= entry["value"]


def test_every_gate_is_in_the_table_with_its_state() -> None:
    """A limit on one wheel leaves the gate on every wheel standing; both are judged and both are shown."""
    told = files()
    told["car"]["points_right"] = {"tie_rod_inner": [-98, -340, 221]}
    limits = told["goals"]["duties"]["hill"]["limits"]
    limits["tyre_clearance"] = {"min": 5, "wheel": "left"}
    problem = problem_from(told)
    document = check_document(problem)
    measures = document["duties"]["hill"]["measures"]
    assert measures["tyre_clearance"]["state"]["wheel"] == "left"
    assert measures["tyre_gap"]["bounds"] == [[pytest.approx(1e-6), None]]
    text = printed(print_check, document, problem, width=200)
    rows = [line for line in text.splitlines() if line.startswith("tyre clearance, mm")]
    assert len(rows) == 2
    assert sum("not touching" in row for row in rows) == 1
    assert sum(">= 5" in row for row in rows) == 1


def words_in(text: str) -> str:
    return " ".join(text.split())


def test_states_are_told_wherever_a_limit_is() -> None:
    """The sample run's candidate: in the ranking, on its sheet, beside another, and in what decided."""
    run = Run(SAMPLE)
    problem = run.load()
    rows = run.ranked(9)
    ranking = words_in(printed(print_rank, ranking_document(run, problem, rows)))
    assert "camber -3.7 to -3.1, 0.005 deg in hand; straight ahead at ride height" in ranking
    assert "lock 1.3 deg (inner wheel, ride height, 64.5 mm of rack)" in ranking
    sides = Side(run.name, 1, problem, rows[0]), Side(run.name, 2, problem, rows[1])
    compared = words_in(printed(print_compare, compare_document(*sides)))
    assert "A: inner wheel, 60 mm droop, 68.3 mm of rack" in compared
    sheet = words_in(Sheet(problem, run.name, 1, rows[0], {}, "1").text())
    assert "decided in the state" in sheet
    why = decided.document(problem, rows, rows[:2])
    stood = [each for duty in why.values() for each in duty["stood_at"]]
    assert stood and all(each["state"] for each in stood)
    gap = next(each for each in stood if each["limit"] == "tyre_clearance")
    assert gap["state"]["of"] == "tie rod" and gap["state"]["wheel"] == "inner"

"""Every limit tells the state in which it was decided, and that state alone gives the told figure."""

from __future__ import annotations

from typing import Any

import pytest

from kinematics.measures import MEASURES
from kinematics.scene import Scene
from optimiser.evaluate import measures_of
from tests.faults.again import told_again
from tests.faults.equipped import ASKS, KINDS, everything_asked, problem_of, scene_of

Record = dict[str, Any]
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

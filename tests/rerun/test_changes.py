"""What was changed is told in the words of the files, and only what was changed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from goals.reading import load_goals
from optimiser.changes import changes
from optimiser.problem import Problem
from tests.rerun.bench import Files, problem_of, write
from tests.rerun.edits import BASES, EDITS, duties, part


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Problem:
    return problem_of(load_goals(write(tmp_path_factory.mktemp("before"), BASES["paired"]())))


def told(before: Problem, folder: Path, files: Files) -> list[str]:
    after = problem_of(load_goals(write(folder, files)))
    return [change.words for change in changes(before, after)]


def edited(name: str, value: Any, *path: str) -> Files:
    """The files with one entry of one of them set."""
    files = BASES["paired"]()
    at: Any = files[name]
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    return files


def test_nothing_changed_is_nothing(before: Problem, tmp_path: Path) -> None:
    files = BASES["paired"]()
    assert told(before, tmp_path / "same", files) == []
    # layout, comments and units are no change
    goals = write(tmp_path / "inches", files)
    car = goals.with_name("car.yaml")
    wheelbase = files["car"]["wheelbase"]
    text = f"# measured in the shop\n{car.read_text()}"
    car.write_text(text.replace(f"wheelbase: {wheelbase}", f'wheelbase: "{wheelbase / 10} cm"'))
    after = problem_of(load_goals(goals))
    assert "cm" in car.read_text()
    assert changes(before, after) == []


def test_figures_are_told_before_and_after(before: Problem, tmp_path: Path) -> None:
    files = BASES["paired"]()
    was = files["car"]["points"]["ball_joint"][2]
    files["car"]["points"]["ball_joint"][2] = was + 1.0
    part(files, "slim")["price"] = 120
    files["goals"]["changeover"]["minutes"]["max"] = 60
    duty = next(iter(files["goals"]["duties"]))
    duties(files)[0].setdefault("limits", {})["lock_inner"] = {"min": 45}
    now = told(before, tmp_path, files)
    assert f"car.yaml: ball_joint z {was:g} → {was + 1:g}" in now
    assert "parts.yaml: knuckle slim: price 180 → 120" in now
    assert "goals.yaml: changeover minutes max 75 → 60" in now
    (limit,) = [words for words in now if "lock_inner" in words]
    assert limit in (
        f"goals.yaml: duty {duty}: limit lock_inner added: min 45",
        f"goals.yaml: duty {duty}: limit lock_inner min {_least(before, duty)} → 45",
    )
    assert len(now) == 4


def _least(problem: Problem, duty: str) -> str:
    limit: Any = problem.goals.duties[duty].limits.get("lock_inner")
    return "" if limit is None else f"{limit.min:.6f}".rstrip("0").rstrip(".")


def test_what_came_and_went_is_named(before: Problem, tmp_path: Path) -> None:
    files = BASES["paired"]()
    stations = files["parts"]["stations"]
    stations["knuckle"].pop(0)
    stations["wheel_spacer"] = [{"id": "plate", "adds": {"wheel": {"spacer": 5}}, "price": 40}]
    stations["knuckle"].append({"id": "tall", "moves": {"ball_joint": [0, 0, -9]}, "price": 99})
    files["goals"]["duties"]["wet"] = {"targets": {"camber": {"value": -1, "tolerance": 1}}}
    now = told(before, tmp_path, files)
    assert any(w.startswith("parts.yaml: knuckle dropped removed") for w in now)
    assert any(w.startswith("parts.yaml: knuckle tall added") and "price 99" in w for w in now)
    assert any("wheel_spacer" in w and "plate" in w for w in now)
    assert any(w.startswith("goals.yaml: duty wet added") for w in now)
    assert len(now) == 4


def test_defaults_left_out_and_given_are_told(before: Problem, tmp_path: Path) -> None:
    assert told(before, tmp_path, edited("goals", {"toe": 0.02}, "tolerances")) == [
        "goals.yaml: tolerances toe 0.05 → 0.02"
    ]
    files = edited("parts", "crowns", "currency")
    part(files, "slim")["name"] = "slim one"
    now = told(before, tmp_path, files)
    assert "parts.yaml: currency not given → crowns" in now
    assert "parts.yaml: knuckle slim: name not given → slim one" in now


def test_another_order_is_a_change_too(before: Problem, tmp_path: Path) -> None:
    files = BASES["paired"]()
    files["parts"]["stations"]["knuckle"].reverse()
    assert told(before, tmp_path, files) == ["parts.yaml: the order of its entries"]


@pytest.mark.parametrize("edit", [e for e in EDITS if e.base == "paired"], ids=lambda e: e.name)
def test_every_edit_is_told_in_lines_that_fit(edit: Any, before: Problem, tmp_path: Path) -> None:
    files = BASES["paired"]()
    edit.change(files)
    lines = told(before, tmp_path, files)
    assert 0 < len(lines) < 12
    assert all("\n" not in line and len(line) < 200 for line in lines)
    # told the other way round, what came went
    after = problem_of(load_goals(write(tmp_path, files)))
    back = changes(after, before)
    assert len(back) == len(lines)
    forth = {(c.where, c.before, c.after) for c in changes(before, after)}
    assert {(c.where, c.after, c.before) for c in back} == forth

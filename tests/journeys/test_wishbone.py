"""The double-wishbone example as a user calls it, cut down so that it is searched in seconds."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pytest
import yaml

from optimiser.search_commands import EXAMPLES, Suspension
from tests.journeys.garage import run

KINDS = ("goals", "car", "parts")


def shipped(kind: str) -> str:
    name = f"{EXAMPLES[Suspension.DOUBLE_WISHBONE]}{kind}.yaml"
    return files("goals.examples").joinpath(name).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped example with few of its stations left."""
    folder = tmp_path_factory.mktemp("arms")
    parts = yaml.safe_load(shipped("parts"))
    for station in ("knuckle", "tie_rod_stud", "rack_end", "lower_arm", "wheel_spacer"):
        del parts["stations"][station]
    goals = yaml.safe_load(shipped("goals"))
    goals["duties"]["circuit"]["targets"]["bump_steer"]["tolerance"] = 0.2
    written = {"car": yaml.safe_load(shipped("car")), "parts": parts, "goals": goals}
    for kind, content in written.items():
        (folder / f"wishbone_{kind}.yaml").write_text(yaml.safe_dump(content, sort_keys=False))
    return folder


def test_check_shows_the_car_as_its_file_gives_it(workshop: Path) -> None:
    outcome = run("check", "wishbone_goals.yaml", "--json", cwd=workshop)
    assert outcome.code == 0, outcome.err
    measures = outcome.document["as_measured"]["measures"]
    car = yaml.safe_load(shipped("car"))
    assert measures["toe"]["value"] == pytest.approx(car["static"]["toe"], abs=1e-9)
    assert measures["camber"]["value"] == pytest.approx(car["static"]["camber"], abs=1e-9)
    assert measures["upper_ball_joint_tilt"]["value"] > 0.0
    assert not {"strut_stroke_left", "top_mount_room", "top_mount_tilt"} & set(measures)
    curve = outcome.document["duties"]["circuit"]["curves"]["travel"]
    assert None not in curve["camber"]


def test_search_show_and_sheet(workshop: Path) -> None:
    outcome = run("search", "wishbone_goals.yaml", "--name", "arms", cwd=workshop)
    assert outcome.code == 0, outcome.err
    assert "proven" in outcome.out
    first = run("rank", "arms", "--json", cwd=workshop).document["candidates"][0]
    assert first["build"]["upper_arm"] in ("pressed", "slotted")
    assert set(first["duties"]) == {"circuit", "lanes"}
    assert run("show", "arms", "1", cwd=workshop).code == 0
    sheet = run("sheet", "arms", "1", cwd=workshop)
    assert sheet.code == 0, sheet.err
    for words in ("upper arm, front body pivot", "upper arm, pivots and ball joint"):
        assert words in sheet.out
    for word in ("top mount", "strut"):
        assert word not in sheet.out


def test_the_shipped_files_are_sound_and_the_demo_lays_them(tmp_path: Path) -> None:
    """Laid and read; the search itself is stopped by goals that ask what no build gives."""
    inputs = tmp_path / "runs" / "demo-inputs"
    inputs.mkdir(parents=True)
    goals = yaml.safe_load(shipped("goals"))
    goals["duties"] = {"circuit": {"lowered_by": 290}}
    (inputs / "wishbone_goals.yaml").write_text(yaml.safe_dump(goals))
    outcome = run("demo", "--suspension", "double_wishbone", cwd=tmp_path)
    assert outcome.code == 1, outcome.err
    for kind in ("car", "parts"):
        assert (inputs / f"wishbone_{kind}.yaml").read_text(encoding="utf-8") == shipped(kind)
    assert "wishbone_goals.yaml is there already" in outcome.err
    assert (tmp_path / "runs" / "demo-wishbone" / "ranked.json").exists()

"""The fitted car's file: the old text with new numbers, beside the old file, which is never touched."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import yaml

from goals.reading import Loaded, load_goals
from kinematics.scene import DutyFrame
from optimiser.assembly import as_measured
from optimiser.fit import Fit, Model
from optimiser.fitted_car import write_fitted
from optimiser.point_space import PointSpace
from optimiser.predict import predictions
from optimiser.reading_list import Reading
from tests.files.inputs import CAR, GOALS, PARTS, WISHBONE_CAR

READ = (
    Reading("camber", "left", 0.0, 0.1, "deg", 40.0),
    Reading("toe_change", "right", 0.0, 0.1, "deg", -30.0),
    Reading("turn_plates", "left", 0.0, 0.1, "deg", inner=20.0),
    Reading("caster", "left", 0.0, 0.1, "deg"),
)
COMMENTED = CAR.replace(
    "  ball_joint: [5, 690, 185]\n",
    "  # the ball joint was hard to reach\n  ball_joint: [5, 27.2 in, 185]  # by tape\n",
).replace("format: 1\n", "# A car (invented)\n# of mine\n\nformat: 1  # the first\n")


def fitted(folder: Path, car: str, goals: str = GOALS) -> tuple[Loaded, Fit]:
    """Sound files in a folder, and a fit that moves every coordinate by up to a millimetre."""
    for name, text in (("goals.yaml", goals), ("car.yaml", car), ("parts.yaml", PARTS)):
        (folder / name).write_bytes(text.encode())
    loaded = load_goals(folder / "goals.yaml")
    space = PointSpace.of(loaded.goals, loaded.car)
    shift = np.zeros(len(space.coordinates))
    shift[: space.points] = np.round(np.random.default_rng(1).uniform(-1, 1, space.points), 2)
    none = np.zeros(0)
    found = Fit(Model(space, (), 0.0), shift, np.eye(space.points), none, none, none, 0.0)
    return loaded, found


def written(folder: Path, loaded: Loaded, found: Fit, beside: str = "car.yaml") -> Path:
    return write_fitted(loaded, found, folder / beside, folder / "may readings.yaml", b"read")


@pytest.mark.parametrize("car", [CAR, COMMENTED, COMMENTED.replace("\n", "\r\n")])
def test_only_numbers_of_points_change(tmp_path: Path, car: str) -> None:
    loaded, found = fitted(tmp_path, car)
    path = written(tmp_path, loaded, found)
    assert path.name == "car.fitted.yaml"
    assert (tmp_path / "car.yaml").read_bytes() == car.encode()
    text = path.read_bytes().decode()
    ending = "\r\n" if "\r\n" in car else "\n"
    new, old = text.split(ending), car.split(ending)
    assert text.count("\n") == text.count(ending)
    added = [line for line in new if line.startswith(("# Points fitted", "# from car.yaml"))]
    assert len(added) == 2
    # sha256 of b"read", by coreutils' sha256sum
    assert "may readings.yaml, SHA-256 3316348dbadfb7b1" in added[0]
    kept = [line for line in new if line not in added]
    assert len(kept) == len(old)
    for before, after in zip(old, kept, strict=True):
        if "[" not in before:
            assert after == before
        else:
            assert after.split("[")[0] == before.split("[")[0]
            assert after.split("]")[1] == before.split("]")[1]


@pytest.mark.parametrize("car", [CAR, COMMENTED, WISHBONE_CAR])
def test_the_new_file_loads_and_is_the_fitted_car(tmp_path: Path, car: str) -> None:
    goals = GOALS if "strut" in car else GOALS.replace("      lock_inner: {min: 38}\n", "")
    loaded, found = fitted(tmp_path, car, goals)
    path = written(tmp_path, loaded, found)
    (tmp_path / "goals.yaml").write_text(goals.replace("car.yaml", path.name))
    again = load_goals(tmp_path / "goals.yaml").car
    space = found.model.space
    assert again == space.shifted(found.shift[: space.points])
    expected = predictions(space.scene(found.shift[:, None]), READ)
    told = predictions(as_measured(again, DutyFrame()), READ)
    assert np.allclose(told, expected, rtol=0.0, atol=1e-9)
    assert not np.allclose(told, predictions(as_measured(loaded.car, DutyFrame()), READ), atol=1e-3)


def test_no_file_is_ever_written_over(tmp_path: Path) -> None:
    loaded, found = fitted(tmp_path, CAR)
    names = [written(tmp_path, loaded, found).name for _ in range(3)]
    assert names == ["car.fitted.yaml", "car.fitted-2.yaml", "car.fitted-3.yaml"]
    (tmp_path / "car.fitted-4.yaml").write_text("mine")
    assert written(tmp_path, loaded, found, "car.fitted-2.yaml").name == "car.fitted-5.yaml"
    assert (tmp_path / "car.fitted-4.yaml").read_text() == "mine"
    assert (tmp_path / "car.yaml").read_text() == CAR


def test_a_car_that_fails_its_readings_says_so_in_its_file(tmp_path: Path) -> None:
    loaded, found = fitted(tmp_path, CAR)
    path = write_fitted(loaded, found, tmp_path / "car.yaml", tmp_path / "r.csv", b"", sound=False)
    assert "# It does NOT reproduce those readings" in path.read_text()
    assert "NOT reproduce" not in written(tmp_path, loaded, found).read_text()


def test_a_right_side_keeps_what_it_leaves_out(tmp_path: Path) -> None:
    car = CAR + "points_right:\n  ball_joint: [5, -692, 186]  # bent arm?\n"
    loaded, found = fitted(tmp_path, car)
    assert found.model.space.points == 27
    data = yaml.safe_load(written(tmp_path, loaded, found).read_text())
    assert list(data["points_right"]) == ["ball_joint"]
    moved = found.shift[24:27]
    assert data["points_right"]["ball_joint"] == pytest.approx(
        [5 + moved[0], -692 + moved[1], 186 + moved[2]]
    )


def test_numbers_by_reference_are_put_right_too(tmp_path: Path) -> None:
    car = CAR.replace("[180, 320, 190]", "[180, &y 320, 190]").replace("[-140, 310", "[-140, *y")
    loaded, found = fitted(tmp_path, car)
    path = written(tmp_path, loaded, found)
    data = yaml.safe_load(path.read_text())
    measured = found.model.space.measured + found.shift
    words = [c.words for c in found.model.space.coordinates]
    for name in ("arm_front", "tie_rod_inner"):
        wanted = [measured[words.index(f"{name} {axis}")] for axis in "xyz"]
        assert data["points"][name] == pytest.approx(wanted)
    assert "# name: Wendle Two" in path.read_text()


@pytest.mark.parametrize("flow", [False, True])
def test_a_car_in_the_goals_file_becomes_a_file_of_its_own(tmp_path: Path, flow: bool) -> None:
    data = yaml.safe_load(CAR)
    block = "".join(f"  {line}\n" for line in COMMENTED.splitlines() if line)
    inline = f"car:\n{block}"
    if flow:
        inline = f"car: {yaml.safe_dump(data, default_flow_style=True, width=9999)}"
    goals = GOALS.replace("car: car.yaml\n", inline)
    loaded, found = fitted(tmp_path, CAR, goals)
    path = written(tmp_path, loaded, found, "goals.yaml")
    assert path.name == "car.fitted.yaml"
    assert (tmp_path / "goals.yaml").read_text() == goals
    (tmp_path / "goals.yaml").write_text(GOALS.replace("car.yaml", path.name))
    again = load_goals(tmp_path / "goals.yaml").car
    assert again == found.model.space.shifted(found.shift[: found.model.space.points])
    assert flow or "# the ball joint was hard to reach" in path.read_text()

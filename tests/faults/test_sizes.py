"""Builds with more settings than a sweep has room for are refused in words, before anything is searched."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest

from goals.reading import load_goals
from optimiser.problem import Problem
from optimiser.sizes import MOST_BENEATH, MOST_ROD_ENDS, MOST_SUSPENSION
from tests.faults import every_field, growing

ARM = {"along": {"arm_front": [0, 1, 0]}}
INNER = {"along": {"tie_rod_inner": [0, 1, 0]}}
OUTER = {"along": {"tie_rod_outer": [0, 0, 1]}}
RACK = {"adds": {"rack": {"travel": 1}}}
HEIGHT = {"adds": {"lowered_by": 1}}


def problem(tmp_path: Path, stations: dict[str, list[Any]], lowered_by: Any = 0) -> Problem:
    """A problem of the wishbone car with such stations, each a list of parts as lists of adjusters."""
    files = copy.deepcopy(every_field.plain()[2])
    files["parts"]["stations"] = {
        station: [
            {"id": f"{station} {n}", "adjusts": {f"a{m}": each for m, each in enumerate(part)}}
            for n, part in enumerate(parts)
        ]
        for station, parts in stations.items()
    }
    files["goals"]["duties"]["circuit"]["lowered_by"] = lowered_by
    growing.lay(tmp_path, files)
    loaded = load_goals(tmp_path / "goals.yaml")
    return Problem(loaded.goals, loaded.car, loaded.parts)


def adjuster(moves: dict[str, Any], positions: int) -> dict[str, Any]:
    return {**moves, "range": [0, 1], "step": 1.0 / (positions - 1)}


TOO_MANY = {
    "a suspension of three slots": (
        {"lower_arm": [[adjuster(ARM, 1500)] * 3]},
        f"a build has up to 3,375,000,000 settings of its suspension; at most {MOST_SUSPENSION:,}",
    ),
    "slots of several stations": (
        {s: [[adjuster(ARM, 900)], [adjuster(ARM, 5)]] for s in ("lower_arm", "knuckle", "wheel")},
        f"a build has up to 729,000,000 settings of its suspension; at most {MOST_SUSPENSION:,}",
    ),
    "both ends of the rods": (
        {"tie_rod": [[adjuster(INNER, 2000)]], "tie_rod_stud": [[adjuster(OUTER, 2000)] * 2]},
        f"a build has up to 8,000,000,000 settings of its tie rods' ends; at most {MOST_ROD_ENDS:,}",
    ),
    "the rack": (
        {"rack_end": [[adjuster(RACK, 1100)] * 2]},
        f"a build has up to 1,210,000 settings of rack and anti-roll bar; at most {MOST_BENEATH:,}",
    ),
    "more digits than a page has": (
        {s: [[adjuster(ARM, 1000)] * 24] for s in ("lower_arm", "knuckle", "wheel", "rack_mount")},
        f"a build has up to 10^288 settings of its suspension; at most {MOST_SUSPENSION:,}",
    ),
}


@pytest.mark.parametrize("what", TOO_MANY)
def test_more_settings_than_can_be_swept(tmp_path: Path, what: str) -> None:
    stations, words = TOO_MANY[what]
    made = problem(tmp_path, stations)
    with pytest.raises(ValueError) as error:
        _ = made.space
    assert str(error.value).startswith(words)
    assert "\n" not in str(error.value)


def test_heights_count_beside_the_suspension(tmp_path: Path) -> None:
    """A range of ride heights is searched where nothing on the car lowers it; else what lowers it is."""
    slots = {"lower_arm": [[adjuster(ARM, 600)] * 2]}
    heights = {"min": 0, "max": 100, "step": 0.1}
    assert problem(tmp_path, slots).space.builds == 2
    with pytest.raises(ValueError, match="360,360,000 settings of its suspension"):
        _ = problem(tmp_path, slots, heights).space
    perch = {**slots, "spring_seat": [[adjuster(HEIGHT, 500)]]}
    assert problem(tmp_path, perch, {"min": 0, "max": 1, "step": 0.5}).space.builds == 4


def test_settings_in_all_fit_a_whole_number_of_the_ledger(tmp_path: Path) -> None:
    stations = {
        "lower_arm": [[adjuster(ARM, 2000), adjuster(ARM, 2000), adjuster(ARM, 40)]],
        "tie_rod": [[adjuster(INNER, 2000), adjuster(INNER, 2000)]],
        "rack_end": [[adjuster(RACK, 900), adjuster(RACK, 900)]],
    }
    with pytest.raises(ValueError, match=r"up to 10\^20 settings in all; at most 10\^18"):
        _ = problem(tmp_path, stations).space


def test_what_boxes_of_parts_have_is_far_from_too_many(tmp_path: Path) -> None:
    for number, files in enumerate(every_field.plain()):
        folder = tmp_path / str(number)
        folder.mkdir()
        growing.lay(folder, files)
        loaded = load_goals(folder / "goals.yaml")
        assert Problem(loaded.goals, loaded.car, loaded.parts).space.builds > 1

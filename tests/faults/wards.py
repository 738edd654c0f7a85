"""Inputs that are sound and hostile, as changes of the shipped example's files: a name each."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from goals.reading import load_goals
from tests.faults.equipped import EXAMPLE
from tests.rerun.bench import Files, plain

Record = dict[str, Any]


def files() -> Files:
    """The shipped example's files as mappings of their own, without readings."""
    loaded = load_goals(EXAMPLE / "goals.yaml")
    goals = {**plain(loaded.goals), "car": "car.yaml", "parts": "parts.yaml"}
    goals.pop("readings", None)
    return {"goals": goals, "car": plain(loaded.car), "parts": plain(loaded.parts)}


def _hill(told: Files) -> Record:
    found: Record = told["goals"]["duties"]["hill"]
    return found


def _nothing_to_touch(told: Files) -> None:
    """The one thing declared lies inside the rim: the tyre's gap is infinite."""
    ends = ["tie_rod_outer", [-116, 659, 203]]
    told["car"]["obstacles"] = [
        {"name": "rod end", "on": "tie_rod", "shape": "capsule", "ends": ends, "radius": 3}
    ]


def _a_wall(told: Files) -> None:
    """The tyre stands in a wall: the stop is at the centre."""
    box = {"low": [-400, 700, 100], "high": [400, 900, 800]}
    told["car"]["obstacles"].append({"name": "wall", "on": "body", "shape": "box", **box})


def _far_travel(told: Files) -> None:
    """The linkage does not reach the ends of travel."""
    _hill(told)["travel"] = [-290, 290]


def _far_windows(told: Files) -> None:
    for name in ("bump_steer", "camber_gain", "roll_centre_migration", "link_angle"):
        _hill(told)["limits"][name] = {"max": 1e12, "over": [-290, 290]}


def _tiny_tolerance(told: Files) -> None:
    _hill(told)["targets"]["camber"] = {"value": -2.6, "tolerance": 1e-12}


def _heavy_weights(told: Files) -> None:
    for target in _hill(told)["targets"].values():
        target["weight"] = 1e12


def _straight_ahead(told: Files) -> None:
    _hill(told)["targets"]["ackermann"] = {"value": 50, "tolerance": 10, "at": 1e-6}
    _hill(told)["limits"]["ackermann"] = {"min": 5, "at": 1e-6}


def _never_so_far(told: Files) -> None:
    _hill(told)["limits"]["toe_out_on_turns"] = {"min": 0, "at": 84}
    _hill(told)["targets"]["camber_on_turns"] = {"value": -2, "tolerance": 1, "at": 80}


def _feathers(told: Files) -> None:
    told["car"]["springs"]["rate"] = told["car"]["rear"]["roll_stiffness"] = 1e-9
    told["car"]["masses"]["cg_height"] = 1e-9


def _huge_errors(told: Files) -> None:
    told["goals"]["tolerances"] = {"hard_points": 80}


def _no_errors(told: Files) -> None:
    told["goals"]["tolerances"] = {"hard_points": 0, "settings": 0, "camber": 0, "toe": 0}


def _no_rack(told: Files) -> None:
    told["car"]["rack"]["travel"] = 1e-3


def _turned(told: Files) -> None:
    _hill(told)["static"]["toe"] = 60


HOSTILE: dict[str, Callable[[Files], None]] = {
    "nothing to touch": _nothing_to_touch,
    "a wall": _a_wall,
    "far travel": _far_travel,
    "far windows": _far_windows,
    "tiny tolerance": _tiny_tolerance,
    "heavy weights": _heavy_weights,
    "straight ahead": _straight_ahead,
    "never so far": _never_so_far,
    "feathers": _feathers,
    "huge errors": _huge_errors,
    "no errors": _no_errors,
    "no rack": _no_rack,
    "turned": _turned,
}

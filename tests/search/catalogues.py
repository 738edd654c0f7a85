"""Small random catalogues of parts on unlike cars, for tests of the search. All invented."""

from __future__ import annotations

from typing import Any

import numpy as np

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from optimiser.problem import Problem
from tests.cars import CARS, Car


def car_mapping(car: Car) -> dict[str, Any]:
    """An invented car as a car file says it."""
    return {
        "format": 1,
        "name": f"{car.name} (invented)",
        "suspension": "strut" if "top_mount" in car.points else "double_wishbone",
        "wheelbase": car.wheelbase,
        "points": {name: list(point) for name, point in car.points.items()},
        "static": {"toe": car.toe, "camber": car.camber},
        "rack": {"travel": car.rack_travel, "per_turn": 44},
        "wheel": {"offset": -car.inset, "width": 180, "spacer": 0},
        "tyre": {
            "width": 205,
            "diameter": 2 * car.loaded_radius + 20,
            "loaded_radius": car.loaded_radius,
        },
        "masses": {"total": 1100, "front": 580, "cg_height": car.cg_height},
        "rear": {"roll_centre_height": 200},
    }


def random_parts(rng: np.random.Generator) -> dict[str, Any]:
    """A small box: every form of effect, a few hundred to a few thousand settings in all."""
    drop = float(rng.integers(10, 40))
    return {
        "format": 1,
        "stations": {
            "knuckle": [
                {
                    "id": "dropped",
                    "moves": {
                        "ball_joint": [0, 0, -drop],
                        "tie_rod_outer": [float(rng.integers(0, 12)), 0, -drop],
                    },
                    "price": 300,
                }
            ],
            "lower_arm": [
                {
                    "id": "threaded",
                    "today": True,
                    "adjusts": {
                        "length": {
                            "along": {"ball_joint": [0, 1, 0]},
                            "range": [0, float(rng.integers(6, 12))],
                            "step": 3,
                        },
                    },
                }
            ],
            "top_mount": [
                {
                    "id": "slider",
                    "today": True,
                    "adjusts": {
                        "in_out": {"along": {"top_mount": [0, -2, 0]}, "range": [0, 12], "step": 6},
                        "fore_aft": {
                            "along": {"top_mount": [-1, 0, 0]},
                            "range": [0, 9],
                            "step": 9,
                        },
                    },
                }
            ],
            "tie_rod_stud": [
                {
                    "id": "washers",
                    "today": True,
                    "stack": {
                        "point": "tie_rod_outer",
                        "along": [0, 0, -1],
                        "pieces": {2: 2, 4: 4, int(rng.integers(5, 9)): 2},
                    },
                }
            ],
            "rack_mount": [
                {
                    "id": "turned",
                    "choices": {
                        "thick_side": {
                            "back": {"moves": {"tie_rod_inner": [8, 0, 0]}},
                            "up": {"moves": {"tie_rod_inner": [0, 0, -6]}},
                        }
                    },
                }
            ],
            "rack_end": [
                {
                    "id": "ring",
                    "moves": {"tie_rod_inner": [0, 4, 0]},
                    "adds": {"rack": {"travel": float(rng.integers(-20, 4))}},
                    "fits": {"not_with": ["turned"] if rng.random() < 0.5 else []},
                }
            ],
        },
    }


def random_duty(rng: np.random.Generator) -> dict[str, Any]:
    """Limits and targets of every stage, at random strictness."""
    low = float(rng.uniform(-4, -1))
    limits: dict[str, Any] = {
        "camber": {"min": low, "max": low + float(rng.uniform(0.5, 3))},
        "bump_steer": {"max": float(rng.uniform(0.1, 1.0)), "over": [-40, 40]},
        "toggle_margin": {"min": float(rng.uniform(0, 15))},
        "roll_centre_height": {"min": float(rng.uniform(-80, 20))},
        "lock_inner": {"min": float(rng.uniform(15, 30))},
    }
    targets = {
        "bump_steer": {"value": 0, "tolerance": 0.05, "weight": 2, "over": [-30, 30]},
        "roll_centre_height": {"value": 50, "tolerance": 10},
        "ackermann": {"points": [[8, 40], [16, 30]], "tolerance": 15},
        "camber": {"value": -2.0, "tolerance": 0.5},
        "toggle_margin": {"value": 30, "tolerance": 5},
    }
    names = list(limits)
    return {
        "lowered_by": float(rng.choice([0, 20, 40])),
        "limits": {n: limits[n] for n in names if rng.random() < 0.75},
        "targets": {n: targets[n] for n in targets if rng.random() < 0.8},
    }


def bent(car: Car, seed: int) -> dict[str, Any]:
    """Right-hand points of a bent shell: some of them a few millimetres from the left ones mirrored."""
    rng = np.random.default_rng((seed, 1))
    right = {}
    for name in (
        "top_mount" if "top_mount" in car.points else "upper_rear",
        "arm_rear",
        "tie_rod_inner",
    ):
        x, y, z = car.points[name]
        right[name] = [float(v) for v in np.array([x, -y, z]) + rng.uniform(-4.0, 4.0, 3)]
    return right


def with_upper_arm(parts: dict[str, Any]) -> dict[str, Any]:
    """The same box for a double wishbone: an upper arm in place of the sliding top mount."""
    stations = dict(parts["stations"])
    del stations["top_mount"]
    whole = ("upper_front", "upper_rear", "upper_ball_joint")
    adjusts = {
        "shims": {
            "along": {name: [0, -1, 0] for name in whole},
            "range": [0, 6],
            "step": 6,
        },
        "length": {"along": {"upper_ball_joint": [0, 1, 0]}, "range": [-4, 0], "step": 4},
    }
    holes = {
        "standard": {},
        "low": {"moves": {name: [0, 0, -8] for name in whole}},
    }
    arm = {"id": "slotted", "today": True, "adjusts": adjusts, "choices": {"holes": holes}}
    (dropped,) = stations["knuckle"]
    moves = {**dropped["moves"], "upper_ball_joint": [0, 0, -6]}
    stations["knuckle"] = [{**dropped, "moves": moves}]
    return {**parts, "stations": {**stations, "upper_arm": [arm]}}


def cut_down(parts: dict[str, Any]) -> dict[str, Any]:
    """The same box with few settings: some dozens a build, four builds at most."""
    stations = {name: [dict(part) for part in listed] for name, listed in parts["stations"].items()}
    (arm,) = stations["lower_arm"]
    low, high = arm["adjusts"]["length"]["range"]
    arm["adjusts"] = {"length": {**arm["adjusts"]["length"], "step": high - low}}
    for top in stations.get("top_mount", []):
        top["adjusts"] = {"in_out": {**top["adjusts"]["in_out"], "step": 12}}
    (washers,) = stations["tie_rod_stud"]
    washers["stack"] = {**washers["stack"], "pieces": {4: 2}}
    (turned,) = stations["rack_mount"]
    turned["today"] = True
    (ring,) = stations["rack_end"]
    ring["fits"] = {}
    return {**parts, "stations": stations}


def random_problem(seed: int, cars: tuple[Car, ...] = CARS, *, small: bool = False) -> Problem:
    """A small problem on one of the invented cars, or a very small one; every fourth has a bent shell."""
    rng = np.random.default_rng(seed)
    car = cars[int(rng.integers(len(cars)))]
    goals = {
        "format": 1,
        "car": "car.yaml",
        "parts": "parts.yaml",
        "duties": {"first": random_duty(rng), "second": random_duty(rng)},
        "search": {"hours": 0.1, "workers": 1, "keep": 50, "seed": seed},
    }
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate(
            {**car_mapping(car), "points_right": bent(car, seed) if seed % 4 == 3 else None}
        ),
        Parts.model_validate(_box(rng, "top_mount" in car.points, small)),
    )


def _box(rng: np.random.Generator, strut: bool, small: bool) -> dict[str, Any]:
    parts = random_parts(rng)
    parts = cut_down(parts) if small else parts
    return parts if strut else with_upper_arm(parts)

"""Cars that tell all that a file can tell, set at random: what the tests of printed figures work with.

The shipped example with its points moved a little, alike on both sides or not, and a double wishbone with
obstacles, joints, an anti-roll bar and a hub of its own. All invented.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from goals.reading import load_goals
from goals.verdicts import Demand
from kinematics import rows as k
from kinematics.arrays import Ints
from kinematics.measures import MEASURES, Ask
from kinematics.scene import Scene
from optimiser.assembly import Assembly
from optimiser.evaluate import stopped
from optimiser.problem import Problem
from tests.rerun.bench import plain
from tests.search.catalogues import car_mapping
from tests.search.workshop import box, duty
from tests.wishbones import WISHBONES

EXAMPLE = Path(__file__).parents[2] / "goals" / "examples"
KINDS = ("strut", "uneven strut", "wishbone", "uneven wishbone")
MOVED = 3.0  # mm

# Limits that bound no car: what they are asked for is the state in which a figure was decided.
ASKS = {
    "ackermann": Ask(at=12.0),
    "toe_out_on_turns": Ask(at=18.0),
    "camber_on_turns": Ask(at=15.0),
    "bump_steer": Ask(over=(-35.0, 25.0)),
    "roll_centre_migration": Ask(over=(-20.0, 30.0)),
}
ANYTHING = -1e9


def problem_of(kind: str, seed: int) -> Problem:
    """A problem of one of the kinds, its hard points moved by a few millimetres."""
    rng = np.random.default_rng((seed, KINDS.index(kind)))
    wishbone = kind.endswith("wishbone")
    loaded = load_goals(EXAMPLE / "goals.yaml")
    car = _wishbone(rng) if wishbone else plain(loaded.car)
    points = {n: [float(v) for v in at + _moves(rng)] for n, at in car["points"].items()}
    car["points"] = points
    if kind.startswith("uneven"):
        some = ("arm_rear", "tie_rod_inner", "tie_rod_outer")
        car["points_right"] = {n: _other_side(points[n], rng) for n in some}
    if wishbone:
        parts = box()
        del parts["stations"]["top_mount"]
        duties: dict[str, Any] = {"hill": duty(20), "pad": duty(0, caster={"min": 0})}
        duties["pad"]["counter_steers"] = True
        goals: dict[str, Any] = {"format": 1, "car": "c", "parts": "p", "duties": duties}
    else:
        parts, goals = plain(loaded.parts), plain(loaded.goals)
        goals.pop("readings", None)
    return Problem(
        GoalsFile.model_validate(goals), CarFile.model_validate(car), Parts.model_validate(parts)
    )


def _moves(rng: np.random.Generator) -> Any:
    return rng.uniform(-MOVED, MOVED, 3)


def _other_side(point: list[float], rng: np.random.Generator) -> list[float]:
    x, y, z = np.array(point) + _moves(rng)
    return [float(x), -float(y), float(z)]


def _wishbone(rng: np.random.Generator) -> dict[str, Any]:
    car = car_mapping(WISHBONES[int(rng.integers(len(WISHBONES)))])
    at = {name: np.array(point) for name, point in car["points"].items()}
    pivot = 0.5 * (at["arm_front"] + at["arm_rear"])
    joint = at["ball_joint"]
    end = pivot + 0.6 * (joint - pivot) + [0.0, 0.0, 90.0]
    link = pivot + 0.6 * (joint - pivot) + [0.0, 0.0, 12.0]
    bar = {"diameter": 20, "length": 800, "link_on": "arm"}
    bar |= {"pivot": [float(v) for v in end + np.array([180.0, -8.0, 0.0])]}
    bar |= {"end": [float(v) for v in end], "link": [float(v) for v in link]}
    tube = {"on": "arm", "shape": "capsule", "ends": ["arm_rear", "ball_joint"], "radius": 14}
    rod = {"on": "tie_rod", "shape": "capsule", "ends": ["tie_rod_inner", "tie_rod_outer"]}
    link_tube = {"on": "bar", "shape": "capsule", "ends": ["bar_end", "bar_link"], "radius": 5}
    reach = float(joint[1])
    rail = {"low": [-500, 0.3 * reach, 250], "high": [300, 0.45 * reach, 330]}
    return {
        **car,
        "wheel": {**car["wheel"], "barrel_radius": 150, "bolts": 4, "pitch_circle": 100, "pad": 10},
        "hub": {"bolts": 4, "pitch_circle": 100, "stud_length": 42, "stud_pitch": 1.5},
        "springs": {"rate": 30, "motion_ratio": 0.7},
        "antiroll_bar": bar,
        "rear": {"roll_stiffness": 300, "roll_centre_height": 150, "track": 1400},
        "joints": {
            "ball_joint": {"tilt": 60},
            "upper_ball_joint": {"tilt": 60},
            "tie_rod_outer": {"tilt": 60},
            "tie_rod_inner": {"tilt": 60},
        },
        "obstacles": [
            {"name": "lower_arm tube", **tube},
            {"name": "tie rod", **rod, "radius": 7},
            {"name": "link", **link_tube},
            {"name": "rail", "on": "body", "shape": "box", **rail},
        ],
    }


def settings_of(assembly: Assembly, rng: np.random.Generator) -> Ints:
    """A random setting as a row of positions."""
    at = [int(rng.integers(d.size)) for d in assembly.dimensions]
    return np.array([at], dtype=np.int64).reshape(1, -1)


def everything_asked(scene: Scene, wheel: str | None = None) -> list[Demand]:
    """A limit that bounds nothing on every measure of a scene's suspension; ``wheel`` is whose, if told."""
    kind = scene.left[k.KIND, 0]
    found = []
    for name, measure in MEASURES.items():
        if measure.kind in (None, kind):
            ask = ASKS.get(name, Ask())
            if wheel is not None and "wheel" in measure.takes:
                ask = Ask(ask.over, ask.at, wheel)  # type: ignore[arg-type]
            found.append(Demand(name, measure, (ask,), minimum=ANYTHING))
    return found


def scene_of(problem: Problem, duty_name: str, seed: int) -> Scene | None:
    """A random build at a random setting, with the stop where the duty's own limits put it.

    Where gaps leave no lock at all they are not looked at: then the stop is where linkage and joints put it.
    """
    rng = np.random.default_rng(seed)
    build = problem.space.build(int(rng.integers(problem.space.builds)))
    assembly = problem.assembly(build, duty_name)
    if assembly is None:
        return None
    wanted = problem.demands(assembly, duty_name)
    scene = assembly.scene(settings_of(assembly, rng))
    found = stopped(scene, wanted)
    if float(found.stop[0]) > 0.0:
        return found
    return stopped(scene, [d for d in wanted if d.measure.group != "space"])

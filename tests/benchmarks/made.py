"""Catalogues for the search's benchmarks, made from a seed: an invented car, and a box of parts for it.

Sizes are set by the number of parts at each station and the steps of what can be set. What is wanted is
laid around one candidate of the catalogue that was drawn by chance, so that something holds every limit:
``strictness`` says how little else does.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import goals.examples
from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from goals.reading import load_goals
from kinematics.arrays import Floats
from kinematics.measures import MEASURES, Ask
from optimiser.assembly import Assembly
from optimiser.evaluate import stopped
from optimiser.problem import Problem
from tests.cars import CARS, Car
from tests.search.catalogues import car_mapping

DRAWN = 600  # candidates among which the one that is laid around is chosen


@dataclass(frozen=True)
class Size:
    """How big a catalogue is.

    ``knuckles``, ``arms``, ``tops``, ``studs``, ``mounts`` and ``rings`` are parts beside what is on the
    car; ``arm``, ``top`` and ``rack`` the positions of their adjusters, ``shims`` and ``washers`` the heights
    of what is stacked under the ball joint and on the tie rod's stud.
    """

    knuckles: int
    arms: int
    tops: int
    mounts: int
    rings: int
    arm: int
    top: int
    rack: int
    shims: int
    washers: int


@dataclass(frozen=True)
class Made:
    """A catalogue to make: which car, how big, how strict, and the seed of all chance."""

    name: str
    car: int
    size: Size
    strictness: float
    seed: int = 1


CATALOGUES = (
    Made("10^7", 0, Size(3, 1, 1, 1, 1, 4, 5, 4, 3, 9), 0.8),
    Made("10^9", 5, Size(4, 2, 2, 2, 2, 7, 8, 5, 3, 13), 0.55),
    Made("10^11", 3, Size(4, 2, 2, 2, 2, 7, 8, 25, 3, 33), 0.22),
)


def shipped() -> Problem:
    """The shipped example."""
    loaded = load_goals(Path(goals.examples.__file__).parent / "goals.yaml")
    return Problem(loaded.goals, loaded.car, loaded.parts)


def make(made: Made, size: Size | None = None) -> Problem:
    """The catalogue; the same goals, around the same figures, for every ``size`` where one is given."""
    car = CARS[made.car]
    anchor = _problem(made, car, _parts(made, car, made.size), _open_duties())
    duties = _duties(made, anchor)
    return _problem(made, car, _parts(made, car, size or made.size), duties)


def _problem(made: Made, car: Car, parts: dict[str, Any], duties: dict[str, Any]) -> Problem:
    asked = {
        "format": 1,
        "name": f"a benchmark of {made.name} combinations (invented)",
        "car": "car.yaml",
        "parts": "parts.yaml",
        "duties": duties,
        "search": {"hours": 1, "workers": 1, "keep": 200, "seed": made.seed},
    }
    return Problem(
        GoalsFile.model_validate(asked),
        CarFile.model_validate(car_mapping(car)),
        Parts.model_validate(parts),
    )


def _parts(made: Made, car: Car, size: Size) -> dict[str, Any]:
    back = 1.0 if car.rack_ahead else -1.0

    def rng(station: int, number: int) -> np.random.Generator:
        # each part has chance of its own, so that a bigger box holds all of a smaller one
        return np.random.default_rng((made.seed, made.car, station, number))

    return {
        "format": 1,
        "stations": {
            "knuckle": [_knuckle(rng(0, n), n, back) for n in range(size.knuckles)],
            "lower_arm": [_arm(rng(1, n), n, size.arm) for n in range(size.arms)],
            "ball_joint_stub": [_shims(size.shims)],
            "top_mount": [_top(rng(2, n), n, size.top) for n in range(size.tops)],
            "tie_rod_stud": [_washers(size.washers)],
            "rack_mount": [_mount(rng(3, n), n, size.rack) for n in range(size.mounts)],
            "rack_end": [_ring(n) for n in range(size.rings)],
            "wheel_spacer": [{"id": "plates", "today": True, "choices": {"plate": _plates()}}],
        },
    }


def _some(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.round(rng.uniform(low, high), 1))


def _knuckle(rng: np.random.Generator, number: int, back: float) -> dict[str, Any]:
    """Dropped, with the steering arm shorter and further out."""
    drop, shorter, out = _some(rng, 10, 35), _some(rng, 0, 20), _some(rng, 0, 20)
    moves = {"ball_joint": [0, 0, -drop], "tie_rod_outer": [-back * shorter, out, -drop]}
    return {"id": f"knuckle_{number}", "moves": moves, "price": 300 + 40 * number}


def _slide(
    along: dict[str, list[float]], low: float, span: float, positions: int
) -> dict[str, Any]:
    return {"along": along, "range": [low, low + span], "step": span / (positions - 1)}


def _arm(rng: np.random.Generator, number: int, positions: int) -> dict[str, Any]:
    low = _some(rng, -2, 4)
    adjusts = {
        "length": _slide({"ball_joint": [0, 1, 0]}, low, 18, positions),
        "fore_aft": _slide({"ball_joint": [1, 0, 0]}, 0, 15, positions),
    }
    return {"id": f"arm_{number}", "adjusts": adjusts, "price": 350 + 40 * number}


def _top(rng: np.random.Generator, number: int, positions: int) -> dict[str, Any]:
    adjusts = {
        "in_out": _slide({"top_mount": [0, -1, 0]}, _some(rng, -2, 4), 28, positions),
        "fore_aft": _slide({"top_mount": [-1, 0, 0]}, _some(rng, -4, 4), 28, positions),
    }
    return {"id": f"top_{number}", "adjusts": adjusts, "price": 250 + 30 * number}


def _shims(heights: int) -> dict[str, Any]:
    stack = {"point": "ball_joint", "along": [0, 0, -1], "pieces": {2: 2 * (heights - 1)}}
    return {"id": "shims", "today": True, "stack": stack}


def _washers(heights: int) -> dict[str, Any]:
    """Pieces of which every height from none to 24 mm can be made, evenly."""
    piece = 24 / (heights - 1)
    stack = {"point": "tie_rod_outer", "along": [0, 0, -1], "pieces": {piece: 2 * (heights - 1)}}
    return {"id": "washers", "stack": stack, "price": 35}


def _mount(rng: np.random.Generator, number: int, positions: int) -> dict[str, Any]:
    reach = _some(rng, 12, 18)
    adjusts = {
        "fore_aft": _slide({"tie_rod_inner": [1, 0, 0]}, -reach, 2 * reach, positions),
        "height": _slide({"tie_rod_inner": [0, 0, 1]}, -reach, 2 * reach, positions),
    }
    return {"id": f"mount_{number}", "adjusts": adjusts, "price": 120 + 20 * number}


def _ring(number: int) -> dict[str, Any]:
    thick = 4.0 * (number + 1)
    return {
        "id": f"ring_{number}",
        "moves": {"tie_rod_inner": [0, thick, 0]},
        "adds": {"rack": {"travel": thick}},
        "price": 20 + 5 * number,
    }


def _plates() -> dict[str, Any]:
    return {"none": {}, **{f"plate_{t}": {"adds": {"wheel": {"spacer": t}}} for t in (5, 10, 15)}}


# Two duties that want opposite things, as (lowering, toe, measure → what is wanted of it).
# A measure's limits leave so much below and above the figure that is laid around, at strictness 1.
FRAMES: dict[str, dict[str, Any]] = {
    "hill": {"lowered_by": 40, "static": {"toe": 0.05}},
    "pad": {"lowered_by": {"min": 30, "max": 45}, "static": {"toe": -0.1}, "counter_steers": True},
}
WINDOWS: dict[str, tuple[float | None, float | None]] = {
    "camber": (0.5, 0.5),
    "caster": (0.6, 0.6),
    "scrub_radius": (12.0, 12.0),
    "track_width": (None, 12.0),
    "roll_centre_height": (20.0, 20.0),
    "bump_steer": (None, 0.15),
    "toggle_margin": (4.0, None),
    "lock_inner": (2.5, None),
}
TOLERANCES = {
    "camber": (0.3, 1.0),
    "caster": (0.4, 1.0),
    "roll_centre_height": (8.0, 2.0),
    "bump_steer": (0.06, 3.0),
    "lock_inner": (2.0, 2.0),
}
OVER = [-40, 40]
EASE = 0.35  # targets stand beside the figures laid around by so much of a limit's window
HELD = {"bump_steer": 0.0}  # wanted whatever the figure


def _open_duties() -> dict[str, Any]:
    return {name: {**frame, "limits": {}, "targets": {}} for name, frame in FRAMES.items()}


def _duties(made: Made, problem: Problem) -> dict[str, Any]:
    """Both duties around the figures of one build, each at a setting of its own."""
    rng = np.random.default_rng((made.seed, made.car, 9))
    figures = _laid_around(problem, rng)
    duties: dict[str, Any] = {}
    for name, frame in FRAMES.items():
        limits: dict[str, Any] = {}
        targets: dict[str, Any] = {}
        for measure, (below, above) in WINDOWS.items():
            figure = figures[name][measure]
            limit: dict[str, Any] = {"over": OVER} if measure == "bump_steer" else {}
            if below is not None:
                limit["min"] = round(figure - made.strictness * below, 3)
            if above is not None:
                limit["max"] = round(figure + made.strictness * above, 3)
            limits[measure] = limit
            if measure in TOLERANCES:
                tolerance, weight = TOLERANCES[measure]
                room = made.strictness * (above or below or 0.0)
                beside = EASE * room * float(rng.choice([-1.0, 1.0]))
                wanted = HELD.get(measure, round(figure + beside, 3))
                targets[measure] = {"value": wanted, "tolerance": tolerance, "weight": weight}
                if measure == "bump_steer":
                    targets[measure]["over"] = OVER
        duties[name] = {**frame, "limits": limits, "targets": targets}
    return duties


def _laid_around(problem: Problem, rng: np.random.Generator) -> dict[str, dict[str, float]]:
    """Of a build by chance: figures of its setting that bumps least among good locks, in each duty."""
    number = int(rng.integers(problem.space.builds))
    build = problem.space.build(number)
    figures = {}
    for duty in problem.duties:
        assembly = problem.assembly(build, duty)
        assert assembly is not None
        figures[duty] = _good_setting(problem, assembly, duty, rng)
    return figures


def _good_setting(
    problem: Problem, assembly: Assembly, duty: str, rng: np.random.Generator
) -> dict[str, float]:
    positions = np.stack([rng.integers(0, d.size, DRAWN) for d in assembly.dimensions], axis=1)
    scene = stopped(assembly.scene(positions), problem.demands(assembly, duty))
    values: dict[str, Floats] = {}
    for measure in WINDOWS:
        ask = Ask(over=(OVER[0], OVER[1])) if measure == "bump_steer" else Ask()
        values[measure] = MEASURES[measure](scene, ask)[0]
    sound = np.all([np.isfinite(v) for v in values.values()], axis=0)
    lock = np.where(sound, values["lock_inner"], -np.inf)
    good = np.flatnonzero(lock >= np.quantile(lock, 0.7))
    best = int(good[values["bump_steer"][good].argmin()])
    return {measure: float(v[best]) for measure, v in values.items()}

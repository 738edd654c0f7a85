"""A small invented box on an invented car, and candidates set by hand: for sheets and tables."""

from __future__ import annotations

from typing import Any

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts
from optimiser.evaluate import Record, candidate
from optimiser.problem import Problem
from tests.cars import CARS, Car
from tests.search.catalogues import car_mapping

ROD = {
    "inner": 105,
    "outer": 92,
    "thread": 40,
    "pitch": 1.5,
    "engagement": 18,
    "adjusters": [{"length": length, "count": 2} for length in (120, 145, 170, 195, 220)],
}


def box(*, rod: dict[str, Any] | None = None) -> dict[str, Any]:
    """One part or two a station, with every form of setting."""
    tie_rod: dict[str, Any] = {"id": "kit", "name": "threaded rods", "minutes": 20}
    tie_rod["rod"] = ROD if rod is None else rod
    pieces = {1: 2, 2: 4, 5: 2, 10: 2}
    stack = {"point": "tie_rod_outer", "along": [0, 0, -1], "pieces": pieces, "usable": 20}
    slot = {
        "along": {"top_mount": [0, -1, 0]},
        "range": [0, 12],
        "step": 3,
        "reads": "slid inboard",
    }
    turned = {
        "back": {"moves": {"tie_rod_inner": [6, 0, 0]}, "note": "rack 6 mm forward"},
        "up": {"moves": {"tie_rod_inner": [0, 0, -4]}},
    }
    perch = {"adds": {"lowered_by": 1}, "range": [0, 40], "step": 5}
    stations: dict[str, Any] = {
        "tie_rod": [{**tie_rod, "today": True}],
        "tie_rod_stud": [
            {"id": "washers", "name": "loose [red]spacers | *all*", "stack": stack, "minutes": 15}
        ],
        "rack_mount": [{"id": "turned", "choices": {"thick_side": turned}, "price": 90}],
        "top_mount": [{"id": "slider", "adjusts": {"in_out": slot}, "owned": True}],
        "spring_seat": [{"id": "perch", "today": True, "adjusts": {"turned_down": perch}}],
    }
    return {"format": 1, "currency": "crowns", "stations": stations}


def duty(lowered: float, *, toe: float = 0.1, **limits: Any) -> dict[str, Any]:
    """A duty with easy limits, and others as asked."""
    easy = {"track_width": {"max": 2000}, "bump_steer": {"max": 9, "over": [-30, 30]}}
    targets = {
        "camber": {"value": -1.0, "tolerance": 0.5},
        "ackermann": {"points": [[8, 40], [16, 30]], "tolerance": 15},
    }
    return {
        "lowered_by": lowered,
        "static": {"toe": toe},
        "limits": {**easy, **limits},
        "targets": targets,
        "note": f"{lowered:g} mm down",
    }


def problem(
    duties: dict[str, dict[str, Any]] | None = None,
    *,
    right: dict[str, list[float]] | None = None,
    parts: dict[str, Any] | None = None,
    rack_travel: float | None = None,
    on: Car = CARS[0],
) -> Problem:
    """The box on one of the invented cars; ``right`` are right-hand points, y negative."""
    car = car_mapping(on)
    if rack_travel is not None:
        car["rack"]["travel"] = rack_travel
    if right is not None:
        car["points_right"] = right
    goals = {
        "format": 1,
        "name": "two duties",
        "car": "car.yaml",
        "parts": "parts.yaml",
        "duties": duties or {"hill": duty(20), "pad": duty(30)},
        "changeover": {"allow": ["tie_rod_stud"], "minutes": {"max": 30}},
    }
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate(car),
        Parts.model_validate(parts or box()),
    )


def uneven() -> dict[str, list[float]]:
    """Right-hand points that are no mirror of the left ones."""
    x, y, z = CARS[0].points["tie_rod_outer"]
    return {"tie_rod_outer": [x + 2.0, -(y - 3.0), z + 4.0]}


def row_of(asked: Problem, number: int | None = None) -> dict[str, Any]:
    """A ledger row of one build (the one with most to set), each duty with positions of its own."""
    space = asked.space
    if number is None:
        number = max(range(space.builds), key=space.combinations)
    build = space.build(number)
    duties: dict[str, Record] = {}
    for place, name in enumerate(asked.duties):
        assembly = asked.assembly(build, name)
        if assembly is None:
            duties[name] = {
                "feasible": False,
                "merit": None,
                "shortfalls": {},
                "reason": "the build cannot give this duty's ride height",
            }
            continue
        positions = tuple((3 * place + 1) % d.size for d in assembly.dimensions)
        record = candidate(assembly, asked.demands(assembly, name), positions)
        duties[name] = {**record, "positions": list(positions)}
    return {
        "build": number,
        "parts": build.name,
        "price": build.price,
        "to_buy": [part.id for part in build.to_buy],
        "duties": duties,
    }

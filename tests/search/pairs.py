"""Small catalogues whose duties have to share settings, and their best pairs by enumeration. All invented."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts, Station
from goals.verdicts import Demand
from kinematics.arrays import Ints
from kinematics.scene import Scene
from optimiser.problem import Problem
from tests.cars import CARS, Car
from tests.search.catalogues import (
    bent,
    car_mapping,
    cut_down,
    random_duty,
    random_parts,
    with_upper_arm,
)

Found = list[tuple[float, tuple[int, ...]]]
# What is set of each station: (station, name) → value.
Set = dict[tuple[str, str], float | str]


def pairing_problem(seed: int, cars: tuple[Car, ...] = CARS, duties: int = 2) -> Problem:
    """A small problem with a changeover: some stations allowed, minutes at random, sometimes a limit on them.

    Ride height is now given, now searched, now made by a spring seat; some catalogues have bar settings.
    """
    rng = np.random.default_rng((seed, 7))
    car = cars[int(rng.integers(len(cars)))]
    parts = cut_down(random_parts(rng))
    parts = parts if "top_mount" in car.points else with_upper_arm(parts)
    stations = parts["stations"]
    stations["tie_rod"] = [{"id": "rods", "today": True}]
    seat = seed % 3 == 0
    if seat:
        stations["spring_seat"] = [
            {
                "id": "perch",
                "today": True,
                "adjusts": {"turned": {"adds": {"lowered_by": 1}, "range": [0, 40], "step": 10}},
            }
        ]
    if seed % 4 == 1:
        stations["steering_stop"] = [{"id": "ring", "today": True, "choices": {"ring": _RINGS}}]
    for listed in stations.values():
        for part in listed:
            if rng.random() < 0.85:
                part["minutes"] = float(5 * rng.integers(0, 6))
            if rng.random() < 0.3:
                part["behind_wheel"] = bool(rng.random() < 0.7)
    movable = [name for name in stations if name not in ("knuckle", "tie_rod")]
    allowed = [name for name in movable if rng.random() < 0.6]
    changeover: dict[str, Any] = {"allow": [] if seed % 10 == 9 else allowed}
    if rng.random() < 0.7:
        changeover["minutes"] = {"max": float(5 * rng.integers(0, 14))}
    goals = {
        "format": 1,
        "car": "car.yaml",
        "parts": "parts.yaml",
        "duties": {f"duty{i}": _duty(rng, seat, seed % 5 == 2) for i in range(duties)},
        "changeover": changeover,
        "search": {"hours": 0.1, "workers": 1, "keep": 50, "seed": seed},
    }
    parts["wheel_off"] = float(rng.integers(0, 5))
    car_file = {**car_mapping(car), "points_right": bent(car, seed) if seed % 8 == 3 else None}
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate(car_file),
        Parts.model_validate(parts),
    )


_RINGS = {"none": {}, "ring_3": {"adds": {"rack": {"travel": -3}}}}


def _duty(rng: np.random.Generator, seat: bool, locked: bool) -> dict[str, Any]:
    """A duty whose limits leave some settings: half of the random ones, and a wide band of camber.

    A ``locked`` one asks for so much lock that many settings fall only there.
    """
    duty = random_duty(rng)
    limits = {name: limit for name, limit in duty["limits"].items() if rng.random() < 0.6}
    if "camber" in limits:
        limits["camber"] = {"max": float(rng.uniform(-2.0, 1.0))}
    if locked:
        limits["lock_inner"] = {"min": float(rng.uniform(24, 40))}
    heights: list[Any] = [20.0, {"min": 10, "max": 30, "step": 10}]
    duty["lowered_by"] = heights[int(rng.random() < 0.4)]
    if not seat and rng.random() < 0.3:
        duty["lowered_by"] = 30.0
    if rng.random() < 0.4:
        duty["static"] = {"toe": float(rng.choice([-0.1, 0.1]))}
    return {**duty, "limits": limits}


def set_of(problem: Problem, number: int, duty: str, at: tuple[int, ...]) -> Set:
    """What a duty's positions set, by station and name; a ride height that the goals give is nothing set."""
    assembly = problem.assembly(problem.space.build(number), duty)
    assert assembly is not None
    return {
        (d.station.value, d.name): d.values[p] for d, p in zip(assembly.dimensions, at, strict=True)
    }


def given_height(problem: Problem, number: int, duty: str) -> float | None:
    """The ride height that the goals give outright; None where it is something to set."""
    assembly = problem.assembly(problem.space.build(number), duty)
    assert assembly is not None
    lowers = any("lowered_by" in d.effects for d in assembly.dimensions)
    return None if lowers else assembly.lowering


def differing(problem: Problem, number: int, settings: dict[str, Set]) -> set[str]:
    """Stations that are set apart between any two duties, by hand of the definitions."""
    names = {name for each in settings.values() for name in each}
    given = {duty: given_height(problem, number, duty) for duty in settings}
    apart = set()
    for name in names:
        values = {each[name] for each in settings.values() if name in each}
        if name == ("spring_seat", "lowered_by"):
            heights = {height for height in given.values() if height is not None}
            # given differently, ride height is the goals' own affair
            values = values | heights if len(heights) < 2 else set()
        if len(values) > 1:
            apart.add(name[0])
    return apart


# Stations whose settings leave the tie rod's length as it is.
NOT_THE_ROD = {"steering_stop"}


def minutes_of(problem: Problem, number: int, apart: set[str]) -> float:
    """Minutes of a swap, added up plainly."""
    build, duties = problem.space.build(number), problem.goals.duties
    toes = {
        problem.car.static.toe if duty.static is None else duty.static.toe
        for duty in duties.values()
    }
    heights = {given_height(problem, number, duty) for duty in duties}
    work = set(apart)
    if len(toes) > 1 or _told_apart(heights) or work - NOT_THE_ROD:
        work.add("tie_rod")
    if work and Station.STEERING_STOP in build.parts:
        work.add("steering_stop")
    total, off = 0.0, False
    for station in work:
        part = build.parts.get(Station(station))
        if part is None:
            continue
        total += part.minutes or 0.0
        off = off or bool(part.behind_wheel)
    return total + (2 * problem.parts.wheel_off if off else 0.0)


def _told_apart(heights: set[float | None]) -> bool:
    return len({0.0 if height is None else height for height in heights}) > 1


def _apart(problem: Problem, number: int, settings: dict[str, list[Set]], shape: list[int]) -> Ints:
    """Of every combination of the duties' settings a mask of the stations that are set apart."""
    mask = np.zeros(shape, dtype=np.int64)
    names = {name for each in settings.values() for one in each for name in one}
    for name in sorted(names):
        values: dict[Any, int] = {}
        axes = []
        for place, (duty, each) in enumerate(settings.items()):
            given = given_height(problem, number, duty)
            ids = [values.setdefault(one.get(name, given), len(values)) for one in each]
            axes.append(np.array(ids).reshape([-1 if i == place else 1 for i in range(len(shape))]))
        heights = {given_height(problem, number, duty) for duty in settings} - {None}
        if name == ("spring_seat", "lowered_by") and len(heights) > 1:
            # given differently, ride height is the goals' own affair
            continue
        differs = np.zeros(shape, dtype=bool)
        for other in axes[1:]:
            differs = differs | (axes[0] != other)
        mask |= np.where(differs, 1 << list(Station).index(Station(name[0])), 0)
    return mask


def plain_front(
    problem: Problem,
    number: int,
    plain: Callable[[Problem, int, str, Callable[[Scene, list[Demand]], Scene]], Found],
    stops: Callable[[Scene, list[Demand]], Scene],
) -> tuple[list[tuple[float, float, float]], bool]:
    """The front (minutes, worst, mean) of a build by every combination of its duties' settings.

    Returns it with whether every duty has a setting of its own.
    """
    found = {duty: plain(problem, number, duty, stops) for duty in problem.duties}
    if not all(found.values()):
        return [], False
    change = problem.goals.changeover
    assert change is not None
    allowed = {s.value for s in change.allow}
    most = np.inf if change.minutes is None else change.minutes.max
    settings = {
        duty: [set_of(problem, number, duty, at) for _, at in each] for duty, each in found.items()
    }
    shape = [len(each) for each in found.values()]
    merits = np.meshgrid(*([m for m, _ in each] for each in found.values()), indexing="ij")
    worst, mean = np.round(np.max(merits, axis=0), 9), np.round(np.mean(merits, axis=0), 9)
    apart = _apart(problem, number, settings, shape)
    names = list(Station)
    best: dict[float, tuple[float, float]] = {}
    for mask in np.unique(apart):
        stations = {station.value for i, station in enumerate(names) if int(mask) >> i & 1}
        minutes = minutes_of(problem, number, stations)
        if not stations <= allowed or minutes > most:
            continue
        here = apart == mask
        first = np.lexsort((mean[here], worst[here]))[0]
        score = (float(worst[here][first]), float(mean[here][first]))
        best[minutes] = min(best.get(minutes, (np.inf, np.inf)), score)
    front: list[tuple[float, float, float]] = []
    for minutes in sorted(best):
        if not front or best[minutes] < front[-1][1:]:
            front.append((minutes, *best[minutes]))
    return front, True

"""Cars as they stand, judged by a set of inputs: today's car, and one that was built from an earlier run.

A car that was built keeps what was fitted and set: parts by their ids, adjusters, holes and stacks as its row
tells them, ride height as it was, and the steering stop where it was put. Toe is on the gauge whatever the
file says, so rods are solved for the toe that the goals ask. What the inputs no longer know is named.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from goals.duties import Changeover, LoweringRange
from goals.parts import Station
from optimiser.assembly import Assembly
from optimiser.bench import row_of
from optimiser.changeover import Work
from optimiser.checking import as_set_today, todays_parts
from optimiser.evaluate import candidate, measures_of, solved_of, stopped, verdict_of
from optimiser.problem import Problem
from optimiser.settings import PIECES, settings_of
from optimiser.space import AS_IS, Build, Dimension, adjuster_at
from optimiser.wording import short, spoken

Record = dict[str, Any]
Row = dict[str, Any]

# What ride height searched by the goals alone is called in a row: no part carries it.
RIDE_HEIGHT = (Station.SPRING_SEAT.value, "lowered_by")
NEXT_TO_NOTHING = 1e-6
SAME_STOP = 0.05  # mm


def today_row(problem: Problem) -> Row:
    """Today's car as a ledger row: what it carries, set as it stands, judged in every duty."""
    build = problem.space.today()
    duties = {}
    for duty in problem.duties:
        assembly, positions = todays_parts(problem, duty)
        at = tuple(int(p) for p in positions[0])
        duties[duty] = candidate(assembly, problem.demands(assembly, duty), at)
    return {
        "build": build.number,
        "parts": build.name,
        "price": build.price,
        "to_buy": [part.id for part in build.to_buy],
        "pairing": None,
        "duties": duties,
    }


@dataclass(frozen=True)
class Fitted:
    """A car that was built, as far as a set of inputs knows its parts; ``gone`` is what they do not."""

    build: Build | None
    gone: tuple[str, ...] = ()


def fitted(problem: Problem, row: Row) -> Fitted:
    """The parts of a ledger row in a problem's box; at stations that are new, what is on the car today."""
    space = problem.space
    gone = [
        f"{spoken(station)} {part} is no longer in the parts file"
        for station, part in row["parts"].items()
        if part != AS_IS and part not in _ids(problem, station)
    ]
    if gone:
        return Fitted(None, tuple(gone))
    today = space.today().parts
    picks = []
    for station, options in zip(space.stations, space.options, strict=True):
        ids = [part.id for part in options]
        wanted = row["parts"].get(station.value, AS_IS)
        picks.append(ids.index(wanted if wanted in ids else today[station].id))
    build = space.build_of(tuple(picks))
    if build.number < 0:
        gone.append("the parts file now says that these parts cannot be combined")
    return Fitted(build, tuple(gone))


def _ids(problem: Problem, station: str) -> list[str]:
    known = [s.value for s in problem.space.stations]
    if station not in known:
        return []
    return [part.id for part in problem.space.options[known.index(station)]]


def judged_anew(problem: Problem, row: Row) -> Record:
    """A car that was built from a row, as it stands, judged by a problem's inputs.

    Args:
        problem: the inputs to judge by.
        row: a ledger row of any run.

    Returns ``holds``, ``gone`` (what the inputs no longer know), ``swap`` (None where the goals ask nothing
    of it) and ``duties``: of each that row and inputs share how it stands, with ``holds``, ``notes`` and the
    figures of a ledger's record. ``missing`` are duties that the car was never set up for.
    """
    car = fitted(problem, row)
    found: Record = {"gone": list(car.gone), "duties": {}, "swap": None}
    found["missing"] = [duty for duty in problem.duties if not _is_set(row, duty)]
    assemblies = {}
    if car.build is not None:
        for duty in problem.duties:
            if duty in found["missing"]:
                continue
            standing = _Standing.of(problem, car.build, row, duty)
            assemblies[duty] = standing.assembly
            found["gone"] += [words for words in standing.gone if words not in found["gone"]]
            found["duties"][duty] = standing.judged()
        if not found["missing"]:
            found["swap"] = _swap(problem, car.build, found["duties"], assemblies)
    held = all(each["holds"] for each in found["duties"].values())
    swapped = found["swap"] is None or found["swap"]["holds"]
    complete = car.build is not None and not found["missing"] and not found["gone"]
    found["holds"] = complete and held and swapped
    return found


def _is_set(row: Row, duty: str) -> bool:
    return "settings" in row["duties"].get(duty, {})


@dataclass(frozen=True)
class _Standing:
    """One duty of a car that was built: its assembly with nothing left to set, and what is to be said."""

    problem: Problem
    duty: str
    record: Record
    assembly: Assembly
    gone: tuple[str, ...]
    notes: tuple[str, ...]

    @classmethod
    def of(cls, problem: Problem, build: Build, row: Row, duty: str) -> _Standing:
        record = row["duties"][duty]
        dimensions: list[Dimension] = []
        gone: list[str] = []
        notes: list[str] = []
        for dimension in build.dimensions:
            there = _stands(dimension, build, record["settings"])
            dimensions.append(there.dimension)
            gone += there.gone
            notes += there.notes
        gone += _idle(build, record["settings"])
        lowered = float(record["solved"]["lowered_by"])
        plain = problem.assembly_of(build, duty, tuple(dimensions), 0.0)
        zero = np.zeros((1, len(dimensions)), dtype=np.int64)
        by_parts = float(plain.channels("left", zero)["lowered_by"][0])
        assembly = problem.assembly_of(build, duty, tuple(dimensions), lowered - by_parts)
        if not _right_height(problem, build, duty, lowered):
            wanted = problem.goals.duties[duty].lowered_by
            asked = (
                f"{short(wanted.min)} to {short(wanted.max)}"
                if isinstance(wanted, LoweringRange)
                else short(wanted)
            )
            gone.append(f"{duty}: stands {short(lowered)} mm lowered, the goals now ask {asked}")
        return cls(problem, duty, record, assembly, tuple(gone), tuple(notes))

    def judged(self) -> Record:
        """How it stands: with the stop where it was put, and what moving the stop would do."""
        wanted = self.problem.demands(self.assembly, self.duty)
        positions = (0,) * len(self.assembly.dimensions)
        free = stopped(self.assembly.scene(row_of(positions)), wanted)
        put, now = float(self.record["solved"]["stop"]), float(free.stop[0])
        scene = free.take(np.zeros(1, dtype=np.int64), stop=np.minimum(put, free.rack_travel))
        found: Record = {**verdict_of(scene, wanted), "measures": measures_of(scene, wanted)}
        found["settings"] = self.record["settings"]
        found["solved"] = solved_of(self.assembly, free, wanted, positions)
        found["stop"] = {"put": put, "now": now}
        found["holds"] = bool(found.pop("feasible"))
        found["notes"] = list(self.notes)
        resets = verdict_of(free, wanted)["feasible"]
        found["holds_with_stop"] = bool(resets) if abs(put - now) > SAME_STOP else found["holds"]
        return found


@dataclass(frozen=True)
class _There:
    """One dimension with the position alone at which a car that was built has it."""

    dimension: Dimension
    gone: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def _stands(dimension: Dimension, build: Build, settings: Record) -> _There:
    block = settings.get(dimension.station.value, {})
    named = f"{spoken(dimension.station.value)} {spoken(dimension.name)}"
    if dimension.name not in block:
        at = as_set_today(dimension)
        words = f"{named} was not there to be set: taken as it stands, {_value(dimension, at)}"
        return _There(dimension.only([at]), notes=(words,))
    value = block[dimension.name]
    if dimension.kind == "adjuster":
        return _slid(dimension, build, named, float(value))
    places = [i for i, one in enumerate(dimension.values) if _same(one, value)]
    if places:
        return _There(dimension.only(places[:1]))
    what = f"{short(value)} mm" if isinstance(value, (int, float)) else str(value)
    words = f"{named}: {what} is no longer in the parts file"
    return _There(dimension.only([as_set_today(dimension)]), gone=(words,))


def _slid(dimension: Dimension, build: Build, named: str, value: float) -> _There:
    """An adjuster where it was set, on a step of its range or not."""
    part = build.parts[dimension.station]
    there = adjuster_at(part, dimension.station, dimension.name, np.array([value]))
    low, high = part.adjusts[dimension.name].range
    if low - NEXT_TO_NOTHING <= value <= high + NEXT_TO_NOTHING:
        return _There(there)
    words = f"{named}: {short(value)} mm is outside its range now, {short(low)} to {short(high)}"
    return _There(there, gone=(words,))


def _same(one: float | str, value: float | str) -> bool:
    if isinstance(one, float) and isinstance(value, (int, float)):
        return abs(one - value) < NEXT_TO_NOTHING
    return one == value


def _value(dimension: Dimension, at: int) -> str:
    value = dimension.values[at]
    return f"{short(value)} mm" if isinstance(value, float) else value


def _idle(build: Build, settings: Record) -> Iterator[str]:
    """Settings that a row tells and no part of the build has any more."""
    known = {(d.station.value, d.name) for d in build.dimensions} | {RIDE_HEIGHT}
    for station, block in settings.items():
        for name in block:
            if name not in PIECES and (station, name) not in known:
                yield f"{spoken(station)} {spoken(name)} is no longer there to be set"


def _right_height(problem: Problem, build: Build, duty: str, lowered: float) -> bool:
    """Whether a car stands at the ride height that a duty asks for, within half a step of what sets it."""
    wanted = problem.goals.duties[duty].lowered_by
    if isinstance(wanted, LoweringRange):
        return wanted.min - NEXT_TO_NOTHING <= lowered <= wanted.max + NEXT_TO_NOTHING
    steps = [
        float(np.diff(np.sort(d.effects["lowered_by"])).max())
        for d in build.dimensions
        if "lowered_by" in d.effects and d.size > 1
    ]
    return abs(lowered - wanted) <= 0.5 * max(steps, default=0.0) + NEXT_TO_NOTHING


def _swap(
    problem: Problem, build: Build, duties: Record, assemblies: dict[str, Assembly]
) -> Record | None:
    """The swap between the duties as they are set, by the goals and the parts file."""
    goals = problem.goals
    if goals.changeover is None or len(duties) < 2:
        return None
    changeover: Changeover = goals.changeover
    work = Work.of(build, problem.parts, changeover, assemblies)
    moved = {Station(s.station) for s in settings_of(build, duties) if s.differs}
    swap = work.swap(moved)
    barred = [s.value for s in swap.stations if s not in changeover.allow]
    return {
        "minutes": swap.minutes,
        "allowed": work.most_minutes,
        "barred": barred,
        "holds": work.affords(swap) and not barred,
    }

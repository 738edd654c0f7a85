"""One build searched for every duty: the row that the ledger keeps of it.

A pure function of the inputs and the build's number: no files, no clock, no state shared between builds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from goals.parts import Station
from goals.verdicts import Demand
from optimiser.assembly import Assembly
from optimiser.changeover import Work
from optimiser.evaluate import candidate, settings_of
from optimiser.inner import Sweep, sweep
from optimiser.pairing import Pairing, Together, pair
from optimiser.problem import Problem
from optimiser.refine import as_refined, refine, refined_record
from optimiser.room import rooms
from optimiser.space import Build

Row = dict[str, Any]
Positions = tuple[int, ...]

NO_HEIGHT = "the build cannot give this duty's ride height"
NO_SETTING = "no setting stands at this duty's ride height"


@dataclass(frozen=True)
class _Alone:
    """A build made ready for a duty, what is wanted of it there, and what sweeping it found."""

    assembly: Assembly
    wanted: list[Demand]
    found: Sweep


def search_build(problem: Problem, number: int, known: Mapping[str, Row] | None = None) -> Row:
    """Search one build for every duty.

    ``known`` is what sweeping some of its duties found before, as their records of the ledger tell it; it
    must be of inputs that sweep alike (:mod:`optimiser.signature`), and the row is the same with it.

    Returns a row with the build's parts and price and, for each duty, its setting with all its figures,
    refined below the grid step where adjusters can be set finer. Of several duties the settings are the best
    that go together (``pairing``); where none do, each duty's own best. Where nothing holds every limit of a
    duty, it is the setting that came nearest and what it lacks.
    """
    build = problem.space.build(number)
    before = known or {}
    alone = {duty: _alone(problem, build, duty, before.get(duty)) for duty in problem.duties}
    pairing, record = _paired(problem, build, alone)
    row: Row = {
        "build": number,
        "parts": build.name,
        "price": build.price,
        "to_buy": [part.id for part in build.to_buy],
        "pairing": record,
        "duties": {},
    }
    together = None if pairing is None else pairing.best
    for duty, each in alone.items():
        row["duties"][duty] = _duty_row(duty, each, together)
    return row


def _alone(problem: Problem, build: Build, duty: str, known: Row | None) -> _Alone | None:
    """A duty by itself; None where the build cannot give its ride height."""
    assembly = problem.assembly(build, duty)
    if assembly is None:
        return None
    wanted = problem.demands(assembly, duty)
    if known is not None:
        return _Alone(assembly, wanted, swept_before(known))
    found = sweep(assembly, wanted, problem.goals.search.settings, problem.families)
    return _Alone(assembly, wanted, found)


def swept_before(record: Row) -> Sweep:
    """What sweeping a duty found, of its record in the ledger: all of it that a row is made of."""
    kept = [(float(merit), tuple(at)) for merit, at in record.get("kept", [])]
    nearest = None if kept or "positions" not in record else tuple(record["positions"])
    return Sweep(
        settings=record["settings_swept"],
        kept=kept,
        nearest=nearest,
        ruled_out=record.get("ruled_out"),
        refused_by=record["refused_by"],
    )


def _paired(
    problem: Problem, build: Build, alone: dict[str, _Alone | None]
) -> tuple[Pairing | None, Row | None]:
    """Settings that go together and what the ledger keeps of them; None where a duty is not served.

    There is nothing to pair where there is one duty, or where the goals say nothing of a changeover.
    """
    changeover = problem.goals.changeover
    served = {d: each for d, each in alone.items() if each is not None and each.found.kept}
    if changeover is None or len(alone) < 2 or len(served) < len(alone):
        return None, None
    assemblies = {duty: each.assembly for duty, each in served.items()}
    work = Work.of(build, problem.parts, changeover, assemblies)
    wanted = {duty: each.wanted for duty, each in served.items()}
    sweeps = {duty: each.found for duty, each in served.items()}
    pairing = pair(assemblies, wanted, sweeps, work, problem.families)
    best = pairing.best
    record: Row = {
        "found": best is not None,
        "minutes": None if best is None else best.swap.minutes,
        "allowed": work.most_minutes,
        "differs": None if best is None else [s.value for s in best.swap.stations],
        "alone": {duty: each.merit for duty, each in sweeps.items()},
        "front": [_together_record(each, assemblies) for each in pairing.front],
    }
    if best is None:
        record["reason"] = pairing.reason
    if pairing.beyond is not None:
        record["beyond"] = _together_record(pairing.beyond, assemblies)
    return pairing, record


def _together_record(together: Together, assemblies: dict[str, Assembly]) -> Row:
    swap = together.swap
    return {
        "minutes": swap.minutes,
        "merit": together.worst,
        "mean": together.mean,
        "merits": together.merits,
        "room": together.room[0] if together.room else None,
        "differs": [station.value for station in swap.stations],
        "resets_rod": swap.resets_rod,
        "untold": [station.value for station in swap.untold],
        "positions": {duty: list(at) for duty, at in together.positions.items()},
        "settings": {
            duty: settings_of(assemblies[duty], at) for duty, at in together.positions.items()
        },
    }


def _duty_row(duty: str, alone: _Alone | None, together: Together | None) -> Row:
    if alone is None:
        return _unserved(NO_HEIGHT, {"settings_swept": 0})
    assembly, wanted, found = alone.assembly, alone.wanted, alone.found
    result: Row = {"settings_swept": found.settings, "refused_by": found.refused_by}
    if found.kept:
        result["kept"] = [[merit, list(at)] for merit, at in found.kept]
    if found.ruled_out is not None:
        result["ruled_out"] = found.ruled_out
    merit, positions = found.merit, _roomiest(assembly, found)
    stations: tuple[Station, ...] | None = None
    if together is not None:
        merit, positions = together.merits[duty], together.positions[duty]
        # a refinement of what is alike in all duties would set it apart
        stations = together.swap.stations
    if positions is None:
        return _unserved(NO_SETTING, result)
    result["positions"] = list(positions)
    if merit is not None:
        better = refine(assembly, wanted, positions, merit, stations)
        if better is not None:
            result["refined"] = refined_record(assembly, positions, merit, better)
            assembly, positions = as_refined(assembly, positions, better.settings)
            merit = better.merit
    result.update(candidate(assembly, wanted, positions))
    if merit is not None:
        result["merit"] = merit
    return result


def _roomiest(assembly: Assembly, found: Sweep) -> Positions | None:
    """A duty's best setting by itself, of equals kept the one with most room; or else the nearest."""
    if found.best is None:
        return found.nearest
    equals = [at for merit, at in found.kept if merit == found.merit]
    return max(equals, key=lambda at: rooms(assembly.dimensions, at))


def _unserved(reason: str, told: Row) -> Row:
    return {"feasible": False, "merit": None, "shortfalls": {}, "reason": reason, **told}

"""Whether a ledger's rows are of the inputs that they stand beside: a run folder may come from anyone.

The shape of a row is looked at when it is read (:mod:`optimiser.row_shape`). Here is looked at whether build,
parts, positions, settings and what is asked are those of the inputs, so that whoever shows, prints or builds
on a row finds what the inputs have. Its figures are not worked out again.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import zip_longest
from pathlib import Path
from typing import Any

from goals.fitting import KINDS
from goals.parts import Station
from kinematics.measures import MEASURES
from optimiser.as_built import BOTH
from optimiser.assembly import Assembly, sides_of
from optimiser.evaluate import RACK_END, Shown, figures_of, settings_of
from optimiser.ledger import BUILT, SWEEPS, Ledger
from optimiser.problem import Problem
from optimiser.refine import as_set
from optimiser.row_shape import ROW, misfit
from optimiser.sound_folder import check_searchable, refuse
from optimiser.space import Build
from optimiser.wording import measure_of
from optimiser.yields import TRAVEL_CURVES

Row = dict[str, Any]
Record = dict[str, Any]

STATIONS = {station.value for station in Station}
# Far more than a rack goes, mm.
MOST_RACK = 10_000.0
NEAR = 1e-9


class _Misfit(Exception):
    """What of a row does not fit the inputs."""


def checked_rows(problem: Problem, rows: Iterable[Row], ledger: Path) -> Iterator[Row]:
    """The same rows, each looked at before it is given out; one with a record of cars as built as ranked.

    Args:
        problem: the inputs.
        rows: rows of searched builds.
        ledger: the file that they are of, for messages.

    Raises Unsound.
    """
    for row in rows:
        words = misfit(ROW, {key: told for key, told in row.items() if key != "as_built"})
        if words is not None:
            refuse(ledger, f"build {row['build']}: {words}")
        try:
            _fit_row(problem, row)
            if "as_built" in row:
                _fit_built(problem, row, row["as_built"])
        except _Misfit as error:
            refuse(ledger, f"build {row['build']}: {error}")
        yield row


def check_sweeps(problem: Problem, number: int, sweeps: Mapping[str, Record], ledger: Path) -> None:
    """Raises Unsound where what is known of sweeping a build's duties is not of the inputs."""
    try:
        build = _build(problem, number)
        for duty, record in sweeps.items():
            _need(duty in problem.duties, f"there is no duty {duty}")
            assembly = problem.assembly(build, duty)
            _need(assembly is not None, f"{duty} has a setting, and the build gives none")
            assert assembly is not None
            _labels(duty, record["refused_by"])
            _fit_positions(assembly, record)
    except _Misfit as error:
        refuse(ledger, f"build {number}, known beforehand: {error}")


def check_resumable(problem: Problem, ledger: Ledger) -> None:
    """Raises Unsound where a run cannot go on: it would write elsewhere, or has rows of other inputs."""
    check_searchable(ledger.path.parent)
    known = ledger.finished() | ledger.known(SWEEPS) | ledger.known(BUILT)
    last = max(known, default=0)
    if last >= problem.space.builds:
        refuse(ledger.path, f"build {last}: the inputs have fewer builds")
    for row in ledger.each():
        if set(row["duties"]) != set(problem.duties):
            refuse(ledger.path, f"build {row['build']}: its duties are not those of the goals")


def _need(sound: bool, words: str) -> None:
    if not sound:
        raise _Misfit(words)


def _build(problem: Problem, number: int) -> Build:
    _need(number < problem.space.builds, "the inputs have fewer builds")
    return problem.space.build(number)


def _fit_row(problem: Problem, row: Row) -> None:
    build = _build(problem, row["build"])
    _need(row["parts"] == build.name, "its parts are not those of the inputs' build")
    _need(row["to_buy"] == [part.id for part in build.to_buy], "what is to buy is not the parts'")
    _need(
        abs(row["price"] - build.price) <= NEAR * (1.0 + build.price), "its price is not the parts'"
    )
    _need(set(row["duties"]) == set(problem.duties), "its duties are not those of the goals")
    assemblies = {duty: problem.assembly(build, duty) for duty in problem.duties}
    for duty, assembly in assemblies.items():
        _fit_duty(problem, assembly, duty, row["duties"][duty])
    if row.get("pairing") is not None:
        _fit_pairing(problem, assemblies, row["pairing"])


def _fit_duty(problem: Problem, assembly: Assembly | None, duty: str, record: Record) -> None:
    _labels(f"{duty}: refused by", record.get("refused_by", {}))
    _labels(f"{duty}: shortfalls", record["shortfalls"])
    if assembly is None:
        _need("positions" not in record and not record.get("kept"), f"{duty} cannot have a setting")
        return
    _fit_positions(assembly, record)
    if "positions" not in record:
        return
    _fit_settings(assembly, duty, record)
    _fit_solved(problem, assembly, duty, record["solved"])
    _fit_measures(problem, assembly, duty, record)


def _labels(where: str, labels: Iterable[str]) -> None:
    for label in labels:
        _need(measure_of(label) in MEASURES, f"{where}: there is no measure {label[:60]!a}")


def _fit_positions(assembly: Assembly, record: Record) -> None:
    for positions in (record.get("positions"), *(at for _, at in record.get("kept", []))):
        if positions is not None:
            _there(assembly, positions)


def _there(assembly: Assembly, positions: list[int]) -> None:
    """Needs positions to be such of the assembly's dimensions."""
    pairs = zip_longest(assembly.dimensions, positions)
    _need(
        all(d is not None and p is not None and p < d.size for d, p in pairs),
        "its positions are not those of the parts",
    )


def _fit_settings(assembly: Assembly, duty: str, record: Record) -> None:
    stood = settings_of(assembly, tuple(record["positions"]))
    refined = record.get("refined", {}).get("from", {})
    for station, name in ((s, n) for s, block in refined.items() for n in block):
        _need(name in stood.get(station, {}), f"{duty}: there is no {station} {name} to refine")
        part = assembly.build.parts.get(Station(station))
        adjuster = None if part is None else part.adjusts.get(name)
        _need(
            adjuster is not None and adjuster.fine is not None, f"{duty}: {name} is not set finer"
        )
        assert adjuster is not None
        value = record["settings"].get(station, {}).get(name)
        low, high = adjuster.range
        _need(
            isinstance(value, (int, float)) and low - NEAR <= value <= high + NEAR,
            f"{duty}: {station} {name} is out of its range",
        )
    assembly, positions = as_set(assembly, record)
    same = record["settings"] == settings_of(assembly, positions)
    _need(same, f"{duty}: its settings are not those of its positions")


def _fit_solved(problem: Problem, assembly: Assembly, duty: str, solved: Record) -> None:
    _need(
        0.0 <= solved["stop"] <= solved["rack_travel"] + NEAR <= MOST_RACK,
        f"{duty}: its steering stop is not on the rack",
    )
    by = solved["stop_set_by"]["by"]
    _need(by == RACK_END or measure_of(by) in MEASURES, f"{duty}: there is no measure {by[:60]!a}")
    rods = ["tie_rod", "tie_rod_right"][: len(sides_of(problem.car))]
    _need(
        [name for name in ("tie_rod", "tie_rod_right") if name in solved] == rods, f"{duty}: rods"
    )
    for rod in (solved[name] for name in rods):
        kit = assembly.kit
        told = (rod.get("pitch"), rod.get("flats"))
        wanted = (None, None) if kit is None else (kit.pitch, kit.flats)
        _need(told == wanted, f"{duty}: its tie rod is not of the parts' kit")


def _fit_measures(problem: Problem, assembly: Assembly, duty: str, record: Record) -> None:
    """Needs every figure that the inputs show of a duty, and no other, with what they ask of it."""
    measures = record["measures"]
    shown = {
        each.key: each
        for each in figures_of(KINDS[problem.car.suspension], problem.demands(assembly, duty))
    }
    _need(set(measures) == set(shown), f"{duty}: its measures are not those of the inputs")
    one_sided = len(sides_of(problem.car)) == 1
    for key, entry in measures.items():
        _need(_as_asked(shown[key], entry), f"{duty}: {key} is not what the goals ask for")
        by_wheel = shown[key].measure.cases == "wheel"
        names = {"left", "right"} if by_wheel else {"left_turn", "right_turn"}
        _need("sides" not in entry or not one_sided, f"{duty}: {key}: both sides are alike")
        _need(set(entry.get("sides", names)) == names, f"{duty}: {key}: its sides")


def _as_asked(shown: Shown, entry: Record) -> bool:
    """Whether an entry tells what the goals ask, as :func:`optimiser.evaluate.measures_of` writes it."""
    limits = [d for d in shown.demands if d.is_limit]
    targets = [d for d in shown.demands if not d.is_limit]
    wanted: Record = {"unit": shown.measure.unit}
    if targets:
        wanted |= {"wanted": targets[0].wanted[0], "tolerance": targets[0].tolerance}
    if targets and len(shown.asks) > 1:
        wanted |= {"wanted": list(targets[0].wanted), "at": [ask.at for ask in shown.asks]}
    told = {name: entry[name] for name in ("unit", "wanted", "tolerance", "at") if name in entry}
    bounds = [[d.minimum, d.maximum] for d in limits]
    kept = [d.kept for d in limits]
    return (
        told == wanted
        and entry.get("bounds", bounds) == bounds
        and entry.get("in_hand", kept) == kept
    )


def _fit_pairing(
    problem: Problem, assemblies: Mapping[str, Assembly | None], pairing: Record
) -> None:
    duties = set(problem.duties)
    _need(problem.goals.changeover is not None and len(duties) > 1, "there is nothing to pair")
    _need(set(pairing["alone"]) == duties, "the pairing's duties are not those of the goals")
    _need(set(pairing["differs"] or ()) <= STATIONS, "the pairing's stations are not known")
    beyond = [pairing["beyond"]] if "beyond" in pairing else []
    for each in [*pairing["front"], *beyond]:
        named = {*each["differs"], *each["untold"]}
        _need(named <= STATIONS, "the pairing's stations are not known")
        for of_duties in (each["merits"], each["positions"], each["settings"]):
            _need(set(of_duties) == duties, "the pairing's duties are not those of the goals")
        for duty, assembly in assemblies.items():
            _need(assembly is not None, f"{duty} cannot have a setting")
            assert assembly is not None
            positions = each["positions"][duty]
            _there(assembly, positions)
            same = each["settings"][duty] == settings_of(assembly, tuple(positions))
            _need(same, f"{duty}: the pairing's settings are not those of its positions")


def _fit_built(problem: Problem, row: Row, record: Record) -> None:
    """Needs a record of cars as built to be of the row and of the errors that the inputs tell."""
    if "failed" in record:
        return
    _need(record["samples"] == problem.errors.samples, "as built: the goals want other cars")
    _need(set(record["duties"]) == set(problem.duties), "as built: its duties are not the goals'")
    for duty, told in record["duties"].items():
        entries = row["duties"][duty].get("measures")
        _need(entries is not None, f"as built: {duty} has no setting")
        _labels(f"as built: {duty}", [*told["limits"], *told["matters"]])
        for key, band in {**dict.fromkeys(told["missing"]), **told["bands"]}.items():
            _need(key in entries, f"as built: {duty}: there is no figure {key[:60]!a}")
            points = len(entries[key].get("at", ()))
            _need(_of_points(band, points), f"as built: {duty}: the band of {key}")
        _need(told["stop_band"] is not None, f"as built: {duty}: there is no stop")
        _fit_curves(duty, told["curves"])


def _of_points(band: list[Any] | None, points: int) -> bool:
    """Whether a band is one of a figure of so many points, or a plain one of a figure that has none."""
    if band is None:
        return True
    plain = [isinstance(end, (int, float)) for end in band]
    return len(band) == points and not any(plain) if points else len(band) == 2 and all(plain)


def _fit_curves(duty: str, curves: Record) -> None:
    """Needs every band of a curve to have as many places as the curve it goes with."""
    over_travel = {f"{name}_{side}" for name in TRAVEL_CURVES for side in BOTH}
    over_rack = {"steer_left", "steer_right", "toggle_margin"}
    _need(set(curves) == {"travel", "rack"} | over_travel | over_rack, f"as built: {duty}: curves")
    for along, bands in (("travel", over_travel), ("rack", over_rack)):
        places = curves[along]
        _need(all(isinstance(at, (int, float)) for at in places), f"as built: {duty}: {along}")
        for name in bands:
            sound = len(curves[name]) == len(places) and not any(
                isinstance(at, (int, float)) for at in curves[name]
            )
            _need(sound, f"as built: {duty}: {name} is not of its curve")

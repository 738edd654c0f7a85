"""Every figure of one candidate, as the tables, the JSON and the ledger carry it.

Figures keep full precision here; rounding is for people. A figure that does not exist is None.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from goals.verdicts import Demand, holds, merit_of, total_weight
from kinematics import rows as k
from kinematics import stops
from kinematics.arrays import Floats, Ints
from kinematics.measures import MEASURES, Ask
from kinematics.measures.bar import preload_free_link
from kinematics.measures.catalogue import Measure
from kinematics.measures.clearance import closest
from kinematics.measures.steer import steer_pair
from kinematics.scene import Scene, Side
from optimiser.assembly import Assembly
from optimiser.reasons import reason
from optimiser.states import state_of
from optimiser.wording import plain

Record = dict[str, Any]

RACK_END = "rack_end"
CURVE_STEP = 5.0
CURVE_TRAVEL = 60.0
TRAVEL_CURVES = ("toe", "camber", "caster", "kingpin_inclination", "roll_centre_height")
STEER_CURVES = ("ackermann", "toe_out_on_turns", "toggle_margin")


def number(value: float | np.floating[Any]) -> float | None:
    """A plain float, or None for a figure that does not exist."""
    return float(value) if np.isfinite(value) else None


def stopped(scene: Scene, wanted: list[Demand]) -> Scene:
    """The same lanes with the steering stop where the demands on single states put it."""
    return stops.stopped(scene, holds(wanted))


def measures_of(scene: Scene, wanted: list[Demand]) -> Record:
    """Every catalogue measure that a one-lane scene's suspension has, judged by a duty's demands.

    One entry for each figure: where limits and targets ask for several figures of one measure, the first
    stands under the measure's name and the others under their label.
    """
    return {figure.key: _entry(scene, figure, wanted) for figure in figures_shown(scene, wanted)}


@dataclass(frozen=True)
class Shown:
    """One figure that is shown of a duty: under which key, what is asked, and what is wanted of it."""

    key: str
    measure: Measure
    asks: tuple[Ask, ...]
    demands: list[Demand]


def figures_shown(scene: Scene, wanted: list[Demand]) -> Iterator[Shown]:
    """Every figure that :func:`measures_of` has of a scene's suspension, in its order."""
    return figures_of(float(scene.left[k.KIND, 0]), wanted)


def figures_of(kind: float, wanted: list[Demand]) -> Iterator[Shown]:
    """The same of a kind of suspension, STRUT or WISHBONE of :mod:`kinematics.rows`."""
    for name, measure in MEASURES.items():
        if measure.kind is not None and kind != measure.kind:
            continue
        groups: dict[tuple[Ask, ...], list[Demand]] = {}
        for demand in wanted:
            if demand.measure.name == name:
                groups.setdefault(demand.asks, []).append(demand)
        if not groups:
            yield Shown(name, measure, (Ask(),), [])
        for number, (asks, group) in enumerate(groups.items()):
            yield Shown(group[0].label if number else name, measure, asks, group)


def _entry(scene: Scene, shown: Shown, wanted: list[Demand]) -> Record:
    measure, asks = shown.measure, shown.asks
    figures = [measure(scene, ask) for ask in asks]
    limits = [d for d in shown.demands if d.is_limit]
    targets = [d for d in shown.demands if not d.is_limit]
    values = [number(_telling(f[:, 0], limits, targets)) for f in figures]
    points = bool(targets) and len(asks) > 1
    entry: Record = {
        "value": values if points else values[0],
        "unit": measure.unit,
        "limit": None,
        "miss": None,
    }
    if points:
        entry["at"] = [ask.at for ask in asks]
    if figures[0].shape[0] > 1:
        entry["sides"] = _sides(measure, figures, points)
    shortfalls = [float(d.shortfall(figures)[0]) for d in limits]
    if limits and (values[0] is not None or max(shortfalls) > 0.0):
        entry["limit"] = max(shortfalls) <= 0.0
        entry["shortfall"] = max(shortfalls)
        case = int(telling_case(figures[0], limits, targets)[0])
        entry["state"] = limit_state(scene, limits[0], case, wanted)
        entry["bounds"] = [[d.minimum, d.maximum] for d in limits]
        if any(d.kept for d in limits):
            entry["in_hand"] = [d.kept for d in limits]
        why = "" if entry["limit"] else reason(measure.name, scene)
        if why:
            entry["because"] = why
    if targets:
        entry["miss"] = max(float(d.miss(figures)[0]) for d in targets)
        entry["wanted"] = list(targets[0].wanted) if points else targets[0].wanted[0]
        entry["tolerance"] = targets[0].tolerance
    return entry


def _sides(measure: Measure, figures: list[Floats], points: bool) -> Record:
    """The figure of each wheel, or of each turn, of a car whose sides differ."""
    names = ("left", "right") if measure.cases == "wheel" else ("left_turn", "right_turn")
    sides: Record = {}
    for name, case in zip(names, range(figures[0].shape[0]), strict=True):
        values = [number(f[case, 0]) for f in figures]
        sides[name] = values if points else values[0]
    return sides


def _telling(cases: Floats, limits: list[Demand], targets: list[Demand]) -> float:
    """The case to show: the one with the least in hand to its limits, else the furthest off target."""
    return float(telling(cases[:, None], limits, targets)[0])


def telling(cases: Floats, limits: list[Demand], targets: list[Demand]) -> Floats:
    """Of cases (c, n) each lane's to show, (n,): the one with the least in hand to its limits, else the
    furthest off target, else the first."""
    told = telling_case(cases, limits, targets)
    return np.asarray(np.take_along_axis(cases, told[None, :], axis=0)[0])


def telling_case(cases: Floats, limits: list[Demand], targets: list[Demand]) -> Ints:
    """Which of the cases that is of each lane, (n,)."""
    if cases.shape[0] == 1 or not (limits or targets):
        return np.zeros(cases.shape[1], dtype=np.int64)
    if limits:
        badness = np.max([_beyond(cases, demand) for demand in limits], axis=0)
    else:
        badness = np.sum([np.abs(cases - d.wanted[0]) / d.tolerance for d in targets], axis=0)
    return np.asarray(np.nan_to_num(badness, nan=np.inf).argmax(axis=0))


def _beyond(cases: Floats, limit: Demand) -> Floats:
    """How far each case is beyond the nearer bound of a limit; negative is in hand."""
    low = np.full_like(cases, -np.inf) if limit.minimum is None else limit.minimum - cases
    return low if limit.maximum is None else np.maximum(low, cases - limit.maximum)


def limit_state(scene: Scene, limit: Demand, case: int, wanted: list[Demand]) -> Record:
    """In which state a case of a limit's figure was decided.

    The stop's place is decided where the limit that sets it would break; ``wanted`` is all that is asked.
    """
    if limit.measure.name != "stop_travel":
        return state_of(scene, limit.measure, limit.asks[0], case)
    found = stop_set_by(scene, wanted)
    if "travel" not in found:
        return {"basis": "the rack's own end"}
    sign = -1.0 if found.get("turn") == "right" else 1.0
    state = {
        "wheel": found["wheel"],
        "travel": found["travel"],
        "rack": sign * float(scene.stop[0]),
    }
    return {**state, "of": plain(found["by"])}


def verdict_of(scene: Scene, wanted: list[Demand]) -> Record:
    """Whether a one-lane scene holds every limit, what each lacks, and its merit."""
    short: dict[str, float] = {}
    squares = 0.0
    for demand in wanted:
        figures = demand.figures(scene)
        if not demand.is_limit:
            squares += demand.weight * float(demand.miss(figures)[0]) ** 2
        elif (lack := float(demand.shortfall(figures)[0])) > 0.0:
            short[demand.label] = lack
    merit = float(merit_of(np.array(squares), total_weight(wanted)))
    return {"feasible": not short, "merit": merit, "shortfalls": short}


def settings_of(assembly: Assembly, positions: tuple[int, ...]) -> Record:
    """What has to be set, station by station, as a person sets it; and which pieces a stack takes."""
    settings: Record = {}
    for dim, position in zip(assembly.dimensions, positions, strict=True):
        block = settings.setdefault(dim.station.value, {})
        block[dim.name] = dim.values[position]
        if dim.stack:
            block["pieces_under"] = list(dim.stack[position].under)
            block["pieces_above"] = list(dim.stack[position].above)
    return settings


def solved_of(
    assembly: Assembly, scene: Scene, wanted: list[Demand], positions: tuple[int, ...]
) -> Record:
    """What follows from the settings: ride height, rod length and its adjuster, the steering stop."""
    lowered = assembly.lowering + float(
        assembly.channels("left", np.array([positions], dtype=np.int64))["lowered_by"][0]
    )
    solved: Record = {
        "lowered_by": lowered,
        "toe": assembly.toe,
        "rack_travel": float(scene.rack_travel[0]),
        "rack_per_turn": float(scene.rack_per_turn[0]),
        "stop": float(scene.stop[0]),
        "stop_set_by": stop_set_by(scene, wanted),
    }
    nearest = tyre_nearest(scene)
    if nearest is not None:
        solved["tyre_nearest"] = nearest
    for side in scene.sides():
        solved["tie_rod" if side == "left" else "tie_rod_right"] = _rod_of(scene, side)
    if scene.car.bar_mounts is not None:
        solved["bar_link"] = _bar_links_of(scene)
    return solved


def _bar_links_of(scene: Scene) -> Record:
    """Both links of the anti-roll bar between joints, and the right one's length that frees the bar, mm."""
    lengths: Record = {
        side: number(scene.channels.get("antiroll_bar.link_length", side)[0])
        for side in ("left", "right")
    }
    return {**lengths, "right_free": number(preload_free_link(scene, "right")[0])}


def stop_set_by(scene: Scene, wanted: list[Demand]) -> Record:
    """What keeps the rack of a one-lane scene from going further, and where it does."""
    found = stops.culprit(scene, holds(wanted))
    if found is None:
        return {"by": RACK_END}
    turn = "left" if found.turn > 0.0 else "right"
    inside = found.side == turn
    record: Record = {"by": found.name, "travel": found.travel, "turn": turn}
    record["wheel"] = ("inner" if inside else "outer") if scene.mirrored else found.side
    if scene.mirrored:
        del record["turn"]
    return record


def tyre_nearest(scene: Scene) -> Record | None:
    """To what the tyre of a one-lane scene comes nearest, and where; None where nothing is declared."""
    found = closest(scene)
    if found is None:
        return None
    wheel: str = found.side
    if scene.mirrored:
        wheel = "either" if found.rack == 0.0 else "inner" if found.rack > 0.0 else "outer"
    return {
        "to": found.obstacle,
        "gap": found.gap,
        "wheel": wheel,
        "travel": found.travel,
        "rack": abs(found.rack) if scene.mirrored else found.rack,
    }


def _rod_of(scene: Scene, side: Side) -> Record:
    length = scene.columns(side)[k.ROD_LENGTH]
    rod: Record = {"length": number(length[0])}
    kit = scene.rod_kit
    if kit is not None:
        best, engaged = kit.fit(length)
        fits = int(best[0]) >= 0
        rod["adjuster"] = kit.adjusters[int(best[0])] if fits else None
        rod["engagement"] = float(engaged[0]) if fits else None
        rod["threads_showing"] = kit.thread - float(engaged[0]) if fits else None
        rod["pitch"] = kit.pitch
        rod["flats"] = kit.flats
    return rod


def curves_of(scene: Scene) -> Record:
    """Curves of a one-lane scene: the left wheel over travel, both wheels over rack displacement.

    A car whose sides differ has the right wheel's curves over travel beside the left one's.
    """
    travel = np.arange(-CURVE_TRAVEL, CURVE_TRAVEL + 0.5 * CURVE_STEP, CURVE_STEP)
    curves: Record = {"travel": _travel_curves(scene, "left", travel), "steer": {}}
    if not scene.mirrored:
        curves["travel_right"] = _travel_curves(scene, "right", travel)
    rack = rack_positions(float(scene.rack_travel[0]))
    left, right = steer_pair(scene, rack)
    curves["steer"] = {"rack": rack.tolist(), "left": _listed(left), "right": _listed(right)}
    for name in STEER_CURVES:
        curves["steer"][name] = _curve(scene, MEASURES[name], rack)
    return curves


def rack_positions(stop: float) -> Floats:
    """Every 5 mm of rack from the centre, and both ends."""
    inside = np.arange(0.0, stop, CURVE_STEP)
    right = np.append(inside, stop)
    return np.concatenate([-right[:0:-1], right])


def _travel_curves(scene: Scene, side: Side, travel: Floats) -> Record:
    curves = {name: _curve(scene, MEASURES[name], travel, side) for name in TRAVEL_CURVES}
    return {"travel": travel.tolist(), **curves}


def _curve(
    scene: Scene, measure: Measure, positions: Floats, side: Side = "left"
) -> list[float | None]:
    assert measure.curve is not None
    return _listed(measure.curve(scene, side, positions))


def _listed(values: Floats) -> list[float | None]:
    return [number(v) for v in values[:, 0]]


def candidate(
    assembly: Assembly, wanted: list[Demand], positions: tuple[int, ...], *, curves: bool = False
) -> Record:
    """Everything that is known of one candidate in one duty."""
    scene = assembly.scene(np.array([positions], dtype=np.int64).reshape(1, -1))
    scene = stopped(scene, wanted)
    record = verdict_of(scene, wanted)
    record["settings"] = settings_of(assembly, positions)
    record["solved"] = solved_of(assembly, scene, wanted, positions)
    record["measures"] = measures_of(scene, wanted)
    if curves:
        record["curves"] = curves_of(scene)
    return record

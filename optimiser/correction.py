"""Which adjuster of a build would correct readings that are off on the set-down, by how much, at what cost.

Each real position of a setting is tried on the model, the tie rod set back to the duty's toe, and each whole
flat of the tie rod. A position takes the readings by the change that the model tells of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from goals.verdicts import Demand
from kinematics.arrays import Ints
from kinematics.rows import ROD_LENGTH
from kinematics.scene import Scene, Side
from optimiser import reading_list as kinds
from optimiser.assembly import Assembly
from optimiser.bench import DutyBench, flat_of, row_of
from optimiser.evaluate import stopped, verdict_of
from optimiser.reading_list import Reading
from optimiser.setdown import SetDown, declared, with_dimension
from optimiser.space import Dimension, adjuster_at

Record = dict[str, Any]

MOST_STEPS = 40  # of a setting that are tried each way
MOST_FLATS = 36  # six turns
LENGTH_STEP = 0.1  # of a rod whose thread no one tells, mm
WORTH = 0.7  # of the readings' misses that may be left for a correction to be worth telling
TOLD = 0.25  # change of a figure that is told, in the difference that a builder notices
MOST_CHANGES, MOST_CORRECTIONS = 3, 3
# Measures that a kind of reading is about: a correction brings the car's own back to what is expected of
# them, so what the model tells of them under the correction is not the car's.
ABOUT = {
    kinds.TOE_CHANGE: ("toe", "bump_steer", "bump_steer_slope"),
    kinds.DIALS: ("toe", "bump_steer", "bump_steer_slope"),
    kinds.CAMBER: ("camber", "camber_gain"),
    kinds.PLATES: ("ackermann", "toe_out_on_turns"),
    kinds.CASTER: ("caster", "caster_change"),
    kinds.KINGPIN: ("kingpin_inclination",),
}
BY_ROD = (kinds.TOE, kinds.TOE_CHANGE, kinds.DIALS)


_Changes = tuple[tuple[str, str, float, float], ...]


@dataclass(frozen=True)
class Correction:
    """A setting to change: from where to where, and what is then left of the readings' misses.

    ``left`` is the root mean square of what is left over that before; ``passes`` whether every reading of the
    group is then inside its bound. ``changes`` are figures that change (label, unit, from, to), ``breaks``
    limits that the model then no longer holds.
    """

    station: str
    setting: str
    side: str
    start: float | str
    end: float | str
    left: float
    passes: bool
    changes: tuple[tuple[str, str, float, float], ...]
    breaks: tuple[str, ...]


@dataclass(frozen=True)
class Misset:
    """A setting that reads as if it stood elsewhere: where, and what of the misses that leaves."""

    station: str
    setting: str
    stands: float | str
    reads_as: float | str
    left: float


@dataclass(frozen=True)
class Group:
    """Readings of one kind and wheel that do not all pass, with corrections, the best first.

    ``missets`` are settings that may not stand where the sheet has them.
    """

    kind: str
    side: Side
    members: tuple[int, ...]
    look_again: int
    corrections: tuple[Correction, ...]
    missets: tuple[Misset, ...]


def groups(down: SetDown) -> list[Group]:
    """The groups of a set-down in which a reading asks for another look."""
    found = []
    keys = dict.fromkeys((r.kind, r.side) for r in down.every)
    for kind, side in keys:
        members = tuple(
            at
            for at, r in enumerate(down.every)
            if (r.kind, r.side) == (kind, side) and np.isfinite(down.difference[at])
        )
        off = sum(not down.passes[at] for at in members)
        if off:
            best = sorted(_corrections(down, kind, side, members), key=lambda c: c.left)
            # a limit is a gate: what breaks one is not proposed
            sound = [c for c in best if not c.breaks]
            missets = sorted(_missets(down, kind, members), key=lambda m: m.left)
            few = tuple(sound[:MOST_CORRECTIONS]), tuple(missets[:MOST_CORRECTIONS])
            found.append(Group(kind, side, members, off, *few))
    return found


def _missets(down: SetDown, kind: str, members: tuple[int, ...]) -> Iterator[Misset]:
    """Settings that would give such readings if they stood elsewhere than the sheet says."""
    bench = down.bench
    assert bench.assembly is not None
    if kind in (kinds.TOE, kinds.ROD):
        return
    for at, dim in enumerate(bench.assembly.dimensions):
        tried = _tried(down, at, dim) if "lowered_by" not in dim.effects else None
        best = (
            None if tried is None else _best(down, tried.assembly.scene(tried.rows), members, -1.0)
        )
        if tried is None or best is None or tried.values[best[0]] == tried.here:
            continue
        yield Misset(dim.station.value, dim.name, tried.here, tried.values[best[0]], best[1])


def _corrections(
    down: SetDown, kind: str, side: Side, members: tuple[int, ...]
) -> Iterator[Correction]:
    bench = down.bench
    assert bench.assembly is not None
    if kind in BY_ROD:
        yield from _by_rod(down, kind, side, members)
    if kind in (kinds.TOE, kinds.ROD):
        return  # with any other setting the tie rod is set back to the same toe
    where = "both sides" if kind == kinds.PLATES else f"{side} side"
    for at, dim in enumerate(bench.assembly.dimensions):
        # ride height is set by itself, before anything is read
        if "lowered_by" not in dim.effects:
            yield from _by_setting(down, kind, at, where, members)


def _by_setting(
    down: SetDown, kind: str, at: int, where: str, members: tuple[int, ...]
) -> Iterator[Correction]:
    """The position of one setting that leaves least of the misses, where it is worth telling."""
    assert down.bench.assembly is not None
    dim = down.bench.assembly.dimensions[at]
    tried = _tried(down, at, dim)
    if tried is None:
        return
    best = _best(down, tried.assembly.scene(tried.rows), members)
    if best is None or tried.values[best[0]] == tried.here:
        return
    lane, left, passes = best
    changes, breaks = _changes(down, kind, tried.assembly.scene(tried.rows[lane : lane + 1]))
    yield Correction(
        dim.station.value,
        dim.name,
        where,
        tried.here,
        tried.values[lane],
        left,
        passes,
        changes,
        breaks,
    )


@dataclass(frozen=True)
class _Tried:
    """Positions of one setting to try: the assembly that has them, and a row of positions for each."""

    assembly: Assembly
    rows: Ints
    values: tuple[float | str, ...]
    here: float | str


def _tried(down: SetDown, at: int, dim: Dimension) -> _Tried | None:
    """Real positions of a setting, the nearest of a long range; None where there is but one."""
    here = dim.values[down.bench.positions[at]]
    whole = _finest(down.bench, dim)
    near = _near(whole, here)
    if len(near) < 2:
        return None
    whole = whole.only(near)
    rows = np.repeat(row_of(down.bench.positions), whole.size, axis=0)
    rows[:, at] = np.arange(whole.size)
    return _Tried(with_dimension(down.bench, at, whole), rows, whole.values, here)


def _finest(bench: DutyBench, dim: Dimension) -> Dimension:
    """A setting with every position that it can be set to, finer than the grid where its part says so."""
    part = bench.build.parts.get(dim.station)
    adjuster = None if part is None else part.adjusts.get(dim.name)
    if part is None or adjuster is None or adjuster.fine is None:
        return declared(bench, dim)
    low, high = adjuster.range
    count = int(np.floor((high - low) / adjuster.fine + 1e-9)) + 1
    settings = np.round(low + adjuster.fine * np.arange(count), 9)
    return adjuster_at(part, dim.station, dim.name, settings)


def _near(dim: Dimension, here: float | str) -> list[int]:
    """The positions to try: all of a choice, the nearest of a long range."""
    if dim.kind == "choice" or not isinstance(here, float):
        return list(range(dim.size))
    apart = np.abs(np.array([float(v) for v in dim.values]) - here)
    return sorted(int(i) for i in np.argsort(apart, kind="stable")[: 2 * MOST_STEPS + 1])


def _by_rod(down: SetDown, kind: str, side: Side, members: tuple[int, ...]) -> Iterator[Correction]:
    """The tie-rod length of one wheel that leaves least of the misses; in flats where the kit tells."""
    bench = down.bench
    assert bench.scene is not None
    rods = bench.rods()
    rod = rods.get(side, rods["left"])
    told = "pitch" in rod
    step = flat_of(rod) if told else LENGTH_STEP
    steps = np.arange(-MOST_FLATS, MOST_FLATS + 1)
    many = bench.scene.take(np.zeros(steps.size, dtype=np.int64))
    best = _best(down, many.shifted(ROD_LENGTH, step * steps.astype(np.float64)), members)
    if best is None or steps[best[0]] == 0:
        return
    lane, left, passes = best
    count = int(steps[lane])
    changes: _Changes = ()
    breaks: tuple[str, ...] = ()
    # static toe goes back to where the model has it already: nothing else moves
    if kind != kinds.TOE:
        changes, breaks = _changes(down, kind, bench.scene.shifted(ROD_LENGTH, step * count))
    name, amount = ("flats", float(count)) if told else ("length", round(step * count, 6))
    yield Correction("tie_rod", name, f"{side} side", 0.0, amount, left, passes, changes, breaks)


def _best(
    down: SetDown, scene: Scene, members: tuple[int, ...], way: float = 1.0
) -> tuple[int, float, bool] | None:
    """The lane that leaves least of the misses, what it leaves of them, and whether all then pass.

    With a ``way`` of -1 the lane that would itself read so.
    """
    readings: tuple[Reading, ...] = tuple(down.every[at] for at in members)
    which = np.array(members)
    moved = way * (down.predicted(scene, readings) - down.expected[which][:, None])
    off = down.difference[which]
    misses = (off[:, None] + moved) / down.deviation[which][:, None]
    squares = np.where(np.isfinite(misses), misses**2, np.inf).sum(axis=0)
    lane = int(squares.argmin())
    before = float(((off / down.deviation[which]) ** 2).sum())
    left = float(np.sqrt(squares[lane] / before)) if before > 0.0 else 1.0
    if left > WORTH:
        return None
    return lane, left, bool((np.abs(misses[:, lane]) <= down.factor).all())


def _changes(down: SetDown, kind: str, scene: Scene) -> tuple[_Changes, tuple[str, ...]]:
    """Figures of the duty that a corrected scene changes most, and the limits that it breaks.

    Those that the readings are about are left out.
    """
    bench = down.bench
    assert bench.scene is not None and bench.assembly is not None
    wanted = bench.problem.demands(bench.assembly, bench.duty)
    scene = stopped(scene, wanted)
    wanted = [d for d in wanted if d.measure.name not in ABOUT[kind]]
    changes: dict[str, tuple[float, str, float, float]] = {}
    for demand in wanted:
        before, after = _telling(demand, bench.scene), _telling(demand, scene)
        size = abs(after - before) / demand.measure.scale
        if np.isfinite(size) and size >= TOLD:
            key = demand.measure.name
            changes.setdefault(key, (size, demand.measure.unit, before, after))
    most = sorted(changes.items(), key=lambda item: -item[1][0])[:MOST_CHANGES]
    held = verdict_of(bench.scene, wanted)["shortfalls"]
    broken = verdict_of(scene, wanted)["shortfalls"]
    breaks = tuple(label for label in broken if broken[label] > held.get(label, 0.0) + 1e-9)
    return tuple((name, unit, a, b) for name, (_, unit, a, b) in most), breaks


def _telling(demand: Demand, scene: Scene) -> float:
    """The first figure of a demand, of the worst wheel or turn by its size."""
    cases = demand.figures(scene)[0][:, 0]
    return float(cases[int(np.nan_to_num(np.abs(cases)).argmax())])


def document_of(group: Group, down: SetDown) -> Record:
    """A group as ``setdown --json`` prints it."""
    off = [at for at in group.members if not down.passes[at]]
    worst = max(off, key=lambda at: abs(down.difference[at]) / down.bound[at])
    return {
        "kind": group.kind,
        "wheel": group.side,
        "readings": len(group.members),
        "look_again": group.look_again,
        "worst": down.every[worst].words,
        "corrections": [
            {
                "station": c.station,
                "setting": c.setting,
                "side": c.side,
                "from": c.start,
                "to": c.end,
                "left": c.left,
                "passes": c.passes,
                "changes": [
                    {"measure": name, "unit": unit, "from": a, "to": b}
                    for name, unit, a, b in c.changes
                ],
            }
            for c in group.corrections
        ],
        "missets": [
            {
                "station": m.station,
                "setting": m.setting,
                "stands": m.stands,
                "reads_as": m.reads_as,
                "left": m.left,
            }
            for m in group.missets
        ],
    }

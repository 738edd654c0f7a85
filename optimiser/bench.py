"""A candidate on the bench: what gauges should read, what a flat of the tie rod does, what is in hand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import scipy

from goals.verdicts import Demand
from kinematics import rows as k
from kinematics.arrays import Floats, Ints
from kinematics.measures.steer import Turn
from kinematics.scene import STRAIGHT, At, Scene, Side
from optimiser.assembly import Assembly
from optimiser.evaluate import limit_state, number, stopped, telling_case
from optimiser.precision import fixed
from optimiser.problem import Problem
from optimiser.ranking import Row
from optimiser.refine import as_set
from optimiser.space import Build
from optimiser.wording import Margin, distance, short, tells

Record = dict[str, Any]

GAUGE_TRAVEL = tuple(float(t) for t in range(60, -51, -10))
PLATE_ANGLES = (10.0, 20.0, 30.0)
SAME_LENGTH = 0.005  # mm
SHARES = tuple(n / 8.0 for n in range(9))


@dataclass(frozen=True)
class GaugeReading:
    """One station of the bump-steer gauge: travel in mm, toe change and camber of one wheel in deg."""

    travel: float
    toe: float
    camber: float


@dataclass(frozen=True)
class PlateReading:
    """One station on the turn plates: deg, and mm of rack from the centre. Not-a-number: not reached."""

    inner: float
    outer: float
    rack: float

    @property
    def toe_out(self) -> float:
        """Inner less outer, deg."""
        return self.inner - self.outer


def gauge(scene: Scene, side: Side) -> list[GaugeReading]:
    """Readings of one wheel of a one-lane scene, rack centred, top of travel first."""
    states = scene.states(side, [At(t) for t in GAUGE_TRAVEL])
    ride = float(scene.states(side, [STRAIGHT]).toe[0, 0])
    return [
        GaugeReading(t, float(states.toe[i, 0]) - ride, float(states.camber[i, 0]))
        for i, t in enumerate(GAUGE_TRAVEL)
    ]


def plates(scene: Scene, turn: Turn) -> list[PlateReading]:
    """Readings at the inner angles of the trade and at the stop, for one direction of turn."""
    readings = [_plate_at(scene, turn, angle) for angle in PLATE_ANGLES]
    return [*readings, _plate(scene, turn, _stop_share(scene))]


def _stop_share(scene: Scene) -> float:
    """The steering stop as a share of the rack's own travel."""
    return float(scene.stop[0] / scene.rack_travel[0])


def _steer(scene: Scene, side: Side, turn: Turn, share: float) -> float:
    states = scene.states(side, [At(turn=turn.sign * share)])
    return turn.sign * float(scene.steer(side, states)[0, 0])


def _plate(scene: Scene, turn: Turn, share: float) -> PlateReading:
    return PlateReading(
        _steer(scene, turn.inner, turn, share),
        _steer(scene, turn.outer, turn, share),
        share * float(scene.rack_travel[0]),
    )


def _plate_at(scene: Scene, turn: Turn, angle: float) -> PlateReading:
    """The reading where the inner wheel stands at an angle, before steer breaks off or falls again."""
    low, at_low = 0.0, 0.0
    for share in (part * _stop_share(scene) for part in SHARES[1:]):
        there = _steer(scene, turn.inner, turn, share)
        if not there > at_low:
            break
        if there >= angle:
            found = scipy.optimize.brentq(
                lambda s: _steer(scene, turn.inner, turn, s) - angle, low, share, xtol=1e-10
            )
            return _plate(scene, turn, float(found))
        low, at_low = share, there
    return PlateReading(angle, float("nan"), float("nan"))


def toe_of_flats(scene: Scene, side: Side, length: float) -> float:
    """Toe change of one wheel, deg, toe-in positive, for mm more rod length at ride height."""
    own: Side = side if side in scene.sides() else "left"
    longer = scene.shifted(k.ROD_LENGTH, length, (own,))
    before, after = (float(s.states(own, [STRAIGHT]).toe[0, 0]) for s in (scene, longer))
    return after - before


def heights(scene: Scene, side: Side, points: dict[str, float]) -> dict[str, float]:
    """Heights above the ground at ride height, mm, of body points given by their z."""
    contact = float(scene.states(side, [STRAIGHT]).row(k.CONTACT + 2)[0, 0])
    return {name: z - contact for name, z in points.items()}


@dataclass(frozen=True)
class DutyBench:
    """A candidate as one duty sets it, ready to be asked for readings.

    ``assembly`` and ``scene`` are None where the build has no setting for the duty. ``positions`` are those
    of the assembly's own dimensions, which stand as refined where the duty was. ``bands`` are its figures'
    5 to 95 percent bands over cars as built, where they are known.
    """

    problem: Problem
    build: Build
    duty: str
    record: Record
    assembly: Assembly | None
    scene: Scene | None
    positions: tuple[int, ...] = ()
    bands: Record = field(default_factory=dict)

    @classmethod
    def of(
        cls, problem: Problem, build: Build, duty: str, record: Record, bands: Record | None = None
    ) -> DutyBench:
        """A duty's record of the ledger with its scene solved anew."""
        assembly = problem.assembly(build, duty)
        if assembly is None or "positions" not in record:
            return cls(problem, build, duty, record, None, None)
        wanted = problem.demands(assembly, duty)
        assembly, positions = as_set(assembly, record)
        scene = stopped(assembly.scene(row_of(positions)), wanted)
        return cls(problem, build, duty, record, assembly, scene, positions, bands or {})

    @property
    def sides(self) -> tuple[Side, ...]:
        """Sides that read differently: one where the car is symmetric."""
        return ("left",) if self.scene is None else self.scene.sides()

    def channels(self, side: Side) -> dict[str, Floats]:
        """Every channel of one side as the duty sets it."""
        return {} if self.assembly is None else self.assembly.channels(side, row_of(self.positions))

    @cached_property
    def margins(self) -> list[Margin]:
        """Every limit with its margin at its worst wheel or turn, tightest first."""
        if self.scene is None or self.assembly is None:
            return []
        wanted = self.problem.demands(self.assembly, self.duty)
        every = (self._margin(demand, wanted) for demand in wanted if demand.is_limit)
        return sorted((m for m in every if m is not None), key=lambda m: m.in_scales)

    def _margin(self, limit: Demand, wanted: list[Demand]) -> Margin | None:
        """A limit's margin at its worst wheel or turn; None where there is nothing that it could hold."""
        assert self.scene is not None
        figures = limit.figures(self.scene)
        worst = int(telling_case(figures[0], [limit], [])[0])
        value = number(figures[0][worst, 0])
        if value is None and float(limit.shortfall(figures)[0]) <= 0.0:
            return None
        bound = (limit.minimum, limit.maximum)
        gap = None if value is None else distance(value, bound)
        state = limit_state(self.scene, limit, worst, wanted)
        band = self.bands.get(limit.label) or self.bands.get(limit.measure.name)
        band = None if band is None or isinstance(band[0], list) else band
        return Margin(self.duty, limit.label, value, bound, gap, state=state, band=band)

    def rods(self) -> dict[Side, Record]:
        """Solved tie rods by side."""
        solved = self.record["solved"]
        names: dict[Side, str] = {"left": "tie_rod", "right": "tie_rod_right"}
        return {side: solved[names[side]] for side in self.sides}

    def rods_words(self, other: DutyBench) -> str:
        """How the tie rods change from this duty to another, in flats; empty where they stay as they are."""
        rods, there = self.rods(), other.rods()
        if all(_same(rods[side], there[side]) for side in rods):
            return ""
        words = []
        for side, rod in rods.items():
            name = "both tie rods" if len(self.sides) == 1 else f"{side} tie rod"
            words.append(f"{name} {rod_change(rod, there[side])}")
        return "; ".join(words)


def bands_of(row: Row, duty: str) -> Record:
    """The 5 to 95 percent bands of a duty's figures over cars as built; empty where they are not known."""
    found: Record = (row.get("as_built") or {}).get("duties", {}).get(duty, {}).get("bands", {})
    return found


def tightest(benches: Iterable[DutyBench]) -> list[Margin]:
    """Every limit of all duties whose margin tells how tight it is, the one with least in hand first."""
    every = (m for b in benches for m in b.margins if tells(b.record, m))
    return sorted(every, key=lambda margin: margin.in_scales)


def row_of(positions: tuple[int, ...]) -> Ints:
    """One setting as a row of positions."""
    return np.array([positions], dtype=np.int64).reshape(1, -1)


def _same(rod: Record, there: Record) -> bool:
    if rod.get("adjuster") != there.get("adjuster"):
        return False
    if None in (rod["length"], there["length"]):
        return bool(rod["length"] == there["length"])
    return bool(abs(rod["length"] - there["length"]) < SAME_LENGTH)


def rod_change(rod: Record, there: Record) -> str:
    """How a tie rod becomes another of the same kit: flats, mm eye to eye, another adjuster."""
    if None in (rod["length"], there["length"]):
        return (
            "reaches in one of them only"
            if rod["length"] != there["length"]
            else "reaches in neither"
        )
    longer = there["length"] - rod["length"]
    way = "longer" if longer > 0 else "shorter"
    size = f"{fixed(abs(longer), 1)} mm {way} eye to eye"
    if abs(longer) < SAME_LENGTH:
        size = "unchanged"
    if rod.get("adjuster") != there.get("adjuster"):
        names = [short(r["adjuster"]) if r.get("adjuster") else "none" for r in (rod, there)]
        return f"{size}, adjuster {names[0]} out and {names[1]} in"
    if "pitch" in rod and abs(longer) >= SAME_LENGTH:
        flats = abs(longer) / flat_of(rod)
        return f"{fixed(flats, 1)} flats {way} ({size})"
    return size


def flat_of(rod: Record) -> float:
    """Length that one flat of the adjuster gives, mm: threads of opposite hand, so twice the pitch a turn."""
    return float(2.0 * rod["pitch"] / rod["flats"])

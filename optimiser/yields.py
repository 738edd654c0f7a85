"""What becomes of a candidate when it is built: yields, bands, and which error matters most.

Shares and bands are over the cars drawn (:mod:`optimiser.errors`); a pure function of inputs and ledger row.

The standard error told of a yield p of n cars is sqrt(q (1 - q) / n) with q = (p n + 1) / (n + 2), which is
that of n cars drawn by plain chance, never quite nothing. Scrambled Sobol points are as a rule nearer, so it
is a cautious figure and not an exact one.

Which error matters most is told by least squares: what a limit has in hand (or the merit) of every car
against all errors, in standard deviations, at once. An error's share of the variance is the square of its
slope, a point's three directions together; ``explained`` is the adjusted R², and where that is small the
figure is too bent for shares to say much.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from goals.verdicts import Demand, merit_of, total_weight
from kinematics.arrays import Bools, Floats
from kinematics.measures import MEASURES, Ask, Measure, Stage
from kinematics.measures.steer import steer_pair
from kinematics.scene import Scene
from optimiser.as_built import BOTH, as_built
from optimiser.errors import Drawn, set_once
from optimiser.evaluate import (
    CURVE_STEP,
    CURVE_TRAVEL,
    Shown,
    figures_shown,
    rack_positions,
    stopped,
    telling,
)
from optimiser.problem import Problem
from optimiser.ranking import Row, merit
from optimiser.refine import as_set

Record = dict[str, Any]

BAND = (0.05, 0.95)
# Digits kept of a merit: ties are told by differences far larger.
MERIT_DIGITS = 6
SHARE_DIGITS = 3
# Errors that are told of a limit: those with the largest shares.
MOST_TOLD = 3
TRAVEL_CURVES = ("toe", "camber", "roll_centre_height")


@dataclass(frozen=True)
class Sampled:
    """One duty of a candidate in every car: whether each limit holds, its margin and the merit.

    ``holds`` and ``in_hand`` are label → (n,), ``merits`` (n,); ``record`` is what the ledger keeps.
    """

    drawn: Drawn
    holds: dict[str, Bools]
    in_hand: dict[str, Floats]
    merits: Floats
    record: Record

    @property
    def all_hold(self) -> Bools:
        """Whether every limit holds, (n,)."""
        return np.asarray(np.logical_and.reduce([*self.holds.values(), np.isfinite(self.merits)]))


def sample_row(problem: Problem, row: Row) -> Record:
    """Yields and bands of a candidate that holds every limit.

    Args:
        problem: the inputs.
        row: its ledger row; every duty has a setting.

    Returns the record of the ledger's table ``as_built``.
    """
    duties = {duty: sample_duty(problem, row, duty) for duty in problem.duties}
    good = np.logical_and.reduce([sampled.all_hold for sampled in duties.values()])
    merits = np.max([sampled.merits for sampled in duties.values()], axis=0)
    share, sure = _yield(good, any(s.drawn.used for s in duties.values()))
    least = problem.goals.tolerances.least_yield
    worst = max(duties, key=lambda duty: float(row["duties"][duty]["merit"]))
    return {
        "number": row["build"],
        "samples": problem.errors.samples,
        "yield": share,
        "yield_error": sure,
        "enough": least is None or share >= least,
        "merit": merit(row),
        "merit_band": _band(merits),
        "merit_matters": _matters(duties[worst].drawn, duties[worst].merits),
        "merits": [round(float(value), MERIT_DIGITS) for value in merits],
        "duties": {duty: sampled.record for duty, sampled in duties.items()},
    }


def failed_record(problem: Problem, number: int, reason: str) -> Record:
    """The record of a candidate that could not be built."""
    enough = problem.goals.tolerances.least_yield is None
    return {"number": number, "failed": reason, "enough": enough}


def sample_duty(problem: Problem, row: Row, duty: str) -> Sampled:
    """One duty of a candidate, built many times."""
    assembly = problem.assembly(problem.space.build(row["build"]), duty)
    assert assembly is not None
    # what is kept in hand is kept for these very errors
    wanted = problem.demands(assembly, duty, in_hand=False)
    assembly, positions = as_set(assembly, row["duties"][duty])
    drawn = Drawn(problem.errors, duty, set_once(row["duties"].values()))
    scene = stopped(as_built(assembly, positions, drawn), wanted)
    figures = Figures(scene)
    limits = [demand for demand in wanted if demand.is_limit]
    holds = {d.label: _holds(d, figures) for d in limits}
    in_hand = {d.label: _in_hand(d, figures) for d in limits}
    merits = _merits(wanted, figures)
    printed = float(row["duties"][duty]["solved"]["stop"])
    sampled = Sampled(drawn, holds, in_hand, merits, {})
    share, sure = _yield(sampled.all_hold, bool(drawn.used))
    sampled.record.update(
        {
            "yield": share,
            "yield_error": sure,
            "limits": {label: float(good.mean()) for label, good in holds.items()},
            "matters": {
                label: _matters(drawn, in_hand[label])
                for label, good in holds.items()
                if not good.all()
            },
            "stop_band": _band(scene.stop),
            "yield_at_printed_stop": _at_stop(limits, holds, scene, printed),
            "merit_band": _band(merits),
            "bands": bands_of(figures, wanted),
            "missing": _missing(figures, wanted),
            "curves": _curves(scene),
        }
    )
    return sampled


class Figures:
    """The figures of a scene's cars, each found once however many limits, targets and bands ask for it."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self._known: dict[tuple[str, Ask], Floats] = {}

    def of(self, measure: Measure, asks: tuple[Ask, ...]) -> list[Floats]:
        """A measure's figure of each ask, (cases, n)."""
        for ask in asks:
            if (measure.name, ask) not in self._known:
                self._known[measure.name, ask] = measure(self.scene, ask)
        return [self._known[measure.name, ask] for ask in asks]

    def wanted_by(self, demand: Demand) -> list[Floats]:
        """The figures that a demand is about."""
        return self.of(demand.measure, demand.asks)


def _holds(limit: Demand, figures: Figures) -> Bools:
    return limit.shortfall(figures.wanted_by(limit)) <= 0.0


def _in_hand(limit: Demand, figures: Figures) -> Floats:
    """What a limit has in hand at its worse wheel or turn, (n,) in the measure's unit."""
    cases = figures.wanted_by(limit)[0]
    room = np.full(cases.shape, np.inf)
    if limit.minimum is not None:
        room = np.minimum(room, cases - limit.minimum)
    if limit.maximum is not None:
        room = np.minimum(room, limit.maximum - cases)
    return np.asarray(room.min(axis=0))


def _merits(wanted: list[Demand], figures: Figures) -> Floats:
    squares = np.zeros(figures.scene.lanes)
    for demand in wanted:
        if not demand.is_limit:
            squares = squares + demand.weight * demand.miss(figures.wanted_by(demand)) ** 2
    return merit_of(squares, total_weight(wanted))


def _at_stop(limits: list[Demand], holds: dict[str, Bools], scene: Scene, stop: float) -> float:
    """The share of cars that hold every limit with the stop set by the sheet, not on the car."""
    good = np.ones(scene.lanes, dtype=bool)
    steered = [limit for limit in limits if limit.stage >= Stage.STEER]
    for limit in limits:
        # what is known before the rack moves does not hang on the stop
        if limit.stage < Stage.STEER:
            good &= holds[limit.label]
    lanes = np.flatnonzero(good)
    if lanes.size and steered:
        there = Figures(scene.take(lanes, stop=np.minimum(stop, scene.rack_travel[lanes])))
        good[lanes] = np.logical_and.reduce([_holds(limit, there) for limit in steered])
    return float(good.mean())


def _yield(good: Bools, chance: bool) -> tuple[float, float]:
    """A share and its standard error; where nothing can be off there is no error."""
    share, n = float(good.mean()), good.size
    q = (share * n + 1.0) / (n + 2.0)
    return share, float(np.sqrt(q * (1.0 - q) / n)) if chance else 0.0


def _band(values: Floats) -> list[float] | None:
    """The 5 and the 95 percent quantile of the cars that have the figure; None where none has."""
    known = values[np.isfinite(values)]
    if known.size == 0:
        return None
    low, high = np.quantile(known, BAND)
    return [float(low), float(high)]


def _cheap(scene: Scene, wanted: list[Demand]) -> Iterator[Shown]:
    """Figures that are shown, but not gaps and the like over the whole envelope of which nothing is asked."""
    for shown in figures_shown(scene, wanted):
        gap = shown.measure.group == "space" and shown.measure.stage is Stage.ENVELOPE
        if shown.demands or not gap:
            yield shown


def bands_of(figures: Figures, wanted: list[Demand]) -> Record:
    """The band of every figure that the duty shows (:func:`_cheap`), by key; of a curve's points a list."""
    found: Record = {}
    for shown in _cheap(figures.scene, wanted):
        limits = [d for d in shown.demands if d.is_limit]
        targets = [d for d in shown.demands if not d.is_limit]
        cases = figures.of(shown.measure, shown.asks)
        bands = [_band(telling(each, limits, targets)) for each in cases]
        found[shown.key] = bands if targets and len(shown.asks) > 1 else bands[0]
    return found


def _missing(figures: Figures, wanted: list[Demand]) -> dict[str, float]:
    """The share of cars in which a figure does not exist, by its key, where that is some but not all."""
    found = {}
    for shown in _cheap(figures.scene, wanted):
        cases = np.concatenate(figures.of(shown.measure, shown.asks))
        share = float(np.isnan(cases).any(axis=0).mean())
        if 0.0 < share < 1.0:
            found[shown.key] = share
    return found


def _curves(scene: Scene) -> Record:
    """Bands of the curves that the bench sheet has: toe over travel of each wheel, steer, toggle margin."""
    travel = np.arange(-CURVE_TRAVEL, CURVE_TRAVEL + 0.5 * CURVE_STEP, CURVE_STEP)
    curves: Record = {"travel": travel.tolist()}
    for side in BOTH:
        for name in TRAVEL_CURVES:
            curve = MEASURES[name].curve
            assert curve is not None
            curves[f"{name}_{side}"] = [_band(at) for at in curve(scene, side, travel)]
    rack = rack_positions(float(scene.rack_travel.min()))
    curves["rack"] = rack.tolist()
    left, right = steer_pair(scene, rack)
    curves["steer_left"], curves["steer_right"] = (
        [_band(at) for at in steer] for steer in (left, right)
    )
    toggle = MEASURES["toggle_margin"].curve
    assert toggle is not None
    curves["toggle_margin"] = [_band(at) for at in toggle(scene, "left", rack)]
    return curves


def _matters(drawn: Drawn, figure: Floats) -> Record | None:
    """The errors with the largest shares of a figure's variance; None where it does not vary."""
    known = np.isfinite(figure)
    columns = [column for each in drawn.used.values() for column in each]
    if known.sum() <= len(columns) + 1 or np.ptp(figure[known]) < 1e-12:
        return None
    sources = drawn.errors.draws(columns)[:, known].T
    values = figure[known]
    design = np.column_stack([np.ones(values.size), sources])
    slopes, *_ = np.linalg.lstsq(design, values, rcond=None)
    variance = float(values.var())
    left_over = float((values - design @ slopes).var())
    freedom = (values.size - 1) / (values.size - len(columns) - 1)
    shares = {}
    start = 1
    for source, each in drawn.used.items():
        own = slopes[start : start + len(each)]
        shares[source] = round(float((own * own).sum()) / variance, SHARE_DIGITS)
        start += len(each)
    largest = sorted(shares.items(), key=lambda pair: (-pair[1], pair[0]))[:MOST_TOLD]
    return {
        "errors": [{"error": source, "share": share} for source, share in largest],
        "explained": round(max(0.0, 1.0 - freedom * left_over / variance), SHARE_DIGITS),
    }

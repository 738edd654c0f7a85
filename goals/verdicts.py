"""Verdicts: limits that must hold and targets that make the merit, on arrays of candidates.

A duty's limits and targets become demands, each one figure of one measure with what is wanted of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import frexp, ldexp

import numpy as np

from goals.duties import Ask as AskModel
from goals.duties import Duty, Limit, Target
from kinematics.arrays import Floats
from kinematics.measures import MEASURES, Ask, Measure, Stage
from kinematics.measures.catalogue import Sample
from kinematics.scene import Scene
from kinematics.stops import Hold

# A figure that does not exist (the wheel never comes so far, the linkage does not reach) counts as this
# many of the measure's scale short of a limit, and this many tolerances beside a target.
NO_FIGURE_SHORTFALL = 100.0
NO_FIGURE_MISS = 10.0
# Further off counts as this many tolerances: its square stays a number, however small a tolerance is told.
MOST_MISS = 1e9
# Diameters of hubs and wheels are told and measured to about this, mm (common practice, no source).
MOST_MISFIT = 0.2
# Weights up to two to this power, and down to its inverse, are taken as they are.
MOST_EXPONENT = 200
LEAST_GAP = 1e-6  # mm: what touches does not clear


@dataclass(frozen=True)
class Demand:
    """What one limit or target of a duty wants of one figure.

    ``label`` is unique in the duty. Curve targets have several ``asks``, one for each point. ``kept`` is how
    far ``minimum`` and ``maximum`` stand inside the bounds that the goals tell.
    """

    label: str
    measure: Measure
    asks: tuple[Ask, ...]
    minimum: float | None = None
    maximum: float | None = None
    wanted: tuple[float, ...] = ()
    tolerance: float = 1.0
    weight: float = 0.0
    kept: float = 0.0

    @property
    def is_limit(self) -> bool:
        """Whether this is a bound that must hold; else it is a target."""
        return not self.wanted

    @property
    def stage(self) -> Stage:
        """What has to be solved for it."""
        return self.measure.stage

    def bounds(self) -> list[Demand]:
        """The same demand on bounds of the figure, cheapest first; empty where a bound decides nothing.

        A limit's bound must point against the limit; a target's must lie on the side where every further
        state takes the figure further away, which holds where the wanted value is the figure's best.
        """
        if self.measure.bound is None:
            return []
        lowest = all(value <= 0.0 for value in self.wanted)
        if self.maximum is None if self.is_limit else not lowest:
            return []
        samples: tuple[Sample, ...] = ("top", "ends")
        return [
            replace(
                self,
                asks=tuple(replace(ask, sample=sample) for ask in self.asks),
                minimum=None,
            )
            for sample in samples
        ]

    def figures(self, scene: Scene) -> list[Floats]:
        """The figure of each ask, (cases, n)."""
        return [self.measure(scene, ask) for ask in self.asks]

    def shortfall(self, figures: list[Floats]) -> Floats:
        """How far a limit is from holding, in the measure's scale; 0 where it holds, (n,)."""
        values = figures[0]
        short = np.zeros_like(values)
        if self.minimum is not None:
            short = np.maximum(short, self.minimum - values)
        if self.maximum is not None:
            short = np.maximum(short, values - self.maximum)
        # figures are good to about 1e-9: a value on the limit holds
        short = np.where(short <= 1e-9, 0.0, short / self.measure.scale)
        short = np.where(np.isnan(values), NO_FIGURE_SHORTFALL, short)
        return np.asarray(np.minimum(short, NO_FIGURE_SHORTFALL).max(axis=0))

    def miss(self, figures: list[Floats]) -> Floats:
        """Root mean square of a target's misses over its points, in tolerances, (n,)."""
        squares = []
        for values, wanted in zip(figures, self.wanted, strict=True):
            off = np.minimum(np.abs(values - wanted), MOST_MISS * self.tolerance) / self.tolerance
            off = np.where(np.isfinite(values), off, NO_FIGURE_MISS)
            squares.append((off * off).max(axis=0))
        return np.asarray(np.sqrt(np.mean(squares, axis=0)))


def demands(duty: Duty, *, in_hand: bool = True) -> list[Demand]:
    """Every limit and target of a duty, cheapest stage first, limits before targets.

    Limits keep in hand what they say; without ``in_hand`` they are the bounds themselves.
    """
    found: list[Demand] = []
    for name, entry in duty.limits.items():
        for limit in entry if isinstance(entry, list) else [entry]:
            found.append(_limit(name, limit, limit.in_hand if in_hand else 0.0))
    for name, target_entry in duty.targets.items():
        for target in target_entry if isinstance(target_entry, list) else [target_entry]:
            found.append(_target(name, target))
    if "toggle_margin" not in duty.limits:
        found.append(linkage_gate())
    found.sort(key=lambda d: (d.stage, not d.is_limit))
    return _weighed(found)


def _weighed(found: list[Demand]) -> list[Demand]:
    """The same with weights that can be added up and multiplied, whatever size they were written in.

    By a power of two, which changes no bit of a merit: only how weights stand to each other counts.
    """
    heaviest = max((d.weight for d in found), default=0.0)
    exponent = frexp(heaviest)[1]
    if abs(exponent) <= MOST_EXPONENT:
        return found
    return [replace(d, weight=ldexp(d.weight, -exponent)) for d in found]


def holds(wanted: list[Demand]) -> tuple[Hold, ...]:
    """What the demands say of single states, which decides the steering stop; cheap to look at first."""
    limits = [d for d in wanted if d.is_limit and d.measure.state is not None]
    limits.sort(key=lambda d: d.measure.group == "space")
    return tuple(_hold(demand) for demand in limits)


def _hold(demand: Demand) -> Hold:
    wheel = demand.asks[0].wheel
    assert demand.measure.state is not None
    return Hold(
        demand.label,
        demand.measure.state,
        demand.minimum,
        demand.maximum,
        wheel if wheel == "left" or wheel == "right" else None,
    )


def linkage_gate() -> Demand:
    """The gate that holds in every duty: no state of the envelope is past over-centre."""
    return Demand("linkage", MEASURES["toggle_margin"], (Ask(),), minimum=1e-6)


def stud_gate(allowable: float) -> Demand:
    """The gate of a build whose stud's strength is declared: its stress stays under the allowable, MPa."""
    return Demand("stud_strength", MEASURES["stud_stress"], (Ask(),), maximum=allowable)


def tilt_gates(limits: Mapping[str, float]) -> list[Demand]:
    """The gates of a build's joints: tilt stays under the maker's limit less the reserve, joint → deg."""
    return [
        Demand(f"{name}_limit", MEASURES[f"{name}_tilt"], (Ask(),), maximum=limit)
        for name, limit in limits.items()
    ]


def bar_gates() -> list[Demand]:
    """The gates of a car whose anti-roll bar's geometry is told: its linkage reaches every state."""
    return [
        Demand("bar_linkage", MEASURES["link_angle"], (Ask(),), maximum=90.0 - 1e-6),
        Demand("bar_linkage_at_lock", MEASURES["bar_toggle"], (Ask(),), minimum=1e-6),
    ]


def hub_gate() -> Demand:
    """The gate of a wheel and a hub that are both told: one goes on the other, within measuring error."""
    return Demand("hub_fit", MEASURES["hub_fit"], (Ask(),), maximum=MOST_MISFIT)


def wheel_stud_gate(engagement: float) -> Demand:
    """The gate of wheel studs whose length is told: so much of their thread is in the nuts, mm."""
    measure = MEASURES["wheel_stud_engagement"]
    return Demand("wheel_studs", measure, (Ask(),), minimum=engagement)


def caliper_gate() -> Demand:
    """The gate of a wheel and a caliper whose outlines are told: they do not touch."""
    return Demand("caliper_gap", MEASURES["caliper_clearance"], (Ask(),), minimum=LEAST_GAP)


def stroke_gate() -> Demand:
    """The gate of a strut whose stroke is told: it does not come to an end within the duty's travel."""
    return Demand("strut_stroke", MEASURES["strut_stroke_left"], (Ask(),), minimum=0.0)


def outline_gate() -> Demand:
    """The gate of a car that bounds its top mounts: their centres stay inside."""
    return Demand("top_mount_outline", MEASURES["top_mount_room"], (Ask(),), minimum=0.0)


def gap_gates(wanted: list[Demand], obstacles: bool, barrel: bool) -> list[Demand]:
    """The gates of a build with obstacles, or with a wheel whose barrel is known: nothing is touched.

    One that a limit in ``wanted`` already says for every wheel is left out: it would cost its time twice.
    """
    told = {"tyre_gap": ("tyre_clearance", obstacles), "rod_gap": ("rod_clearance", barrel)}
    return [
        Demand(label, MEASURES[name], (Ask(),), minimum=LEAST_GAP)
        for label, (name, known) in told.items()
        if known and not any(_keeps_off(demand, name) for demand in wanted)
    ]


def _keeps_off(demand: Demand, name: str) -> bool:
    least = demand.minimum
    every = demand.measure.name == name and demand.asks[0].wheel is None
    return every and demand.is_limit and least is not None and least >= LEAST_GAP


def thread_gate(engagement: float) -> Demand:
    """The gate of a build with a tie-rod kit: an adjuster in the box fits the solved rod length."""
    return Demand("rod_fit", MEASURES["thread_engagement"], (Ask(),), minimum=engagement)


def _ask(model: AskModel, at: float | None = None) -> Ask:
    return Ask(
        over=model.over,
        at=model.at if at is None else at,
        wheel=None if model.wheel is None else model.wheel.value,
    )


def _limit(name: str, limit: Limit, kept: float) -> Demand:
    low = None if limit.min is None else limit.min + kept
    high = None if limit.max is None else limit.max - kept
    return Demand(label_of(name, limit), MEASURES[name], (_ask(limit),), low, high, kept=kept)


def _target(name: str, target: Target) -> Demand:
    measure = MEASURES[name]
    if target.points is not None:
        asks = tuple(_ask(target, at) for at, _ in target.points)
        wanted = tuple(value for _, value in target.points)
    else:
        assert target.value is not None
        asks, wanted = (_ask(target),), (target.value,)
    return Demand(
        label_of(name, target), measure, asks, None, None, wanted, target.tolerance, target.weight
    )


def label_of(name: str, model: AskModel) -> str:
    """The measure's name with what the ask adds to it, as tables show it."""
    words = [name]
    if model.at is not None:
        words.append(f"at {model.at:g}")
    if model.over is not None:
        words.append(f"over {model.over[0]:g}..{model.over[1]:g}")
    if model.wheel is not None:
        words.append(model.wheel.value)
    return " ".join(words)


def total_weight(wanted: list[Demand]) -> float:
    """Sum of the target weights (1 where there are no targets, so that merit is 0)."""
    return sum(d.weight for d in wanted if not d.is_limit) or 1.0


def merit_of(sum_of_squares: Floats, weight: float) -> Floats:
    """Weighted root mean square of the target misses: 0 is perfect, 1 is on the edge of tolerance."""
    return np.asarray(np.sqrt(sum_of_squares / weight))

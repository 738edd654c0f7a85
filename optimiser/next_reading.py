"""Which further reading would make the figures that the goals ask for surer, and by how much.

The figures' covariance is G C G', with C the points' covariance after the fit and G the figures' slopes by
the points; a further reading with slopes a and variance v turns C into C - C a (a' C a + v)^-1 a' C. No
reading has to be taken for that. What is ranked is the root mean square of the figures' ± (90 %), each in its
own tolerance, or in the difference that a builder notices where only a limit asks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from goals.readings import HEIGHTS, Uncertainty
from goals.verdicts import Demand, demands
from kinematics.arrays import Floats
from kinematics.scene import Side
from optimiser import reading_list as kinds
from optimiser.checking import todays_parts
from optimiser.evaluate import stopped
from optimiser.fit import NINETY, Fit
from optimiser.problem import Problem
from optimiser.reading_list import Reading, deviation
from optimiser.wording import plain, short, spoken

TRAVELS = (-40.0, -20.0, 20.0, 40.0, 60.0)
ANGLES = (10.0, 20.0, 30.0, 40.0)
STEERED = 0.5  # of the rack's travel
ROUND = 5.0  # to which a rack position is rounded, mm


@dataclass(frozen=True)
class Figures:
    """Figures that the goals ask for: their labels, scales, and slopes by the points (f, points)."""

    labels: tuple[str, ...]
    units: tuple[str, ...]
    scales: Floats
    slopes: Floats

    def spread(self, covariance: Floats) -> Floats:
        """± (90 %) of each figure, (f,), in its unit."""
        return np.asarray(
            NINETY
            * np.sqrt(np.einsum("fp,pq,fq->f", self.slopes, covariance, self.slopes).clip(0.0))
        )

    def score(self, covariance: Floats) -> float:
        """Root mean square of the figures' ± in their scales."""
        if not self.labels:
            return 0.0
        return float(np.sqrt(np.mean((self.spread(covariance) / self.scales) ** 2)))


@dataclass(frozen=True)
class Proposal:
    """A further set of readings, what the figures' ± come to with it, and the figure that it helps most."""

    what: str
    readings: tuple[Reading, ...]
    before: float
    after: float
    helps: str
    unit: str
    spread: tuple[float, float]

    @property
    def gain(self) -> float:
        """The share of the figures' ± that goes away."""
        return 1.0 - self.after / self.before if self.before > 0.0 else 0.0


def asked_figures(problem: Problem, found: Fit) -> Figures:
    """The figures of all duties' limits and targets with today's parts, and their slopes at the fit.

    A figure that does not exist, or does not hang on the points, is left out. The steering stop is held
    where it is as it stands.
    """
    space = found.model.space
    here = _figures(problem, found, np.zeros(space.points), None)
    stops = {duty: stop for duty, (_, stop) in here.items()}
    columns = []
    for at in range(space.points):
        step = np.zeros(space.points)
        step[at] = max(float(space.sigma[at]), 1e-3)
        pair = [_values(_figures(problem, found, way * step, stops)) for way in (1.0, -1.0)]
        columns.append((pair[0] - pair[1]) / (2.0 * step[at]))
    slopes = np.array(columns).T
    asked = [(duty, *each) for duty, (listed, _) in here.items() for each in listed]
    keep = [
        i
        for i in range(len(asked))
        if np.isfinite(slopes[i]).all() and np.abs(slopes[i]).max() > 1e-9
    ]
    return Figures(
        tuple(f"{asked[i][0]}: {plain(asked[i][1])}" for i in keep),
        tuple(asked[i][2] for i in keep),
        np.array([asked[i][3] for i in keep]),
        slopes[keep].reshape(len(keep), space.points),
    )


_Listed = list[tuple[str, str, float, float]]


def _values(by_duty: dict[str, tuple[_Listed, Floats]]) -> Floats:
    return np.array([value for listed, _ in by_duty.values() for *_, value in listed])


def _figures(
    problem: Problem, found: Fit, step: Floats, stops: dict[str, Floats] | None
) -> dict[str, tuple[_Listed, Floats]]:
    """Duty → its figures (label, unit, scale, value) and the stop, with the fitted points off by a step."""
    space = found.model.space
    moved = replace(problem, car=space.shifted(found.shift[: space.points] + step))
    by_duty = {}
    for duty in problem.duties:
        assembly, positions = todays_parts(moved, duty)
        scene = assembly.scene(positions)
        if stops is None:
            scene = stopped(scene, moved.demands(assembly, duty))
        else:
            scene = scene.with_stop(stops[duty])
        listed: _Listed = []
        for demand in _once(demands(problem.goals.duties[duty])):
            scale = demand.measure.scale if demand.is_limit else demand.tolerance
            for figures in demand.figures(scene):
                for value in figures[:, 0]:
                    listed.append((demand.label, demand.measure.unit, scale, float(value)))
        by_duty[duty] = listed, scene.stop
    return by_duty


def _once(wanted: list[Demand]) -> Iterator[Demand]:
    """Demands without those whose very figure a target asks for too."""
    targets = {(d.measure.name, asks) for d in wanted if not d.is_limit for asks in d.asks}
    for demand in wanted:
        if not demand.is_limit or (demand.measure.name, demand.asks[0]) not in targets:
            yield demand


def next_readings(figures: Figures, found: Fit, sure: Uncertainty) -> list[Proposal]:
    """Further readings by what they make surer, the most first; those that do next to nothing left out."""
    before = figures.score(found.covariance)
    proposals = []
    for what, readings in _candidates(found, sure):
        proposal = _proposal(figures, found, what, readings, before)
        if proposal is not None and proposal.gain > 0.005:
            proposals.append(proposal)
    return sorted(proposals, key=lambda p: (-round(p.gain, 9), p.what))


def _proposal(
    figures: Figures, found: Fit, what: str, readings: tuple[Reading, ...], before: float
) -> Proposal | None:
    model = found.model
    values = model.predict(found.shift[:, None], readings)[:, 0]
    reached = tuple(r for r, value in zip(readings, values, strict=True) if np.isfinite(value))
    if not reached or not figures.labels:
        return None
    slopes = model.slopes(found.shift, readings=reached)
    noise = np.array([r.sigma for r in reached])
    covariance = found.covariance
    inner = slopes @ covariance @ slopes.T + np.diag(noise**2)
    after = covariance - covariance @ slopes.T @ np.linalg.solve(inner, slopes @ covariance)
    spreads = figures.spread(covariance), figures.spread(after)
    gains = (spreads[0] ** 2 - spreads[1] ** 2) / figures.scales**2
    best = int(gains.argmax())
    spread = float(spreads[0][best]), float(spreads[1][best])
    helps, unit = figures.labels[best], figures.units[best]
    return Proposal(what, reached, before, figures.score(after), helps, unit, spread)


def _candidates(found: Fit, sure: Uncertainty) -> Iterator[tuple[str, tuple[Reading, ...]]]:
    """What a builder could read next; of alike sides the one that was not read yet."""
    space = found.model.space
    taken = {_key(r) for r in found.model.every}
    mirrored = space.car.points_right is None
    steered = ROUND * round(STEERED * space.car.rack.travel / ROUND)
    for what, readings in _sets(sure, steered, set(type(space.car.points).model_fields)):
        for own in (readings, tuple(r.mirrored for r in readings)):
            again = all(_key(r) in taken for r in own)
            other = all(_key(r.mirrored) in taken for r in own)
            # of a mirrored car's sides the left stands for both, unless it alone was read
            if mirrored and own is readings and again and not other:
                continue
            if mirrored and own is not readings and (again or not other):
                continue
            yield _named(what, own[0], again), own


def _key(reading: Reading) -> tuple[object, ...]:
    return (
        reading.kind.replace(kinds.DIALS, kinds.TOE_CHANGE),
        reading.side,
        reading.rack,
        (reading.point),
    )


def _named(what: str, first: Reading, again: bool) -> str:
    where = f"{first.side} turn" if first.kind == kinds.PLATES else f"{first.side} wheel"
    rack = f", rack held at {short(first.rack)} mm" if first.rack else ""
    return f"{what}, {where}{rack}{', once more' if again else ''}"


def _sets(
    sure: Uncertainty, steered: float, points: set[str]
) -> Iterator[tuple[str, tuple[Reading, ...]]]:
    """Sets of readings of the left side, by name."""
    left: Side = "left"
    toe, camber = deviation(kinds.TOE_CHANGE, sure), deviation(kinds.CAMBER, sure)
    for rack in (0.0, steered, -steered):
        run = tuple(Reading(kinds.TOE_CHANGE, left, 0.0, toe, "deg", t, rack) for t in TRAVELS)
        yield "bump-steer gauge", run
    run = tuple(Reading(kinds.CAMBER, left, 0.0, camber, "deg", t) for t in TRAVELS)
    yield "camber over travel", run
    plate = deviation(kinds.PLATES, sure)
    yield (
        "turn plates",
        tuple(Reading(kinds.PLATES, left, 0.0, plate, "deg", inner=angle) for angle in ANGLES),
    )
    for kind in (kinds.CASTER, kinds.KINGPIN, kinds.ROD):
        name, unit = kinds.KINDS[kind]
        yield name, (Reading(kind, left, 0.0, deviation(kind, sure), unit),)
    for point in HEIGHTS:
        if point in points:
            reading = Reading(
                kinds.HEIGHT, left, 0.0, deviation(kinds.HEIGHT, sure), "mm", point=point
            )
            yield f"height of {spoken(point)}", (reading,)

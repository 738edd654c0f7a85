"""Refine a duty's best setting below the grid step, where adjusters can be set finer than it.

The best setting on the grid is the middle of a box: each adjuster that says ``fine`` may stand on any of its
fine steps within one grid step both ways, everything else stays. A box of few settings is swept outright. In
a larger one scipy first looks where between the steps the least merit is, and the fine steps about that
point are swept. The sweep is the grid's own, so every limit and gate holds of what is taken, and it is taken
only where it beats the grid's best. A pure function of its inputs.

Of several duties only adjusters that the duties set apart are refined: what is alike in all of them stays
on its steps. What this does not do: look beyond one step from the grid's best setting, or refine a duty that
has no setting on the grid which holds every limit.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from math import prod
from typing import Any

import numpy as np
import scipy

from goals.parts import Adjuster, Station
from goals.verdicts import Demand, merit_of, total_weight
from kinematics.arrays import Floats
from optimiser.assembly import Assembly
from optimiser.evaluate import stopped
from optimiser.inner import sweep
from optimiser.space import adjuster_at
from optimiser.stages import MERIT_GRAIN

Record = dict[str, Any]
Positions = tuple[int, ...]

# Settings of a box that are swept outright; a larger box is looked through first.
MOST_SWEPT = 1024
# The look: settings judged at a time for each adjuster, and how many times.
LANES_EACH, ROUNDS = 6, 10
# Times that the fine steps about the best so far are swept in a larger box.
MOST_MOVES = 8
# What a limit's shortfall of one scale costs in the look, in merit: far more than targets can give.
STEEP = 100.0


@dataclass(frozen=True)
class Refined:
    """A setting below the grid step: mm by index of the dimension refined, and its merit."""

    settings: dict[int, float]
    merit: float


@dataclass(frozen=True)
class _Slide:
    """One adjuster about the grid's best setting: where it stands and may go, mm.

    ``fine`` are its fine positions from ``low`` to ``high``, the nearest to where it stands first.
    """

    dimension: int
    here: float
    low: float
    high: float
    fine: Floats

    @classmethod
    def about(cls, dimension: int, here: float, adjuster: Adjuster) -> _Slide:
        """An adjuster within one grid step both ways, inside its range."""
        start, end = adjuster.range
        low, high = max(start, here - adjuster.step), min(end, here + adjuster.step)
        fine = adjuster.fine
        assert fine is not None
        first = int(np.ceil((low - start) / fine - 1e-6))
        last = int(np.floor((high - start) / fine + 1e-6))
        positions = np.round(start + fine * np.arange(first, last + 1), 9)
        return cls(dimension, here, low, high, _nearest_first(positions, here))

    def near(self, at: float, count: int) -> Floats:
        """So many of the fine positions, those nearest to a place; nearest to the grid's first."""
        return _nearest_first(_nearest_first(self.fine, at)[:count], self.here)


def _nearest_first(positions: Floats, at: float) -> Floats:
    return positions[np.lexsort((positions, np.round(np.abs(positions - at), 9)))]


def refine(
    assembly: Assembly,
    wanted: list[Demand],
    best: Positions,
    merit: float,
    stations: Collection[Station] | None = None,
    most_swept: int = MOST_SWEPT,
) -> Refined | None:
    """The best fine setting about the grid's best one; None where none is better.

    Args:
        assembly: a build for a duty, on its grid.
        wanted: the duty's demands on it.
        best: positions of the grid's best setting, which holds every limit.
        merit: its merit.
        stations: where adjusters may be set finer; everywhere when not told.
        most_swept: settings up to which all fine ones in reach are swept.

    Among equals the one that leaves the adjusters, in the parts' order, nearest to their grid positions is
    taken; with all of them swept it is the best there is in reach.
    """
    slides = _slides(assembly, best, stations)
    if not slides:
        return None
    box = _Box(assembly, wanted, best, slides)
    if prod(s.fine.size for s in slides) <= most_swept:
        found = box.sweep([s.fine for s in slides])
    else:
        found = box.search(most_swept)
    if found is None or found.merit >= merit - MERIT_GRAIN:
        return None
    moved = {s.dimension: s.here for s in slides}
    return replace(found, settings={i: v for i, v in found.settings.items() if v != moved[i]})


def _slides(
    assembly: Assembly, best: Positions, stations: Collection[Station] | None
) -> list[_Slide]:
    """The adjusters that can be set finer than their step."""
    slides = []
    for i, (dimension, position) in enumerate(zip(assembly.dimensions, best, strict=True)):
        part = assembly.build.parts.get(dimension.station)
        if dimension.kind != "adjuster" or part is None or dimension.name not in part.adjusts:
            continue
        if stations is not None and dimension.station not in stations:
            continue
        adjuster = part.adjusts[dimension.name]
        # a duty asks for its ride height: that is not refined away
        if adjuster.fine is None or "lowered_by" in dimension.effects:
            continue
        slides.append(_Slide.about(i, float(dimension.values[position]), adjuster))
    return slides


@dataclass(frozen=True)
class _Box:
    """What may be set about the grid's best setting of a duty."""

    assembly: Assembly
    wanted: list[Demand]
    best: Positions
    slides: list[_Slide]

    def sweep(self, values: list[Floats]) -> Refined | None:
        """The best of all settings of the given positions; None where none holds every limit."""
        found = sweep(self._assembly(values), self.wanted)
        if found.best is None or found.merit is None:
            return None
        settings = {
            slide.dimension: float(each[found.best[slide.dimension]])
            for slide, each in zip(self.slides, values, strict=True)
        }
        return Refined(settings, found.merit)

    def search(self, most: int) -> Refined | None:
        """The best about what scipy finds, and about that again as long as it gets better."""
        place, best = self._look(), None
        each = max(2, int(most ** (1.0 / len(self.slides)) + 1e-9))
        for _ in range(MOST_MOVES):
            found = self.sweep([s.near(at, each) for s, at in zip(self.slides, place, strict=True)])
            if found is None or (best is not None and found.merit >= best.merit - MERIT_GRAIN):
                break
            best, place = found, list(found.settings.values())
        return best

    def _look(self) -> list[float]:
        """Where between the steps the least merit is, limits weighed in: mm for each slide."""
        # the library's types do not know of a function of many places at once
        scores: Any = self._scores
        found = scipy.optimize.differential_evolution(
            scores,
            scipy.optimize.Bounds(
                np.array([s.low for s in self.slides]), np.array([s.high for s in self.slides])
            ),
            x0=[s.here for s in self.slides],
            popsize=LANES_EACH,
            maxiter=ROUNDS,
            tol=0.0,
            polish=False,
            updating="deferred",
            vectorized=True,
            rng=np.random.default_rng(0),
        )
        return [float(at) for at in found.x]

    def _scores(self, places: Floats) -> Floats:
        """Merit of places (slides, n) between the steps, and what limits lack of them dear, (n,)."""
        count = places.shape[1]
        assembly = self._assembly(list(places))
        positions = np.zeros((count, len(assembly.dimensions)), dtype=np.int64)
        positions[:, [s.dimension for s in self.slides]] = np.arange(count)[:, None]
        scene = stopped(assembly.scene(positions), self.wanted)
        squares, short = np.zeros(count), np.zeros(count)
        for demand in self.wanted:
            figures = demand.figures(scene)
            if demand.is_limit:
                short += demand.shortfall(figures)
            else:
                squares += demand.weight * demand.miss(figures) ** 2
        return merit_of(squares, total_weight(self.wanted)) + STEEP * short

    def _assembly(self, values: list[Floats]) -> Assembly:
        """The build with the given positions of the slides, everything else where it stands."""
        stands = {s.dimension: each for s, each in zip(self.slides, values, strict=True)}
        return _set_to(self.assembly, self.best, stands)


def _set_to(assembly: Assembly, positions: Positions, stands: dict[int, Floats]) -> Assembly:
    """A build with some adjusters' positions (n,) given in mm, all else at one position of the grid."""
    dimensions = []
    for i, (dimension, position) in enumerate(zip(assembly.dimensions, positions, strict=True)):
        if i in stands:
            part = assembly.build.parts[dimension.station]
            at = adjuster_at(part, dimension.station, dimension.name, stands[i])
            dimensions.append(at)
        else:
            dimensions.append(dimension.only([position]))
    return replace(assembly, dimensions=tuple(dimensions))


def as_refined(
    assembly: Assembly, positions: Positions, settings: dict[int, float]
) -> tuple[Assembly, Positions]:
    """A build of which nothing is left to set but the one refined setting, and that setting's positions."""
    stands = {i: np.array([value]) for i, value in settings.items()}
    return _set_to(assembly, positions, stands), (0,) * len(positions)


def as_set(assembly: Assembly, record: Record) -> tuple[Assembly, Positions]:
    """The build and the positions that a duty's record of the ledger tells, refined where it was."""
    positions = tuple(int(p) for p in record["positions"])
    if "refined" not in record:
        return assembly, positions
    settings = {}
    for i, dimension in enumerate(assembly.dimensions):
        if dimension.name in record["refined"]["from"].get(dimension.station.value, {}):
            settings[i] = float(record["settings"][dimension.station.value][dimension.name])
    return as_refined(assembly, positions, settings)


def refined_record(assembly: Assembly, best: Positions, merit: float, found: Refined) -> Record:
    """What the ledger keeps of the grid's best setting beside the refined one: merit, and where it stood."""
    stood: Record = {}
    for i in found.settings:
        dimension = assembly.dimensions[i]
        block = stood.setdefault(dimension.station.value, {})
        block[dimension.name] = dimension.values[best[i]]
    return {"grid_merit": merit, "from": stood}

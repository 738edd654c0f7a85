"""A build on its set-down: readings taken of it held against what the model expects, one by one.

A reading passes inside a bound made of its own uncertainty and of the spread that the points' measuring
errors and the adjusters' setting errors give the model, to first order. The bound's factor is 2, or more
where so many readings would go beyond it by chance alone more often than one set-down in twenty.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from goals.duties import COVERAGE
from goals.readings import Readings
from kinematics.arrays import Floats, Ints
from kinematics.rows import RIDE_Z
from kinematics.scene import Scene
from optimiser.assembly import Assembly
from optimiser.bench import DutyBench, row_of
from optimiser.fit import far, posterior
from optimiser.model_check import make_model, model_check
from optimiser.point_space import PointSpace
from optimiser.predict import predictions
from optimiser.problem import Problem
from optimiser.reading_list import Reading, reading_list
from optimiser.refine import as_set
from optimiser.space import Dimension

Record = dict[str, Any]

CHANCE = 0.05  # that a sound build is told to look again somewhere
LEAST_FACTOR = 2.0


@dataclass(frozen=True)
class SetDown:
    """A candidate in one duty with readings of it. ``bench`` has a scene."""

    bench: DutyBench
    every: tuple[Reading, ...]
    lowered: float | None

    @classmethod
    def of(cls, bench: DutyBench, readings: Readings) -> SetDown:
        """Readings of a build as a duty sets it."""
        return cls(bench, tuple(reading_list(readings)), readings.lowered_by)

    @property
    def offset(self) -> float:
        """How much lower than the duty sets it the car stood, mm."""
        if self.lowered is None:
            return 0.0
        return self.lowered - float(self.bench.record["solved"]["lowered_by"])

    @cached_property
    def expected(self) -> Floats:
        """What the model expects of each reading, (m,), in its unit."""
        assert self.bench.scene is not None
        return self.predicted(self.bench.scene)[:, 0]

    def predicted(self, scene: Scene, readings: tuple[Reading, ...] | None = None) -> Floats:
        """Predictions (m, lanes) of a scene as the duty sets it, at the height at which the car stood.

        The steering stop keeps no reading back: plates may be read beyond it.
        """
        scene = lowered(scene, self.offset)
        wanted = self.every if readings is None else readings
        return predictions(scene.with_stop(scene.rack_travel), wanted)

    @cached_property
    def difference(self) -> Floats:
        """Reading less expectation, (m,); not-a-number where the model does not reach the state."""
        return np.array([r.value for r in self.every]) - self.expected

    @cached_property
    def deviation(self) -> Floats:
        """Standard deviation of each difference, (m,), reading and model together."""
        squares = np.array([r.sigma for r in self.every]) ** 2
        covariance = self.covariance
        sigma = np.sqrt(np.diag(covariance))
        # by how much one standard deviation of each coordinate moves each reading
        moves = self._moves(self._off_cars(sigma))
        if moves.size:
            some = sigma > 0.0
            alike = covariance[np.ix_(some, some)] / np.outer(sigma[some], sigma[some])
            squares = squares + np.einsum("mp,pq,mq->m", moves, alike, moves)
        squares = squares + (self._moves(self._off_settings()) ** 2).sum(axis=1)
        return np.asarray(np.sqrt(squares))

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of the measured coordinates, mm²: what readings of the car told is taken off.

        Only where the run's car file reproduces those readings.
        """
        problem = self.bench.problem
        space = PointSpace.of(problem.goals, problem.car)
        readings = problem.readings
        if readings is None or not model_check(problem.goals, problem.car, readings)["reproduces"]:
            return np.diag(space.sigma**2)
        model = make_model(problem.goals, problem.car, readings)
        slopes = model.slopes(np.zeros(len(space.coordinates)))
        return posterior(space.sigma, slopes, model.sigma)

    def _moves(self, scenes: Iterator[Scene]) -> Floats:
        """Change of every expectation in each scene, (m, scenes)."""
        columns = [self.predicted(scene)[:, 0] - self.expected for scene in scenes]
        return np.nan_to_num(np.array(columns).reshape(-1, len(self.every)).T)

    def _off_cars(self, sigma: Floats) -> Iterator[Scene]:
        """Scenes of the build, each with one measured coordinate off by its standard deviation."""
        bench = self.bench
        space = PointSpace.of(bench.problem.goals, bench.problem.car)
        for at in np.flatnonzero(sigma):
            step = np.zeros(space.points)
            step[at] = sigma[at]
            moved = replace(bench.problem, car=space.shifted(step))
            assembly, positions = _as_set(moved, bench)
            yield assembly.scene(row_of(positions))

    def _off_settings(self) -> Iterator[Scene]:
        """Scenes of the build, each with one adjuster off by its standard deviation."""
        bench = self.bench
        assert bench.assembly is not None
        tolerances = bench.problem.goals.tolerances
        for place, dim in enumerate(bench.assembly.dimensions):
            if dim.kind != "adjuster" or declared(bench, dim).size < 2:
                continue
            part = bench.build.parts.get(dim.station)
            own = part.adjusts[dim.name].error if part and dim.name in part.adjusts else None
            sigma = tolerances.of_setting(own) / COVERAGE
            if sigma > 0.0:
                yield self._off_setting(place, sigma)

    def _off_setting(self, at: int, by: float) -> Scene:
        """The build with one adjuster off by mm."""
        assembly, here = self.bench.assembly, self.bench.positions[at]
        assert assembly is not None
        dim, whole = assembly.dimensions[at], declared(self.bench, assembly.dimensions[at])
        span = float(whole.values[-1]) - float(whole.values[0])
        effects = {
            name: (dim.effects[name][here] + (table[-1] - table[0]) * (by / span))[None, ...]
            for name, table in whole.effects.items()
        }
        off = replace(dim, values=(float(dim.values[here]) + by,), effects=effects, stack=())
        return with_dimension(self.bench, at, off).scene(self.row(at, 0))

    def row(self, at: int, position: int) -> Ints:
        """The setting as a row of positions, with one of them changed."""
        row = row_of(self.bench.positions)
        row[0, at] = position
        return row

    @property
    def factor(self) -> float:
        """Standard deviations at which a reading's bound lies."""
        return far(len(self.every), CHANCE, LEAST_FACTOR)

    @property
    def bound(self) -> Floats:
        """How far each reading may be from what is expected, (m,), in its unit."""
        return np.asarray(self.factor * self.deviation)

    @cached_property
    def passes(self) -> list[bool]:
        """Whether each reading is inside its bound; one that the model does not reach is not."""
        return [bool(abs(d) <= b) for d, b in zip(self.difference, self.bound, strict=True)]


def lowered(scene: Scene, by: float) -> Scene:
    """The same cars standing lower by mm, rods as they are."""
    return scene if by == 0.0 else scene.shifted(RIDE_Z, by)


def declared(bench: DutyBench, dim: Dimension) -> Dimension:
    """A setting with all its positions, whatever the duty or the refining left of them."""
    for whole in bench.build.dimensions:
        if (whole.station, whole.name) == (dim.station, dim.name):
            return whole
    return dim


def with_dimension(bench: DutyBench, at: int, dim: Dimension) -> Assembly:
    """The bench's assembly with another dimension in one place."""
    assert bench.assembly is not None
    dims = list(bench.assembly.dimensions)
    dims[at] = dim
    return replace(bench.assembly, dimensions=tuple(dims))


def _as_set(problem: Problem, bench: DutyBench) -> tuple[Assembly, tuple[int, ...]]:
    """A bench's build and setting on the car of another problem."""
    assembly = problem.assembly(bench.build, bench.duty)
    assert assembly is not None
    return as_set(assembly, bench.record)

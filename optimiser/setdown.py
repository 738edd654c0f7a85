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

from goals.readings import Readings
from kinematics.arrays import Floats, Ints
from kinematics.rows import RIDE_Z
from kinematics.scene import Scene, Side
from optimiser.assembly import Assembly
from optimiser.bench import DutyBench
from optimiser.fit import far
from optimiser.point_space import PointSpace
from optimiser.predict import predictions
from optimiser.problem import Problem
from optimiser.reading_list import COVERAGE, Reading, reading_list
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
        for scene in self._off_cars():
            squares = squares + np.nan_to_num(self.predicted(scene)[:, 0] - self.expected) ** 2
        return np.asarray(np.sqrt(squares))

    def _off_cars(self) -> Iterator[Scene]:
        """Scenes of the build, each with one coordinate or one setting off by its standard deviation."""
        bench = self.bench
        space = PointSpace.of(bench.problem.goals, bench.problem.car)
        for at in np.flatnonzero(space.sigma):
            step = np.zeros(space.points)
            step[at] = space.sigma[at]
            moved = replace(bench.problem, car=space.shifted(step))
            assembly, positions = _as_set(moved, bench)
            yield assembly.scene(row_of(positions))
        assert bench.assembly is not None
        sigma = bench.problem.goals.tolerances.settings / COVERAGE
        for place, dim in enumerate(bench.assembly.dimensions):
            if dim.kind == "adjuster" and dim.size > 1 and sigma > 0.0:
                yield self._off_setting(place, dim, sigma)

    def _off_setting(self, at: int, dim: Dimension, by: float) -> Scene:
        """The build with one adjuster off by mm."""
        assembly, positions = self.bench.assembly, list(self.bench.positions)
        assert assembly is not None
        here, span = positions[at], float(dim.values[-1]) - float(dim.values[0])
        effects = {
            name: (table[here] + (table[-1] - table[0]) * (by / span))[None, ...]
            for name, table in dim.effects.items()
        }
        off = replace(dim, values=(float(dim.values[here]) + by,), effects=effects, stack=())
        dims = list(assembly.dimensions)
        dims[at], positions[at] = off, 0
        return replace(assembly, dimensions=tuple(dims)).scene(row_of(tuple(positions)))

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
    if by == 0.0:
        return scene
    columns: dict[Side, Floats] = {side: scene.columns(side).copy() for side in scene.sides()}
    for column in columns.values():
        column[RIDE_Z] += by
    return scene.of(columns["left"], columns.get("right"))


def row_of(positions: tuple[int, ...]) -> Ints:
    """One setting as a row of positions."""
    return np.array([positions], dtype=np.int64).reshape(1, -1)


def _as_set(problem: Problem, bench: DutyBench) -> tuple[Assembly, tuple[int, ...]]:
    """A bench's build and setting on the car of another problem."""
    assembly = problem.assembly(bench.build, bench.duty)
    assert assembly is not None
    return as_set(assembly, bench.record)

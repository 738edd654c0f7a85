"""What the pictures are drawn of: today's car and candidates, each a layer, as one duty sets them.

Roles of shapes, each with its pen in ``pages/pens.css``. In a layer: ``curve``, ``other`` and ``third`` (more
curves of it), ``mark`` (a line of its own), ``point``, ``letter``, ``spread`` (band of cars as built),
``solid`` (outline of a thing), ``link`` and ``thin`` (arms, rods), ``axis``. In none: ``frame``, ``grid``,
``zero``, ``tick-text``, ``axis-text``, ``dim-text``, ``note``, ``goal`` (band of a target), ``limit``,
``ground``, ``scale``, ``front``, ``worst``, ``heat0`` to ``heat8`` with ``cell-text``, ``bar-good``,
``bar-bad``, ``quiet-point``, ``bad-point``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from goals.verdicts import Demand
from kinematics.arrays import Floats
from kinematics.scene import Scene, Side
from optimiser.bench import DutyBench
from optimiser.checking import todays_parts
from optimiser.evaluate import number, stopped
from optimiser.picture import Picture
from optimiser.precision import fixed, usual_places
from optimiser.problem import Problem
from optimiser.ranking import Row

Record = dict[str, Any]

TODAY = "today"


@dataclass(frozen=True)
class Figure:
    """A picture with its place in the report.

    ``key`` is unique in a page; ``duty`` is None where it is about all duties; ``kind`` says what it shows;
    ``layer`` is set where it is about one candidate alone. The picture's own words tell it to who cannot
    see it.
    """

    key: str
    duty: str | None
    kind: str
    layer: str | None
    title: str
    caption: str
    picture: Picture


@dataclass(frozen=True)
class Drawn:
    """One car as a duty sets it: its layer, its name in words, and its curves as built where known."""

    layer: str
    words: str
    scene: Scene
    wanted: list[Demand]
    built: Record | None = None

    @property
    def sides(self) -> tuple[Side, ...]:
        """Sides that have to be drawn: one where the other is its mirror."""
        return self.scene.sides()

    @cached_property
    def loaded(self) -> Side:
        """The wheel that a left turn loads."""
        return "left" if self.scene.frame.counter_steers else "right"


def layer_of(place: int) -> str:
    """The layer of the candidate of a rank."""
    return f"c{place}"


def drawn_cars(problem: Problem, rows: Sequence[Row], duty: str) -> list[Drawn]:
    """Today's car and the candidates that the duty has a setting for, in rank order."""
    assembly, positions = todays_parts(problem, duty)
    wanted = problem.demands(assembly, duty, in_hand=False)
    scene = stopped(assembly.scene(positions), problem.demands(assembly, duty))
    cars = [Drawn(TODAY, "today's car", scene, wanted)]
    for place, row in enumerate(rows, 1):
        build = problem.space.build(row["build"])
        bench = DutyBench.of(problem, build, duty, row["duties"][duty])
        if bench.scene is None or bench.assembly is None:
            continue
        wanted = problem.demands(bench.assembly, duty, in_hand=False)
        built = row.get("as_built", {}).get("duties", {}).get(duty, {}).get("curves")
        cars.append(Drawn(layer_of(place), f"candidate {place}", bench.scene, wanted, built))
    return cars


def asked(wanted: Sequence[Demand], measure: str) -> list[Demand]:
    """Limits and targets on one measure."""
    return [demand for demand in wanted if demand.measure.name == measure]


def listed(values: Floats) -> list[float | None]:
    """A one-lane figure of several states as plain figures, None where there is none."""
    return [number(v) for v in np.asarray(values).reshape(len(values), -1)[:, 0]]


def stations(low: float, high: float, count: int) -> list[float]:
    """So many places from end to end."""
    return [float(v) for v in np.linspace(low, high, count)]


def told(value: float | None, places: int, unit: str = "") -> str:
    """A figure in words, with the minus of print."""
    if value is None or not np.isfinite(value):
        return "none"
    return f"{fixed(value, places)} {unit}".strip().replace("-", "\N{MINUS SIGN}")


def figure_of(measure: str, value: float | None) -> str:
    """A figure of a measure in words, as finely as it is known."""
    return told(value, usual_places(measure))

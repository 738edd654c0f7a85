"""Measuring and setting errors: what can be off on a car as built, and draws of it.

Every error is normal with the half of its tolerance as standard deviation. A draw is one car: all of them
are quantiles of scrambled Sobol points (scipy.stats.qmc), a column for each error by its name over the whole
space of parts. So every candidate is tried on the same errors, and two can be compared car by car.

With few points and many columns some pairs of Sobol columns are far from independent. So each few columns
have points of their own, and those are shuffled against one another (A. B. Owen, Latin supercube sampling for
very high-dimensional simulations, 1998): no two columns are then more alike than by plain chance.

What moves together:

- a hard point that is measured on the left alone and mirrored is off alike on both sides, and the right one
  by how far the sides differ besides; one that is measured on both sides is off on each by itself;
- the rack is one: where its right end is not measured, an error along and up the car is that of both ends,
  and one across it goes outward on one side and inward on the other (the rack is not centred);
- points that a part brings are off its drawing alike on both sides;
- camber is measured, and toe, ride height and adjusters are set, on each side by itself;
- what is measured is measured once for all duties. What all duties set alike is set once too; everything
  else is set anew in every duty, and toe after every swap.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import scipy
from scipy.special import ndtri

from goals.car import Car
from goals.duties import COVERAGE, GoalsFile, Tolerances
from kinematics.arrays import Floats
from kinematics.scene import Side
from optimiser.channels import VECTORS
from optimiser.space import Space

# Cars that are drawn: a power of two, as Sobol points want it.
SAMPLES = 256
AXES = ("x", "y", "z")
RIDE_HEIGHT = "ride height"
RACK_POINT = "tie_rod_inner"
# The points of a scrambled sequence are multiples of 2^-30 and may be 0, whose quantile is infinite.
EDGE = 2.0**-31
# Columns that share one set of Sobol points: a hard point's three directions on both sides.
TOGETHER = 6


@dataclass(frozen=True)
class Errors:
    """Draws of every error of a problem, in standard deviations.

    ``samples`` is the number of cars drawn.
    """

    goals: GoalsFile
    car: Car
    space: Space
    samples: int = SAMPLES

    @cached_property
    def names(self) -> dict[str, int]:
        """Name of an error → its column."""
        names = [
            f"{point} {axis}{side}"
            for point in type(self.car.points).model_fields
            for side in ("", " right")
            for axis in AXES
        ]
        names += [f"camber {side}" for side in ("left", "right")]
        names += [f"part's {channel} {axis}" for channel in VECTORS for axis in AXES]
        for duty in self.goals.duties:
            for side in ("left", "right"):
                names += [f"{duty}: toe {side}", f"{duty}: {RIDE_HEIGHT} {side}"]
                names += [f"{duty}: {adjuster} {side}" for adjuster in self._adjusters()]
        return {name: column for column, name in enumerate(dict.fromkeys(names))}

    def _adjusters(self) -> list[str]:
        """Adjusters by station and name: no build has two parts at a station."""
        return sorted(
            {
                f"{station.value} {name}"
                for station, parts in zip(self.space.stations, self.space.options, strict=True)
                for part in parts
                for name in part.adjusts
            }
        )

    def draws(self, columns: Sequence[int]) -> Floats:
        """Standard normal quantiles of some columns, (columns, samples)."""
        # one by one as they are asked for: a candidate has few of all the errors that a box of parts may have
        drawn = [self._drawn(column // TOGETHER)[column % TOGETHER] for column in columns]
        return np.array(drawn, dtype=np.float64).reshape(-1, self.samples)

    def _drawn(self, group: int) -> Floats:
        """Quantiles of one group of columns, (TOGETHER, samples), drawn once."""
        if group not in self._known:
            quantiles: Floats = ndtri(np.clip(self._shares(group), EDGE, 1.0 - EDGE))
            self._known[group] = np.array(quantiles.T, dtype=np.float64, order="C")
        return self._known[group]

    @cached_property
    def _known(self) -> dict[int, Floats]:
        return {}

    def _shares(self, group: int) -> Floats:
        """One group of columns, (samples, TOGETHER), each evenly spread over 0 to 1."""
        chance = np.random.default_rng([self.goals.search.seed, group])
        points = scipy.stats.qmc.Sobol(TOGETHER, scramble=True, rng=chance).random(self.samples)
        return np.asarray(points[chance.permutation(self.samples)])


@dataclass
class Drawn:
    """The errors that one candidate has in one duty; every error asked for is noted in ``used``.

    ``used`` is what an error is called → the columns of its parts. ``once`` names what is set alike in all
    duties. With ``measured_only`` what is set is set right, and only what is measured is off.
    """

    errors: Errors
    duty: str
    once: frozenset[str] = frozenset()
    measured_only: bool = False
    used: dict[str, list[int]] = field(default_factory=dict)

    @property
    def samples(self) -> int:
        """Number of cars drawn."""
        return self.errors.samples

    @property
    def tolerances(self) -> Tolerances:
        """The goals file's."""
        return self.errors.goals.tolerances

    def _off(self, source: str, name: str, tolerance: float) -> Floats:
        """One error of every car, (n,), in the tolerance's unit."""
        if tolerance == 0.0:
            return np.zeros(self.samples)
        column = self.errors.names[name]
        columns = self.used.setdefault(source, [])
        if column not in columns:
            columns.append(column)
        return np.asarray(self.errors.draws([column])[0] * (tolerance / COVERAGE))

    def _set(self, what: str, side: Side, tolerance: float) -> Floats:
        """One error of setting; of what all duties set alike it is that of the first."""
        duty = next(iter(self.errors.goals.duties)) if what in self.once else self.duty
        tolerance = 0.0 if self.measured_only else tolerance
        return self._off(what, f"{duty}: {what} {side}", tolerance)

    def _vector(self, source: str, name: str, each: tuple[float, ...], side: str = "") -> Floats:
        return np.stack(
            [
                self._off(source, f"{name} {axis}{side}", tolerance)
                for axis, tolerance in zip(AXES, each, strict=True)
            ]
        )

    def point(self, name: str, side: Side) -> Floats:
        """How far a hard point of the car file is off, (3, n) mm in left-hand axes."""
        each = self.tolerances.of_point(name)
        right = self.errors.car.points_right
        if side == "left":
            return self._vector(name, name, each)
        if right is not None and getattr(right, name) is not None:
            return self._vector(f"{name} right", name, each, " right")
        shared = self._vector(name, name, each)
        if name == RACK_POINT:
            return np.asarray(shared * np.array([[1.0], [-1.0], [1.0]]))
        sides = (self.tolerances.sides,) * 3
        return shared + self._vector(f"{name} side to side", name, sides, " right")

    def part_point(self, channel: str) -> Floats:
        """How far a point that a part brings is off its drawing, (3, n) mm, alike on both sides."""
        return self._vector(f"part's {channel}", f"part's {channel}", (self.tolerances.parts,) * 3)

    def camber(self, side: Side) -> Floats:
        """How far a wheel's camber is measured off, (n,) deg."""
        return self._off("camber as measured", f"camber {side}", self.tolerances.camber)

    def toe(self, side: Side) -> Floats:
        """How far a wheel's static toe is set off, (n,) deg."""
        return self._set("toe", side, self.tolerances.toe)

    def ride_height(self, side: Side) -> Floats:
        """How far a wheel's ride height is set too low, (n,) mm."""
        return self._set(RIDE_HEIGHT, side, self.tolerances.ride_height)

    def setting(self, station: str, name: str, side: Side, own: float | None) -> Floats:
        """How far an adjuster is set off on one side, (n,) mm; ``own`` is its own tolerance if told."""
        return self._set(f"{station} {name}", side, self.tolerances.of_setting(own))


def set_once(records: Iterable[dict[str, Any]]) -> frozenset[str]:
    """What all duties of one ledger row set alike: adjusters by station and name, and ride height."""
    each = [_settings_of(record) for record in records]
    first, others = each[0], each[1:]
    return frozenset(
        what for what, value in first.items() if all(other.get(what) == value for other in others)
    )


def _settings_of(record: dict[str, Any]) -> dict[str, Any]:
    found = {
        f"{station} {name}": value
        for station, block in record["settings"].items()
        for name, value in block.items()
    }
    return {**found, RIDE_HEIGHT: record["solved"]["lowered_by"]}

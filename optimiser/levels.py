"""A build's dimensions in levels, by what hangs on what: each level is settled before the next is opened.

What moves the suspension comes first, for its straight-ahead pose at the wanted toe hangs on nothing below
it; then the tie rod's ends, on which toe over travel and the steer curve hang; last the rack's own travel and
the anti-roll bar, which move no wheel straight ahead. Which level a dimension is in follows from the channels
that its part says it touches.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import prod

import numpy as np

from kinematics.arrays import Floats, Ints
from kinematics.channels import Layer
from kinematics.screen import Ends
from optimiser.space import Dimension

OUTER_END, INNER_END = "tie_rod_outer", "tie_rod_inner"


@dataclass(frozen=True)
class Table:
    """Every setting of some dimensions together: what each adds to the first one.

    ``shifts`` is channel → (3, count) for points, (count,) for numbers; ``index`` (count,) adds to the
    build's setting number.
    """

    count: int
    shifts: dict[str, Floats]
    index: Ints

    def layer(self, settings: Ints) -> Layer:
        """What the given settings (n,) add to lanes."""
        return Layer(self.shifts, settings)

    def point(self, channel: str) -> Floats:
        """Shifts of a point, (3, count): nothing where these dimensions leave it."""
        return np.ascontiguousarray(self.shifts.get(channel, np.zeros((3, self.count))))


@dataclass(frozen=True)
class Levels:
    """A build's dimensions and the numbers of its settings: 0 to the product of their sizes less 1."""

    dimensions: tuple[Dimension, ...]

    @cached_property
    def sizes(self) -> tuple[int, ...]:
        """Positions of each dimension."""
        return tuple(d.size for d in self.dimensions)

    @property
    def settings(self) -> int:
        """How many settings there are."""
        return prod(self.sizes)

    @cached_property
    def suspension(self) -> list[int]:
        """Dimensions that move the suspension."""
        return [i for i, d in enumerate(self.dimensions) if not d.steering_only]

    @cached_property
    def outer_ends(self) -> Table:
        """Settings of what moves the tie rod's outer end."""
        return self._table([i for i in self._rods if OUTER_END in self.dimensions[i].effects])

    @cached_property
    def inner_ends(self) -> Table:
        """Settings of what moves its inner end, or else something that its length or stud hangs on."""
        return self._table([i for i in self._rods if OUTER_END not in self.dimensions[i].effects])

    @cached_property
    def beneath(self) -> Table:
        """Settings of the rest: the rack's travel, the anti-roll bar."""
        return self._table(self._beneath)

    @cached_property
    def ends(self) -> Ends:
        """Where the settings put the tie rod's ends."""
        outer, inner = self.outer_ends, self.inner_ends
        return Ends(outer.point(OUTER_END), inner.point(INNER_END), outer.point(INNER_END))

    @property
    def _beneath(self) -> list[int]:
        return [i for i, d in enumerate(self.dimensions) if d.beneath_the_rods]

    @property
    def _rods(self) -> list[int]:
        above = {*self.suspension, *self._beneath}
        return [i for i in range(len(self.dimensions)) if i not in above]

    def suspension_positions(self, numbers: Ints) -> Ints:
        """Positions (n, dimensions) of suspension settings by number, everything else at its first."""
        positions = np.zeros((numbers.size, len(self.sizes)), dtype=np.int64)
        sizes = tuple(self.sizes[i] for i in self.suspension)
        if sizes:
            positions[:, self.suspension] = np.stack(np.unravel_index(numbers, sizes), axis=1)
        return positions

    def index_of(self, positions: Ints) -> Ints:
        """Numbers (n,) of settings by positions (n, dimensions)."""
        if not self.sizes:
            return np.zeros(positions.shape[0], dtype=np.int64)
        return np.asarray(np.ravel_multi_index(tuple(positions.T), self.sizes), dtype=np.int64)

    def all_positions_of(self, numbers: Ints) -> Ints:
        """Positions (n, dimensions) of settings by their numbers (n,)."""
        if not self.sizes:
            return np.zeros((numbers.size, 0), dtype=np.int64)
        return np.stack(np.unravel_index(numbers, self.sizes), axis=1).astype(np.int64)

    def positions_of(self, index: int) -> tuple[int, ...]:
        """Positions of a setting by its number."""
        return tuple(int(p) for p in self.all_positions_of(np.array([index]))[0])

    def _table(self, dims: list[int]) -> Table:
        counts = tuple(self.sizes[i] for i in dims)
        count = prod(counts)
        shifts: dict[str, Floats] = {}
        index = np.zeros(count, dtype=np.int64)
        places = np.unravel_index(np.arange(count), counts) if counts else ()
        for i, at in zip(dims, places, strict=True):
            index += prod(self.sizes[i + 1 :]) * at
            for channel, table in self.dimensions[i].effects.items():
                # the first position is what lanes of the level above were assembled with
                shift = (table[at] - table[0]).T
                shifts[channel] = shifts[channel] + shift if channel in shifts else shift
        return Table(count, shifts, index)

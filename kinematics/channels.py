"""Points and numbers of many lanes, kept as sums: what an outer setting gives and what an inner one adds.

A search holds thousands of lanes that share few settings. Spelling every point and number out for each of
them would cost more than solving their states, so they are summed up only when a measure asks.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from kinematics.arrays import Floats, Ints


@dataclass(frozen=True)
class Channels:
    """Named points and numbers of n lanes.

    ``outer`` is side → name → (3, m) for a point or (m,) for a number, mm or as the name says; a side that
    is missing is the mirror of the left, and points are in left-hand axes. ``inner`` is name → (3, j) or
    (j,), added alike on both sides. ``outer_of`` and ``inner_of`` (n,) say which of them a lane has.
    """

    outer: dict[str, dict[str, Floats]]
    outer_of: Ints
    inner: dict[str, Floats] = field(default_factory=dict)
    inner_of: Ints | None = None

    @classmethod
    def plain(cls, outer: dict[str, dict[str, Floats]], lanes: int) -> Channels:
        """Channels with a column of their own for each lane."""
        return cls(outer, np.arange(lanes))

    def under(self, pick: Ints, inner: dict[str, Floats], settings: Ints) -> Channels:
        """Every given inner setting under each picked lane, the inner ones running fastest."""
        return Channels(
            self.outer,
            np.repeat(self.outer_of[pick], settings.size),
            inner,
            np.tile(settings, pick.size),
        )

    def take(self, lanes: Ints) -> Channels:
        """The given lanes, in that order."""
        inner_of = None if self.inner_of is None else self.inner_of[lanes]
        return replace(self, outer_of=self.outer_of[lanes], inner_of=inner_of)

    def has(self, name: str) -> bool:
        """Whether the scene was given a point or number of this name."""
        return name in self.outer["left"]

    def get(self, name: str, side: str = "left") -> Floats:
        """A point (3, n) or a number (n,) of every lane; KeyError where the scene was not given it."""
        value = self.outer.get(side, self.outer["left"])[name][..., self.outer_of]
        if name in self.inner and self.inner_of is not None:
            value = value + self.inner[name][..., self.inner_of]
        return np.asarray(value)

"""Points and numbers of many lanes, kept as sums: what an outer setting gives and what an inner one adds.

A search holds thousands of lanes that share few settings. Spelling every point and number out for each of
them would cost more than solving their states, so they are summed up only when a measure asks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kinematics.arrays import Floats, Ints


@dataclass(frozen=True)
class Layer:
    """What settings of one level add: name → (3, j) for a point or (j,) for a number, alike on both sides."""

    shifts: dict[str, Floats]
    of: Ints
    """(n,): which of the j settings each lane has."""


@dataclass(frozen=True)
class Channels:
    """Named points and numbers of n lanes.

    ``outer`` is side → name → (3, m) for a point or (m,) for a number, mm or as the name says; a side that
    is missing is the mirror of the left, and points are in left-hand axes. ``outer_of`` (n,) says which of
    them a lane has, and ``layers`` what is added to it.
    """

    outer: dict[str, dict[str, Floats]]
    outer_of: Ints
    layers: tuple[Layer, ...] = ()

    @classmethod
    def plain(cls, outer: dict[str, dict[str, Floats]], lanes: int) -> Channels:
        """Channels with a column of their own for each lane."""
        return cls(outer, np.arange(lanes))

    def under(self, pick: Ints, *layers: Layer) -> Channels:
        """The picked lanes (n,), with what the layers add to each."""
        taken = self.take(pick)
        return replace(taken, layers=(*taken.layers, *layers))

    def take(self, lanes: Ints) -> Channels:
        """The given lanes, in that order."""
        layers = tuple(replace(layer, of=layer.of[lanes]) for layer in self.layers)
        return replace(self, outer_of=self.outer_of[lanes], layers=layers)

    def joined(self, other: Channels) -> Channels:
        """These lanes and then the other's, neither with layers."""
        assert not self.layers and not other.layers
        outer = {
            side: {
                name: np.concatenate(
                    [value[..., self.outer_of], other.outer[side][name][..., other.outer_of]],
                    axis=-1,
                )
                for name, value in named.items()
            }
            for side, named in self.outer.items()
        }
        return Channels.plain(outer, self.outer_of.size + other.outer_of.size)

    def has(self, name: str) -> bool:
        """Whether the scene was given a point or number of this name."""
        return name in self.outer["left"]

    def get(self, name: str, side: str = "left") -> Floats:
        """A point (3, n) or a number (n,) of every lane; KeyError where the scene was not given it."""
        value = self.outer.get(side, self.outer["left"])[name][..., self.outer_of]
        for layer in self.layers:
            if name in layer.shifts:
                value = value + layer.shifts[name][..., layer.of]
        return np.asarray(value)

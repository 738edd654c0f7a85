"""States of corners that have been solved already, for whoever asks for them again.

States that were solved in one call stay together in a block. Taking lanes out of a store only notes which:
the states are cut out when they are next asked for, and most never are.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Generic, TypeVar

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Ints
from kinematics.states import CornerStates

Key = TypeVar("Key")


@dataclass
class Block:
    """States solved together; ``lanes`` are those that are wanted of them, None for all."""

    states: CornerStates
    lanes: Ints | None = None

    def take(self, lanes: Ints) -> Block:
        """The given ones of the lanes that are wanted."""
        return Block(self.states, lanes if self.lanes is None else self.lanes[lanes])

    def cut(self) -> CornerStates:
        """The states of the lanes that are wanted."""
        if self.lanes is not None:
            self.states, self.lanes = self.states.take(self.lanes), None
        return self.states


@dataclass
class SolvedStates(Generic[Key]):
    """Blocks of states, and under which key to find which state of which block."""

    blocks: list[Block] = field(default_factory=list)
    places: dict[Key, tuple[int, int]] = field(default_factory=dict)

    def add(self, keys: list[Key], states: CornerStates) -> None:
        """Keep states under their keys, in order."""
        number = len(self.blocks)
        self.blocks.append(Block(states))
        self.places.update({key: (number, state) for state, key in enumerate(keys)})

    def copy(self) -> SolvedStates[Key]:
        """The same states; what is added to either later is not in the other."""
        return SolvedStates(list(self.blocks), dict(self.places))

    def take(self, lanes: Ints) -> SolvedStates[Key]:
        """The given lanes of every state."""
        return SolvedStates([block.take(lanes) for block in self.blocks], dict(self.places))

    def gather(self, places: list[tuple[int, int]]) -> CornerStates:
        """The states at places of ``places``, which may lie in several blocks, in order."""
        first, start = places[0]
        if places == [(first, start + n) for n in range(len(places))]:
            states = self.blocks[first].cut()
            if len(places) == states.marks.shape[0]:
                return states
            return states.pick(slice(start, start + len(places)))
        return self._gathered(places)

    def _gathered(self, places: list[tuple[int, int]]) -> CornerStates:
        wanted = np.array(places)
        lanes = self.blocks[places[0][0]].cut().marks.shape[1]
        raw = np.empty((k.STATE_ROWS, len(places), lanes))
        marks = np.empty((len(places), lanes), dtype=np.int8)
        for number in {block for block, _ in places}:
            at = np.flatnonzero(wanted[:, 0] == number)
            states, rows = self.blocks[number].cut(), wanted[at, 1]
            raw[:, at] = states.raw[:, rows]
            marks[at] = states.marks[rows]
        return CornerStates(raw, marks)

"""States of corners that have been solved already, for whoever asks for them again.

States that were solved in one call stay together in a block. Taking lanes out of a store only notes which:
the states are cut out when they are next asked for, and most never are.
"""

from __future__ import annotations

from collections.abc import Iterable
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

    def find(self, key: Key) -> tuple[CornerStates, int]:
        """The block of states that has the key's, and its number there; KeyError where it is not known."""
        number, state = self.places[key]
        return self.blocks[number].cut(), state


def gathered(found: Iterable[tuple[CornerStates, int]]) -> CornerStates:
    """States that lie in several blocks as one, in order; a run of one block is only looked at."""
    runs: list[tuple[CornerStates, int, int]] = []
    for states, number in found:
        if runs and runs[-1][0] is states and runs[-1][2] == number:
            runs[-1] = (states, runs[-1][1], number + 1)
        else:
            runs.append((states, number, number + 1))
    states, first, last = runs[0]
    if len(runs) == 1:
        whole = last - first == states.marks.shape[0]
        return states if whole else states.pick(slice(first, last))
    count, lanes = sum(last - first for _, first, last in runs), states.marks.shape[1]
    raw = np.empty((k.STATE_ROWS, count, lanes))
    marks = np.empty((count, lanes), dtype=np.int8)
    at = 0
    for states, first, last in runs:
        to = at + last - first
        raw[:, at:to], marks[at:to] = states.raw[:, first:last], states.marks[first:last]
        at = to
    return CornerStates(raw, marks)

"""Room left on adjusters: a setting at the end of a thread or a slot leaves nothing for the track.

Only adjusters count: a stack or a choice has no way to go but its own pieces and holes. An adjuster that
lowers the car is left out, for the duty asks for its ride height, and so is one with nothing to choose.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from optimiser.space import Dimension

# Room beyond this many steps is as good as any.
ENOUGH_STEPS = 2.0


def rooms(dimensions: Sequence[Dimension], positions: Sequence[int]) -> tuple[float, ...]:
    """The room on every adjuster at a setting, least first: of two settings the greater tuple has more.

    Args:
        dimensions: a build's dimensions on its grid, each with all its positions.
        positions: where each stands, from 0.

    Room is steps of its own to the nearer end, at most 2.
    """
    return tuple(sorted(_steps_left(dimensions, positions)))


def _steps_left(dimensions: Sequence[Dimension], positions: Sequence[int]) -> Iterator[float]:
    """Steps to the nearer end of each adjuster, at most ENOUGH_STEPS."""
    for dimension, position in zip(dimensions, positions, strict=True):
        if dimension.kind == "adjuster" and dimension.size > 1 and not _lowers(dimension):
            yield min(float(position), float(dimension.size - 1 - position), ENOUGH_STEPS)


def _lowers(dimension: Dimension) -> bool:
    return "lowered_by" in dimension.effects

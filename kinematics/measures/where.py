"""Where the figures of measures are decided, of scenes of one lane: a :class:`Where` for each case.

None stands for a case of which there is nothing to tell: the figure does not exist.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from kinematics.arrays import Floats
from kinematics.measures.catalogue import Ask, WhereFigure, sides_asked
from kinematics.scene import Scene, Side
from kinematics.where import Where

Wheres = Sequence[Where | None]


def ride_height(scene: Scene, ask: Ask) -> Wheres:
    """Of the whole car, straight ahead at ride height."""
    return [Where()]


def each_wheel(scene: Scene, ask: Ask) -> Wheres:
    """Of single wheels, straight ahead at ride height."""
    return [Where(side) for side in sides_asked(scene, ask)]


def window_ends(scene: Scene, ask: Ask) -> Wheres:
    """Of single wheels, from the window's low end to its high end with the rack centred."""
    assert ask.over is not None
    low, high = ask.over
    return [Where(side, travel=low, until=high) for side in sides_asked(scene, ask)]


def no_state(basis: str, *, each: bool = False) -> WhereFigure:
    """Of no state: ``basis`` says of what; ``each`` wheel by itself."""

    def where(scene: Scene, ask: Ask) -> Wheres:
        sides: Sequence[Side | None] = sides_asked(scene, ask) if each else (None,)
        return [Where(side, basis=basis) for side in sides]

    return where


def furthest(values: Floats, travels: Sequence[float], side: Side | None = None) -> Where:
    """Where a figure (s, 1) over travel, straight ahead, is furthest from nothing.

    Where some state is not reached it is the first of those.
    """
    worst = int(np.abs(values[:, 0]).argmax())
    return Where(side, travel=travels[worst] + 0.0)


def furthest_of_wheels(
    read: Callable[[Scene, Side, Ask], tuple[Floats, Sequence[float]]],
) -> WhereFigure:
    """The same of single wheels; ``read`` gives a wheel's figure over travel and those travels."""

    def where(scene: Scene, ask: Ask) -> Wheres:
        return [furthest(*read(scene, side, ask), side) for side in sides_asked(scene, ask)]

    return where

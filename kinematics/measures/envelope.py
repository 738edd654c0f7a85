"""The envelope of wheel travel and rack position, and figures that are the least or the most over it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kinematics.arrays import Floats
from kinematics.measures.catalogue import Ask, StateFigure, sides_asked, window
from kinematics.scene import At, Scene

# Every quarter of the way to the stop, both ways, and every 20 mm of wheel travel.
LOCKS = tuple(n / 4.0 for n in range(-4, 5))
TRAVEL_STEP = 20.0


def travels(scene: Scene) -> list[float]:
    """Wheel travels at which the envelope is sampled, mm."""
    return window(scene.frame.travel, step=TRAVEL_STEP)


def envelope(scene: Scene) -> list[At]:
    """States of the envelope of travel and rack position, to beyond the stop by the allowance."""
    beyond = scene.frame.overtravel
    return [
        At(travel, lock=share, beyond=beyond if abs(share) == 1.0 else 0.0)
        for share in LOCKS
        for travel in travels(scene)
    ]


def least_over_envelope(state: StateFigure) -> Callable[[Scene, Ask], Floats]:
    """The least of a state's figure over the envelope, each wheel a case; not-a-number where one is not."""
    return _over_envelope(state, np.min)


def most_over_envelope(state: StateFigure) -> Callable[[Scene, Ask], Floats]:
    """The greatest of a state's figure over the envelope, likewise."""
    return _over_envelope(state, np.max)


def _over_envelope(
    state: StateFigure, extreme: Callable[..., Floats]
) -> Callable[[Scene, Ask], Floats]:
    def figure(scene: Scene, ask: Ask) -> Floats:
        places = envelope(scene)
        sides = sides_asked(scene, ask)
        return np.stack([extreme(state(scene, side, places), axis=0) for side in sides])

    return figure

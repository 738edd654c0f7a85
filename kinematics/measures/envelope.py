"""The envelope of wheel travel and rack position, and figures that are the least or the most over it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np

from kinematics.arrays import Floats, Ints
from kinematics.measures.catalogue import Ask, StateFigure, WhereFigure, sides_asked, window
from kinematics.scene import At, DutyFrame, Scene, Side
from kinematics.where import Where

# Which of several things decides a state of one lane; empty where there is nothing to tell apart.
Which = Callable[[Scene, Side, At], str]

# Every quarter of the way to the stop, both ways, and every 20 mm of wheel travel.
LOCKS = tuple(n / 4.0 for n in range(-4, 5))
SHARES = tuple(share for share in LOCKS if share >= 0.0)
TRAVEL_STEP = 20.0


def travels(scene: Scene) -> tuple[float, ...]:
    """Wheel travels at which the envelope is sampled, mm."""
    return window(scene.frame.travel, step=TRAVEL_STEP)


def envelope(scene: Scene) -> tuple[At, ...]:
    """States of the envelope of travel and rack position, to beyond the stop by the allowance."""
    return _envelope(scene.frame)


@lru_cache(maxsize=64)
def _envelope(frame: DutyFrame) -> tuple[At, ...]:
    return tuple(
        At(travel, lock=share, beyond=frame.overtravel if abs(share) == 1.0 else 0.0)
        for share in LOCKS
        for travel in window(frame.travel, step=TRAVEL_STEP)
    )


@lru_cache(maxsize=256)
def both_ways(
    shares: tuple[float, ...], wheel_travels: tuple[float, ...], beyond: float
) -> tuple[At, ...]:
    """States at each share of the stop, both ways, at every wheel travel."""
    return tuple(
        At(travel, lock=way * share, beyond=beyond)
        for share in shares
        for way in (1.0, -1.0)
        for travel in wheel_travels
    )


@lru_cache(maxsize=64)
def to_the_stop(frame: DutyFrame) -> tuple[At, ...]:
    """What a stop is judged by: each share of it, both ways, and last beyond it by the allowance."""
    wheel_travels = window(frame.travel, step=TRAVEL_STEP)
    past = both_ways((1.0,), wheel_travels, frame.overtravel)
    return both_ways(SHARES, wheel_travels, 0.0) + past


@lru_cache(maxsize=64)
def _among(frame: DutyFrame) -> Ints:
    """Where the envelope's states stand in :func:`to_the_stop`."""
    numbers = {at: number for number, at in enumerate(to_the_stop(frame))}
    # straight ahead nothing lies beyond, whatever the allowance
    return np.array([numbers[at] for at in _envelope(frame)])


def over_envelope(scene: Scene, side: Side, state: StateFigure) -> Floats:
    """A figure of every state of the envelope, (s, n).

    What was looked at to find the stop is not worked out again.
    """
    judged = (state, side, to_the_stop(scene.frame))
    if scene.remembers(judged):
        return scene.remember(judged, lambda: state(scene, side, judged[2]))[_among(scene.frame)]
    return figure_of(scene, side, state, envelope(scene))


def figure_of(scene: Scene, side: Side, state: StateFigure, places: Sequence[At]) -> Floats:
    """A figure of single states, (s, n), remembered where there are few lanes."""
    key = (state, side, tuple(places))
    return scene.remember(key, lambda: state(scene, side, places))


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
        sides = sides_asked(scene, ask)
        return np.stack([extreme(over_envelope(scene, side, state), axis=0) for side in sides])

    return figure


def where_least(state: StateFigure, which: Which | None = None) -> WhereFigure:
    """In which state of the envelope a figure is least; ``which`` tells one thing of several there.

    Where a state is not reached it is the first of those; None where no state has a figure.
    """
    return _where(state, np.argmin, which)


def where_most(state: StateFigure, which: Which | None = None) -> WhereFigure:
    """In which state of the envelope a figure is greatest, likewise."""
    return _where(state, np.argmax, which)


def _where(
    state: StateFigure, extreme: Callable[[Floats], np.intp], which: Which | None
) -> WhereFigure:
    def where(scene: Scene, ask: Ask) -> list[Where | None]:
        found: list[Where | None] = []
        for side in sides_asked(scene, ask):
            values = over_envelope(scene, side, state)[:, 0]
            at = envelope(scene)[int(extreme(values))]
            known = bool(np.isfinite(values).any())
            of = which(scene, side, at) if known and which is not None else ""
            found.append(Where.of_state(scene, side, at, of) if known else None)
        return found

    return where

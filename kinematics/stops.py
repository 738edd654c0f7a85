"""The steering stop: how far the rack may go before something that must hold does not.

A stop at r mm of rack is sound where every hold is kept at every sampled state from the centre to r, both
ways, over the whole of wheel travel, and beyond r by the allowance for give and wear. The stop is the largest
sound r. It is set by hand, so it is rounded down to a step that a person can set; where the rack comes to
its own end first, the stop is that.

Holds are looked at one after another, each only as far as those before it let the rack go.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinematics.arrays import Bools, Floats
from kinematics.measures.catalogue import StateFigure
from kinematics.measures.envelope import SHARES, both_ways, figure_of, to_the_stop, travels
from kinematics.scene import At, Scene, Side

STEP = 0.5  # mm of rack
GRAIN = 1e-9  # figures are good to about this: a value on the bound holds


@dataclass(frozen=True)
class Hold:
    """A bound on a figure of single states. One ``side`` or every side.

    Not-a-number does not hold; an infinite gap, where there is nothing to come near, does.
    """

    name: str
    state: StateFigure
    minimum: float | None = None
    maximum: float | None = None
    side: Side | None = None

    def kept(self, values: Floats) -> Bools:
        """Whether each value holds, any shape."""
        good = ~np.isnan(values)
        if self.minimum is not None:
            good &= values >= self.minimum - GRAIN
        if self.maximum is not None:
            good &= values <= self.maximum + GRAIN
        return good

    def in_hand(self, values: Floats) -> Floats:
        """How far each value is from the nearer bound, in the figure's unit; less than 0 does not hold."""
        room = np.full(values.shape, np.inf)
        if self.minimum is not None:
            room = np.minimum(room, values - self.minimum)
        if self.maximum is not None:
            room = np.minimum(room, self.maximum - values)
        return np.where(np.isnan(values), -np.inf, room)


@dataclass(frozen=True)
class Culprit:
    """What keeps the rack from going further: a hold, and the state just past the stop that breaks it.

    ``turn`` is +1 for a left turn and -1 for a right one; on a mirrored car the left wheel stands for both,
    so a right turn is one with that wheel on the outside.
    """

    name: str
    side: Side
    travel: float
    turn: float


def stopped(scene: Scene, holds: Sequence[Hold]) -> Scene:
    """The same lanes with their largest sound stops; a stop is 0 where a hold breaks at the centre."""
    scene = scene.with_stop(scene.rack_travel)
    for hold in holds:
        sound = _sound(scene, hold)
        short = ~sound.all(axis=0)
        if short.any():
            lanes = np.flatnonzero(short)
            stop = scene.stop.copy()
            stop[lanes] = _largest(scene.take(lanes), hold, sound[:, lanes])
            scene = scene.with_stop(stop)
    return scene


def sound_at(scene: Scene, holds: Sequence[Hold], stop: Floats) -> Bools:
    """Whether every hold is kept at a stop (n,) itself, over the ends of wheel travel, (n,).

    A stop for which this is false is too far; so is every larger one. It is no proof that one is sound.
    Lanes without a stop (not-a-number) are not sound.
    """
    known = np.isfinite(stop)
    there = scene.with_stop(np.where(known, stop, 0.0))
    good = known
    ends = _beyond(scene, (*scene.frame.travel, 0.0))
    for hold in holds:
        good &= _kept(there, hold, ends, 1)[0]
    return good


def culprit(scene: Scene, holds: Sequence[Hold]) -> Culprit | None:
    """What set the stop of a scene of one lane; None where the rack's own end did."""
    stop = float(scene.stop[0])
    if stop >= float(scene.rack_travel[0]):
        return None
    past = scene.with_stop(scene.stop + STEP)
    places = _beyond(scene, travels(scene))
    worst: tuple[float, Culprit] | None = None
    for hold in holds:
        for side in _sides(scene, hold):
            room = hold.in_hand(figure_of(past, side, hold.state, places))[:, 0]
            at = places[int(room.argmin())]
            least = float(room.min())
            if least < -GRAIN and (worst is None or least < worst[0]):
                worst = least, Culprit(hold.name, side, at.travel, at.lock)
    return None if worst is None else worst[1]


def _largest(scene: Scene, hold: Hold, sound: Bools) -> Floats:
    """The largest sound stop, by halving, of lanes that are not sound at the stop they have.

    ``sound`` is what :func:`_sound` says of them.
    """
    shares = np.asarray(SHARES)
    sound = np.logical_and.accumulate(sound, axis=0)
    # the first place that does not hold: a share of the stop, or beyond it by the allowance
    first = (~sound).argmax(axis=0)
    places = np.concatenate(
        [shares[:, None] * scene.stop, scene.stop[None, :] + scene.frame.overtravel]
    )
    lanes, beyond = np.arange(scene.lanes), _beyond(scene, travels(scene))
    broken = places[first, lanes] - scene.frame.overtravel
    held = places[np.maximum(first - 1, 0), lanes] - scene.frame.overtravel
    low = np.maximum(np.floor(held / STEP), 0.0)
    high = np.maximum(np.ceil(np.minimum(broken, scene.stop) / STEP), low + 1.0)
    while (going := high - low > 1.0).any():
        some = np.flatnonzero(going)
        middle = np.floor(0.5 * (low[some] + high[some]))
        if some.size == scene.lanes:
            trial = scene.with_stop(STEP * middle)
        else:
            trial = scene.take(some, stop=STEP * middle)
        good = _kept(trial, hold, beyond, 1)[0]
        low[some] = np.where(good, middle, low[some])
        high[some] = np.where(good, high[some], middle)
    return np.where(first == 0, 0.0, np.minimum(STEP * low, scene.stop))


def _sound(scene: Scene, hold: Hold) -> Bools:
    """Whether a hold is kept at each share of the stop and, last, beyond it by the allowance, (k + 1, n)."""
    return _kept(scene, hold, to_the_stop(scene.frame), len(SHARES) + 1)


def _kept(scene: Scene, hold: Hold, places: Sequence[At], groups: int) -> Bools:
    """Whether a hold is kept at every state of each of so many groups of places, alike in size, (k, n)."""
    good = np.ones((groups, scene.lanes), dtype=bool)
    for side in _sides(scene, hold):
        kept = hold.kept(figure_of(scene, side, hold.state, places))
        good &= kept.reshape(groups, -1, scene.lanes).all(axis=1)
    return good


def _beyond(scene: Scene, wheel_travels: tuple[float, ...]) -> tuple[At, ...]:
    """States beyond the stop by the allowance, both ways."""
    return both_ways((1.0,), wheel_travels, scene.frame.overtravel)


def _sides(scene: Scene, hold: Hold) -> tuple[Side, ...]:
    sides = scene.sides()
    return sides if hold.side is None else tuple(side for side in sides if side == hold.side)

"""What a measure is, and the words in which one is asked for.

A measure is one computed figure of a candidate. Its function takes a scene of n lanes and an ask, and
returns an array (cases, n): one case where the car is symmetric, one for each wheel or direction of turn
that the ask is about where it is not. A figure that does not exist is not-a-number.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from functools import lru_cache
from typing import Literal

import numpy as np

from kinematics.arrays import Floats
from kinematics.scene import At, Scene, Side
from kinematics.where import Where

WheelWord = Literal["left", "right", "inner", "outer", "loaded"]
Along = Literal["travel", "steer"]
Sample = Literal["all", "ends", "top"]
# A figure of single states of one wheel: (states, n), not-a-number where a state is not reached.
StateFigure = Callable[[Scene, Side, Sequence[At]], Floats]


@dataclass(frozen=True)
class Ask:
    """Which figure is meant: a window of travel (mm), an inner steer angle (deg), a wheel.

    ``sample`` asks for the same figure over fewer states: the window's ``ends``, or its ``top`` alone.
    For measures that can only grow with more states (see ``Measure.bound``) that is a bound
    on the full figure.
    """

    over: tuple[float, float] | None = None
    at: float | None = None
    wheel: WheelWord | None = None
    sample: Sample = "all"


_PLAIN = Ask()

# Where each case of a figure was decided, of a scene of one lane; None where the figure does not exist.
WhereFigure = Callable[[Scene, Ask], Sequence[Where | None]]


class Stage(IntEnum):
    """What has to be solved before a measure is known, cheapest first."""

    PARTS = 0  # nothing: the parts say it
    STATIC = 1  # the straight-ahead state at ride height
    ROD = 2  # the tie rod's length for the wanted toe
    TRAVEL = 3  # travel with the rack centred
    STEER = 4  # the rack at ride height
    ENVELOPE = 5  # every travel at every rack position


@dataclass(frozen=True)
class Measure:
    """One entry of the catalogue.

    Attributes:
        name, unit, group: as in the goals file and the tables.
        definition: what exactly it is, with its signs.
        source: where the definition comes from.
        stage: what has to be solved for it.
        figure: the function, see the module's text.
        takes: which arguments an ask may carry: over, at, wheel, points.
        scale: a difference that a builder would notice, in the unit; puts shortfalls side by side.
        where: in which state each case of the figure was decided, of a scene of one lane.
        bound: 'grows' where fewer states can only give a smaller figure.
        needs_car: sections of the car file without which there is no figure, or single entries of one
            ("rear.track").
        state: where the figure is the least or the most over the envelope, that of single states. A limit on
            it bounds how far the rack may go, so it decides the steering stop.
        stop_only_masks: whether the steering stop decides only if there is a figure, not which.
        cases: what several cases are of: each wheel, left first, or each turn, to the left first.
        kind: the kind of corner that alone has it (kinematics.rows), None: every kind.
        along: what its curve runs over, if it has one.
        curve: the curve's function: scene, side, positions (mm) -> (len(positions), n).
        default: window or angle when the ask names none.
    """

    name: str
    unit: str
    group: str
    definition: str
    source: str
    stage: Stage
    figure: Callable[[Scene, Ask], Floats]
    scale: float
    where: WhereFigure
    takes: frozenset[str] = frozenset()
    bound: Literal["grows"] | None = None
    needs_car: frozenset[str] = frozenset()
    kind: float | None = None
    along: Along | None = None
    curve: Callable[[Scene, Side, Floats], Floats] | None = None
    state: StateFigure | None = None
    stop_only_masks: bool = False
    cases: Literal["wheel", "turn"] = "wheel"
    default_over: tuple[float, float] | None = None
    default_at: float | None = None

    def __call__(self, scene: Scene, ask: Ask | None = None) -> Floats:
        """The figure of every lane, (cases, n), with the defaults filled in."""
        filled = self.filled(ask or _PLAIN)
        return scene.remember((self.name, filled), lambda: self.figure(scene, filled))

    def decided_in(self, scene: Scene, ask: Ask | None = None) -> Sequence[Where | None]:
        """Where each case of the figure was decided, of a scene of one lane; as many as there are cases."""
        filled = self.filled(ask or _PLAIN)
        return scene.remember(("where", self.name, filled), lambda: self.where(scene, filled))

    def filled(self, ask: Ask) -> Ask:
        """The ask with the defaults in place of what it leaves open."""
        if self.default_over is None and self.default_at is None:
            return ask
        return Ask(
            over=ask.over or self.default_over,
            at=self.default_at if ask.at is None else ask.at,
            wheel=ask.wheel,
            sample=ask.sample,
        )


def sides_asked(scene: Scene, ask: Ask) -> tuple[Side, ...]:
    """Sides that an ask about single wheels is about: all, or the one that it names."""
    if scene.mirrored:
        return ("left",)
    if ask.wheel == "left":
        return ("left",)
    if ask.wheel == "right":
        return ("right",)
    return ("left", "right")


WINDOW_STEP = 5.0


@lru_cache(maxsize=256)
def window(
    over: tuple[float, float], sample: Sample = "all", *, step: float = WINDOW_STEP
) -> tuple[float, ...]:
    """Travels at which a window is sampled: multiples of ``step``, both ends and ride height, mm."""
    low, high = over
    if sample == "top":
        return (high,)
    if sample == "ends":
        return low, high
    first, last = int(np.ceil(low / step)), int(np.floor(high / step))
    return tuple(sorted({low, high, 0.0} | {step * n for n in range(first, last + 1)}))


@lru_cache(maxsize=256)
def straight(travel: tuple[float, ...]) -> tuple[At, ...]:
    """The states at each travel with the rack centred."""
    return tuple(At(t) for t in travel)

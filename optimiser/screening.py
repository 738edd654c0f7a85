"""Demands that can be looked at before any state beneath an outer setting is solved.

Roll-centre height and toe change over travel are where most settings of the tie rod's ends fall. Both are
told by ``kinematics/screen.py`` for millions of settings at once, so what they refuse is never made a lane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from goals.verdicts import Demand
from kinematics.arrays import Floats
from kinematics.measures.catalogue import window
from kinematics.scene import Side
from kinematics.screen import Ends, RollWindow, ToeWindow, roll_window, toe_window

ROLL, TOE = "roll_centre_height", "bump_steer"
WIDEST = 5.0  # deg of toe: a wider window is not worth looking at


@dataclass(frozen=True)
class Screen:
    """A duty's demands on roll-centre height and bump steer; others are passed over."""

    roll: tuple[Demand, ...]
    toe: tuple[Demand, ...]

    @classmethod
    def of(cls, wanted: list[Demand]) -> Screen:
        """What can be screened of a duty's demands."""
        roll = tuple(d for d in wanted if d.measure.name == ROLL and len(d.asks) == 1)
        toe = tuple(d for d in wanted if d.measure.name == TOE and _narrows(d))
        return cls(roll, toe)

    @property
    def labels(self) -> tuple[str, str]:
        """The limits that the roll centre and the toe are refused by; empty where only targets ask."""
        limits = [
            next((d.label for d in asked if d.is_limit), "") for asked in (self.roll, self.toe)
        ]
        return limits[0], limits[1]

    def roll_of(self, columns: Floats, pose: Floats, room: Floats) -> RollWindow | None:
        """The window of roll-centre height under lanes of a mirrored car.

        ``columns`` and ``pose`` are the lanes' geometry and ride pose; ``room`` (n,) is how much weighted
        square of miss each may still gain.
        """
        if not self.roll:
            return None
        low, high = np.full(room.shape, -np.inf), np.full(room.shape, np.inf)
        for demand in self.roll:
            if demand.is_limit:
                # figures are good to about 1e-9: a value on the limit holds
                low = np.maximum(low, -np.inf if demand.minimum is None else demand.minimum - 1e-9)
                high = np.minimum(high, np.inf if demand.maximum is None else demand.maximum + 1e-9)
            else:
                reach = demand.tolerance * np.sqrt(room / demand.weight)
                low = np.maximum(low, demand.wanted[0] - reach)
                high = np.minimum(high, demand.wanted[0] + reach)
        return roll_window(columns, pose, low, high)

    def toes_of(self, side: Side, columns: Floats, pose: Floats, toe: float, room: Floats,
                ends: Ends) -> list[ToeWindow]:  # fmt: skip
        """The windows of toe of one wheel, each over the ends and the middles of its travel."""
        windows = []
        for demand in self.toe:
            ask = demand.asks[0]
            if ask.wheel in ("left", "right") and ask.wheel != side:
                continue
            if demand.is_limit:
                assert demand.maximum is not None
                most = demand.maximum + 1e-9
            else:
                # one window for all lanes: that of the lane with most room
                most = demand.tolerance * float(np.sqrt(room.max(initial=0.0) / demand.weight))
            if most < WIDEST:
                over = ask.over or demand.measure.default_over
                assert over is not None
                windows.append(toe_window(columns, pose, toe, most, _travels(over), ends))
        return windows


def _narrows(demand: Demand) -> bool:
    """Whether a demand on bump steer bounds the toe change: a most, or a target of none."""
    if demand.is_limit:
        return demand.maximum is not None and demand.maximum >= 0.0
    return demand.wanted == (0.0,)


def _travels(over: tuple[float, float]) -> list[float]:
    """The window's ends, and two of its states in between."""
    states = window(over)
    ways = [over[1], over[0], states[len(states) // 4], states[(3 * len(states)) // 4]]
    return [t for t in dict.fromkeys(ways) if t != 0.0]

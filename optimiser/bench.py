"""What gauges on the bench should read: toe over travel, turn plates, one flat of the tie rod."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from kinematics import kernel as k
from kinematics.measures.steer import Turn
from kinematics.scene import STRAIGHT, At, Scene, Side

GAUGE_TRAVEL = tuple(float(t) for t in range(60, -51, -10))
PLATE_ANGLES = (10.0, 20.0, 30.0)
SHARES = tuple(n / 8.0 for n in range(9))


@dataclass(frozen=True)
class GaugeReading:
    """One station of the bump-steer gauge: travel in mm, toe change and camber of one wheel in deg."""

    travel: float
    toe: float
    camber: float


@dataclass(frozen=True)
class PlateReading:
    """One station on the turn plates: deg, and mm of rack from the centre. Not-a-number: not reached."""

    inner: float
    outer: float
    rack: float

    @property
    def toe_out(self) -> float:
        """Inner less outer, deg."""
        return self.inner - self.outer


def gauge(scene: Scene, side: Side) -> list[GaugeReading]:
    """Readings of one wheel of a one-lane scene, rack centred, top of travel first."""
    states = scene.states(side, [At(t) for t in GAUGE_TRAVEL])
    ride = float(scene.states(side, [STRAIGHT]).toe[0, 0])
    return [
        GaugeReading(t, float(states.toe[i, 0]) - ride, float(states.camber[i, 0]))
        for i, t in enumerate(GAUGE_TRAVEL)
    ]


def plates(scene: Scene, turn: Turn) -> list[PlateReading]:
    """Readings at the inner angles of the trade and at the stop, for one direction of turn."""
    readings = [_plate_at(scene, turn, angle) for angle in PLATE_ANGLES]
    return [*readings, _plate(scene, turn, 1.0)]


def _steer(scene: Scene, side: Side, turn: Turn, share: float) -> float:
    states = scene.states(side, [At(turn=turn.sign * share)])
    return turn.sign * float(scene.steer(side, states)[0, 0])


def _plate(scene: Scene, turn: Turn, share: float) -> PlateReading:
    return PlateReading(
        _steer(scene, turn.inner, turn, share),
        _steer(scene, turn.outer, turn, share),
        share * float(scene.rack_travel[0]),
    )


def _plate_at(scene: Scene, turn: Turn, angle: float) -> PlateReading:
    """The reading where the inner wheel stands at an angle, before steer breaks off or falls again."""
    low, at_low = 0.0, 0.0
    for share in SHARES[1:]:
        there = _steer(scene, turn.inner, turn, share)
        if not there > at_low:
            break
        if there >= angle:
            found = brentq(
                lambda s: _steer(scene, turn.inner, turn, s) - angle, low, share, xtol=1e-10
            )
            return _plate(scene, turn, float(found))
        low, at_low = share, there
    return PlateReading(angle, float("nan"), float("nan"))


def toe_of_flats(scene: Scene, side: Side, length: float) -> float:
    """Toe change of one wheel, deg, toe-in positive, for mm more rod length at ride height."""
    columns: dict[Side, np.ndarray[tuple[int, ...], np.dtype[np.float64]]] = {
        each: scene.columns(each).copy() for each in scene.sides()
    }
    own: Side = side if side in columns else "left"
    columns[own][k.ROD_LENGTH] += length
    longer = Scene(
        car=scene.car,
        frame=scene.frame,
        left=columns["left"],
        right=columns.get("right"),
        rack_travel=scene.rack_travel,
        rack_per_turn=scene.rack_per_turn,
        price=scene.price,
        rod_kit=scene.rod_kit,
    )
    before, after = (float(s.states(own, [STRAIGHT]).toe[0, 0]) for s in (scene, longer))
    return after - before


def heights(scene: Scene, side: Side, points: dict[str, float]) -> dict[str, float]:
    """Heights above the ground at ride height, mm, of body points given by their z."""
    contact = float(scene.states(side, [STRAIGHT]).row(k.CONTACT + 2)[0, 0])
    return {name: z - contact for name, z in points.items()}

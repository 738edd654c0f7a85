"""What the gauges should read of a car, by the model: the same code for the fit and for a set-down."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.measures.steer import LEFT_TURN, RIGHT_TURN, outer_angle
from kinematics.scene import STRAIGHT, At, Scene, Side
from kinematics.states import CornerStates
from optimiser import reading_list as kinds
from optimiser.reading_list import THOU, Reading


def predictions(scene: Scene, readings: Sequence[Reading]) -> Floats:
    """What each reading should say of every lane, (readings, lanes), in each reading's own unit.

    Not-a-number where the lane does not reach the state.
    """
    _solve_ahead(scene, readings)
    with np.errstate(invalid="ignore"):
        rows = [_PREDICT[reading.kind](scene, reading) for reading in readings]
    return np.array(rows).reshape(len(readings), scene.lanes)


def _solve_ahead(scene: Scene, readings: Sequence[Reading]) -> None:
    """Solve all states of a wheel in one call; they are kept by the scene."""
    sides: tuple[Side, ...] = ("left", "right")
    for side in sides:
        own = [r for r in readings if r.side == side and r.over_travel]
        places = {At(r.travel, rack=r.rack) for r in own} | {At(rack=r.rack) for r in own}
        scene.states(side, [STRAIGHT, *sorted(places)])


def _state(scene: Scene, reading: Reading) -> CornerStates:
    return scene.states(reading.side, [At(reading.travel, rack=reading.rack)])


def _zero(scene: Scene, reading: Reading) -> CornerStates:
    """Ride height with the steering held as for the reading: where the gauge is zeroed."""
    return scene.states(reading.side, [At(rack=reading.rack)])


def _toe_change(scene: Scene, reading: Reading) -> Floats:
    return np.asarray(_state(scene, reading).toe[0] - _zero(scene, reading).toe[0])


def _dials(scene: Scene, reading: Reading) -> Floats:
    """Difference of two dials on a plate: base times the change of the tangent of toe."""
    there, zero = (np.tan(np.radians(s.toe[0])) for s in _pair(scene, reading))
    return np.asarray(reading.base * (there - zero) / (THOU if reading.unit == "thou" else 1.0))


def _pair(scene: Scene, reading: Reading) -> tuple[CornerStates, CornerStates]:
    return _state(scene, reading), _zero(scene, reading)


def _angle(name: str) -> Callable[[Scene, Reading], Floats]:
    return lambda scene, reading: np.asarray(getattr(_state(scene, reading), name)[0])


def _outer(scene: Scene, reading: Reading) -> Floats:
    turn = LEFT_TURN if reading.side == "left" else RIGHT_TURN
    return outer_angle(scene, turn, reading.inner)


def _rod(scene: Scene, reading: Reading) -> Floats:
    return np.asarray(scene.columns(reading.side)[k.ROD_LENGTH])


def _height(scene: Scene, reading: Reading) -> Floats:
    states = scene.states(reading.side, [STRAIGHT])
    rows = {"ball_joint": k.BALL_JOINT, "tie_rod_outer": k.ROD_OUTER}
    if reading.point in rows:
        height = states.row(rows[reading.point] + 2)[0]
    else:
        height = scene.point(reading.side, reading.point)[2]
    return np.asarray(height - states.row(k.CONTACT + 2)[0])


_PREDICT: dict[str, Callable[[Scene, Reading], Floats]] = {
    kinds.TOE_CHANGE: _toe_change,
    kinds.DIALS: _dials,
    kinds.CAMBER: _angle("camber"),
    kinds.PLATES: _outer,
    kinds.TOE: _angle("toe"),
    kinds.CASTER: _angle("caster"),
    kinds.KINGPIN: _angle("kingpin_inclination"),
    kinds.ROD: _rod,
    kinds.HEIGHT: _height,
}

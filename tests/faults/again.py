"""A figure worked out again at one told state alone, from the solved corner and nothing else.

A slow twin of the measures' own functions: it takes the record of a state as JSON tells it and solves that
state by itself, with the rack as a displacement in mm and never as a share of a stop.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.measures import MEASURES, Ask
from kinematics.measures.bar import bar_states
from kinematics.measures.steer import ackermann_percent, axes_distance
from kinematics.measures.struts import strut_change
from kinematics.scene import At, Scene, Side
from kinematics.solved import SolvedStates
from kinematics.states import CornerStates, solve

Record = dict[str, Any]


class Pose:
    """One told state of a scene of one lane: which wheel, its travel, and the rack along car +y."""

    def __init__(self, scene: Scene, state: Record) -> None:
        # nothing that the scene has solved or worked out so far is used again
        self.scene = replace(
            scene, _free=SolvedStates(), _locked=SolvedStates(), _turn_sign=None, _kept={}
        )
        self.side: Side = "right" if state["wheel"] == "right" else "left"
        self.travel = state["travel"]
        outside = state["wheel"] == "outer"
        self.rack = float(self.scene.turn_sign[0]) * state["rack"] * (-1.0 if outside else 1.0)

    def solved(
        self, side: Side, travel: float, rack: float, *, hold_arm: bool = False
    ) -> CornerStates:
        own = self.scene.columns(side)
        along = np.array([[rack if side == "left" else -rack]])
        return solve(own, np.array([travel]), along, hold_arm=hold_arm)

    @property
    def there(self) -> CornerStates:
        """The told wheel in the told state."""
        return self.solved(self.side, self.travel, self.rack)

    @property
    def ride(self) -> CornerStates:
        """The told wheel straight ahead at ride height."""
        return self.solved(self.side, 0.0, 0.0)

    @property
    def at(self) -> At:
        return At(self.travel, rack=self.rack)

    def pair(self, travel: float) -> tuple[CornerStates, CornerStates]:
        """Both wheels at a travel, straight ahead."""
        return self.solved("left", travel, 0.0), self.solved("right", travel, 0.0)

    def steer(self, side: Side) -> float:
        """How far a wheel is steered in the told state, a left turn positive, deg."""
        change = _one(self.solved(side, 0.0, self.rack).toe) - _one(self.solved(side, 0.0, 0.0).toe)
        return change if side == "right" else -change

    def angles(self) -> tuple[float, float]:
        """Inner and outer wheel's steer, deg."""
        both = [abs(self.steer(side)) for side in ("left", "right")]
        left_turn = self.rack * float(self.scene.turn_sign[0]) > 0.0
        return (both[0], both[1]) if left_turn else (both[1], both[0])


def _one(values: Floats) -> float:
    return float(values[0, 0])


def _track(pose: Pose, travel: float) -> float:
    return sum(_one(states.row(k.CONTACT + 1)) for states in pose.pair(travel))


def _roll_centre(pose: Pose, travel: float) -> float:
    """Where the normals to both contact paths meet, above the middle of both contact points."""
    (y, z), (slope, _) = _front_view(pose.solved("left", travel, 0.0))
    (yr, zr), (slope_right, _) = _front_view(pose.solved("right", travel, 0.0))
    # left: Z = z - slope (Y - y); right, mirrored: Z = zr + slope_right (Y + yr)
    meet = (z - zr + slope * y - slope_right * yr) / (slope + slope_right)
    return z - slope * (meet - y) - 0.5 * (z + zr)


def _front_view(states: CornerStates) -> tuple[tuple[float, float], tuple[float, float]]:
    y, z = _one(states.row(k.CONTACT + 1)), _one(states.row(k.CONTACT + 2))
    return (y, z), (_one(states.contact_slope), 0.0)


def _change(read: Callable[[CornerStates], Floats]) -> Callable[[Pose, Ask], float]:
    return lambda pose, ask: abs(_one(read(pose.there)) - _one(read(pose.ride)))


def _slope(read: Callable[[CornerStates], Floats]) -> Callable[[Pose, Ask], float]:
    def figure(pose: Pose, ask: Ask) -> float:
        low, high = pose.travel
        ends = [_one(read(pose.solved(pose.side, t, 0.0))) for t in (low, high)]
        return (ends[1] - ends[0]) / (high - low)

    return figure


def _stroke(pose: Pose, ask: Ask) -> float:
    change = _one(strut_change(pose.scene, pose.side, [pose.at]))
    bump, droop = (float(pose.scene.number(f"strut.{end}")[0]) for end in ("bump", "droop"))
    return min(bump + change, droop - change)


def _turning_circle(pose: Pose, ask: Ask) -> float:
    outer = np.radians(pose.angles()[1])
    axes = float(axes_distance(pose.scene)[0])
    overhang = 0.5 * (_track(pose, 0.0) - axes)
    return float(2e-3 * (pose.scene.car.wheelbase / np.sin(outer) + overhang))


def _ackermann(pose: Pose, ask: Ask) -> float:
    inner, outer = pose.angles()
    axes = axes_distance(pose.scene)
    return float(ackermann_percent(inner, np.array([outer]), axes, pose.scene.car.wheelbase)[0])


def _lift(pose: Pose, ask: Ask) -> float:
    held = pose.solved(pose.side, 0.0, pose.rack, hold_arm=True)
    return _one(pose.ride.row(k.CONTACT + 2)) - _one(held.row(k.CONTACT + 2))


def _ratio(pose: Pose, ask: Ask) -> float:
    rates = [
        abs(_one(pose.solved(s, 0.0, 0.5).toe) - _one(pose.solved(s, 0.0, -0.5).toe))
        for s in ("left", "right")
    ]
    return float(360.0 / pose.scene.rack_per_turn[0] / (0.5 * sum(rates)))


TWINS: dict[str, Callable[[Pose, Ask], float]] = {
    "toe": lambda pose, ask: _one(pose.there.toe),
    "camber": lambda pose, ask: _one(pose.there.camber),
    "caster": lambda pose, ask: _one(pose.there.caster),
    "kingpin_inclination": lambda pose, ask: _one(pose.there.kingpin_inclination),
    "scrub_radius": lambda pose, ask: _one(pose.there.scrub_and_trail()[0]),
    "mechanical_trail": lambda pose, ask: _one(pose.there.scrub_and_trail()[1]),
    "wheel_centre_x": lambda pose, ask: _one(pose.there.row(k.CENTRE)),
    "track_width": lambda pose, ask: _track(pose, pose.travel),
    "roll_centre_height": lambda pose, ask: _roll_centre(pose, pose.travel),
    "roll_centre_migration": lambda pose, ask: abs(
        _roll_centre(pose, pose.travel) - _roll_centre(pose, 0.0)
    ),
    "track_change": lambda pose, ask: abs(_track(pose, pose.travel) - _track(pose, 0.0)),
    "bump_steer": _change(lambda states: states.toe),
    "caster_change": _change(lambda states: states.caster),
    "bump_steer_slope": _slope(lambda states: states.toe),
    "camber_gain": _slope(lambda states: states.camber),
    "lock_inner": lambda pose, ask: abs(pose.steer(pose.side)),
    "lock_outer": lambda pose, ask: abs(pose.steer(pose.side)),
    "turning_circle": _turning_circle,
    "ackermann": _ackermann,
    "toe_out_on_turns": lambda pose, ask: pose.angles()[0] - pose.angles()[1],
    "camber_on_turns": lambda pose, ask: _one(pose.there.camber),
    "camber_at_lock": lambda pose, ask: _one(pose.there.camber),
    "camber_change_at_lock": lambda pose, ask: _one(pose.there.camber) - _one(pose.ride.camber),
    "trail_at_lock": lambda pose, ask: _one(pose.there.scrub_and_trail()[1]),
    "lift_at_lock": _lift,
    "steering_ratio": _ratio,
    "toggle_margin": lambda pose, ask: float(np.nan_to_num(pose.there.toggle)[0, 0]),
    "strut_stroke_left": _stroke,
    "link_angle": lambda pose, ask: abs(
        _one(bar_states(pose.scene, pose.side, [pose.at]).link_angle)
    ),
}
# Figures of the whole car straight ahead at ride height: there is but that state, and their own function is
# all there is to ask.
AT_RIDE_HEIGHT = frozenset(
    {
        "width_over_tyres",
        "wheel_in_arch",
        "thread_engagement",
        "bar_preload",
        "bar_motion_ratio",
        "bar_rate",
        "roll_couple",
        "roll_gradient",
        "front_roll_stiffness",
        "front_load_transfer",
        "front_transfer_geometric",
        "front_transfer_elastic",
        "front_transfer_unsprung",
    }
)


def told_again(scene: Scene, name: str, state: Record, ask: Ask) -> float | None:
    """The figure of a measure in one told state alone; None where it is of no state to solve."""
    measure = MEASURES[name]
    pose = Pose(scene, state)
    if measure.state is not None and name not in TWINS:
        return _one(measure.state(pose.scene, pose.side, [pose.at]))
    if name in TWINS:
        return TWINS[name](pose, ask)
    assert name in AT_RIDE_HEIGHT, name
    assert state["travel"] == 0.0 and state["rack"] == 0.0
    return None

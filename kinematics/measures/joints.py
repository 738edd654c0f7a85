"""Measures of joint tilt: the largest over the whole envelope of travel and rack position.

They carry no bound: the sweep judges them last, on what little is left by then, where looking at a few
states first would cost more than it spares.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.joints import (
    ball_joint_tilt,
    inner_tilt,
    outer_tilt,
    top_mount_tilt,
    upper_ball_joint_tilt,
)
from kinematics.measures.catalogue import Measure, Stage, StateFigure
from kinematics.measures.envelope import most_over_envelope, where_most
from kinematics.scene import At, Scene, Side

# Tilt at places, whose solved states are (STATE_ROWS, s, n); None: nothing told of it.
Tilt = Callable[[Scene, Side, Sequence[At], Floats], Floats | None]


def _rods(scene: Scene, side: Side, places: Sequence[At], raw: Floats) -> Floats:
    """Tie rod from inner to outer joint in the corner's own axes, (3, s, n) mm."""
    inner = scene.columns(side)[k.RACK_END : k.RACK_END + 3]
    outer = raw[k.ROD_OUTER : k.ROD_OUTER + 3]
    rods = np.empty_like(outer)
    rods[0] = outer[0] - inner[0]
    rods[1] = outer[1] - (inner[1] + scene.corner_rack(side, places))
    rods[2] = outer[2] - inner[2]
    return rods


def _outer(scene: Scene, side: Side, places: Sequence[At], raw: Floats) -> Floats | None:
    joint = scene.fittings.joints.tie_rod_outer
    return None if joint is None else outer_tilt(raw, _rods(scene, side, places, raw), joint)


def _inner(scene: Scene, side: Side, places: Sequence[At], raw: Floats) -> Floats | None:
    if not scene.fittings.joints.tie_rod_inner:
        return None
    return inner_tilt(_rods(scene, side, places, raw))


def _ball(scene: Scene, side: Side, places: Sequence[At], raw: Floats) -> Floats | None:
    joint = scene.fittings.joints.ball_joint
    return None if joint is None else ball_joint_tilt(raw, scene.columns(side), joint)


def _upper_ball(scene: Scene, side: Side, places: Sequence[At], raw: Floats) -> Floats | None:
    joint = scene.fittings.joints.upper_ball_joint
    return None if joint is None else upper_ball_joint_tilt(raw, scene.columns(side), joint)


def _top(scene: Scene, side: Side, places: Sequence[At], raw: Floats) -> Floats | None:
    joint = scene.fittings.joints.top_mount
    if joint is None:
        return None
    return top_mount_tilt(raw, scene.columns(side), joint.in_body[side])


def _of_states(tilt: Tilt) -> StateFigure:
    """Tilt of single states; not-a-number where the joint is not told of or the state is not reached."""

    def state(scene: Scene, side: Side, places: Sequence[At]) -> Floats:
        states = scene.states(side, places)
        angles = tilt(scene, side, places, states.raw)
        if angles is None:
            return np.full((len(places), scene.lanes), np.nan)
        return np.where(states.reached, angles, np.nan)

    return state


def _entry(name: str, definition: str, tilt: Tilt, kind: float | None = None) -> Measure:
    state = _of_states(tilt)
    return Measure(
        name=name,
        unit="deg",
        group="mechanics",
        definition=definition + " Largest over the whole envelope of travel and rack position.",
        source="geometry of the joint; its limit is its maker's",
        stage=Stage.ENVELOPE,
        figure=most_over_envelope(state),
        state=state,
        scale=1.0,
        where=where_most(state),
        takes=frozenset({"wheel"}),
        needs_car=frozenset({"joints"}),
        kind=kind,
    )


MEASURES = (
    _entry(
        "tie_rod_outer_tilt",
        "Outer tie-rod joint: how far the rod is from square to the stud.",
        _outer,
    ),
    _entry(
        "tie_rod_inner_tilt",
        "Inner tie-rod joint: how far the rod is from the rack's line.",
        _inner,
    ),
    _entry(
        "ball_joint_tilt",
        "Lower ball joint: how far the stud in the knuckle is from the middle of the socket in the arm, "
        "where it stood as measured.",
        _ball,
    ),
    _entry(
        "top_mount_tilt",
        "Strut top bearing: how far the strut's sliding axis is from the bearing's middle, where the axis "
        "stood as measured unless the files give the middle's direction.",
        _top,
        kind=k.STRUT,
    ),
    _entry(
        "upper_ball_joint_tilt",
        "Upper ball joint of a double wishbone: how far the stud in the knuckle is from the middle of the "
        "socket in the upper arm, where it stood as measured.",
        _upper_ball,
        kind=k.WISHBONE,
    ),
)

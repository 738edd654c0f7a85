"""Measures of wheel travel with the rack centred: bump steer, camber gain, roll centre."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.measures.catalogue import (
    Ask,
    Measure,
    Stage,
    WhereFigure,
    sides_asked,
    straight,
    window,
)
from kinematics.measures.static import track
from kinematics.measures.where import (
    Wheres,
    furthest,
    furthest_of_wheels,
    ride_height,
    window_ends,
)
from kinematics.scene import STRAIGHT, At, Scene, Side
from kinematics.states import CornerStates

PRACTICE = "common practice, no source"

_OVER = frozenset({"over"})
_OVER_WHEEL = frozenset({"over", "wheel"})


Change = Callable[[Scene, Side, Ask], tuple[Floats, tuple[float, ...]]]


def _change(read: Callable[[CornerStates], Floats]) -> Change:
    """A wheel's change from ride height at every travel of the window, (s, n), and those travels."""

    def change(scene: Scene, side: Side, ask: Ask) -> tuple[Floats, tuple[float, ...]]:
        assert ask.over is not None
        travels = window(ask.over, ask.sample)
        there = read(scene.states(side, straight(travels)))
        return there - read(scene.states(side, [STRAIGHT])), travels

    return change


def _largest(change: Change) -> Callable[[Scene, Ask], Floats]:
    """Largest change from ride height over the window, without sign."""

    def figure(scene: Scene, ask: Ask) -> Floats:
        sides = sides_asked(scene, ask)
        return np.stack([np.abs(change(scene, side, ask)[0]).max(axis=0) for side in sides])

    return figure


def _change_curve(
    read: Callable[[CornerStates], Floats],
) -> Callable[[Scene, Side, Floats], Floats]:
    def curve(scene: Scene, side: Side, travel: Floats) -> Floats:
        there = scene.states(side, [At(float(t)) for t in travel])
        return read(there) - read(scene.states(side, [STRAIGHT]))

    return curve


def _slope(read: Callable[[CornerStates], Floats]) -> Callable[[Scene, Ask], Floats]:
    """Change from the window's low end to its high end, per mm of travel."""

    def figure(scene: Scene, ask: Ask) -> Floats:
        assert ask.over is not None
        low, high = ask.over
        cases = []
        for side in sides_asked(scene, ask):
            there = read(scene.states(side, [At(low), At(high)]))
            cases.append((there[1] - there[0]) / (high - low))
        return np.stack(cases)

    return figure


def roll_centre(scene: Scene, travel: Sequence[float]) -> Floats:
    """Roll-centre height above the ground at each travel of both wheels, (s, n) mm.

    The normal to each contact point's path in front view, in body axes, is z = z_c - m (y - y_c) with
    m = dy/dz of the path; the roll centre is where the normals of both sides meet. On a symmetric car
    they meet on the centre plane, y_c * m above the ground.
    """
    places = straight(tuple(travel))
    left = scene.states("left", places)
    y_left, slope_left = left.row(k.CONTACT + 1), left.contact_slope
    if scene.mirrored:
        return np.asarray(y_left * slope_left)
    right = scene.states("right", places)
    y_right, slope_right = right.row(k.CONTACT + 1), right.contact_slope
    z_left, z_right = left.row(k.CONTACT + 2), right.row(k.CONTACT + 2)
    both = slope_left + slope_right
    parallel = np.abs(both) < 1e-9
    gap = z_left - z_right + slope_left * y_left - slope_right * y_right
    y_meet = np.where(parallel, 0.0, gap / np.where(parallel, 1.0, both))
    z_meet = z_left - slope_left * (y_meet - y_left)
    return np.asarray(z_meet - 0.5 * (z_left + z_right))


def _roll_centre_height(scene: Scene, ask: Ask) -> Floats:
    return roll_centre(scene, [0.0])


def _largest_of_car(
    read: Callable[[Scene, Sequence[float]], Floats],
) -> Callable[[Scene, Ask], Floats]:
    """Largest change of a figure of both wheels from ride height over the window, without sign."""

    def figure(scene: Scene, ask: Ask) -> Floats:
        change = _change_of_car(read, scene, ask)[0]
        return np.asarray(np.abs(change).max(axis=0, keepdims=True))

    return figure


def _where_of_car(read: Callable[[Scene, Sequence[float]], Floats]) -> WhereFigure:
    """In which state of the window that is."""

    def where(scene: Scene, ask: Ask) -> Wheres:
        return [furthest(*_change_of_car(read, scene, ask))]

    return where


def _change_of_car(
    read: Callable[[Scene, Sequence[float]], Floats], scene: Scene, ask: Ask
) -> tuple[Floats, tuple[float, ...]]:
    assert ask.over is not None
    travels = window(ask.over, ask.sample)
    return read(scene, travels) - read(scene, [0.0]), travels


def _toe(states: CornerStates) -> Floats:
    return states.toe


def _camber(states: CornerStates) -> Floats:
    return states.camber


def _caster(states: CornerStates) -> Floats:
    return states.caster


_TOE, _CASTER = _change(_toe), _change(_caster)


def _listed(travel: Floats) -> list[float]:
    return [float(t) for t in travel]


MEASURES = (
    Measure(
        name="roll_centre_height",
        unit="mm",
        group="travel",
        definition="Where the normal to the contact point's front-view path in body axes meets the "
        "centre plane, above the ground, at ride height.",
        source="SAE J670 roll centre by kinematics; path normal, see roll_centre()",
        stage=Stage.TRAVEL,
        figure=_roll_centre_height,
        scale=5.0,
        where=ride_height,
        along="travel",
        curve=lambda scene, side, travel: roll_centre(scene, _listed(travel)),
    ),
    Measure(
        name="roll_centre_migration",
        unit="mm",
        group="travel",
        definition="Largest change of roll-centre height above the ground from ride height over the "
        "window of heave.",
        source=PRACTICE,
        stage=Stage.TRAVEL,
        figure=_largest_of_car(roll_centre),
        scale=5.0,
        where=_where_of_car(roll_centre),
        takes=_OVER,
        bound="grows",
        default_over=(-25.0, 25.0),
        along="travel",
        curve=lambda scene, side, travel: (
            roll_centre(scene, _listed(travel)) - roll_centre(scene, [0.0])
        ),
    ),
    Measure(
        name="bump_steer",
        unit="deg",
        group="travel",
        definition="Largest toe change of one wheel from ride height over the window, no sign.",
        source=PRACTICE,
        stage=Stage.TRAVEL,
        figure=_largest(_TOE),
        scale=0.03,
        where=furthest_of_wheels(_TOE),
        takes=_OVER_WHEEL,
        bound="grows",
        default_over=(-40.0, 40.0),
        along="travel",
        curve=_change_curve(_toe),
    ),
    Measure(
        name="bump_steer_slope",
        unit="deg/mm",
        group="travel",
        definition="Toe change of one wheel per mm of travel between the window's ends; "
        "toe-in in bump positive.",
        source=PRACTICE,
        stage=Stage.TRAVEL,
        figure=_slope(_toe),
        scale=0.001,
        where=window_ends,
        takes=_OVER_WHEEL,
        default_over=(-10.0, 10.0),
    ),
    Measure(
        name="camber_gain",
        unit="deg/mm",
        group="travel",
        definition="Camber change of one wheel per mm of travel between the window's ends; negative "
        "where the top leans in under bump.",
        source=PRACTICE,
        stage=Stage.TRAVEL,
        figure=_slope(_camber),
        scale=0.005,
        where=window_ends,
        takes=_OVER_WHEEL,
        default_over=(-25.0, 25.0),
        along="travel",
        curve=_change_curve(_camber),
    ),
    Measure(
        name="caster_change",
        unit="deg",
        group="travel",
        definition="Largest caster change of one wheel from ride height over the window, no sign.",
        source=PRACTICE,
        stage=Stage.TRAVEL,
        figure=_largest(_CASTER),
        scale=0.25,
        where=furthest_of_wheels(_CASTER),
        takes=_OVER_WHEEL,
        bound="grows",
        default_over=(-40.0, 40.0),
        along="travel",
        curve=_change_curve(_caster),
    ),
    Measure(
        name="track_change",
        unit="mm",
        group="travel",
        definition="Largest change of track width from ride height over the window, both wheels "
        "moving together, no sign.",
        source=PRACTICE,
        stage=Stage.TRAVEL,
        figure=_largest_of_car(track),
        scale=2.0,
        where=_where_of_car(track),
        takes=_OVER,
        bound="grows",
        default_over=(-40.0, 40.0),
        along="travel",
        curve=lambda scene, side, travel: track(scene, _listed(travel)) - track(scene, [0.0]),
    ),
)

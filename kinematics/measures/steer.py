"""Measures of steering at ride height, and of the linkage over the whole envelope."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Bools, Floats
from kinematics.measures.catalogue import Ask, Measure, Stage
from kinematics.measures.envelope import least_over_envelope, where_least
from kinematics.measures.where import Wheres, ride_height
from kinematics.scene import STRAIGHT, At, Scene, Side
from kinematics.states import CornerStates
from kinematics.where import Where

PRACTICE = "common practice, no source"

# Shares of the rack's travel (or of the stop) at which a steer curve is first sampled.
TURNS = tuple(n / 8.0 for n in range(9))
SECANT_STEPS = 5
HALVINGS = 16  # of an eighth of the rack's travel: to a tenth of a micrometre or so


class Turn(NamedTuple):
    """A direction of turn with the side that is then on the inside."""

    sign: float
    inner: Side
    outer: Side


LEFT_TURN = Turn(1.0, "left", "right")
RIGHT_TURN = Turn(-1.0, "right", "left")


def turns(scene: Scene) -> tuple[Turn, ...]:
    """Directions of turn that have to be looked at."""
    return (LEFT_TURN,) if scene.mirrored else (LEFT_TURN, RIGHT_TURN)


def _states_locked(scene: Scene, side: Side, turn: Turn, shares: tuple[float, ...]) -> CornerStates:
    return scene.states(side, _locked(turn.sign, shares))


@lru_cache(maxsize=16)
def _locked(sign: float, shares: tuple[float, ...]) -> tuple[At, ...]:
    return tuple(At(lock=sign * share) for share in shares)


def _steered(scene: Scene, side: Side, turn: Turn, states: CornerStates) -> Floats:
    """Steer angle positive into the turn, deg."""
    return turn.sign * scene.steer(side, states)


def axes_distance(scene: Scene) -> Floats:
    """Distance across the car between the ground points of both steering axes, straight ahead, (n,)."""
    left = scene.states("left", [STRAIGHT]).axis_ground_point()[1][0]
    if scene.mirrored:
        return np.asarray(2.0 * left)
    return np.asarray(left + scene.states("right", [STRAIGHT]).axis_ground_point()[1][0])


def outer_angle(scene: Scene, turn: Turn, inner: float) -> Floats:
    """Outer wheel's steer angle where the inner wheel stands at ``inner`` deg, (n,) deg.

    Not-a-number where the inner wheel does not come so far before the stop.
    """
    rack, outer = scene.keep(("outer", turn.sign, inner), lambda: _outer_angle(scene, turn, inner))
    return np.where(rack <= scene.stop + 1e-9, outer, np.nan)


def rack_for(scene: Scene, turn: Turn, inner: float) -> Floats:
    """Rack displacement from the centre at which the inner wheel stands at ``inner`` deg, (n,) mm.

    Not-a-number where it does not come so far within the rack's own travel, whatever the stop.
    """
    kept = scene.keep(("outer", turn.sign, inner), lambda: _outer_angle(scene, turn, inner))
    return np.asarray(kept[0])


def _outer_angle(scene: Scene, turn: Turn, inner: float) -> Floats:
    """Rack displacement and outer angle where the inner wheel stands at ``inner`` deg, (2, n).

    The rack position is found by the secant method inside the eighth of rack travel that brackets it, or the
    part of the eighth before the linkage comes to its end.
    """
    places = tuple(At(turn=turn.sign * share) for share in TURNS)
    angles = _steered(scene, turn.inner, turn, scene.states(turn.inner, places))
    # a state beyond the first that is out of reach, or where steer falls again, is no more lock
    rising = np.concatenate([np.ones((1, scene.lanes), bool), np.diff(angles, axis=0) > 0.0])
    usable = np.logical_and.accumulate(rising & np.isfinite(angles), axis=0)
    above = usable & (angles >= inner)
    met = above.any(axis=0)
    high = np.where(met, above.argmax(axis=0), 1)
    high = np.maximum(high, 1)
    lanes = np.arange(scene.lanes)
    shares = np.asarray(TURNS)
    low_end = shares[high - 1], np.where(met, angles[high - 1, lanes] - inner, -1.0)
    high_end = shares[high], np.where(met, angles[high, lanes] - inner, 1.0)
    last = usable.sum(axis=0) - 1
    unsure = ~met & (last >= 0) & (last < len(TURNS) - 1)
    if unsure.any():
        start = np.where(unsure, last, 0)
        bracket = _before_the_end(
            scene, turn, inner, (shares[start], angles[start, lanes]), shares[start + 1]
        )
        there = unsure & bracket.met
        low_end = (
            np.where(there, bracket.low, low_end[0]),
            np.where(there, bracket.miss_low, low_end[1]),
        )
        high_end = (
            np.where(there, bracket.high, high_end[0]),
            np.where(there, bracket.miss_high, high_end[1]),
        )
        met = met | there
    share = _secant(scene, turn, inner, low_end, high_end)
    outer = _steered(scene, turn.outer, turn, _outer_states(scene, turn, share))[0]
    return np.stack(
        [np.where(met, share * scene.rack_travel, np.nan), np.where(met, outer, np.nan)]
    )


class _Bracket(NamedTuple):
    """Shares of rack travel on both sides of an angle with how far the inner wheel is off it, (n,) each."""

    met: Bools
    low: Floats
    miss_low: Floats
    high: Floats
    miss_high: Floats


def _before_the_end(
    scene: Scene, turn: Turn, inner: float, start: tuple[Floats, Floats], end: Floats
) -> _Bracket:
    """A bracket of the angle between a share with less of it (and its angle) and one past the linkage's end.

    By halves: just before over-centre steer grows so fast that much of it lies in little rack.
    """
    low, miss_low = start[0], start[1] - inner
    high, miss_high = end, np.full(scene.lanes, np.nan)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        states = scene.solve_rack(turn.inner, _rack(scene, turn, middle))
        miss = _steered(scene, turn.inner, turn, states)[0] - inner
        # out of reach compares as false: the end lies before it
        more = (miss > miss_low) & (miss < 0.0)
        low, miss_low = np.where(more, middle, low), np.where(more, miss, miss_low)
        high = np.where(more, high, middle)
        miss_high = np.where(more, miss_high, np.where(miss >= 0.0, miss, np.nan))
    return _Bracket(np.isfinite(miss_high), low, miss_low, high, miss_high)


def _rack(scene: Scene, turn: Turn, share: Floats) -> Floats:
    """Rack displacement along car +y of each lane at its share of rack travel, (1, n)."""
    return np.asarray(scene.turn_sign * turn.sign * share * scene.rack_travel)[None, :]


def _outer_states(scene: Scene, turn: Turn, share: Floats) -> CornerStates:
    """The outer wheel's state at each lane's share of rack travel."""
    return scene.solve_rack(turn.outer, _rack(scene, turn, share))


def _secant(
    scene: Scene, turn: Turn, inner: float, low: tuple[Floats, Floats], high: tuple[Floats, Floats]
) -> Floats:
    """Share of rack travel at which the inner wheel stands at ``inner`` deg, lane by lane."""
    (a, miss_a), (b, miss_b) = low, high
    floor, ceiling = a, b
    for _ in range(SECANT_STEPS):
        spread = miss_b - miss_a
        flat = np.abs(spread) < 1e-13
        step = np.where(flat, 0.0, miss_b * (b - a) / np.where(flat, 1.0, spread))
        fresh = np.clip(b - step, floor, ceiling)
        states = scene.solve_rack(turn.inner, _rack(scene, turn, fresh))
        angle = _steered(scene, turn.inner, turn, states)[0]
        a, miss_a, b = b, miss_b, fresh
        miss_b = np.nan_to_num(angle - inner, nan=0.0)
    return b


def ideal_outer(inner: Floats | float, distance: Floats, wheelbase: float) -> Floats:
    """Outer angle of true Ackermann steering, deg: cot o = cot i + distance / wheelbase.

    ``distance`` between the steering axes' ground points and ``wheelbase`` in the same unit.
    """
    i = np.radians(inner)
    return np.asarray(
        np.degrees(np.arctan2(np.sin(i), np.cos(i) + np.sin(i) * distance / wheelbase))
    )


def ackermann_percent(
    inner: Floats | float, outer: Floats, distance: Floats, wheelbase: float
) -> Floats:
    """100 (i - o) / (i - o'), o' the outer angle of true Ackermann steering; angles in deg.

    Not-a-number straight ahead, where there is nothing to compare.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        percent = 100.0 * (inner - outer) / (inner - ideal_outer(inner, distance, wheelbase))
    return np.where(np.isfinite(percent), percent, np.nan)


def _ackermann(scene: Scene, ask: Ask) -> Floats:
    assert ask.at is not None
    distance = axes_distance(scene)
    outer = [outer_angle(scene, turn, ask.at) for turn in turns(scene)]
    return np.stack([ackermann_percent(ask.at, o, distance, scene.car.wheelbase) for o in outer])


def _toe_out_on_turns(scene: Scene, ask: Ask) -> Floats:
    assert ask.at is not None
    return np.stack([ask.at - outer_angle(scene, turn, ask.at) for turn in turns(scene)])


def _lock_of(scene: Scene, turn: Turn, side: Side) -> Floats:
    """Steer of one wheel at the stop, (n,); not-a-number where some rack position before is unreached."""
    states = _states_locked(scene, side, turn, TURNS)
    angles = _steered(scene, side, turn, states)
    unbroken = states.reached.all(axis=0) & (np.diff(angles, axis=0) > 0.0).all(axis=0)
    return np.where(unbroken, angles[-1], np.nan)


def _lock_inner(scene: Scene, ask: Ask) -> Floats:
    return np.stack([_lock_of(scene, turn, turn.inner) for turn in turns(scene)])


def _lock_outer(scene: Scene, ask: Ask) -> Floats:
    return np.stack([_lock_of(scene, turn, turn.outer) for turn in turns(scene)])


def _turning_circle(scene: Scene, ask: Ask) -> Floats:
    """Diameter of the outer front contact point's circle: 2 (L / sin o + (track - axes) / 2), m."""
    overhang = 0.5 * (_track(scene) - axes_distance(scene))
    outer = _lock_outer(scene, ask)
    return np.asarray(2e-3 * (scene.car.wheelbase / np.sin(np.radians(outer)) + overhang))


def _track(scene: Scene) -> Floats:
    left = scene.states("left", [STRAIGHT]).row(k.CONTACT + 1)[0]
    right = left if scene.mirrored else scene.states("right", [STRAIGHT]).row(k.CONTACT + 1)[0]
    return np.asarray(left + right)


def _steering_ratio(scene: Scene, ask: Ask) -> Floats:
    """Handwheel degrees per degree of road wheel, mean of both wheels over 1 mm of rack at centre."""
    places = [At(rack=-0.5), At(rack=0.5)]
    rates = []
    for side in ("left", "right"):
        angles = scene.steer(side, scene.states(side, places))
        rates.append(np.abs(angles[1] - angles[0]))
    return np.asarray((360.0 / scene.rack_per_turn) / (0.5 * (rates[0] + rates[1])))[None, :]


def _wheels_at_lock(scene: Scene, ask: Ask) -> list[tuple[Turn, Side]]:
    """Turn and side that an ask about a wheel at lock means; loaded unless it names another."""
    word = ask.wheel or "loaded"
    inside = word == "inner" or (word != "outer" and scene.frame.counter_steers)
    pairs = [(turn, turn.inner if inside else turn.outer) for turn in turns(scene)]
    if word in ("left", "right") and not scene.mirrored:
        return [(turn, side) for turn, side in pairs if side == word]
    return pairs


def _camber_at_lock(scene: Scene, ask: Ask) -> Floats:
    return np.stack(
        [
            _states_locked(scene, side, turn, (1.0,)).camber[0]
            for turn, side in _wheels_at_lock(scene, ask)
        ]
    )


def _camber_change_at_lock(scene: Scene, ask: Ask) -> Floats:
    cases = []
    for turn, side in _wheels_at_lock(scene, ask):
        there = _states_locked(scene, side, turn, (1.0,)).camber[0]
        cases.append(there - scene.states(side, [STRAIGHT]).camber[0])
    return np.stack(cases)


def _trail_at_lock(scene: Scene, ask: Ask) -> Floats:
    return np.stack(
        [
            _states_locked(scene, side, turn, (1.0,)).scrub_and_trail()[1][0]
            for turn, side in _wheels_at_lock(scene, ask)
        ]
    )


def _camber_on_turns(scene: Scene, ask: Ask) -> Floats:
    """Camber of a wheel where the inner one stands at an angle, before the stop."""
    assert ask.at is not None
    cases = []
    for turn, side in _wheels_at_lock(scene, ask):
        rack = rack_for(scene, turn, ask.at)
        reached = rack <= scene.stop + 1e-9
        along = scene.turn_sign * turn.sign * np.where(reached, rack, 0.0)
        camber = scene.solve_rack(side, along[None, :]).camber[0]
        cases.append(np.where(reached, camber, np.nan))
    return np.stack(cases)


def _lift_at_lock(scene: Scene, ask: Ask) -> Floats:
    cases = []
    for turn, side in _wheels_at_lock(scene, ask):
        ride = scene.states(side, [STRAIGHT]).row(k.CONTACT + 2)[0]
        there = scene.held_arm(side, At(lock=turn.sign)).row(k.CONTACT + 2)[0]
        cases.append(ride - there)
    return np.stack(cases)


def _toggle(scene: Scene, side: Side, places: Sequence[At]) -> Floats:
    """Toggle angle of each state, 0 where a state cannot be reached."""
    return np.asarray(np.nan_to_num(scene.states(side, places).toggle, nan=0.0))


def _where_angled(scene: Scene, ask: Ask) -> list[Where]:
    """Both wheels where the inner one stands at an angle; of no state where it does not come so far."""
    assert ask.at is not None
    short = Where(basis=f"the inner wheel does not come to {ask.at:g} deg before the stop")
    found = []
    for turn in turns(scene):
        rack = float(rack_for(scene, turn, ask.at)[0])
        reached = rack <= scene.stop[0] + 1e-9
        found.append(Where(rack=turn.sign * rack) if reached else short)
    return found


def _where_wheel_angled(scene: Scene, ask: Ask) -> Wheres:
    """The wheel asked about at the same places."""
    places = dict(zip(turns(scene), _where_angled(scene, ask), strict=True))
    return [replace(places[turn], side=side) for turn, side in _wheels_at_lock(scene, ask)]


def _where_locked(scene: Scene, ask: Ask) -> Wheres:
    """The wheel asked about at the stop."""
    return [_stopped(scene, turn, side) for turn, side in _wheels_at_lock(scene, ask)]


def _where_stop(scene: Scene, ask: Ask) -> Wheres:
    """The rack itself, at the stop."""
    return [Where(rack=float(scene.stop[0]))]


def _where_inner(scene: Scene, ask: Ask) -> Wheres:
    return [_stopped(scene, turn, turn.inner) for turn in turns(scene)]


def _where_outer(scene: Scene, ask: Ask) -> Wheres:
    return [_stopped(scene, turn, turn.outer) for turn in turns(scene)]


def _stopped(scene: Scene, turn: Turn, side: Side) -> Where:
    return Where(side, rack=turn.sign * float(scene.stop[0]) + 0.0)


def _stop_travel(scene: Scene, ask: Ask) -> Floats:
    return scene.stop[None, :]


def _rack_curve(
    read: Callable[[Scene, Side, CornerStates], Floats],
) -> Callable[[Scene, Side, Floats], Floats]:
    """Curve of one wheel over rack displacement along +y at ride height."""

    def curve(scene: Scene, side: Side, rack: Floats) -> Floats:
        return read(scene, side, scene.states(side, [At(rack=float(u)) for u in rack]))

    return curve


def steer_pair(scene: Scene, rack: Floats) -> tuple[Floats, Floats]:
    """Steer of left and right wheel over rack displacement, (s, n) deg, left turn positive."""
    places = [At(rack=float(u)) for u in rack]
    left = scene.steer("left", scene.states("left", places))
    return left, scene.steer("right", scene.states("right", places))


def _inner_outer(scene: Scene, rack: Floats) -> tuple[Floats, Floats]:
    left, right = steer_pair(scene, rack)
    to_left = left + right >= 0.0
    return np.where(to_left, left, -right), np.where(to_left, right, -left)


def _toe_out_curve(scene: Scene, side: Side, rack: Floats) -> Floats:
    inner, outer = _inner_outer(scene, rack)
    return inner - outer


def _ackermann_curve(scene: Scene, side: Side, rack: Floats) -> Floats:
    """Percent Ackermann at the inner angle of each rack position; none straight ahead."""
    inner, outer = _inner_outer(scene, rack)
    turned = np.where(np.abs(inner) < 0.05, np.nan, inner)
    return ackermann_percent(turned, outer, axes_distance(scene), scene.car.wheelbase)


def _steer_curve(scene: Scene, side: Side, rack: Floats) -> Floats:
    return steer_pair(scene, rack)[0 if side == "left" else 1]


_AT_POINTS = frozenset({"at", "points"})
_WHEEL = frozenset({"wheel"})
_ACKERMANN = "cot o = cot i + c / L (ISO 8855:2011 7.1.9 idea; see ideal_outer)"
_TRANSMISSION = "transmission angle of linkages (Balli & Chand, Mech. Mach. Theory 37, 2002)"

MEASURES = (
    Measure(
        name="ackermann",
        unit="%",
        group="steer",
        definition="100 (i - o) / (i - o') at inner angle i: o the outer wheel's angle, o' that of true "
        "Ackermann by the axes' ground points and the wheelbase.",
        source=_ACKERMANN,
        stage=Stage.STEER,
        figure=_ackermann,
        cases="turn",
        stop_only_masks=True,
        scale=5.0,
        where=_where_angled,
        takes=_AT_POINTS,
        default_at=20.0,
        along="steer",
        curve=_ackermann_curve,
    ),
    Measure(
        name="toe_out_on_turns",
        unit="deg",
        group="steer",
        definition="Inner less outer steer angle where the inner wheel stands at the given angle.",
        source=PRACTICE,
        stage=Stage.STEER,
        figure=_toe_out_on_turns,
        cases="turn",
        stop_only_masks=True,
        scale=0.5,
        where=_where_angled,
        takes=_AT_POINTS,
        default_at=20.0,
        along="steer",
        curve=_toe_out_curve,
    ),
    Measure(
        name="stop_travel",
        unit="mm",
        group="steer",
        definition="Rack travel from the centre to the steering stop, set so that every limit of toggle, "
        "clearance and joint tilt holds over full bump and droop and beyond it by the allowance; the "
        "rack's own end where nothing asks for less.",
        source=PRACTICE,
        stage=Stage.STEER,
        figure=_stop_travel,
        scale=2.0,
        where=_where_stop,
    ),
    Measure(
        name="lock_inner",
        unit="deg",
        group="steer",
        definition="Steer angle of the inner wheel with the rack at the solved stop.",
        source=PRACTICE,
        stage=Stage.STEER,
        figure=_lock_inner,
        cases="turn",
        scale=1.0,
        where=_where_inner,
        along="steer",
        curve=_steer_curve,
    ),
    Measure(
        name="lock_outer",
        unit="deg",
        group="steer",
        definition="Steer angle of the outer wheel with the rack at the solved stop.",
        source=PRACTICE,
        stage=Stage.STEER,
        figure=_lock_outer,
        cases="turn",
        scale=1.0,
        where=_where_outer,
        along="steer",
        curve=_steer_curve,
    ),
    Measure(
        name="turning_circle",
        unit="m",
        group="steer",
        definition="Diameter of the outer front contact point's circle at lock, no slip.",
        source="R = L / sin o + (track - axes) / 2, handbook turning circle",
        stage=Stage.STEER,
        figure=_turning_circle,
        cases="turn",
        scale=0.2,
        where=_where_outer,
    ),
    Measure(
        name="steering_ratio",
        unit="",
        group="steer",
        definition="Handwheel degrees per degree of road wheel straight ahead, mean of both wheels.",
        source=PRACTICE,
        stage=Stage.STEER,
        figure=_steering_ratio,
        scale=0.5,
        where=ride_height,
    ),
    Measure(
        name="camber_at_lock",
        unit="deg",
        group="steer",
        definition="Camber at the stop of the wheel named, or of the wheel that the duty loads: the "
        "outer one, or the inner one where the duty counter-steers.",
        source="exact turn about the steering axis (see tests/reference)",
        stage=Stage.STEER,
        figure=_camber_at_lock,
        cases="turn",
        scale=0.5,
        where=_where_locked,
        takes=_WHEEL,
        along="steer",
        curve=_rack_curve(lambda scene, side, states: states.camber),
    ),
    Measure(
        name="camber_change_at_lock",
        unit="deg",
        group="steer",
        definition="Camber at the stop less camber straight ahead, of the wheel named or loaded: what "
        "caster and kingpin inclination make of it.",
        source="exact turn about the steering axis (see tests/reference)",
        stage=Stage.STEER,
        figure=_camber_change_at_lock,
        cases="turn",
        scale=0.5,
        where=_where_locked,
        takes=_WHEEL,
    ),
    Measure(
        name="camber_on_turns",
        unit="deg",
        group="steer",
        definition="Camber of the wheel named, or of the wheel that the duty loads, where the inner wheel "
        "stands at the given angle.",
        source="exact turn about the steering axis (see tests/reference)",
        stage=Stage.STEER,
        figure=_camber_on_turns,
        stop_only_masks=True,
        cases="turn",
        scale=0.5,
        where=_where_wheel_angled,
        takes=_AT_POINTS | _WHEEL,
        default_at=20.0,
    ),
    Measure(
        name="trail_at_lock",
        unit="mm",
        group="steer",
        definition="Mechanical trail at the stop of the wheel named or loaded, on the ground along that "
        "wheel's heading; what is left of it brings the wheels back.",
        source=PRACTICE,
        stage=Stage.STEER,
        figure=_trail_at_lock,
        cases="turn",
        scale=3.0,
        where=_where_locked,
        takes=_WHEEL,
    ),
    Measure(
        name="lift_at_lock",
        unit="mm",
        group="steer",
        definition="How far the body rises over the wheel named (or loaded) from straight ahead to the "
        "stop with the spring's length held; a drop is negative.",
        source=PRACTICE,
        stage=Stage.STEER,
        figure=_lift_at_lock,
        cases="turn",
        scale=1.0,
        where=_where_locked,
        takes=_WHEEL,
    ),
    Measure(
        name="toggle_margin",
        unit="deg",
        group="steer",
        definition="Least angle, or supplement, between tie rod and steering arm seen along the "
        "steering axis over the whole envelope of travel and rack position and beyond the stop by "
        "the allowance; 0 where the linkage goes over centre.",
        source=_TRANSMISSION,
        stage=Stage.ENVELOPE,
        figure=least_over_envelope(_toggle),
        state=_toggle,
        scale=2.0,
        where=where_least(_toggle),
        takes=frozenset({"wheel"}),
        along="steer",
        curve=_rack_curve(lambda scene, side, states: states.toggle),
    ),
)

"""Measures of the anti-roll bar as a linkage: motion ratio, link angle, toggle, preload.

The linkage is in ``kinematics/bar_link.py``, its stiffness in ``kinematics/bars.py``; here they meet a car.
Where the car file gives no geometry of the bar its motion ratio is the one given, and the rest is
not-a-number. How near the bar and its link come to
the lower arm is told by bar_clearance.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kinematics.arrays import Floats
from kinematics.bar_link import (
    BarLinkage,
    BarStates,
    branch_of,
    carried_by_arm,
    carried_by_knuckle,
    clamped_to_strut,
    level_length,
    motion_ratio,
    solve_bar,
)
from kinematics.bars import Bar, twist_rate, wheel_rate
from kinematics.measures.catalogue import Ask, Measure, Stage, sides_asked, straight, window
from kinematics.measures.envelope import least_over_envelope, where_least
from kinematics.measures.where import Wheres, each_wheel, furthest
from kinematics.scene import At, Scene, Side
from kinematics.where import Where

PRACTICE = "common practice, no source"
LINKAGE = "plane geometry of the four-bar linkage, see kinematics/bar_link.py"

# The motion ratio's central difference, mm of wheel travel: its error is about a 10 millionth.
STEP = 0.5

_GEOMETRY = frozenset({"antiroll_bar", "antiroll_bar.pivot"})


def bar_states(scene: Scene, side: Side, places: Sequence[At]) -> BarStates:
    """The bar at wanted states of one wheel; the car's geometry of the bar must be given."""
    return scene.remember(
        ("bar", side, tuple(places)),
        lambda: solve_bar(_linkage(scene, side), _carried(scene, side, places)),
    )


def bar_ratio(scene: Scene, side: Side, travel: Sequence[float]) -> Floats:
    """Travel of the arm's end along its arc per wheel travel, straight ahead, (s, n)."""
    if scene.car.bar_mounts is None:
        given = np.nan if scene.car.bar is None else scene.car.bar.motion_ratio
        return np.full((len(travel), scene.lanes), given)
    below = bar_states(scene, side, [At(t - STEP) for t in travel])
    above = bar_states(scene, side, [At(t + STEP) for t in travel])
    return motion_ratio(_linkage(scene, side), below, above, 2.0 * STEP)


def bar_rate(scene: Scene, travel: Sequence[float]) -> Floats:
    """Force at one wheel per mm of its travel, the wheels moving oppositely from each heave, (s, n) N/mm.

    Where the sides differ it is the mean of both wheels.
    """
    return scene.remember(("bar rate", tuple(travel)), lambda: _bar_rate(scene, travel))


def _bar_rate(scene: Scene, travel: Sequence[float]) -> Floats:
    if scene.car.bar is None:
        return np.full((len(travel), scene.lanes), np.nan)
    if scene.car.bar_mounts is None:
        rate = np.asarray(wheel_rate(lane_bar(scene, "left")))
        return np.broadcast_to(rate, (len(travel), scene.lanes)).copy()
    turns = [bar_ratio(scene, side, travel) / _linkage(scene, side).lever for side in _both(scene)]
    mean = 0.5 * (turns[0] + turns[-1])
    return np.asarray(2.0 * _twist_rate(scene) * mean**2)


def lane_bar(scene: Scene, side: Side) -> Bar:
    """The bar of every lane as parts make it; a section that cannot be is not-a-number.

    Its lever is that of the geometry where that is given, and an arm is no shorter than its lever.
    """
    bar = scene.car.bar
    assert bar is not None
    if not scene.channels.has("antiroll_bar.diameter"):
        return bar

    def number(name: str) -> Floats:
        return scene.channels.get(f"antiroll_bar.{name}", side)

    arm = bar.arm if scene.car.bar_mounts is None else _linkage(scene, side).lever
    diameter, bore, length = number("diameter"), number("bore"), number("length")
    real = (bore >= 0.0) & (diameter > bore) & (length > 0.0)
    return Bar(
        diameter=np.where(real, diameter, np.nan),
        bore=bore,
        length=np.where(real, length, np.nan),
        arm=arm,
        # an arm whose own length is not told is as long as its lever
        arm_length=np.fmax(number("arm_length"), arm),
        motion_ratio=bar.motion_ratio,
        shear=bar.shear,
        youngs=bar.youngs,
    )


def preload_free_link(scene: Scene, side: Side) -> Floats:
    """Link length of one side with which the bar is free of twist as the car stands, (n,) mm.

    The other side's link stays as it is. Not-a-number where a link does not reach.
    """
    other: Side = "left" if side == "right" else "right"
    carried = _carried(scene, side, [At(_height(scene, side))])[:, 0, :]
    return level_length(_linkage(scene, side), _standing(scene, other), carried)


def _both(scene: Scene) -> tuple[Side, ...]:
    return ("left",) if scene.mirrored else ("left", "right")


def _twist_rate(scene: Scene) -> Floats:
    return np.asarray(twist_rate(lane_bar(scene, "left"), lane_bar(scene, "right")))


def _linkage(scene: Scene, side: Side) -> BarLinkage:
    rows = scene.keep(("linkage", side), lambda: _linkage_rows(scene, side))
    return BarLinkage(rows[0:3], rows[3:6], rows[6], rows[7])


def _linkage_rows(scene: Scene, side: Side) -> Floats:
    """Pivot, end, length and branch of every lane's linkage, (8, n)."""
    assert scene.car.bar_mounts is not None
    pivot, end = scene.point(side, "bar_pivot"), scene.point(side, "bar_end")
    link = scene.car.bar_mounts[side].as_measured(scene.point(side, "bar_link"))
    length = scene.channels.get("antiroll_bar.link_length", side)
    return np.vstack([pivot, end, length, branch_of(pivot, end, link)])


def _carried(scene: Scene, side: Side, places: Sequence[At]) -> Floats:
    """The link's joint at its carrier, (3, s, n) mm in body axes; not-a-number where not reached."""
    assert scene.car.bar_mounts is not None
    mount, point = scene.car.bar_mounts[side], scene.point(side, "bar_link")
    states = scene.states(side, places)
    if mount.carrier == "arm":
        at = carried_by_arm(scene.columns(side), states.raw, point)
    else:
        if mount.carrier == "strut":
            lower, upper = scene.point(side, "strut_lower"), scene.point(side, "strut_upper")
            point = clamped_to_strut(mount, point, lower, upper)
        at = carried_by_knuckle(states.raw, point, scene.point(side, "knuckle_ball_joint"))
    return np.where(states.reached, at, np.nan)


def _height(scene: Scene, side: Side) -> float:
    return scene.car.bar_heights[0 if side == "left" else 1]


def _standing(scene: Scene, side: Side) -> Floats:
    """Direction of a side's arm as the car stands, (n,) rad about y from forward."""
    turned = bar_states(scene, side, [At(_height(scene, side))]).angle[0]
    return np.asarray(_linkage(scene, side).drawn_angle + turned)


def _preload(scene: Scene, ask: Ask) -> Floats:
    if scene.car.bar_mounts is None:
        return _nothing(scene)
    twist = _standing(scene, "left") - _standing(scene, "right")
    twist = (twist + np.pi) % (2.0 * np.pi) - np.pi
    lever = np.minimum(_linkage(scene, "left").lever, _linkage(scene, "right").lever)
    return np.asarray((_twist_rate(scene) * np.abs(twist) / lever)[None, :])


def _motion_ratio(scene: Scene, ask: Ask) -> Floats:
    return np.concatenate([bar_ratio(scene, side, [0.0]) for side in sides_asked(scene, ask)])


def _link_angle(scene: Scene, ask: Ask) -> Floats:
    if scene.car.bar_mounts is None:
        return _nothing(scene)
    places = straight(_link_travels(scene, ask))
    return np.stack(
        [
            np.abs(bar_states(scene, side, places).link_angle).max(axis=0)
            for side in sides_asked(scene, ask)
        ]
    )


def _link_travels(scene: Scene, ask: Ask) -> tuple[float, ...]:
    return window(ask.over or scene.frame.travel, ask.sample)


def _largest_link_angle(scene: Scene, ask: Ask) -> Wheres:
    if scene.car.bar_mounts is None:
        return [None]
    travels = _link_travels(scene, ask)
    return [
        furthest(bar_states(scene, side, straight(travels)).link_angle, travels, side)
        for side in sides_asked(scene, ask)
    ]


def _as_it_stands(scene: Scene, ask: Ask) -> Wheres:
    """Straight ahead, the wheels where the car stands; of no one travel where they stand apart."""
    left, right = scene.car.bar_heights
    apart = f"the car as it stands, left wheel at {left:g} mm of travel, right at {right:g}"
    return [Where(travel=left + 0.0) if left == right else Where(basis=apart)]


def _link_angle_curve(scene: Scene, side: Side, travel: Floats) -> Floats:
    if scene.car.bar_mounts is None:
        return np.full((travel.size, scene.lanes), np.nan)
    return bar_states(scene, side, [At(float(t)) for t in travel]).link_angle


def _toggle(scene: Scene, side: Side, places: Sequence[At]) -> Floats:
    if scene.car.bar_mounts is None:
        return np.full((len(places), scene.lanes), np.nan)
    return bar_states(scene, side, places).toggle


def _nothing(scene: Scene) -> Floats:
    return np.full((1, scene.lanes), np.nan)


MEASURES = (
    Measure(
        name="bar_motion_ratio",
        unit="",
        group="loads",
        definition="Travel of the anti-roll bar's arm end along its arc per wheel travel at ride height, one "
        "wheel, no sign: solved where the car file gives the bar's geometry, else as given.",
        source=LINKAGE,
        stage=Stage.TRAVEL,
        figure=_motion_ratio,
        scale=0.02,
        where=each_wheel,
        takes=frozenset({"wheel"}),
        needs_car=frozenset({"antiroll_bar"}),
        along="travel",
        curve=lambda scene, side, travel: bar_ratio(scene, side, [float(t) for t in travel]),
    ),
    Measure(
        name="link_angle",
        unit="deg",
        group="loads",
        definition="How far the anti-roll bar's link is from square to the bar's arm, seen along the bar's "
        "axis: the largest over the window of travel (the duty's own where none is asked for), straight "
        "ahead, no sign. Its curve is positive where the link leans away from the bar's axis.",
        source=PRACTICE,
        stage=Stage.TRAVEL,
        figure=_link_angle,
        scale=2.0,
        where=_largest_link_angle,
        takes=frozenset({"over", "wheel"}),
        bound="grows",
        needs_car=_GEOMETRY,
        along="travel",
        curve=_link_angle_curve,
    ),
    Measure(
        name="bar_preload",
        unit="N",
        group="loads",
        definition="Force at the anti-roll bar's arm ends, square to the arm, of the twist with which the "
        "car stands straight ahead at ride height, or with its wheels at antiroll_bar.corner_heights; no "
        "sign, the larger of both ends. The bar is taken as made with both arms in one plane.",
        source="standard beam theory, see kinematics/bars.py",
        stage=Stage.TRAVEL,
        figure=_preload,
        scale=20.0,
        where=_as_it_stands,
        needs_car=_GEOMETRY,
    ),
    Measure(
        name="bar_toggle",
        unit="deg",
        group="loads",
        definition="How far the anti-roll bar's arm and link are from lying in line: the smaller of the "
        "angle between them and its supplement, seen along the bar's axis. Least over the whole envelope of "
        "travel and rack position.",
        source=LINKAGE,
        stage=Stage.ENVELOPE,
        figure=least_over_envelope(_toggle),
        state=_toggle,
        scale=3.0,
        where=where_least(_toggle),
        takes=frozenset({"wheel"}),
        needs_car=_GEOMETRY,
    ),
)

"""The anti-roll bar's linkage by plane geometry, by a root finder, and its stiffness by handbook values."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import root_scalar

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.bar_link import (
    BarLinkage,
    BarStates,
    branch_of,
    carried_by_arm,
    level_length,
    motion_ratio,
    solve_bar,
)
from kinematics.bars import Bar, relative_rate, twist_rate, wheel_rate
from kinematics.channels import Channels
from kinematics.measures import MEASURES, Ask
from kinematics.measures.bar import STEP, bar_states, preload_free_link
from kinematics.scene import At, DutyFrame, Scene
from optimiser.assembly import as_measured
from tests.bars import END, LINKS, PIVOT, bar_mapping, car_with
from tests.cars import CARS, MIDDLING, Car
from tests.reference.test_kernel_rootfinder import Mechanism, turn_by


def column(*point: float) -> Floats:
    return np.array(point, dtype=float)[:, None]


def linkage_of(pivot: Floats, end: Floats, link: Floats) -> BarLinkage:
    length = np.sqrt(((link - end) ** 2).sum(axis=0))
    return BarLinkage(pivot, end, length, branch_of(pivot, end, link))


def solved(linkage: BarLinkage, *places: tuple[float, float, float]) -> BarStates:
    return solve_bar(linkage, np.array(places, dtype=float).T[:, :, None])


# --- plane geometry


@pytest.mark.parametrize("forward", [1.0, -1.0])
@pytest.mark.parametrize("drop", [-120.0, 150.0])
def test_a_parallelogram_turns_with_its_crank(forward: float, drop: float) -> None:
    """A crank as long as the arm, joined to it by a link as long as their axes are apart.

    The bar then turns as the crank does, the link stays upright, leans from square by just that angle, and
    the motion ratio is 1 per travel of the crank's end along its arc.
    """
    pivot, end = column(0, 400, 300), column(200 * forward, 400, 300)
    linkage = linkage_of(pivot, end, column(200 * forward, 400, 300 + drop))
    turns = np.radians([-40.0, -10.0, 0.0, 25.0, 60.0])
    crank = [
        (200 * forward * np.cos(t), 400.0, 300 + drop - 200 * forward * np.sin(t)) for t in turns
    ]
    states = solved(linkage, *crank)
    assert states.angle[:, 0] == pytest.approx(turns, abs=1e-12)
    assert states.link[:, :, 0] == pytest.approx(
        np.tile([[0.0], [0.0], [np.sign(drop)]], 5), abs=1e-12
    )
    assert np.abs(states.link_angle[:, 0]) == pytest.approx(np.abs(np.degrees(turns)), abs=1e-10)
    small = np.radians(0.05)
    ends = [
        (200 * forward * np.cos(t), 400.0, 300 + drop - 200 * forward * np.sin(t))
        for t in (-small, small)
    ]
    below, above = (solved(linkage, at) for at in ends)
    ratio = motion_ratio(linkage, below, above, 2 * 200 * small)
    assert float(ratio[0, 0]) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("aside", [0.0, 75.0])
def test_a_right_angled_triangle(aside: float) -> None:
    """Arm 300, link 400 seen along the bar, joint at 500: 3-4-5, so the link is square to the arm.

    The arm stands at acos(300 / 500) to the line to the joint. A link that also runs ``aside`` mm across is
    longer by Pythagoras, and nothing else changes.
    """
    pivot, end = column(0, 500, 0), column(300, 500, 0)
    linkage = BarLinkage(pivot, end, np.array([np.hypot(400.0, aside)]), np.array([1.0]))
    up = solved(linkage, (500.0, 500.0 + aside, 0.0))
    down = solved(replace(linkage, branch=np.array([-1.0])), (500.0, 500.0 + aside, 0.0))
    assert float(up.link_angle[0, 0]) == pytest.approx(0.0, abs=1e-9)
    assert float(up.toggle[0, 0]) == pytest.approx(90.0, abs=1e-9)
    assert float(up.angle[0, 0]) == pytest.approx(np.arccos(0.6), abs=1e-12)
    assert float(down.angle[0, 0]) == pytest.approx(-np.arccos(0.6), abs=1e-12)
    # about y a growing angle takes a forward arm down
    assert up.end[:, 0, 0] == pytest.approx([180.0, 500.0, -240.0], abs=1e-9)
    assert down.end[:, 0, 0] == pytest.approx([180.0, 500.0, 240.0], abs=1e-9)


def test_in_line_is_no_angle_and_further_is_out_of_reach() -> None:
    """Arm 300 and link 400 reach from 100 to 700 mm, and lie in line at both."""
    linkage = BarLinkage(column(0, 0, 0), column(300, 0, 0), np.array([400.0]), np.array([1.0]))
    states = solved(linkage, *((d, 0.0, 0.0) for d in (99.9, 100.1, 699.9, 700.1)))
    assert states.reached[:, 0].tolist() == [False, True, True, False]
    assert np.isfinite(states.angle[:, 0]).tolist() == [False, True, True, False]
    # near in line: by the law of cosines the angle between arm and link seen at the joint between them
    between = np.degrees(np.arccos((300.0**2 + 400.0**2 - 699.9**2) / (2 * 300.0 * 400.0)))
    assert float(states.toggle[2, 0]) == pytest.approx(180.0 - between, abs=1e-6)
    assert float(states.toggle[1, 0]) < 3.0


def test_the_link_leans_by_the_angle_of_its_triangle() -> None:
    """Level arm of 200, link upright 100 but 30 mm further out: atan(30 / 100) away from the axis."""
    pivot, end = column(0, 0, 0), column(-200, 0, 0)
    out = linkage_of(pivot, end, column(-230, 12, -100))
    back = linkage_of(pivot, end, column(-170, 12, 100))
    assert float(solved(out, (-230.0, 12.0, -100.0)).link_angle[0, 0]) == pytest.approx(
        np.degrees(np.arctan2(30, 100))
    )
    assert float(solved(back, (-170.0, 12.0, 100.0)).link_angle[0, 0]) == pytest.approx(
        -np.degrees(np.arctan2(30, 100))
    )


def test_pickup_partway_along_the_arm() -> None:
    """[P] arm 19.0 in, pickup 3.0 in from the ball joint: MR 0.84211, its square 0.70914, 600 → 846 lb/in.

    reference-checks.md F, a public excerpt. The lower arm turns about a level axis along x, the link is
    upright and the bar's arm level, so the bar's end goes with the pickup.
    """
    inch = 25.4
    geometry = np.zeros((k.GEOMETRY_ROWS, 1))
    geometry[k.CIRCLE_COS + 1] = geometry[k.CIRCLE_SIN + 2] = 19.0 * inch
    pickup = column(0, 16.0 * inch, 0)
    pivot, end = column(8.0 * inch, 16.0 * inch, 6.0 * inch), column(0, 16.0 * inch, 6.0 * inch)
    linkage = linkage_of(pivot, end, pickup)
    angle = np.array([-0.1, 0.1]) / (19.0 * inch)  # 0.1 mm of the ball joint each way
    raw = np.zeros((k.STATE_ROWS, 2, 1))
    raw[k.ARM_T] = np.tan(0.5 * angle)[:, None]
    places = carried_by_arm(geometry, raw, pickup)
    below, above = (solve_bar(linkage, places[:, [n], :]) for n in (0, 1))
    ratio = float(motion_ratio(linkage, below, above, 0.2)[0, 0])
    assert ratio == pytest.approx(0.84211, abs=5e-6)
    assert ratio**2 == pytest.approx(0.70914, abs=5e-6)
    assert 600.0 / ratio**2 == pytest.approx(846.0, abs=0.5)


# --- stiffness


def test_twist_rate_by_handbook_and_of_unlike_arms() -> None:
    """[D] reference-checks.md F: 45.4729 N/mm at arms of 200 mm, 43.1707 with true arms of 230 mm.

    Unlike arms: torsion 50.6595 and two halves of the bending compliance, each of its own arm.
    """
    equal, long = Bar(22.0, 900.0, 200.0, 200.0), Bar(22.0, 900.0, 200.0, 230.0)
    assert twist_rate(equal, equal) == pytest.approx(45.4729 * 200**2, rel=2e-6)
    assert twist_rate(long, long) == pytest.approx(43.1707 * 200**2, rel=2e-6)
    mixed = 2.0 / (1.0 / 45.4729 + 1.0 / 43.1707)
    assert twist_rate(equal, long) == pytest.approx(mixed * 200**2, rel=2e-6)


def measure(scene: Scene, name: str, ask: Ask | None = None) -> Floats:
    return MEASURES[name](scene, ask)[:, 0]


def scene_with(bar: dict[str, Any], car: Car = MIDDLING, **more: Any) -> Scene:
    return as_measured(car_with(bar, car, **more), DutyFrame(travel=(-50.0, 50.0)))


@pytest.mark.parametrize("arm_length", [None, 230.0])
def test_bar_rate_is_twice_the_relative_rate_times_the_solved_ratio_squared(
    arm_length: float | None,
) -> None:
    """[D] 45.4729 (43.1707 with true arms of 230) N/mm relative; opposite wheels give twice that."""
    rate = 45.4729 if arm_length is None else 43.1707
    more = {} if arm_length is None else {"arm_length": arm_length}
    scene = scene_with(bar_mapping("arm", **more))
    ratio = float(measure(scene, "bar_motion_ratio")[0])
    assert 0.5 < ratio < 1.0
    assert float(measure(scene, "bar_rate")[0]) == pytest.approx(2 * rate * ratio**2, rel=2e-6)


def test_a_bar_told_by_its_ratio_gives_what_it_gave() -> None:
    scene = scene_with({"diameter": 22, "length": 900, "arm": 200, "motion_ratio": 0.6})
    assert float(measure(scene, "bar_motion_ratio")[0]) == 0.6
    assert float(measure(scene, "bar_rate")[0]) == pytest.approx(90.9458 * 0.36, rel=2e-6)
    for name in ("link_angle", "bar_preload", "bar_toggle"):
        assert np.isnan(measure(scene, name)).all()


def test_roll_stiffness_counts_the_solved_bar() -> None:
    """k_phi = k t^2 / 2 with k of spring and bar; reference-checks.md F: K_rel MR^2 t^2 is the bar's."""
    scene, bare = scene_with(bar_mapping("strut")), scene_with({**bar_mapping("strut")})
    bare = replace(bare, car=replace(bare.car, bar=None))
    ratio, track = (float(measure(scene, n)[0]) for n in ("bar_motion_ratio", "track_width"))
    added = measure(scene, "front_roll_stiffness") - measure(bare, "front_roll_stiffness")
    expected = 45.4729 * ratio**2 * track**2 * 1e-3 * np.pi / 180.0
    assert float(added[0]) == pytest.approx(expected, rel=2e-6)


# --- the whole car against a root finder


def carried_in(mechanism: Mechanism, found: Floats, link_on: str, point: Floats) -> Floats:
    """Where the link's joint is, from the raw mechanism's arm angle or knuckle."""
    if link_on != "arm":
        return mechanism.moved(found, point)
    rear = mechanism.points["arm_rear"]
    pivot = mechanism.points["arm_front"] - rear
    swing = turn_by(found[6] * pivot / np.linalg.norm(pivot))
    return np.asarray(rear + swing @ (point - rear))


def bar_angle_by_search(pivot: Floats, end: Floats, length: float, joint: Floats) -> float:
    """The turn about y, rad, that puts the end at the link's length from the joint, nearest to 0."""

    def open_by(turn: float) -> float:
        at = pivot + turn_by(np.array([0.0, turn, 0.0])) @ (end - pivot)
        return float(np.linalg.norm(joint - at) - length)

    found = root_scalar(open_by, method="secant", x0=0.0, x1=1e-3, xtol=1e-13)
    assert abs(open_by(found.root)) < 1e-9
    return float(found.root)


@pytest.mark.parametrize("link_on", list(LINKS))
@pytest.mark.parametrize("car", CARS, ids=lambda car: car.name)
def test_bar_angle_against_a_root_finder(car: Car, link_on: str) -> None:
    """The joints' raw constraints and a line search on the link's length: nothing of the closed form."""
    shift = np.array(car.points["ball_joint"]) - np.array(MIDDLING.points["ball_joint"])
    pivot, end, link = (np.array(p) + shift for p in (PIVOT, END, LINKS[link_on]))
    bar = {**bar_mapping(link_on), "pivot": list(pivot), "end": list(end), "link": list(link)}
    scene = scene_with(bar, car)
    mechanism = Mechanism(car)
    length = float(np.linalg.norm(link - end))
    for travel, share in ((-45.0, 0.0), (40.0, 0.0), (0.0, 0.7), (25.0, -0.6)):
        rack = share * car.rack_travel
        found = mechanism.walk(travel, rack, steps=6)
        joint = carried_in(mechanism, found, link_on, link)
        states = bar_states(scene, "left", [At(travel, rack=rack)])
        expected = bar_angle_by_search(pivot, end, length, joint)
        assert float(states.angle[0, 0]) == pytest.approx(expected, abs=1e-9)
        assert states.end[:, 0, 0] + length * states.link[:, 0, 0] == pytest.approx(joint, abs=1e-6)
    ends = [
        bar_angle_by_search(
            pivot,
            end,
            length,
            carried_in(mechanism, mechanism.walk(t, 0.0), link_on, link),
        )
        for t in (-STEP / 2, STEP / 2)
    ]
    lever = np.hypot(end[0] - pivot[0], end[2] - pivot[2])
    slope = abs(ends[1] - ends[0]) / STEP * lever
    assert float(measure(scene, "bar_motion_ratio")[0]) == pytest.approx(slope, abs=2e-6)


def test_link_angle_is_the_largest_over_the_window_and_both_wheels() -> None:
    scene = scene_with(bar_mapping("strut"))
    curve = MEASURES["link_angle"].curve
    assert curve is not None
    window = np.abs(curve(scene, "left", np.arange(-50.0, 50.1, 5.0))).max()
    assert float(measure(scene, "link_angle")[0]) == pytest.approx(window)
    inner = float(measure(scene, "link_angle", Ask(over=(-10.0, 10.0)))[0])
    assert inner < window


# --- preload


def turned_end(turn: float) -> list[float]:
    """The right arm's end, 200 mm from the axis, turned about it by ``turn`` rad from level; y negative."""
    return [PIVOT[0] - 200.0 * np.cos(turn), -END[1], PIVOT[2] + 200.0 * np.sin(turn)]


@pytest.mark.parametrize("turn", [0.03, -0.05])
def test_preload_of_arms_that_stand_apart(turn: float) -> None:
    """Equal arms turned from each other by a known angle: F = K_rel times lever times angle.

    [D] K_rel 45.4729 N/mm (reference-checks.md F). As measured the arms stand as they are drawn.
    """
    scene = scene_with(bar_mapping("arm", right={"end": turned_end(turn)}))
    expected = 45.4729 * 200.0 * abs(turn)
    assert float(measure(scene, "bar_preload")[0]) == pytest.approx(expected, rel=2e-6)


def test_a_level_symmetric_car_has_no_preload() -> None:
    scene = scene_with(bar_mapping("knuckle"))
    assert float(measure(scene, "bar_preload")[0]) == 0.0
    assert scene.mirrored


def test_corner_heights_preload_the_bar() -> None:
    """Wheels 12 mm up and 12 mm down: K_rel times the ends' distance apart, 2 MR 12, to second order."""
    scene = scene_with(bar_mapping("arm", corner_heights={"left": 12, "right": -12}))
    ratio = float(measure(scene, "bar_motion_ratio")[0])
    expected = 45.4729 * ratio * 24.0
    assert float(measure(scene, "bar_preload")[0]) == pytest.approx(expected, rel=0.01)
    level = scene_with(bar_mapping("arm", corner_heights={"left": 12, "right": 12}))
    assert float(measure(level, "bar_preload")[0]) == pytest.approx(0.0, abs=1e-9)


def with_right_link(scene: Scene, length: Floats) -> Scene:
    right = {**scene.channels.outer.get("right", scene.channels.outer["left"])}
    right["antiroll_bar.link_length"] = length
    channels = Channels.plain({**scene.channels.outer, "right": right}, 1)
    # nothing that was found of the other link is kept
    return replace(scene, channels=channels).of(scene.left, scene.right)


@pytest.mark.parametrize("link_on", list(LINKS))
def test_the_link_that_frees_the_bar(link_on: str) -> None:
    """With the solved length in place the preload is gone; by hand where only the arm stood apart."""
    uneven = scene_with(
        bar_mapping(link_on, right={"end": turned_end(0.04)}),
        points_right={"arm_front": [92.0, -364.0, 209.0]},
    )
    heights = scene_with(bar_mapping(link_on, corner_heights={"left": 9, "right": -6}))
    for scene in (uneven, heights):
        assert float(measure(scene, "bar_preload")[0]) > 50.0
        freed = with_right_link(scene, preload_free_link(scene, "right"))
        assert float(measure(freed, "bar_preload")[0]) == pytest.approx(0.0, abs=1e-6)
    apart = scene_with(bar_mapping(link_on, right={"end": turned_end(0.04)}))
    by_hand = np.linalg.norm(np.array(LINKS[link_on]) - np.array(END))
    assert float(preload_free_link(apart, "right")[0]) == pytest.approx(by_hand, abs=1e-9)


def test_level_length_of_an_upright_link() -> None:
    """Axis at 300, arm level, joint 110 below and 30 to the side: the link is hypot(110, 30)."""
    linkage = BarLinkage(
        column(200, 500, 300), column(0, 500, 320), np.array([1.0]), np.array([1.0])
    )
    level = level_length(linkage, np.array([np.pi]), column(200 - np.hypot(200, 20), 530, 190))
    assert float(level[0]) == pytest.approx(np.hypot(110.0, 30.0), abs=1e-9)


def test_relative_and_wheel_rates_of_arrays_are_those_of_numbers() -> None:
    many = Bar(np.array([22.0, 25.0]), np.array([900.0, 800.0]), 200.0, np.array([200.0, 230.0]))
    for n, one in enumerate((Bar(22.0, 900.0, 200.0, 200.0), Bar(25.0, 800.0, 200.0, 230.0))):
        for rate in (relative_rate, wheel_rate):
            assert np.asarray(rate(many))[n] == pytest.approx(rate(one), rel=1e-14)

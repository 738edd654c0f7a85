"""What chassis builders know, as common practice (no source), on cars that are unlike one another.

Each check says on which cars it is meant to hold and in what band. Where a rule of thumb flips for a rack
ahead of the axle, the flip is checked too.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kinematics import corner as c
from kinematics.arrays import Floats
from kinematics.measures import MEASURES, Ask
from kinematics.scene import Scene
from tests.cars import CARS, USUAL, Car, corners, scene_of

Shift = tuple[float, float, float]
STAY: Shift = (0.0, 0.0, 0.0)

BEHIND = tuple(car for car in CARS if not car.rack_ahead)
IN_FRONT = tuple(car for car in CARS if car.rack_ahead)


def built(
    car: Car,
    lowered: float = 0.0,
    ball_joint: Shift = STAY,
    rod_outer: Shift = STAY,
    rack: Shift = STAY,
) -> Scene:
    """The car with shifted parts (knuckle points in the knuckle's own frame), toe set as measured."""

    def shifted(points: Floats, by: Shift) -> Floats:
        return points + np.array(by)[:, None]

    base = corners(car).lowered(lowered)
    moved = replace(
        base,
        knuckle_ball_joint=shifted(base.knuckle_ball_joint, ball_joint),
        tie_rod_outer=shifted(base.tie_rod_outer, rod_outer),
        tie_rod_inner=shifted(base.tie_rod_inner, rack),
    )
    columns = c.pack(moved)
    c.set_toe(columns, car.toe)
    return scene_of(car, columns)


def figure(name: str, scene: Scene, ask: Ask | None = None) -> float:
    value = float(MEASURES[name](scene, ask)[0, 0])
    assert np.isfinite(value)
    return value


def toe_out_at_lock(scene: Scene) -> float:
    return figure("lock_inner", scene) - figure("lock_outer", scene)


def named(cars: tuple[Car, ...]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("car", cars, ids=lambda car: car.name)


# --- lowering

LOWERING = 50.0


@named(CARS)
def test_lowering_drops_the_roll_centre_about_three_times_as_fast(car: Car) -> None:
    """Common practice, no source: 'about three times'; band 2.2 to 3.5 on every car here."""
    stock, low = built(car), built(car, LOWERING)
    fall = figure("roll_centre_height", stock) - figure("roll_centre_height", low)
    assert 2.2 <= fall / LOWERING <= 3.5


@named(USUAL)
def test_lowered_far_enough_the_roll_centre_is_under_the_ground(car: Car) -> None:
    """Common practice, no source: usual road-car proportions, roll centre at 70 to 130 mm, 50 mm lower."""
    assert 70.0 <= figure("roll_centre_height", built(car)) <= 130.0
    assert figure("roll_centre_height", built(car, LOWERING)) < 0.0


@named(CARS)
def test_lowering_makes_the_roll_couple_grow(car: Car) -> None:
    """Common practice, no source: the CG falls by the lowering only, the front roll centre by far more."""
    stock, low = built(car), built(car, LOWERING)
    growth = figure("roll_couple", low) - figure("roll_couple", stock)
    fall = figure("roll_centre_height", stock) - figure("roll_centre_height", low)
    assert growth > 5.0
    # CG down by the lowering (the contact point's own height change is under half a millimetre),
    # roll axis down by the front share of the roll centre's fall
    assert growth == pytest.approx(0.53 * fall - LOWERING, abs=0.5)


@named(CARS)
def test_a_dropped_knuckle_brings_roll_centre_and_bump_steer_back(car: Car) -> None:
    """Common practice, no source: ball joint and rod end dropped by the lowering, strut kept.

    Bands: roll centre back within 16 mm of stock (it had fallen by more than 110), bump steer within
    0.002 deg/mm. It cannot be exact: the strut is still shorter by the lowering.
    """
    drop = (0.0, 0.0, -LOWERING)
    stock, low = built(car), built(car, LOWERING)
    dropped = built(car, LOWERING, ball_joint=drop, rod_outer=drop)
    assert figure("roll_centre_height", low) < figure("roll_centre_height", stock) - 110.0
    assert figure("roll_centre_height", dropped) == pytest.approx(
        figure("roll_centre_height", stock), abs=16.0
    )
    assert figure("bump_steer_slope", dropped) == pytest.approx(
        figure("bump_steer_slope", stock), abs=0.002
    )


@named(CARS)
def test_a_dropped_ball_joint_alone_makes_bump_steer(car: Car) -> None:
    """Common practice, no source: the rod end needs about the same drop; else over 0.03 deg/mm here."""
    half_done = built(car, LOWERING, ball_joint=(0.0, 0.0, -LOWERING))
    assert abs(figure("bump_steer_slope", half_done)) > 0.03


# --- Ackermann, lock and toggle


@named(BEHIND)
def test_rack_behind_moved_forward_cuts_toe_out_and_buys_toggle(car: Car) -> None:
    """Common practice, no source: five cars with the rack behind the axle, rack 8 mm forward.

    The same saying for the rod's outer end does not hold for the geometry: see the next test.
    """
    stock, moved = built(car), built(car, rack=(8.0, 0.0, 0.0))
    assert toe_out_at_lock(moved) < toe_out_at_lock(stock) - 0.3
    assert figure("toggle_margin", moved) > figure("toggle_margin", stock) + 1.0
    at = Ask(at=25.0)
    assert figure("ackermann", moved, at) < figure("ackermann", stock, at) - 3.0


@named(BEHIND)
def test_rod_end_forward_of_a_rack_behind_does_the_reverse(car: Car) -> None:
    """Found by the geometry, against a common saying: the rod end 4 mm forward adds Ackermann.

    It tilts the rod in plan as the rack moved back would, and shortens the arm, so at the same rack
    travel there is more lock and less toggle margin too.
    """
    stock, moved = built(car), built(car, rod_outer=(4.0, 0.0, 0.0))
    at = Ask(at=25.0)
    assert figure("ackermann", moved, at) > figure("ackermann", stock, at)
    assert figure("toggle_margin", moved) < figure("toggle_margin", stock)


@named(CARS)
def test_rod_end_outboard_changes_ackermann(car: Car) -> None:
    """Common practice, no source: outboard cuts Ackermann with the rack behind, adds it with it ahead."""
    stock, moved = built(car), built(car, rod_outer=(0.0, 4.0, 0.0))
    change = figure("ackermann", moved, Ask(at=25.0)) - figure("ackermann", stock, Ask(at=25.0))
    assert change > 2.0 if car.rack_ahead else change < -2.0


@named(CARS)
def test_a_shorter_steering_arm_gives_more_lock_for_the_rack(car: Car) -> None:
    """Common practice, no source: rod end 4 mm nearer to the axle, every car; quicker steering with it."""
    nearer = -4.0 if car.rack_ahead else 4.0
    stock, short = built(car), built(car, rod_outer=(nearer, 0.0, 0.0))
    assert figure("lock_inner", short) > figure("lock_inner", stock)
    assert figure("lock_outer", short) > figure("lock_outer", stock)
    assert figure("steering_ratio", short) < figure("steering_ratio", stock)


# --- bump steer


def _slope_per_mm(car: Car) -> float:
    """Change of the bump-steer slope per mm of outer-end height, deg/mm per mm."""
    high, low = built(car, rod_outer=(0.0, 0.0, 0.5)), built(car, rod_outer=(0.0, 0.0, -0.5))
    return figure("bump_steer_slope", high) - figure("bump_steer_slope", low)


@named(CARS)
def test_one_millimetre_of_outer_end_height(car: Car) -> None:
    """Common practice, no source (estimate 0.0016 deg/mm on a 330 mm rod and a 110 mm arm).

    Band 0.001 to 0.0025 on these cars, but for the large one, whose long rod and arm give 0.0008.
    """
    least = 0.0007 if car.wheelbase > 2800.0 else 0.001
    assert least <= abs(_slope_per_mm(car)) <= 0.0025


@named(CARS)
def test_outer_end_height_by_a_pencil_estimate(car: Car) -> None:
    """[D] a rod of length l tilted by 1 mm moves its end by h / l sideways per mm of travel; over an arm r
    that is 57.3 / (l r) deg/mm. Good to a third."""
    p = car.points
    rod = abs(p["tie_rod_outer"][1] - p["tie_rod_inner"][1])
    arm = abs(p["tie_rod_outer"][0] - p["ball_joint"][0])
    assert abs(_slope_per_mm(car)) == pytest.approx(57.3 / (rod * arm), rel=0.33)


@named(CARS)
def test_which_way_the_outer_end_works(car: Car) -> None:
    """Common practice, no source: rack behind, toe-out in bump means that the outer end is too high, so
    lowering it turns the slope toward toe-in; with the rack ahead it is the other way about."""
    stock, lowered = built(car), built(car, rod_outer=(0.0, 0.0, -2.0))
    change = figure("bump_steer_slope", lowered) - figure("bump_steer_slope", stock)
    assert change < -0.001 if car.rack_ahead else change > 0.001


@named(CARS)
def test_the_outer_end_can_be_set_to_no_bump_steer(car: Car) -> None:
    """Common practice, no source: spacers under the outer end can zero the slope at ride height."""

    def slope(height: float) -> float:
        return figure("bump_steer_slope", built(car, rod_outer=(0.0, 0.0, height)))

    here, gain = slope(0.0), _slope_per_mm(car)
    needed = -here / gain
    assert abs(needed) < 8.0
    assert abs(slope(needed)) < 1e-4

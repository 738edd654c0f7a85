"""Published and hand-worked figures of anti-roll bars, body roll and lateral load transfer.

[P]: printed in the source named. [P-in]: inputs printed, result recomputed by us. [D]: recomputed by us from
the formula named. [M]: from memory, not read again.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kinematics.bars import (
    Bar,
    arms_rate,
    relative_rate,
    torsion_rate,
    torsional_stiffness,
    wheel_rate,
)
from kinematics.measures import MEASURES
from kinematics.rolling import (
    Axle,
    elastic_transfer,
    geometric_transfer,
    roll_arm,
    roll_per_g,
    roll_stiffness,
    sprung_height,
    transfer,
    unsprung_transfer,
)
from kinematics.scene import Scene
from tests.reference.test_formulas import figure, plane_strut, scene

# --- the anti-roll bar

BAR = Bar(diameter=22.0, length=900.0, arm=200.0, arm_length=200.0)


def test_bar_rates_of_beam_theory() -> None:
    """[D] GJ/(L r^2) and two arms of 3EI/l^3 in series; d 22, L 900, r = l = 200 mm, G 79.3, E 206 GPa."""
    assert torsional_stiffness(BAR) / 1000.0 == pytest.approx(2026.38, abs=5e-3)
    assert torsional_stiffness(BAR) / 1000.0 * np.pi / 180.0 == pytest.approx(35.367, abs=5e-4)
    assert torsion_rate(BAR) == pytest.approx(50.6595, abs=5e-5)
    assert arms_rate(BAR) == pytest.approx(444.1494, abs=5e-5)
    assert relative_rate(BAR) == pytest.approx(45.4729, abs=5e-5)
    assert wheel_rate(BAR) == pytest.approx(90.9458, abs=5e-5)


def test_a_longer_true_arm_bends_more() -> None:
    """[D] the same bar with arms 230 mm long at the same lever of 200 mm."""
    assert relative_rate(replace(BAR, arm_length=230.0)) == pytest.approx(43.1707, abs=5e-5)


def test_bar_rate_of_a_builders_formula() -> None:
    """[P] Puhn, How to Make Your Car Handle: 500000 D^4 / (0.4244 A^2 B + 0.2264 C^3), lb/in.

    [D] D 1, A 10, B 36, C 10.5 in: 279.341; its constants round E 30e6 and G 12e6 psi to four digits.
    """
    bar = Bar(1.0, 36.0, 10.0, 10.5, shear=12e6, youngs=30e6)
    assert relative_rate(bar) == pytest.approx(279.341, rel=1e-4)


def test_bar_rate_grows_with_the_fourth_power_of_diameter() -> None:
    """[P] (19/18)^4 = 1.24 as builders' books print it."""
    ratio = relative_rate(replace(BAR, diameter=19.0)) / relative_rate(replace(BAR, diameter=18.0))
    assert ratio == pytest.approx(1.24144, abs=5e-6)
    assert ratio == pytest.approx(1.24, abs=5e-3)


def test_bar_rate_at_the_wheel_goes_with_the_motion_ratio_squared() -> None:
    """[P] public excerpt: arm 19.0 in, pickup 3.0 in from the ball joint: MR 0.84211, MR^2 0.70914."""
    fitted = replace(BAR, motion_ratio=16.0 / 19.0)
    assert wheel_rate(fitted) / wheel_rate(BAR) == pytest.approx(0.70914, abs=5e-6)


def test_twist_of_a_plain_torsion_bar() -> None:
    """[P] keisan17-5's 32 M L / (pi d^4 G); [D] d 20, L 1000 mm, 1 N·m, G 78.5 GPa: 0.0464657 deg."""
    bar = Bar(20.0, 1000.0, 1.0, 1.0, shear=78_500.0)
    assert np.degrees(1000.0 / torsional_stiffness(bar)) == pytest.approx(0.0464657, abs=1e-7)


def test_twist_of_a_tube() -> None:
    """[D] the same formula with d2^4 - d1^4: a bore of half the diameter leaves 15/16 of it."""
    tube = replace(BAR, bore=11.0)
    assert relative_rate(tube) / relative_rate(BAR) == pytest.approx(0.9375, abs=1e-12)


def test_bar_roll_stiffness_either_way() -> None:
    """[D] K MR^2 t^2 with the relative rate; K 45.4729 N/mm, MR 0.6, t 1450 mm: 34.4184e6 N·mm/rad."""
    at_wheel = wheel_rate(replace(BAR, motion_ratio=0.6))
    assert roll_stiffness(at_wheel, 1450.0) == pytest.approx(34.4184e6, rel=2e-6)


# --- roll and load transfer: Barton & Fieldhouse 2018, p. 174, N and m

G_BOOK = 9.81
FRONT = Axle(1280 * 0.54 * G_BOOK, 140 * G_BOOK, 0.07, 0.280, 1.46, 20018.0)
REAR = Axle(1280 * 0.46 * G_BOOK, 180 * G_BOOK, 0.32, 0.300, 1.46, 8632.0)
PULL = 0.6  # g
BOOK_ROLL = float(roll_per_g(1280 * G_BOOK, 0.365, 28650.0))


def test_roll_gradient_of_a_printed_example() -> None:
    """[P] 0.0194 rad/(m/s^2), 10.9 deg/g; [D] 0.0194127, 10.911 and 6.5468 deg at 0.6 g."""
    gradient = BOOK_ROLL / G_BOOK
    assert gradient == pytest.approx(0.0194, abs=5e-5)
    assert gradient == pytest.approx(0.0194127, abs=5e-8)
    assert np.degrees(BOOK_ROLL) == pytest.approx(10.911, abs=5e-4)
    assert np.degrees(BOOK_ROLL) * PULL == pytest.approx(6.5468, abs=5e-5)


@pytest.mark.parametrize(
    ("axle", "geometric", "unsprung"), [(FRONT, 195, 158), (REAR, 760, 218)], ids=["front", "rear"]
)
def test_stiff_transfers_of_a_printed_example(axle: Axle, geometric: int, unsprung: int) -> None:
    """[P] N at 0.6 g, printed to the newton."""
    assert PULL * geometric_transfer(axle) == pytest.approx(geometric, abs=0.5)
    assert PULL * unsprung_transfer(axle) == pytest.approx(unsprung, abs=0.5)


@pytest.mark.parametrize(
    ("axle", "exact", "printed", "total"),
    [(FRONT, 1566.7, 1556, 1909), (REAR, 675.6, 671, 1649)],
    ids=["front", "rear"],
)
def test_elastic_transfers_of_a_printed_example(
    axle: Axle, exact: float, printed: int, total: int
) -> None:
    """[D] unrounded 1566.7 / 675.6 N; [P] 1556 / 671, some 0.7 % low by rounding on the way.

    Totals: the sums of the printed parts. The front's is 1909; the book's own total, 1919, is not that sum.
    The stiffnesses of the axles are inferred, 20018 and 8632 N·m/rad of the 28650 printed.
    """
    elastic = PULL * elastic_transfer(axle, BOOK_ROLL)
    assert elastic == pytest.approx(exact, abs=0.06)
    assert elastic == pytest.approx(printed, rel=0.0075)
    assert PULL * transfer(axle, BOOK_ROLL) == pytest.approx(total, rel=0.0075)


def test_moments_of_a_printed_example_balance() -> None:
    """[D] 4692.3 N·m of all masses and 523.7 N·m of the lean: 5216.0 N·m held by both axles."""
    held = PULL * (transfer(FRONT, BOOK_ROLL) + transfer(REAR, BOOK_ROLL)) * 1.46
    assert held == pytest.approx(5216.0, abs=0.06)
    assert roll_arm(FRONT, REAR, 0.550) == pytest.approx(0.365, abs=1e-9)


# --- Milliken & Milliken, Race Car Vehicle Dynamics, 1995, lb and ft; inputs second-hand

LB_FRONT = Axle(2040.0, 0.0, 0.25, 0.0, 5.0, 1222.0)
LB_REAR = Axle(1360.0, 0.0, 0.625, 0.0, 5.0, 873.0)


def test_load_transfer_of_a_race_car_book() -> None:
    """[P-in] ch. 16/18: h 1.5 ft, no lean of the weight itself; stiffness a degree, so roll in degrees."""
    arm = roll_arm(LB_FRONT, LB_REAR, 1.5)
    assert arm == pytest.approx(1.1, abs=1e-12)
    roll = roll_per_g(3400.0, arm, 2095.0, tipping=False)
    assert float(roll) == pytest.approx(1.78520, abs=5e-6)
    assert float(roll) * 0.92335 == pytest.approx(1.6484, abs=5e-5)
    front, rear = transfer(LB_FRONT, roll), transfer(LB_REAR, roll)
    assert front == pytest.approx(538.304, abs=5e-4)
    assert rear == pytest.approx(481.696, abs=5e-4)
    assert front + rear == pytest.approx(1020.0, abs=1e-9)  # W h / t
    # at 0.92335 g on the banked turn, wheel loads from the axle loads 2403.60 and 1602.40 lb
    moved, moved_rear = float(front) * 0.92335, float(rear) * 0.92335
    assert [moved, moved_rear] == pytest.approx([497.041, 444.773], abs=5e-3)
    loads = [1201.80 + moved, 1201.80 - moved, 801.20 + moved_rear, 801.20 - moved_rear]
    assert loads == pytest.approx([1698.84, 704.76, 1245.97, 356.43], abs=6e-3)


def test_sprung_cg_and_roll_rates_of_a_race_car_book() -> None:
    """[P-in] the same book's ride-rate example, lb and in: sprung CG, arm, and springs in lb·ft/deg."""
    height = sprung_height(2562.5, 15.0, (170.0, 11.25), (250.0, 12.75))
    assert height == pytest.approx(15.5601, abs=5e-5)
    front = Axle(979.5, 170.0, 3.1, 11.25, 65.58, 0.0)
    rear = Axle(1163.0, 250.0, 6.8, 12.75, 64.5, 0.0)
    arm = roll_arm(front, rear, height)
    assert arm == pytest.approx(10.4516, abs=6e-5)
    assert 2142.5 * arm / 12.0 == pytest.approx(1866.05, abs=0.01)
    # the book's 1375 is 2 * 12 * 180 / pi rounded
    springs = roll_stiffness(180.636, 65.58) / 12.0 * np.pi / 180.0
    assert springs == pytest.approx(564.995, rel=1e-4)
    # a live axle: springs 47.1 in apart, in series with tyres 64.5 in apart
    on_axle, tyres = roll_stiffness(187.825, 47.1), roll_stiffness(2000.0, 64.5)
    springs = 1.0 / (1.0 / on_axle + 1.0 / tyres) / 12.0 * np.pi / 180.0
    assert springs == pytest.approx(288.583, rel=1e-4)


# --- the measures on a car


def loaded() -> Scene:
    car = scene(plane_strut())
    numbers = replace(
        car.car,
        hub_height=300.0,
        mass=1200.0,
        unsprung_front=80.0,
        unsprung_rear=100.0,
        wheel_rate=30.0,
        rear_roll_stiffness=400.0,
        rear_track=1400.0,
    )
    return replace(car, car=numbers)


def test_measures_by_hand() -> None:
    """[D] plane strut: roll centre 114.125, track 1440, hub 300 mm; figures worked outside this code.

    Sprung 580 + 440 kg, its CG (1200*520 - 180*300)/1020 = 558.8235 mm, axis (580*114.125 + 440*140)/1020 =
    125.2868, d 433.5368; K_f 30*1440^2/2 = 31.104e6 N·mm/rad = 542.867 N·m/deg; g 9.80665.
    """
    car = loaded()
    assert figure("front_roll_stiffness", car) == pytest.approx(542.8672, abs=1e-4)
    assert figure("roll_gradient", car) == pytest.approx(5.00078, abs=3e-5)
    assert figure("front_transfer_geometric", car) == pytest.approx(450.782, abs=3e-3)
    assert figure("front_transfer_unsprung", car) == pytest.approx(163.4442, abs=1e-4)
    assert figure("front_transfer_elastic", car) == pytest.approx(1885.249, abs=0.012)
    assert figure("front_load_transfer", car) == pytest.approx(54.6943, abs=2e-4)


def test_a_bar_adds_to_the_front_stiffness() -> None:
    """[D] 90.9458 N/mm at MR 1: (30 + 90.9458) * 1440^2 / 2 = 125.3966e6 N·mm/rad = 2188.583 N·m/deg."""
    car = loaded()
    car = replace(car, car=replace(car.car, bar=BAR))
    assert figure("bar_rate", car) == pytest.approx(90.9458, abs=5e-5)
    assert figure("front_roll_stiffness", car) == pytest.approx(2188.583, abs=2e-3)


NEEDED = {
    "bar_rate": {"bar": None},
    "front_roll_stiffness": {"wheel_rate": None},
    "roll_gradient": {"rear_roll_stiffness": None},
    "front_load_transfer": {"rear_track": None},
    "front_transfer_elastic": {"rear_roll_stiffness": None},
    "front_transfer_geometric": {"mass": None, "front_share": None, "cg_height": None},
    "front_transfer_unsprung": {"mass": None, "front_share": None, "cg_height": None},
    "roll_couple": {"rear_roll_centre": None},
}


@pytest.mark.parametrize("name", NEEDED)
def test_what_the_car_file_does_not_say_is_no_figure(name: str) -> None:
    car = loaded()
    lacking = replace(car, car=replace(car.car, **NEEDED[name]))
    assert np.isnan(figure(name, lacking))
    curve = MEASURES[name].curve
    if curve is not None:
        assert np.isnan(curve(lacking, "left", np.array([-20.0, 20.0]))).all()


def test_a_body_that_would_fall_over_has_no_roll() -> None:
    car = loaded()
    soft = replace(car, car=replace(car.car, wheel_rate=0.5, rear_roll_stiffness=1.0))
    assert np.isnan(figure("roll_gradient", soft))


@pytest.mark.parametrize("name", [name for name in NEEDED if MEASURES[name].curve is not None])
def test_a_curve_passes_through_the_figure(name: str) -> None:
    curve = MEASURES[name].curve
    assert curve is not None
    values = curve(loaded(), "left", np.array([-20.0, 0.0, 20.0]))
    assert values.shape == (3, 1)
    assert float(values[1, 0]) == pytest.approx(figure(name, loaded()), rel=1e-12)

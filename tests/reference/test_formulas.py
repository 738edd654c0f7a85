"""Published and hand-worked figures of steering and suspension geometry.

Beside each check stands where the number comes from. [P]: printed in the source named. [D]: recomputed by
us from a formula or from exact geometry, no printed result. [M]: quoted from memory, not read again.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.channels import Channels
from kinematics.measures import MEASURES, Ask
from kinematics.measures.steer import ackermann_percent, ideal_outer
from kinematics.scene import At, CarNumbers, DutyFrame, Scene
from kinematics.states import CornerStates, solve
from tests.reference.planar import axis_corner, columns, flat_steer, flat_steering


def scene(left: Floats, wheelbase: float = 2500.0, rack_travel: float = 60.0) -> Scene:
    """A symmetric car of one lane."""
    return Scene(
        car=CarNumbers(wheelbase, 0.0, cg_height=520.0, front_share=0.55, rear_roll_centre=140.0),
        frame=DutyFrame(),
        left=left,
        right=None,
        rack_travel=np.array([rack_travel]),
        rack_per_turn=np.array([45.0]),
        stud_lever=np.zeros(1),
        channels=Channels.plain({"left": {}}, 1),
        price=np.zeros(1),
    )


def figure(name: str, of: Scene, ask: Ask | None = None) -> float:
    return float(MEASURES[name](of, ask)[0, 0])


# --- Ackermann and the turning circle


def test_ideal_outer_of_a_printed_example() -> None:
    """[P] calculatoratoz.com Calc-31583: inner 0.75 rad, c 0.13 m, L 2.7 m: outer 0.728157 rad."""
    outer = np.radians(ideal_outer(np.degrees(0.75), np.array([0.13]), 2.7))
    assert float(outer[0]) == pytest.approx(0.728157, abs=5e-7)


@pytest.mark.parametrize(
    ("inner", "outer"),
    [
        (5, 4.7676), (10, 9.1171), (15, 13.1153), (20, 16.8224),
        (25, 20.2920), (30, 23.5712), (35, 26.7015), (40, 29.7202),
    ],
)  # fmt: skip
def test_ideal_outer_table(inner: float, outer: float) -> None:
    """[D] A6, A7, recomputed: L 2.5 m, c 1.4 m, cot o = cot i + c / L (rounded to 1e-4 deg)."""
    assert float(ideal_outer(inner, np.array([1.4]), 2.5)[0]) == pytest.approx(outer, abs=6e-5)


def test_ideal_outer_by_where_the_axles_meet() -> None:
    """[D] Plane geometry: both wheels' axle lines must meet on the rear axle's line."""
    length, across, inner = 2480.0, 1310.0, 33.0
    to_inner = length / np.tan(np.radians(inner))
    outer = np.degrees(np.arctan(length / (to_inner + across)))
    assert float(ideal_outer(inner, np.array([across]), length)[0]) == pytest.approx(
        outer, abs=1e-12
    )


@pytest.mark.parametrize(
    ("outer", "percent"), [(25.0, 77.77), (23.5712, 100.0), (30.0, 0.0)]
)  # fmt: skip
def test_ackermann_percent_definition(outer: float, percent: float) -> None:
    """[D] definition (i), recomputed: L 2.5 m, c 1.4 m, inner 30 deg."""
    got = ackermann_percent(30.0, np.array([outer]), np.array([1.4]), 2.5)
    assert float(got[0]) == pytest.approx(percent, abs=6e-3)


ARM, ROD = (-118.0, -14.0), (-6.0, -335.0)


def _flat_car(rack_travel: float = 60.0) -> Scene:
    return scene(flat_steering(690.0, 735.0, ARM, ROD), 2550.0, rack_travel)


@pytest.mark.parametrize("rack", [-55.0, -20.0, 0.0, 8.0, 40.0, 60.0])
def test_flat_linkage_steers_as_plane_trigonometry_says(rack: float) -> None:
    """[D] two circles in a plane; the toe of the left wheel falls when it turns left."""
    states = solve(flat_steering(690.0, 735.0, ARM, ROD), np.zeros(1), np.array([[rack]]))
    assert -states.toe[0, 0] == pytest.approx(flat_steer(ARM, ROD, rack), abs=1e-9)
    assert states.camber[0, 0] == pytest.approx(0.0, abs=1e-9)


def test_ackermann_and_lock_of_the_flat_linkage() -> None:
    """[D] by plane trigonometry: inner and outer wheel, percent, toe-out and locks.

    The rack behind an upright kingpin goes to the right for a left turn, which pulls the left arm inward
    and pushes the right one; the right wheel is the left one in a mirror.
    """
    car = _flat_car()
    turn_left = 1.0 if flat_steer(ARM, ROD, 1.0) > 0.0 else -1.0

    def steer(rack: float) -> float:
        return flat_steer(ARM, ROD, turn_left * rack)

    def inner_rack(angle: float) -> float:
        return float(brentq(lambda u: steer(u) - angle, 0.0, 60.0, xtol=1e-12))

    assert figure("lock_inner", car) == pytest.approx(steer(60.0), abs=1e-9)
    assert figure("lock_outer", car) == pytest.approx(-steer(-60.0), abs=1e-9)
    for angle in (5.0, 20.0, 31.0):
        outer = -steer(-inner_rack(angle))
        ideal = np.degrees(
            np.arctan(1.0 / (1.0 / np.tan(np.radians(angle)) + 2.0 * 690.0 / 2550.0))
        )
        percent = 100.0 * (angle - outer) / (angle - ideal)
        ask = Ask(at=angle)
        assert figure("ackermann", car, ask) == pytest.approx(percent, abs=1e-4)
        assert figure("toe_out_on_turns", car, ask) == pytest.approx(angle - outer, abs=1e-6)


def test_steering_ratio_of_the_flat_linkage() -> None:
    """[D] degrees of handwheel over degrees of wheel for the middle millimetre of rack."""
    wheel = abs(flat_steer(ARM, ROD, 0.5) - flat_steer(ARM, ROD, -0.5))
    assert figure("steering_ratio", _flat_car()) == pytest.approx(360.0 / 45.0 / wheel, abs=1e-6)


def test_turning_circle_of_a_printed_example() -> None:
    """[P] calculatoratoz.com Calc-31639: sin o = L / (R - (a - c) / 2) with L 2.7, a 1.999, c 0.13 m.

    R 4.99 m and o 0.728515 rad belong together. A flat linkage with that track and that little distance
    between kingpins is steered until the outer wheel stands so; the circle must then be 2 R.
    """
    arm, rod = (-118.0, 10.0), (0.0, -335.0)
    left = flat_steering(65.0, 999.5, arm, rod)
    outer = np.degrees(0.728515)
    away = -1.0 if flat_steer(arm, rod, 1.0) > 0.0 else 1.0
    rack = brentq(lambda u: flat_steer(arm, rod, away * u) + outer, 0.0, 110.0, xtol=1e-12)
    car = scene(left, 2700.0, float(rack))
    assert figure("lock_outer", car) == pytest.approx(outer, abs=1e-6)
    assert figure("turning_circle", car) == pytest.approx(2.0 * 4.99, abs=2e-5)


def test_handbook_turning_circle() -> None:
    """[P] form (engineersedge.com, vehicle turning circle design), [D] numbers, recomputed.

    s 1450, r0 10, l 2550 mm, inner 38 deg: j = s - 2 r0 = 1430, ideal outer 28.5136 deg, and
    rs = l / sin(outer) + r0 = 5351.8 mm.
    """
    outer = float(ideal_outer(38.0, np.array([1430.0]), 2550.0)[0])
    assert outer == pytest.approx(28.5136, abs=6e-5)
    assert 2550.0 / np.sin(np.radians(outer)) + 10.0 == pytest.approx(5351.8, abs=0.06)


# --- steering axis


def _steered(left: Floats, rack: Floats) -> CornerStates:
    """States with the arm held, so that the steering axis stands still and only the wheel turns."""
    return solve(left, np.zeros(rack.size), rack[:, None], hold_arm=True)


def _axis(caster: float, kingpin: float) -> Floats:
    """[D] e = (-tan caster, -tan kingpin, 1) / norm for the left wheel, top rearward and inward."""
    lean = np.array([-np.tan(np.radians(caster)), -np.tan(np.radians(kingpin)), 1.0])
    return np.asarray(lean / np.linalg.norm(lean))


def _turn_of(spindle: Floats, axis: Floats) -> float:
    """Turn about the axis (rad) that brings the straight spindle (0, 1, 0) to this one."""
    start = np.array([0.0, 1.0, 0.0])
    across = np.cross(axis, start)
    return float(np.arctan2(spindle @ across, spindle @ start - (spindle @ axis) * (start @ axis)))


@pytest.mark.parametrize(("caster", "kingpin"), [(5.0, 12.0), (7.0, 0.0), (-2.0, 9.0), (0.0, 14.0)])
def test_camber_on_lock_identity(caster: float, kingpin: float) -> None:
    """[D] sin(camber) = -(e_x sin d + e_y e_z (1 - cos d)) for a turn d about e, left wheel, exact."""
    states = _steered(axis_corner(caster, kingpin), np.linspace(-55.0, 55.0, 23))
    e = _axis(caster, kingpin)
    assert states.reached.all()
    for s in range(23):
        turn = _turn_of(states.raw[k.SPINDLE : k.SPINDLE + 3, s, 0], e)
        exact = -(e[0] * np.sin(turn) + e[1] * e[2] * (1.0 - np.cos(turn)))
        assert np.sin(np.radians(states.camber[s, 0])) == pytest.approx(exact, abs=1e-12)
        assert states.caster[s, 0] == pytest.approx(caster, abs=1e-9)
        assert states.kingpin_inclination[s, 0] == pytest.approx(kingpin, abs=1e-9)


@pytest.mark.parametrize(
    ("turn", "road", "camber", "small_angle"),
    [
        (-30, -29.3221, -0.8930, -0.8923),
        (-20, -19.5386, -0.9733, -0.9864),
        (-10, -9.7596, -0.6726, -0.6859),
        (10, 9.7293, 1.0241, 1.0505),
        (20, 19.4234, 2.3692, 2.4338),
        (30, 29.0851, 3.9956, 4.1077),
    ],
)
def test_camber_on_lock_table(turn: float, road: float, camber: float, small_angle: float) -> None:
    """[D] table of section D, recomputed: caster 5, kingpin 12 deg, left wheel, steer + = left.

    The rack is moved until the wheel's axis has turned so far; road steer and camber are then read.
    The last column is caster sin d + kingpin (1 - cos d), good to 0.12 deg only.
    """
    left, e = axis_corner(5.0, 12.0), _axis(5.0, 12.0)

    def state(rack: float) -> CornerStates:
        return _steered(left, np.array([rack]))

    def over(rack: float) -> float:
        spindle = state(rack).raw[k.SPINDLE : k.SPINDLE + 3, 0, 0]
        return float(np.degrees(_turn_of(spindle, e)) - turn)

    there = state(float(brentq(over, -65.0, 65.0, xtol=1e-12)))
    assert -there.toe[0, 0] == pytest.approx(road, abs=6e-5)
    assert there.camber[0, 0] == pytest.approx(camber, abs=6e-5)
    assert there.camber[0, 0] == pytest.approx(small_angle, abs=0.12)


def test_caster_from_a_steer_sweep() -> None:
    """[P] method: January, SAE 850219, 1985, caster from camber at both ends of a steer sweep.

    [D] numbers, recomputed: caster 5, no kingpin inclination, +-20 deg about the axis: camber
    +-1.708184 deg, and (g1 - g2) / (2 sin 20) = 4.9944 deg.
    """
    left, e = axis_corner(5.0, 0.0), _axis(5.0, 0.0)
    camber = []
    for turn in (20.0, -20.0):
        rack = brentq(
            lambda u, turn=turn: np.degrees(
                _turn_of(_steered(left, np.array([u])).raw[k.SPINDLE : k.SPINDLE + 3, 0, 0], e)
            )
            - turn,
            -65.0, 65.0, xtol=1e-12,
        )  # fmt: skip
        camber.append(float(_steered(left, np.array([rack])).camber[0, 0]))
    assert camber[0] == pytest.approx(1.708184, abs=1e-6)
    assert camber[1] == pytest.approx(-1.708184, abs=1e-6)
    swept = (camber[0] - camber[1]) / (2.0 * np.sin(np.radians(20.0)))
    assert swept == pytest.approx(4.9944, abs=6e-5)


@pytest.mark.parametrize(("caster", "kingpin"), [(5.0, 12.0), (-3.0, 8.0), (7.5, -2.0)])
def test_caster_kingpin_trail_and_scrub_by_trigonometry(caster: float, kingpin: float) -> None:
    """[D] right triangles; signs as ISO 8855:2011 7.2 has them, scrub as Barton & Fieldhouse 2018 p. 117.

    From the ball joint at (10, 690, 180) the axis goes down 180 mm to the ground: forward by
    180 tan(caster), outward by 180 tan(kingpin). The contact point is (0, 720, 0).
    """
    car = scene(axis_corner(caster, kingpin))
    assert figure("caster", car) == pytest.approx(caster, abs=1e-9)
    assert figure("kingpin_inclination", car) == pytest.approx(kingpin, abs=1e-9)
    ahead = 10.0 + 180.0 * np.tan(np.radians(caster))
    inboard = 720.0 - (690.0 + 180.0 * np.tan(np.radians(kingpin)))
    assert figure("mechanical_trail", car) == pytest.approx(ahead, abs=1e-9)
    assert figure("scrub_radius", car) == pytest.approx(inboard, abs=1e-9)
    assert figure("track_width", car) == pytest.approx(1440.0, abs=1e-9)


def test_trail_and_scrub_turn_with_the_wheel() -> None:
    """[D] at any steer, trail^2 + scrub^2 is the distance on the ground from axis to contact point."""
    states = _steered(axis_corner(6.0, 11.0), np.array([-40.0, 30.0]))
    scrub, trail = states.scrub_and_trail()
    for s in range(2):
        ball = states.raw[k.BALL_JOINT : k.BALL_JOINT + 3, s, 0]
        contact = states.raw[k.CONTACT : k.CONTACT + 3, s, 0]
        e = _axis(6.0, 11.0)
        ground = ball + e * (contact[2] - ball[2]) / e[2]
        away = float(np.hypot(*(contact - ground)[:2]))
        assert np.hypot(scrub[s, 0], trail[s, 0]) == pytest.approx(away, abs=1e-9)


def test_lift_at_lock_by_turning_the_wheel_about_its_axis() -> None:
    """[D] the straight wheel turned about e (Rodrigues); its lowest point against the straight one's."""
    left, e = axis_corner(6.0, 11.0), _axis(6.0, 11.0)
    car = scene(left, rack_travel=48.0)
    toward = float(car.rack_at(At(turn=1.0))[0])
    for wheel, rack in (("inner", toward), ("outer", -toward)):
        spindle = _steered(left, np.array([rack])).raw[k.SPINDLE : k.SPINDLE + 3, 0, 0]
        turn = _turn_of(spindle, e)
        ball, centre = np.array([10.0, 690.0, 180.0]), np.array([0.0, 720.0, 300.0])

        def turned(v: Floats, turn: float = turn) -> Floats:
            along = e * (e @ v)
            return along + np.cos(turn) * (v - along) + np.sin(turn) * np.cross(e, v)

        axle = turned(np.array([0.0, 1.0, 0.0]))
        lowest = (ball + turned(centre - ball))[2] - 300.0 * np.sqrt(1.0 - axle[2] ** 2)
        assert figure("lift_at_lock", car, Ask(wheel=wheel)) == pytest.approx(-lowest, abs=1e-8)


# --- roll centre

INNER, BALL, TOP, CONTACT = (350.0, 215.0), (690.0, 185.0), (580.0, 830.0), (720.0, 0.0)


def plane_strut() -> Floats:
    """[D] B1's front-view points as a corner that can only move in its own plane.

    Arm pivots run along x; the tie rod is the arm's twin 120 mm further back, so toe cannot change.
    """
    strut = np.array(TOP) - np.array(BALL)
    lower = np.array(BALL) + 0.3 * strut
    return columns(
        {
            "arm_front": (150.0, *INNER),
            "arm_rear": (-150.0, *INNER),
            "ball_joint": (0.0, *BALL),
            "top_mount": (0.0, *TOP),
            "strut_lower": (0.0, *lower),
            "tie_rod_outer": (-120.0, *BALL),
            "tie_rod_inner": (-120.0, *INNER),
            "hub_face": (0.0, CONTACT[0], 300.0),
        }
    )


def _meet(a: Floats, along_a: Floats, b: Floats, along_b: Floats) -> Floats:
    """Where two lines of the plane meet."""
    share = np.linalg.solve(np.column_stack([along_a, -along_b]), b - a)
    return np.asarray(a + share[0] * along_a)


def test_roll_centre_by_construction() -> None:
    """[M] construction (Reimpell), [D] numbers of B1, recomputed.

    Perpendicular to the strut's axis at the top mount and the arm's line meet at (-1874.98, 411.32) mm; the
    line from there to the contact point crosses the centre plane 114.125 mm above the ground.
    """
    inner, ball, top, contact = (np.array(p) for p in (INNER, BALL, TOP, CONTACT))
    strut = top - ball
    pole = _meet(top, np.array([-strut[1], strut[0]]), inner, ball - inner)
    assert pole == pytest.approx([-1874.98, 411.32], abs=0.006)
    drawn = _meet(pole, contact - pole, np.zeros(2), np.array([0.0, 1.0]))[1]
    assert drawn == pytest.approx(114.125, abs=6e-4)
    car = scene(plane_strut())
    assert figure("roll_centre_height", car) == pytest.approx(114.125, abs=6e-4)
    assert figure("roll_centre_height", car) == pytest.approx(drawn, abs=1e-9)


def test_roll_centre_by_the_handbook_formula() -> None:
    """[M] closed form of Reimpell, Stoll & Betzler, The Automotive Chassis, 2nd ed. 2001, 3.4.3.

    h = (b / 2) p / (k cos B + d tan S + r), p = k sin B + d, strut: k = (c + o) / sin(A + B).
    """
    strut = np.array(TOP) - np.array(BALL)
    tilt = np.arctan(-strut[0] / strut[1])  # of the strut, here the kingpin inclination too
    arm = np.arctan((INNER[1] - BALL[1]) / (BALL[0] - INNER[0]))
    k_ = np.hypot(*strut) / np.sin(tilt + arm)
    p = k_ * np.sin(arm) + BALL[1]
    scrub = CONTACT[0] - BALL[0] - BALL[1] * np.tan(tilt)
    h = CONTACT[0] * p / (k_ * np.cos(arm) + BALL[1] * np.tan(tilt) + scrub)
    assert np.degrees([tilt, arm]) == pytest.approx([9.6783, 5.0425], abs=6e-5)
    assert scrub == pytest.approx(-1.5504, abs=6e-5)
    assert figure("roll_centre_height", scene(plane_strut())) == pytest.approx(h, abs=1e-9)


@pytest.mark.parametrize("travel", [-40.0, 0.0, 25.0])
def test_roll_centre_is_the_slope_of_the_contact_path(travel: float) -> None:
    """[D] y times dy/dz of the contact point by central differences over 0.02 mm; toe stands still."""
    left = plane_strut()
    at = travel + np.array([-0.01, 0.0, 0.01])
    states = solve(left, at, np.zeros((3, 1)))
    y, z = states.raw[k.CONTACT + 1, :, 0], states.raw[k.CONTACT + 2, :, 0]
    slope = (y[2] - y[0]) / (z[2] - z[0])
    curve = MEASURES["roll_centre_height"].curve
    assert curve is not None
    got = curve(scene(left), "left", np.array([travel]))
    assert float(got[0, 0]) == pytest.approx(y[1] * slope, abs=1e-5)
    np.testing.assert_allclose(states.toe, 0.0, atol=1e-9)


def test_roll_couple_by_hand() -> None:
    """[D] CG 520 over a roll axis from 114.125 (front, 55 % of the mass) to 140 mm (rear)."""
    expected = 520.0 - (0.55 * 114.125 + 0.45 * 140.0)
    assert figure("roll_couple", scene(plane_strut())) == pytest.approx(expected, abs=6e-4)

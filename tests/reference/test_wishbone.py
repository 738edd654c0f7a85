"""A double-wishbone corner against a textbook's hard points, planar geometry and link lengths.

The hard points are those of a listing in the style of Rill & Castro, Road Vehicle Dynamics, 2nd ed., CRC
2020, ch. 5 (attribution inferred; inputs second-hand). The expected figures were recomputed apart from
this code, with rigid links and constant joint distances, residuals below 1e-15 m; they are not the book's.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.states import CornerStates, solve
from tests.cars import MIDDLING, Car, geometry
from tests.wishbones import WISHBONES

# Origin at the wheel centre there; here 300 mm up, the figures' tyre radius. Rear and front as listed.
TEXTBOOK = Car(
    name="textbook",
    about="double wishbone with rack",
    points={
        "arm_front": (148.0, 320.0, 206.0),
        "arm_rear": (-251.0, 320.0, 220.0),
        "ball_joint": (13.0, 737.0, 155.0),
        "upper_front": (122.0, 435.0, 530.0),
        "upper_rear": (-105.0, 435.0, 496.0),
        "upper_ball_joint": (-25.0, 680.0, 462.0),
        "tie_rod_outer": (-137.0, 690.0, 212.0),
        "tie_rod_inner": (-150.0, 380.0, 262.0),
        "hub_face": (0.0, 768.0, 300.0),
    },
    toe=0.0,
    camber=0.0,
    inset=0.0,
    loaded_radius=300.0,
    wheelbase=2500.0,
    rack_travel=74.5,
)

# dz mm, lower arm deg, steer deg (left positive), camber, caster, kingpin inclination deg, dx, dy mm
TRAVEL = np.array([
    [-80, -11.4458, 0.25049, -2.31095, 4.2541, 12.7976, 4.078, -25.263],
    [-60, -8.5116, 0.16335, -1.35602, 4.9694, 11.8487, 3.039, -16.308],
    [-40, -5.6333, 0.09704, -0.70124, 5.6722, 11.2012, 2.016, -9.278],
    [-20, -2.7994, 0.04418, -0.26493, 6.3669, 10.7734, 1.003, -3.898],
    [0, 0.0, 0.0, 0.0, 7.0561, 10.5182, 0.0, 0.0],
    [20, 2.7736, -0.03856, 0.12228, 7.7416, 10.4068, -0.993, 2.526],
    [40, 5.5293, -0.07345, 0.11965, 8.4248, 10.4212, -1.976, 3.750],
    [60, 8.2742, -0.10585, 0.00261, 9.1067, 10.5511, -2.950, 3.716],
    [80, 11.0153, -0.13640, -0.22364, 9.7883, 10.7910, -3.913, 2.444],
])  # fmt: skip

# Lower arm held: rack mm (left positive), steer deg, camber deg, wheel-centre z mm
RACK = np.array([
    [-74.5, 40.0096, 7.0951, -6.708],
    [-60, 28.8722, 4.7727, -4.451],
    [-40, 17.8371, 2.6935, -2.469],
    [-20, 8.5364, 1.1726, -1.056],
    [20, -8.1855, -0.9000, 0.773],
    [40, -16.2589, -1.5558, 1.292],
    [60, -24.3878, -1.9721, 1.562],
    [74.5, -30.3942, -2.1179, 1.596],
])  # fmt: skip


def printed(values: Floats, table: Floats, digits: int) -> None:
    """Equal to the digits printed."""
    np.testing.assert_allclose(values, table, rtol=0.0, atol=0.51 * 10.0**-digits)


def test_travel_of_the_textbook_corner() -> None:
    travel = TRAVEL[:, 0]
    states = solve(geometry(TEXTBOOK), travel, np.zeros((travel.size, 1)))
    assert states.reached.all()
    printed(np.degrees(2.0 * np.arctan(states.raw[k.ARM_T, :, 0])), TRAVEL[:, 1], 4)
    printed(-states.toe[:, 0], TRAVEL[:, 2], 5)
    printed(states.camber[:, 0], TRAVEL[:, 3], 5)
    printed(states.caster[:, 0], TRAVEL[:, 4], 4)
    printed(states.kingpin_inclination[:, 0], TRAVEL[:, 5], 4)
    printed(states.raw[k.CENTRE, :, 0], TRAVEL[:, 6], 3)
    printed(states.raw[k.CENTRE + 1, :, 0] - 768.0, TRAVEL[:, 7], 3)


def test_steering_of_the_textbook_corner() -> None:
    rack = RACK[:, 0]
    states = solve(geometry(TEXTBOOK), np.zeros(rack.size), rack[:, None], hold_arm=True)
    assert states.reached.all()
    printed(-states.toe[:, 0], RACK[:, 1], 4)
    printed(states.camber[:, 0], RACK[:, 2], 4)
    printed(states.raw[k.CENTRE + 2, :, 0] - 300.0, RACK[:, 3], 3)


@pytest.mark.parametrize(
    ("radius", "scrub", "trail"), [(300.0, 2.221, 32.186), (316.0, -0.749, 34.166)]
)
def test_steering_axis_of_the_textbook_corner(radius: float, scrub: float, trail: float) -> None:
    """Static caster, inclination, scrub and trail of the same listing, at both tyre radii."""
    states = solve(geometry(replace(TEXTBOOK, loaded_radius=radius)), np.zeros(1), np.zeros((1, 1)))
    found = states.scrub_and_trail()
    printed(np.array([found[0][0, 0], found[1][0, 0]]), np.array([scrub, trail]), 3)
    assert geometry(TEXTBOOK)[k.ROD_LENGTH, 0] == pytest.approx(314.2754, abs=5e-5)


@pytest.mark.parametrize(("radius", "height"), [(300.0, 84.605), (316.0, 82.569)])
def test_roll_centre_of_the_textbook_corner(radius: float, height: float) -> None:
    """y dy/dz of the contact point, recomputed apart by differences of 0.01 mm; radii as printed there."""
    states = solve(geometry(replace(TEXTBOOK, loaded_radius=radius)), np.zeros(1), np.zeros((1, 1)))
    found = states.raw[k.CONTACT + 1, 0, 0] * states.contact_slope[0, 0]
    assert found == pytest.approx(height, abs=6e-4)


# --- planar: the classical construction

LOWER, LOWER_IN = (690.0, 185.0), (350.0, 200.0)
UPPER, UPPER_IN = (640.0, 500.0), (420.0, 470.0)
HALF_TRACK = 720.0


def formula() -> float:
    """Reimpell, Stoll & Betzler, The Automotive Chassis, 2nd ed. 2001, section 3.4.3 (from memory), mm."""
    (yl, zl), (yu, zu) = LOWER, UPPER
    alpha = np.arctan2(zu - UPPER_IN[1], yu - UPPER_IN[0])  # upper line falls inboard
    beta = np.arctan2(LOWER_IN[1] - zl, yl - LOWER_IN[0])  # lower line rises inboard
    sigma = np.arctan2(yl - yu, zu - zl)
    reach = np.hypot(yu - yl, zu - zl)
    k_ = reach * np.sin(np.pi / 2 + sigma - alpha) / np.sin(alpha + beta)
    scrub = HALF_TRACK - (yl + zl * np.tan(sigma))
    p = k_ * np.sin(beta) + zl
    return float(HALF_TRACK * p / (k_ * np.cos(beta) + zl * np.tan(sigma) + scrub))


def intersection() -> float:
    """Lines of both arms meet in the instant centre; its line to the contact point cuts the centre plane."""
    a = np.array([[UPPER[1] - UPPER_IN[1], UPPER_IN[0] - UPPER[0]],
                  [LOWER[1] - LOWER_IN[1], LOWER_IN[0] - LOWER[0]]])  # fmt: skip
    b = np.array([a[0] @ np.array(UPPER), a[1] @ np.array(LOWER)])
    y, z = np.linalg.solve(a, b)
    return float(z * HALF_TRACK / (HALF_TRACK - y))


def test_roll_centre_by_formula_intersection_and_kernel() -> None:
    """A planar corner's three ways to its roll centre; 104.704 mm as computed apart."""
    ends = {"arm": LOWER_IN, "upper": UPPER_IN}
    points = {}
    for arm, (y, z) in ends.items():
        points[f"{arm}_front"], points[f"{arm}_rear"] = (150.0, y, z), (-150.0, y, z)
    points |= {
        "ball_joint": (0.0, *LOWER),
        "upper_ball_joint": (0.0, *UPPER),
        "tie_rod_outer": (-120.0, *LOWER),
        "tie_rod_inner": (-120.0, *LOWER_IN),
        "hub_face": (0.0, HALF_TRACK, 300.0),
    }
    car = Car("planar", "", points, 0.0, 0.0, 0.0, 300.0, 2500.0, 60.0)
    states = solve(geometry(car), np.zeros(1), np.zeros((1, 1)))
    found = HALF_TRACK * states.contact_slope[0, 0]
    assert intersection() == pytest.approx(104.704, abs=5e-4)
    assert formula() == pytest.approx(intersection(), abs=1e-6)
    assert found == pytest.approx(intersection(), abs=1e-6)


# --- links and mirror


def _vector(states: CornerStates, row: int) -> Floats:
    return states.raw[row : row + 3, :, 0]


@pytest.mark.parametrize("car", (TEXTBOOK, *WISHBONES), ids=lambda car: car.name)
def test_links_keep_their_lengths_to_1e_9(car: Car) -> None:
    """Both arms, kingpin and tie rod, over all of travel and rack; the upper joint by axis and kingpin."""
    shares = np.linspace(-1.0, 1.0, 11)
    travel, share = (m.ravel() for m in np.meshgrid(np.linspace(-60, 60, 13), shares))
    rack = share * car.rack_travel
    states = solve(geometry(car), travel, rack[:, None])
    assert states.reached.all()
    p = {name: point[:, None] for name, point in car.vectors().items()}
    lower, outer = _vector(states, k.BALL_JOINT), _vector(states, k.ROD_OUTER)
    kingpin = np.linalg.norm(p["upper_ball_joint"] - p["ball_joint"])
    upper = lower + kingpin * _vector(states, k.AXIS)
    inner = p["tie_rod_inner"] + np.stack([0.0 * rack, rack, 0.0 * rack])

    def kept(a: Floats, b: Floats, first: str, second: str) -> None:
        length = np.linalg.norm(p[first] - p[second])
        np.testing.assert_allclose(np.linalg.norm(a - b, axis=0), length, rtol=0.0, atol=1e-9)

    for end in ("front", "rear"):
        kept(lower, p[f"arm_{end}"], "ball_joint", f"arm_{end}")
        kept(upper, p[f"upper_{end}"], "upper_ball_joint", f"upper_{end}")
    kept(outer, inner, "tie_rod_outer", "tie_rod_inner")
    # the outer rod joint keeps its distances in the knuckle, and so does the wheel centre
    kept(outer, lower, "tie_rod_outer", "ball_joint")
    kept(outer, upper, "tie_rod_outer", "upper_ball_joint")


def test_a_pose_that_the_upper_arm_cannot_follow_is_marked() -> None:
    """A short upper arm: the lower joint may not go where the kingpin no longer spans to its circle.

    Bounds by the raw distances: the lower joint's distance to the upper circle's own plane-and-radius is
    least over 20,000 points of that circle; where that is more than the kingpin, there is no pose.
    """
    car = WISHBONES[2]
    columns = geometry(car)
    angles = np.radians(np.linspace(-70.0, 70.0, 57))
    p = car.vectors()

    def around(front: str, rear: str, joint: str, turn: Floats) -> Floats:
        axis = (p[front] - p[rear]) / np.linalg.norm(p[front] - p[rear])
        spoke = p[joint] - p[rear]
        along = axis * (axis @ spoke)
        across = spoke - along
        side = np.cross(axis, across)
        side = side * np.sign(side[2])
        return p[rear] + along + np.outer(np.cos(turn), across) + np.outer(np.sin(turn), side)

    lower = around("arm_front", "arm_rear", "ball_joint", angles)
    circle = around(
        "upper_front", "upper_rear", "upper_ball_joint", np.linspace(0.0, 2.0 * np.pi, 20_000)
    )
    far = np.linalg.norm(lower[:, None, :] - circle[None, :, :], axis=2)
    kingpin = np.linalg.norm(p["upper_ball_joint"] - p["ball_joint"])
    spans = (far.min(axis=1) < kingpin) & (far.max(axis=1) > kingpin)
    assert spans.any()
    assert not spans.all()
    wide = np.repeat(columns, angles.size, axis=1)
    wide[k.START] = np.tan(0.5 * angles)
    # the wheel held in its toe: the rod must play no part
    states = _held(wide)
    np.testing.assert_array_equal(states.marks[0] == k.REACHED, spans)


def _held(wide: Floats) -> CornerStates:
    return solve(wide, np.zeros(1), np.zeros((1, wide.shape[1])), toe=0.0, hold_arm=True)


def test_struts_and_wishbones_do_not_mix() -> None:
    both = np.concatenate([geometry(MIDDLING), geometry(TEXTBOOK)], axis=1)
    with pytest.raises(ValueError, match="one call"):
        solve(both, np.zeros(1), np.zeros((1, 2)))


def test_the_upper_arms_other_pose_is_another() -> None:
    """The branch decides: folded over, the upper arm gives another steering axis at the same lower arm."""
    columns = geometry(TEXTBOOK)
    other = columns.copy()
    other[k.UPPER_BRANCH] *= -1.0
    there, folded = (
        solve(g, np.zeros(1), np.zeros((1, 1)), toe=0.0, hold_arm=True) for g in (columns, other)
    )
    assert there.kingpin_inclination[0, 0] == pytest.approx(10.5182, abs=1e-4)
    assert folded.reached.all()
    assert abs(folded.kingpin_inclination[0, 0] - 10.5182) > 10.0

"""What must hold for every state of every plausible corner."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kinematics import corner as c
from kinematics import kernel
from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.states import CornerStates, solve
from tests.cars import CARS, MIDDLING, Car, corners, geometry
from tests.properties.plausible import cars, knuckle_axes, state_grids
from tests.wishbones import ROADSTER, WISHBONES

Grid = tuple[Floats, Floats]
COMMON = settings(max_examples=60, deadline=None)


def solved(car: Car, grid: Grid) -> tuple[CornerStates, Floats]:
    travel, share = grid
    rack = share * car.rack_travel
    return solve(geometry(car), travel, rack[:, None]), rack


def away(a: Floats, b: Floats) -> Floats:
    """Distances between points, vectors along the first axis."""
    return np.sqrt(((a - b) ** 2).sum(axis=0))


def vector(states: CornerStates, row: int) -> Floats:
    """A vector of one lane, (3, n_states), not-a-number where the state was not reached."""
    return np.stack([states.row(row + axis)[:, 0] for axis in range(3)])


@COMMON
@given(cars(), state_grids())
def test_links_keep_their_lengths(car: Car, grid: Grid) -> None:
    """Arms, tie rod and the strut's line through the top mount, in every reached state, to 1e-7 mm."""
    states, rack = solved(car, grid)
    there = states.reached[:, 0]
    assume(there.any())
    p = {name: point[:, None] for name, point in car.vectors().items()}
    ball, outer = vector(states, k.BALL_JOINT)[:, there], vector(states, k.ROD_OUTER)[:, there]
    for pivot in ("arm_front", "arm_rear"):
        length = away(p["ball_joint"], p[pivot])
        np.testing.assert_allclose(away(ball, p[pivot]), length[0], rtol=0.0, atol=1e-7)
    inner = p["tie_rod_inner"] + np.array([0.0, 1.0, 0.0])[:, None] * rack[there]
    rod = away(p["tie_rod_outer"], p["tie_rod_inner"])
    np.testing.assert_allclose(away(outer, inner), rod[0], rtol=0.0, atol=1e-7)
    axes = knuckle_axes(states)[..., 0][:, :, there]
    measured = corners(car)
    if isinstance(measured.upper, c.UpperArm):
        # the knuckle's upper joint must keep its distances to the upper arm's pivots
        up = measured.upper.knuckle_ball_joint - measured.knuckle_ball_joint
        upper = ball + np.einsum("vks,kn->vs", axes, up)
        for pivot in ("upper_front", "upper_rear"):
            length = away(p["upper_ball_joint"], p[pivot])
            np.testing.assert_allclose(away(upper, p[pivot]), length[0], rtol=0.0, atol=1e-7)
        return
    # the top mount as the knuckle sees it must lie on the sliding axis, STRUT_LENGTH up from the foot
    seen = np.einsum("vks,vs->ks", axes, p["top_mount"] - ball)
    start = measured.upper.lower - measured.knuckle_ball_joint
    along = measured.upper.direction
    foot = start - along * (start * along).sum(axis=0)
    on_axis = foot + along * states.row(k.STRUT_LENGTH)[there, 0]
    np.testing.assert_allclose(seen, on_axis, rtol=0.0, atol=1e-7)


@COMMON
@given(cars(), state_grids())
def test_the_knuckle_is_rigid(car: Car, grid: Grid) -> None:
    """Its axes stay square and of unit length; joints and wheel centre keep their places in it."""
    states, _ = solved(car, grid)
    there = states.reached[:, 0]
    assume(there.any())
    axes = knuckle_axes(states)[..., 0][:, :, there]
    product = np.einsum("vis,vjs->ijs", axes, axes)
    np.testing.assert_allclose(product, np.eye(3)[..., None] + 0.0 * product, atol=1e-11)
    measured = corners(car)
    ball = vector(states, k.BALL_JOINT)[:, there]
    wheel = np.stack([np.zeros(1), measured.wheel_inset, np.zeros(1)])
    for row, place in ((k.ROD_OUTER, measured.tie_rod_outer), (k.CENTRE, wheel)):
        seen = np.einsum("vks,vs->ks", axes, vector(states, row)[:, there] - ball)
        kept = place - measured.knuckle_ball_joint
        np.testing.assert_allclose(seen, kept + 0.0 * seen, rtol=0.0, atol=1e-7)


@COMMON
@given(cars(), state_grids())
def test_wheel_centre_and_contact_point_are_where_they_are_said(car: Car, grid: Grid) -> None:
    """Travel is the wheel centre's rise; the contact point is a loaded radius away in the wheel plane."""
    states, _ = solved(car, grid)
    there = states.reached[:, 0]
    assume(there.any())
    centre, contact = vector(states, k.CENTRE)[:, there], vector(states, k.CONTACT)[:, there]
    spindle = vector(states, k.SPINDLE)[:, there]
    ride = corners(car).ride_z[0]
    np.testing.assert_allclose(centre[2] - ride, grid[0][there], rtol=0.0, atol=kernel.PLACED)
    np.testing.assert_allclose(away(contact, centre), car.loaded_radius, rtol=1e-12)
    np.testing.assert_allclose(((contact - centre) * spindle).sum(axis=0), 0.0, atol=1e-9)
    # steepest: no sideways part along the wheel's level heading
    level = np.stack([spindle[1], -spindle[0]])
    np.testing.assert_allclose(((contact - centre)[:2] * level).sum(axis=0), 0.0, atol=1e-9)


@COMMON
@given(cars())
def test_the_measured_state_comes_back(car: Car) -> None:
    """Travel 0 and rack 0 give the measured points to 1e-7 mm and the measured angles to 1e-9 deg."""
    states = solve(geometry(car), np.zeros(1), np.zeros((1, 1)))
    assert states.reached.all()
    p = car.vectors()
    for row, name in ((k.BALL_JOINT, "ball_joint"), (k.ROD_OUTER, "tie_rod_outer")):
        np.testing.assert_allclose(states.raw[row : row + 3, 0, 0], p[name], rtol=0.0, atol=1e-7)
    frame = c.knuckle_frame(car.toe, car.camber)
    centre = p["hub_face"] + car.inset * frame[:, 1]
    np.testing.assert_allclose(
        states.raw[k.CENTRE : k.CENTRE + 3, 0, 0], centre, rtol=0.0, atol=1e-7
    )
    assert states.toe[0, 0] == pytest.approx(car.toe, abs=1e-9)
    assert states.camber[0, 0] == pytest.approx(car.camber, abs=1e-9)


@COMMON
@given(cars(), st.floats(-45.0, 45.0), st.floats(-0.5, 0.5))
def test_a_set_toe_is_the_toe_that_comes_out(car: Car, lowered: float, toe: float) -> None:
    """Inverse, then forward: rods made for a toe at a ride height give that toe there."""
    columns = c.pack(corners(car).lowered(lowered))
    pose = c.set_toe(columns, toe)
    states = solve(columns, np.zeros(1), np.zeros((1, 1)))
    assert pose.reached.all()
    assert states.reached.all()
    assert states.toe[0, 0] == pytest.approx(toe, abs=1e-9)
    # everything but the rates, which are those of a held toe in one and of a held rod in the other
    rows = np.setdiff1d(
        np.arange(k.STATE_ROWS), [k.CONTACT_RATE_Y, k.CONTACT_RATE_Z, k.CENTRE_RATE_Z]
    )
    np.testing.assert_allclose(states.raw[rows, 0, 0], pose.raw[rows, 0, 0], rtol=0.0, atol=1e-7)


@COMMON
@given(cars(), state_grids())
def test_contact_slope_is_the_numeric_derivative(car: Car, grid: Grid) -> None:
    """Central differences over 0.02 mm of travel, rack held; 10 deg or more from over-centre."""
    travel, share = grid
    at = np.concatenate([travel, travel - 0.01, travel + 0.01])
    states, _ = solved(car, (at, np.tile(share, 3)))
    n = travel.size
    usable = (np.nan_to_num(states.toggle[:, 0]).reshape(3, n) > 10.0).all(axis=0)
    y, z = (states.row(k.CONTACT + axis)[:, 0].reshape(3, n) for axis in (1, 2))
    numeric = (y[2] - y[1]) / (z[2] - z[1])
    np.testing.assert_allclose(
        states.contact_slope[:n, 0][usable], numeric[usable], rtol=0.0, atol=1e-6
    )


@COMMON
@given(cars(), state_grids())
def test_figures_are_continuous(car: Car, grid: Grid) -> None:
    """A step of 0.01 mm in travel or rack changes no figure by more than its steepest slope allows.

    15 deg or more from over-centre: there 1 mm of rack turns a 50 mm arm by 57.3 / (50 sin 15) < 5 deg.
    """
    travel, share = grid
    step = 0.01
    shift = step / car.rack_travel
    states, _ = solved(
        car,
        (
            np.concatenate([travel, travel + step, travel]),
            np.concatenate([share, share, share + shift]),
        ),
    )
    n = travel.size
    usable = (np.nan_to_num(states.toggle[:, 0]).reshape(3, n) > 15.0).all(axis=0)
    scrub, trail = states.scrub_and_trail()
    for figure, steepest in (
        (states.toe, 5.0),
        (states.camber, 2.0),
        (states.caster, 0.5),
        (states.kingpin_inclination, 0.5),
        (states.toggle, 6.0),
        (states.contact_slope, 0.3),
        (scrub, 10.0),
        (trail, 10.0),
        (states.row(k.CONTACT + 1), 10.0),
    ):
        three = figure[:, 0].reshape(3, n)[:, usable]
        assert np.isfinite(three).all()
        assert (np.abs(three[1:] - three[0]) <= steepest * step).all()


@COMMON
@given(cars(), state_grids())
def test_toggle_is_the_angle_between_rod_and_arm(car: Car, grid: Grid) -> None:
    """Closed form against vectors: both seen along the steering axis, the angle or its supplement."""
    states, rack = solved(car, grid)
    there = states.reached[:, 0]
    ball, outer = vector(states, k.BALL_JOINT)[:, there], vector(states, k.ROD_OUTER)[:, there]
    inner = (
        car.vectors()["tie_rod_inner"][:, None] + np.array([0.0, 1.0, 0.0])[:, None] * rack[there]
    )
    if "top_mount" not in car.points:
        axis = vector(states, k.AXIS)[:, there]
    else:
        axis = car.vectors()["top_mount"][:, None] - ball
        axis = axis / away(axis, 0.0)
    arm, rod = (v - axis * (axis * v).sum(axis=0) for v in (outer - ball, outer - inner))
    across = away(np.cross(arm, rod, axis=0), 0.0)
    angle = np.degrees(np.arctan2(across, np.abs((arm * rod).sum(axis=0))))
    np.testing.assert_allclose(states.toggle[there, 0], angle, rtol=0.0, atol=1e-7)


@settings(max_examples=30, deadline=None)
@given(cars(), st.sampled_from([-50.0, 0.0, 50.0]))
def test_an_inverted_linkage_is_never_more_lock(car: Car, travel: float) -> None:
    """Pushed on past its reach, the rack never finds a reachable state again, up to 250 mm each way."""
    far = np.arange(0.0, 250.0, 0.5)
    for way in (-1.0, 1.0):
        states = solve(geometry(car), np.full(far.size, travel), way * far[:, None])
        reached = states.reached[:, 0]
        assert reached[0]
        assert not (np.diff(reached.astype(int)) > 0).any()
        # and up to there it steers one way only, round the clock if need be
        steer = np.unwrap(states.toe[reached, 0], period=360.0)
        assert (np.diff(steer) > 0.0).all() or (np.diff(steer) < 0.0).all()


# --- lanes beside one another


def _bits(states: CornerStates, lane: int, state: int) -> bytes:
    return states.raw[:, state, lane].tobytes() + states.marks[state, lane].tobytes()


@settings(max_examples=30, deadline=None)
@given(
    st.one_of(
        st.lists(cars(CARS), min_size=2, max_size=5),
        st.lists(cars(WISHBONES), min_size=2, max_size=5),
    ),
    state_grids(states=6),
    st.integers(1, 70),
    st.randoms(use_true_random=False),
)
def test_a_lanes_figures_hang_on_itself_alone(batch, grid, width, random) -> None:  # type: ignore[no-untyped-def]
    """Bit for bit: alone, in any company (out of reach, not a number), at any place, in any width."""
    alone = [geometry(car) for car in batch]
    broken = np.full_like(alone[0], np.nan)
    pool = [*alone, broken]
    order = [random.randrange(len(pool)) for _ in range(width)]
    together = np.concatenate([pool[number] for number in order], axis=1)
    travel, share = grid
    rack = 70.0 * share
    full = solve(together, travel, np.repeat(rack[:, None], width, axis=1))
    for place, number in enumerate(order):
        if number == len(alone):
            assert not full.reached[:, place].any()
            continue
        for s in range(travel.size):
            single = solve(alone[number], travel[s : s + 1], rack[s : s + 1, None])
            assert _bits(full, place, s) == _bits(single, 0, 0)


@pytest.mark.parametrize("some", [CARS, WISHBONES], ids=["strut", "wishbone"])
@pytest.mark.parametrize("width", [1, 3, 31, 32, 33, 64, 65, 129])
def test_the_batchs_width_does_not_matter(width: int, some: tuple[Car, ...]) -> None:
    """Bit for bit against a batch of 200 lanes, with toe held and with the arm held too."""
    wide = np.concatenate([geometry(some[n % len(some)]) for n in range(200)], axis=1)
    travel = np.array([-30.0, 0.0, 55.0])
    rack = np.linspace(-50.0, 90.0, 200)[None, :] * np.array([[1.0], [0.0], [-1.0]])
    for how in ({}, {"toe": 0.1}, {"hold_arm": True}):
        full = solve(wide, travel, rack, **how)
        part = solve(wide[:, :width], travel, rack[:, :width], **how)
        np.testing.assert_array_equal(part.raw, full.raw[:, :, :width])
        np.testing.assert_array_equal(part.marks, full.marks[:, :width])


# --- what is not a number


ROWS_OF_A_GUESS = (k.START, k.START_SLOPE)
# what a car's geometry says of no corner of its kind: a strut's upper arm, a wishbone's sliding axis
UNUSED = (
    (MIDDLING, {k.KIND, *range(k.UPPER_COS, k.GEOMETRY_ROWS)}),
    (ROADSTER, {k.KIND, *range(k.STRUT_AXIS, k.STRUT_AXIS + 3)}),
)
USED = [
    (car, row)
    for car, unused in UNUSED
    for row in range(k.GEOMETRY_ROWS)
    if row not in unused and row not in ROWS_OF_A_GUESS
]


@pytest.mark.parametrize(("car", "row"), USED, ids=lambda at: getattr(at, "name", at))
@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_what_is_not_a_number_is_never_reached(car: Car, row: int, bad: float) -> None:
    """One bad number in the geometry marks the state, whatever is held; its good neighbour is reached."""
    columns = np.repeat(geometry(car), 2, axis=1)
    columns[row, 0] = bad
    for how in ({}, {"hold_arm": True}):
        if how and row == k.RIDE_Z and np.isinf(bad):
            continue  # with the arm held the ride height plays no part
        states = solve(columns, np.array([0.0, 30.0]), np.zeros((2, 2)), **how)
        assert not states.reached[:, 0].any()
        assert states.reached[:, 1].all()
        assert np.isnan(states.toe[:, 0]).all()


@pytest.mark.parametrize("car", [MIDDLING, *WISHBONES], ids=lambda car: car.name)
def test_a_bad_guess_costs_time_only(car: Car) -> None:
    """The first guess is not geometry: with a wild one the same states are found."""
    good = geometry(car)
    travel, rack = np.array([-60.0, 0.0, 60.0]), np.array([[30.0], [0.0], [-60.0]])
    wanted = solve(good, travel, rack)
    for guess, slope in ((0.5, 0.0), (-0.7, 0.02), (np.nan, 0.0), (np.inf, np.nan)):
        wild = good.copy()
        wild[k.START], wild[k.START_SLOPE] = guess, slope
        found = solve(wild, travel, rack)
        assert found.reached.all()
        np.testing.assert_allclose(found.raw, wanted.raw, rtol=1e-9, atol=1e-8)


def test_travel_and_rack_that_are_not_numbers() -> None:
    states = solve(
        geometry(MIDDLING), np.array([np.nan, 0.0, np.inf]), np.array([[0.0], [np.nan], [0.0]])
    )
    assert not states.reached.any()


@pytest.mark.parametrize("car", [MIDDLING, *WISHBONES], ids=lambda car: car.name)
def test_far_out_of_reach_is_marked_as_what_it_is(car: Car) -> None:
    """No arm angle lifts the wheel by half a metre; no tie rod follows the rack by 300 mm."""
    columns = geometry(car)
    states = solve(
        columns, np.array([500.0, -500.0, 0.0, 0.0]), np.array([[0.0], [0.0], [-300.0], [350.0]])
    )
    assert list(states.marks[:, 0]) == [
        k.ARM_OUT_OF_REACH, k.ARM_OUT_OF_REACH, k.ROD_OUT_OF_REACH, k.ROD_OUT_OF_REACH,
    ]  # fmt: skip


def test_a_lane_that_cannot_stand_at_ride_height_is_reached_nowhere() -> None:
    """Lowered past the arm's reach there is no tie rod to set, so no other travel is a state either."""
    low = np.concatenate([c.pack(corners(MIDDLING).lowered(by)) for by in (50.0, 500.0)], axis=1)
    pose = c.set_toe(low, 0.0)
    assert list(pose.reached[0]) == [True, False]
    travel = np.linspace(-500.0, 60.0, 8)
    states = solve(low, travel, np.zeros((8, 2)))
    assert states.reached[-1, 0]
    assert not states.reached[:, 1].any()

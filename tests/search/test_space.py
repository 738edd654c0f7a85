"""Builds, their numbering, and what the forms of part effect do."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goals.car import Car as CarFile
from goals.duties import GoalsFile
from goals.parts import Parts, Stack
from goals.stacks import most_filled, piles
from kinematics import rows as k
from kinematics.measures import MEASURES
from optimiser.problem import Problem
from optimiser.space import AS_IS
from tests.cars import CARS
from tests.search.catalogues import car_mapping, random_problem


def problem_of(stations: dict[str, Any], **duty: Any) -> Problem:
    goals = {"format": 1, "car": "c", "parts": "p", "duties": {"only": duty}}
    return Problem(
        GoalsFile.model_validate(goals),
        CarFile.model_validate(car_mapping(CARS[0])),
        Parts.model_validate({"format": 1, "stations": stations}),
    )


def channels(problem: Problem, number: int, positions: list[int]) -> dict[str, Any]:
    assembly = problem.assembly(problem.space.build(number), "only")
    assert assembly is not None
    return assembly.channels("left", np.array([positions], dtype=np.int64).reshape(1, -1))


def test_leaving_a_station_as_it_is_is_a_build() -> None:
    problem = problem_of({"wheel": [{"id": "wide", "sets": {"wheel": {"offset": 10}}}]})
    assert problem.space.builds == 2
    assert [problem.space.build(n).name["wheel"] for n in range(2)] == [AS_IS, "wide"]


def test_parts_that_do_not_fit_together_make_no_build() -> None:
    stations = {
        "knuckle": [{"id": "a", "fits": {"not_with": ["y"]}}, {"id": "b"}],
        "wheel": [{"id": "x"}, {"id": "y"}],
    }
    problem = problem_of(stations)
    names = [tuple(problem.space.build(n).name.values()) for n in range(problem.space.builds)]
    assert ("a", "y") not in names
    assert len(names) == 3 * 3 - 1


@pytest.mark.parametrize("seed", range(5))
def test_combinations_are_the_product_of_what_can_be_set(seed: int) -> None:
    space = random_problem(seed).space
    counted = 0
    for number in range(space.builds):
        sizes = [d.size for d in space.build(number).dimensions]
        assert space.combinations(number) == int(np.prod(sizes))
        counted += int(np.prod(sizes))
    assert space.all_combinations == counted


def test_ball_joint_means_the_arms_end_for_an_arm_and_the_knuckles_elsewhere() -> None:
    arm = problem_of({"lower_arm": [{"id": "p", "moves": {"ball_joint": [0, 5, 0]}}]})
    knuckle = problem_of({"knuckle": [{"id": "p", "moves": {"ball_joint": [0, 0, -5]}}]})
    for problem, moved, still in (
        (arm, "arm_ball_joint", "knuckle_ball_joint"),
        (knuckle, "knuckle_ball_joint", "arm_ball_joint"),
    ):
        before, after = channels(problem, 0, []), channels(problem, 1, [])
        assert np.abs(after[moved] - before[moved]).sum() == pytest.approx(5.0)
        assert np.abs(after[still] - before[still]).sum() == 0.0


def test_an_adjuster_moves_by_millimetres_along_its_direction_whatever_its_length() -> None:
    part = {
        "id": "p",
        "today": True,
        "adjusts": {"slot": {"along": {"top_mount": [0, -3, 4]}, "range": [-5, 5], "step": 5}},
    }
    problem = problem_of({"top_mount": [part]})
    moved = channels(problem, 0, [2])["top_mount"] - channels(problem, 0, [1])["top_mount"]
    assert moved[:, 0] == pytest.approx([0.0, -3.0, 4.0])
    assert problem.space.build(0).dimensions[0].values == (-5.0, 0.0, 5.0)


def test_a_knuckles_points_are_in_its_own_frame() -> None:
    """A knuckle given the measured car's own points changes nothing, whatever camber and toe are."""
    from kinematics.corner import knuckle_frame

    car = CARS[0]
    frame = knuckle_frame(car.toe, car.camber)
    hub = np.array(car.points["hub_face"])
    own = {
        name: [float(v) for v in frame.T @ (np.array(car.points[name]) - hub)]
        for name in ("ball_joint", "tie_rod_outer", "strut_lower")
    }
    problem = problem_of({"knuckle": [{"id": "same", "points": own}]})
    scenes = []
    for number in range(2):
        assembly = problem.assembly(problem.space.build(number), "only")
        assert assembly is not None
        scenes.append(assembly.scene(np.zeros((1, 0), dtype=np.int64)))
    assert scenes[1].left[:, 0] == pytest.approx(scenes[0].left[:, 0], abs=1e-9)


def test_rack_rings_add_travel_and_move_the_inner_joint() -> None:
    part = {"id": "r", "moves": {"tie_rod_inner": [0, 6, 0]}, "adds": {"rack": {"travel": 6}}}
    problem = problem_of({"rack_end": [part]})
    before, after = channels(problem, 0, []), channels(problem, 1, [])
    assert after["rack.travel"][0] - before["rack.travel"][0] == pytest.approx(6.0)
    assert (after["tie_rod_inner"] - before["tie_rod_inner"])[1, 0] == pytest.approx(6.0)


def test_a_seat_is_set_to_the_duty_and_refuses_what_it_cannot_give() -> None:
    seat = {
        "id": "seat",
        "today": True,
        "adjusts": {"turned": {"adds": {"lowered_by": 1}, "range": [20, 40], "step": 5}},
    }
    within = problem_of({"spring_seat": [seat]}, lowered_by=31)
    assembly = within.assembly(within.space.build(0), "only")
    assert assembly is not None
    assert [d.values for d in assembly.dimensions] == [(30.0,)]
    span = problem_of({"spring_seat": [seat]}, lowered_by={"min": 24, "max": 36})
    assembly = span.assembly(span.space.build(0), "only")
    assert assembly is not None
    assert [d.values for d in assembly.dimensions] == [(25.0, 30.0, 35.0)]
    beyond = problem_of({"spring_seat": [seat]}, lowered_by=60)
    assert beyond.assembly(beyond.space.build(0), "only") is None


def test_lowering_sets_the_wheel_centre_that_much_higher_in_the_body() -> None:
    problem = problem_of({"wheel": [{"id": "w"}]}, lowered_by=45)
    level = problem_of({"wheel": [{"id": "w"}]})
    low = problem.assembly(problem.space.build(0), "only")
    high = level.assembly(level.space.build(0), "only")
    assert low is not None and high is not None
    none = np.zeros((1, 0), dtype=np.int64)
    rise = low.scene(none).left[k.RIDE_Z, 0] - high.scene(none).left[k.RIDE_Z, 0]
    assert rise == pytest.approx(45.0)


def brute_heights(stack: Stack) -> set[float]:
    """Every height by trying every subset of the pieces of one side."""
    pieces = [t for t, n in stack.pieces.items() for _ in range(n // 2)]
    heights = set()
    for count in range(len(pieces) + 1):
        for under in combinations(range(len(pieces)), count):
            height = sum(pieces[i] for i in under)
            left = [pieces[i] for i in range(len(pieces)) if i not in under]
            if stack.usable is None or _fills(left, stack.usable - height, stack.slack):
                heights.add(round(height, 6))
    return heights


def brute_fullest(stack: Stack, height: float, usable: float) -> float:
    """The most that fills a stud without going over it, of every subset that holds one of that height."""
    pieces = [t for t, n in stack.pieces.items() for _ in range(n // 2)]
    subsets = [some for count in range(len(pieces) + 1) for some in combinations(pieces, count)]
    sums = {round(sum(some), 6) for some in subsets if sum(some) <= usable + 1e-9
            and any(round(sum(under), 6) == round(height, 6)
                    for count in range(len(some) + 1) for under in combinations(some, count))}  # fmt: skip
    return max(sums)


def _fills(left: list[float], room: float, slack: float) -> bool:
    return any(
        room - slack - 1e-9 <= sum(some) <= room + 1e-9
        for count in range(len(left) + 1)
        for some in combinations(left, count)
    )


@settings(max_examples=60, deadline=None)
@given(
    pieces=st.dictionaries(
        st.sampled_from([0.5, 1.0, 2.0, 3.0, 5.0]), st.integers(0, 5), min_size=1
    ),
    usable=st.one_of(st.none(), st.integers(1, 14)),
    slack=st.sampled_from([0.0, 0.5, 1.0]),
)
def test_stack_heights_are_what_the_pieces_can_make(
    pieces: dict[float, int], usable: int | None, slack: float
) -> None:
    stack = Stack.model_validate(
        {
            "point": "tie_rod_outer",
            "along": [0, 0, -1],
            "pieces": pieces,
            "usable": usable,
            "slack": slack,
        }
    )
    ways = piles(stack)
    assert {w.height for w in ways} == brute_heights(stack)
    if usable is not None:
        # what is told when files are read: a stack that cannot be filled at all
        assert (most_filled(stack.pieces, usable, slack) is None) == (not ways)
    for way in ways:
        assert sum(way.under) == pytest.approx(way.height)
        for thickness in pieces:
            used = way.under.count(thickness) + way.above.count(thickness)
            assert used <= pieces[thickness] // 2
        if usable is not None:
            filled = sum(way.under) + sum(way.above)
            assert usable - slack - 1e-6 <= filled <= usable + 1e-6
            assert filled == pytest.approx(brute_fullest(stack, way.height, usable))


def test_what_a_stack_leaves_unfilled_is_a_figure_and_may_be_limited() -> None:
    """A stud of 20.5 mm: every height is filled to 20 or 20.5, by hand; a limit keeps the full ones alone."""
    stack = {
        "point": "tie_rod_outer",
        "along": [0, 0, -1],
        "pieces": {0.5: 2, 5: 8, 10: 2},
        "usable": 20.5,
        "slack": 0.5,
    }
    stations = {"tie_rod_stud": [{"id": "pieces", "today": True, "stack": stack}]}
    problem = problem_of(stations)
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    (dimension,) = assembly.dimensions
    assert dimension.steering_only
    scene = assembly.scene(np.arange(dimension.size, dtype=np.int64)[:, None])
    found = MEASURES["stack_fit"](scene)[0]
    by_hand = [20.5 - sum(pile.under) - sum(pile.above) for pile in dimension.stack]
    np.testing.assert_allclose(found, by_hand, atol=1e-9)
    assert ((found >= -1e-9) & (found <= 0.5 + 1e-9)).all()
    assert dimension.size == 10  # 0, 0.5, 5, 5.5 ... 20, 20.5


def test_a_car_without_a_stack_of_a_given_length_has_no_such_figure() -> None:
    problem = problem_of({"wheel": [{"id": "w"}]})
    assembly = problem.assembly(problem.space.build(0), "only")
    assert assembly is not None
    assert np.isnan(MEASURES["stack_fit"](assembly.scene(np.zeros((1, 0), dtype=np.int64)))).all()

"""What must hold of the anti-roll bar's linkage whatever the car."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.arrays import Floats
from kinematics.bar_link import BarLinkage, branch_of, level_length, solve_bar
from kinematics.bars import Bar, relative_rate, twist_rate
from tests.properties.test_loads import bars, between

places = st.tuples(between(-60.0, 60.0), between(-60.0, 60.0), between(-60.0, 60.0))


@st.composite
def linkages(draw: st.DrawFn) -> tuple[BarLinkage, Floats]:
    """A bar about where one is fitted, arm ahead or behind, link up or down; and where its joint is drawn."""
    ahead, up = draw(st.sampled_from([-1.0, 1.0])), draw(st.sampled_from([-1.0, 1.0]))
    pivot = np.array([0.0, 450.0, 250.0]) + draw(places)
    end = pivot + np.array([200.0 * ahead, 40.0, 0.0]) + 0.5 * np.array(draw(places))
    link = end + np.array([0.0, 10.0, 220.0 * up]) + 0.5 * np.array(draw(places))
    pivot, end, link = (point[:, None] for point in (pivot, end, link))
    length = np.sqrt(((link - end) ** 2).sum(axis=0))
    return BarLinkage(pivot, end, length, branch_of(pivot, end, link)), link


@given(drawn=linkages(), moved=places)
def test_the_drawn_place_is_a_solution_and_lengths_are_kept(
    drawn: tuple[BarLinkage, Floats], moved: tuple[float, float, float]
) -> None:
    linkage, link = drawn
    there = np.stack([link, link + 0.6 * np.array(moved)[:, None]], axis=1)
    states = solve_bar(linkage, there)
    assert states.reached.all()
    assert float(states.angle[0, 0]) == pytest.approx(0.0, abs=1e-9)
    arm = states.end - linkage.pivot[:, None, :]
    assert np.hypot(arm[0], arm[2]) == pytest.approx(linkage.lever * np.ones((2, 1)), rel=1e-12)
    assert arm[1] == pytest.approx((linkage.end - linkage.pivot)[1] * np.ones((2, 1)))
    gap = np.sqrt(((there - states.end) ** 2).sum(axis=0))
    assert gap == pytest.approx(linkage.length * np.ones((2, 1)), rel=1e-12)


@given(drawn=linkages(), moved=places, shift=places)
def test_moving_everything_together_changes_nothing(
    drawn: tuple[BarLinkage, Floats],
    moved: tuple[float, float, float],
    shift: tuple[float, float, float],
) -> None:
    linkage, link = drawn
    by = np.array(shift)[:, None]
    there = (link + 0.5 * np.array(moved)[:, None])[:, None, :]
    other = replace(linkage, pivot=linkage.pivot + by, end=linkage.end + by)
    here, gone = solve_bar(linkage, there), solve_bar(other, there + by[:, None, :])
    assert gone.angle == pytest.approx(here.angle, abs=1e-11)
    assert gone.link_angle == pytest.approx(here.link_angle, abs=1e-9)
    assert gone.end == pytest.approx(here.end + by[:, None, :], abs=1e-9)


@given(drawn=linkages(), moved=places)
def test_the_level_length_puts_the_arm_where_it_is_wanted(
    drawn: tuple[BarLinkage, Floats], moved: tuple[float, float, float]
) -> None:
    """Inverse then forward: the link's length for the direction that the arm has is the link's length."""
    linkage, link = drawn
    there = link + 0.5 * np.array(moved)[:, None]
    turned = solve_bar(linkage, there[:, None, :]).angle[0]
    length = level_length(linkage, linkage.drawn_angle + turned, there)
    assert length == pytest.approx(linkage.length, rel=1e-11)


@settings(max_examples=50)
@given(drawn=linkages(), seed=st.integers(0, 2**32 - 1))
def test_lanes_and_states_do_not_hang_on_their_neighbours(
    drawn: tuple[BarLinkage, Floats], seed: int
) -> None:
    linkage, link = drawn
    random = np.random.default_rng(seed)
    lanes = 37
    many = BarLinkage(
        linkage.pivot + random.uniform(-9.0, 9.0, (3, lanes)),
        linkage.end + random.uniform(-9.0, 9.0, (3, lanes)),
        linkage.length + random.uniform(-9.0, 9.0, lanes),
        np.repeat(linkage.branch, lanes),
    )
    there = link[:, :, None] + random.uniform(-50.0, 50.0, (3, 5, lanes))
    together = solve_bar(many, there)
    for lane in (0, 17, 36):
        cut = slice(lane, lane + 1)
        one = BarLinkage(many.pivot[:, cut], many.end[:, cut], many.length[cut], many.branch[cut])
        alone = solve_bar(one, there[:, 2:3, cut])
        np.testing.assert_array_equal(alone.angle, together.angle[2:3, cut])
        np.testing.assert_array_equal(alone.link_angle, together.link_angle[2:3, cut])


@given(bar=bars, other=bars, thicker=between(1.01, 2.0))
def test_a_thicker_bar_is_stiffer_and_unlike_arms_lie_between(
    bar: Bar, other: Bar, thicker: float
) -> None:
    assert twist_rate(bar, bar) == pytest.approx(relative_rate(bar) * bar.arm**2, rel=1e-12)
    assert relative_rate(replace(bar, diameter=bar.diameter * thicker)) > relative_rate(bar)
    mixed = replace(bar, arm=other.arm, arm_length=other.arm_length)
    low, high = sorted([float(twist_rate(bar, bar)), float(twist_rate(mixed, mixed))])
    assert low * (1 - 1e-12) <= twist_rate(bar, mixed) <= high * (1 + 1e-12)

"""Tie-rod lengths by hand arithmetic: inner + adjuster + outer less the engagement at both ends."""

from __future__ import annotations

import numpy as np
import pytest

from kinematics.rods import RodKit

KIT = RodKit(
    inner=100.0,
    outer=80.0,
    thread=40.0,
    pitch=1.5,
    flats=6,
    engagement=21.0,
    adjusters=(150.0, 180.0),
)


@pytest.mark.parametrize(
    ("length", "adjuster", "engagement"),
    [
        (280.0, 0, 25.0),  # 100 + 150 + 80 - 280 = 50, half at each end
        (286.0, 0, 22.0),  # 1 mm over the least; the long adjuster would leave no room at all
        (310.0, 1, 25.0),  # 100 + 180 + 80 - 310 = 50
        (270.0, 0, 30.0),
        (288.1, 1, 35.95),  # too long for the short adjuster; the long one leaves 4.05 mm to show
    ],
)
def test_engagement_by_hand(length: float, adjuster: int, engagement: float) -> None:
    best, engaged = KIT.fit(np.array([length]))
    assert int(best[0]) == adjuster
    assert float(engaged[0]) == pytest.approx(engagement)


@pytest.mark.parametrize("length", [230.0, 330.0])
def test_no_adjuster_in_the_box_fits(length: float) -> None:
    """230 would need more thread than there is, 330 leaves less engagement than the least."""
    best, engaged = KIT.fit(np.array([length]))
    assert int(best[0]) == -1
    assert float(engaged[0]) < KIT.engagement


def test_two_threads_are_left_to_show() -> None:
    """Two threads beyond the locknut: common practice, no source."""
    _, engaged = KIT.fit(np.linspace(255.0, 320.0, 400))
    fitting = engaged[engaged >= KIT.engagement]
    assert (KIT.thread - fitting >= 2 * KIT.pitch - 1e-9).all()


def test_of_two_that_fit_the_one_with_more_room_both_ways_is_taken() -> None:
    kit = RodKit(100.0, 80.0, 60.0, 1.5, 6, 21.0, (150.0, 170.0))
    best, engaged = kit.fit(np.array([282.0]))
    # 24 mm in the short one is 3 from its least; 34 in the long one is 13 from its least, 23 from its most
    assert (int(best[0]), float(engaged[0])) == (1, pytest.approx(34.0))

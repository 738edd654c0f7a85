"""What a limit keeps in hand: the search holds to it, cars as built are judged by the limit itself."""

from __future__ import annotations

from typing import Any

import pytest
from scipy.stats import norm

from optimiser.builds import search_build
from optimiser.problem import Problem
from optimiser.yields import sample_row
from tests.built.shop import shop

# A lower arm that is screwed in and out, and a track that grows with it.
ARM = {
    "id": "threaded",
    "today": True,
    "adjusts": {
        "length": {"along": {"ball_joint": [0, 1, 0]}, "range": [0, 8], "step": 0.5, "reads": "out"}
    },
}
PARTS = {"format": 1, "stations": {"lower_arm": [ARM]}}
WIDE = {"track_width": {"value": 9999, "tolerance": 100}}


def track(problem: Problem) -> float:
    value = search_build(problem, 0)["duties"]["only"]["measures"]["track_width"]["value"]
    assert isinstance(value, float)
    return value


def widest(most: float, kept: float | None = None, **tolerances: Any) -> Problem:
    """As wide a track as a limit allows, with something kept in hand."""
    limit: dict[str, Any] = {"max": most}
    if kept is not None:
        limit["in_hand"] = kept
    return shop(parts=PARTS, limits={"track_width": limit}, targets=WIDE, **tolerances)


def test_the_search_keeps_it_like_a_tighter_limit() -> None:
    most = track(widest(9999)) - 3.0
    kept, tighter = (search_build(p, 0) for p in (widest(most, 2.0), widest(most - 2.0)))
    assert kept["duties"]["only"]["positions"] == tighter["duties"]["only"]["positions"]
    assert kept["duties"]["only"]["merit"] == tighter["duties"]["only"]["merit"]
    assert track(widest(most, 2.0)) < track(widest(most))
    entry = kept["duties"]["only"]["measures"]["track_width"]
    assert entry["in_hand"] == [2.0]
    assert entry["bounds"] == [[None, most - 2.0]]
    assert "in_hand" not in tighter["duties"]["only"]["measures"]["track_width"]


@pytest.mark.parametrize("kept", [0.0, 1.0, 2.0])
def test_cars_as_built_are_judged_by_the_limit_itself(kept: float) -> None:
    """Only the hub face is off across the car, alike on both sides: the track by twice as much, normally."""
    most = track(widest(9999)) - 2.5
    errors = {"points": {"hub_face": [0, 2.0, 0]}}
    problem = widest(most, kept, **errors)
    row = search_build(problem, 0)
    width = row["duties"]["only"]["measures"]["track_width"]["value"]
    sigma = 2.0 * 2.0 / 2.0
    expected = norm.cdf((most - width) / sigma)
    assert sample_row(problem, row)["yield"] == pytest.approx(expected, abs=4 / 256)

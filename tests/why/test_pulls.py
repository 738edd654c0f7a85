"""Targets that pull against each other, one pair of which is planted."""

from __future__ import annotations

from typing import Any

import pytest

from optimiser.pulls import NOTICED, answer, correlations, pulls_document
from tests.search.workshop import duty, problem


def test_a_planted_conflict_is_told_with_what_each_could_alone() -> None:
    hill = duty(20)
    # two wheels that are mirrored have one camber, and are asked for two
    hill["targets"] = {
        "camber": [
            {"value": -3.0, "tolerance": 0.5, "wheel": "left"},
            {"value": 1.0, "tolerance": 0.5, "wheel": "right"},
        ],
        "roll_centre_height": {"value": 60, "tolerance": 400},
    }
    asked = problem({"hill": hill, "pad": duty(30)})
    number = max(range(asked.space.builds), key=asked.space.combinations)
    told = pulls_document(
        asked, number, "hill", lambda queries: {q: answer(asked, q) for q in queries}
    )
    assert told is not None
    pair = told["pairs"][0]
    assert {*pair["targets"]} == {"camber left", "camber right"}
    # mirrored wheels have one camber: misses of both add up to the 4 degrees between what is wanted
    assert sum(pair["together"]) == pytest.approx(8.0, abs=1e-6)
    assert sum(pair["alone"]) < sum(pair["together"]) - NOTICED
    assert all("roll_centre_height" not in each["targets"] for each in told["pairs"])
    for one in told["targets"]:
        assert one["alone"] <= one["miss"] + NOTICED
    merits = [each["gained"] for each in told["limits"]]
    assert merits == sorted(merits, reverse=True)


def candidates(a: list[float], b: list[float]) -> list[dict[str, Any]]:
    """Rows with two misses in a duty."""
    return [
        {"duties": {"hill": {"measures": {"camber": {"miss": x}, "caster": {"miss": y}}}}}
        for x, y in zip(a, b, strict=True)
    ]


def test_rank_correlation_of_misses() -> None:
    falling = correlations(candidates([1, 2, 3, 4, 5], [9, 7, 6, 2, 1]), "hill")
    assert falling == [{"targets": ["camber", "caster"], "rank": pytest.approx(-1.0)}]
    # by hand: ranks 1 2 3 4 5 against 2 1 4 3 5, squares of differences 1+1+1+1, 1 - 6*4/(5*24) = 0.8
    mixed = correlations(candidates([1, 2, 3, 4, 5], [2, 1, 4, 3, 5]), "hill")
    assert mixed[0]["rank"] == pytest.approx(0.8)
    assert correlations(candidates([1, 2, 3, 4, 5], [1, 1, 1, 1, 1]), "hill") == []
    assert correlations(candidates([1, 2], [2, 1]), "hill") == []

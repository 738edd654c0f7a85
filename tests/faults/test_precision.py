"""Figures are printed as finely as they are known, and rounding never tells the wrong side of a bound."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from goals.verdicts import Demand
from kinematics.measures import MEASURES, Ask
from optimiser import precision
from optimiser.precision import Band, as_set, fixed, places_for, row_places, uncertainty
from optimiser.settings import solved_texts
from optimiser.wording import Margin, bound_words, distance, figure, short

NAMES = sorted(set(MEASURES) - {"price"})
VALUES = st.floats(-1e5, 1e5, allow_nan=False)
# How far a figure lies from its bound: from within a figure's own grain to far away, both ways.
GAPS = st.tuples(st.sampled_from([-1.0, 1.0]), st.floats(-12.0, 4.0)).map(
    lambda told: told[0] * 10.0 ** told[1]
)
WIDTHS = st.floats(-7.0, 4.0).map(lambda power: 10.0**power)


def holds(value: float, low: float | None, high: float | None) -> bool:
    """What the verdict says, by the demand itself."""
    import numpy as np

    limit = Demand("x", MEASURES["camber"], (Ask(),), low, high)
    return float(limit.shortfall([np.array([[value]])])[0]) <= 0.0


def reads_as_held(text: str, words: str) -> bool:
    """What a person reads: a figure beside its bound."""
    told = float(text)
    if words.startswith("<= "):
        return told <= float(words[3:])
    if words.startswith(">= "):
        return told >= float(words[3:])
    low, high = (float(end) for end in words.split(" to "))
    return low <= told <= high


@given(st.sampled_from(NAMES), VALUES, GAPS, st.none() | WIDTHS, st.sampled_from("lhb"))
def test_rounding_never_flips_a_verdict(
    name: str, edge: float, gap: float, width: float | None, which: str
) -> None:
    edge = round(edge, 6)
    value = edge + gap
    low = edge if which in "lb" else None
    high = edge if which == "h" else edge + 1e6 if which == "b" else None
    words = bound_words(name, (low, high))
    # what is 'at all' is told in words: not over centre, not touching, in reach
    assume(any(c.isdigit() for c in words))
    # a figure on its bound holds, and what is nearer than figures are good to lies on it
    assume(not 0.2e-9 < abs(gap) < 5e-9)
    band = None if width is None else (value - width, value + width)
    text = figure(name, value, [(low, high)], band)
    assert reads_as_held(text, words) == holds(value, low, high), (text, words)


@given(st.lists(st.tuples(VALUES, GAPS, st.none() | WIDTHS), min_size=1, max_size=4))
def test_a_row_has_one_number_of_digits_and_flips_no_verdict_either(
    told: list[tuple[float, float, float | None]],
) -> None:
    row: list[tuple[float, list[tuple[float, None]], Band | None]] = []
    for edge, gap, width in told:
        assume(not 0.2e-9 < abs(gap) < 5e-9)
        edge = round(edge, 6)
        value = edge + gap
        row.append((value, [(edge, None)], None if width is None else (value, value + width)))
    places = row_places("caster", row)
    texts = [figure("caster", value, places=places) for value, *_ in row]
    assert len({len(text.partition(".")[2]) for text in texts}) == 1
    for text, (value, bounds, _) in zip(texts, row, strict=True):
        words = bound_words("caster", bounds[0])
        assert reads_as_held(text, words) == holds(value, bounds[0][0], None)


@given(st.sampled_from(NAMES), VALUES, WIDTHS)
def test_the_last_digit_is_no_finer_than_a_tenth_of_the_uncertainty(
    name: str, value: float, width: float
) -> None:
    band = (value, value + width)
    places = precision.places(name, value, [], band)
    if name not in precision.AS_SET:
        assert 10.0**-places >= 0.1 * uncertainty(band) * (1.0 - 1e-6)
    # one or two digits are left of the uncertainty, where it is not far less than anyone would notice
    if name not in precision.AS_SET and places < precision.usual_places(name) + 1:
        assert 10.0**-places <= uncertainty(band) * (1.0 + 1e-6)


def test_the_uncertainty_of_a_normal_spread_is_twice_its_standard_deviation() -> None:
    # the 5 and 95 percent quantiles of a standard normal, tables of the normal distribution
    assert uncertainty((-1.6448536, 1.6448536)) == pytest.approx(2.0, abs=1e-6)


@pytest.mark.parametrize(
    ("uncertain", "places"),
    [(0.1, 2), (0.09, 2), (0.11, 1), (1.0, 1), (4.2, 0), (9.9, 0), (10.0, 0), (26.0, -1)],
)
def test_places_by_hand(uncertain: float, places: int) -> None:
    assert places_for(uncertain) == places


def test_a_roll_centre_is_not_told_to_a_hundredth_of_a_millimetre() -> None:
    assert figure("roll_centre_height", 45.152978986674675) == "45"
    assert figure("roll_centre_height", 45.152978986674675, band=(41.73, 48.64)) == "45"
    assert figure("roll_centre_height", 45.152978986674675, band=(45.1, 45.2)) == "45.2"
    assert figure("roll_centre_height", 19.96, [(20.0, None)], (16.0, 24.0)) == "19.96"
    assert figure("front_transfer_elastic", 1706.4, band=(1650.0, 1750.0)) == "1710"


@given(st.floats(-1.0, 1.0), st.integers(-2, 9))
def test_no_negative_zero(value: float, places: int) -> None:
    text = fixed(value, places)
    assert not re.fullmatch(r"-0(\.0*)?", text)
    assert abs(float(text) - value) <= 0.5000001 * 10.0**-places


@given(st.sampled_from([math.nan, math.inf, -math.inf]), st.integers(-2, 6))
def test_a_figure_that_is_none_is_a_dash(value: float, places: int) -> None:
    assert fixed(value, places) == "-"


@given(st.sampled_from([0.25, 0.5, 1.5, 2.0]), st.integers(-40, 40))
def test_a_slot_is_told_as_finely_as_its_step(step: float, count: int) -> None:
    value = step * count
    assert float(short(value)) == value
    assert len(short(value).partition(".")[2]) <= len(short(step).partition(".")[2])


@pytest.mark.parametrize(
    ("toe", "text"), [(0.05, "0.05"), (0.125, "0.125"), (-0.1, "-0.10"), (0.0, "0.00")]
)
def test_what_is_set_is_told_as_it_is_set(toe: float, text: str) -> None:
    assert as_set(toe, 2) == text
    solved = {
        "lowered_by": 32.25,
        "toe": toe,
        "tie_rod": {"length": 350.0},
        "stop": 65.5,
        "stop_set_by": {"by": "rack_end"},
    }
    told = dict(solved_texts({"hill": {"solved": solved}}))
    assert told["toe each wheel, deg"]["hill"] == text
    assert told["lowered by, mm"]["hill"] == "32.25"
    assert told["steering stop, mm of rack"]["hill"] == "65.5"


@given(st.sampled_from(NAMES), VALUES, GAPS, st.none() | WIDTHS)
def test_a_gap_that_is_there_is_never_nothing(
    name: str, edge: float, gap: float, width: float | None
) -> None:
    assume(abs(gap) > 1e-9)
    edge = round(edge, 6)
    bound = (edge, None)
    value = edge + gap
    band = None if width is None else (value, value + width)
    margin = Margin("hill", name, value, bound, distance(value, bound), band=band)
    size = float(margin.gap_words().split(" ")[0])
    assert size > 0.0 or abs(value - edge) < 1e-9
    assert margin.hand_words().startswith("lacks ") == (distance(value, bound) < 0.0)

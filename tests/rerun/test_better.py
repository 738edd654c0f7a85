"""Which of two figures is better: properties that any such judgement must have."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from optimiser.better import ALIKE, BETTER, OPPOSITE, WORSE, judge, judge_figures, judge_merits

figures = st.one_of(st.none(), st.floats(-50, 50).map(lambda v: round(v, 3)))
known = st.floats(-50, 50).map(lambda v: round(v, 3))
noticed = st.sampled_from([0.0, 0.25, 2.0])


@st.composite
def asks(draw: st.DrawFn) -> dict[str, Any]:
    """A limit, a target, or both."""
    ask: dict[str, Any] = {}
    kind = draw(st.sampled_from(["min", "max", "both", "target", "limit and target"]))
    low = draw(known)
    high = low + draw(st.floats(0, 40).map(lambda v: round(v, 3)))
    if kind != "target":
        bound = {"min": [low, None], "max": [None, high]}.get(kind, [low, high])
        ask["bounds"] = [bound]
    if "target" in kind:
        ask["wanted"] = draw(known)
    return ask


def holds(value: float, ask: dict[str, Any]) -> bool:
    """Whether a figure is inside every bound, plainly."""
    return all(
        (low is None or value >= low) and (high is None or value <= high)
        for low, high in ask.get("bounds", [])
    )


@given(figures, figures, asks(), noticed)
def test_the_mirror_is_the_opposite(
    one: float | None, other: float | None, ask: dict[str, Any], scale: float
) -> None:
    assert judge_figures(other, one, ask, scale) == OPPOSITE[judge_figures(one, other, ask, scale)]


@given(figures, asks(), noticed)
def test_a_figure_is_like_itself(one: float | None, ask: dict[str, Any], scale: float) -> None:
    assert judge_figures(one, one, ask, scale) == ALIKE


@given(known, known, asks(), noticed)
def test_a_limit_is_never_traded(
    one: float, other: float, ask: dict[str, Any], scale: float
) -> None:
    """What fails is worse than what holds, however near they are and whatever the target says."""
    if holds(one, ask) and not holds(other, ask):
        wide = ((-100.0, 100.0), (-100.0, 100.0))
        assert judge_figures(one, other, ask, scale, wide) == WORSE


@given(known, known, known)
def test_nearer_to_the_target_is_better(wanted: float, one: float, other: float) -> None:
    verdict = judge_figures(one, other, {"wanted": wanted}, 0.0)
    if verdict != ALIKE:
        assert (abs(other - wanted) < abs(one - wanted)) == (verdict == BETTER)
    else:
        assert abs(abs(other - wanted) - abs(one - wanted)) < 1e-9


@given(known, known, known)
def test_more_in_hand_is_better(least: float, one: float, other: float) -> None:
    if holds(one, {"bounds": [[least, None]]}) and holds(other, {"bounds": [[least, None]]}):
        wanted = ALIKE if one == other else BETTER if other > one else WORSE
        assert judge_figures(one, other, {"bounds": [[least, None]]}, 0.0) == wanted


def test_what_no_one_notices_or_errors_make_is_alike() -> None:
    ask = {"wanted": 0.0}
    assert judge_figures(3.0, 3.2, ask, 0.25) == ALIKE
    assert judge_figures(3.0, 4.0, ask, 0.25) == WORSE
    assert judge_figures(3.0, 4.0, ask, 0.25, ((2.0, 4.5), (2.5, 5.0))) == ALIKE
    # only where each lies in the other's band
    assert judge_figures(3.0, 4.0, ask, 0.25, ((2.0, 4.5), (3.5, 5.0))) == WORSE


def entry(value: Any, **asked: Any) -> dict[str, Any]:
    return {"value": value, "unit": "deg", "limit": None, "miss": None, **asked}


def test_figures_that_nobody_asks_about_are_not_judged() -> None:
    assert judge("camber", entry(1.0), entry(-3.0)) is None


def test_figures_that_are_not_asked_alike_are_not_judged() -> None:
    one = entry(-2.0, wanted=-2.0, tolerance=0.5)
    assert judge("camber", one, entry(-2.0)) is None
    assert judge("camber", one, entry(-2.0, wanted=-1.0, tolerance=0.5)) is None
    assert judge("camber", one, entry(-3.0, wanted=-2.0, tolerance=0.5)) == WORSE


def test_a_curve_is_judged_as_a_whole() -> None:
    asked = {"wanted": [40.0, 30.0], "tolerance": 10.0, "at": [8.0, 16.0]}
    far, near = entry([0.0, 0.0], **asked), entry([38.0, 10.0], **asked)
    assert judge("ackermann", far, near) == BETTER
    assert judge("ackermann", near, far) == WORSE
    assert judge("ackermann", near, near) == ALIKE
    assert judge("ackermann", entry([38.0, None], **asked), near) == BETTER


@given(figures, figures)
def test_less_merit_is_better(one: float | None, other: float | None) -> None:
    verdict = judge_merits(one, other)
    assert judge_merits(other, one) == OPPOSITE[verdict]
    if one is not None and other is not None and verdict != ALIKE:
        assert (other < one) == (verdict == BETTER)
    assert judge_merits(one, one) == ALIKE

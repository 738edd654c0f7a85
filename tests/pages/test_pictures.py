"""The report's pictures: they show what the model says, and nothing lies outside or on another."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimiser.chart import Axis, tick_step
from optimiser.drawn import drawn_cars
from optimiser.figure_set import PENS, Figure, figures
from optimiser.picture import Disc, Label, Picture, Stroke, as_svg
from optimiser.problem import Problem
from optimiser.runs import Run
from tests.search.workshop import box, problem, row_of, uneven
from tests.wishbones import ROADSTER

RUNS = Path(__file__).resolve().parents[2] / "runs"
DRAWN = 3
LETTER = 0.62 * 11.0  # px, the widest usual letter of the pens' size


def sample() -> tuple[Problem, list[dict[str, Any]]]:
    run = Run.find(RUNS, "sample")
    asked = run.load()
    return asked, run.ranked(asked.goals.search.keep)


ASKED, ROWS = sample()
FIGURES = figures(ASKED, ROWS[:DRAWN], ROWS)
BY_KEY = {figure.key: figure for figure in FIGURES}
ends = st.floats(-1e4, 1e4)


@given(low=ends, span=st.floats(1e-3, 1e4))
def test_an_axis_takes_its_figures_and_has_round_ticks(low: float, span: float) -> None:
    high = low + span
    axis = Axis.over("any", [low, None, high, math.nan])
    assert axis.low <= low and axis.high >= high
    step = tick_step(axis.low, axis.high)
    assert 3 <= len(axis.ticks) <= 12
    mantissa = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(mantissa - round_one) for round_one in (1.0, 2.0, 5.0)) < 1e-6
    assert all(abs(tick / step - round(tick / step)) < 1e-5 for tick in axis.ticks)


def places(picture: Picture) -> list[tuple[float, float]]:
    found = []
    for shape in picture.shapes:
        if isinstance(shape, Stroke):
            found += list(shape.points)
        elif isinstance(shape, Disc):
            found.append(shape.centre)
        else:
            found.append(shape.at)
    return found


def sound(figure: Figure) -> None:
    """Nothing outside, every pen known, told in words, and parsable."""
    picture = figure.picture
    assert figure.title and figure.caption and len(picture.words) > 20, figure.key
    for x, y in places(picture):
        assert math.isfinite(x) and math.isfinite(y), figure.key
        assert -0.5 <= x <= picture.width + 0.5 and -0.5 <= y <= picture.height + 0.5, figure.key
    for shape in picture.shapes:
        for role in shape.role.split():
            assert f".{role}" in PENS or role.startswith("on") or role == "label", role
        if isinstance(shape, Label) and not shape.turned and shape.role != "cell-text":
            left, right = across(shape)
            assert left > -1.0 and right < picture.width + 1.0, (figure.key, shape.text)
    ElementTree.fromstring(as_svg(picture, figure.key))


def across(label: Label) -> tuple[float, float]:
    """From where to where a label goes, px, about."""
    width = LETTER * 0.9 * len(label.text)
    x = label.at[0]
    return {"start": (x, x + width), "middle": (x - width / 2, x + width / 2)}.get(
        label.anchor, (x - width, x)
    )


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure.key)
def test_every_picture_is_sound(figure: Figure) -> None:
    sound(figure)


def test_keys_are_unique_and_every_duty_has_every_kind() -> None:
    assert len(BY_KEY) == len(FIGURES)
    kinds = {"limits", "toe", "roll", "steer", "toe_out", "toggle", "camber", "clearance", "corner"}
    for duty in ASKED.duties:
        assert {f.kind for f in FIGURES if f.duty == duty} == kinds
    assert {f.kind for f in FIGURES if f.duty is None} == {"tradeoff"}


def test_axis_figures_do_not_lie_on_each_other() -> None:
    for figure in FIGURES:
        labels = [
            s for s in figure.picture.shapes if isinstance(s, Label) and s.role == "tick-text"
        ]
        for i, one in enumerate(labels):
            for other in labels[i + 1 :]:
                apart = abs(one.at[1] - other.at[1]) > 9.0
                (a, b), (c, d) = across(one), across(other)
                assert apart or b <= c or d <= a, (figure.key, one.text, other.text)


def layered(figure: Figure, layer: str, role: str) -> list[Any]:
    return [s for s in figure.picture.shapes if s.layer == layer and role in s.role.split()]


def told_number(words: str, pattern: str) -> float:
    found = re.search(pattern, words.replace("\N{MINUS SIGN}", "-"))
    assert found is not None, words
    return float(found.group(1))


@pytest.mark.parametrize("number", [1, 2])
def test_the_pictures_say_what_the_ledger_says(number: int) -> None:
    duty = ASKED.duties[number - 1]
    record = ROWS[0]["duties"][duty]
    value = {name: entry["value"] for name, entry in record["measures"].items()}
    words = {
        kind: BY_KEY[f"duty{number}-{kind}"].picture.words
        for kind in ("steer", "toe-out", "toggle", "camber", "roll-centre-height")
    }
    mine = {kind: text[text.index("candidate 1") :] for kind, text in words.items()}
    assert told_number(mine["steer"], r"inner (\S+) deg") == pytest.approx(
        value["lock_inner"], abs=0.051
    )
    assert told_number(mine["steer"], r"outer (\S+) deg") == pytest.approx(
        value["lock_outer"], abs=0.051
    )
    assert told_number(mine["steer"], r"stop, (\S+) mm") == record["solved"]["stop"]
    toe_out = value["lock_inner"] - value["lock_outer"]
    assert told_number(mine["toe-out"], r": (\S+) deg at the stop") == pytest.approx(
        toe_out, abs=0.051
    )
    at_lock = told_number(mine["camber"], r"(\S+) deg at the stop")
    assert at_lock == pytest.approx(value["camber_at_lock"], abs=0.051)
    height = told_number(mine["roll-centre-height"], r": (\S+) mm at ride height")
    assert height == pytest.approx(value["roll_centre_height"], abs=0.51)
    # drawn at more rack positions but fewer travels than judged
    assert told_number(mine["toggle"], r"least (\S+) deg") == pytest.approx(
        value["toggle_margin"], abs=0.5
    )


@pytest.mark.parametrize("number", [1, 2])
def test_the_map_has_the_least_gap_and_no_less(number: int) -> None:
    record = ROWS[0]["duties"][ASKED.duties[number - 1]]
    figure = BY_KEY[f"duty{number}-clearance-c1"]
    least = told_number(figure.picture.words, r"least (\S+) mm")
    assert least == pytest.approx(record["measures"]["tyre_clearance"]["value"], abs=0.3)
    cells = [
        float(s.text)
        for s in figure.picture.shapes
        if isinstance(s, Label) and "cell-text" in s.role
    ]
    assert len(cells) == 99
    assert min(cells) == pytest.approx(least, abs=0.051)


def test_bump_steer_passes_through_nothing_at_ride_height_and_ends_where_the_words_say() -> None:
    figure = BY_KEY["duty1-toe"]
    (curve,) = layered(figure, "c1", "curve")
    car = drawn_cars(ASKED, ROWS[:1], ASKED.duties[0])[1]
    low, high = car.scene.frame.travel
    at_ride = min(curve.points, key=lambda p: abs(p[0] - (46 + (380 - 58) * -low / (high - low))))
    (zero,) = [
        s for s in figure.picture.shapes if s.role == "zero" and s.points[0][1] == s.points[1][1]
    ]
    assert at_ride[1] == pytest.approx(zero.points[0][1], abs=1e-6)


def test_a_duty_that_a_build_cannot_serve_is_left_out_of_its_pictures() -> None:
    duty, other = ASKED.duties
    unserved = {"feasible": False, "merit": None, "shortfalls": {}, "reason": "no height"}
    row = {**ROWS[0], "duties": {**ROWS[0]["duties"], duty: unserved}}
    row.pop("as_built", None)
    found = figures(ASKED, [row], [row])
    for figure in found:
        sound(figure)
    assert not any(f.layer == "c1" for f in found if f.duty == duty)
    assert any(layered(f, "c1", "curve") for f in found if f.duty == other)


def test_a_car_whose_sides_differ_shows_both() -> None:
    asked = problem(right=uneven())
    row = row_of(asked)
    found = figures(asked, [row], [row])
    for figure in found:
        sound(figure)
    toe = next(f for f in found if f.kind == "toe")
    assert layered(toe, "c1", "curve") and layered(toe, "c1", "other")
    assert "right wheel" in toe.picture.words


def test_a_double_wishbone_is_drawn_with_its_upper_arm() -> None:
    parts = box()
    del parts["stations"]["top_mount"]
    asked = problem(parts=parts, on=ROADSTER)
    row = row_of(asked)
    found = figures(asked, [row], [row])
    for figure in found:
        sound(figure)
    ahead = next(f for f in found if f.kind == "corner")
    # lower arm, tie rod, upper arm
    assert len(layered(ahead, "c1", "link")) == 3

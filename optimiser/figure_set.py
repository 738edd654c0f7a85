"""Which pictures the report has: each duty's curves over today's car, and all candidates together."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from optimiser.detail import with_curves
from optimiser.picture import Picture
from optimiser.plain_chart import HEIGHT, WIDTH, Chart, Curve, Value
from optimiser.problem import Problem
from optimiser.ranking import Row, merit
from optimiser.report_shown import TODAY, Today
from optimiser.wording import bounds_of, clean, figure, fixed, short, travel_words

Record = dict[str, Any]
Layers = dict[str, Record]

SPOKEN_AT = (-40.0, 0.0, 40.0)
GOAL_HALF_WIDTH = (
    4.0  # mm of travel, or a fourth of it in deg: how wide a goal at one place is drawn
)


@dataclass(frozen=True)
class Figure:
    """A picture with how to read it.

    ``key`` is unique in a page; ``duty`` None: about all duties; ``layer`` None: layers can be laid over
    each other, else the picture is of that candidate alone.
    """

    key: str
    duty: str | None
    kind: str
    layer: str | None
    title: str
    caption: str
    picture: Picture


def pens() -> str:
    """How shapes are drawn on a page, by their roles and layers: a style sheet."""
    return (files("optimiser") / "pages" / "pens.css").read_text(encoding="utf-8")


def figures(problem: Problem, rows: Sequence[Row], every: Sequence[Row]) -> list[Figure]:
    """The pictures of some candidates, in rank order, over today's car.

    Args:
        problem: the run's inputs.
        rows: the candidates to draw, layers c1, c2, ….
        every: all ranked rows, for the picture of all goals together.
    """
    today = Today(problem).duties
    full = [with_curves(problem, row) for row in rows]
    found: list[Figure] = []
    for place, duty in enumerate(problem.duties, 1):
        layers = {TODAY: today[duty]}
        layers |= {f"c{n}": row["duties"][duty] for n, row in enumerate(full, 1)}
        having = {name: record for name, record in layers.items() if "curves" in record}
        found += [
            Figure(
                f"d{place}-{kind}", duty, kind, None, title, caption, _picture(title, chart, words)
            )
            for kind, title, caption, chart, words in _of_duty(problem, duty, having)
        ]
    return [*found, *_together(problem, rows, every)]


def _picture(title: str, chart: Chart, words: str) -> Picture:
    return Picture(WIDTH, HEIGHT, title, words, tuple(chart.shapes()))


Told = tuple[str, str, str, Chart, str]


def _of_duty(problem: Problem, duty: str, layers: Layers) -> Iterator[Told]:
    for kind, measure, title, axis, caption in OVER_TRAVEL:
        read = _toe_change if kind == "toe" else _plain(measure)
        yield (
            kind,
            title,
            caption,
            _travel_chart(problem, duty, layers, kind, axis, read),
            _travel_words(layers, measure, read),
        )
    yield _steer(layers)
    yield _toe_out(layers)
    yield _toggle(layers)


OVER_TRAVEL = (
    (
        "toe",
        "bump_steer",
        "Toe against travel",
        "toe change, deg",
        "Left wheel, steering straight, change from ride height; bump and toe-in positive. "
        "Shaded, where there is one: the target over its window.",
    ),
    (
        "roll",
        "roll_centre_height",
        "Roll centre against travel",
        "height above ground, mm",
        "Height of the roll centre above the ground; bump positive. Shaded, where there is one: the target.",
    ),
    (
        "camber",
        "camber",
        "Camber against travel",
        "camber, deg",
        "Left wheel, steering straight; bump positive, top outward positive. "
        "Shaded, where there is one: the target at ride height.",
    ),
)


def _plain(name: str) -> Callable[[Record], list[Value]]:
    return lambda record: list(record["curves"]["travel"][name])


def _toe_change(record: Record) -> list[Value]:
    curve = record["curves"]["travel"]
    ride = curve["toe"][curve["travel"].index(0.0)]
    return [None if v is None or ride is None else v - ride for v in curve["toe"]]


def _travel_chart(
    problem: Problem,
    duty: str,
    layers: Layers,
    kind: str,
    axis: str,
    read: Callable[[Record], list[Value]],
) -> Chart:
    curves = [
        Curve(name, record["curves"]["travel"]["travel"], read(record))
        for name, record in layers.items()
    ]
    targets = problem.goals.duties[duty].targets
    name = {"toe": "bump_steer", "roll": "roll_centre_height"}.get(kind, kind)
    entry = targets.get(name)
    bands = []
    for target in [] if entry is None else entry if isinstance(entry, list) else [entry]:
        if target.value is None:
            continue
        over = target.over or (-GOAL_HALF_WIDTH, GOAL_HALF_WIDTH)
        bands.append((over, (target.value - target.tolerance, target.value + target.tolerance)))
    return Chart("travel, mm", axis, curves, bands=bands)


def _travel_words(layers: Layers, measure: str, read: Callable[[Record], list[Value]]) -> str:
    lines = []
    for name, record in layers.items():
        travel = record["curves"]["travel"]["travel"]
        values = read(record)
        told = [
            f"{figure(measure, values[travel.index(at)])} at {travel_words(at)}" for at in SPOKEN_AT
        ]
        lines.append(f"{_spoken(name)}: {', '.join(told)}")
    return f"{'; '.join(lines)}." if lines else "No layer has this curve."


def _spoken(layer: str) -> str:
    return "Today" if layer == TODAY else f"Candidate {layer[1:]}"


def _steer(layers: Layers) -> Told:
    curves, marks, words = [], [], []
    for name, record in layers.items():
        steer = record["curves"]["steer"]
        curves.append(Curve(name, steer["rack"], steer["left"]))
        curves.append(Curve(name, steer["rack"], steer["right"], "curve-other"))
        stop = record["solved"]["stop"]
        inner = record["measures"]["lock_inner"]["value"]
        if inner is not None:
            marks.append((name, _left_turn(steer) * stop, inner))
            words.append(
                f"{_spoken(name)}: inner wheel {figure('lock_inner', inner)} deg "
                f"at the stop, {fixed(stop, 1)} mm of rack"
            )
    chart = Chart("rack from centre, mm", "steer, deg", curves, marks)
    caption = (
        "Left wheel drawn full, right wheel thin, to the rack's own ends; rack and a left turn positive. "
        "Dot: the inner wheel at the steering stop."
    )
    return "steer", "Steer against rack", caption, chart, _sentence(words)


def _left_turn(steer: Record) -> float:
    """Which way the rack goes for a left turn, in which the left wheel is the inner one: 1 or -1."""
    known = [(r, v) for r, v in zip(steer["rack"], steer["left"], strict=True) if v is not None]
    (first, at_first), (last, at_last) = known[0], known[-1]
    return 1.0 if (at_last - at_first) * (last - first) >= 0.0 else -1.0


def _toe_out(layers: Layers) -> Told:
    curves, bands, words = [], [], []
    for name, record in layers.items():
        steer = record["curves"]["steer"]
        way = _left_turn(steer)
        within = sorted(
            (
                i
                for i, rack in enumerate(steer["rack"])
                if 0.0 <= way * rack <= record["solved"]["stop"]
            ),
            key=lambda i: abs(steer["rack"][i]),
        )
        angles = [steer["left"][i] for i in within]
        toe_out = [steer["toe_out_on_turns"][i] for i in within]
        curves.append(Curve(name, angles, toe_out))
        last = [
            (x, y) for x, y in zip(angles, toe_out, strict=True) if x is not None and y is not None
        ]
        if last:
            told = [figure("toe_out_on_turns", value) for value in last[-1]]
            words.append(f"{_spoken(name)}: {told[1]} deg at {told[0]} deg of inner wheel")
    for record in list(layers.values())[-1:]:
        entry = record["measures"].get("toe_out_on_turns", {})
        if isinstance(entry.get("wanted"), list):
            half = 0.25 * GOAL_HALF_WIDTH
            for at, wanted in zip(entry["at"], entry["wanted"], strict=True):
                off = entry["tolerance"]
                bands.append(((at - half, at + half), (wanted - off, wanted + off)))
    chart = Chart("inner wheel, deg", "toe-out on turns, deg", curves, bands=bands)
    caption = (
        "Inner wheel's angle less the outer's in a left turn, every 5 mm of rack up to the stop. "
        "Shaded, where targets are asked in degrees: those."
    )
    return "toe_out", "Toe-out on turns", caption, chart, _sentence(words)


def _toggle(layers: Layers) -> Told:
    curves, words = [], []
    limits: dict[float, None] = {}
    for name, record in layers.items():
        steer = record["curves"]["steer"]
        curves.append(Curve(name, steer["rack"], steer["toggle_margin"]))
        entry = record["measures"]["toggle_margin"]
        least = figure("toggle_margin", entry["value"], bounds_of(entry))
        words.append(f"{_spoken(name)}: least over the whole envelope {least} deg")
        limits |= {low: None for low, _ in bounds_of(entry) if low is not None and low > 1e-3}
    chart = Chart("rack from centre, mm", "toggle margin, deg", curves, limits=list(limits))
    caption = (
        "Angle between tie rod and steering arm short of in line, left wheel at ride height, to the rack's "
        "own ends. Line: the limit, which holds over full bump and droop too."
    )
    return "toggle", "Toggle margin against rack", caption, chart, _sentence(words)


def _sentence(words: list[str]) -> str:
    return f"{'; '.join(words)}." if words else "No layer has this curve."


def _together(problem: Problem, rows: Sequence[Row], every: Sequence[Row]) -> Iterator[Figure]:
    """Merit against price, and where there are two duties one's merit against the other's."""
    priced = [(float(row["price"]), merit(row)) for row in every]
    title = "Merit against price"
    caption = "Every ranked candidate that holds all limits, lower is better; those drawn are in their pens."
    currency = clean(problem.parts.currency)
    words = [
        f"Candidate {n}: {_at(row)} for {short(row['price'])}" for n, row in enumerate(rows, 1)
    ]
    axis = f"price, {currency}" if currency else "price"
    chart = _dots(axis, "merit", priced, len(rows))
    if chart is not None:
        yield Figure(
            "all-price",
            None,
            "tradeoff",
            None,
            title,
            caption,
            _picture(title, chart, _sentence(words)),
        )
    if len(problem.duties) != 2:
        return
    one, other = problem.duties
    both = [
        (row["duties"][one]["merit"], row["duties"][other]["merit"])
        if merit(row) is not None
        else (None, None)
        for row in every
    ]
    title = f"{clean(one)} against {clean(other)}"
    words = [
        f"Candidate {n}: {clean(one)} {fixed(row['duties'][one]['merit'], 3)}, "
        f"{clean(other)} {fixed(row['duties'][other]['merit'], 3)}"
        for n, row in enumerate(rows, 1)
        if merit(row) is not None
    ]
    chart = _dots(f"merit, {clean(one)}", f"merit, {clean(other)}", both, len(rows))
    if chart is not None:
        yield Figure(
            "all-duties",
            None,
            "tradeoff",
            None,
            title,
            caption,
            _picture(title, chart, _sentence(words)),
        )


def _at(row: Row) -> str:
    worst = merit(row)
    return "does not hold every limit" if worst is None else f"merit {fixed(worst, 3)}"


def _dots(across: str, up: str, points: Sequence[tuple[Value, Value]], drawn: int) -> Chart | None:
    """Points of all candidates, those drawn in layers of their own; None where none holds all limits."""
    marks = [
        (f"c{n}" if n <= drawn else "rest", x, y)
        for n, (x, y) in enumerate(points, 1)
        if x is not None and y is not None
    ]
    # the drawn ones last, so that they lie on top
    marks.sort(key=lambda mark: mark[0] != "rest")
    return Chart(across, up, [], marks) if marks else None

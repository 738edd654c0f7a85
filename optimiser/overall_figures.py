"""Pictures over all candidates: duties' merits against each other, and what price and minutes buy."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from optimiser.chart import Axis, Chart, Letters
from optimiser.drawn import Figure, layer_of, told
from optimiser.problem import Problem
from optimiser.ranking import Row, feasible, merit, minutes
from optimiser.wording import clean

MOST_PAIRS = 3
Point = tuple[int, float, float, bool]  # place from 1, across, up, whether it serves every duty


def overall_figures(problem: Problem, drawn: int, every: Sequence[Row]) -> Iterator[Figure]:
    """Merit of each pair of duties against each other, of the whole against price and against minutes."""
    pairs = list(combinations(problem.duties, 2))[:MOST_PAIRS]
    for number, (one, other) in enumerate(pairs, 1):
        yield from _pair(f"all-duties{number}", one, other, drawn, every)
    currency = problem.parts.currency
    prices = [
        (n, row["price"], _merit(row), True) for n, row in enumerate(every, 1) if feasible(row)
    ]
    yield from _against("price", f"price, {clean(currency)}".rstrip(", "), prices, drawn)
    times = [
        (n, minutes(row) or 0.0, _merit(row), True)
        for n, row in enumerate(every, 1)
        if feasible(row) and minutes(row) is not None
    ]
    yield from _against("minutes", "minutes of the swap", times, drawn)


def _merit(row: Row) -> float:
    found = merit(row)
    assert found is not None
    return found


def _pair(key: str, one: str, other: str, drawn: int, every: Sequence[Row]) -> Iterator[Figure]:
    points = []
    for place, row in enumerate(every, 1):
        merits = [row["duties"][duty] for duty in (one, other)]
        if all(record["feasible"] and record["merit"] is not None for record in merits):
            a, b = (float(record["merit"]) for record in merits)
            points.append((place, a, b, feasible(row)))
    if points:
        title = f"{clean(one).capitalize()} against {clean(other)}"
        chart = _chart(f"merit in {clean(one)}", f"merit in {clean(other)}", points, drawn)
        caption = (
            "Each point is a ranked build; lower and further left is better, 1 is the edge of tolerance. "
            "Hollow: its settings do not go together."
        )
        yield Figure(
            key, None, "tradeoff", None, title, caption, chart.picture(title, _words(points, drawn))
        )


def _against(key: str, words: str, points: Sequence[Point], drawn: int) -> Iterator[Figure]:
    if len({x for _, x, _, _ in points}) < 2:
        return
    title = f"Merit against {key}"
    chart = _chart(words, "merit of the worst duty", points, drawn)
    caption = (
        "Builds that hold every limit; lower is better. The line: the best for so much or less."
    )
    steps: list[tuple[float, float]] = []
    for _, x, y, _ in sorted(points, key=lambda p: (p[1], p[2])):
        if not steps or y < steps[-1][1]:
            if steps:
                steps.append((x, steps[-1][1]))
            steps.append((x, y))
    steps.append((chart.x.high, steps[-1][1]))
    chart.curve([x for x, _ in steps], [y for _, y in steps], "front")
    yield Figure(
        f"all-{key}",
        None,
        "tradeoff",
        None,
        title,
        caption,
        chart.picture(title, _words(points, drawn)),
    )


def _chart(across: str, up: str, points: Sequence[Point], drawn: int) -> Chart:
    chart = Chart(
        Axis.over(across, [x for _, x, _, _ in points], 0.1),
        Axis.over(up, [y for _, _, y, _ in points], 0.1),
    )
    for place, x, y, serves in reversed(points):
        if place > drawn:
            chart.dot(x, y, "quiet-point" if serves else "bad-point", r=2.5)
    letters = Letters()
    for place, x, y, _ in points:
        if place <= drawn:
            chart.dot(x, y, "point", layer_of(place), r=4.0)
            by = letters.beside(chart.at(x, y))
            chart.write(x, y, str(place), layer=layer_of(place), role="letter", by=by)
    return chart


def _words(points: Sequence[Point], drawn: int) -> str:
    named = [
        f"candidate {place}: {told(x, 2)} across, {told(y, 3)} up"
        for place, x, y, _ in points
        if place <= drawn
    ]
    return f"{len(points)} builds. " + "; ".join(named) + "."

"""What limits a candidate: what each limit has in hand, tightest first, and how far each target is off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from optimiser.bench import DutyBench, bands_of, tightest
from optimiser.chart import figure_text
from optimiser.drawn import Figure, layer_of, told
from optimiser.picture import Label, Picture, Shape, stroke
from optimiser.problem import Problem
from optimiser.ranking import Row
from optimiser.wording import Margin, plain

WIDTH = 380.0
NAMES = 150.0  # px: where the bars begin
END = 300.0  # and where the longest ends
LINE, BAR = 17.0, 8.0
MOST = 12
FULL = 10.0  # differences a builder would notice that fill the bar
MOST_OFF = 3.0  # tolerances
LETTERS = 23  # of a name, about what stands before the bars


def limit_figures(key: str, duty: str, problem: Problem, rows: Sequence[Row]) -> Iterator[Figure]:
    """A picture for each candidate that the duty has a setting for."""
    for place, row in enumerate(rows, 1):
        record = row["duties"][duty]
        build = problem.space.build(row["build"])
        bench = DutyBench.of(problem, build, duty, record, bands_of(row, duty))
        if bench.scene is not None:
            yield _limits(key, duty, place, bench)


def _limits(key: str, duty: str, place: int, bench: DutyBench) -> Figure:
    shapes: list[Shape] = []
    y = 14.0
    margins = tightest([bench])[:MOST]
    shapes.append(Label((4.0, y), "limits: in hand", "axis-text"))
    for margin in margins:
        y += LINE
        lacks = margin.gap is None or margin.gap < 0.0
        share = 1.0 if lacks else min(1.0, margin.in_scales / FULL)
        words = "no figure" if margin.gap is None else margin.hand_words()
        role = "bar-bad" if lacks else "bar-good"
        shapes += _bar(y, plain(margin.key), NAMES + share * (END - NAMES), role, words)
    y += LINE + 10.0
    shapes.append(Label((4.0, y), "targets: off, in tolerances", "axis-text"))
    top = y + 4.0
    misses = _misses(bench)
    for name, miss in misses:
        y += LINE
        end = NAMES + min(1.0, miss / MOST_OFF) * (END - NAMES)
        shapes += _bar(y, name, end, "bar-bad" if miss > 1.0 else "bar-good", told(miss, 2))
    if misses:
        edge = NAMES + (END - NAMES) / MOST_OFF
        shapes.append(stroke([(edge, top), (edge, y + 4.0)], "limit"))
        y += LINE
        shapes.append(Label((edge, y), f"{figure_text(1.0, 1.0)}: edge", "note", "middle"))
    words = "; ".join(f"{plain(m.key)} {_told(m)}" for m in margins)
    words += ". Targets off: " + "; ".join(f"{n} {told(v, 2)} tolerances" for n, v in misses)
    title = "What limits it"
    caption = (
        "Limits by what a builder would notice, tightest first; a full bar is ten such differences or more. "
        "What the steering stop stands at is left out: it has nothing in hand by its nature."
    )
    picture = Picture(WIDTH, y + 10.0, title, f"{words}.", tuple(shapes))
    layer = layer_of(place)
    return Figure(f"{key}-limits-{layer}", duty, "limits", layer, title, caption, picture)


def _told(margin: Margin) -> str:
    """A limit's figure, what is in hand, and in which state."""
    return ", ".join(
        filter(None, (margin.value_words(), margin.hand_words(), margin.state_words()))
    )


def _bar(y: float, name: str, end: float, role: str, words: str) -> list[Shape]:
    corners = [
        (NAMES, y - BAR),
        (max(end, NAMES + 1.0), y - BAR),
        (max(end, NAMES + 1.0), y),
        (NAMES, y),
    ]
    short = name if len(name) <= LETTERS else f"{name[: LETTERS - 1]}…"
    return [
        Label((4.0, y), short.replace("-", "\N{MINUS SIGN}"), "dim-text"),
        stroke(corners, role, closed=True),
        Label((WIDTH - 4.0, y), words, "dim-text", "end"),
    ]


def _misses(bench: DutyBench) -> list[tuple[str, float]]:
    """Targets of a duty by how far they are off in tolerances, furthest first."""
    assert bench.scene is not None and bench.assembly is not None
    found = [
        (plain(demand.label), float(demand.miss(demand.figures(bench.scene))[0]))
        for demand in bench.problem.demands(bench.assembly, bench.duty)
        if not demand.is_limit
    ]
    return sorted(found, key=lambda each: -each[1])

"""A chart as shapes: axes with round ticks, curves, bands and lines, in one panel.

Knows nothing of cars. Curves end where there is no figure; nothing is drawn outside the frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from optimiser.picture import Anchor, Disc, Label, Picture, Point, Shape, stroke

WIDTH, HEIGHT = 380.0, 260.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 12.0, 12.0, 38.0
TEXT = 11.0  # px, what the pens set labels in
LETTER = 0.56 * TEXT  # width of a letter, about
ROOM = 0.05  # of the range, left free at its ends

Value = float | None


@dataclass(frozen=True)
class Axis:
    """One axis: its words with the unit, and its range."""

    words: str
    low: float
    high: float

    @classmethod
    def over(cls, words: str, values: Iterable[Value], least: float = 0.0) -> Axis:
        """An axis over all figures, its ends on ticks; the range is no smaller than ``least``."""
        known = [v for v in values if v is not None and math.isfinite(v)]
        low, high = (min(known), max(known)) if known else (0.0, 1.0)
        short = max(least, 1e-9) - (high - low)
        if short > 0.0:
            low, high = low - short / 2.0, high + short / 2.0
        # what begins at nothing has its axis begin there
        below, above = (0.0 if end == 0.0 else ROOM * (high - low) for end in (low, high))
        step = tick_step(low - below, high + above)
        return cls(
            words,
            step * math.floor((low - below) / step + 1e-9),
            step * math.ceil((high + above) / step - 1e-9),
        )

    @classmethod
    def exactly(cls, words: str, low: float, high: float) -> Axis:
        """An axis from end to end of a known range."""
        return cls(words, low, high)

    @property
    def ticks(self) -> list[float]:
        """Round figures inside the range, four to eight of them."""
        step = tick_step(self.low, self.high)
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [round(n * step, 9) for n in range(first, last + 1)]


def tick_step(low: float, high: float) -> float:
    """A step of 1, 2 or 5 times a power of ten that parts a range into four to eight or so."""
    rough = (high - low) / 6.0
    power = 10.0 ** math.floor(math.log10(rough))
    return float(next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power >= rough * 0.999))


def figure_text(value: float, step: float) -> str:
    """A tick's figure, with as many decimals as its step has, and the minus of print."""
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    text = f"{value:.{places}f}"
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return text.replace("-", "\N{MINUS SIGN}")


# Where a letter may stand about its point, px, the best place first.
_AROUND = (
    (7.0, 4.0),
    (-13.0, 4.0),
    (-3.0, -7.0),
    (-3.0, 15.0),
    (7.0, -7.0),
    (7.0, 15.0),
    (-13.0, -7.0),
    (-13.0, 15.0),
)


class Letters:
    """Places for letters beside their points, none upon another as long as there is room."""

    def __init__(self) -> None:
        self._taken: list[Point] = []

    def beside(self, point: Point) -> Point:
        """How far from its point the next letter stands, px."""
        x, y = point

        def free(by: Point) -> bool:
            return all(
                abs(x + by[0] - a) > 10.0 or abs(y + by[1] - b) > TEXT for a, b in self._taken
            )

        by = next((place for place in _AROUND if free(place)), _AROUND[0])
        self._taken.append((x + by[0], y + by[1]))
        return by


@dataclass
class Chart:
    """A panel with two axes, filled shape by shape."""

    x: Axis
    y: Axis
    width: float = WIDTH
    height: float = HEIGHT
    shapes: list[Shape] = field(default_factory=list)
    texts: list[Shape] = field(default_factory=list)

    def at(self, x: float, y: float) -> Point:
        """Where a figure stands on the page."""
        across = (x - self.x.low) / (self.x.high - self.x.low)
        up = (y - self.y.low) / (self.y.high - self.y.low)
        wide, high = self.width - LEFT - RIGHT, self.height - TOP - BOTTOM
        return LEFT + across * wide, self.height - BOTTOM - up * high

    def inside(self, x: Value, y: Value) -> bool:
        """Whether there is such a figure, within both axes."""
        if x is None or y is None or not (math.isfinite(x) and math.isfinite(y)):
            return False
        spare = 1e-9
        across, up = self.x.high - self.x.low, self.y.high - self.y.low
        return (
            self.x.low - spare * across <= x <= self.x.high + spare * across
            and self.y.low - spare * up <= y <= self.y.high + spare * up
        )

    def curve(
        self,
        xs: Sequence[Value],
        ys: Sequence[Value],
        role: str = "curve",
        layer: str | None = None,
    ) -> None:
        """A line through the figures that there are; it ends where there is none."""
        run: list[Point] = []
        for x, y in [*zip(xs, ys, strict=True), (None, None)]:
            if self.inside(x, y):
                assert x is not None and y is not None
                run.append(self.at(x, y))
                continue
            if len(run) > 1:
                self.shapes.append(stroke(run, role, layer=layer))
            run = []

    def band(
        self,
        xs: Sequence[float],
        lows: Sequence[Value],
        highs: Sequence[Value],
        role: str,
        layer: str | None = None,
    ) -> None:
        """An area between two lines, cut off at the frame; left out where either has no figure."""
        run: list[tuple[float, float, float]] = []
        for x, low, high in [*zip(xs, lows, highs, strict=True), (0.0, None, None)]:
            if low is not None and high is not None:
                run.append((x, low, high))
                continue
            if len(run) > 1:
                above = [self.at(x, min(self.y.high, max(self.y.low, h))) for x, _, h in run]
                below = [self.at(x, min(self.y.high, max(self.y.low, v))) for x, v, _ in run]
                area = stroke([*above, *reversed(below)], role, closed=True, layer=layer)
                self.shapes.append(area)
            run = []

    def across(self, y: float, role: str, words: str = "") -> None:
        """A level line, with words above its left end."""
        if not self.inside(self.x.low, y):
            return
        self.shapes.append(stroke([self.at(self.x.low, y), self.at(self.x.high, y)], role))
        if words:
            x, level = self.at(self.x.low, y)
            above = level - 4.0 > TOP + TEXT
            place = (x + 4.0, level - 4.0 if above else level + TEXT + 2.0)
            self.texts.append(Label(place, words, "note"))

    def upright(self, x: float, role: str, layer: str | None = None) -> None:
        """A line from bottom to top."""
        if self.inside(x, self.y.low):
            ends = [self.at(x, self.y.low), self.at(x, self.y.high)]
            self.shapes.append(stroke(ends, role, layer=layer))

    def dot(self, x: Value, y: Value, role: str, layer: str | None = None, r: float = 3.0) -> None:
        """A point."""
        if self.inside(x, y):
            assert x is not None and y is not None
            self.shapes.append(Disc(self.at(x, y), r, role, layer))

    def write(
        self,
        x: float,
        y: float,
        words: str,
        anchor: Anchor = "start",
        layer: str | None = None,
        role: str = "note",
        by: Point = (0.0, 0.0),
    ) -> None:
        """Words at a place of the axes, moved by so many pixels."""
        px, py = self.at(x, y)
        self.texts.append(Label((px + by[0], py + by[1]), words, role, anchor, layer=layer))

    def picture(self, title: str, words: str) -> Picture:
        """The finished chart: grid and axes beneath, words on top."""
        return Picture(
            self.width, self.height, title, words, (*self._frame(), *self.shapes, *self.texts)
        )

    def _frame(self) -> list[Shape]:
        corners = [
            self.at(x, y)
            for x, y in (
                (self.x.low, self.y.low),
                (self.x.high, self.y.low),
                (self.x.high, self.y.high),
                (self.x.low, self.y.high),
            )
        ]
        drawn: list[Shape] = [stroke(corners, "frame", closed=True)]
        for axis, level in ((self.x, False), (self.y, True)):
            step = tick_step(axis.low, axis.high)
            for value in axis.ticks:
                drawn += self._tick(value, figure_text(value, step), level)
        x, _ = self.at((self.x.low + self.x.high) / 2.0, self.y.low)
        drawn.append(Label((x, self.height - 6.0), self.x.words, "axis-text", "middle"))
        _, y = self.at(self.x.low, (self.y.low + self.y.high) / 2.0)
        drawn.append(Label((11.0, y), self.y.words, "axis-text", "middle", turned=True))
        return drawn

    def _tick(self, value: float, text: str, level: bool) -> list[Shape]:
        role = "zero" if value == 0.0 else "grid"
        if level:
            ends = [self.at(self.x.low, value), self.at(self.x.high, value)]
            place, anchor = (LEFT - 5.0, ends[0][1] + 4.0), "end"
        else:
            ends = [self.at(value, self.y.low), self.at(value, self.y.high)]
            place, anchor = (ends[0][0], self.height - BOTTOM + 14.0), "middle"
        label = Label(place, text, "tick-text", "end" if anchor == "end" else "middle")
        return [stroke(ends, role), label]

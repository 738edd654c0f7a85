"""One plain chart: a frame with round ticks, curves in it, bands and lines of goals; as shapes of a picture.

Roles: ``frame``, ``grid``, ``zero``, ``tick-text``, ``axis-text``, ``goal`` (band of a target), ``limit``
(line of a limit); in a layer ``curve``, ``curve-other`` (a second wheel) and ``mark`` (the steering
stop, or a candidate).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from optimiser.picture import Disc, Label, Shape, stroke
from optimiser.wording import short

WIDTH, HEIGHT = 380.0, 260.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 18.0, 10.0, 40.0
MARK = 3.5
ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)
MOST_TICKS = 6

Value = float | None
Span = tuple[float, float]


@dataclass(frozen=True)
class Curve:
    """A curve of one layer; where a value is None it has a gap. ``role`` is ``curve`` or ``curve-other``."""

    layer: str
    x: Sequence[Value]
    y: Sequence[Value]
    role: str = "curve"


@dataclass(frozen=True)
class Chart:
    """What one chart shows: axes in words with units, curves, marks (layer, x, y), bands and limits.

    ``bands`` are targets, x and y from and to; ``limits`` are heights that must not be crossed.
    """

    x_words: str
    y_words: str
    curves: Sequence[Curve]
    marks: Sequence[tuple[str, float, float]] = ()
    bands: Sequence[tuple[Span, Span]] = ()
    limits: Sequence[float] = field(default=())

    def shapes(self) -> list[Shape]:
        """The chart's shapes, on a page of ``WIDTH`` by ``HEIGHT``."""
        across, up = self._ticks()
        to = _Frame(_ends(across), _ends(up))
        found: list[Shape] = [*_grid(to, across, up)]
        for (x0, x1), (y0, y1) in self.bands:
            corners = [to(x0, y0), to(x1, y0), to(x1, y1), to(x0, y1)]
            found.append(stroke(corners, "goal", closed=True))
        for y in self.limits:
            found.append(stroke([to(across[0], y), to(across[-1], y)], "limit"))
        corners = [to(x, y) for x, y in ((across[0], up[0]), (across[-1], up[0]))]
        corners += [to(x, y) for x, y in ((across[-1], up[-1]), (across[0], up[-1]))]
        found.append(stroke(corners, "frame", closed=True))
        found.append(
            Label((0.5 * (LEFT + WIDTH - RIGHT), HEIGHT - 6.0), self.x_words, "axis-text", "middle")
        )
        found.append(
            Label((11.0, 0.5 * (TOP + HEIGHT - BOTTOM)), self.y_words, "axis-text", "middle", True)
        )
        # the first of the ranking is drawn over the others
        for curve in reversed(self.curves):
            for piece in _pieces(curve):
                found.append(stroke([to(x, y) for x, y in piece], curve.role, layer=curve.layer))
        found += [Disc(to(x, y), MARK, "mark", layer) for layer, x, y in self.marks]
        return found

    def _ticks(self) -> tuple[list[float], list[float]]:
        xs = [x for c in self.curves for piece in _pieces(c) for x, _ in piece]
        ys = [y for c in self.curves for piece in _pieces(c) for _, y in piece]
        xs += [x for _, x, _ in self.marks] + [x for span, _ in self.bands for x in span]
        ys += [y for _, _, y in self.marks] + [y for _, span in self.bands for y in span]
        return ticks(xs), ticks([*ys, *self.limits])


@dataclass(frozen=True)
class _Frame:
    """From values to pixels."""

    x: Span
    y: Span

    def __call__(self, x: float, y: float) -> tuple[float, float]:
        across = (x - self.x[0]) / (self.x[1] - self.x[0])
        up = (y - self.y[0]) / (self.y[1] - self.y[0])
        return (
            LEFT + across * (WIDTH - LEFT - RIGHT),
            HEIGHT - BOTTOM - up * (HEIGHT - TOP - BOTTOM),
        )


def ticks(values: Iterable[float]) -> list[float]:
    """Round numbers at even steps that cover some values; around 0 where there are none."""
    found = list(values) or [0.0]
    low, high = min(found), max(found)
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    rough = (high - low) / MOST_TICKS
    power = 10.0 ** np.floor(np.log10(rough))
    step = float(next(r for r in ROUND if r * power >= rough * (1.0 - 1e-9)) * power)
    first, last = int(np.floor(low / step + 1e-9)), int(np.ceil(high / step - 1e-9))
    return [round(n * step, 12) for n in range(first, last + 1)]


def _ends(marks: Sequence[float]) -> Span:
    return marks[0], marks[-1]


def _grid(to: _Frame, across: Sequence[float], up: Sequence[float]) -> Iterator[Shape]:
    for x in across:
        yield stroke([to(x, up[0]), to(x, up[-1])], "zero" if x == 0.0 else "grid")
        at = to(x, up[0])
        yield Label((at[0], at[1] + 14.0), tick_text(x), "tick-text", "middle")
    for y in up:
        yield stroke([to(across[0], y), to(across[-1], y)], "zero" if y == 0.0 else "grid")
        at = to(across[0], y)
        yield Label((at[0] - 5.0, at[1] + 4.0), tick_text(y), "tick-text", "end")


def tick_text(value: float) -> str:
    """A tick's figure with a proper minus."""
    return short(value).replace("-", "\N{MINUS SIGN}")


def _pieces(curve: Curve) -> Iterator[list[tuple[float, float]]]:
    """The stretches of a curve between its gaps."""
    piece: list[tuple[float, float]] = []
    for x, y in zip(curve.x, curve.y, strict=True):
        if x is not None and y is not None:
            piece.append((x, y))
            continue
        if len(piece) > 1:
            yield piece
        piece = []
    if len(piece) > 1:
        yield piece

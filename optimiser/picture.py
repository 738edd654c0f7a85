"""A drawing as a list of shapes, and the same drawing as SVG.

Charts, corner drawings and stacks are all made of these few shapes, so that the report (SVG) and the printed
sheet (PDF) show the same picture. A picture knows no colours: each shape says what it *is* (its role, one
word or several), and the medium has a pen for each role. Coordinates are in CSS pixels (1/96 inch), origin at
the top left, x to the right, y down.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby
from typing import Literal

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True)
class Stroke:
    """A line through points, or an area where ``closed``.

    ``role`` says what it is; ``layer`` which candidate it belongs to, None where it stands for all.
    """

    points: tuple[Point, ...]
    role: str
    closed: bool = False
    layer: str | None = None


@dataclass(frozen=True)
class Disc:
    """A circle."""

    centre: Point
    radius: float
    role: str
    layer: str | None = None


@dataclass(frozen=True)
class Label:
    """A text at a point: its baseline's start, middle or end. ``turned`` runs it upwards."""

    at: Point
    text: str
    role: str = "label"
    anchor: Anchor = "start"
    turned: bool = False
    layer: str | None = None


Shape = Stroke | Disc | Label


@dataclass(frozen=True)
class Picture:
    """Shapes on a page of given size, with a title and the same told in words for who cannot see it."""

    width: float
    height: float
    title: str
    words: str
    shapes: tuple[Shape, ...]


def stroke(
    points: Iterable[Sequence[float]], role: str, *, closed: bool = False, layer: str | None = None
) -> Stroke:
    """A line or area from any sequence of (x, y)."""
    return Stroke(tuple((float(x), float(y)) for x, y in points), role, closed, layer)


def as_svg(picture: Picture, key: str) -> str:
    """The picture as an inline SVG element; ``key`` makes its ids unique in a page.

    Each shape has its role as class; shapes of one layer that follow each other stand in a group with
    ``data-layer``. Pens are left to the page's style sheet.
    """
    size = f'viewBox="0 0 {_n(picture.width)} {_n(picture.height)}"'
    named = f'role="img" aria-labelledby="{key}-title {key}-words"'
    lines = [
        f'<svg class="picture" {size} {named}>',
        f'<title id="{key}-title">{escape(picture.title)}</title>',
        f'<desc id="{key}-words">{escape(picture.words)}</desc>',
    ]
    for layer, shapes in groupby(picture.shapes, key=lambda shape: shape.layer):
        body = [_svg(shape) for shape in shapes]
        if layer is not None:
            body = [f'<g data-layer="{escape(layer)}">', *body, "</g>"]
        lines += body
    return "\n".join([*lines, "</svg>"])


def _svg(shape: Shape) -> str:
    role = f'class="{escape(shape.role)}"'
    if isinstance(shape, Disc):
        x, y = shape.centre
        return f'<circle {role} cx="{_n(x)}" cy="{_n(y)}" r="{_n(shape.radius)}"/>'
    if isinstance(shape, Label):
        x, y = shape.at
        turn = f' transform="rotate(-90 {_n(x)} {_n(y)})"' if shape.turned else ""
        place = f'x="{_n(x)}" y="{_n(y)}" text-anchor="{shape.anchor}"{turn}'
        return f"<text {role} {place}>{escape(shape.text)}</text>"
    points = " ".join(f"{_n(x)},{_n(y)}" for x, y in shape.points)
    return f'<{"polygon" if shape.closed else "polyline"} {role} points="{points}"/>'


def _n(value: float) -> str:
    """A coordinate to a hundredth of a pixel, without needless digits."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text

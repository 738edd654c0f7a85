"""The bench sheet as one HTML file: for a phone or tablet beside the car, and to print from a browser."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from optimiser.paper import Block, Drawing, Grid, Heading, Items, Loud
from optimiser.pens import PENS
from optimiser.picture import as_svg
from optimiser.templates import template

Record = dict[str, Any]


def as_html(blocks: Sequence[Block], version: str) -> str:
    """The blocks as a page; its first heading is its title."""
    told = list(_told(blocks))
    title = next((each["text"] for each in told if each["kind"] == "heading"), "Bench sheet")
    return template("sheet.html.j2").render(
        blocks=told, title=title, version=version, pens=Markup(PENS)
    )


def _told(blocks: Sequence[Block]) -> list[Record]:
    """Blocks as the page's template takes them; tables are named by the heading that they stand under."""
    found: list[Record] = []
    under = ""
    for number, block in enumerate(blocks):
        if isinstance(block, Heading):
            under = block.text
            found.append({"kind": "heading", "text": block.text, "level": block.level})
        elif isinstance(block, Drawing):
            # as_svg escapes every text that it sets
            svg = Markup(as_svg(block.picture, f"drawing-{number}"))
            found.append({"kind": "drawing", "svg": svg, "width": round(block.picture.width)})
        elif isinstance(block, Grid):
            found.append({"kind": "grid", "name": under, **_grid(block)})
        elif isinstance(block, Items):
            found.append(
                {
                    "kind": "items",
                    "items": block.items,
                    "tag": _list_of(block),
                    "boxed": block.boxed,
                }
            )
        elif isinstance(block, Loud):
            found.append({"kind": "loud", "lines": block.lines})
        else:
            found.append({"kind": "words", "text": block.text})
    return found


def _list_of(items: Items) -> str:
    return "ol" if items.numbered else "ul"


def _grid(grid: Grid) -> Record:
    def cell(text: str, column: int) -> Record:
        blank = bool(text) and not text.strip("_")
        return {"text": "" if blank else text, "blank": blank, "right": column >= grid.right}

    head = [cell(text, column) for column, text in enumerate(grid.head)]
    rows = [[cell(text, column) for column, text in enumerate(row)] for row in grid.rows]
    return {"head": head if any(grid.head) else [], "rows": rows}

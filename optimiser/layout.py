"""How tables stand on a console: at least 80 columns, names that wrap, figures that never do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

from optimiser.paper import wrapped

LEAST_WIDTH = 80
WIDE = 110


@contextmanager
def room(console: Console) -> Iterator[None]:
    """At least 80 columns, whatever the terminal says: a figure is wrapped by it rather than cut."""
    if console.width >= LEAST_WIDTH:
        yield
        return
    narrow = console.width
    console.width = LEAST_WIDTH
    try:
        yield
    finally:
        console.width = narrow


def new_table(*, header: bool = True) -> Table:
    """A table in the house style: no lines, a bold head."""
    return Table(
        box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold", show_header=header
    )


def add_figures(table: Table, head: str, cells: list[str], *, head_width: int = 9) -> None:
    """Add a column of figures, wide enough for each of them."""
    widest = max((cell_len(cell) for cell in cells), default=1)
    width = max(widest, min(cell_len(head), head_width))
    table.add_column(Text(head), width=width, justify="right", overflow="fold")


def figure_lines(head: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[str, list[str]]:
    """A head and rows of figures, each one line, all standing on the right of their column."""
    columns = list(zip(head, *rows, strict=True))
    widths = [max(map(cell_len, column)) for column in columns]

    def line(cells: Sequence[str]) -> str:
        each = zip(cells, widths, strict=True)
        return "  ".join(" " * (width - cell_len(cell)) + cell for cell, width in each)

    return line(head), [line(row) for row in rows]


def hung(text: str, width: int, before: str = "") -> Text:
    """A text in lines of so many columns behind a mark; those after the first are set in by two more."""
    indent = cell_len(before) + 2
    first, *rest = wrapped(text, width - indent)
    return Text("\n".join([before + first, *(" " * indent + line for line in rest)]))


def print_item(console: Console, mark: str, text: str, style: str = "") -> None:
    """Print a paragraph behind a mark, its further lines under the first."""
    first, *rest = wrapped(text, console.width - cell_len(mark)) or [""]
    console.print(Text(mark + first, style))
    for line in rest:
        console.print(Text(" " * cell_len(mark) + line, style))


def chunks(names: list[str], size: int) -> list[list[str]]:
    """Names in groups of so many, for tables that stand below each other."""
    return [names[i : i + size] for i in range(0, len(names), size)]


def beside(console: Console) -> int:
    """How many duties' figures stand beside each other."""
    return 2 if console.width < WIDE else 3

"""A sheet as a list of blocks, and those blocks as plain text of 80 columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.cells import cell_len, set_cell_size

from optimiser.picture import Picture

WIDTH = 80
GAP = 2
LEAST_COLUMN = 8
FILL = "_______"  # a place to write by hand


@dataclass(frozen=True)
class Heading:
    """A heading: level 1 is the sheet's title, 2 a part, 3 a section."""

    text: str
    level: int = 2


@dataclass(frozen=True)
class Words:
    """A paragraph."""

    text: str


@dataclass(frozen=True)
class Loud:
    """Lines that no one may miss, the first the loudest."""

    lines: tuple[str, ...]


@dataclass(frozen=True)
class Items:
    """A list; ``numbered`` for steps, ``boxed`` for what is ticked off."""

    items: tuple[str, ...]
    numbered: bool = False
    boxed: bool = False


@dataclass(frozen=True)
class Grid:
    """A table; from column ``right`` on its cells are figures and stand on the right.

    ``first`` is how many columns of text its first column is given at the least.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: int = 99
    first: int = 0


@dataclass(frozen=True)
class Drawing:
    """A picture of what stands before it in words; plain text leaves it out."""

    picture: Picture


Block = Heading | Words | Loud | Items | Grid | Drawing


def as_text(blocks: Sequence[Block]) -> str:
    """The blocks as plain text, no line longer than 80 columns."""
    lines: list[str] = []
    for block in blocks:
        if isinstance(block, Drawing):
            continue
        if lines:
            lines.append("")
        lines += _text_lines(block)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _text_lines(block: Heading | Words | Loud | Items | Grid) -> list[str]:
    if isinstance(block, Heading):
        return _text_heading(block)
    if isinstance(block, Words):
        return wrapped(block.text, WIDTH)
    if isinstance(block, Loud):
        bar = "!" * WIDTH
        first, *rest = block.lines
        told = [f"!!  {line}" for line in wrapped(first, WIDTH - 4)]
        for each in rest:
            told += [f"!!  {line}" for line in wrapped(each, WIDTH - 4)]
        return [bar, *told, bar]
    if isinstance(block, Items):
        return _text_items(block)
    return _text_grid(block)


def _text_heading(block: Heading) -> list[str]:
    lines = wrapped(block.text, WIDTH)
    if block.level == 1:
        return [*lines, "=" * WIDTH]
    if block.level == 2:
        return ["", *lines, "-" * WIDTH]
    return lines


def _text_items(block: Items) -> list[str]:
    lines = []
    for number, item in enumerate(block.items, 1):
        mark = f"{number}. " if block.numbered else ("[ ] " if block.boxed else "- ")
        first, *rest = wrapped(item, WIDTH - len(mark))
        lines.append(mark + first)
        lines += [" " * len(mark) + line for line in rest]
    return lines


def wrapped(text: str, width: int) -> list[str]:
    """A text broken at spaces into lines of so many columns; a longer word is broken where it must."""
    lines, line = [], ""
    # beside a very long mark there is no room, and something has to stand in it
    width = max(1, width)
    for word in text.split():
        while cell_len(word) > width:
            if line:
                lines.append(line)
                line = ""
            head = set_cell_size(word, width).rstrip() or word[0]
            lines.append(head)
            word = word[len(head) :]
        if line and cell_len(line) + 1 + cell_len(word) > width:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}" if line else word
    return [*lines, line] if line or not lines else lines


def _text_grid(grid: Grid) -> list[str]:
    """A table, in several parts with the first column repeated where it is too wide for the paper."""
    least = [_least(grid, column) for column in range(len(grid.head))]
    parts: list[list[int]] = [[0]]
    for column in range(1, len(grid.head)):
        used = sum(least[c] + GAP for c in parts[-1])
        if len(parts[-1]) > 1 and used + least[column] > WIDTH:
            parts.append([0])
        parts[-1].append(column)
    lines: list[str] = []
    for part in parts:
        if lines:
            lines.append("")
        lines += _text_part(grid, part, _widths(grid, part, least))
    return lines


def _cells(grid: Grid, column: int) -> list[str]:
    return [grid.head[column], *(row[column] for row in grid.rows)]


def _least(grid: Grid, column: int) -> int:
    """Narrowest that a column may be: its longest word, long names apart."""
    if column >= grid.right:
        figures = max((cell_len(row[column]) for row in grid.rows), default=1)
        words = max(cell_len(word) for word in [*grid.head[column].split(), ""])
        return max(figures, min(words, 12))
    words = max((cell_len(w) for cell in _cells(grid, column) for w in cell.split()), default=1)
    return max(min(max(words, 1), 22), grid.first if column == 0 else 0)


def _widths(grid: Grid, part: list[int], least: list[int]) -> dict[int, int]:
    widths = {c: max(least[c], max(cell_len(cell) for cell in _cells(grid, c))) for c in part}
    over = sum(widths.values()) + GAP * (len(part) - 1) - WIDTH
    while over > 0:
        wide = max(part, key=lambda c: widths[c] - least[c])
        if widths[wide] <= least[wide]:
            wide = max(part, key=lambda c: widths[c])
        widths[wide] -= 1
        over -= 1
    return widths


def _text_part(grid: Grid, part: list[int], widths: dict[int, int]) -> list[str]:
    lines = _text_row(grid, grid.head, part, widths) if any(grid.head) else []
    if lines:
        lines.append((" " * GAP).join("-" * widths[c] for c in part))
    for row in grid.rows:
        lines += _text_row(grid, row, part, widths)
    return lines


def _text_row(
    grid: Grid, row: tuple[str, ...], part: list[int], widths: dict[int, int]
) -> list[str]:
    cells = {c: wrapped(row[c], widths[c]) for c in part}
    height = max(len(lines) for lines in cells.values())
    lines = []
    for i in range(height):
        pieces = []
        for c in part:
            text = cells[c][i] if i < len(cells[c]) else ""
            pad = " " * (widths[c] - cell_len(text))
            pieces.append(pad + text if c >= grid.right else text + pad)
        lines.append((" " * GAP).join(pieces))
    return lines

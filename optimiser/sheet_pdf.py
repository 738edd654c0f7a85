"""The bench sheet as a PDF to tape to the wing.

The same blocks as the text sheet, set close: duties side by side, drawings of the stacks, boxes to write in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from optimiser.neat import neat
from optimiser.paper import Block, Grid, Heading, Items, Loud, Words
from optimiser.picture import Picture
from optimiser.picture_pdf import PdfPicture

PAPERS = {"a4": A4, "letter": LETTER}
FONT, BOLD = "sheet", "sheet-bold"
MARGIN = 9 * mm
HEAD, FOOT = 19.0, 23.0  # pt, beside the margins
SIZES = (8.0, 7.6, 7.3, 7.0)  # pt; none smaller
WRITING = 12.2  # pt: height of a box to write in
A_LINE = 5.8  # pt: width of a box for each _ of its mark
FIRST, OTHER = 104.0, 78.0  # pt: how wide a column of words is before its texts are broken
PICTURE = 245.0  # pt: width of a drawing
LEAST_MARK = 4  # shorter marks are boxes to tick, which need no height
GAP = 8.0
LONGEST = 120.0  # pt: a longer word is broken


@dataclass(frozen=True)
class Leaf:
    """What every page of a sheet says of itself."""

    left: str
    right: str
    safety: str
    inputs: str
    refused: bool


@dataclass(frozen=True)
class Strip:
    """Blocks that stand beside each other where there is room, else under each other."""

    columns: tuple[tuple[Block | Picture, ...], ...]


Element = Block | Picture | Strip


def as_pdf(leaf: Leaf, pages: Sequence[Sequence[Element]], paper: str) -> bytes:
    """The sheet as a PDF, each list of parts beginning a page unless it still finds room on the one before.

    The largest type that needs no more pages than the smallest. The same sheet gives the same bytes.
    """
    _fonts()
    least = total = _count(leaf, pages, paper, SIZES[-1])
    for size in SIZES[:-1]:
        total = _count(leaf, pages, paper, size)
        if total <= least:
            break
    else:
        size, total = SIZES[-1], least
    return _built(leaf, pages, paper, size, total)[0]


@lru_cache(maxsize=1)
def _fonts() -> None:
    folder = files("optimiser") / "fonts"
    for name, file in ((FONT, "DejaVuSansCondensed.ttf"), (BOLD, "DejaVuSansCondensed-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, BytesIO((folder / file).read_bytes())))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)


def _count(leaf: Leaf, pages: Sequence[Sequence[Element]], paper: str, size: float) -> int:
    return _built(leaf, pages, paper, size, 0)[1]


def _built(
    leaf: Leaf, pages: Sequence[Sequence[Element]], paper: str, size: float, total: int
) -> tuple[bytes, int]:
    """The PDF and how many pages it has."""
    width, height = PAPERS[paper]
    out = BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=(width, height),
        invariant=1,
        title=leaf.left,
        author="shimwright",
        pageCompression=1,
    )
    room = width - 2 * MARGIN
    frame = Frame(
        MARGIN,
        MARGIN + FOOT,
        room,
        height - 2 * MARGIN - HEAD - FOOT,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )

    def furnish(canvas: Canvas, doc: Any) -> None:
        _furnish(canvas, leaf, (width, height), doc.page, total)

    document.addPageTemplates([PageTemplate(frames=[frame], onPage=furnish)])
    setter = Setter(size, room)
    story: list[Flowable] = []
    for parts in pages:
        story += setter.story(parts)
    while isinstance(story[-1], Spacer):
        # room after the last thing is no reason for another page
        story.pop()
    document.build(story)
    return out.getvalue(), document.page


def _furnish(canvas: Canvas, leaf: Leaf, paper: tuple[float, float], page: int, total: int) -> None:
    """Head, foot and, on a sheet that must not be built, the mark of it."""
    width, height = paper
    top = height - MARGIN - 9.0
    canvas.saveState()
    canvas.setFont(BOLD, 10.5)
    canvas.drawString(MARGIN, top, _fitting(leaf.left, BOLD, 10.5, 0.62 * (width - 2 * MARGIN)))
    canvas.setFont(FONT, 8)
    canvas.drawRightString(width - MARGIN, top, f"{leaf.right}, page {page} of {total}")
    canvas.setLineWidth(1.0)
    canvas.line(MARGIN, top - 5.0, width - MARGIN, top - 5.0)
    canvas.setLineWidth(0.4)
    canvas.line(MARGIN, MARGIN + FOOT - 4.0, width - MARGIN, MARGIN + FOOT - 4.0)
    canvas.setFont(BOLD, 7)
    canvas.drawString(MARGIN, MARGIN + 10.5, leaf.safety)
    canvas.setFont(FONT, 6.2)
    canvas.drawString(MARGIN, MARGIN + 2.0, _fitting(leaf.inputs, FONT, 6.2, width - 2 * MARGIN))
    if leaf.refused:
        canvas.translate(width / 2.0, height / 2.0)
        canvas.rotate(52)
        canvas.setFillGray(0.86)
        canvas.setFont(BOLD, 74)
        canvas.drawCentredString(0.0, -25.0, "NOT TO BE BUILT")
    canvas.restoreState()


def _marked(text: str) -> str:
    """A text as a paragraph takes it."""
    return escape(neat(text))


def _fitting(text: str, font: str, size: float, width: float) -> str:
    """As much of a text as goes into so many points."""
    if pdfmetrics.stringWidth(text, font, size) <= width:
        return text
    while text and pdfmetrics.stringWidth(f"{text}…", font, size) > width:
        text = text[:-1]
    return f"{text}…"


class Setter:
    """Sets parts of a sheet as flowables, in one size of type, over a width in points."""

    def __init__(self, size: float, width: float) -> None:
        self.size = size
        self.width = width
        self.lead = 1.19 * size
        self.plain = ParagraphStyle("plain", fontName=FONT, fontSize=size, leading=self.lead)
        self.bold = ParagraphStyle("bold", parent=self.plain, fontName=BOLD)
        self.right = ParagraphStyle("right", parent=self.plain, alignment=2)
        self.small = ParagraphStyle(
            "small", parent=self.plain, fontSize=max(6.6, size - 0.6), leading=self.lead - 0.5
        )
        self.small_right = ParagraphStyle("small-right", parent=self.small, alignment=2)

    def story(self, parts: Sequence[Element], cell: float | None = None) -> list[Flowable]:
        """Flowables of parts, a heading with what follows; ``cell`` is the width of a cell that they fill."""
        room = self.width if cell is None else cell
        found: list[Flowable] = []
        head: list[Flowable] = []
        for part in parts:
            if isinstance(part, Heading):
                head += self._heading(part)
                continue
            set_part = self._part(part, room)
            # a cell is never parted anyway
            found += (
                [KeepTogether([*head, *set_part])] if head and cell is None else [*head, *set_part]
            )
            head = []
        return found

    def _part(self, part: Element, room: float) -> list[Flowable]:
        if isinstance(part, Strip):
            return self._strip(part, room)
        if isinstance(part, Picture):
            wide = min(room, PICTURE)
            return [
                Paragraph(_marked(part.title), self.bold),
                PdfPicture(part, wide, FONT, min(self.size, 7.2)),
            ]
        if isinstance(part, Words):
            return [Paragraph(_marked(part.text), self.plain), Spacer(0, 2)]
        if isinstance(part, Loud):
            return self._loud(part, room)
        if isinstance(part, Items):
            return [*self._items(part, room), Spacer(0, 2)]
        assert isinstance(part, Grid)
        return [self.table(part, room), Spacer(0, 3)]

    def _heading(self, heading: Heading) -> list[Flowable]:
        big = heading.level < 3
        style = ParagraphStyle(
            "head",
            parent=self.bold,
            fontSize=self.size + (1.6 if big else 0.4),
            leading=self.lead + (3.0 if big else 1.5),
            spaceBefore=4.0 if big else 1.5,
        )
        return [Paragraph(_marked(heading.text), style)]

    def _loud(self, loud: Loud, room: float) -> list[Flowable]:
        lines = [Paragraph(_marked(line), self.bold) for line in loud.lines]
        box = Table([[lines]], colWidths=[room])
        box.setStyle([("BOX", (0, 0), (-1, -1), 2.0, (0, 0, 0))])
        return [box, Spacer(0, 3)]

    def _items(self, items: Items, room: float) -> list[Flowable]:
        rows: list[list[Any]] = []
        for number, text in enumerate(items.items, 1):
            mark: Any = (
                _Box(self.size) if items.boxed else (f"{number}." if items.numbered else "•")
            )
            if isinstance(mark, str):
                mark = Paragraph(mark, self.plain)
            rows.append([mark, Paragraph(_marked(text), self.plain)])
        wide = self.size * 1.6
        table = Table(rows, colWidths=[wide, room - wide])
        table.setStyle(_close(0.3))
        return [table]

    def _strip(self, strip: Strip, room: float) -> list[Flowable]:
        filled = [column for column in strip.columns if column]
        least = [max(self.natural(part) for part in column) for column in filled]
        gaps = GAP * (len(least) - 1)
        if sum(least) + gaps > room:
            return [f for column in filled for f in self.story(column, room)]
        # what is left goes to columns of words, which can use it
        spare = room - gaps - sum(least)
        wants = [any(isinstance(p, (Words, Items)) for p in column) for column in filled]
        share = spare / max(1, sum(wants) or len(least))
        widths = [
            w + (share if want or not any(wants) else 0.0)
            for w, want in zip(least, wants, strict=True)
        ]
        cells: list[Any] = []
        columns: list[float] = []
        for number, (column, wide) in enumerate(zip(filled, widths, strict=True)):
            if number:
                cells.append("")
                columns.append(GAP)
            cells.append(self.story(column, wide))
            columns.append(wide)
        table = Table([cells], colWidths=columns)
        table.setStyle(_close(0))
        return [table]

    def natural(self, part: Element) -> float:
        """The least width in which a part stands well, points."""
        if isinstance(part, Grid):
            return sum(self._least(part, column) for column in range(len(part.head)))
        return {Picture: 240.0, Words: 120.0, Items: 170.0, Loud: 170.0}.get(type(part), 60.0)

    def _least(self, grid: Grid, column: int) -> float:
        cells = [row[column] for row in grid.rows]
        head = max(
            (self._wide(word, BOLD) for word in neat(grid.head[column]).split(" ")), default=0.0
        )
        if column >= grid.right:
            widest = max((self._wide(cell, FONT) for cell in cells), default=0.0)
            return max(widest, head) + 5.0
        whole = max((self._wide(cell, FONT) for cell in cells), default=0.0)
        words = max(
            (self._wide(w, FONT) for cell in cells for w in neat(cell).split(" ")), default=0.0
        )
        most = FIRST if column == 0 else OTHER
        return max(min(whole, most), min(words, LONGEST), head) + 5.0

    def _wide(self, text: str, font: str) -> float:
        if text and not text.strip("_"):
            return A_LINE * len(text) - 5.0
        return float(pdfmetrics.stringWidth(neat(text), font, self.size))

    def table(self, grid: Grid, room: float) -> Table:
        """A grid with lines under its rows, and boxes where something is to be written."""
        least = [self._least(grid, column) for column in range(len(grid.head))]
        whole = [
            max([least[c], *(self._wide(row[c], FONT) + 5.0 for row in grid.rows)])
            for c in range(len(grid.head))
        ]
        widths = _fitted(least, whole, room)
        blanks = [
            (c, r)
            for r, row in enumerate(grid.rows, 1)
            for c, cell in enumerate(row)
            if cell and not cell.strip("_")
        ]
        head = [
            Paragraph(_marked(text), self.small_right if c >= grid.right else self.small)
            for c, text in enumerate(grid.head)
        ]
        rows: list[list[Any]] = [head] if any(grid.head) else []
        shift = 0 if rows else -1
        for row in grid.rows:
            rows.append(
                [
                    ""
                    if not cell.strip("_")
                    else Paragraph(_marked(cell), self.right if c >= grid.right else self.plain)
                    for c, cell in enumerate(row)
                ]
            )
        tall = {r for c, r in blanks if len(grid.rows[r - 1][c]) >= LEAST_MARK}
        heights = [WRITING if r - shift in tall else None for r in range(len(rows))]
        for r, height in enumerate(heights):
            if height is not None and any(
                self._lines(c, w) > 1
                for c, w in zip(grid.rows[r + (0 if shift else -1)], widths, strict=True)
            ):
                heights[r] = None
        table = Table(
            rows,
            colWidths=widths,
            rowHeights=heights,
            hAlign="LEFT",
            repeatRows=1 if shift == 0 else 0,
        )
        table.setStyle(self._style(blanks, shift))
        return table

    def _lines(self, cell: str, width: float) -> float:
        return self._wide(cell, FONT) / max(1.0, width - 4.0) if cell.strip("_") else 0.0

    def _style(self, blanks: list[tuple[int, int]], shift: int) -> list[Any]:
        style: list[Any] = [
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            # empty cells take as much as their type does
            ("FONT", (0, 0), (-1, -1), FONT, self.size, self.lead),
            ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ("RIGHTPADDING", (0, 0), (-1, -1), 2),
            ("TOPPADDING", (0, 0), (-1, -1), 0.6),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1.0),
            ("LINEBELOW", (0, 0), (-1, -1), 0.25, (0.7, 0.7, 0.7)),
        ]
        if shift == 0:
            style += [
                ("LINEBELOW", (0, 0), (-1, 0), 0.7, (0, 0, 0)),
                ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
            ]
        return style + [
            ("BOX", (c, r + shift), (c, r + shift), 0.5, (0.25, 0.25, 0.25)) for c, r in blanks
        ]


def _fitted(least: list[float], whole: list[float], room: float) -> list[float]:
    """Column widths: as wide as their texts where there is room, else what words need and a share of more."""
    if sum(whole) <= room:
        return whole
    short = room - sum(least)
    if short <= 0.0:
        return [w * room / sum(least) for w in least]
    wanted = [w - low for w, low in zip(whole, least, strict=True)]
    return [low + want * short / sum(wanted) for low, want in zip(least, wanted, strict=True)]


def _close(between: float) -> list[Any]:
    """The style of a table without lines: nothing beside its cells, so many points above and below."""
    return [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), between),
        ("BOTTOMPADDING", (0, 0), (-1, -1), between),
    ]


class _Box(Flowable):
    """A box to tick."""

    def __init__(self, size: float) -> None:
        super().__init__()
        self.size = size

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:
        """Its size."""
        return self.size, self.size

    def draw(self) -> None:
        """A square."""
        self.canv.setLineWidth(0.6)
        self.canv.rect(0.5, 0.5, self.size - 1.5, self.size - 1.5)

"""Measures of several duties side by side, group by group, with how each is judged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

from goals.verdicts import Demand
from kinematics.measures import MEASURES, Ask
from kinematics.measures.catalogue import Measure
from optimiser.precision import Shown, fixed, row_places, usual_places
from optimiser.wording import (
    bound_words,
    bounds_of,
    figure,
    measure_of,
    plain,
    short,
    state_words,
    why_missing,
)

Record = dict[str, Any]
# A measure's key, the angle it is asked at, and which wheel or turn ("" for the one that tells most).
RowId = tuple[str, float | None, str]

GROUPS = ("static", "travel", "steer", "space", "loads", "mechanics", "buying")
CASES = {
    "left": "left wheel",
    "right": "right wheel",
    "left_turn": "left turn",
    "right_turn": "right turn",
}
LEGEND = (
    "aim: target +/- tolerance; off: distance from it in tolerances, 1 is the edge",
    "of tolerance",
)
BAND_LEGEND = "[a to b]: 5 to 95 % band for the errors told, at the worse wheel where it is judged"


@dataclass(frozen=True)
class Column:
    """One column of figures: a title, a duty's measures, and what was asked for under each key.

    ``bands`` are the figures' 5 to 95 percent bands over cars as built, where they are known.
    """

    title: str
    measures: Record
    asks: dict[str, tuple[Ask, ...]] = field(default_factory=dict)
    bands: Record = field(default_factory=dict)

    @property
    def judged(self) -> bool:
        """Whether anything here is a limit or a target."""
        return any(bounds_of(e) or "wanted" in e for e in self.measures.values())


@dataclass(frozen=True)
class Cell:
    """One figure with what is said of it."""

    value: str
    judged: Text


def asks_of(wanted: list[Demand]) -> dict[str, tuple[Ask, ...]]:
    """What each key of ``evaluate.measures_of`` asks for."""
    found: dict[str, tuple[Ask, ...]] = {}
    for demand in wanted:
        name = demand.measure.name
        if demand.asks in (a for key, a in found.items() if measure_of(key) == name):
            continue
        found[name if name not in found else demand.label] = demand.asks
    return found


def print_figures(console: Console, columns: Sequence[Column]) -> None:
    """Every measure that a column has, a table a group, as many columns beside each other as fit."""
    if any(column.judged for column in columns):
        console.print(Text("\n".join(LEGEND), style="dim"))
    if any(column.bands for column in columns):
        console.print(Text(BAND_LEGEND, style="dim"))
    for group in groups():
        names = [m for m in MEASURES.values() if m.group == group]
        if any(measure_of(key) == m.name for m in names for c in columns for key in c.measures):
            console.print()
            console.print(_group_table(console, group, names, columns))


def groups() -> list[str]:
    """Groups of the catalogue in the order in which they are shown."""
    named = dict.fromkeys(m.group for m in MEASURES.values())
    return [g for g in GROUPS if g in named] + [g for g in named if g not in GROUPS]


def _group_table(
    console: Console, group: str, names: list[Measure], columns: Sequence[Column]
) -> Table:
    cells = [
        {row: cell for m in names for row, cell in _cells(c, m, digits_of(m, columns))}
        for c in columns
    ]
    rows = [row for m in names for row in _rows_of(m, cells)]
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    table.add_column(Text(group), overflow="fold", min_width=12)
    widths = [
        max([7, _title_width(col.title), *(cell_len(c[r].value) for r in rows if r in c)])
        for col, c in zip(columns, cells, strict=True)
    ]
    room = console.width - 21 - sum(w + 1 for w in widths)
    judged = max(1, sum(c.judged for c in columns))
    for column, width in zip(columns, widths, strict=True):
        table.add_column(Text(column.title), width=width, justify="right", overflow="fold")
        if column.judged:
            table.add_column("", max_width=max(12, room // judged - 1), overflow="fold")
    for row in rows:
        line: list[Text] = [Text(_label(row))]
        for column, known in zip(columns, cells, strict=True):
            cell = known.get(row, Cell("", Text("")))
            line += [Text(cell.value), cell.judged] if column.judged else [Text(cell.value)]
        table.add_row(*line)
    return table


def _title_width(title: str) -> int:
    """Room for a title's longest word, as far as that is not too long a word."""
    return min(10, max(cell_len(word) for word in title.split()))


def _rows_of(measure: Measure, cells: list[dict[RowId, Cell]]) -> list[RowId]:
    """Rows of one measure: the bare one first, then by angle, then what is asked beside it."""
    rows = {row: None for known in cells for row in known if measure_of(row[0]) == measure.name}
    return sorted(rows, key=lambda row: (row[0], -1e9 if row[1] is None else row[1], row[2]))


def _label(row: RowId) -> str:
    key, at, case = row
    if case:
        return f"  {CASES[case]}"
    words = plain(key) if at is None else f"{plain(key)} at {short(at)} deg"
    unit = MEASURES[measure_of(key)].unit
    return f"{words}, {unit}" if unit else words


def digits_of(measure: Measure, columns: Sequence[Column]) -> dict[str, int]:
    """Decimals of a measure's figures by key, alike in all columns."""
    told: dict[str, list[Shown]] = {}
    for column in columns:
        for key, entry in column.measures.items():
            if measure_of(key) == measure.name:
                told.setdefault(key, []).extend(shown_of(entry, column.bands.get(key)))
    return {key: row_places(measure.name, row) for key, row in told.items()}


def shown_of(entry: Record, band: Any) -> Iterator[Shown]:
    """A measure's entry as the figures that are printed of it, of a curve's points each."""
    value = entry["value"]
    if isinstance(value, list):
        bands = band or [None] * len(value)
        yield from ((one, (), each) for one, each in zip(value, bands, strict=True))
    else:
        yield value, bounds_of(entry), band


def _cells(
    column: Column, measure: Measure, digits: dict[str, int]
) -> Iterator[tuple[RowId, Cell]]:
    for key, entry in column.measures.items():
        if measure_of(key) != measure.name:
            continue
        asks, places = column.asks.get(key, ()), digits[key]
        if isinstance(entry["value"], list):
            for i, at in enumerate(entry["at"]):
                row = measure_of(key)
                bands = column.bands.get(key) or [None] * len(entry["at"])
                cell = _point_cell(key, entry, i, places)
                yield (row, at, ""), _banded(key, cell, bands[i], places)
                for case, values in entry.get("sides", {}).items():
                    yield (row, at, case), Cell(figure(key, values[i], places=places), Text(""))
            continue
        asked = bool(bounds_of(entry)) or "wanted" in entry
        at = asks[0].at if asks else None
        if at is None and (asks or not asked):
            at = measure.default_at
        row = measure.name if at is not None else key
        cell = _cell(key, entry, asks, places)
        yield (row, at, ""), _banded(key, cell, column.bands.get(key), places)
        for case, value in entry.get("sides", {}).items():
            yield (row, at, case), Cell(figure(key, value, places=places), Text(""))


def _banded(key: str, cell: Cell, band: list[float] | None, places: int) -> Cell:
    """A figure's cell with its band behind it; none where both ends read alike."""
    low, high = (None, None) if band is None else (figure(key, e, places=places) for e in band)
    if low == high:
        return cell
    words = Text(f"[{low} to {high}]", "dim")
    return Cell(cell.value, Text("\n").join([cell.judged, words]) if cell.judged else words)


def _point_cell(key: str, entry: Record, i: int, places: int) -> Cell:
    value, wanted, tolerance = entry["value"][i], entry["wanted"][i], entry["tolerance"]
    off = None if value is None else abs(value - wanted) / tolerance
    judged = Text("\n").join(_target(key, value, wanted, tolerance, off))
    return Cell(figure(key, value, places=places), judged)


def _cell(key: str, entry: Record, asks: tuple[Ask, ...], places: int) -> Cell:
    value = entry["value"]
    lines = []
    for bound in bounds_of(entry):
        word = Text("ok ", "green") if entry["limit"] else Text("FAILS ", "bold red")
        lines.append(word + Text(bound_words(key, bound)))
    state = [Text(words, "dim") for words in [state_words(entry.get("state"))] if words]
    lines += state if value is not None else []
    if "wanted" in entry:
        lines += _target(key, value, entry["wanted"], entry["tolerance"], entry["miss"])
    elif value is None:
        lines += [Text(why_missing(key), "dim"), *state]
    over = asks[0].over if asks else None
    if over is not None and " over " not in key:
        lines.append(Text(f"over {short(over[0])} to {short(over[1])}", "dim"))
    if asks and asks[0].wheel is not None and " " not in key:
        lines.append(Text(f"{asks[0].wheel} wheel", "dim"))
    return Cell(figure(key, value, places=places), Text("\n").join(lines))


def _target(
    key: str, value: float | None, wanted: float, tolerance: float, off: float | None
) -> list[Text]:
    aim = Text(f"aim {short(wanted)} +/- {short(tolerance)}")
    if value is None or off is None:
        return [aim, Text(why_missing(key), "dim")]
    places = 2 if off < 10 else 1
    return [aim, Text(f"off {fixed(off, places)}", "" if off <= 1.0 else "yellow")]


def curve_figure(name: str, value: float | None) -> str:
    """One figure of a curve."""
    return "-" if value is None else fixed(value, usual_places(name))

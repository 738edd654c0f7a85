"""Readings as a table: one line a reading, made into the plain data that a readings file in YAML has.

The first line names the columns. ``kind`` and ``value`` are needed; ``wheel``, ``turn``, ``at``, ``rack``,
``unit`` and ``base`` where the kind asks for them. Commas or semicolons part the cells; a line that begins
with # is a remark. Places of faults are those of the cells.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from goals.document import MAX_BYTES, Document, Path, Place
from goals.faults import MAX_FAULTS, Fault, nearest, one_of, show
from goals.readings import Uncertainty

COLUMNS = ("kind", "wheel", "turn", "at", "value", "rack", "unit", "base")
# What each kind of line is, and the columns that it must fill beside its value.
STATIC = ("toe", "caster", "kingpin_inclination", "rod_length")
KINDS = {
    "toe_change": ("wheel", "at"),
    "camber": ("wheel",),
    "turn_plate": ("turn", "at"),
    **dict.fromkeys(STATIC, ("wheel",)),
    "height": ("wheel", "at"),
    "lowered_by": (),
    "duty": (),
    "name": (),
    "uncertainty": ("at",),
}
TEXTS = ("duty", "name")

# Nothing in it gives back what it took (*+), or a line of blanks and a stray quote would take for ever.
_CELL = re.compile(r'\s*+(?:"((?:[^"]|"")*+)"\s*+|([^,;"]*+))([,;]|$)')
_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")
_MOST_LINES = 5_000


@dataclass(frozen=True)
class _Cell:
    """A cell's text and its place."""

    text: str
    place: Place


@dataclass
class _Table:
    """The data under construction, with the places of what was put in."""

    file: str
    data: dict[str, Any] = field(default_factory=lambda: {"format": 1})
    values: dict[Path, Place] = field(default_factory=lambda: {(): Place(1, 1)})
    keys: dict[Path, Place] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    runs: dict[tuple[str, ...], int] = field(default_factory=dict)
    turns: dict[str, int] = field(default_factory=dict)

    def fault(self, place: Place, found: str, expected: str = "", near: str | None = None) -> None:
        self.faults.append(Fault(self.file, place.line, place.column, found, expected, near))

    def put(self, path: Path, value: Any, place: Place) -> None:
        """A value at a path whose last step is a new key; a second value for it is a fault."""
        inner: Any = self.data
        for end, word in enumerate(path[:-1], 1):
            inner = inner.setdefault(word, {}) if isinstance(inner, dict) else inner[int(word)]
            self.values.setdefault(path[:end], place)
        if path[-1] in inner:
            first = self.values[path].line
            self.fault(place, f"{path[-1]} is read twice, first on line {first}", "each once")
            return
        inner[path[-1]] = value
        self.values[path] = place

    def pair(self, path: Path, at: _Cell, value: _Cell) -> None:
        """A pair at the end of the list at a path."""
        inner: Any = self.data
        for word in path:
            inner = inner[int(word)] if isinstance(inner, list) else inner.setdefault(word, [])
        number = str(len(inner))
        inner.append([_value(at), _value(value)])
        self.values.setdefault(path, at.place)
        for end, cell in (("0", at), ("1", value)):
            self.values[(*path, number)] = at.place
            self.values[(*path, number, end)] = cell.place


def read_table(file: str, raw: bytes) -> Document:
    """Read one table's bytes; never raises: what is wrong is in ``faults``, as for ``read_document``."""
    if len(raw) > MAX_BYTES:
        return _unreadable(file, Place(0, 0), f"more than {MAX_BYTES} bytes", "a table of readings")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        place = Place(raw.count(b"\n", 0, error.start) + 1, 1)
        return _unreadable(file, place, "a byte that is not UTF-8 text", "UTF-8")
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        return _unreadable(file, Place(1, 1), "the file is empty", f"a line {','.join(COLUMNS)}")
    if len(lines) > _MOST_LINES:
        return _unreadable(file, Place(0, 0), f"more than {_MOST_LINES} lines", "fewer readings")
    table = _Table(file)
    heads = _heads(table, _cells(*lines[0]))
    if heads is None:
        return Document(file, faults=tuple(table.faults), readable=False)
    for number, line in lines[1:]:
        _read_line(table, heads, number, line)
        if len(table.faults) > MAX_FAULTS:
            break
    return Document(file, table.data, table.keys, table.values, set(), tuple(table.faults))


def _unreadable(file: str, place: Place, found: str, expected: str) -> Document:
    fault = Fault(file, place.line, place.column, found, expected)
    return Document(file, faults=(fault,), readable=False)


def _cells(number: int, line: str) -> list[_Cell] | None:
    """The cells of a line; None where a quote is not closed or stands within a cell."""
    cells, at = [], 0
    while True:
        match = _CELL.match(line, at)
        if match is None:
            return None
        text = match[2].strip() if match[1] is None else match[1].replace('""', '"')
        start = match.start(2) if match[1] is None else match.start(1)
        cells.append(_Cell(text, Place(number, start + 1)))
        at = match.end()
        if match[3] == "":
            return cells


def _heads(table: _Table, cells: list[_Cell] | None) -> list[str] | None:
    """The columns by name; None with the faults noted."""
    if cells is None:
        table.fault(Place(1, 1), "a quote that is not closed", "names of columns")
        return None
    for cell in cells:
        if cell.text not in COLUMNS:
            close = nearest(cell.text, COLUMNS)
            table.fault(cell.place, f"unknown column {show(cell.text)}", one_of(COLUMNS), close)
    names = [cell.text for cell in cells]
    for name in ("kind", "value"):
        if name not in names and not table.faults:
            table.fault(cells[0].place, f"column '{name}' is missing", one_of(COLUMNS))
    for place, cell in enumerate(cells):
        if cell.text in names[:place]:
            table.fault(cell.place, f"column {show(cell.text)} is there twice", "each column once")
    return None if table.faults else names


def _read_line(table: _Table, heads: list[str], number: int, line: str) -> None:
    cells = _cells(number, line)
    if cells is None:
        table.fault(Place(number, 1), "a quote that is not closed", "cells parted by commas")
        return
    if len(cells) > len(heads):
        extra = cells[len(heads)]
        table.fault(extra.place, f"{len(cells)} cells", f"{len(heads)}, as the first line names")
        return
    row = {name: cell for name, cell in zip(heads, cells, strict=False) if cell.text}
    start = Place(number, 1)
    kind = row.get("kind")
    if kind is None:
        table.fault(start, "a line without a kind", one_of(tuple(KINDS)))
    elif kind.text not in KINDS:
        close = nearest(kind.text, KINDS)
        table.fault(kind.place, f"unknown kind {show(kind.text)}", one_of(tuple(KINDS)), close)
    elif lacking := [name for name in (*KINDS[kind.text], "value") if name not in row]:
        table.fault(kind.place, f"{kind.text} without {' and '.join(lacking)}", "a filled cell")
    elif _sound_words(table, row):
        _put_line(table, kind.text, row)


def _sound_words(table: _Table, row: dict[str, _Cell]) -> bool:
    """Whether the words that choose a place are known; what is not is told."""
    before = len(table.faults)
    for name in ("wheel", "turn"):
        if name in row and row[name].text not in ("left", "right"):
            close = nearest(row[name].text, ("left", "right"))
            found = f"{name} {show(row[name].text)}"
            table.fault(row[name].place, found, one_of(("left", "right")), close)
    return len(table.faults) == before


def _put_line(table: _Table, kind: str, row: dict[str, _Cell]) -> None:
    value = row["value"]
    if kind == "toe_change" or (kind == "camber" and "at" in row):
        name = "toe" if kind == "toe_change" else "camber"
        table.pair(("gauge", str(_run(table, row)), name), row["at"], value)
    elif kind == "turn_plate":
        turn = row["turn"]
        if turn.text not in table.turns:
            table.turns[turn.text] = len(table.turns)
            table.data.setdefault("turn_plates", []).append({"turn": turn.text, "readings": []})
            table.values[("turn_plates", str(table.turns[turn.text]))] = turn.place
        table.pair(("turn_plates", str(table.turns[turn.text]), "readings"), row["at"], value)
    elif kind == "height":
        path = ("static", row["wheel"].text, "heights", row["at"].text)
        table.put(path, _value(value), value.place)
        table.keys[path] = row["at"].place
    elif kind == "uncertainty":
        name = row["at"].text
        if name not in Uncertainty.model_fields:
            valid = tuple(Uncertainty.model_fields)
            close = nearest(name, valid)
            table.fault(row["at"].place, f"uncertainty of {show(name)}", one_of(valid), close)
            return
        table.put(("uncertainty", name), _value(value), value.place)
    elif "wheel" in KINDS[kind]:
        table.put(("static", row["wheel"].text, kind), _value(value), value.place)
    else:
        table.put((kind,), value.text if kind in TEXTS else _value(value), value.place)


def _run(table: _Table, row: dict[str, _Cell]) -> int:
    """The gauge run that a line belongs to, by wheel, rack and dials; made where it is new."""
    dialled = row["kind"].text == "toe_change"
    key: tuple[str, ...] = (row["wheel"].text, row["rack"].text if "rack" in row else "0")
    if dialled:
        key += tuple(row[name].text if name in row else "" for name in ("unit", "base"))
    if key in table.runs:
        return table.runs[key]
    number = table.runs[key] = len(table.runs)
    run: dict[str, Any] = {"wheel": row["wheel"].text}
    path = ("gauge", str(number))
    table.values[path] = row["wheel"].place
    if "rack" in row:
        run["rack"] = _value(row["rack"])
        table.values[(*path, "rack")] = row["rack"].place
    dials = {name: row[name] for name in ("unit", "base") if name in row} if dialled else {}
    if dials and not (dials.keys() == {"unit"} and dials["unit"].text == "deg"):
        run["dials"] = {name: _value(cell) for name, cell in dials.items()}
        table.values[(*path, "dials")] = next(iter(dials.values())).place
        for name, cell in dials.items():
            table.values[(*path, "dials", name)] = cell.place
    table.data.setdefault("gauge", []).append(run)
    return number


def _value(cell: _Cell) -> Any:
    """A number where the cell is one, else its text."""
    if _NUMBER.fullmatch(cell.text):
        number = float(cell.text)
        return int(number) if number.is_integer() and abs(number) < 1e15 else number
    return cell.text

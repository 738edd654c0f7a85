"""Every measure of one duty for the report: today's car and each drawn candidate beside what was wanted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from kinematics.measures import MEASURES, Ask
from kinematics.measures.catalogue import Measure
from optimiser.figures import CASES, Column, digits_of, groups
from optimiser.precision import fixed
from optimiser.report_best import NONE, cell
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
RowId = tuple[str, float | None, str]

LEFT_OUT = ("buying",)  # told with the parts
MORE, LESS, BETWEEN = "more", "less", "between"


def measure_groups(columns: Sequence[Column]) -> list[Record]:
    """Groups of the catalogue with their rows: label, unit, meaning, what is wanted, and a cell a column."""
    found = []
    for group in groups():
        if group in LEFT_OUT:
            continue
        of_it = [m for m in MEASURES.values() if m.group == group]
        rows = [row for measure in of_it for row in _rows(measure, columns)]
        if rows:
            found.append({"head": group, "rows": rows})
    return found


def _rows(measure: Measure, columns: Sequence[Column]) -> Iterator[Record]:
    digits = digits_of(measure, columns)
    found = [dict(_entries(measure, column, digits)) for column in columns]
    ids = {row: None for each in found for row in each}
    for row in sorted(ids, key=lambda r: (r[0], -1e9 if r[1] is None else r[1], r[2])):
        there = [each[row] for each in found if row in each]
        alike = all(each["wanted"] == there[0]["wanted"] for each in there)
        yield {
            "label": _label(row),
            "unit": measure.unit,
            "means": measure.definition,
            "side": bool(row[2]),
            "wanted": there[0]["wanted"] if alike else ["by the parts"],
            "better": next((e["better"] for e in there if e["better"]), ""),
            "cells": [_cell(each.get(row), alike) for each in found],
        }


def _cell(entry: Record | None, alike: bool) -> Record:
    """A figure's cell; what is wanted of it stands inside where that depends on the parts."""
    if entry is None:
        return NONE
    told: Record = entry["cell"]
    return told if alike else {**told, "under": [*told["under"], *entry["wanted"]]}


def _label(row: RowId) -> str:
    key, at, case = row
    if case:
        return CASES[case]
    return plain(key) if at is None else f"{plain(key)} at {short(at)} deg"


def _entries(
    measure: Measure, column: Column, digits: dict[str, int]
) -> Iterator[tuple[RowId, Record]]:
    for key, entry in column.measures.items():
        if measure_of(key) != measure.name:
            continue
        asks = column.asks.get(key, ())
        band, places = column.bands.get(key), digits[key]
        if isinstance(entry["value"], list):
            for i, at in enumerate(entry["at"]):
                one = _point(key, entry, i, band[i] if band else None, places)
                yield (measure.name, at, ""), one
                for case, values in entry.get("sides", {}).items():
                    yield (measure.name, at, case), _plain(key, values[i], places)
            continue
        at = _angle(measure, entry, asks)
        name = measure.name if at is not None else key
        yield (name, at, ""), _one(key, entry, asks, band, places)
        for case, value in entry.get("sides", {}).items():
            yield (name, at, case), _plain(key, value, places)


def _angle(measure: Measure, entry: Record, asks: tuple[Ask, ...]) -> float | None:
    """The steer angle that a figure is of, where it is of one."""
    at = asks[0].at if asks else None
    asked = bool(bounds_of(entry)) or "wanted" in entry
    return measure.default_at if at is None and (asks or not asked) else at


def _plain(key: str, value: float | None, places: int) -> Record:
    return {"cell": cell(figure(key, value, places=places)), "wanted": [], "better": ""}


def _point(key: str, entry: Record, i: int, band: Sequence[float] | None, places: int) -> Record:
    value, wanted, tolerance = entry["value"][i], entry["wanted"][i], entry["tolerance"]
    off = None if value is None else abs(value - wanted) / tolerance
    text, under = figure(key, value, places=places), [_off(off), _band(key, band, places)]
    return {
        "cell": cell(text, *under, state=_state(None, off)),
        "wanted": [f"aim {short(wanted)} +/- {short(tolerance)}"],
        "better": f"near {short(wanted)}",
    }


def _one(
    key: str,
    entry: Record,
    asks: tuple[Ask, ...],
    band: Sequence[float] | None,
    places: int,
) -> Record:
    value, bounds = entry["value"], bounds_of(entry)
    wanted = [f"limit {bound_words(key, bound)}" for bound in bounds]
    off = None
    if "wanted" in entry:
        wanted.append(f"aim {short(entry['wanted'])} +/- {short(entry['tolerance'])}")
        off = None if value is None else entry["miss"]
    if asks and asks[0].over is not None and " over " not in key:
        wanted.append(f"over {short(asks[0].over[0])} to {short(asks[0].over[1])} mm")
    if asks and asks[0].wheel is not None and " " not in key:
        wanted.append(f"{asks[0].wheel} wheel")
    lines = ["fails"] if entry["limit"] is False else []
    lines += [why_missing(key)] if value is None else [_off(off), _band(key, band, places)]
    return {
        "cell": cell(
            figure(key, value, places=places),
            *lines,
            state=_state(entry["limit"], off),
            where=state_words(entry.get("state")),
        ),
        "wanted": wanted,
        "better": _better(entry),
    }


def _off(off: float | None) -> str:
    return "" if off is None else f"off {fixed(off, 2 if off < 10 else 1)}"


def _band(key: str, band: Sequence[float] | None, places: int) -> str:
    """The 5 to 95 percent band; none where both ends read alike."""
    if band is None:
        return ""
    low, high = (figure(key, end, places=places) for end in band)
    return "" if low == high else f"[{low} to {high}]"


def _state(limit: bool | None, off: float | None) -> str:
    if limit is False:
        return "bad"
    return "off" if off is not None and off > 1.0 else ""


def _better(entry: Record) -> str:
    """Which way a figure gets better: toward its target, else away from its bound."""
    if "wanted" in entry:
        return f"near {short(entry['wanted'])}"
    low = any(bound[0] is not None for bound in bounds_of(entry))
    high = any(bound[1] is not None for bound in bounds_of(entry))
    if low and high:
        return BETWEEN
    return MORE if low else LESS if high else ""

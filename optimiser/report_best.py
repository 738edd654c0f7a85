"""The report's first table: the best candidates beside today's car, and what changes from it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from optimiser.built_table import share_words
from optimiser.figures import Column
from optimiser.problem import Problem
from optimiser.report_shown import Candidate, Today
from optimiser.settings import part_name, source_of
from optimiser.space import AS_IS, Build
from optimiser.wording import (
    MEASURES,
    bounds_of,
    clean,
    counted,
    decimals,
    failing,
    figure,
    fixed,
    lacks,
    plain,
    price,
    short,
    spoken,
    unpaired_words,
)

Record = dict[str, Any]

# What a builder asks first of a change from today's car.
CHANGES = ("lock_inner", "roll_centre_height", "bump_steer", "caster", "track_width")


def cell(text: str, *under: str, state: str = "") -> Record:
    """One cell: its text, smaller lines under it, and a state (good, bad, quiet)."""
    return {"text": text, "under": [line for line in under if line], "state": state}


NONE = cell("-", state="quiet")


def best(problem: Problem, today: Today, shown: Sequence[Candidate]) -> list[Record]:
    """Groups of rows, each row with today's cell and one a candidate."""
    groups = [
        {"head": "", "rows": list(_verdict(problem, today, shown))},
        *(_changes(duty, today, shown) for duty in problem.duties),
        {"head": "Parts other than today's", "rows": list(_parts(problem, today, shown))},
    ]
    return [group for group in groups if group["rows"]]


def _row(label: str, today: Record, cells: list[Record], note: str = "") -> Record:
    return {"label": label, "note": note, "cells": [today, *cells]}


def _verdict(problem: Problem, today: Today, shown: Sequence[Candidate]) -> Iterator[Record]:
    def each(read: Callable[[Candidate], Record]) -> list[Record]:
        return [read(candidate) for candidate in shown]

    yield _row("limits", _holds_today(today), each(_holds))
    merits = [r["merit"] for r in today.duties.values() if r["feasible"]]
    worst = max(merits) if len(merits) == len(today.duties) else None
    yield _row("merit", _merit(worst), each(_worst), "worst duty; 0 is on every target")
    if len(problem.duties) > 1:
        for duty in problem.duties:
            yield _row(
                f"{clean(duty)} merit",
                _duty_merit(today.duties[duty]),
                [_duty_merit(c.document["duties"][duty]) for c in shown],
            )
    if any(c.document["yield"] is not None for c in shown):
        yield _row("yield", NONE, each(_yield), "cars as built that hold every limit")
    yield _row("tightest limit, or what lacks", _lacks_today(today), each(_tight))
    yield _row("to buy", cell("nothing", state="quiet"), each(lambda c: _buy(problem, c)))
    if any(c.document["changeover_minutes"] is not None for c in shown):
        yield _row("swap", NONE, each(_minutes), "minutes from duty to duty")


def _holds_today(today: Today) -> Record:
    missed = sum(len(failing(duty, record)) for duty, record in today.duties.items())
    if missed:
        return cell(f"fails {missed}", state="bad")
    return cell("holds all", state="good")


def _holds(candidate: Candidate) -> Record:
    document = candidate.document
    if document["feasible"]:
        return cell("holds all", state="good")
    served = [clean(d) for d, record in document["duties"].items() if record["feasible"]]
    if len(served) == len(document["duties"]):
        return cell("no one car", "settings do not go together", state="bad")
    return cell("fails", f"serves {', '.join(served)}" if served else "", state="bad")


def _merit(value: float | None, *under: str, state: str = "") -> Record:
    return NONE if value is None else cell(fixed(value, 3), *under, state=state)


def _worst(candidate: Candidate) -> Record:
    document = candidate.document
    band = document.get("merit_band")
    told = "" if band is None else f"[{fixed(band[0], 3)} to {fixed(band[1], 3)}]"
    tie = "" if candidate.ties_with is None else f"ties with {candidate.ties_with}"
    return _merit(document["merit"], told, tie, state="main")


def _duty_merit(record: Record) -> Record:
    if not record["feasible"]:
        return cell("not served", state="bad")
    return _merit(record["merit"])


def _yield(candidate: Candidate) -> Record:
    document = candidate.document
    if document["yield"] is None:
        return NONE
    error = f"+/- {fixed(100.0 * document['yield_error'], 1)} points"
    short_of = document["below_least_yield"]
    note = "less than wanted" if short_of else ""
    return cell(share_words(document["yield"]), error, note, state="bad" if short_of else "")


def _lacks_today(today: Today) -> Record:
    lines = [
        f"{clean(duty)}: {plain(m.key)}"
        for duty, record in today.duties.items()
        for m in failing(duty, record)[:2]
    ]
    return cell(lines[0] if lines else "-", *lines[1:], state="bad" if lines else "quiet")


def _tight(candidate: Candidate) -> Record:
    document = candidate.document
    if not document["feasible"]:
        lines = [lacks(clean(d), r) for d, r in document["duties"].items() if not r["feasible"]]
        lines = lines or [unpaired_words(document["pairing"])]
        return cell(lines[0], *lines[1:], state="lacks")
    for margin in candidate.tightest(1):
        return cell(
            f"{clean(margin.duty)}: {plain(margin.key)}",
            f"{margin.value_words()}, limit {margin.bound_words()}",
            f"{margin.hand_words()} in hand",
        )
    return cell("no limits", state="quiet")


def _buy(problem: Problem, candidate: Candidate) -> Record:
    count = len(candidate.document["to_buy"])
    if not count:
        return cell("nothing")
    return cell(
        price(candidate.document["price"], problem.parts.currency), counted(count, "part")
    )


def _minutes(candidate: Candidate) -> Record:
    told = candidate.document["changeover_minutes"]
    return NONE if told is None else cell(f"{short(told)} min")


def _changes(duty: str, today: Today, shown: Sequence[Candidate]) -> Record:
    was = today.column(duty)
    columns = [c.column(duty) for c in shown]
    rows = [
        _row(
            plain(key) + _window(was, key),
            _figure(was, key, None),
            [_figure(column, key, was) for column in columns],
            MEASURES[key].unit,
        )
        for key in CHANGES
        if key in was.measures
    ]
    return {"head": f"{clean(duty)}: figures, and the change from today's parts", "rows": rows}


def _window(column: Column, key: str) -> str:
    asks = column.asks.get(key, ())
    if not asks or asks[0].over is None:
        return ""
    low, high = asks[0].over
    return f" over {short(low)} to {short(high)} mm"


def _figure(column: Column, key: str, was: Column | None) -> Record:
    entry = column.measures.get(key)
    if entry is None or entry["value"] is None or isinstance(entry["value"], list):
        return NONE
    text = figure(key, entry["value"], bounds_of(entry))
    state = "bad" if entry["limit"] is False else ""
    before = None if was is None else was.measures[key]["value"]
    if before is None:
        return cell(text, state=state)
    change = fixed(entry["value"] - before, decimals(key))
    return cell(text, change if change.startswith("-") else f"+{change}", state=state)


def _parts(problem: Problem, today: Today, shown: Sequence[Candidate]) -> Iterator[Record]:
    for station, was in today.build.parts.items():
        now = [c.build.parts[station] for c in shown]
        if all(part.id == was.id for part in now):
            continue
        cells = [
            cell("as today", state="quiet")
            if part.id == was.id
            else cell(
                "left as measured" if part.id == AS_IS else part_name(part),
                "" if part.id == AS_IS else source_of(part, problem.parts.currency),
            )
            for part in now
        ]
        name = "as measured" if was.id == AS_IS else part_name(was)
        yield _row(spoken(station.value), cell(name), cells)


def other_parts(build: Build, first: Build) -> list[str]:
    """Stations whose part is not that of another build, with the part: 'tie rod kit'."""
    return [
        f"{spoken(station.value)} {clean(part.id)}"
        for station, part in build.parts.items()
        if first.parts[station].id != part.id
    ]

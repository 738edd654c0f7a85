"""The report's first table: the best candidates beside today's car, and what changes from it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from kinematics.measures import MEASURES
from optimiser.built_table import share_words
from optimiser.figures import Column, digits_of
from optimiser.precision import fixed
from optimiser.problem import Problem
from optimiser.report_shown import Candidate, Today
from optimiser.settings import part_name, source_of
from optimiser.space import AS_IS, Build
from optimiser.wording import (
    clean,
    counted,
    failing,
    figure,
    lacks,
    plain,
    price,
    short,
    spoken,
    state_words,
    unpaired_words,
)

Record = dict[str, Any]

# What a builder asks first of a change from today's car.
CHANGES = ("lock_inner", "roll_centre_height", "bump_steer", "caster", "track_width")


def cell(text: str, *under: str, state: str = "", where: str = "") -> Record:
    """One cell: its text, smaller lines under it, how it stands (good, bad, quiet), where it was decided."""
    lines = [line for line in under if line]
    return {"text": text, "under": lines, "state": state, "where": where}


NONE = cell("-", state="quiet")


def best(problem: Problem, today: Today, shown: Sequence[Candidate]) -> list[Record]:
    """Groups of rows, each row with today's cell and one a candidate."""
    groups = [
        {"head": "", "rows": list(_verdict(problem, today, shown))},
        *(_changes(duty, today, shown) for duty in problem.duties),
        {"head": "Parts other than today's", "rows": list(_parts(problem, today, shown))},
    ]
    return [group for group in groups if group["rows"]]


def lead(problem: Problem, today: Today, shown: Sequence[Candidate]) -> list[str]:
    """The answer in a few sentences: the best candidate, its tightest limit, its price; and today's car."""
    lines = []
    if shown:
        lines += _first_words(problem, shown[0])
    missed = {d: len(failing(d, record)) for d, record in today.duties.items()}
    if any(missed.values()):
        counts = ", ".join(f"{n} in {clean(d)}" for d, n in missed.items() if n)
        lines.append(f"Today's parts, set for each duty, fail limits: {counts}.")
    else:
        lines.append("Today's parts, set for each duty, hold every limit.")
    return lines


def _first_words(problem: Problem, first: Candidate) -> list[str]:
    document = first.document
    if not document["feasible"]:
        failing_duties = [clean(d) for d, r in document["duties"].items() if not r["feasible"]]
        where = (
            f" of {', '.join(failing_duties)}"
            if failing_duties
            else ", with settings to go together"
        )
        return [f"The nearest, candidate 1, does not hold every limit{where}."]
    merits = ", ".join(_by_duty(document["duties"]))
    words = f"Candidate 1 holds every limit with merit {fixed(document['merit'], 3)}"
    words += f" ({merits})" if merits else ""
    if document["yield"] is not None:
        words += f"; of cars as built, {share_words(document['yield'])} hold every limit"
    lines = [f"{words}."]
    for m in first.tightest(1):
        lines.append(
            f"Tightest: {clean(m.duty)}, {plain(m.key)} {m.value_words()} with the limit {m.bound_words()}, "
            f"{m.hand_words()} in hand{', ' if m.state else ''}{m.state_words()}."
        )
    count, cost = len(document["to_buy"]), price(document["price"], problem.parts.currency)
    bought = f"{counted(count, 'part')} to buy, {cost}" if count else "Nothing to buy"
    swap = document["changeover_minutes"]
    lines.append(f"{bought}{'' if swap is None else f'; a swap takes {short(swap)} minutes'}.")
    return lines


def _row(label: str, today: Record, cells: list[Record], note: str = "") -> Record:
    return {"label": label, "note": note, "cells": [today, *cells]}


def _verdict(problem: Problem, today: Today, shown: Sequence[Candidate]) -> Iterator[Record]:
    def each(read: Callable[[Candidate], Record]) -> list[Record]:
        return [read(candidate) for candidate in shown]

    note = "0: on every target, 1: edge of tolerance"
    yield _row("merit", _today_merit(today), each(_merit), note)
    if any(c.document["yield"] is not None for c in shown):
        yield _row("yield", NONE, each(_yield), "cars as built that hold all")
    yield _row("tightest limit, or what lacks", _lacks_today(today), each(_tight))
    yield _row("to buy", cell("nothing", state="quiet"), each(lambda c: _buy(problem, c)))
    if any(c.document["changeover_minutes"] is not None for c in shown):
        yield _row("swap between duties", NONE, each(_minutes))


def _today_merit(today: Today) -> Record:
    missed = sum(len(failing(duty, record)) for duty, record in today.duties.items())
    if missed:
        return cell(f"fails {counted(missed, 'limit')}", *_by_duty(today.duties), state="bad")
    worst = max(record["merit"] for record in today.duties.values())
    return cell(fixed(worst, 3), *_by_duty(today.duties), state="main")


def _merit(candidate: Candidate) -> Record:
    document = candidate.document
    lines = _by_duty(document["duties"])
    if document["merit"] is None:
        together = all(record["feasible"] for record in document["duties"].values())
        return cell("settings do not go together" if together else "fails", *lines, state="bad")
    tie = "" if candidate.ties_with is None else f"ties with {candidate.ties_with}"
    return cell(fixed(document["merit"], 3), *lines, tie, state="main")


def _by_duty(duties: dict[str, Record]) -> list[str]:
    """Each duty's merit; nothing where there is but one duty."""
    if len(duties) < 2:
        return []
    return [
        f"{clean(duty)} {fixed(record['merit'], 3) if record['feasible'] else 'not served'}"
        for duty, record in duties.items()
    ]


def _yield(candidate: Candidate) -> Record:
    document = candidate.document
    if document["yield"] is None:
        return NONE
    error = f"+/- {fixed(100.0 * document['yield_error'], 1)} points"
    band = document.get("merit_band")
    merit = "" if band is None else f"merit {fixed(band[0], 3)} to {fixed(band[1], 3)}"
    short_of = document["below_least_yield"]
    lines = [error, merit, "less than wanted" if short_of else ""]
    return cell(share_words(document["yield"]), *lines, state="bad" if short_of else "")


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
            where=margin.state_words(),
        )
    return cell("no limits", state="quiet")


def _buy(problem: Problem, candidate: Candidate) -> Record:
    count = len(candidate.document["to_buy"])
    if not count:
        return cell("nothing")
    return cell(price(candidate.document["price"], problem.parts.currency), counted(count, "part"))


def _minutes(candidate: Candidate) -> Record:
    told = candidate.document["changeover_minutes"]
    return NONE if told is None else cell(f"{short(told)} min")


def _changes(duty: str, today: Today, shown: Sequence[Candidate]) -> Record:
    was = today.column(duty)
    columns = [c.column(duty) for c in shown]
    digits = {
        key: places
        for name in CHANGES
        for key, places in digits_of(MEASURES[name], [was, *columns]).items()
    }
    rows = [
        _row(
            f"{plain(key)}{_window(was, key)}, {MEASURES[key].unit}",
            _figure(was, key, None, digits[key]),
            [_figure(column, key, was, digits[key]) for column in columns],
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


def _figure(column: Column, key: str, was: Column | None, places: int) -> Record:
    entry = column.measures.get(key)
    if entry is None or entry["value"] is None or isinstance(entry["value"], list):
        return NONE
    text = figure(key, entry["value"], places=places)
    told = state_words(entry.get("state"))
    state = "bad" if entry["limit"] is False else ""
    before = None if was is None else was.measures[key]["value"]
    if before is None:
        return cell(text, state=state, where=told)
    change = fixed(entry["value"] - before, places)
    signed = change if change.startswith("-") else f"+{change}"
    return cell(text, signed, state=state, where=told)


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

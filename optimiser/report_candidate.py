"""One candidate in full for the report: parts, settings, the swap, what may come of it on the car."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from optimiser.built_table import mattering, share_words
from optimiser.paper import Block, Grid, Words
from optimiser.precision import fixed
from optimiser.problem import Problem
from optimiser.report_shown import Candidate, Today
from optimiser.settings import (
    Setting,
    differ,
    part_name,
    part_of,
    refined_words,
    setting_note,
    settings_of,
    solved_texts,
    source_of,
)
from optimiser.space import AS_IS
from optimiser.swap_sheet import swap_blocks
from optimiser.wording import (
    Margin,
    clean,
    counted,
    fault_words,
    lacks,
    plain,
    price,
    spoken,
    unpaired_words,
    with_unit,
)

Record = dict[str, Any]

MOST_MARGINS = 6


def in_full(problem: Problem, today: Today, candidate: Candidate) -> Record:
    """Everything that is told of one candidate alone."""
    document = candidate.document
    settings = settings_of(candidate.build, candidate.row["duties"])
    solved = solved_texts(candidate.row["duties"])
    duties = document["duties"]
    return {
        "place": candidate.place,
        "layer": candidate.layer,
        "number": document["number"],
        "feasible": document["feasible"],
        "merit": "-" if document["merit"] is None else fixed(document["merit"], 3),
        "lacks": _lacks(candidate),
        "parts": _parts(problem, today, candidate),
        "buy": _buy(problem, document),
        "settings": [_setting(candidate, s) for s in settings],
        "solved": [
            {"label": words, "differs": differ(texts), "texts": [texts[d] for d in duties]}
            for words, texts in solved
        ],
        "refined": [words for words in (refined_words(d, r) for d, r in duties.items()) if words],
        "swap": list(map(_on_a_page, _swap(problem, candidate))),
        "built": list(_built(document)),
        "margins": [_margin(m) for m in candidate.tightest(MOST_MARGINS)],
    }


def _swap(problem: Problem, candidate: Candidate) -> Iterator[Block]:
    yield from swap_blocks(problem, candidate.build, candidate.row, candidate.benches)


def _on_a_page(block: Block) -> Block:
    """A block of the bench sheet worded for a page."""
    if isinstance(block, Words):
        return Words(block.text.replace("what this sheet sets up", "what is told here"))
    return block


def _lacks(candidate: Candidate) -> list[str]:
    document = candidate.document
    if document["feasible"]:
        return []
    lines = []
    for duty, record in document["duties"].items():
        failing = [m for m in candidate.benches[duty].margins if m.gap is None or m.gap < 0.0]
        lines += [f"{clean(duty)}: {plain(m.key)} {fault_words(m)}" for m in failing]
        if not record["feasible"] and not failing:
            lines.append(lacks(clean(duty), record))
    return lines or [f"settings do not go together: {unpaired_words(document['pairing'])}"]


def _parts(problem: Problem, today: Today, candidate: Candidate) -> list[Record]:
    rows = []
    for station, part in candidate.build.parts.items():
        was = today.build.parts[station]
        rows.append(
            {
                "station": spoken(station.value),
                "part": "-" if part.id == AS_IS else clean(part.id),
                "name": "left as measured" if part.id == AS_IS else part_name(part),
                "note": clean(part.note or ""),
                "source": source_of(part, problem.parts.currency),
                "was": "" if was.id == part.id else _was(was.id, part_name(was)),
            }
        )
    return rows


def _was(part: str, name: str) -> str:
    return "as measured" if part == AS_IS else name


def _buy(problem: Problem, document: Record) -> str:
    count = len(document["to_buy"])
    if not count:
        return "Nothing to buy."
    cost = price(document["price"], problem.parts.currency)
    return f"To buy: {counted(count, 'part')}, {cost} in all."


def _setting(candidate: Candidate, setting: Setting) -> Record:
    part = part_of(candidate.build, setting.station)
    notes: dict[str, None] = {}
    for record in candidate.row["duties"].values():
        block = record.get("settings", {}).get(setting.station, {})
        if setting.name in block:
            notes[setting_note(part, setting.name, block[setting.name])] = None
    return {
        "label": f"{spoken(setting.station)}: {spoken(setting.name)}",
        "note": "; ".join(note for note in notes if note),
        "differs": setting.differs,
        "texts": [clean(text) for text in setting.texts.values()],
    }


def _margin(margin: Margin) -> tuple[str, ...]:
    return (
        clean(margin.duty),
        plain(margin.key),
        margin.value_words(),
        _bound(margin),
        margin.hand_words(),
        margin.state_words(),
    )


def _bound(margin: Margin) -> str:
    words = margin.bound_words()
    return with_unit(words, margin.unit) if any(c.isdigit() for c in words) else words


def _built(document: Record) -> Iterator[Block]:
    """Yields by duty, the stop's band, and for limits that fail in some cars the errors that matter."""
    if document["yield"] is None:
        return
    error = fixed(100.0 * document["yield_error"], 1)
    yield Words(
        f"{share_words(document['yield'])} of the cars hold every limit of every duty "
        f"(standard error {error} points). Toe and ride height were set as asked, "
        "the stop on each car as far as all stays clear."
    )
    band = document.get("merit_band")
    if band is not None:
        told = mattering("merit", document.get("merit_matters"))
        yield Words(f"Merit {fixed(band[0], 3)} to {fixed(band[1], 3)} (5 to 95 %); {told}.")
    built = {d: r["as_built"] for d, r in document["duties"].items() if "as_built" in r}
    rows = [
        (
            clean(duty),
            share_words(record["yield"]),
            share_words(record["yield_at_printed_stop"]),
            " to ".join(fixed(stop, 1) for stop in record["stop_band"]),
        )
        for duty, record in built.items()
    ]
    head = ("duty", "hold all", "with the stop as told here", "stop, 5 to 95 %, mm of rack")
    yield Grid(head, tuple(rows), right=1)
    lines = [
        (clean(duty), plain(label), share_words(share), mattering("", record["matters"].get(label)))
        for duty, record in built.items()
        for share, label in sorted((s, n) for n, s in record["limits"].items() if s < 1.0)
    ]
    if lines:
        yield Grid(("duty", "limit", "holds in", "mostly by errors of"), tuple(lines))

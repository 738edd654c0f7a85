"""Which limits decided a run, over its rows: what they refused, and which the best candidates stand at."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from optimiser.problem import Problem
from optimiser.wording import Margin, margins, tells

Row = dict[str, Any]
# So many of the best candidates are looked at for limits that they stand at, and so many limits told.
BEST_LOOKED_AT, TIGHTEST_TOLD = 10, 3


def document(problem: Problem, rows: Sequence[Row], best: Sequence[Row]) -> dict[str, Any]:
    """Of each duty: builds that serve it, settings that each limit refused first, limits stood at.

    ``refused`` counts settings by the first test that refused them, as the search went, until it had found
    something: later tests saw fewer settings, so that a count tells what was tested early as well as what is
    hard. ``lacking`` counts builds whose nearest setting lacks that limit. ``stood_at`` are the limits with
    least in hand of the best candidates, in how many of those, and the least in hand with its state.
    """
    return {duty: _duty(duty, rows, best) for duty in problem.duties}


def _duty(duty: str, rows: Sequence[Row], best: Sequence[Row]) -> dict[str, Any]:
    records = [row["duties"][duty] for row in rows]
    refused: dict[str, int] = {}
    lacking: dict[str, int] = {}
    for record in records:
        for label, count in record.get("refused_by", {}).items():
            refused[label] = refused.get(label, 0) + count
        for label in record["shortfalls"]:
            lacking[label] = lacking.get(label, 0) + 1
    return {
        "builds": len(records),
        "serving": sum(record["feasible"] for record in records),
        "settings": sum(record.get("settings_swept", 0) for record in records),
        "refused": _most_first(refused),
        "lacking": _most_first(lacking),
        "unserved": _most_first(_reasons(records)),
        "stood_at": _stood_at(duty, best),
    }


def _reasons(records: Sequence[Row]) -> dict[str, int]:
    """Builds by what is said of them where no setting was judged: no such ride height."""
    counts: dict[str, int] = {}
    for record in records:
        if "reason" in record:
            counts[record["reason"]] = counts.get(record["reason"], 0) + 1
    return counts


def _most_first(counts: dict[str, int]) -> dict[str, int]:
    return dict(sorted(counts.items(), key=lambda each: (-each[1], each[0])))


def _stood_at(duty: str, best: Sequence[Row]) -> list[Row]:
    """Limits that are among those with least in hand of any of the best candidates."""
    times: dict[str, int] = {}
    least: dict[str, Margin] = {}
    for row in best[:BEST_LOOKED_AT]:
        record = row["duties"][duty]
        if not record["feasible"]:
            continue
        # a limit that the stop stands at decides as well as any
        known = [m for m in margins(duty, record) if m.gap is not None and tells({}, m)]
        known.sort(key=lambda m: (m.in_scales, m.key))
        for margin in known[:TIGHTEST_TOLD]:
            times[margin.key] = times.get(margin.key, 0) + 1
            least[margin.key] = min(least.get(margin.key, margin), margin, key=_in_hand)
    told = [
        {
            "limit": key,
            "candidates": count,
            "in_hand": least[key].gap,
            "unit": least[key].unit,
            "state": least[key].state,
        }
        for key, count in times.items()
    ]
    return sorted(told, key=lambda one: (-int(str(one["candidates"])), str(one["limit"])))


def _in_hand(margin: Margin) -> float:
    assert margin.gap is not None
    return margin.gap

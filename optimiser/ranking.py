"""Ranking of searched builds: those that serve every duty first, by their worst duty's merit.

A build that does not serve every duty stands below every one that does; among those, more duties served
come first, then what their nearest setting lacks. Equal keys are ordered by build number, so that the same
rows always rank the same.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping
from typing import Any

Row = dict[str, Any]
Key = tuple[float, ...]


def served(row: Row) -> int:
    """How many duties a build serves."""
    return sum(1 for duty in row["duties"].values() if duty["feasible"])


def feasible(row: Row) -> bool:
    """Whether a build serves every duty."""
    return served(row) == len(row["duties"])


def merit(row: Row) -> float | None:
    """Merit of a build: that of its worst duty; None where a duty is not served."""
    if not feasible(row):
        return None
    return max(float(duty["merit"]) for duty in row["duties"].values())


def lack(row: Row) -> float:
    """Sum of what the limits of unserved duties lack at their nearest setting, in the measures' scales."""
    return sum(lack_of(duty) for duty in row["duties"].values() if not duty["feasible"])


def lack_of(duty: dict[str, Any]) -> float:
    """The same of one unserved duty; far more than any where it has no setting to tell it by."""
    return float(sum(duty["shortfalls"].values())) if duty["shortfalls"] else 1e6


def key(row: Row) -> Key:
    """Sorting key of a row, least first."""
    number = float(row["build"])
    worst = merit(row)
    if worst is not None:
        merits = [float(duty["merit"]) for duty in row["duties"].values()]
        mean = round(sum(merits) / len(merits), 9)
        return (0.0, round(worst, 9), mean, float(row["price"]), number)
    return (float(len(row["duties"]) - served(row)), round(lack(row), 9), 0.0, row["price"], number)


def rank(rows: Iterable[Row], keep: int, built: Mapping[int, Row] | None = None) -> list[Row]:
    """The best ``keep`` rows, best first.

    ``built`` is build number → what became of it when built many times, which the row gets as ``as_built``.
    Those that serve every duty but have not the least yield wanted stand after those that may have it.
    """
    known = {} if built is None else built

    def standing(row: Row) -> Key:
        short = feasible(row) and not known.get(row["build"], {"enough": True})["enough"]
        return (float(not feasible(row)), float(short), *key(row))

    best = heapq.nsmallest(keep, (row for row in rows if row.get("duties")), key=standing)
    return [
        {**row, "as_built": known[row["build"]]} if row["build"] in known else row for row in best
    ]

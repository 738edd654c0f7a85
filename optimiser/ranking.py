"""Ranking of searched builds: those that serve every duty first, by their worst duty's merit.

Of equal worst merit the better mean comes first, then the fewer minutes of a swap, then the lower price.
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
    """Whether a build serves every duty, with settings that go together."""
    return served(row) == len(row["duties"]) and goes_together(row)


def goes_together(row: Row) -> bool:
    """Whether a build's settings can be swapped as the goals allow; so where there is nothing to swap."""
    pairing = row.get("pairing")
    return pairing is None or bool(pairing["found"])


def minutes(row: Row) -> float | None:
    """Minutes of the swap between a build's duties; None where there is none to tell of."""
    pairing = row.get("pairing")
    return None if pairing is None or pairing["minutes"] is None else float(pairing["minutes"])


def merit(row: Row) -> float | None:
    """Merit of a build: that of its worst duty; None where a duty is not served."""
    if not feasible(row):
        return None
    return max(float(duty["merit"]) for duty in row["duties"].values())


def _worst_alone(row: Row) -> float:
    """Worst merit of a build's duties each by itself; 0 where one is not served."""
    merits = [duty["merit"] for duty in row["duties"].values()]
    return 0.0 if None in merits or served(row) < len(merits) else round(float(max(merits)), 9)


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
        return (0.0, round(worst, 9), mean, minutes(row) or 0.0, float(row["price"]), number)
    # one that serves every duty, but not with settings that go together, comes before one that does not
    unserved = len(row["duties"]) - served(row)
    worse = float(unserved) if unserved else 0.5
    return (worse, round(lack(row), 9), _worst_alone(row), 0.0, float(row["price"]), number)


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

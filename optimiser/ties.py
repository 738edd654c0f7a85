"""Ties: ranked candidates whose merit cannot be told apart within measuring and setting errors.

All candidates are built with the same errors, so their merits can be compared car by car. A candidate ties
with the first of its group where the 5 to 95 percent band of the difference has 0 in it; the first that
does not begins the next group.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from kinematics.arrays import Floats
from optimiser.yields import BAND


def tie_groups(built: Sequence[dict[str, Any] | None]) -> list[int | None]:
    """The group of each candidate in rank order, from 1; None where it was not built.

    ``built`` are the candidates' records of :mod:`optimiser.yields`. One without enough yield never ties
    with one that has it.
    """
    groups: list[int | None] = []
    group = 0
    first: dict[str, Any] | None = None
    for record in built:
        if record is None or "merits" not in record:
            groups.append(None)
            first = None
            continue
        if first is None or first["enough"] != record["enough"] or not _tie(first, record):
            first = record
            group += 1
        groups.append(group)
    return groups


def _tie(first: dict[str, Any], other: dict[str, Any]) -> bool:
    apart: Floats = np.array(other["merits"]) - np.array(first["merits"])
    low, high = np.quantile(apart, BAND)
    return bool(low <= 0.0 <= high)

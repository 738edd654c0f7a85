"""What may become of a candidate on the car: yields, the stop's band, and which errors matter most."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from optimiser.built_table import mattering, share_words
from optimiser.paper import Block, Grid, Heading, Words
from optimiser.precision import fixed
from optimiser.ranking import Row
from optimiser.wording import clean, plain

Record = dict[str, Any]

# Limits told of each duty: those that fail in most cars.
MOST_LIMITS = 4


def built_blocks(row: Row) -> Iterator[Block]:
    """The candidate built many times on paper; nothing where that was not done."""
    built = row.get("as_built")
    if built is None or built.get("yield") is None:
        return
    yield Heading("As it may come out")
    error = fixed(100.0 * built["yield_error"], 1)
    yield Words(
        f"Built on paper {built['samples']} times with the measuring and setting errors of the goals file: "
        f"{share_words(built['yield'])} of the cars hold every limit of every duty (standard error {error} "
        "points). Toe and ride height were set as this sheet says, the stop on each car as far as all stays "
        "clear; nothing else was put right after measuring."
    )
    rows = [
        (
            clean(duty),
            share_words(record["yield"]),
            share_words(record["yield_at_printed_stop"]),
            " to ".join(fixed(stop, 1) for stop in record["stop_band"]),
        )
        for duty, record in built["duties"].items()
    ]
    head = ("duty", "hold all", "with the stop as printed", "stop on 9 cars of 10, mm")
    yield Grid(head, tuple(rows), right=1)
    yield Words(
        "Begin with the stop at the low end of its band, and open it on the car as far as everything "
        "stays clear."
    )
    rows_of_limits = [
        line for duty, record in built["duties"].items() for line in _limits(duty, record)
    ]
    if rows_of_limits:
        yield Grid(("duty", "limit", "holds in", "mostly by errors of"), tuple(rows_of_limits))


def _limits(duty: str, record: Record) -> Iterator[tuple[str, ...]]:
    """The limits that fail in most cars, the worst first."""
    failing = sorted((share, label) for label, share in record["limits"].items() if share < 1.0)
    for share, label in failing[:MOST_LIMITS]:
        told = mattering("", record["matters"].get(label))
        yield clean(duty), plain(label), share_words(share), told

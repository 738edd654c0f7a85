"""What run.json is made of, as :mod:`optimiser.runs` writes it; see :mod:`optimiser.row_shape`.

Entries that no command reads may be there too, so that a later version can tell more; they have to be plain.
"""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from optimiser.row_shape import Figure, Maybe, Text, Told, Whole

# Words about all readings of a car may be many.
Words = Annotated[str, Field(pattern=r"^[^\x00-\x1f\x7f-\x9f]*$", max_length=100_000)]
MOST_DEPTH = 20
# A title may stand on lines of its own.
CONTROLS = frozenset(map(chr, [*range(32), *range(127, 160)])) - {"\t", "\n", "\r"}


class _Open(BaseModel):
    """A mapping that may have more in it."""

    model_config = ConfigDict(strict=True, extra="ignore", allow_inf_nan=False)


class KindOfReading(Told):
    """How well one kind of reading is reproduced."""

    kind: Text
    name: Text
    unit: Text
    count: Whole
    rms: Figure
    worst: Figure
    worst_at: Text


class ModelCheck(_Open):
    """Whether the model reproduces its car: :func:`optimiser.model_check.model_check`."""

    held: bool
    reproduces: bool | None
    words: Words
    readings: Whole = 0
    out_of_reach: list[Text] = Field(default_factory=list)
    chi_square: Maybe = None
    chance: Maybe = None
    kinds: list[KindOfReading] = Field(default_factory=list)
    faults: list[Words] = Field(default_factory=list)


class Coverage(_Open):
    """How much of the space was searched: :func:`optimiser.runs.coverage`."""

    builds: Whole
    builds_done: Whole
    combinations: Whole
    covered: Whole
    proven: bool
    order: Text = ""


class TakenOver(_Open):
    """What a rerun took over."""

    reused: Whole
    in_part: Whole
    as_built: Whole
    searched: Whole = 0


class Pace(_Open):
    """How far a search is and how fast it goes."""

    phase: Text
    seconds: Figure
    builds_a_second: Figure
    seconds_left: Maybe
    failed: Whole
    serving: Whole
    best_merit: Maybe
    waiting: Text | None


class State(_Open):
    """run.json."""

    format: Whole
    name: Text
    status: Text
    version: Text
    inputs: dict[Text, Text]
    goals_file: Text | None = None
    rerun_of: Text | None = None
    rerun: TakenOver = None  # type: ignore[assignment]
    coverage: Coverage
    model_check: ModelCheck = None  # type: ignore[assignment]
    reason: Text | None = None
    progress: Pace | None = None
    started: Text = ""
    updated: Text = ""


STATE = TypeAdapter(State)


def unprintable(told: Any, depth: int = 0) -> str | None:
    """What of a JSON document could be neither printed nor written again; None where all is plain."""
    if depth > MOST_DEPTH:
        return "it is nested too deep"
    if isinstance(told, float):
        return None if math.isfinite(told) else "it has a number without end"
    if isinstance(told, str):
        bad = any(c in CONTROLS or "\ud800" <= c <= "\udfff" for c in told)
        return "it has a control character in a text" if bad else None
    inner: list[Any] = []
    if isinstance(told, dict):
        inner = [*told, *told.values()]
    elif isinstance(told, list):
        inner = told
    return next((words for each in inner if (words := unprintable(each, depth + 1))), None)

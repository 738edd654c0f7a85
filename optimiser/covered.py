"""What a run covered, how it chose and what it left out, in words: for tables and a search's last lines."""

from __future__ import annotations

from typing import Any

from optimiser.proposer import LED, PROMISING, PROMISING_THEN_LED
from optimiser.runs import SEARCHING, STOPPED
from optimiser.wording import clean, counted, duration

Record = dict[str, Any]

PROVEN = "proven: every combination was searched or dropped by a bound"
WAYS = "by turns Optuna's sampler and a tally of which parts did well, some builds by chance"
CHOSEN = {
    PROMISING: (
        "builds were taken promising first: by a quick look at some and by what came of the builds before"
    ),
    LED: f"too many builds to search them all: the choice was led by what had been found ({WAYS})",
    PROMISING_THEN_LED: (
        "builds were taken promising first; when the time was seen not to suffice for all, the rest was led "
        f"by what had been found ({WAYS})"
    ),
}
OPEN = "what was not searched may hold a better build"


def status_words(found: Record) -> str:
    """How a run stands, by its ``status``, ``reason``, ``progress`` and ``updated``."""
    status = found["status"]
    if status == STOPPED:
        return f"stopped early ({clean(found['reason'])})"
    if status != SEARCHING:
        return clean(status)
    pace = found.get("progress")
    if pace is None:
        return "still searching"
    words = [f"{pace['builds_a_second']:.2f} a second"]
    if pace["seconds_left"] is not None:
        words.append(f"about {duration(pace['seconds_left'])} left")
    # waiting for a disk or a cluster is what someone who asks must know
    words += [
        clean(each) for each in (pace["phase"], pace["waiting"]) if each not in (None, "searching")
    ]
    # of 2026-03-29T02:30:00+00:00 the time of day
    return f"still searching: {', '.join(words)} (as of {clean(found['updated'])[11:19]} UTC)"


def coverage_lines(cover: Record) -> list[str]:
    """What ``runs.coverage`` says, a sentence a line.

    Counts, then whether that proves the ranking; where it does not, shares and how builds were chosen. A run
    of before such words were kept has no ``order``, and none is told.
    """
    lines = [
        f"{cover['builds_done']:,} of {counted(cover['builds'], 'build')} searched, "
        f"{cover['covered']:,} of {counted(cover['combinations'], 'combination')} covered"
    ]
    if cover["proven"]:
        return [*lines, PROVEN]
    combinations = share(cover["covered"], cover["combinations"])
    builds = share(cover["builds_done"], cover["builds"])
    lines.append(f"not proven: {combinations} % covered, {builds} % of the builds; {OPEN}")
    chosen = CHOSEN.get(cover.get("order", ""))
    return lines if chosen is None else [*lines, chosen]


def share(some: int, of: int) -> str:
    """Percent, rounded down: what is not whole is never '100'."""
    tenths = 1000 * some // max(1, of)
    return "less than 0.1" if some and not tenths else f"{min(tenths, 999) / 10:.1f}"

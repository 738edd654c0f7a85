"""Progress of a search on stderr: on a terminal one line that renews itself, else a line now and then."""

from __future__ import annotations

import os
import sys
import time
from contextlib import suppress

from optimiser.pace import Progress
from optimiser.ranking import feasible, merit
from optimiser.wording import duration

QUIET_EVERY = 5.0


def line(progress: Progress) -> str:
    """How far the search is, in one line."""
    waits = f", {progress.waiting}" if progress.waiting else ""
    if progress.phase.startswith("looking"):
        return f"{progress.phase}, {progress.builds:,} in all{waits}"
    parts = [f"{progress.done:,} of {progress.builds:,} builds"]
    if progress.failed:
        parts.append(f"{progress.failed:,} failed")
    parts += [_serving(progress), best_so_far(progress), *_pace(progress)]
    if progress.phase != "searching":
        parts.append(progress.phase)
    return ", ".join(filter(None, parts)) + waits


def _serving(progress: Progress) -> str:
    """How many builds serve every duty; nothing while none is searched."""
    one = progress.serving == 1
    words = f"{progress.serving:,} {'serves' if one else 'serve'} every duty"
    return words if progress.serving else ""


def _pace(progress: Progress) -> list[str]:
    """How fast it goes and how long it will take, where that can be told and anything is to go."""
    left = progress.seconds_left
    if left is None or progress.done == progress.builds:
        return []
    rate = f"{progress.rate:.2f}" if progress.rate < 10 else f"{progress.rate:,.0f}"
    return [f"{rate} a second", f"about {duration(left)} left"]


def best_so_far(progress: Progress) -> str:
    """The best build so far in a few words."""
    if progress.best is None:
        return "the first are under way"
    if feasible(progress.best):
        return f"best merit {merit(progress.best):.3f}"
    return "nothing feasible yet"


class ProgressLine:
    """Shows progress without getting in the way of a table on stdout."""

    def __init__(self) -> None:
        self.live = sys.stderr.isatty() and os.environ.get("TERM") != "dumb"
        self.last = 0.0
        self.best: int | None = None
        self.width = 0
        self.began = time.monotonic()

    def __call__(self, progress: Progress) -> None:
        """Show it, if it is time to. A terminal that is gone, or a full disk behind it, ends no search."""
        with suppress(OSError):
            self._show(progress)

    def _show(self, progress: Progress) -> None:
        self._tell(progress.notices)
        now = time.monotonic()
        new_best = progress.best is not None and progress.best["build"] != self.best
        first = new_best and feasible(progress.best or {}) and self.best is None
        if progress.best is not None and feasible(progress.best):
            self.best = progress.best["build"]
        if not first and now - self.last < (0.2 if self.live else QUIET_EVERY):
            return
        self.last = now
        text = line(progress)
        if self.live:
            print("\r" + text.ljust(self.width), end="", file=sys.stderr, flush=True)
            self.width = len(text)
        else:
            stamp = duration(now - self.began)
            print(f"[{stamp}] {text}", file=sys.stderr, flush=True)

    def _tell(self, notices: list[str]) -> None:
        """What is told once, each on a line of its own."""
        for notice in notices:
            self.done()
            self.width = 0
            print(f"shimwright: {notice}", file=sys.stderr, flush=True)
        notices.clear()

    def done(self) -> None:
        """Leave the line."""
        if self.live and self.width:
            with suppress(OSError):
                print(file=sys.stderr)

"""Explaining a run: its rows read, processes started to search for answers, progress told."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import BrokenExecutor
from typing import Any

from optimiser.names import RunError
from optimiser.problem import Problem
from optimiser.progress import QUIET_EVERY
from optimiser.runs import Run, coverage_now
from optimiser.sound_rows import checked_rows
from optimiser.why import Means, document
from optimiser.wording import duration
from optimiser.workers import count_workers, make_executor, stop_now


def explain(
    run: Run, problem: Problem, seconds: float, workers: int | None, say: Callable[[str], None]
) -> dict[str, Any]:
    """What ``why --json`` prints; searches for so many seconds at most, and tells ``say`` how far it is."""
    count = count_workers("auto" if workers is None else workers)
    tell = _Teller(say)
    executor = make_executor(problem, count)
    means = Means(seconds, executor, count, tell)
    try:
        cover = coverage_now(run, problem)
        rows = list(checked_rows(problem, run.ledger.each(), run.ledger.path))
        told = document(problem, rows, run.ledger.built(), cover, means)
    except BrokenExecutor:
        raise RunError(
            "a worker process died while searching for answers; is there memory left? "
            "Fewer processes need less: --workers 1"
        ) from None
    finally:
        # what is still under way when the time is up is not waited for
        stop_now(executor)
    return {"run": run.name, **told}


class _Teller:
    """Says a line now and then, each with the time that has gone."""

    def __init__(self, say: Callable[[str], None]) -> None:
        self.say = say
        self.began = time.monotonic()
        self.last = self.began - QUIET_EVERY

    def __call__(self, text: str) -> None:
        now = time.monotonic()
        if now - self.last >= QUIET_EVERY:
            self.last = now
            self.say(f"[{duration(now - self.began)}] {text}")

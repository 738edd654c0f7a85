"""How far a search is and how fast it goes: what is shown, logged and kept in run.json of it."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Any

from optimiser.ranking import Row, merit

# Builds searched before their rate is believed.
ENOUGH = 20


@dataclass
class Progress:
    """How far a search is; handed to whoever shows it."""

    builds: int
    done: int = 0
    failed: int = 0
    serving: int = 0
    best: Row | None = None
    started: float = field(default_factory=time.monotonic)
    done_before: int = 0
    hours: float = 0.0
    phase: str = "searching"
    waiting: str | None = None
    notices: list[str] = field(default_factory=list)

    def facts(self) -> dict[str, Any]:
        """How far it is, as run.json and the log tell it; coverage is told beside it."""
        best = None if self.best is None else merit(self.best)
        left = self.seconds_left
        return {
            "phase": self.phase,
            "seconds": round(time.monotonic() - self.started, 1),
            "builds_a_second": round(self.rate, 3),
            "seconds_left": None if left is None else round(left),
            "failed": self.failed,
            "serving": self.serving,
            "best_merit": best,
            "waiting": self.waiting,
        }

    @property
    def rate(self) -> float:
        """Builds finished a second in this stretch."""
        return (self.done - self.done_before) / max(1e-9, time.monotonic() - self.started)

    @property
    def seconds_left(self) -> float | None:
        """Seconds to the end at this rate, at most to the end of the time allowed."""
        to_go = self.seconds_to_all
        return None if to_go is None else max(0.0, min(to_go, self.seconds_allowed))

    @property
    def seconds_to_all(self) -> float | None:
        """Seconds until all builds are searched, at this rate."""
        if self.done == self.done_before:
            return None
        return (self.builds - self.done) / self.rate

    @property
    def seconds_allowed(self) -> float:
        """What is left of the time allowed, s."""
        return self.hours * 3600.0 - (time.monotonic() - self.started)

    @property
    def suffices(self) -> bool:
        """Whether the time seems to suffice for all builds; believed until enough of them have shown."""
        to_go = self.seconds_to_all
        if to_go is None or self.done - self.done_before < ENOUGH:
            return True
        return to_go <= self.seconds_allowed

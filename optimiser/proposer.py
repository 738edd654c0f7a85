"""Which build to search next.

Where all builds can be searched, all are, promising ones first. Where they cannot, Optuna leads: an in-memory
study over the choice of part at each station, rebuilt from the ledger, its seed drawn from the run's seed and
the number of builds done.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from typing import Any, Protocol

import numpy as np

from optimiser.looks import WORST, scout
from optimiser.problem import Problem
from optimiser.promising import Look, Promising
from optimiser.ranking import Row, lack, merit, served

# More builds than this are led from the first one: nobody waits to see whether the time suffices.
MOST_IN_ORDER = 1_000_000
# Optuna's samplers slow down with what they are told: so many builds at most, then the better half and some
# of the rest are told to a new study.
MOST_TOLD = 600
TRIES = 20

# How a run's builds are chosen, as its folder tells it.
PROMISING = "promising"
LED = "led"
PROMISING_THEN_LED = "promising, then led"


class Proposer(Protocol):
    """Hands out each build once; told of results, it may learn from them."""

    def next(self) -> int | None:
        """The next build to search, or None when all are handed out."""

    def tell(self, row: Row) -> None:
        """A build's result."""


# Value (least is best), duties not served, build: all that a study is told of a row.
Lesson = tuple[float, int, int]


class Led:
    """Optuna leads over the choice of part at each station.

    ``done`` are the rows of an earlier stretch of the same run; ``given`` the builds not to hand out.
    """

    def __init__(
        self,
        problem: Problem,
        done: Iterable[Row] = (),
        given: Iterable[int] = (),
        look: Look = scout,
    ) -> None:
        self.space = problem.space
        self.seed = problem.goals.search.seed
        self.handed = 0
        # what comes between the study's builds; it also knows what was given
        self.others = Promising(problem, (), given, look)
        lessons: list[Lesson] = []
        for row in done:
            self.others.tell(row)
            lessons.append(_lesson(row))
        self._begin(lessons)

    def _begin(self, lessons: list[Lesson]) -> None:
        """A new study that knows of some builds: of all, or of the best and some others."""
        if len(lessons) > MOST_TOLD // 2:
            lessons = _thinned(lessons, MOST_TOLD // 2)
        done = int(np.count_nonzero(self.others.given))
        state = np.random.SeedSequence([self.seed, done]).generate_state(1)
        self.study = _study(int(state[0]))
        self.open: dict[int, Any] = {}
        self.lessons: list[Lesson] = []
        for lesson in lessons:
            self._teach(lesson)

    def next(self) -> int | None:
        """A build that the study asks for; every other time, or where it repeats itself, a promising one.

        The two guess by other rules, and each learns of what the other found.
        """
        self.handed += 1
        for _ in range(TRIES if self.handed % 2 else 0):
            trial = self.study.ask(self._choices())
            pick = tuple(int(trial.params[s.value]) for s in self.space.stations)
            number = self.space.number_of(pick)
            if number is not None and self.others.take(number):
                self.open[number] = trial
                return number
            # parts that exclude each other are no build; a build given before was told before
            trial.set_constraint("a new build", 1.0)
            self.study.tell(trial, WORST)
        return self.others.next()

    def tell(self, row: Row) -> None:
        """Tell a build's worth: merit where every duty is served, what is lacking where not."""
        self.others.tell(row)
        if len(self.lessons) >= MOST_TOLD:
            self._begin(self.lessons)
        self._teach(_lesson(row))

    def _teach(self, lesson: Lesson) -> None:
        from optuna.trial import create_trial

        self.lessons.append(lesson)
        value, unserved, number = lesson
        trial = self.open.pop(number, None)
        if trial is not None:
            trial.set_constraint("duties", float(unserved))
            self.study.tell(trial, value)
            return
        pick = self.space.picks(number)
        params = {s.value: p for s, p in zip(self.space.stations, pick, strict=True)}
        self.study.add_trial(
            create_trial(
                params=params,
                distributions=self._choices(),
                value=value,
                constraints={"duties": float(unserved)},
            )
        )

    def _choices(self) -> dict[str, Any]:
        from optuna.distributions import CategoricalDistribution

        return {
            station.value: CategoricalDistribution(tuple(range(len(parts))))
            for station, parts in zip(self.space.stations, self.space.options, strict=True)
        }


def _lesson(row: Row) -> Lesson:
    worst = merit(row)
    value = worst if worst is not None else min(WORST, 10.0 + lack(row))
    return value, len(row["duties"]) - served(row), row["build"]


def _thinned(lessons: list[Lesson], most: int) -> list[Lesson]:
    """Half of them the best there are, half evenly from the rest, each in the order in which they came."""
    ranked = sorted(range(len(lessons)), key=lambda i: (lessons[i][1], lessons[i]))
    best, rest = ranked[: most // 2], ranked[most // 2 :]
    stride = -(-len(rest) // max(1, most - len(best)))
    return [lessons[i] for i in sorted([*best, *rest[::stride]])]


def _study(seed: int) -> Any:
    import optuna

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
        sampler = optuna.samplers.TPESampler(seed=seed, multivariate=True, n_startup_trials=40)
    return optuna.create_study(sampler=sampler)

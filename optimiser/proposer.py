"""Which build to search next.

Where all builds can be searched, all are, promising ones first, by a quick look at a sample of each. Where
there are too many, Optuna leads: an in-memory study over the choice of part at each station, rebuilt from
the ledger, its seed drawn from the run's seed and the number of builds done.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from typing import Any, Protocol

import numpy as np

from goals.verdicts import Demand
from kinematics.measures import Stage
from optimiser.problem import Problem
from optimiser.ranking import Row, lack, merit, served

# Up to here every build is looked at before the first is searched.
MOST_SCOUTED = 3000
SAMPLE = 96
# Optuna's samplers slow down with the square of what they are told.
MOST_TOLD = 1500
TRIES = 20
# What a build that cannot be searched tells the study, and the most that any build tells.
WORST = 1e3


class Proposer(Protocol):
    """Hands out each build once; told of results, it may learn from them."""

    def next(self) -> int | None:
        """The next build to search, or None when all are handed out."""

    def tell(self, row: Row) -> None:
        """A build's result."""


def scout(problem: Problem, number: int) -> tuple[float, int]:
    """How promising a build looks: the sum over duties of the least lack in a sample of its settings.

    A figure to sort by, no verdict: limits that cost little are looked at, dear ones by a bound of their
    figure, targets not at all. The sample is the same for the same inputs.
    """
    build = problem.space.build(number)
    total = 0.0
    for duty in problem.duties:
        assembly = problem.assembly(build, duty)
        if assembly is None:
            total += WORST
            continue
        rng = np.random.default_rng([problem.goals.search.seed, number])
        positions = np.zeros((SAMPLE, len(assembly.dimensions)), dtype=np.int64)
        for column, dim in enumerate(assembly.dimensions):
            positions[:, column] = rng.integers(0, dim.size, SAMPLE)
        scene = assembly.scene(positions)
        short = np.zeros(SAMPLE)
        for test in _quick_looks(problem.demands(assembly, duty)):
            short += np.minimum(test.shortfall(test.figures(scene)), 10.0)
        total += float(np.sort(short)[: SAMPLE // 16].mean())
    return round(total, 6), number


def _quick_looks(wanted: list[Demand]) -> list[Demand]:
    """Limits that cost a few states at most, or the cheapest bound of them."""
    looks = []
    for demand in wanted:
        if demand.is_limit:
            bounds = demand.bounds()
            if bounds:
                looks.append(bounds[0])
            elif demand.stage <= Stage.TRAVEL:
                looks.append(demand)
    return looks


class InOrder:
    """Every build once, in a given order."""

    def __init__(self, order: Iterable[int]) -> None:
        self._left = iter(list(order))

    def next(self) -> int | None:
        """The next build in order."""
        return next(self._left, None)

    def tell(self, row: Row) -> None:
        """Nothing is learned: the order stands."""


class Led:
    """Optuna leads over the choice of part at each station.

    ``done`` are the rows of an earlier stretch of the same run; ``given`` the builds not to hand out.
    """

    def __init__(self, problem: Problem, done: list[Row], given: Iterable[int]) -> None:
        self.space = problem.space
        self.numbers = {self.space.picks(n): n for n in range(self.space.builds)}
        self.given = set(given)
        seeds = [problem.goals.search.seed, len(self.given)]
        order = np.random.default_rng(seeds).permutation(self.space.builds)
        self.rest = iter([int(n) for n in order])
        self.open: dict[int, Any] = {}
        self.told = 0
        self.study = _study(int(np.random.SeedSequence(seeds).generate_state(1)[0]))
        for row in done[-MOST_TOLD:]:
            self.tell(row)

    def next(self) -> int | None:
        """A build that the study asks for, or any not given yet where it only repeats itself."""
        for _ in range(TRIES):
            trial = self.study.ask(self._choices())
            pick = tuple(int(trial.params[s.value]) for s in self.space.stations)
            number = self.numbers.get(pick)
            if number is not None and number not in self.given:
                self.given.add(number)
                self.open[number] = trial
                return number
            # parts that exclude each other are no build; a build given before was told before
            trial.set_constraint("a new build", 1.0)
            self.study.tell(trial, WORST)
        for number in self.rest:
            if number not in self.given:
                self.given.add(number)
                return number
        return None

    def tell(self, row: Row) -> None:
        """Tell a build's worth: merit where every duty is served, what is lacking where not."""
        from optuna.trial import create_trial

        trial = self.open.pop(row["build"], None)
        if self.told >= MOST_TOLD:
            return
        self.told += 1
        worst = merit(row)
        value = worst if worst is not None else min(WORST, 10.0 + lack(row))
        unserved = float(len(row["duties"]) - served(row))
        if trial is not None:
            trial.set_constraint("duties", unserved)
            self.study.tell(trial, value)
            return
        pick = self.space.picks(row["build"])
        params = {s.value: p for s, p in zip(self.space.stations, pick, strict=True)}
        self.study.add_trial(
            create_trial(
                params=params,
                distributions=self._choices(),
                value=value,
                constraints={"duties": unserved},
            )
        )

    def _choices(self) -> dict[str, Any]:
        from optuna.distributions import CategoricalDistribution

        return {
            station.value: CategoricalDistribution(tuple(range(len(parts))))
            for station, parts in zip(self.space.stations, self.space.options, strict=True)
        }


def _study(seed: int) -> Any:
    import optuna

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
        sampler = optuna.samplers.TPESampler(seed=seed, multivariate=True, n_startup_trials=40)
    return optuna.create_study(sampler=sampler)

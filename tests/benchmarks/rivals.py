"""General-purpose optimisers on the flat problem, each driven in its own best usual way.

Each takes the flat problem, a budget and a seed, and goes on until the budget is spent; what it found is in
the problem's archive. Constraints are the violations of the duties, 0 where every limit of one holds.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from kinematics.arrays import Floats, Ints
from tests.benchmarks.flat import Flat

POPULATION = 100
# Worse than any merit, for what has none; feasibility comes first in every rival.
NO_MERIT = 100.0


class Spent(Exception):
    """The budget is spent: ends an optimiser that cannot be asked to stop."""


@dataclass
class Budget:
    """Seconds of one process, from when it was made: of its processor, or on the wall."""

    seconds: float
    clock: Callable[[], float] = time.process_time
    began: float = field(init=False)

    def __post_init__(self) -> None:
        self.began = self.clock()

    @property
    def used(self) -> float:
        """Seconds used."""
        return self.clock() - self.began

    @property
    def spent(self) -> bool:
        """Whether nothing is left."""
        return self.used >= self.seconds


Rival = Callable[[Flat, Budget, int], None]


def by_chance(flat: Flat, budget: Budget, seed: int) -> None:
    """Candidates drawn evenly from the flat problem, a thousand at a time."""
    rng = np.random.default_rng(seed)
    while not budget.spent:
        flat.judge(np.stack([rng.integers(0, size, 1000) for size in flat.sizes], axis=1))


def _names(flat: Flat) -> list[tuple[str, bool, int]]:
    """Name of every variable, whether its positions stand in an order, and how many there are."""
    parts = [(f"part.{s}", False, n) for s, n in zip(flat.stations, flat.options, strict=True)]
    return parts + [
        (v.name, v.ordered, v.size) for duty in flat.duties for v in flat.variables[duty]
    ]


def _quiet_optuna() -> Any:
    import optuna

    optuna.logging.set_verbosity(optuna.logging.ERROR)
    warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
    return optuna


def _distributions(flat: Flat) -> dict[str, Any]:
    d = _quiet_optuna().distributions
    return {
        name: d.IntDistribution(0, size - 1)
        if ordered
        else d.CategoricalDistribution(tuple(range(size)))
        for name, ordered, size in _names(flat)
    }


def _tell(flat: Flat, study: Any, trials: list[Any], numbers: Ints) -> None:
    merits, violation = flat.judge(numbers)
    for trial, merit, lacks in zip(trials, merits, violation.T, strict=True):
        for duty, lack in zip(flat.duties, lacks, strict=True):
            trial.set_constraint(duty, float(lack))
        study.tell(trial, float(np.nan_to_num(merit, nan=NO_MERIT)))


def optuna_tpe(flat: Flat, budget: Budget, seed: int) -> None:
    """Optuna's TPE: multivariate, grouped by which settings a candidate has, one candidate at a time."""
    optuna = _quiet_optuna()
    wanted = _distributions(flat)
    sampler = optuna.samplers.TPESampler(
        seed=seed, multivariate=True, group=True, n_startup_trials=40, constant_liar=False
    )
    study = optuna.create_study(sampler=sampler)
    stations = [f"part.{station}" for station in flat.stations]
    variables = [v for duty in flat.duties for v in flat.variables[duty]]
    while not budget.spent:
        trial = study.ask()
        picks = [_suggest(trial, name, wanted) for name in stations]
        # only what the chosen parts have is asked for: the rest would be noise to the model
        row = picks + [
            _suggest(trial, v.name, wanted)
            if v.station is None or picks[v.station] == v.option
            else 0
            for v in variables
        ]
        _tell(flat, study, [trial], np.array([row]))


def _suggest(trial: Any, name: str, wanted: dict[str, Any]) -> int:
    return int(trial._suggest(name, wanted[name]))


def optuna_nsga2(flat: Flat, budget: Budget, seed: int) -> None:
    """Optuna's NSGA-II, a whole generation asked for and judged at once."""
    optuna = _quiet_optuna()
    wanted = _distributions(flat)
    sampler = optuna.samplers.NSGAIISampler(population_size=POPULATION, seed=seed)
    study = optuna.create_study(sampler=sampler)
    while not budget.spent:
        trials = []
        while len(trials) < POPULATION and not budget.spent:
            trials.append(study.ask(wanted))
        if not trials:
            return
        numbers = np.array([[trial.params[name] for name in wanted] for trial in trials])
        _tell(flat, study, trials, numbers)


def pymoo_ga(flat: Flat, budget: Budget, seed: int) -> None:
    """pymoo's genetic algorithm for mixed variables, constraints as g <= 0, begun anew when it stands."""
    from pymoo.core.mixed import MixedVariableGA
    from pymoo.core.problem import Problem
    from pymoo.core.variable import Choice, Integer

    names = _names(flat)

    class Catalogue(Problem):  # type: ignore[misc]
        """The flat problem, a generation at a time."""

        def __init__(self) -> None:
            variables = {
                name: Integer(bounds=(0, size - 1))
                if ordered
                else Choice(options=list(range(size)))
                for name, ordered, size in names
            }
            super().__init__(vars=variables, n_obj=1, n_ieq_constr=len(flat.duties))

        def _evaluate(self, x: Any, out: dict[str, Floats], *_: Any, **__: Any) -> None:
            numbers = np.array([[int(row[name]) for name, _, _ in names] for row in x])
            merits, violation = flat.judge(numbers)
            out["F"] = np.nan_to_num(merits, nan=NO_MERIT)[:, None]
            out["G"] = violation.T

    for fresh in _seeds(seed):
        algorithm = MixedVariableGA(pop_size=POPULATION)
        algorithm.setup(Catalogue(), seed=fresh, termination=("n_gen", 10**9), verbose=False)
        while algorithm.has_next() and not _stands(algorithm):
            algorithm.next()
            if budget.spent:
                return


def _stands(algorithm: Any) -> bool:
    """Whether a population has become one and the same in value: it will not move any more."""
    pop = algorithm.pop
    if algorithm.n_gen is None or algorithm.n_gen < 3:
        return False
    return float(np.ptp(pop.get("F"))) < 1e-6 and float(np.ptp(pop.get("G"))) < 1e-6


def scipy_de(flat: Flat, budget: Budget, seed: int) -> None:
    """scipy's differential evolution, all variables integral, a generation at a time, begun anew when done.

    What breaks a limit is ranked by its violation, above every merit: the rule that scipy itself applies
    to constraints, without judging every candidate twice.
    """
    from scipy.optimize import differential_evolution

    sizes = np.array(flat.sizes)

    def badness(x: Floats) -> Floats:
        if budget.spent:
            raise Spent
        numbers = np.rint(x.T).astype(np.int64).reshape(-1, sizes.size)
        merits, violation = flat.judge(numbers)
        return np.where(np.isfinite(merits), merits, NO_MERIT + violation.sum(axis=0))

    for fresh in _seeds(seed):
        try:
            differential_evolution(
                badness,
                list(zip(np.zeros(sizes.size), sizes - 1.0, strict=True)),
                integrality=np.ones(sizes.size, dtype=bool),
                popsize=max(2, -(-POPULATION // sizes.size)),
                vectorized=True,
                updating="deferred",
                polish=False,
                maxiter=10**6,
                rng=fresh,
            )
        except Spent:
            return


def _seeds(seed: int) -> Iterator[int]:
    """Seeds of one start after another."""
    rng = np.random.default_rng(seed)
    while True:
        yield int(rng.integers(2**31))


RIVALS: dict[str, Rival] = {
    "Optuna TPE": optuna_tpe,
    "Optuna NSGA-II": optuna_nsga2,
    "pymoo mixed GA": pymoo_ga,
    "scipy DE": scipy_de,
    "drawn by chance": by_chance,
}

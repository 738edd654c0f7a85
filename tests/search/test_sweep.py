"""The staged sweep of one build finds the same best as plain full enumeration."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from goals.verdicts import total_weight
from optimiser.evaluate import verdict_of
from optimiser.inner import sweep
from optimiser.problem import Problem
from tests.search.catalogues import random_problem


def plain_best(problem: Problem, number: int, duty: str) -> tuple[float, tuple[int, ...]] | None:
    """Every setting judged on its own, no stages, no bounds, no order: the slow twin of the sweep."""
    assembly = problem.assembly(problem.space.build(number), duty)
    assert assembly is not None
    wanted = problem.demands(assembly, duty)
    everything = np.array(
        list(product(*(range(d.size) for d in assembly.dimensions))), dtype=np.int64
    )
    scene = assembly.scene(everything)
    squares = np.zeros(len(everything))
    holds = np.ones(len(everything), dtype=bool)
    for demand in wanted:
        figures = demand.figures(scene)
        if demand.is_limit:
            holds &= demand.shortfall(figures) <= 0.0
        else:
            squares += demand.weight * demand.miss(figures) ** 2
    if not holds.any():
        return None
    merits = np.where(holds, np.sqrt(squares / total_weight(wanted)), np.inf)
    best = int(np.flatnonzero(merits <= merits.min() + 1e-9)[0])
    return float(merits[best]), tuple(int(p) for p in everything[best])


@pytest.mark.parametrize("seed", range(40))
def test_same_best_as_plain_enumeration(seed: int) -> None:
    problem = random_problem(seed)
    for number in range(problem.space.builds):
        for duty in problem.duties:
            assembly = problem.assembly(problem.space.build(number), duty)
            assert assembly is not None
            found = sweep(assembly, problem.demands(assembly, duty))
            wanted = plain_best(problem, number, duty)
            if wanted is None:
                assert found.best is None
                assert found.merit is None
            else:
                assert found.merit == pytest.approx(wanted[0], abs=2e-9)
                assert found.best == wanted[1]


def test_the_random_catalogues_are_worth_the_test() -> None:
    """Some duties are served, some are not: else the comparison above would show little."""
    outcomes = []
    for seed in range(12):
        problem = random_problem(seed)
        for duty in problem.duties:
            outcomes.append(plain_best(problem, 0, duty) is not None)
    assert 3 < sum(outcomes) < len(outcomes) - 3


def test_best_judged_alone_is_as_the_sweep_says() -> None:
    """The figures of the winner do not depend on what was swept beside it."""
    seen = 0
    for seed in range(10):
        problem = random_problem(seed)
        for duty in problem.duties:
            assembly = problem.assembly(problem.space.build(0), duty)
            assert assembly is not None
            wanted = problem.demands(assembly, duty)
            found = sweep(assembly, wanted)
            if found.best is None:
                continue
            seen += 1
            verdict = verdict_of(assembly.scene(np.array([found.best])), wanted)
            assert verdict["feasible"]
            assert verdict["merit"] == pytest.approx(found.merit, abs=2e-9)
    assert seen > 3


def test_nothing_feasible_names_a_nearest_setting_and_its_lack() -> None:
    seen = 0
    for seed in range(20):
        problem = random_problem(seed)
        for duty in problem.duties:
            assembly = problem.assembly(problem.space.build(0), duty)
            assert assembly is not None
            wanted = problem.demands(assembly, duty)
            found = sweep(assembly, wanted)
            if found.best is not None:
                continue
            seen += 1
            assert found.nearest is not None
            verdict = verdict_of(assembly.scene(np.array([found.nearest])), wanted)
            assert not verdict["feasible"]
            assert all(lack > 0 for lack in verdict["shortfalls"].values())
    assert seen > 3

"""A quick look at a build: how promising a sample of its settings is, for a small part of a search's cost."""

from __future__ import annotations

import numpy as np

from goals.verdicts import Demand
from kinematics.measures import Stage
from optimiser.problem import Problem

SAMPLE = 96
# What a duty that a build cannot serve at all counts.
WORST = 1e3


def scout(problem: Problem, number: int) -> float:
    """How promising a build looks: the sum over duties of the least lack in a sample of its settings.

    Least is best. A figure to sort by, no verdict: limits that cost little are looked at, dear ones by a
    bound of their figure, targets not at all. The sample is the same for the same inputs.
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
    return round(total, 6)


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

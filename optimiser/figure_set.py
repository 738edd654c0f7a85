"""Every picture of a report, in the order in which they are looked at."""

from __future__ import annotations

from collections.abc import Sequence

from optimiser.clearance_map import clearance_maps
from optimiser.corner_figures import corner_figures
from optimiser.drawn import Figure, drawn_cars
from optimiser.limit_figures import limit_figures
from optimiser.overall_figures import overall_figures
from optimiser.pens import PENS
from optimiser.problem import Problem
from optimiser.ranking import Row
from optimiser.steer_figures import steer_figures
from optimiser.travel_figures import travel_figures

__all__ = ["PENS", "Figure", "figures"]


def figures(problem: Problem, rows: Sequence[Row], every: Sequence[Row]) -> list[Figure]:
    """All pictures of a report.

    Args:
        problem: the run's inputs.
        rows: the candidates to draw, ledger rows in rank order from the first.
        every: all ranked rows, for the pictures over all candidates.
    """
    found: list[Figure] = []
    for number, duty in enumerate(problem.duties, 1):
        key = f"duty{number}"
        cars = drawn_cars(problem, rows, duty)
        found += limit_figures(key, duty, problem, rows)
        found += travel_figures(key, duty, cars)
        found += steer_figures(key, duty, cars)
        found += clearance_maps(key, duty, cars)
        found += corner_figures(key, duty, cars)
    return [*found, *overall_figures(problem, len(rows), every)]

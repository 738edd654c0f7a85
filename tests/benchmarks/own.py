"""shimwright's own search in one process, as its coordinator leads it, on a budget or until proven."""

from __future__ import annotations

from dataclasses import dataclass, field

from optimiser.builds import search_build
from optimiser.problem import Problem
from optimiser.promising import Promising
from optimiser.ranking import merit
from tests.benchmarks.rivals import Budget


@dataclass
class Found:
    """What the search found: merit of every build that serves all duties, and when the best got better.

    ``steps`` are (seconds, merit); ``proven`` says that every build was searched.
    """

    merits: dict[int, float] = field(default_factory=dict)
    steps: list[tuple[float, float]] = field(default_factory=list)
    searched: int = 0
    covered: int = 0
    proven: bool = False
    seconds: float = 0.0


def search(problem: Problem, budget: Budget, seed: int) -> Found:
    """Search builds until the budget is spent; one that was not finished by then does not count."""
    asked = problem.goals.search.model_copy(update={"seed": seed})
    problem = Problem(
        problem.goals.model_copy(update={"search": asked}), problem.car, problem.parts
    )
    found = Found()
    proposer = Promising(problem)
    while not budget.spent and (number := proposer.next()) is not None:
        row = search_build(problem, number)
        if budget.spent:
            break
        proposer.tell(row)
        found.searched += 1
        found.covered += problem.space.combinations(number)
        value = merit(row)
        if value is not None:
            if not found.merits or value < min(found.merits.values()):
                found.steps.append((budget.used, value))
            found.merits[number] = value
    found.proven = found.searched == problem.space.builds
    found.seconds = budget.used
    return found

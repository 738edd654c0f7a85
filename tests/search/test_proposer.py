"""Which build next: each build once, whoever proposes, and the same ranking in the end."""

from __future__ import annotations

import numpy as np
import pytest

from optimiser.builds import search_build
from optimiser.problem import Problem
from optimiser.proposer import InOrder, Led, Proposer, scout
from optimiser.ranking import Row, rank
from tests.search.catalogues import random_problem


def searched(problem: Problem, proposer: Proposer) -> list[Row]:
    """Rows in the order in which the proposer asked for them."""
    rows = []
    while (number := proposer.next()) is not None:
        row = search_build(problem, number)
        proposer.tell(row)
        rows.append(row)
    return rows


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_led_by_optuna_every_build_is_searched_once_and_ranked_the_same(seed: int) -> None:
    problem = random_problem(seed)
    led = searched(problem, Led(problem, [], set()))
    plain = searched(problem, InOrder(range(problem.space.builds)))
    assert sorted(row["build"] for row in led) == list(range(problem.space.builds))
    assert rank(led, 100) == rank(plain, 100)


def test_led_again_after_a_stop_asks_only_for_what_is_left() -> None:
    problem = random_problem(1)
    first = Led(problem, [], set())
    done = []
    for _ in range(3):
        number = first.next()
        assert number is not None
        row = search_build(problem, number)
        first.tell(row)
        done.append(row)
    again = searched(problem, Led(problem, done, {row["build"] for row in done}))
    asked = [row["build"] for row in [*done, *again]]
    assert sorted(asked) == list(range(problem.space.builds))


def test_led_is_the_same_for_the_same_seed() -> None:
    problem = random_problem(2)
    orders = [[r["build"] for r in searched(problem, Led(problem, [], set()))] for _ in range(2)]
    assert orders[0] == orders[1]


def test_the_look_that_orders_builds_is_the_same_every_time_and_finds_the_better_half() -> None:
    """A look is a guess, but over many builds it should do better than chance."""
    agree = []
    for seed in range(12):
        problem = random_problem(seed)
        numbers = range(problem.space.builds)
        looks = [scout(problem, number) for number in numbers]
        assert looks == [scout(problem, number) for number in numbers]
        rows = [search_build(problem, number) for number in numbers]
        place = {row["build"]: i for i, row in enumerate(rank(rows, 100))}
        ordered = [place[number] for _, number in sorted(looks)]
        half = len(ordered) // 2
        agree.append(np.mean(ordered[:half]) < np.mean(ordered[half:]))
    assert np.mean(agree) > 0.6

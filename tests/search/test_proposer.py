"""Which build next: each build once, whoever proposes, and the same ranking in the end."""

from __future__ import annotations

import numpy as np
import pytest

import optimiser.proposer as proposer_module
from optimiser.builds import search_build
from optimiser.looks import scout
from optimiser.problem import Problem
from optimiser.promising import Promising
from optimiser.proposer import Led, Proposer
from optimiser.ranking import Row, rank
from tests.search.catalogues import random_problem
from tests.search.orders import InOrder
from tests.search.test_space import problem_of


def searched(problem: Problem, proposer: Proposer) -> list[Row]:
    """Rows in the order in which the proposer asked for them."""
    rows = []
    while (number := proposer.next()) is not None:
        row = search_build(problem, number)
        proposer.tell(row)
        rows.append(row)
    return rows


@pytest.mark.parametrize("kind", [Led, Promising])
@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_whoever_proposes_every_build_is_searched_once_and_ranked_the_same(
    seed: int, kind: type[Led] | type[Promising]
) -> None:
    problem = random_problem(seed)
    led = searched(problem, kind(problem, [], set()))
    plain = searched(problem, InOrder(range(problem.space.builds)))
    assert sorted(row["build"] for row in led) == list(range(problem.space.builds))
    assert rank(led, 100) == rank(plain, 100)


@pytest.mark.parametrize("kind", [Led, Promising])
def test_again_after_a_stop_only_what_is_left_is_asked_for(
    kind: type[Led] | type[Promising],
) -> None:
    problem = random_problem(1)
    first = kind(problem, [], set())
    done = []
    for _ in range(3):
        number = first.next()
        assert number is not None
        row = search_build(problem, number)
        first.tell(row)
        done.append(row)
    again = searched(problem, kind(problem, done, {row["build"] for row in done}))
    asked = [row["build"] for row in [*done, *again]]
    assert sorted(asked) == list(range(problem.space.builds))


@pytest.mark.parametrize("kind", [Led, Promising])
def test_the_order_is_the_same_for_the_same_seed(kind: type[Led] | type[Promising]) -> None:
    problem = random_problem(2)
    orders = [[r["build"] for r in searched(problem, kind(problem, [], set()))] for _ in range(2)]
    assert orders[0] == orders[1]


def test_the_look_that_orders_builds_is_the_same_every_time_and_finds_the_better_half() -> None:
    """A look is a guess, but over many builds it should do better than chance."""
    agree = []
    for seed in range(12):
        problem = random_problem(seed)
        numbers = range(problem.space.builds)
        looks = [(scout(problem, number), number) for number in numbers]
        assert looks == [(scout(problem, number), number) for number in numbers]
        rows = [search_build(problem, number) for number in numbers]
        place = {row["build"]: i for i, row in enumerate(rank(rows, 100))}
        ordered = [place[number] for _, number in sorted(looks)]
        half = len(ordered) // 2
        agree.append(np.mean(ordered[:half]) < np.mean(ordered[half:]))
    assert np.mean(agree) > 0.6


def made_up(problem: Problem, worths: dict[int, float]) -> dict[int, Row]:
    """Rows without a search: both duties of a build come to its worth; above 5 they are not served."""
    rows = {}
    for number, worth in worths.items():
        serves = worth <= 5.0
        result = {
            "feasible": serves,
            "merit": worth if serves else None,
            "shortfalls": {} if serves else {"camber": worth - 5.0},
        }
        rows[number] = {
            "build": number,
            "price": 0.0,
            "duties": dict.fromkeys(problem.duties, result),
        }
    return rows


def a_box_of(parts: int) -> Problem:
    """Three stations of so many parts that do nothing: what builds come to is told, not searched."""
    stations = {
        name: [{"id": f"{name}{n}"} for n in range(parts - 1)]
        for name in ("knuckle", "lower_arm", "wheel")
    }
    return problem_of(stations)


@pytest.mark.parametrize("kind", [Led, Promising])
def test_what_was_found_leads_to_the_good_builds_long_before_chance_would(
    kind: type[Led] | type[Promising],
) -> None:
    """Of 1,000 builds 27 are good: those of three good parts at each station. By chance, 27 in 1,000."""
    problem = a_box_of(10)
    space = problem.space
    worths = {n: 1.0 + 3.0 * sum(p > 2 for p in space.picks(n)) for n in range(space.builds)}
    good = {n for n, worth in worths.items() if worth == 1.0}
    assert (space.builds, len(good)) == (1000, 27)
    rows = made_up(problem, worths)
    proposer = kind(problem, look=lambda _problem, _number: 1.0)
    asked = []
    for _ in range(150):
        number = proposer.next()
        assert number is not None
        proposer.tell(rows[number])
        asked.append(number)
    assert len(set(asked)) == 150
    # by chance 150 of 1,000 hold 27 x 0.15 = 4 of them
    assert len(good & set(asked)) > 20


def test_a_study_that_knows_much_is_begun_anew_with_the_best_and_some_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(proposer_module, "MOST_TOLD", 40)
    problem = a_box_of(6)
    worths = {n: float(n % 11) for n in range(problem.space.builds)}
    rows = made_up(problem, worths)
    led = Led(problem, look=lambda _problem, _number: 1.0)
    asked = []
    while (number := led.next()) is not None:
        led.tell(rows[number])
        asked.append(number)
        assert len(led.lessons) <= 40
    assert sorted(asked) == list(range(216))
    # the best are never forgotten: rows that come to 0 are told at the end as well
    kept = {number for _, _, number in led.lessons}
    assert sum(worths[number] == 0.0 for number in kept) >= 10

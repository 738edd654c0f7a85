"""The clashes that a search proves, and what opens them, against judging every setting of every build."""

from __future__ import annotations

import time
from typing import Any

import pytest

from goals.duties import Limit
from goals.parts import Parts
from optimiser.clash import TimeUp, Wishes, clashes
from optimiser.evaluate import stopped
from optimiser.oracle import CHANGEOVER, Oracle, Wish, held_by, wishes_of
from optimiser.problem import Problem
from optimiser.relax import changes, ease_document, ease_step, most_steps, opening
from tests.cars import CARS
from tests.search.catalogues import random_problem
from tests.search.pairs import pairing_problem, plain_front
from tests.search.test_sweep import plain
from tests.why.plain import Plain, plain_of, subsets, tight_problem, with_limits, with_parts
from tests.wishbones import WISHBONES

FOREVER = 1e9


def oracle_for(problem: Problem) -> Oracle:
    """An oracle with all the time there is, which knows nothing beforehand."""
    return Oracle(problem, range(problem.space.builds), time.monotonic() + FOREVER)


def asked_of(duty: str, labels: frozenset[str]) -> frozenset[Wish]:
    return frozenset(Wish(duty, label) for label in labels)


CASES = [
    *((seed, "first", False) for seed in range(18)),
    *((seed, "second", True) for seed in range(6)),
]


def case(seed: int, duty: str, wishbone: bool) -> tuple[Problem, Plain]:
    cars = WISHBONES if wishbone else CARS
    problem = tight_problem(random_problem(seed, cars, small=True), duty, seed)
    return problem, plain_of(problem, duty)


def test_clashes_are_those_of_plain_enumeration() -> None:
    sizes: dict[int, int] = {}
    infeasible = 0
    for seed, duty, wishbone in CASES:
        problem, truth = case(seed, duty, wishbone)
        labels = frozenset(truth.labels)
        oracle = oracle_for(problem)
        assert {w.label for w in wishes_of(problem, duty)} == labels
        whole = oracle.held(asked_of(duty, labels), [duty]) is not None
        assert whole == truth.any_build(labels), (seed, duty)
        if whole or not truth.any_build(frozenset()):
            continue
        infeasible += 1

        def holds(some: Wishes, oracle: Oracle = oracle, duty: str = duty) -> bool:
            return oracle.held(frozenset(Wish(*wish) for wish in some), [duty]) is not None  # type: ignore[misc]

        found = clashes(holds, sorted(asked_of(duty, labels)), 100)
        sets = {frozenset(w.label for w in one) for one in found.sets}  # type: ignore[attr-defined]
        for one in sets:
            assert not truth.any_build(one), (seed, duty, one)
            for less in one:
                assert truth.any_build(one - {less}), (seed, duty, one, less)
            sizes[len(one)] = sizes.get(len(one), 0) + 1
        clashing = [some for some in subsets(labels) if not truth.any_build(some)]
        assert sets == {one for one in clashing if not any(other < one for other in clashing)}
        for broken in found.give_up:
            rest = labels - {w.label for w in broken}  # type: ignore[attr-defined]
            assert truth.any_build(rest)
    assert infeasible >= 20
    assert sum(count for size, count in sizes.items() if size > 1) >= 5


def test_a_lock_that_is_reached_just_before_over_centre_is_found() -> None:
    problem, truth = case(12, "first", False)
    some = frozenset({"lock_inner", "roll_centre_height", "track_width"})
    found = oracle_for(problem).held(asked_of("first", some), ["first"]) is not None
    assert found == truth.any_build(some)


def eased_problem(problem: Problem, duty: str, name: str, by: float) -> Problem:
    """The same problem with one limit eased."""
    limits = dict(problem.goals.duties[duty].limits)
    limit = limits[name]
    assert isinstance(limit, Limit)
    low = None if limit.min is None else limit.min - by
    high = None if limit.max is None else limit.max + by
    return with_limits(problem, duty, {**limits, name: Limit(min=low, max=high)})


def test_what_a_limit_must_be_eased_by_opens_and_a_step_less_does_not() -> None:
    eased = 0
    for seed, duty, wishbone in CASES[:12]:
        problem, truth = case(seed, duty, wishbone)
        labels = frozenset(truth.labels)
        asked = asked_of(duty, labels)
        oracle = oracle_for(problem)
        for label in sorted(labels):
            if truth.any_build(labels) or not truth.any_build(labels - {label}):
                continue
            told = ease_document(oracle, asked, Wish(duty, label), [duty])
            by = told["eased"]
            assert told["proven"] and by > 0
            step = ease_step(label)
            assert by / step == pytest.approx(round(by / step))
            enough = plain_of(eased_problem(problem, duty, label, by), duty)
            assert enough.any_build(labels), (seed, label, by)
            less = plain_of(eased_problem(problem, duty, label, by - step), duty)
            assert not less.any_build(labels), (seed, label, by)
            assert enough.of_build(told["found"]["build"], labels)
            eased += 1
    assert eased >= 3


def longer_box(parts: Parts, change: tuple[str, str, str], steps: int) -> Parts:
    """A box with a longer range, or more pieces, written as a person would write it in the file."""
    station, identifier, name = change
    box = parts.model_dump(exclude_defaults=True)
    part = next(p for p in box["stations"][station] if p["id"] == identifier)
    if not name:
        pieces = part["stack"]["pieces"]
        part["stack"]["pieces"] = {size: count + 2 for size, count in pieces.items()}
    else:
        low, high = part["adjusts"][name]["range"]
        step = part["adjusts"][name]["step"]
        part["adjusts"][name]["range"] = [low - steps * step, high + steps * step]
    return Parts.model_validate(box)


def test_a_longer_reach_that_is_told_to_open_opens_and_a_step_less_does_not() -> None:
    seen: dict[Any, int] = {}
    for seed, duty, wishbone in CASES[:12]:
        problem, truth = case(seed, duty, wishbone)
        labels = frozenset(truth.labels)
        asked = asked_of(duty, labels)
        for change in changes(problem.parts):
            told = opening(problem, change, asked, [duty], range(problem.space.builds), FOREVER)
            seen[told["opens"]] = seen.get(told["opens"], 0) + 1
            steps = told["steps"] if told["opens"] else most_steps(problem.parts, change)
            longer = plain_of(with_parts(problem, longer_box(problem.parts, change, steps)), duty)
            assert longer.any_build(labels) == told["opens"], (seed, change)
            if told["opens"] and steps > 1:
                parts = longer_box(problem.parts, change, steps - 1)
                assert not plain_of(with_parts(problem, parts), duty).any_build(labels)
    assert seen[True] >= 1
    assert seen[False] >= 1


def test_settings_that_have_to_go_together_are_held_where_some_combination_does() -> None:
    both = {True: 0, False: 0}
    for seed in range(24):
        problem = pairing_problem(seed)
        every = frozenset(w for duty in problem.duties for w in wishes_of(problem, duty))
        for number in range(min(2, problem.space.builds)):
            if any(
                problem.assembly(problem.space.build(number), d) is None for d in problem.duties
            ):
                continue
            front, alone = plain_front(problem, number, plain, stopped)
            held = held_by(problem, number, every, problem.duties)
            assert (held is not None) == alone, seed
            held = held_by(problem, number, every | {CHANGEOVER}, problem.duties)
            assert (held is not None) == bool(front), seed
            both[bool(front)] += alone
    assert min(both.values()) >= 2


def test_when_the_time_is_up_nothing_is_said_to_clash() -> None:
    problem, truth = case(0, "first", False)
    asked = asked_of("first", frozenset(truth.labels))
    oracle = Oracle(problem, range(problem.space.builds), time.monotonic() - 1)
    with pytest.raises(TimeUp):
        oracle.held(asked, ["first"])
    told = opening(
        problem, changes(problem.parts)[0], asked, ["first"], range(problem.space.builds), -1.0
    )
    assert told["opens"] is None

"""Why a run came out as it did: what decided, what clashes, what opens it, what pulls, what to buy next."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, wait
from dataclasses import dataclass
from math import ceil
from typing import Any

from optimiser import decided, next_part
from optimiser.clash import Clashes, TimeUp, clashes
from optimiser.oracle import CHANGEOVER, Asked, Oracle, Wish, wishes_of
from optimiser.problem import Problem
from optimiser.pulls import Answer, Query, answer, correlations, pulls_document
from optimiser.ranking import feasible, goes_together, key, served
from optimiser.relax import bounds_with, changes, ease_document, opening
from optimiser.workers import ask_task

Row = dict[str, Any]

# Smallest sets that are looked for in one clash, best builds whose pulls are told.
MOST_SETS, BEST_BUILDS = 4, 2
# Shares of the time after which the clash, then the easing of limits, has to be done.
CLASH_SHARE, EASE_SHARE = 0.5, 0.75


@dataclass
class Means:
    """What there is to search with: other processes, none for this one alone, and so many seconds."""

    seconds: float
    executor: Executor | None = None
    workers: int = 1
    tell: Callable[[str], None] = lambda text: None

    def __post_init__(self) -> None:
        self.began = time.monotonic()

    def until(self, share: float = 1.0) -> float:
        """When a share of the time is over."""
        return self.began + share * self.seconds

    def each(
        self, work: Callable[..., Any], problem: Problem, asked: Sequence[tuple[Any, ...]]
    ) -> dict[int, Any]:
        """What a function makes of each question, by its place; some are missing where the time is up."""
        if self.executor is None:
            told = {}
            for place, words in enumerate(asked):
                if time.monotonic() > self.until():
                    break
                told[place] = work(problem, *words)
            return told
        tasks: dict[Future[Any], int] = {
            self.executor.submit(ask_task, work, *words): place for place, words in enumerate(asked)
        }
        done = wait(tasks, max(0.0, self.until() - time.monotonic())).done
        for task in tasks:
            task.cancel()
        return {tasks[task]: task.result() for task in done}


def document(
    problem: Problem, rows: Sequence[Row], built: dict[int, Row], cover: Row, means: Means
) -> dict[str, Any]:
    """All that is told of a run's rows; ``cover`` is what the run covered."""
    rows = sorted((row for row in rows if row.get("duties")), key=key)
    serving = [row for row in rows if feasible(row)]
    told: dict[str, Any] = {
        "coverage": cover,
        "feasible": bool(serving),
        "serving": len(serving),
        "decided": decided.document(problem, rows, serving),
        "clashes": [],
        "openings": None,
        "pulls": [],
        "correlations": {},
        "next_part": next_part.document(problem, rows, built),
    }
    if serving:
        told["pulls"] = _pulls(problem, serving, means)
        told["correlations"] = {duty: correlations(serving, duty) for duty in problem.duties}
    else:
        told.update(_clashes(problem, rows, means))
    told["seconds"] = round(time.monotonic() - means.began, 1)
    return told


# Where nothing is feasible.


def oracle_of(problem: Problem, rows: Sequence[Row], means: Means) -> Oracle:
    """An oracle over all builds, nearest first, that knows what the run's own search proved."""
    known = {int(row["build"]): row for row in rows}
    others = (n for n in range(problem.space.builds) if n not in known)
    oracle = Oracle(
        problem,
        [*known, *others],
        means.until(CLASH_SHARE),
        known,
        means.executor,
        means.workers,
        lambda searched: means.tell(f"{searched:,} builds put to a question"),
    )
    for number, row in known.items():
        for duty, record in row["duties"].items():
            if not record["feasible"]:
                oracle.learn(number, frozenset(wishes_of(problem, duty)), [duty])
        if served(row) == len(problem.duties) and not goes_together(row):
            oracle.learn(number, _all(problem) | {CHANGEOVER}, problem.duties)
    return oracle


def _all(problem: Problem) -> Asked:
    return frozenset(wish for duty in problem.duties for wish in wishes_of(problem, duty))


def _scopes(problem: Problem, oracle: Oracle) -> list[tuple[tuple[str, ...], Asked]]:
    """Duties, and what is asked of them, that cannot be held: of single ones first, then of all in one build.

    Empty where after all something holds everything, which an unfinished run need not have found.
    """
    hard: list[tuple[tuple[str, ...], Asked]] = []
    for duty in problem.duties:
        asked = frozenset(wishes_of(problem, duty))
        if oracle.held(asked, [duty]) is None:
            hard.append(((duty,), asked))
    if hard or len(problem.duties) == 1:
        return hard
    every, duties = _all(problem), problem.duties
    if oracle.held(every, duties) is None:
        return [(duties, every)]
    if problem.goals.changeover is None:
        return []
    swapped = every | {CHANGEOVER}
    return [] if oracle.held(swapped, duties) is not None else [(duties, swapped)]


def _clashes(problem: Problem, rows: Sequence[Row], means: Means) -> dict[str, Any]:
    oracle = oracle_of(problem, rows, means)
    means.tell("looking for the limits that clash")
    try:
        scopes = _scopes(problem, oracle)
    except TimeUp:
        return {"clashes": [], "openings": None, "clash_known": False}
    told = [_clash(problem, oracle, duties, asked, rows) for duties, asked in scopes]
    oracle.until = means.until(EASE_SHARE)
    means.tell("finding by how much each limit must be eased")
    for each, (duties, asked) in zip(told, scopes, strict=True):
        each["eases"] = _eases(problem, oracle, each, duties, asked)
    means.tell("finding which adjusters would have to reach further")
    return {
        "clashes": told,
        "clash_known": True,
        "failed": sorted(oracle.failed),
        "openings": _openings(problem, oracle, scopes, means),
    }


def _clash(
    problem: Problem, oracle: Oracle, duties: tuple[str, ...], asked: Asked, rows: Sequence[Row]
) -> dict[str, Any]:
    """The smallest sets that clash in some duties, all of which have to be served."""
    told: dict[str, Any] = {"duties": list(duties), "changeover": CHANGEOVER in asked}
    none = {"gates_alone": False, "sets": [], "give_up": [], "complete": False, "unsure": None}
    try:
        if oracle.held(frozenset(), duties) is None:
            return {**told, **none, "gates_alone": True, "complete": True}
        found = clashes(
            lambda some: oracle.held(_wishes(some), duties) is not None,
            _easiest_first(asked, rows),
            MOST_SETS,
        )
    except TimeUp:
        return {**told, **none}
    return {**told, **none, **_clash_words(found)}


def _wishes(some: frozenset[Any]) -> Asked:
    return frozenset(Wish(*wish) for wish in some)


def _clash_words(found: Clashes) -> dict[str, Any]:
    def told(some: frozenset[Any]) -> list[Row]:
        return [{"duty": w.duty or None, "limit": w.label} for w in sorted(_wishes(some))]

    return {
        "sets": [told(one) for one in found.sets],
        "give_up": [told(one) for one in found.give_up],
        "complete": found.complete,
        "unsure": None if found.unsure is None else told(found.unsure),
    }


def _easiest_first(asked: Asked, rows: Sequence[Row]) -> list[Wish]:
    """Wishes in the order in which they are rather taken off: those that few nearest settings lack."""
    lacks = dict.fromkeys(asked, 0)
    for row in rows:
        for duty, record in row["duties"].items():
            for label in record["shortfalls"]:
                if (wish := Wish(duty, label)) in lacks:
                    lacks[wish] += 1
    # the changeover is dearest to ask about, and without it no settings need go together
    return sorted(asked, key=lambda wish: (bool(wish.duty), lacks[wish], wish))


def _eases(
    problem: Problem, oracle: Oracle, clash: Row, duties: tuple[str, ...], asked: Asked
) -> list[Row]:
    """For each limit in a clash, what easing it alone buys."""
    told = []
    sets = clash["sets"] or ([clash["unsure"]] if clash["unsure"] else [])
    some = {Wish(w["duty"] or "", w["limit"]) for one in sets for w in one}
    for wish in sorted(some):
        base = {"duty": wish.duty or None, "limit": wish.label, "eased": None}
        if not wish.duty and _no_minutes(problem):
            told.append({**base, "enough": None, "proven": True})
            continue
        try:
            enough = oracle.held(asked - {wish}, duties) is not None
        except TimeUp:
            told.append({**base, "enough": None, "proven": False})
            continue
        if not enough:
            was = bounds_with(problem, wish, 0.0)["was"]
            told.append({**base, "enough": False, "proven": True, "was": was})
            continue
        told.append({"enough": True, **ease_document(oracle, asked, wish, duties)})
    return told


def _no_minutes(problem: Problem) -> bool:
    changeover = problem.goals.changeover
    return changeover is None or changeover.minutes is None


def _openings(
    problem: Problem,
    oracle: Oracle,
    scopes: Sequence[tuple[tuple[str, ...], Asked]],
    means: Means,
) -> list[Row] | None:
    """Adjusters whose longer reach opens a clash, each scope by itself; None where there is no clash."""
    every = [
        (duties, asked, change) for duties, asked in scopes for change in changes(problem.parts)
    ]
    if not every:
        return None
    left = max(0.0, means.until() - time.monotonic())
    share = left / ceil(len(every) / max(1, means.workers))
    asked = [(change, some, duties, oracle.order, share) for duties, some, change in every]
    found = means.each(opening, problem, asked)
    told = []
    for place, (duties, _, (station, part, name)) in enumerate(every):
        unknown = {"station": station, "part": part, "adjuster": name or None, "opens": None}
        told.append({"duties": list(duties), **found.get(place, unknown)})
    return told


# Where something is.


def _pulls(problem: Problem, serving: Sequence[Row], means: Means) -> list[Row]:
    means.tell("sweeping the best builds again with single targets")

    def ask(queries: Sequence[Query]) -> dict[Query, Answer | None]:
        found = means.each(answer, problem, [(query,) for query in queries])
        return {queries[place]: each for place, each in found.items()}

    told = []
    for row in serving[:BEST_BUILDS]:
        for duty in problem.duties:
            found = pulls_document(problem, int(row["build"]), duty, ask)
            if found is not None:
                told.append(found)
    return told

"""Which targets pull against each other, and what each limit costs: told of one build by sweeping it again.

Every figure is of one duty by itself, on the declared grid. What a target alone could come to is the exact
sweep with all limits and only that target; what two could come to together likewise with those two. Sweeps
with some targets end where they are met within ``NOTICED``, so that a figure below it says only 'met'.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import combinations
from typing import Any

import numpy as np

from goals.verdicts import Demand
from optimiser.evaluate import stopped
from optimiser.inner import good_enough
from optimiser.oracle import Positions, wanted_by, wishes_of
from optimiser.problem import Problem

Row = dict[str, Any]
# Misses that differ by less than this many tolerances are the same to a builder; so are merits.
NOTICED = 0.05
# Fewest candidates by which a correlation is told.
LEAST_CANDIDATES = 5

# Asked of one build and duty: targets that count (None: all), and a limit that is left out (None: none).
Query = tuple[int, str, tuple[str, ...] | None, str | None]
# Targets' misses in tolerances at the best setting for a query, and the merit of all targets there.
Answer = dict[str, Any]


def answer(problem: Problem, query: Query) -> Answer | None:
    """The best setting for a query; None where nothing holds the limits."""
    number, duty, counted, left_out = query
    assembly = problem.assembly(problem.space.build(number), duty)
    if assembly is None:
        return None
    asked = frozenset(wish for wish in wishes_of(problem, duty) if wish.label != left_out)
    wanted = wanted_by(problem, assembly, duty, asked, targets=True)
    some = [d for d in wanted if d.is_limit or counted is None or d.label in counted]
    found = good_enough(assembly, some, 0.0 if counted is None else NOTICED, problem.families)
    if found is None:
        return None
    merit, at = found
    return {"merit": merit, "misses": misses_at(problem, number, duty, wanted, at)}


def misses_at(
    problem: Problem, number: int, duty: str, wanted: list[Demand], at: Positions
) -> dict[str, float]:
    """Misses of a duty's targets at one setting, in tolerances."""
    assembly = problem.assembly(problem.space.build(number), duty)
    assert assembly is not None
    scene = assembly.scene(np.array([at], dtype=np.int64).reshape(1, -1))
    scene = stopped(scene, wanted)
    return {d.label: float(d.miss(d.figures(scene))[0]) for d in wanted if not d.is_limit}


def targets_of(problem: Problem, duty: str) -> dict[str, float]:
    """Labels of a duty's targets, with their weights."""
    from goals.verdicts import demands

    return {d.label: d.weight for d in demands(problem.goals.duties[duty]) if not d.is_limit}


Ask = Callable[[Sequence[Query]], dict[Query, Answer | None]]


def pulls_document(problem: Problem, number: int, duty: str, ask: Ask) -> dict[str, Any] | None:
    """What pulls in one duty of a build; None where the time did not suffice to begin.

    ``ask`` answers queries; those for which there is no time are left out of what it gives back.
    ``targets`` tell the miss at the best of all and what each alone could come to; ``pairs`` what two of them
    come to at best together, where that is worse for one than alone; ``limits`` the merit gained where one
    limit is left out; ``without`` what the other targets' merit gains where one is not asked for.
    """
    labels = targets_of(problem, duty)
    whole: Query = (number, duty, None, None)
    singles: dict[str, Query] = {label: (number, duty, (label,), None) for label in labels}
    got = ask([whole, *singles.values()])
    best = got.get(whole)
    if best is None:
        return None
    alone = {
        label: found["misses"][label]
        for label, query in singles.items()
        if (found := got.get(query)) is not None
    }
    kept_off = [label for label in alone if best["misses"][label] > alone[label] + NOTICED]
    return {
        "build": number,
        "duty": duty,
        "merit": best["merit"],
        "targets": [
            {"target": label, "miss": best["misses"][label], "alone": alone.get(label)}
            for label in labels
        ],
        "pairs": _pairs(number, duty, kept_off, list(alone), alone, ask),
        "without": _without(number, duty, kept_off, labels, best, ask),
        "limits": _limits(problem, number, duty, best, ask),
    }


def _pairs(
    number: int, duty: str, kept_off: list[str], known: list[str], alone: dict[str, float], ask: Ask
) -> list[Row]:
    """Pairs of targets that cannot both have what each alone could, the hardest first."""
    some = [pair for pair in combinations(known, 2) if {*pair} & {*kept_off}]
    queries: dict[tuple[str, ...], Query] = {pair: (number, duty, pair, None) for pair in some}
    got = ask(list(queries.values()))
    pairs = []
    for (a, b), query in queries.items():
        found = got.get(query)
        if found is None:
            continue
        lost = max(found["misses"][label] - alone[label] for label in (a, b))
        if lost > NOTICED:
            together = [found["misses"][label] for label in (a, b)]
            both = {"targets": [a, b], "alone": [alone[a], alone[b]], "together": together}
            pairs.append({**both, "lost": lost})
    return sorted(pairs, key=lambda pair: (-pair["lost"], pair["targets"]))


def _without(
    number: int, duty: str, some: list[str], weights: dict[str, float], best: Answer, ask: Ask
) -> list[Row]:
    """What the others gain where one target is not asked for, most first."""
    others = {label: tuple(o for o in weights if o != label) for label in some}
    queries: dict[str, Query] = {
        label: (number, duty, rest, None) for label, rest in others.items() if rest
    }
    got = ask(list(queries.values()))
    told = []
    for label, query in queries.items():
        found = got.get(query)
        if found is None:
            continue
        rest = others[label]
        now, then = (_merit(each["misses"], rest, weights) for each in (best, found))
        told.append({"target": label, "others_now": now, "others_then": then})
    return sorted(told, key=lambda one: (one["others_then"] - one["others_now"], one["target"]))


def _merit(misses: dict[str, float], some: Iterable[str], weights: dict[str, float]) -> float:
    squares = sum(weights[label] * misses[label] ** 2 for label in some)
    return float(np.sqrt(squares / (sum(weights[label] for label in some) or 1.0)))


def _limits(problem: Problem, number: int, duty: str, best: Answer, ask: Ask) -> list[Row]:
    """Merit gained where one limit is left out, most first; those that cost nothing are not told."""
    queries: dict[str, Query] = {
        wish.label: (number, duty, None, wish.label) for wish in wishes_of(problem, duty)
    }
    got = ask(list(queries.values()))
    told = [
        {"limit": label, "merit": found["merit"], "gained": best["merit"] - found["merit"]}
        for label, query in queries.items()
        if (found := got.get(query)) is not None and best["merit"] - found["merit"] > NOTICED
    ]
    return sorted(told, key=lambda one: (-one["gained"], one["limit"]))


def correlations(rows: Sequence[Row], duty: str) -> list[Row]:
    """Rank correlation of two targets' misses over candidates: where below 0, one is bettered at the cost
    of the other. Most negative first; none from too few candidates or where a miss is alike in all.
    """
    measures = [row["duties"][duty]["measures"] for row in rows]
    if len(measures) < LEAST_CANDIDATES:
        return []
    misses = {
        key: np.array([each[key]["miss"] for each in measures], dtype=float)
        for key, entry in measures[0].items()
        if entry["miss"] is not None and all(key in each for each in measures)
    }
    ranks = {key: _ranks(np.round(values, 6)) for key, values in misses.items()}
    told = []
    for a, b in combinations(sorted(ranks), 2):
        if np.ptp(ranks[a]) and np.ptp(ranks[b]):
            told.append({"targets": [a, b], "rank": float(np.corrcoef(ranks[a], ranks[b])[0, 1])})
    return sorted(told, key=lambda one: (one["rank"], one["targets"]))


def _ranks(values: Any) -> Any:
    """Ranks of values, equal ones sharing the mean of theirs."""
    _, inverse, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    return (last - (counts - 1) / 2.0)[inverse]

"""Which part to buy next: the best that each purchase gives, over the builds that a run has searched.

Pure and cheap: rows are read once. A purchase is a set of part ids, counted as a row's ``to_buy`` counts
them; with parts owned, a build is at hand where all that it has to buy is among them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from optimiser.problem import Problem
from optimiser.ranking import feasible, key, merit, served
from optimiser.wording import margins, tells

Row = dict[str, Any]
Bought = frozenset[str]
Best = dict[Bought, Row]


def document(
    problem: Problem, rows: Iterable[Row], built: Mapping[int, Row] | None = None
) -> dict[str, Any]:
    """What each purchase gives.

    ``nothing`` is the best build with nothing bought, ``single`` the best with each one part bought and no
    other, best first; ``without`` the best where a part is not bought though all others may be; ``greedy``
    the path that buys the most valuable part each time; ``fewest`` the best for each number of parts, and
    ``front`` that for each price that buys more. ``next`` is the purchase to make: the best single part where
    one helps, or else the smallest set that does; None where nothing helps. ``every_duty`` is the build with
    fewest parts to buy that serves every duty.
    ``built`` is build number → what became of it when built many times.
    """
    best = _best_of_each(rows)
    about = _About(problem, built or {})
    parts = sorted({part for bought in best for part in bought})
    nothing = _within(best, frozenset())
    each = [(part, _within(best, frozenset([part]))) for part in parts]
    single = [(part, row) for part, row in each if row is not None]
    single.sort(key=lambda one: (key(one[1]), one[0]))
    return {
        "parts": {part: about.part(part) for part in parts},
        "nothing": about.row(nothing),
        "single": [
            {"part": part, **_gain(nothing, row), "best": about.row(row)} for part, row in single
        ],
        "without": [_without(about, best, part) for part in parts],
        "greedy": [about.row(row) for row in _greedy(best, parts)],
        "fewest": [about.row(row) for row in _front(best, lambda row: len(set(row["to_buy"])))],
        "front": [about.row(row) for row in _front(best, lambda row: row["price"])],
        "next": _next(about, best, nothing),
        "every_duty": _every_duty(about, best),
    }


def _best_of_each(rows: Iterable[Row]) -> Best:
    """The best row of each set of parts to buy."""
    best: Best = {}
    for row in rows:
        if not row.get("duties"):
            continue
        bought = frozenset(row["to_buy"])
        if bought not in best or key(row) < key(best[bought]):
            best[bought] = row
    return best


def _within(best: Best, owned: Bought) -> Row | None:
    """The best row that needs nothing beyond some parts."""
    rows = [row for bought, row in best.items() if bought <= owned]
    return min(rows, key=key) if rows else None


def betters(row: Row, than: Row | None) -> bool:
    """Whether a build serves more duties, or the same with less merit: a lower price alone is no gain."""
    if than is None:
        return True
    return _worth(row) < _worth(than)


def _worth(row: Row) -> tuple[int, int, float]:
    worst = merit(row)
    return -int(feasible(row)), -served(row), 0.0 if worst is None else round(worst, 9)


def _gain(before: Row | None, after: Row) -> dict[str, Any]:
    """What a purchase changes: whether it betters, duties served more, merit gained where both have one."""
    old, new = None if before is None else merit(before), merit(after)
    return {
        "betters": betters(after, before),
        "duties_more": served(after) - (0 if before is None else served(before)),
        "merit_gained": None if old is None or new is None else old - new,
    }


def _without(about: _About, best: Best, part: str) -> dict[str, Any]:
    """The best build where a part may not be bought, and what of the best of all is lost."""
    rows = [row for bought, row in best.items() if part not in bought]
    least = min(rows, key=key) if rows else None
    top = min(best.values(), key=key)
    lost = _gain(least, top)
    lost = {"loses": lost["betters"], "merit_lost": lost["merit_gained"]}
    return {"part": part, **lost, "best": about.row(least)}


def _greedy(best: Best, parts: list[str]) -> list[Row]:
    """Buying the most valuable part each time, for as long as one part more betters the best."""
    owned: Bought = frozenset()
    path: list[Row] = []
    at = _within(best, owned)
    while True:
        steps = [(p, _within(best, owned | {p})) for p in parts if p not in owned]
        ways = [(key(row), part, row) for part, row in steps if row is not None]
        if not ways:
            return path
        _, part, row = min(ways, key=lambda way: way[:2])
        if not betters(row, at):
            return path
        owned, at = owned | {part}, row
        path.append(row)


def _front(best: Best, cost: Any) -> list[Row]:
    """Rows by cost, each better than all cheaper ones."""
    front: list[Row] = []
    for row in sorted(best.values(), key=lambda row: (cost(row), key(row))):
        if not front or betters(row, front[-1]):
            front.append(row)
    return front


def _next(about: _About, best: Best, nothing: Row | None) -> dict[str, Any] | None:
    """The most valuable purchase: fewest parts that better anything, of those the best."""
    helping = [
        (len(bought), key(row), sorted(bought), row)
        for bought, row in best.items()
        if bought and betters(row, nothing)
    ]
    if not helping:
        return None
    _, _, parts, row = min(helping, key=lambda each: each[:3])
    return {"parts": parts, **_gain(nothing, row), "best": about.row(row)}


def _every_duty(about: _About, best: Best) -> dict[str, Any] | None:
    serving = [row for row in best.values() if feasible(row)]
    if not serving:
        return None
    return about.row(min(serving, key=lambda row: (len(set(row["to_buy"])), key(row))))


class _About:
    """What is told of parts and rows."""

    def __init__(self, problem: Problem, built: Mapping[int, Row]) -> None:
        self.built = built
        self.known = {
            part.id: (station.value, part)
            for station, parts in problem.parts.stations.items()
            for part in parts
        }

    def part(self, identifier: str) -> dict[str, Any]:
        """A part's station, name and price."""
        station, part = self.known[identifier]
        return {"station": station, "name": part.name, "price": part.price}

    def row(self, row: Row | None) -> dict[str, Any] | None:
        """A build in short."""
        if row is None:
            return None
        yields = self.built.get(row["build"], {}).get("yield")
        return {
            "build": row["build"],
            "parts": row["parts"],
            "to_buy": row["to_buy"],
            "price": row["price"],
            "feasible": feasible(row),
            "merit": merit(row),
            "serves": [name for name, duty in row["duties"].items() if duty["feasible"]],
            "tightest": tightest(row) if feasible(row) else None,
            "yield": yields,
        }


def tightest(row: Row) -> dict[str, Any] | None:
    """The limit of a build with least in hand, over all duties; None where no limit has a figure."""
    every = [
        m
        for name, duty in row["duties"].items()
        for m in margins(name, duty)
        if m.gap is not None and m.value is not None and tells(duty, m)
    ]
    if not every:
        return None
    least = min(every, key=lambda m: (m.in_scales, m.duty, m.key))
    return {
        "duty": least.duty,
        "limit": least.key,
        "in_hand": least.gap,
        "unit": least.unit,
        "state": least.state,
    }

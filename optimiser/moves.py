"""Candidates that rose, fell, appeared or died from one ranking to another: builds matched by their parts."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from optimiser.problem import Problem
from optimiser.ranking import Row, feasible, merit
from optimiser.space import AS_IS
from optimiser.standing import fitted, judged_anew
from optimiser.wording import (
    failing,
    fault_words,
    lacks,
    plain,
    short,
    spoken,
    unpaired_words,
)

Record = dict[str, Any]
Parts = tuple[tuple[str, str], ...]

ROSE, FELL, SAME = "rose", "fell", "same"
APPEARED, DIED, LEFT, UNSEARCHED = "appeared", "died", "left the list", "not searched yet"


def parts_of(row: Row) -> Parts:
    """What a build is made of: a station left as it is counts like one that is not there."""
    return tuple(sorted((s, part) for s, part in row["parts"].items() if part != AS_IS))


def moves(
    before: list[Row],
    after: list[Row],
    boxes: tuple[Problem, Problem],
    searched: Collection[int],
    explained: int = 10,
) -> list[Record]:
    """Every candidate that holds all limits in one ranking or the other, best of now first, then the lost.

    Args:
        before, after: the rankings, best first.
        boxes: the inputs of before and of now.
        searched: builds of now that have a row.
        explained: of how many lost ones to say which limit fails, judged anew.
    """
    was = {parts_of(row): (rank, row) for rank, row in enumerate(before, 1)}
    now = {parts_of(row): (rank, row) for rank, row in enumerate(after, 1)}
    old_box, problem = boxes
    known = {part.id for options in old_box.space.options for part in options}
    found = []
    for parts, (rank, row) in now.items():
        old_rank, old = was.get(parts, (None, None))
        if feasible(row):
            found.append(_record(old_rank, old, rank, row))
            if old is None:
                new_parts = [part for part in row["parts"].values() if part not in known | {AS_IS}]
                there = f"with {', '.join(new_parts)}" if new_parts else "was not on the list"
                found[-1]["why"] = there
    for parts, (rank, row) in was.items():
        new_rank, new = now.get(parts, (None, None))
        if not feasible(row) or (new is not None and feasible(new)):
            continue
        lost = _record(rank, row, new_rank, new)
        lost["move"], lost["why"] = _loss(problem, row, new, searched, explained > 0)
        explained -= 1
        found.append(lost)
    return found


def _record(old_rank: int | None, old: Row | None, rank: int | None, row: Row | None) -> Record:
    there = row or old
    assert there is not None
    found: Record = {
        "build": there["parts"],
        "before": _side(old_rank, old),
        "after": _side(rank, row),
        "why": None,
    }
    if old is None or rank is None or old_rank is None or not feasible(old):
        found["move"] = APPEARED
        if old is not None:
            found["why"] = "did not hold every limit before"
        return found
    found["move"] = SAME if rank == old_rank else ROSE if rank < old_rank else FELL
    return found


def _side(rank: int | None, row: Row | None) -> Record | None:
    if row is None:
        return None
    return {
        "rank": rank,
        "number": row["build"],
        "merit": merit(row),
        "feasible": feasible(row),
        "yield": row.get("as_built", {}).get("yield"),
        "price": row["price"],
        "duties": {duty: record.get("merit") for duty, record in row["duties"].items()},
    }


def _loss(
    problem: Problem, old: Row, new: Row | None, searched: Collection[int], explain: bool
) -> tuple[str, str | None]:
    """Why a candidate does not hold every limit any more, or is in the ranking no more."""
    car = fitted(problem, old)
    if car.gone or car.build is None:
        return DIED, "; ".join(car.gone)
    if new is None:
        if car.build.number not in searched:
            return UNSEARCHED, None
        return LEFT, "others rank before it now"
    if not explain:
        return DIED, _lack(new)
    told = anew_words(judged_anew(problem, old))
    # where its old settings still do, ride heights or steps that the goals no longer allow stand in the way
    return DIED, told or _lack(new)


def _lack(row: Row) -> str:
    words = [lacks(d, record) for d, record in row["duties"].items() if not record["feasible"]]
    if not words and row.get("pairing"):
        words = [f"settings do not go together: {unpaired_words(row['pairing'])}"]
    return "; ".join(words)


def anew_words(judged: Record) -> str:
    """What an old candidate's settings lack, judged anew: every failing limit of every duty, worst first."""
    words = list(judged["gone"])
    for duty, record in judged["duties"].items():
        words += [f"{duty}: {plain(m.key)} {fault_words(m)}" for m in failing(duty, record)]
    swap = judged["swap"]
    if swap is not None and not swap["holds"]:
        words.append(swap_words(swap))
    return "; ".join(words)


def swap_words(swap: Record) -> str:
    """What a swap takes and whether the goals allow it."""
    words = f"the swap takes {short(swap['minutes'])} minutes"
    if swap["allowed"] is not None:
        words += f", the goals allow {short(swap['allowed'])}"
    if swap["barred"]:
        words += (
            f"; the goals no longer allow {', '.join(map(spoken, swap['barred']))} to be set apart"
        )
    return words

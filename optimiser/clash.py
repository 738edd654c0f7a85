"""Smallest sets of wishes that clash, found by asking whether sets of them can be held.

A set clashes if it cannot be held and everything less of it can. Found by deletion: wishes are taken off one
at a time, and stay off where the rest cannot be held without them. Further sets are looked for where the ones
known are broken: in all wishes less a smallest choice of one from each known set. Where every such rest can
be held there are no others, and those choices are the smallest sets of wishes to give up.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from itertools import product

Wishes = frozenset[Hashable]
# Whether a set of wishes can be held together.
Holds = Callable[[Wishes], bool]


class TimeUp(Exception):
    """There is no time left to answer."""


@dataclass(frozen=True)
class Clashes:
    """What was found of the clashes among some wishes.

    ``sets`` are smallest sets that clash, ``give_up`` smallest sets whose rest can be held. ``complete`` says
    that there are no other sets of either kind; ``unsure`` is a set that clashes, but was not made smallest
    before the time was up.
    """

    sets: tuple[Wishes, ...]
    give_up: tuple[Wishes, ...]
    complete: bool
    unsure: Wishes | None = None


def clashes(holds: Holds, wishes: Sequence[Hashable], most: int) -> Clashes:
    """Find up to ``most`` smallest sets of wishes that clash; all together cannot be held.

    ``wishes`` are in the order in which they are rather taken off. Ends early where ``holds`` raises TimeUp.
    """
    found: list[Wishes] = []
    give_up: list[Wishes] = []
    rest: Wishes | None = frozenset(wishes)
    while rest is not None:
        clash, smallest = _shrunk(holds, rest, wishes)
        if not smallest:
            return Clashes(tuple(found), tuple(give_up), False, clash)
        found.append(clash)
        if len(found) >= most:
            break
        try:
            rest, give_up = _unbroken(holds, found, wishes)
        except TimeUp:
            return Clashes(tuple(found), (), False)
    if rest is None:
        return Clashes(tuple(found), tuple(give_up), True)
    try:
        rest, give_up = _unbroken(holds, found, wishes)
    except TimeUp:
        return Clashes(tuple(found), (), False)
    return Clashes(tuple(found), tuple(give_up), rest is None)


def _shrunk(holds: Holds, clash: Wishes, order: Sequence[Hashable]) -> tuple[Wishes, bool]:
    """A smallest set that clashes within one that clashes, and whether the time sufficed to make it so."""
    before: Wishes | None = None
    try:
        # once more over what is left, so that each part of the set that is told was itself asked about
        while clash != before:
            before = clash
            for wish in order:
                if wish in clash and not holds(clash - {wish}):
                    clash = clash - {wish}
    except TimeUp:
        return clash, False
    return clash, True


def _unbroken(
    holds: Holds, found: Sequence[Wishes], order: Sequence[Hashable]
) -> tuple[Wishes | None, list[Wishes]]:
    """A set without any of the clashes found that cannot be held; None where there is none.

    With it the smallest breaks of all clashes found whose rest can be held, as far as looked at.
    """
    opened: list[Wishes] = []
    for broken in breaks(found, order):
        rest = frozenset(order) - broken
        if not holds(rest):
            return rest, opened
        opened.append(broken)
    return None, opened


def breaks(found: Sequence[Wishes], order: Sequence[Hashable]) -> list[Wishes]:
    """Smallest sets with one wish or more of every clash found, fewest wishes first."""
    place = {wish: i for i, wish in enumerate(order)}
    every = {frozenset(choice) for choice in product(*found)}
    least = [one for one in every if not any(other < one for other in every)]
    return sorted(least, key=lambda one: (len(one), sorted(place[wish] for wish in one)))

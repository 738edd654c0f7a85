"""Which heights the loose pieces in the box can make on a stud, and with which pieces."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from math import prod

from goals.parts import Stack

MOST_WAYS = 200_000
# What looking at all of them may take, in pieces laid on one another: some seconds.
MOST_STEPS = 40_000_000


@dataclass(frozen=True)
class Pile:
    """One way to fill a stud: thicknesses under the joint from the joint outward, and above it, mm."""

    height: float
    under: tuple[float, ...]
    above: tuple[float, ...]


def piles(stack: Stack) -> list[Pile]:
    """Every height under the joint that can be built on one side, lowest first; fullest, then fewest pieces.

    Each side has half the box. Where the stud's usable length is given, what is not under the joint must
    be filled by pieces above it, to within the stack's slack.
    """
    return list(_piles(tuple(_each_side(stack.pieces).items()), stack.usable, stack.slack))


# every build with such a stack asks for the same
@lru_cache(maxsize=64)
def _piles(
    each_side: tuple[tuple[float, int], ...], usable: float | None, slack: float
) -> tuple[Pile, ...]:
    supply = dict(each_side)
    best: dict[float, Pile] = {}
    for used in _ways(supply):
        height = round(sum(t * n for t, n in used.items()), 6)
        above: tuple[float, ...] | None = ()
        if usable is not None:
            left = {t: supply[t] - used[t] for t in supply}
            above = _fill(left, usable - height, slack)
        if above is None:
            continue
        under = tuple(t for t, n in sorted(used.items(), reverse=True) for _ in range(n))
        pile = Pile(height, under, above)
        held = best.get(height)
        if held is None or _rank(pile) < _rank(held):
            best[height] = pile
    return tuple(best[height] for height in sorted(best))


def ways_to_stack(pieces: Mapping[float, int]) -> int:
    """How many choices of pieces one side has, thickness → count for the whole car."""
    return prod(count + 1 for count in _each_side(pieces).values())


def steps_to_stack(pieces: Mapping[float, int], usable: float | None) -> int:
    """How much work all ways to stack are, in pieces laid on one another: about, and never told as less.

    Where it is more than MOST_STEPS it is no more than that it is more. ``usable`` as in a stack, mm.
    """
    supply = _each_side(pieces)
    steps = ways_to_stack(pieces) * sum(supply.values())
    if usable is None or steps > MOST_STEPS:
        return steps
    heights = {0.0}
    for thickness, count in supply.items():
        for _ in range(count):
            grown = {round(height + thickness, 6) for height in heights} - heights
            grown = {height for height in grown if height <= usable + 1e-9}
            if not grown:
                break
            heights |= grown
            if steps * len(heights) > MOST_STEPS:
                return steps * len(heights)
    return steps * len(heights)


def most_filled(pieces: Mapping[float, int], usable: float, slack: float) -> float | None:
    """The most of a stud that one side's pieces fill to within ``slack``, mm; None where none do.

    What may lie under the joint may lie above it as well, so this says whether a stack has any height.
    """
    filled = _fill(_each_side(pieces), usable, slack)
    return None if filled is None else sum(filled)


def _each_side(pieces: Mapping[float, int]) -> dict[float, int]:
    return {thickness: count // 2 for thickness, count in sorted(pieces.items())}


def _rank(pile: Pile) -> tuple[float, int, tuple[float, ...]]:
    """Of two piles of one height the fuller is better: a nut must not run out of thread before it clamps."""
    return -round(sum(pile.above), 6), len(pile.under) + len(pile.above), pile.under


def _ways(supply: dict[float, int]) -> Iterator[dict[float, int]]:
    """Every choice of how many pieces of each thickness to use."""
    total = prod(count + 1 for count in supply.values())
    if total > MOST_WAYS:
        raise ValueError(
            f"{total} ways to stack these pieces; at most {MOST_WAYS} can be looked at"
        )
    for counts in product(*(range(n + 1) for n in supply.values())):
        yield dict(zip(supply, counts, strict=True))


def _fill(left: dict[float, int], room: float, slack: float) -> tuple[float, ...] | None:
    """The pieces that fill most of ``room``, to within ``slack``, and fewest of them; None where none do."""
    if room < -1e-9:
        return None
    reach: dict[float, tuple[float, ...]] = {0.0: ()}
    for thickness in sorted(left, reverse=True):
        for _ in range(left[thickness]):
            for height, pieces in list(reach.items()):
                grown = round(height + thickness, 6)
                if grown <= room + 1e-9 and len(reach.get(grown, (0.0,) * 99)) > len(pieces) + 1:
                    reach[grown] = (*pieces, thickness)
    fitting = [(-h, len(p), p) for h, p in reach.items() if h >= room - slack - 1e-9]
    return min(fitting)[2] if fitting else None

"""Smallest sets that clash, against every subset of the wishes."""

from __future__ import annotations

from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from optimiser.clash import TimeUp, Wishes, clashes

NAMES = "abcdef"


def subsets(names: str) -> list[Wishes]:
    """Every subset, smallest first."""
    return [frozenset(some) for n in range(len(names) + 1) for some in combinations(names, n)]


def least(sets: list[Wishes]) -> set[Wishes]:
    """Those that have none of the others within them."""
    return {one for one in sets if not any(other < one for other in sets)}


CLASHES = st.lists(st.frozensets(st.sampled_from(NAMES), min_size=1), min_size=1, max_size=6)


@given(CLASHES)
def test_all_smallest_sets_and_all_smallest_breaks_are_found(planted: list[Wishes]) -> None:
    def holds(some: Wishes) -> bool:
        return not any(clash <= some for clash in planted)

    found = clashes(holds, NAMES, 100)
    every = subsets(NAMES)
    assert set(found.sets) == least([some for some in every if not holds(some)])
    opened = [some for some in every if holds(frozenset(NAMES) - some)]
    assert set(found.give_up) == least(opened)
    assert found.complete
    assert found.unsure is None


@given(CLASHES, st.integers(1, 3))
def test_so_many_as_are_wanted_and_whether_there_are_more(planted: list[Wishes], most: int) -> None:
    def holds(some: Wishes) -> bool:
        return not any(clash <= some for clash in planted)

    found = clashes(holds, NAMES, most)
    there = least([frozenset(clash) for clash in planted])
    assert set(found.sets) <= there
    assert len(found.sets) == min(most, len(there))
    assert found.complete == (len(there) <= most)


@given(CLASHES, st.integers(0, 30))
def test_what_is_told_when_the_time_is_up_holds_all_the_same(
    planted: list[Wishes], asked: int
) -> None:
    left = [asked]

    def holds(some: Wishes) -> bool:
        if not left[0]:
            raise TimeUp
        left[0] -= 1
        return not any(clash <= some for clash in planted)

    found = clashes(holds, NAMES, 4)
    there = least([frozenset(clash) for clash in planted])
    assert set(found.sets) <= there
    if found.complete:
        assert set(found.sets) == there
    if found.unsure is not None:
        assert any(clash <= found.unsure for clash in planted)

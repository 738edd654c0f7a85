"""Numbers of builds against plain enumeration, and what they hold in memory."""

from __future__ import annotations

import tracemalloc
from itertools import product
from math import prod
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimiser.numbering import Numbering
from optimiser.space import Space
from tests.search.test_space import problem_of

MIB = 2**20


@st.composite
def numberings(draw: st.DrawFn) -> Numbering:
    """Up to five stations of up to four options, some of which exclude each other or themselves."""
    sizes = tuple(draw(st.lists(st.integers(1, 4), min_size=1, max_size=5)))
    options = [(s, i) for s, size in enumerate(sizes) for i in range(size)]
    pairs = st.tuples(st.sampled_from(options), st.sampled_from(options)).filter(
        lambda pair: pair[0][0] != pair[1][0] or pair[0] == pair[1]
    )
    return Numbering(sizes, draw(st.lists(pairs, max_size=6)))


def enumerated(numbering: Numbering) -> list[tuple[int, ...]]:
    """Allowed choices in order, one by one."""

    def allowed(picks: tuple[int, ...]) -> bool:
        chosen = set(enumerate(picks))
        return not any(one in chosen and other in chosen for one, other in numbering.apart)

    return [p for p in product(*(range(n) for n in numbering.sizes)) if allowed(p)]


@settings(max_examples=150, deadline=None)
@given(numbering=numberings(), data=st.data())
def test_numbers_are_those_of_plain_enumeration_there_and_back(
    numbering: Numbering, data: st.DataObject
) -> None:
    plain = enumerated(numbering)
    assert numbering.count == len(plain)
    assert [numbering.picks(n) for n in range(numbering.count)] == plain
    known = {picks: n for n, picks in enumerate(plain)}
    for picks in product(*(range(n) for n in numbering.sizes)):
        assert numbering.number_of(picks) == known.get(picks)
    for station in range(len(numbering.sizes)):
        column = numbering.column(station, 0, numbering.count)
        assert column.tolist() == [picks[station] for picks in plain]
    for wrong in (-1, numbering.count):
        with pytest.raises(IndexError):
            numbering.picks(wrong)
    # weights so large that sums leave 64 bits
    weights = tuple(
        tuple(data.draw(st.lists(st.integers(0, 10**9), min_size=n, max_size=n)))
        for n in numbering.sizes
    )
    by_hand = sum(prod(w[i] for w, i in zip(weights, picks, strict=True)) for picks in plain)
    assert numbering.sum_of_products(weights) == by_hand


def large(*, apart: bool) -> Space:
    """A box of some two million builds: six stations of ten to twelve parts."""
    names = ("knuckle", "lower_arm", "top_mount", "rack_mount", "rack_end", "wheel")
    stations: dict[str, Any] = {
        name: [{"id": f"{name}{n}"} for n in range(9 + (place % 2) * 2)]
        for place, name in enumerate(names)
    }
    slide = {"along": {"top_mount": [0, 1, 0]}, "range": [0, 30], "step": 1}
    stations["top_mount"][3]["adjusts"] = {"in_out": slide, "height": slide}
    if apart:
        stations["knuckle"][0]["fits"] = {"not_with": ["rack_end1", "wheel2"]}
        stations["rack_mount"][1]["fits"] = {"not_with": ["top_mount3"]}
    return problem_of(stations).space


@pytest.mark.parametrize("apart", [False, True])
def test_two_million_builds_are_numbered_in_a_few_bytes_each(apart: bool) -> None:
    space = large(apart=apart)
    tracemalloc.start()
    try:
        builds, combinations = space.builds, space.all_combinations
        assert space.number_of(space.picks(builds - 1)) == builds - 1
        assert space.build(builds - 1).name["wheel"]
        held, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    sizes = [len(parts) for parts in space.options]
    total = prod(sizes)
    assert total == 10**3 * 12**3
    if not apart:
        assert builds == total
        # one top mount of ten has 31 x 31 settings, by hand
        assert combinations == total // 10 * (9 + 31 * 31)
        assert held < MIB
        return
    # inclusion and exclusion by hand; options a station: knuckle, top mount and rack end 10, the others 12
    first = (12 + 10 - 1) * 12 * 10 * 12  # this knuckle, and that ring or that wheel or both
    second = 10 * 12 * 10 * 12
    both = (12 + 10 - 1) * 12
    assert builds == total - first - second + both
    assert held < 5 * builds
    assert peak < 40 * MIB
    rng = np.random.default_rng(0)
    for number in rng.integers(0, builds, 200):
        names = set(space.build(int(number)).name.values())
        assert not ({"knuckle0"} <= names and names & {"rack_end1", "wheel2"})
        assert not {"rack_mount1", "top_mount3"} <= names


def test_sums_that_left_64_bits_do_not_come_back_for_a_weight_of_nothing() -> None:
    numbering = Numbering((2, 1, 1, 1), [((0, 0), (0, 0))])
    large_weights = ((10**9,), (10**9,), (10**9,))
    assert numbering.sum_of_products(((0, 0), *large_weights)) == 0
    assert numbering.sum_of_products(((5, 7), *large_weights)) == 7 * 10**27

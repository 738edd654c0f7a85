"""The next part, against going through every set of parts that could be bought."""

from __future__ import annotations

from itertools import combinations
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from optimiser.next_part import document
from tests.search.workshop import box, problem

Row = dict[str, Any]
PARTS = {"offset": 90.0, "short": 480.0, "slider": 260.0, "plate": 55.0}


def shop() -> Any:
    """The workshop with four parts that are not owned."""
    parts = box()
    parts["stations"]["rack_mount"] = [
        {"id": "offset", "moves": {"tie_rod_inner": [0, 0, -2]}, "price": 90}
    ]
    parts["stations"]["knuckle"] = [
        {"id": "short", "moves": {"tie_rod_outer": [0, 1, 0]}, "price": 480},
        {"id": "plate", "moves": {"tie_rod_outer": [0, 2, 0]}, "price": 55},
    ]
    parts["stations"]["top_mount"] = [
        {"id": "slider", "moves": {"top_mount": [0, -2, 0]}, "price": 260}
    ]
    return problem(parts=parts)


SHOP = shop()


@st.composite
def rows(draw: st.DrawFn) -> list[Row]:
    """Rows as a ledger has them, as far as buying goes."""
    found = []
    for number in range(draw(st.integers(1, 14))):
        bought = sorted(draw(st.frozensets(st.sampled_from(sorted(PARTS)))))
        duties = {}
        for duty in ("hill", "pad"):
            merit = draw(st.none() | st.sampled_from([0.2, 0.5, 0.9, 1.4]))
            lacks = {} if merit is not None else {"camber": 0.5}
            duties[duty] = {
                "feasible": merit is not None,
                "merit": merit,
                "shortfalls": lacks,
                "measures": {},
            }
        price = sum(PARTS[part] for part in bought)
        row = {"build": number, "parts": {}, "price": price, "to_buy": bought, "duties": duties}
        found.append({**row, "pairing": None})
    return found


def worth(row: Row | None) -> tuple[int, float]:
    """Duties unserved and the worst merit, less is better: by hand of the definitions."""
    if row is None:
        return 9, 0.0
    merits = [duty["merit"] for duty in row["duties"].values()]
    unserved = merits.count(None)
    return unserved, max(merits) if not unserved else 0.0


def best(every: list[Row], owned: frozenset[str]) -> tuple[int, float]:
    """What the best of the rows at hand is worth."""
    return min((worth(row) for row in every if {*row["to_buy"]} <= owned), default=(9, 0.0))


def told(short: Row | None) -> tuple[int, float]:
    """What a row that is told is worth."""
    if short is None:
        return 9, 0.0
    return 2 - len(short["serves"]), short["merit"] if short["feasible"] else 0.0


@settings(max_examples=150)
@given(rows())
def test_each_purchase_is_the_best_of_all_rows_at_hand(every: list[Row]) -> None:
    found = document(SHOP, every)
    none = best(every, frozenset())
    assert told(found["nothing"]) == none
    for one in found["single"]:
        value = best(every, frozenset([one["part"]]))
        assert told(one["best"]) == value
        assert one["betters"] == (value < none)
    for one in found["without"]:
        value = best(every, frozenset(PARTS) - {one["part"]})
        assert told(one["best"]) == value
        assert one["loses"] == (best(every, frozenset(PARTS)) < value)
    sets = [frozenset(s) for n in range(5) for s in combinations(sorted(PARTS), n)]
    helps = [some for some in sets if best(every, some) < none]
    buy = found["next"]
    assert (buy is None) == (not helps)
    if buy is not None:
        fewest = min(len(some) for some in helps)
        assert len(buy["parts"]) == fewest
        assert told(buy["best"]) == min(best(every, s) for s in helps if len(s) == fewest)
    front = [(row["price"], told(row)) for row in found["front"]]
    wanted: list[tuple[float, tuple[int, float]]] = []
    for price in sorted({row["price"] for row in every}):
        value = min(worth(row) for row in every if row["price"] == price)
        if not wanted or value < wanted[-1][1]:
            wanted.append((price, value))
    assert front == wanted


def test_a_part_that_is_owned_is_never_bought() -> None:
    duties = {
        duty: {"feasible": True, "merit": 0.4, "shortfalls": {}, "measures": {}}
        for duty in ("hill", "pad")
    }
    row = {"build": 0, "parts": {}, "price": 0, "to_buy": [], "duties": duties, "pairing": None}
    found = document(SHOP, [row], {0: {"yield": 0.8}})
    assert found["parts"] == {}
    assert found["next"] is None
    assert found["nothing"]["yield"] == 0.8

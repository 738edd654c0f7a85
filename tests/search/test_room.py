"""Room left on adjusters, counted by hand on a rail of holes."""

from __future__ import annotations

import numpy as np
import pytest

from goals.parts import Station
from optimiser.room import rooms
from optimiser.space import Dimension


def rail(size: int, kind: str = "adjuster", channel: str = "tie_rod_inner") -> Dimension:
    values = tuple(float(v) for v in range(size))
    return Dimension(
        Station.RACK_MOUNT, "rail", "slot", kind, values, {channel: np.zeros((size, 3))}
    )


@pytest.mark.parametrize(
    ("position", "steps"), [(0, 0.0), (1, 1.0), (2, 2.0), (3, 2.0), (5, 1.0), (6, 0.0)]
)
def test_room_is_steps_to_the_nearer_end_and_no_more_than_two(position: int, steps: float) -> None:
    assert rooms([rail(7)], [position]) == (steps,)


def test_the_least_of_several_adjusters_counts_and_each_at_an_end_is_counted() -> None:
    dimensions = [rail(7), rail(5), rail(9)]
    assert rooms(dimensions, [3, 1, 4]) == (1.0, 2.0, 2.0)
    assert rooms(dimensions, [0, 4, 4]) == (0.0, 0.0, 2.0)


def test_stacks_choices_ride_height_and_what_cannot_be_set_do_not_count() -> None:
    others = [rail(4, "stack"), rail(4, "choice"), rail(4, channel="lowered_by"), rail(1)]
    assert rooms(others, [0, 3, 0, 0]) == ()
    assert rooms([*others, rail(6)], [0, 3, 0, 0, 1]) == (1.0,)

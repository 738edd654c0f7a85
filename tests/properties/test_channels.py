"""Channels of many lanes are the sums that the settings come to, however they are kept."""

from __future__ import annotations

import numpy as np
import pytest

from kinematics.channels import Channels, Layer
from optimiser.families import Families
from optimiser.stages import Settings, Stages
from tests.search.catalogues import random_problem


def test_sums_of_outer_and_inner_in_the_order_of_the_lanes() -> None:
    outer = {"left": {"a": np.array([10.0, 20.0]), "p": np.array([[1.0, 2.0]] * 3)}}
    added = Layer({"a": np.array([0.5, 0.7])}, np.array([0, 1, 0, 1]))
    lanes = Channels.plain(outer, 2).under(np.array([1, 1, 0, 0]), added)
    np.testing.assert_allclose(lanes.get("a"), [20.5, 20.7, 10.5, 10.7])
    np.testing.assert_allclose(lanes.get("p"), [[2.0, 2.0, 1.0, 1.0]] * 3)
    np.testing.assert_allclose(lanes.take(np.array([3, 0])).get("a"), [10.7, 20.5])
    np.testing.assert_allclose(lanes.get("a", "right"), lanes.get("a"))
    with pytest.raises(KeyError):
        lanes.get("b")


@pytest.mark.parametrize("seed", range(4))
def test_every_lane_has_the_channels_of_its_own_positions(seed: int) -> None:
    """The sweep's lanes, split into outer and inner settings, against their positions spelled out."""
    problem = random_problem(seed)
    assembly = problem.assembly(problem.space.build(0), "first")
    assert assembly is not None
    stages = Stages(assembly, [], Families())
    levels = stages.levels
    (outers,) = stages.outers(stages.static_level())
    places = levels.outer_ends.count * levels.inner_ends.count
    at = np.arange(outers.index.size * places)[::3]
    outer, a, b = at // places, at % places // levels.inner_ends.count, at % levels.inner_ends.count
    beneath = at % levels.beneath.count
    lanes = stages.lanes_of(outers, Settings(outer, a, b, np.zeros(at.size)), beneath)
    positions = np.stack(np.unravel_index(lanes.index, levels.sizes), axis=1)
    for name, value in assembly.channels("left", positions).items():
        np.testing.assert_allclose(lanes.scene.channels.get(name), value, atol=1e-9)
    assert levels.settings == np.prod([d.size for d in assembly.dimensions])

"""Stud stress against handbook arithmetic, and as a gate that no merit buys back."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from goals.reading import load_goals
from kinematics.measures import MEASURES
from kinematics.studs import bending_stress
from optimiser.problem import Problem


def test_handbook_value() -> None:
    """3000 N at 12 mm on the root of M12x1.75 (ISO 261 pitch, d3 = 9.853 mm): 383.35 MPa.

    32 M / (pi d^3), standard beam theory; the value is recomputed by hand, not published.
    """
    assert float(bending_stress(3000.0, np.array(12.0), 9.853)) == pytest.approx(383.35, abs=0.05)


@pytest.mark.parametrize(("diameter", "stress"), [(12, 740), (14, 460), (16, 310)])
def test_estimates_of_the_trade(diameter: float, stress: float) -> None:
    """25 mm of lever under 5 kN by nominal diameter: an estimate of the trade, no source."""
    assert float(bending_stress(5000.0, np.array(25.0), diameter)) == pytest.approx(
        stress, rel=0.02
    )


def shipped() -> Problem:
    loaded = load_goals(Path(str(files("goals.examples").joinpath("goals.yaml"))))
    return Problem(loaded.goals, loaded.car, loaded.parts)


def test_each_stack_height_is_a_longer_lever_and_too_high_a_stack_is_refused() -> None:
    problem = shipped()
    space = problem.space
    number = next(
        n for n in range(space.builds) if space.build(n).name["tie_rod_stud"] == "washers"
    )
    assembly = problem.assembly(space.build(number), "hill")
    assert assembly is not None
    column = next(i for i, d in enumerate(assembly.dimensions) if d.station.value == "tie_rod_stud")
    stack = assembly.dimensions[column]
    positions = np.zeros((stack.size, len(assembly.dimensions)), dtype=np.int64)
    positions[:, column] = np.arange(stack.size)
    scene = assembly.scene(positions)
    stress = MEASURES["stud_stress"](scene)[0]
    heights = np.array([float(h) for h in stack.values])
    # by hand: 32 x 5000 N x (14 mm + height) / (pi x 13.5^3)
    assert stress == pytest.approx(20.6994 * (14.0 + heights), rel=1e-4)
    gate = next(d for d in problem.demands(assembly, "hill") if d.label == "stud_strength")
    refused = gate.shortfall(gate.figures(scene)) > 0.0
    assert list(refused) == [bool(h > 620.0 / 20.6994 - 14.0) for h in heights]
    assert refused.any() and not refused.all()


def test_a_stud_whose_strength_is_not_said_has_no_stress() -> None:
    problem = shipped()
    assembly = problem.assembly(problem.space.today(), "hill")
    assert assembly is not None
    none = np.zeros((1, len(assembly.dimensions)), dtype=np.int64)
    assert np.isnan(MEASURES["stud_stress"](assembly.scene(none))).all()

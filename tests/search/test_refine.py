"""Refinement below the grid step, against every fine setting about the grid's best one judged on its own."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from goals.parts import Parts
from optimiser.assembly import sides_of
from optimiser.builds import search_build
from optimiser.detail import with_curves
from optimiser.evaluate import stopped
from optimiser.inner import sweep
from optimiser.problem import Problem
from optimiser.refine import refine
from tests.cars import CARS, Car
from tests.search.catalogues import random_problem
from tests.search.test_sweep import merits_of
from tests.wishbones import WISHBONES

FINE = 0.5
SEEDS = [(seed, CARS) for seed in range(16)] + [(seed, WISHBONES) for seed in range(100, 106)]


def with_fine(problem: Problem, fine: float | None) -> Problem:
    """The same problem whose adjusters can all be set so finely."""
    parts = problem.parts.model_dump(exclude_none=True)
    for listed in parts["stations"].values():
        for part in listed:
            for adjuster in part.get("adjusts", {}).values():
                if fine is not None:
                    adjuster["fine"] = fine
    return Problem(problem.goals, problem.car, Parts.model_validate(parts))


def best_in_reach(problem: Problem, duty: str, best: tuple[int, ...]) -> float:
    """Least merit of all fine settings within a step of the grid's best, each judged with no sweep at all."""
    build = problem.space.build(0)
    assembly = problem.assembly(build, duty)
    assert assembly is not None
    wanted = problem.demands(assembly, duty)
    values = []
    for dimension, position in zip(assembly.dimensions, best, strict=True):
        if dimension.kind != "adjuster":
            values.append([float(position)])
            continue
        adjuster = build.parts[dimension.station].adjusts[dimension.name]
        here, (low, high) = float(dimension.values[position]), adjuster.range
        steps = np.arange(-adjuster.step, adjuster.step + 0.5 * FINE, FINE) + here
        values.append([float(v) for v in steps if low - 1e-9 <= v <= high + 1e-9])
    fine = np.array(list(product(*values)))
    everywhere = np.repeat([best], len(fine), axis=0)
    channels = {side: assembly.channels(side, everywhere) for side in sides_of(problem.car)}
    for column, (dimension, position) in enumerate(zip(assembly.dimensions, best, strict=True)):
        if dimension.kind != "adjuster":
            continue
        moved = fine[:, column] - float(dimension.values[position])
        part = build.parts[dimension.station].adjusts[dimension.name]
        for name, direction in part.along.items():
            unit = np.array(direction) / np.linalg.norm(direction)
            channel = "arm_ball_joint" if name == "ball_joint" else str(name.value)
            channel = "arm_upper_ball_joint" if channel == "upper_ball_joint" else channel
            for named in channels.values():
                named[channel] = named[channel] + unit[:, None] * moved
    scene, _ = assembly.posed_of(channels, len(fine))
    return float(merits_of(stopped(scene, wanted), wanted).min())


@pytest.mark.parametrize(("seed", "cars"), SEEDS, ids=str)
def test_refined_is_the_best_fine_setting_in_reach(seed: int, cars: tuple[Car, ...]) -> None:
    problem = with_fine(random_problem(seed, cars), FINE)
    for duty in problem.duties:
        assembly = problem.assembly(problem.space.build(0), duty)
        assert assembly is not None
        wanted = problem.demands(assembly, duty)
        found = sweep(assembly, wanted)
        if found.best is None or found.merit is None:
            continue
        better = refine(assembly, wanted, found.best, found.merit, most_swept=10**5)
        least = best_in_reach(problem, duty, found.best)
        merit = found.merit if better is None else better.merit
        assert merit == pytest.approx(least, abs=3e-9)
        # the quick way, which does not look at them all, is never worse than the grid
        quick = refine(assembly, wanted, found.best, found.merit, most_swept=8)
        assert quick is None or least - 3e-9 <= quick.merit < found.merit


def test_the_row_tells_the_refined_setting_and_where_the_grid_had_it() -> None:
    seen = 0
    for seed in range(16):
        problem = with_fine(random_problem(seed), FINE)
        row = search_build(problem, 0)
        plain = search_build(with_fine(random_problem(seed), None), 0)
        curves = with_curves(problem, row)["duties"]
        for duty, record in row["duties"].items():
            grid = plain["duties"][duty]
            assert "refined" not in grid
            assert record["feasible"] == grid["feasible"]
            if "refined" not in record:
                continue
            seen += 1
            assert record["merit"] < record["refined"]["grid_merit"] == grid["merit"]
            assert record["positions"] == grid["positions"]
            for station, block in record["refined"]["from"].items():
                for name, stood in block.items():
                    assert record["settings"][station][name] != stood
                    assert grid["settings"][station][name] == stood
            # what is shown with curves is the refined setting, too
            at = curves[duty]["curves"]["travel"]["travel"].index(0.0)
            entry = record["measures"]["camber"]
            camber = entry.get("sides", {"left": entry["value"]})["left"]
            assert curves[duty]["curves"]["travel"]["camber"][at] == pytest.approx(camber, abs=1e-9)
    assert seen >= 5

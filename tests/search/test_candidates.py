"""A candidate's record says one thing: verdict, table and merit agree, whoever stands beside it."""

from __future__ import annotations

from math import sqrt
from pathlib import Path

import numpy as np
import pytest

import goals.examples
from goals.car import Car
from goals.document import read_document
from goals.duties import GoalsFile
from goals.parts import Parts
from goals.section import Section
from kinematics import rows as k
from kinematics.arrays import Floats, Ints
from kinematics.measures import MEASURES
from kinematics.scene import FEW, Scene
from optimiser.assembly import Assembly
from optimiser.evaluate import candidate, stopped
from optimiser.problem import Problem
from tests.cars import CARS
from tests.search.catalogues import random_problem
from tests.wishbones import WISHBONES

EXAMPLES = Path(goals.examples.__file__).parent


def example(prefix: str) -> Problem:
    """A shipped example as a search has it."""

    def read(name: str) -> object:
        return Section(read_document(name, (EXAMPLES / name).read_bytes())).data

    return Problem(
        GoalsFile.model_validate(read(f"{prefix}goals.yaml")),
        Car.model_validate(read(f"{prefix}car.yaml")),
        Parts.model_validate(read(f"{prefix}parts.yaml")),
    )


PROBLEMS = {
    "strut": lambda: example(""),
    "wishbone": lambda: example("wishbone_"),
    "bent strut": lambda: random_problem(3, CARS),
    "bent wishbone": lambda: random_problem(103, WISHBONES),
}


def some(problem: Problem, seed: int, count: int) -> tuple[Assembly, str, Ints]:
    """A build ready for a duty, and settings of it drawn at random."""
    rng = np.random.default_rng(seed)
    while True:
        duty = problem.duties[int(rng.integers(len(problem.duties)))]
        build = problem.space.build(int(rng.integers(problem.space.builds)))
        assembly = problem.assembly(build, duty)
        if assembly is not None:
            draws = [rng.integers(d.size, size=count) for d in assembly.dimensions]
            return assembly, duty, np.stack(draws, axis=1)


@pytest.mark.parametrize("name", PROBLEMS)
def test_the_verdict_is_what_the_table_says(name: str) -> None:
    """Each demand is judged once for both: a mix-up of two demands' figures would show here."""
    problem = PROBLEMS[name]()
    for seed in range(6):
        assembly, duty, positions = some(problem, seed, 1)
        wanted = problem.demands(assembly, duty)
        record = candidate(assembly, wanted, tuple(int(p) for p in positions[0]))
        table = record["measures"]
        failed = {entry["shortfall"] for entry in table.values() if entry["limit"] is False}
        assert record["feasible"] == (not failed)
        assert failed <= set(record["shortfalls"].values())
        # targets of this file that have an entry of their own give the merit by its definition
        targets = [d for d in wanted if not d.is_limit]
        if len({d.measure.name for d in targets}) == len(targets):
            misses = {n: entry["miss"] for n, entry in table.items() if entry["miss"] is not None}
            by_name = {n.split()[0]: miss for n, miss in misses.items()}
            squares = sum(d.weight * by_name[d.measure.name] ** 2 for d in targets)
            weight = sum(d.weight for d in targets) or 1.0
            assert record["merit"] == pytest.approx(sqrt(squares / weight), abs=1e-12)


def figures(scene: Scene) -> dict[str, Floats]:
    """Every measure that the scene's suspension has, (cases, n)."""
    return {
        name: measure(scene)
        for name, measure in MEASURES.items()
        if measure.kind is None or measure.kind == scene.left[k.KIND, 0]
    }


@pytest.mark.parametrize("name", PROBLEMS)
def test_a_lane_has_the_same_bits_alone_and_in_a_crowd(name: str) -> None:
    """Few lanes keep what is known of them and many do not; lanes may be taken before or after the stop."""
    problem = PROBLEMS[name]()
    assembly, duty, positions = some(problem, 1, FEW + 44)
    wanted = problem.demands(assembly, duty)
    crowd = stopped(assembly.scene(positions), wanted)
    lanes = np.array([0, 7, 150, FEW + 43])
    beside = figures(crowd)
    later = figures(crowd.take(lanes[::-1]).take(np.arange(4)[::-1]))
    early = assembly.scene(positions)
    figures(early)  # what was solved for the rack's own end must not be taken for the stop's
    early = stopped(early.take(lanes), wanted)
    few = figures(early)
    for measure, whole in beside.items():
        assert np.array_equal(whole[:, lanes], later[measure], equal_nan=True), measure
        assert np.array_equal(whole[:, lanes], few[measure], equal_nan=True), measure
        for number, lane in enumerate(lanes):
            alone = stopped(assembly.scene(positions[[lane]]), wanted)
            figure = MEASURES[measure](alone)
            assert np.array_equal(figure[:, 0], few[measure][:, number], equal_nan=True), measure

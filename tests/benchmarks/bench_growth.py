"""How the time until a catalogue is proven grows: with what survives the tests, not with its combinations.

    python -m tests.benchmarks.bench_growth [--workers 1] [--rows 8] [--seconds 120] [--quick]

The same car and the same goals throughout; from row to row the steps are made finer or parts are added, each
catalogue holding all of the one before. The search itself counts its lanes: *suspension* ones solved
straight ahead, places of the tie rod's ends *screened* under those that passed, lanes *solved* over travel
or further. A catalogue that takes longer than ``--seconds`` is broken off, and its row says how much was
covered. The most memory that a worker held is told too. Prints Markdown.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import time
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import islice

import numpy as np

from kinematics.states import warm_up
from optimiser.inner import sweep
from optimiser.problem import Problem
from tests.benchmarks.made import Made, Size, make

SMALLEST = Size(
    knuckles=3, arms=1, tops=1, mounts=1, rings=1, arm=3, top=3, rack=3, shims=3, washers=5
)
# What is made finer, or added, from one row to the next. Steps are halved, so that every position stays.
CHANGES: tuple[tuple[str, dict[str, int]], ...] = (
    ("coarse steps", {}),
    ("arm and top: half the step", {"arm": 5, "top": 5}),
    ("rack and washers: half the step", {"rack": 5, "washers": 9}),
    ("rack and washers: half again", {"rack": 9, "washers": 17}),
    ("arm and top: half again", {"arm": 9, "top": 9}),
    ("rack and washers: half again", {"rack": 17, "washers": 33}),
    ("rack and washers: half again", {"rack": 33, "washers": 65}),
    ("rack: half again", {"rack": 65}),
    ("rack: half again", {"rack": 129}),
    ("more parts", {"knuckles": 4, "arms": 2, "tops": 2, "mounts": 2, "rings": 2}),
)
CATALOGUE = Made("growth", 3, SMALLEST, 0.22)


@dataclass
class Count:
    """What searching some builds took: lanes, processor seconds, and how many combinations it covered."""

    builds: int = 0
    covered: int = 0
    suspension: int = 0
    screened: int = 0
    solved: int = 0
    serving: int = 0
    seconds: float = 0.0
    memory: float = 0.0

    def add(self, other: Count) -> None:
        """Add another's to these; of the memory the most counts."""
        memory = max(self.memory, other.memory)
        for name in vars(self):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.memory = memory


@lru_cache
def growth_problem(row: int) -> Problem:
    """The catalogue of a row, under the goals of the first."""
    size = SMALLEST
    for _, change in CHANGES[: row + 1]:
        size = replace(size, **change)
    return make(CATALOGUE, size)


def count(row: int, number: int) -> Count:
    """Search one build of a row's catalogue for every duty."""
    problem = growth_problem(row)
    began = time.process_time()
    build = problem.space.build(number)
    told = Count(builds=1, covered=problem.space.combinations(number), serving=1)
    for duty in problem.duties:
        assembly = problem.assembly(build, duty)
        assert assembly is not None
        wanted = problem.demands(assembly, duty)
        found = sweep(assembly, wanted, problem.goals.search.settings, problem.families)
        told.suspension += found.lanes.get("suspension", 0)
        told.screened += found.lanes.get("screened", 0)
        told.solved += found.lanes.get("travelled", 0) + found.lanes.get("steered", 0)
        told.serving = min(told.serving, int(found.best is not None))
    told.seconds = time.process_time() - began
    told.memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return told


def measure(row: int, workers: int, seconds: float) -> tuple[Count, float]:
    """Every build of a row's catalogue, or as many as the time allows; and seconds on the wall."""
    total = Count()
    # builds by chance, so that those of a catalogue broken off are like the rest
    order = np.random.default_rng(row).permutation(growth_problem(row).space.builds)
    left: Iterator[int] = iter(int(n) for n in order)
    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as pool:
        list(pool.map(_ready, [row] * workers))
        began = time.perf_counter()
        flying = {pool.submit(count, row, n) for n in islice(left, workers + 1)}
        while flying:
            done, flying = wait(flying, return_when=FIRST_COMPLETED)
            for future in done:
                total.add(future.result())
            if total.seconds < seconds * workers:
                flying |= {pool.submit(count, row, n) for n in islice(left, len(done))}
        return total, time.perf_counter() - began


def _ready(row: int) -> None:
    warm_up()
    growth_problem(row)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--rows", type=int, default=len(CHANGES))
    parser.add_argument("--seconds", type=float, default=120.0, help="processor time a worker")
    parser.add_argument("--quick", action="store_true", help="the first two rows")
    options = parser.parse_args()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
        os.environ[name] = "1"
    print(
        f"{options.workers} workers; processor seconds of all of them together, and on the wall.\n"
    )
    print("| changed | builds | combinations | suspension lanes | screened | lanes solved "
          "| processor s | wall s | combinations a processor s | MiB |")  # fmt: skip
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for row in range(2 if options.quick else options.rows):
        space = growth_problem(row).space
        told, wall = measure(row, options.workers, options.seconds)
        covered = f" ({100 * told.covered / space.all_combinations:.0f} % covered)"
        part = "" if told.builds == space.builds else covered
        print(
            f"| {CHANGES[row][0]} | {space.builds} | {space.all_combinations:.1e}{part} "
            f"| {told.suspension:.1e} | {told.screened:.1e} | {told.solved:.1e} "
            f"| {told.seconds:.1f} | {wall:.1f} | {told.covered / told.seconds:.1e} "
            f"| {told.memory:.0f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()

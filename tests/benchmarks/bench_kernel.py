"""States per second on one core: the kernel, its equations in numpy, and a general root finder.

    python -m tests.benchmarks.bench_kernel [--lanes 2016] [--repeats 7] [--json]

The three are timed in turn in every repeat, so that a busy machine slows all of them alike, and medians
are compared. The numpy form gets the chunk that serves it best. Full states are made: every row that the
kernel fills, points, directions, rates and toggle, with the same tolerance in the kernel and in numpy.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from statistics import median

import numpy as np

from kinematics import kernel
from kinematics import rows as k
from kinematics.arrays import Floats, Marks
from tests.benchmarks import numpy_form
from tests.cars import CARS, geometry
from tests.reference.test_kernel_rootfinder import Mechanism

# Nine states of the envelope: both ends and the middle of travel at both ends and the middle of the rack.
TRAVEL = np.tile([-60.0, 0.0, 60.0], 3)
RACK = np.repeat([-50.0, 0.0, 50.0], 3)


def lanes_of(count: int, seed: int = 1) -> Floats:
    """Geometry columns of ``count`` corners, each an invented car with its points moved up to 8 mm."""
    random = np.random.default_rng(seed)
    made = []
    for number in range(min(count, 700)):
        car = CARS[number % len(CARS)]
        moves = {name: tuple(random.uniform(-8.0, 8.0, 3)) for name in car.points}
        made.append(geometry(car.moved(**moves)))
    few = np.concatenate(made, axis=1)
    return np.ascontiguousarray(np.tile(few, (1, count // few.shape[1] + 1))[:, :count])


class Work:
    """One batch, and the three ways of solving it."""

    def __init__(self, lanes: int) -> None:
        self.geometry = lanes_of(lanes)
        self.rack = np.repeat(RACK[:, None], lanes, axis=1)
        self.states = np.zeros((k.STATE_ROWS, TRAVEL.size, lanes))
        self.marks: Marks = np.zeros((TRAVEL.size, lanes), dtype=np.int8)
        self.numpy_states = np.zeros_like(self.states)
        self.numpy_reached = np.zeros(self.marks.shape, dtype=bool)
        self.count = TRAVEL.size * lanes

    def kernel(self) -> int:
        kernel.solve_states(
            self.geometry, TRAVEL, self.rack, True, 0.0, False, self.states, self.marks
        )
        return self.count

    def numpy(self, chunk: int) -> int:
        with np.errstate(all="ignore"):
            numpy_form.solve(
                self.geometry, TRAVEL, self.rack, chunk, self.numpy_states, self.numpy_reached
            )
        return self.count

    def check(self) -> float:
        """Largest difference of the kernel's and numpy's figures over the reached states."""
        self.kernel()
        self.numpy(2016)
        assert (self.numpy_reached == (self.marks == k.REACHED)).all()
        apart = np.abs(self.numpy_states - self.states)
        return float(np.where(self.numpy_reached, apart, 0.0).max())


def root_finder() -> int:
    """One car from ride height to full bump in steps of 5 mm, each state from the one before it.

    Near neighbours are the easiest work that a general root finder can be given.
    """
    mechanism = Mechanism(CARS[0])
    found = np.zeros(7)
    travels = np.arange(5.0, 61.0, 5.0)
    for travel in travels:
        found = mechanism.solve(found, float(travel), 0.0)
        mechanism.read(found)
    return int(travels.size)


def rate(job: Callable[[], int], least_seconds: float) -> float:
    """States per second of a job, repeated until the clock can be trusted."""
    done, start = 0, time.perf_counter()
    while True:
        done += job()
        passed = time.perf_counter() - start
        if passed >= least_seconds:
            return done / passed


def best_chunk(work: Work, lanes: int) -> int:
    """The chunk at which numpy is quickest on this machine."""
    chunks = sorted({min(lanes, c) for c in (504, 1008, 2016, 4032, 8064, 16128)})
    return max(chunks, key=lambda chunk: rate(lambda: work.numpy(chunk), 0.2))


def measured(lanes: int, repeats: int) -> dict[str, float]:
    """Median rates and their ratios, all from one run."""
    work = Work(lanes)
    difference = work.check()
    chunk = best_chunk(work, lanes)
    jobs = {
        "kernel": work.kernel,
        "numpy": lambda: work.numpy(chunk),
        "root finder": root_finder,
    }
    rates: dict[str, list[float]] = {name: [] for name in jobs}
    for _ in range(repeats):
        for name, job in jobs.items():
            rates[name].append(rate(job, 0.15))
    middle = {name: median(values) for name, values in rates.items()}
    return {
        "lanes": lanes,
        "numpy chunk": chunk,
        **middle,
        "kernel / numpy": middle["kernel"] / middle["numpy"],
        "kernel / root finder": middle["kernel"] / middle["root finder"],
        "largest difference": difference,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lanes", type=int, nargs="+", default=[2016, 8064])
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    results = [measured(lanes, options.repeats) for lanes in options.lanes]
    if options.json:
        json.dump(results, sys.stdout, indent=1)
        return
    for result in results:
        print(f"{result['lanes']:.0f} lanes, {TRAVEL.size} states each, one core")
        print(f"  kernel       {result['kernel'] / 1e6:10.2f} million states a second")
        print(
            f"  numpy        {result['numpy'] / 1e6:10.2f} million "
            f"(best chunk {result['numpy chunk']:.0f} lanes): kernel {result['kernel / numpy']:.1f} times"
        )
        print(
            f"  root finder  {result['root finder']:10.0f} states a second: "
            f"kernel {result['kernel / root finder']:.0f} times"
        )
        print(f"  kernel and numpy agree to {result['largest difference']:.1e}")


if __name__ == "__main__":
    main()

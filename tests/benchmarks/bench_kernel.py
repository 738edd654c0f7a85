"""States per second on one core: the kernel beside the other ways of solving its equations.

    python -m tests.benchmarks.bench_kernel [--lanes 512 2016 8064] [--repeats 9] [--json]

Beside it stand plain C of the same passes (``ceiling.c``: vectorised, the same without relaxed arithmetic,
and unvectorised) where a C compiler is at hand, an ordinary compiled loop, well-vectorised numpy and a
general root finder. All are timed in turn in every repeat, so that a busy machine slows all of them alike,
by the processor time of the thread, and medians are compared. Full states are made: every row that the
kernel fills, with the same tolerance. The numpy form gets the chunk that serves it best; it and the ordinary
loop take plain Newton steps. ``held`` are states whose arm is held, which need no iteration.

Exit code 1 where a pass of the kernel is not in packed instructions, or where figures do not agree.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np

from kinematics import kernel
from kinematics import rows as k
from kinematics.arrays import Floats, Marks
from tests.benchmarks import numpy_form, scalar_form
from tests.benchmarks.c_form import BUILDS, Ceiling, compiler_at_hand
from tests.cars import CARS, geometry
from tests.reference.test_kernel_rootfinder import Mechanism

# Nine states of the envelope: both ends and the middle of travel at both ends and the middle of the rack.
TRAVEL = np.tile([-60.0, 0.0, 60.0], 3)
RACK = np.repeat([-50.0, 0.0, 50.0], 3)
# Rows in mm or without a unit, to which every way must agree in reached states. Rates are left out: within a
# degree of over-centre they have no bound, and a figure's last digit is their second.
APART = 2e-8
SURE_ROWS = np.setdiff1d(
    np.arange(k.STATE_ROWS), [k.CONTACT_RATE_Y, k.CONTACT_RATE_Z, k.CENTRE_RATE_Z]
)
# A vectorised pass has some single instructions left around its loop.
LEAST_PACKED_SHARE = 0.95


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


Solver = Callable[[Floats, Floats, Floats, bool, Floats, Marks], None]


def by_kernel(
    geometry: Floats, travel: Floats, rack: Floats, by_travel: bool, states: Floats, marks: Marks
) -> None:
    kernel.solve_states(geometry, travel, rack, by_travel, 0.0, False, states, marks)


class Work:
    """One batch, and the ways of solving it."""

    def __init__(self, lanes: int) -> None:
        self.geometry = lanes_of(lanes)
        self.rack = np.repeat(RACK[:, None], lanes, axis=1)
        self.states = np.zeros((k.STATE_ROWS, TRAVEL.size, lanes))
        self.marks: Marks = np.zeros((TRAVEL.size, lanes), dtype=np.int8)
        self.reached = np.zeros(self.marks.shape, dtype=bool)
        self.count = TRAVEL.size * lanes

    def solve(self, solver: Solver, by_travel: bool) -> int:
        solver(self.geometry, TRAVEL, self.rack, by_travel, self.states, self.marks)
        return self.count

    def numpy(self, chunk: int) -> int:
        with np.errstate(all="ignore"):
            numpy_form.solve(self.geometry, TRAVEL, self.rack, chunk, self.states, self.reached)
        return self.count

    def apart(self, solvers: dict[str, Solver]) -> dict[str, float]:
        """Largest difference of each way's figures from the kernel's, over the states reached by both."""
        found = {}
        for by_travel in (True, False):
            self.solve(by_kernel, by_travel)
            states, marks = self.states.copy(), self.marks.copy()
            for name, solver in solvers.items():
                self.solve(solver, by_travel)
                assert (self.marks == marks).all(), f"{name} marks other states"
                found[name] = max(found.get(name, 0.0), self._apart(states, marks))
            if by_travel:
                self.numpy(2016)
                assert (self.reached == (marks == k.REACHED)).all(), "numpy reaches other states"
                found["numpy"] = self._apart(states, marks)
        return found

    def _apart(self, states: Floats, marks: Marks) -> float:
        apart = np.abs(self.states - states)[SURE_ROWS]
        return float(np.where(marks == k.REACHED, apart, 0.0).max())


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
    done, start = 0, time.thread_time()
    while True:
        done += job()
        passed = time.thread_time() - start
        if passed >= least_seconds:
            return done / passed


def best_chunk(work: Work, lanes: int) -> int:
    """The chunk at which numpy is quickest on this machine."""
    chunks = sorted({min(lanes, c) for c in (504, 1008, 2016, 4032, 8064, 16128)})
    return max(chunks, key=lambda chunk: rate(lambda: work.numpy(chunk), 0.2))


def measured(lanes: int, repeats: int, ceilings: dict[str, Ceiling]) -> dict[str, object]:
    """Median rates of states by travel and with the arm held, all from one run."""
    work = Work(lanes)
    solvers: dict[str, Solver] = {name: ceiling.solve for name, ceiling in ceilings.items()}
    solvers["scalar loop"] = scalar_form.solve
    apart = work.apart(solvers)
    chunk = best_chunk(work, lanes)
    solvers = {"kernel": by_kernel, **solvers}
    jobs: dict[str, Callable[[], int]] = {}
    for name, solver in solvers.items():
        jobs[name] = lambda solver=solver: work.solve(solver, True)  # type: ignore[misc]
        jobs[f"{name}, held"] = lambda solver=solver: work.solve(solver, False)  # type: ignore[misc]
    jobs["numpy"] = lambda: work.numpy(chunk)
    jobs["root finder"] = root_finder
    rates: dict[str, list[float]] = {name: [] for name in jobs}
    for _ in range(repeats):
        for name, job in jobs.items():
            rates[name].append(rate(job, 0.1))
    return {
        "lanes": lanes,
        "numpy chunk": chunk,
        "states a second": {name: median(values) for name, values in rates.items()},
        "largest difference": apart,
    }


def machine_code() -> dict[str, tuple[int, int]]:
    """Packed and single arithmetic instructions of each pass of the kernel, freshly compiled."""
    with tempfile.TemporaryDirectory() as folder:
        told = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.machine_code"],
            env={**os.environ, "NUMBA_CACHE_DIR": folder},
            check=True, capture_output=True, text=True, timeout=600,
        )  # fmt: skip
    return {name: (packed, single) for name, (packed, single) in json.loads(told.stdout).items()}


def unpacked(passes: dict[str, tuple[int, int]]) -> list[str]:
    """Passes that are not vectorised."""
    return [
        name
        for name, (packed, single) in passes.items()
        if packed < LEAST_PACKED_SHARE * (packed + single) or packed == 0
    ]


def show(result: dict) -> None:  # type: ignore[type-arg]
    rates = result["states a second"]
    print(f"{result['lanes']} lanes, {TRAVEL.size} states each, one core")
    for name, value in rates.items():
        base = rates["kernel, held" if name.endswith("held") else "kernel"]
        apart = result["largest difference"].get(name)
        agree = f", agrees to {apart:.0e}" if apart is not None else ""
        print(f"  {name:18} {value / 1e6:10.4f} million; kernel {base / value:8.2f} times{agree}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lanes", type=int, nargs="+", default=[512, 2016, 8064])
    parser.add_argument("--repeats", type=int, default=9)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    passes = machine_code()
    with tempfile.TemporaryDirectory() as folder:
        ceilings = (
            {name: Ceiling(name, Path(folder)) for name in BUILDS} if compiler_at_hand() else {}
        )
        results = [measured(lanes, options.repeats, ceilings) for lanes in options.lanes]
    if options.json:
        json.dump({"passes": passes, "results": results}, sys.stdout, indent=1)
    else:
        if not ceilings:
            print("no C compiler (cc) at hand: the ceiling is left out")
        for result in results:
            show(result)
        for name, (packed, single) in passes.items():
            print(f"  pass {name}: {packed} packed arithmetic instructions, {single} single")
    far = [r for r in results if max(r["largest difference"].values()) > APART]  # type: ignore[attr-defined]
    for name in unpacked(passes):
        print(f"{name} is not in packed instructions", file=sys.stderr)
    if far:
        print("figures do not agree", file=sys.stderr)
    sys.exit(1 if far or unpacked(passes) else 0)


if __name__ == "__main__":
    main()

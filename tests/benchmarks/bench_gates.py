"""What the gates cost: builds searched with every gate that the example declares, and with none.

    python -m tests.benchmarks.bench_gates [BUILDS]

The same builds are searched
both ways in turn in one process, so that what else runs on the machine touches both alike.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

import goals.examples
from goals.car import Car
from goals.document import read_document
from goals.duties import GoalsFile
from goals.parts import Parts
from goals.section import Section
from optimiser.builds import search_build
from optimiser.problem import Problem

EXAMPLES = Path(goals.examples.__file__).parent
# Sections of the car file and entries of a part that only gates need.
CAR_GATES = (
    "joints", "obstacles", "hub", "brake", "strut", "top_mount_outline", "arch",
)  # fmt: skip
PART_GATES = ("strength", "joints", "obstacles")
# Limits that the goals put on what those sections tell.
LIMIT_GATES = (
    "tyre_clearance",
    "rod_clearance",
    "strut_stroke_left",
    "link_angle",
    "toggle_margin",
)
ROUNDS = 3


def read(name: str) -> dict:  # type: ignore[type-arg]
    """One of the example's files as plain data."""
    data = Section(read_document(name, (EXAMPLES / name).read_bytes())).data
    assert isinstance(data, dict)
    return data


def problem(gated: bool) -> Problem:
    """The shipped example, with its gates or without."""
    car, parts, asked = read("car.yaml"), read("parts.yaml"), read("goals.yaml")
    if not gated:
        for section in CAR_GATES:
            car.pop(section, None)
        # a bar whose points are not told has no linkage to judge
        for point in ("pivot", "end", "link", "link_on"):
            car["antiroll_bar"].pop(point)
        car["antiroll_bar"] |= {"arm": 136, "motion_ratio": 0.25}
        for station in parts["stations"].values():
            for part in station:
                for entry in PART_GATES:
                    part.pop(entry, None)
        for duty in asked["duties"].values():
            for kind in ("limits", "targets"):
                for name in LIMIT_GATES:
                    duty.get(kind, {}).pop(name, None)
    return Problem(
        GoalsFile.model_validate(asked), Car.model_validate(car), Parts.model_validate(parts)
    )


def timed(case: Problem, numbers: list[int]) -> float:
    """Seconds to search the builds."""
    start = time.perf_counter()
    for number in numbers:
        search_build(case, number)
    return time.perf_counter() - start


def main() -> None:
    """Print the rate with and without gates, and their ratio."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    with_gates, without = problem(True), problem(False)
    rng = np.random.default_rng(1)
    numbers = sorted(int(n) for n in rng.choice(with_gates.space.builds, size=count, replace=False))
    for case in (with_gates, without):
        search_build(case, numbers[0])
    print(f"{count} builds of the example, {ROUNDS} rounds each way, one core")
    ratios = []
    for _ in range(ROUNDS):
        plain, gated = timed(without, numbers), timed(with_gates, numbers)
        ratios.append(plain / gated)
        print(
            f"  without gates {count / plain:6.2f} builds/s   with every gate {count / gated:6.2f} "
            f"builds/s   keeps {100 * plain / gated:.0f} %"
        )
    print(f"median kept: {100 * float(np.median(ratios)):.0f} % of the rate without gates")


if __name__ == "__main__":
    main()

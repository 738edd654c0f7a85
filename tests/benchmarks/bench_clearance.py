"""Speed of the tyre's gaps over the whole envelope, beside the time to solve its states.

    python -m tests.benchmarks.bench_clearance [LANES]

One core, processor time. Ten obstacles as a thorough car file has them, and the
same without the arch, which alone is some thirty straight pieces.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np

from kinematics.measures.clearance import gaps, rod_gaps
from kinematics.measures.envelope import envelope
from kinematics.states import solve
from tests.cars import CARS
from tests.reference.test_clearance import problem, scene_of

ROUNDS = 7
OBSTACLES = [
    {"name": "strut", "on": "strut", "shape": "capsule", "radius": 24,
     "ends": [[-15, 570, 420], [-40, 510, 800]]},
    {"name": "arm", "on": "arm", "shape": "chain", "radius": 14,
     "points": ["arm_rear", [-60, 540, 190], "ball_joint"]},
    {"name": "rod", "on": "tie_rod", "shape": "capsule", "radius": 9,
     "ends": ["tie_rod_inner", "tie_rod_outer"]},
    {"name": "rail", "on": "body", "shape": "box", "low": [-450, 300, 250], "high": [400, 380, 420]},
    {"name": "fender", "on": "body", "shape": "plane", "point": [0, 430, 600], "normal": [0, 1, -0.1]},
    {"name": "bar", "on": "body", "shape": "capsule", "radius": 12,
     "ends": [[260, 0, 230], [230, 420, 230]]},
    {"name": "sill", "on": "body", "shape": "capsule", "radius": 20,
     "ends": [[-480, 500, 180], [-480, 820, 180]]},
    {"name": "link", "on": "arm", "shape": "capsule", "radius": 8,
     "ends": [[60, 560, 200], [80, 540, 330]]},
    {"name": "caliper", "on": "knuckle", "shape": "ball", "point": [90, 680, 340], "radius": 40},
    {"name": "arch", "on": "body", "shape": "arch", "radius": 6,
     "points": [[-390, 840, 288], [0, 840, 680], [390, 840, 288]]},
]  # fmt: skip


def least_time(work: Callable[[], object]) -> float:
    """Least processor seconds of some rounds."""
    times = []
    for _ in range(ROUNDS):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def main() -> None:
    """Print microseconds a lane and nanoseconds a state."""
    lanes = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print(f"{lanes} lanes, whole envelope, one core, least of {ROUNDS}")
    for what, obstacles in (("ten obstacles", OBSTACLES), ("without the arch", OBSTACLES[:-1])):
        scene = scene_of(problem(CARS[0], obstacles, barrel=190)).take(
            np.zeros(lanes, dtype=np.int64)
        )
        places = envelope(scene)
        scene.states("left", places)
        travel = np.array([at.travel for at in places])
        rack = np.stack([scene.rack_at(at) for at in places])
        works: dict[str, Callable[[], object]] = {
            "solving the states": lambda s=scene, t=travel, r=rack: solve(s.left, t, r),
            "tyre gaps": lambda s=scene, p=places: gaps(s, "left", p),
            "rod gaps": lambda s=scene, p=places: rod_gaps(s, "left", p),
        }
        print(f"{what}: {len(places)} states, least gap {gaps(scene, 'left', places).min():.1f} mm")
        for name, work in works.items():
            seconds = least_time(work)
            each = seconds / lanes / len(places)
            print(
                f"  {name:20s} {1e6 * seconds / lanes:7.1f} us a lane {1e9 * each:7.0f} ns a state "
                f"{1e-6 / each:6.2f} million states/s"
            )


if __name__ == "__main__":
    main()

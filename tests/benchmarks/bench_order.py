"""Which build next: orders of searching against each other, by what they find per second of one core.

    python -m tests.benchmarks.bench_order record FOLDER [--only NAME ...]
    python -m tests.benchmarks.bench_order replay FOLDER [--only NAME ...] [--seeds 5]

``record`` searches every build of a catalogue once with the real search and looks at each once with the real
look; what each came to and cost in processor time is kept in FOLDER, a JSON file a catalogue. ``replay`` then
plays any order of searching against these costs in no time: a build that an order asks for costs what it
cost, a look what it cost, and so does the proposer's own thinking, measured as it happens.

Prints, for each catalogue and moment, the best merit found and how many builds that serve every duty were
found, medians over the seeds.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from statistics import median

import numpy as np

from kinematics.states import warm_up
from optimiser.builds import search_build
from optimiser.looks import scout
from optimiser.problem import Problem
from optimiser.promising import Promising
from optimiser.proposer import Led, Proposer
from optimiser.ranking import Row, merit
from tests.benchmarks import made
from tests.search.orders import InOrder

EXAMPLE = "example"
# Many builds of few settings each: more than can be looked at one by one before the first is searched.
MANY = made.Made("many", 2, made.Size(7, 4, 4, 4, 3, 3, 4, 4, 3, 7), 0.45)
CATALOGUES = {one.name: one for one in (*made.CATALOGUES, MANY)}
NAMES = (EXAMPLE, *CATALOGUES)
MOMENTS = (1, 2, 4, 8, 16, 32, 64, 128)


@lru_cache
def problem_of(name: str) -> Problem:
    """A catalogue by its name."""
    return made.shipped() if name == EXAMPLE else made.make(CATALOGUES[name])


def _slim(row: Row) -> Row:
    """What a proposer may learn from, without the figures."""
    kept = ("feasible", "merit", "shortfalls")
    duties = {n: {key: d[key] for key in kept} for n, d in row["duties"].items()}
    return {"build": row["build"], "duties": duties}


def record(name: str, path: Path) -> None:
    """Search and look at every build of a catalogue; keep what each came to and cost."""
    problem = problem_of(name)
    warm_up()
    search_build(problem, 0)
    found = []
    for number in range(problem.space.builds):
        began = time.process_time()
        look = scout(problem, number)
        looked = time.process_time()
        row = search_build(problem, number)
        ended = time.process_time()
        entry = {"look": look, "look_cost": looked - began, "cost": ended - looked}
        found.append({**entry, "row": _slim(row)})
    path.write_text(json.dumps(found))
    total = sum(entry["cost"] for entry in found)
    serving = sum(merit(entry["row"]) is not None for entry in found)
    print(f"{name}: {len(found)} builds in {total:.0f} s, {serving} serve every duty", flush=True)


# -- replaying -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Recorded:
    """A catalogue as recorded: what each build looks like, came to and cost in seconds."""

    problem: Problem
    looks: list[float]
    look_costs: list[float]
    costs: list[float]
    rows: list[Row]

    @classmethod
    def load(cls, name: str, path: Path) -> Recorded:
        """Read what ``record`` wrote."""
        entries = json.loads(path.read_text())
        kinds = ("look", "look_cost", "cost", "row")
        return cls(problem_of(name), *([entry[kind] for entry in entries] for kind in kinds))


class Meter:
    """Seconds spent in an order's thinking, looking and searching."""

    def __init__(self, recorded: Recorded) -> None:
        self.recorded = recorded
        self.seconds = 0.0

    def look(self, _problem: Problem, number: int) -> float:
        """A look, at its recorded cost."""
        self.seconds += self.recorded.look_costs[number]
        return self.recorded.looks[number]


def _with_seed(problem: Problem, seed: int) -> Problem:
    search = problem.goals.search.model_copy(update={"seed": seed})
    return Problem(problem.goals.model_copy(update={"search": search}), problem.car, problem.parts)


def _all_looked_at(meter: Meter, problem: Problem, _seed: int) -> Proposer:
    numbers = range(problem.space.builds)
    return InOrder(sorted(numbers, key=lambda n: (meter.look(problem, n), n)))


def _by_chance(_meter: Meter, problem: Problem, seed: int) -> Proposer:
    order = np.random.default_rng(seed).permutation(problem.space.builds)
    return InOrder([int(n) for n in order])


def _promising(meter: Meter, problem: Problem, _seed: int) -> Proposer:
    return Promising(problem, look=meter.look)


def _led(meter: Meter, problem: Problem, _seed: int) -> Proposer:
    return Led(problem, look=meter.look)


ORDERS: dict[str, Callable[[Meter, Problem, int], Proposer]] = {
    "all looked at first": _all_looked_at,
    "by chance": _by_chance,
    "promising first": _promising,
    "led by Optuna": _led,
}
# What an order came to at each moment: best merit and builds that serve every duty.
Course = list[tuple[float, int]]


def course(recorded: Recorded, order: str, seed: int) -> Course:
    """Play an order to the last moment, or to its end."""
    meter = Meter(recorded)
    problem = _with_seed(recorded.problem, seed)
    _ = problem.space.builds
    best, serving, reached = float("inf"), 0, []
    waiting = list(MOMENTS)
    began = time.process_time()
    proposer = ORDERS[order](meter, problem, seed)
    while waiting:
        number = proposer.next()
        meter.seconds += time.process_time() - began
        meter.seconds += 0.0 if number is None else recorded.costs[number]
        while waiting and (number is None or meter.seconds > waiting[0]):
            reached.append((best, serving))
            waiting.pop(0)
        if number is None:
            break
        began = time.process_time()
        row = recorded.rows[number]
        proposer.tell(row)
        value = merit(row)
        if value is not None:
            best, serving = min(best, value), serving + 1
    return reached


def _cell(goes: list[tuple[float, int]]) -> str:
    best = median(go[0] for go in goes)
    told = "none" if best == float("inf") else f"{best:.3f}"
    return f"{told}, {median(go[1] for go in goes):.0f}"


def replay(name: str, path: Path, seeds: int) -> None:
    """Print what each order finds by when."""
    recorded = Recorded.load(name, path)
    found = [value for row in recorded.rows if (value := merit(row)) is not None]
    print(
        f"\n**{name}**: {len(recorded.rows)} builds, {sum(recorded.costs):.0f} s to search them all, "
        f"{sum(recorded.look_costs):.1f} s to look at them all; {len(found)} serve every duty, the best "
        f"merit is {min(found, default=float('nan')):.3f}\n"
    )
    print("| order | " + " | ".join(f"{m} s" for m in MOMENTS) + " |")
    print("| --- " * (len(MOMENTS) + 1) + "|")
    for order in ORDERS:
        courses = [course(recorded, order, seed) for seed in range(1, seeds + 1)]
        cells = [_cell(list(goes)) for goes in zip(*courses, strict=True)]
        print(f"| {order} | " + " | ".join(cells) + " |", flush=True)


def main() -> None:
    """Record or replay."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("what", choices=["record", "replay"])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", nargs="+", choices=NAMES, default=NAMES)
    parser.add_argument("--seeds", type=int, default=5)
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    for name in options.only:
        path = options.folder / f"{name}.json"
        if options.what == "record":
            record(name, path)
        else:
            replay(name, path, options.seeds)


if __name__ == "__main__":
    main()

"""Whether the search's benchmark still does what it says, in seconds and without pytest.

    python -m tests.benchmarks.check_search

The flat problem must judge candidates as the project's own verdict does, one by one; what the general-purpose
optimisers find must never be better than what is proven best; and every method must run. Exit code 1 where
one of these fails.
"""

from __future__ import annotations

import sys

import numpy as np

from kinematics.arrays import Ints
from kinematics.states import warm_up
from optimiser.evaluate import stopped, verdict_of
from optimiser.problem import Problem
from tests.benchmarks import own
from tests.benchmarks.flat import Flat
from tests.benchmarks.made import Made, Size, make, shipped
from tests.benchmarks.rivals import RIVALS, Budget

SMALL = Made("small", 0, Size(1, 1, 1, 1, 1, 3, 3, 3, 2, 5), 1.5)
DRAWN, LOOKED_AT = 3000, 15
SECONDS = 1.5
SAME = 1e-6  # merits are rounded to 1e-9, and geometry is summed in another order


def verdicts(flat: Flat, candidate: Ints) -> list[tuple[bool, float]]:
    """Whether each duty's limits hold and its merit, by an assembly of the candidate alone."""
    problem, found = flat.problem, []
    at = len(flat.options)
    build = problem.space.build(flat.numbers[tuple(int(p) for p in candidate[:at])])
    for duty in flat.duties:
        variables = flat.variables[duty]
        stands = {v.name: int(candidate[at + i]) for i, v in enumerate(variables)}
        at += len(variables)
        assembly = problem.assembly(build, duty)
        assert assembly is not None
        names = [f"{duty}.{d.station.value}.{d.part}.{d.name}" for d in assembly.dimensions]
        positions = np.array([[stands.get(name, 0) for name in names]])
        wanted = problem.demands(assembly, duty)
        record = verdict_of(stopped(assembly.scene(positions), wanted), wanted)
        found.append((record["feasible"], record["merit"]))
    return found


def judged_alike(problem: Problem) -> int:
    """Candidates that the flat problem judges otherwise than the project: none, if all is well."""
    flat = Flat(problem)
    rng = np.random.default_rng(1)
    drawn = np.stack([rng.integers(0, size, DRAWN) for size in flat.sizes], axis=1)
    _, violation = flat.judge(drawn)
    holding = np.flatnonzero((violation == 0.0).any(axis=0))[:LOOKED_AT]
    looked_at = drawn[np.concatenate([holding, np.arange(LOOKED_AT)])]
    return sum(_otherwise(problem, candidate) for candidate in looked_at)


def _otherwise(problem: Problem, candidate: Ints) -> bool:
    flat = Flat(problem)
    _, violation = flat.judge(candidate[None, :])
    number = flat.numbers[tuple(int(p) for p in candidate[: len(flat.options)])]
    for d, (duty, (holds, merit)) in enumerate(
        zip(flat.duties, verdicts(flat, candidate), strict=True)
    ):
        if holds != bool(violation[d, 0] == 0.0):
            return True
        if holds and abs(flat.archive.merits[number, duty] - merit) > SAME:
            return True
    return False


def better_than_proven(problem: Problem) -> list[str]:
    """Methods that claim a build, or a merit of one, that the proven search has not."""
    found = own.search(problem, Budget(600.0), 1)
    assert found.proven and found.merits
    print(f"  proven: {len(found.merits)} builds, best {min(found.merits.values()):.4f}")
    wrong = []
    for method, rival in RIVALS.items():
        flat = Flat(problem)
        rival(flat, Budget(SECONDS), 1)
        claimed = flat.archive.builds()
        least = min(claimed.values(), default=float("nan"))
        print(f"  {method}: {flat.archive.judged} judged, {len(claimed)} builds, best {least:.4f}")
        over = [n for n, m in claimed.items() if m < found.merits.get(n, float("inf")) - SAME]
        if over or flat.archive.judged == 0:
            wrong.append(method)
    return wrong


def main() -> int:
    """Check, print, and say whether all is well."""
    warm_up()
    faults = 0
    for name, problem in [("example", shipped()), ("small", make(SMALL))]:
        otherwise = judged_alike(problem)
        print(f"{name}: {otherwise} candidates judged otherwise than by the project")
        faults += otherwise
    print("small, against what is proven:")
    wrong = better_than_proven(make(SMALL))
    faults += len(wrong)
    print("all is well" if not faults else f"wrong: {wrong or 'verdicts'}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())

"""Which sets of limits can be held, by judging every setting of every build: the slow twin of the oracle."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from goals.duties import GoalsFile, Limit
from goals.parts import Parts
from goals.verdicts import holds, label_of
from kinematics.arrays import Bools, Floats
from kinematics.measures import MEASURES, Ask
from kinematics.stops import stopped
from optimiser.problem import Problem

Labels = frozenset[str]


def with_limits(problem: Problem, duty: str, limits: dict[str, Limit | list[Limit]]) -> Problem:
    """The same problem with other limits in one duty."""
    changed = problem.goals.duties[duty].model_copy(update={"limits": limits})
    duties = {**problem.goals.duties, duty: changed}
    return Problem(problem.goals.model_copy(update={"duties": duties}), problem.car, problem.parts)


def with_parts(problem: Problem, parts: Parts) -> Problem:
    """The same problem with another box."""
    return Problem(problem.goals, problem.car, parts)


def only_duty(problem: Problem, duty: str) -> GoalsFile:
    """Goals of one duty alone."""
    return problem.goals.model_copy(update={"duties": {duty: problem.goals.duties[duty]}})


def subsets(labels: Labels) -> list[Labels]:
    """Every subset, smallest first."""
    names = sorted(labels)
    return [frozenset(some) for n in range(len(names) + 1) for some in combinations(names, n)]


@dataclass
class Plain:
    """Of one duty: for each build, and each set of the limits that decide the stop, what every setting holds.

    ``held[build][limits that decide]`` is (settings, labels) and whether the gates hold (settings,).
    """

    labels: tuple[str, ...]
    held: list[dict[Labels, tuple[Bools, Bools]]]

    def of_build(self, build: int, asked: Labels) -> bool:
        """Whether a build has a setting that holds what is asked and the gates."""
        table = self.held[build]
        if not table:
            return False
        deciding = frozenset(label for label in asked if decides(label))
        kept, gates = table[deciding]
        columns = [self.labels.index(label) for label in sorted(asked)]
        return bool((kept[:, columns].all(axis=1) & gates).any())

    def any_build(self, asked: Labels) -> bool:
        """The same of any build."""
        return any(self.of_build(build, asked) for build in range(len(self.held)))


def decides(label: str) -> bool:
    """Whether a limit has a say in the stop."""
    return MEASURES[label.split(" ")[0]].state is not None


def plain_of(problem: Problem, duty: str) -> Plain:
    """Judge everything; limits are one a measure."""
    limits = problem.goals.duties[duty].limits
    labels = tuple(sorted(label_of(n, one) for n, one in limits.items() if isinstance(one, Limit)))
    deciding = frozenset(label for label in labels if decides(label))
    held = []
    for number in range(problem.space.builds):
        table: dict[Labels, tuple[Bools, Bools]] = {}
        for some in subsets(deciding):
            names = {label.split(" ")[0] for label in {*labels} - deciding | some}
            kept = {n: each for n, each in limits.items() if n in names}
            changed = with_limits(problem, duty, kept)
            assembly = changed.assembly(changed.space.build(number), duty)
            if assembly is None:
                break
            wanted = [d for d in changed.demands(assembly, duty) if d.is_limit]
            every = list(product(*(range(d.size) for d in assembly.dimensions)))
            scene = assembly.scene(np.array(every, dtype=np.int64).reshape(len(every), -1))
            scene = stopped(scene, holds(wanted))
            good = {d.label: d.shortfall(d.figures(scene)) <= 0.0 for d in wanted}
            columns = [good.get(label, np.zeros(len(every), dtype=bool)) for label in labels]
            gates = np.ones(len(every), dtype=bool)
            for label, holds_it in good.items():
                if label not in labels:
                    gates &= holds_it
            table[some] = np.stack(columns, axis=1), gates
        held.append(table)
    return Plain(labels, held)


TIGHTENED = ("camber", "caster", "roll_centre_height", "lock_inner", "toggle_margin", "track_width")


def tight_problem(problem: Problem, duty: str, seed: int) -> Problem:
    """The same problem with limits that some settings each hold: at a quantile of what all settings do."""
    rng = np.random.default_rng((seed, 11))
    bare = with_limits(problem, duty, {})
    figures: dict[str, list[Floats]] = {name: [] for name in TIGHTENED}
    for number in range(bare.space.builds):
        assembly = bare.assembly(bare.space.build(number), duty)
        if assembly is None:
            continue
        every = list(product(*(range(d.size) for d in assembly.dimensions)))
        scene = assembly.scene(np.array(every, dtype=np.int64).reshape(len(every), -1))
        scene = stopped(scene, holds(bare.demands(assembly, duty)))
        for name in TIGHTENED:
            figures[name].append(MEASURES[name](scene, Ask()).min(axis=0))
    limits: dict[str, Limit | list[Limit]] = {}
    for name in sorted(rng.choice(TIGHTENED, 4, replace=False)):
        values = np.concatenate(figures[name])
        values = values[np.isfinite(values)]
        share = float(rng.uniform(0.05, 0.35))
        if name in ("lock_inner", "toggle_margin") or rng.random() < 0.5:
            limits[name] = Limit(min=round(float(np.quantile(values, 1 - share)), 3))
        else:
            limits[name] = Limit(max=round(float(np.quantile(values, share)), 3))
    return with_limits(problem, duty, limits)

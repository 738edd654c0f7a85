"""The car as it stands against the goals: as measured, and today's parts in each duty."""

from __future__ import annotations

import numpy as np

from goals.duties import LoweringRange
from kinematics.arrays import Ints
from kinematics.scene import DutyFrame
from optimiser.as_built import as_built
from optimiser.assembly import Assembly, as_measured, overtravel
from optimiser.errors import Drawn
from optimiser.evaluate import Record, curves_of, measures_of, solved_of, stopped, verdict_of
from optimiser.model_check import model_check
from optimiser.problem import Problem
from optimiser.space import Dimension
from optimiser.yields import Figures, bands_of


def check_document(problem: Problem) -> Record:
    """What ``check --json`` prints.

    ``as_measured`` is the car as its file gives it; a duty's figures are the same car with today's parts,
    lowered by that duty's ``lowered_by`` (the least of its range) and its toe reset.
    """
    frame = DutyFrame(overtravel=overtravel(problem.goals, problem.car))
    gates = problem.gates_as_measured()
    scene = stopped(as_measured(problem.car, frame), gates)
    space = problem.space
    return {
        "car": problem.car.name,
        "space": {"builds": space.builds, "combinations": space.all_combinations},
        "as_measured": {"measures": measures_of(scene, []), "curves": curves_of(scene)},
        "duties": {duty: _today(problem, duty) for duty in problem.duties},
        "model_check": model_check(problem.goals, problem.car, problem.readings),
    }


def _today(problem: Problem, duty: str) -> Record:
    assembly, positions = todays_parts(problem, duty)
    wanted = problem.demands(assembly, duty)
    scene = stopped(assembly.scene(positions), wanted)
    record = verdict_of(scene, wanted)
    record["solved"] = solved_of(assembly, scene, wanted, tuple(int(p) for p in positions[0]))
    record["measures"] = measures_of(scene, wanted)
    record["curves"] = curves_of(scene)
    record["bands"] = _bands(problem, duty)
    return record


def _bands(problem: Problem, duty: str) -> Record:
    """What each figure of today's car may really be, for its measuring errors: 5 and 95 percent, by key.

    Everything that is set, toe and ride height with it, is taken as it should be.
    """
    assembly, positions = todays_parts(problem, duty)
    wanted = problem.demands(assembly, duty)
    drawn = Drawn(problem.errors, duty, measured_only=True)
    scene = as_built(assembly, tuple(int(p) for p in positions[0]), drawn)
    return bands_of(Figures(stopped(scene, wanted)), wanted)


def todays_parts(problem: Problem, duty: str) -> tuple[Assembly, Ints]:
    """Today's parts with everything set as it stands, lowered by what the duty says."""
    build = problem.space.today()
    lowering = problem.goals.duties[duty].lowered_by
    wanted = lowering.min if isinstance(lowering, LoweringRange) else lowering
    dims = tuple(d for d in build.dimensions if "lowered_by" not in d.effects)
    fixed = problem.assembly_of(build, duty, (), 0.0).channels("left", _none())["lowered_by"][0]
    assembly = problem.assembly_of(build, duty, dims, wanted - float(fixed))
    return assembly, np.array([[as_set_today(d) for d in dims]], dtype=np.int64).reshape(1, -1)


def as_set_today(dim: Dimension) -> int:
    """Where a part on the car stands as measured: at zero; a choice at its first position."""
    if dim.kind == "choice":
        return 0
    return int(np.abs(np.array([float(v) for v in dim.values])).argmin())


def _none() -> Ints:
    return np.zeros((1, 0), dtype=np.int64)

"""A set-down from a run's candidate and a readings file to the document that ``setdown --json`` prints."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from goals.faults import nearest, one_of
from goals.reading import car_section, load_readings
from goals.readings import Readings
from optimiser.bench import DutyBench
from optimiser.correction import document_of, groups
from optimiser.evaluate import number
from optimiser.names import RunError
from optimiser.problem import Problem
from optimiser.ranking import Row
from optimiser.runs import Run
from optimiser.setdown import SetDown

Record = dict[str, Any]


def set_down(
    run: Run, problem: Problem, row: Row, place: int, readings: Path, duty: str | None
) -> Record:
    """Hold readings of a candidate on its set-down against the model.

    Args:
        run, problem: the run and its inputs.
        row, place: the candidate, and its place in the ranking.
        readings: the readings file.
        duty: which duty the car was set to; the readings file or the goals say where left out.

    Raises ``InputError`` where the readings cannot be used and ``RunError`` where the duty is not known or
    the build has no setting for it.
    """
    read, _ = load_readings(readings, car_section(problem.car))
    name = _duty(problem, read, duty)
    bench = DutyBench.of(problem, problem.space.build(row["build"]), name, row["duties"][name])
    if bench.scene is None:
        raise RunError(f"candidate {place} has no setting for the duty '{name}'")
    down = SetDown.of(bench, read)
    told = [
        {
            "reading": r.words,
            "kind": r.kind,
            "wheel": r.side,
            "unit": r.unit,
            "value": r.value,
            "expected": number(down.expected[at]),
            "difference": number(down.difference[at]),
            "bound": float(down.bound[at]),
            "passes": down.passes[at],
        }
        for at, r in enumerate(down.every)
    ]
    return {
        "run": run.name,
        "rank": place,
        "number": row["build"],
        "car": problem.car.name,
        "duty": name,
        "feasible": bool(row["duties"][name]["feasible"]),
        "lowered_by": bench.record["solved"]["lowered_by"] + down.offset,
        "passes": all(down.passes),
        "look_again": sum(not ok for ok in down.passes),
        "factor": down.factor,
        "readings": told,
        "groups": [document_of(group, down) for group in groups(down)],
        "model_check": run.model_check,
    }


def _duty(problem: Problem, readings: Readings, asked: str | None) -> str:
    """The duty that the car was set to."""
    name = asked or readings.duty
    if name is None and len(problem.duties) == 1:
        return problem.duties[0]
    if name is None:
        raise RunError(
            f"which duty was the car set to? Write 'duty:' in the readings, or --duty: "
            f"{one_of(problem.duties)}"
        )
    if name not in problem.duties:
        close = nearest(name, problem.duties)
        meant = f"; perhaps you meant '{close}'" if close else ""
        raise RunError(f"no duty '{name}' in the goals: {one_of(problem.duties)}{meant}")
    return name

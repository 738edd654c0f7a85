"""One build searched for every duty: the row that the ledger keeps of it.

A pure function of the inputs and the build's number: no files, no clock, no state shared between builds.
"""

from __future__ import annotations

from typing import Any

from optimiser.evaluate import candidate
from optimiser.inner import sweep
from optimiser.problem import Problem
from optimiser.refine import as_refined, refine, refined_record

Row = dict[str, Any]


def search_build(problem: Problem, number: int) -> Row:
    """Search one build for every duty.

    Returns a row with the build's parts and price and, for each duty, the best setting with all its
    figures, refined below the grid step where adjusters can be set finer; or, where nothing holds every
    limit, the setting that came nearest and what it lacks.
    """
    build = problem.space.build(number)
    row: Row = {
        "build": number,
        "parts": build.name,
        "price": build.price,
        "to_buy": [part.id for part in build.to_buy],
        "duties": {},
    }
    for duty in problem.duties:
        row["duties"][duty] = _search_duty(problem, number, duty)
    return row


def _search_duty(problem: Problem, number: int, duty: str) -> Row:
    build = problem.space.build(number)
    assembly = problem.assembly(build, duty)
    if assembly is None:
        return {
            "feasible": False,
            "merit": None,
            "shortfalls": {},
            "reason": "the build cannot give this duty's ride height",
            "settings_swept": 0,
        }
    wanted = problem.demands(assembly, duty)
    found = sweep(assembly, wanted, problem.goals.search.settings, problem.families)
    positions = found.best if found.best is not None else found.nearest
    result: Row = {"settings_swept": found.settings, "refused_by": found.refused_by}
    if found.kept:
        result["kept"] = [[merit, list(at)] for merit, at in found.kept]
    if found.ruled_out is not None:
        result["ruled_out"] = found.ruled_out
    if positions is None:
        return {
            "feasible": False,
            "merit": None,
            "shortfalls": {},
            "reason": "no setting stands at this duty's ride height",
            **result,
        }
    result["positions"] = list(positions)
    merit = found.merit
    better = None if merit is None else refine(assembly, wanted, positions, merit)
    if better is not None and merit is not None:
        result["refined"] = refined_record(assembly, positions, merit, better)
        assembly, positions = as_refined(assembly, positions, better.settings)
        merit = better.merit
    result.update(candidate(assembly, wanted, positions))
    if merit is not None:
        result["merit"] = merit
    return result

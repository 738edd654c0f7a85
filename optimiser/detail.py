"""One candidate in full: its document with curves, and its bench sheets in the run folder."""

from __future__ import annotations

from typing import Any

from optimiser.evaluate import candidate as judged
from optimiser.problem import Problem
from optimiser.ranking import Row
from optimiser.refine import as_set
from optimiser.runs import Run, candidate_document, write_file
from optimiser.sheet import bench_sheet
from optimiser.ties import tie_groups


def with_curves(problem: Problem, row: Row) -> Row:
    """A ledger row with each duty's curves computed anew from its settings."""
    build = problem.space.build(row["build"])
    duties = {}
    for duty, record in row["duties"].items():
        assembly = problem.assembly(build, duty)
        if assembly is None or "positions" not in record:
            duties[duty] = record
            continue
        wanted = problem.demands(assembly, duty)
        assembly, positions = as_set(assembly, record)
        full = judged(assembly, wanted, positions, curves=True)
        duties[duty] = {**record, "curves": full["curves"]}
    return {**row, "duties": duties}


def show_document(run: Run, problem: Problem, rows: list[Row], place: int) -> dict[str, Any]:
    """What ``show --json`` prints of one place of the ranking."""
    ties = tie_groups([each.get("as_built") for each in rows])
    full = with_curves(problem, rows[place - 1])
    candidate = candidate_document(place, full, ties[place - 1], curves=True)
    return {"run": run.name, **candidate, "model_check": run.model_check}


def write_sheets(run: Run, problem: Problem, row: Row, place: int) -> tuple[str, list[str]]:
    """Write a candidate's bench sheet as text and Markdown; returns the text and where both are."""
    state = run.state()
    texts = {
        suffix: bench_sheet(
            problem,
            run.name,
            place,
            row,
            inputs=state["inputs"],
            version=state["version"],
            markdown=suffix == "md",
            model_check=run.model_check,
        )
        for suffix in ("txt", "md")
    }
    paths = []
    for suffix, text in texts.items():
        path = run.folder / "sheets" / f"candidate-{place}-build-{row['build']}.{suffix}"
        write_file(path, text)
        paths.append(str(path))
    return texts["txt"], paths

"""One candidate in full: its document with curves, and its bench sheets in the run folder."""

from __future__ import annotations

from typing import Any

from optimiser.evaluate import candidate as judged
from optimiser.paper import as_text
from optimiser.problem import Problem
from optimiser.ranking import Row
from optimiser.refine import as_set
from optimiser.runs import Run, candidate_document
from optimiser.sheet import Sheet
from optimiser.sheet_html import as_html
from optimiser.sheet_pdf import PAPERS
from optimiser.ties import tie_groups
from optimiser.wing_sheet import wing_pdfs
from optimiser.writing import write_bytes


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
    """Write a candidate's bench sheet as text, page and PDFs; returns the text and where all of them are."""
    state = run.state()
    sheet = Sheet(problem, run.name, place, row, state["inputs"], state["version"], run.model_check)
    blocks = sheet.blocks()
    text = as_text(blocks)
    files: dict[str, bytes] = {
        ".txt": text.encode(),
        ".html": as_html(blocks, state["version"]).encode(),
        **{f"-{paper}.pdf": data for paper, data in wing_pdfs(sheet, PAPERS).items()},
    }
    paths = []
    for suffix, data in files.items():
        path = run.folder / "sheets" / f"candidate-{place}-build-{row['build']}{suffix}"
        write_bytes(path, data)
        paths.append(str(path))
    return text, paths

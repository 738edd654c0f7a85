"""Commands that read a run: the ranking, one candidate, its bench sheet, the report."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from optimiser.command_line import (
    HERE,
    AsJson,
    Candidate,
    Place,
    RunName,
    Runs,
    app,
    plain_errors,
    print_document,
    print_ranking,
    ranked_to,
    say,
)
from optimiser.entry import NOTHING_FEASIBLE

# A week: an answer that takes longer is not waited for, and endless minutes no clock can count.
MOST_MINUTES = 10_080.0
# As goals.duties has it, which is not loaded for --help.
MOST_WORKERS = 256


@app.command()
def rank(
    run: RunName,
    runs: Runs = HERE,
    top: Annotated[int, typer.Option("--top", help="How many to print.", min=1)] = 20,
    as_json: AsJson = False,
) -> None:
    """Show the ranked builds of a run.

    Of one that is still searching, what is ranked so far.
    """
    with plain_errors():
        from optimiser.runs import Run

        found = Run.find(runs, run)
        print_ranking(found, found.load(), as_json, top)


@app.command()
def show(run: RunName, place: Place, runs: Runs = HERE, as_json: AsJson = False) -> None:
    """Show one candidate with every figure."""
    with plain_errors():
        from optimiser.detail import show_document
        from optimiser.runs import Run
        from optimiser.tables import print_show

        found = Run.find(runs, run)
        problem = found.load()
        document = show_document(found, problem, ranked_to(found, problem, place), place)
        print_document(document, as_json, lambda console: print_show(console, problem, document))


@app.command()
def sheet(
    run: RunName,
    place: Place,
    runs: Runs = HERE,
    as_json: AsJson = False,
) -> None:
    """Print the bench sheet of one candidate.

    It is kept in the run's sheets/ as text, as a page for a browser, and as PDF of A4 and of Letter size.
    """
    with plain_errors():
        from optimiser.detail import write_sheets
        from optimiser.runs import Run

        found = Run.find(runs, run)
        problem = found.load()
        text, paths = write_sheets(
            found, problem, ranked_to(found, problem, place)[place - 1], place
        )
        if as_json:
            told = {"run": found.name, "rank": place, "files": paths, "text": text}
            print(json.dumps(told, allow_nan=False))
        else:
            print(text)
        for path in paths:
            say(f"kept as {path}")


@app.command()
def report(
    run: RunName,
    runs: Runs = HERE,
    top: Annotated[
        int, typer.Option("--top", help="How many candidates to draw.", min=1, max=8)
    ] = 6,
    as_json: AsJson = False,
) -> None:
    """Write a run's report: one HTML page with curves and every figure, kept as report.html in the run.

    Of one that is still searching, what is ranked so far.
    """
    with plain_errors():
        from optimiser.report import Report
        from optimiser.report_page import write_report
        from optimiser.runs import Run

        found = Run.find(runs, run)
        problem = found.load()
        rows = found.ranked(problem.goals.search.keep)
        written = write_report(Report(found, problem, rows, top))
        print(json.dumps(written, allow_nan=False) if as_json else written["file"])


@app.command()
def compare(
    one: Candidate,
    other: Candidate,
    runs: Runs = HERE,
    as_json: AsJson = False,
) -> None:
    """Show two candidates side by side.

    What to change from the first to the second, and which figures get better. 'today' is today's car.
    """
    with plain_errors():
        from optimiser.compare import compare_document, sides
        from optimiser.compare_table import print_compare

        document = compare_document(*sides(one, other, runs))
        print_document(document, as_json, lambda console: print_compare(console, document))


@app.command()
def why(
    run: RunName,
    runs: Runs = HERE,
    minutes: Annotated[
        float,
        typer.Option(
            "--minutes",
            help="How long to search for answers at most.",
            min=0.0,
            max=MOST_MINUTES,
        ),
    ] = 10.0,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", help="Processes to use.  [default: all cores]", min=1, max=MOST_WORKERS
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Tell what decided a run, what clashes or pulls, and which part to buy next.

    Searches for some minutes. Ends with 1 where nothing is feasible.
    """
    with plain_errors():
        from optimiser.runs import Run
        from optimiser.why_run import explain
        from optimiser.why_table import print_why

        found = Run.find(runs, run)
        problem = found.load()
        document = explain(found, problem, 60.0 * minutes, workers, say)
        print_document(document, as_json, lambda console: print_why(console, problem, document))
    if not document["feasible"]:
        raise typer.Exit(NOTHING_FEASIBLE)

"""Commands about readings of a car, and the schemas of the files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from optimiser.command_line import (
    HERE,
    AsJson,
    GoalsFile,
    Kind,
    Place,
    RunName,
    Runs,
    app,
    load,
    plain_errors,
    print_document,
    ranked_to,
    say,
)

NOT_REPRODUCED = 1
LOOK_AGAIN = 1

ReadingsFile = Annotated[
    Path,
    typer.Argument(metavar="READINGS", help="The readings file, YAML or CSV.", show_default=False),
]


@app.command()
def fit(goals: GoalsFile, readings: ReadingsFile, as_json: AsJson = False) -> None:
    """Fit the measured hard points to readings of the car as it stands.

    Tells whether the model reproduces the car, where the tape may have slipped and what to read next, and
    writes the fitted car beside the old one. Exit code 0: it reproduces its car; 1: it does not.
    """
    with plain_errors():
        from optimiser.fitting_run import run_fit

        problem, loaded = load(goals)
        document = run_fit(problem, loaded, goals, readings, say)
        from optimiser.fit_table import print_fit

        print_document(document, as_json, lambda console: print_fit(console, document))
        if not document["reproduces"]:
            raise typer.Exit(NOT_REPRODUCED)


@app.command()
def setdown(
    run: RunName,
    place: Place,
    readings: ReadingsFile,
    duty: Annotated[
        str | None, typer.Option("--duty", help="Which duty the car was set to.")
    ] = None,
    runs: Runs = HERE,
    as_json: AsJson = False,
) -> None:
    """Hold readings of a built candidate against what its sheet expects.

    Each passes or asks for another look, with what would correct it. Exit code 0: all pass; 1: look again.
    """
    with plain_errors():
        from optimiser.runs import Run
        from optimiser.setdown_run import set_down
        from optimiser.setdown_table import print_setdown

        found = Run.find(runs, run)
        problem = found.load()
        row = ranked_to(found, problem, place)[place - 1]
        document = set_down(found, problem, row, place, readings, duty)
        print_document(document, as_json, lambda console: print_setdown(console, document))
        if not document["passes"]:
            raise typer.Exit(LOOK_AGAIN)


@app.command()
def schema(
    what: Annotated[Kind, typer.Argument(metavar="WHAT", help="goals, car, parts or readings.")],
) -> None:
    """Print the JSON Schema of a kind of file."""
    from goals.schema import json_schema

    print(json.dumps(json_schema(what.value), indent=2))

"""What the commands share: arguments, files loaded and faults told in words, documents printed.

Heavy modules load only when a command runs, so that --help answers at once.
"""

from __future__ import annotations

import json
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from enum import StrEnum
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer import Context
from typer.core import TyperGroup

from optimiser.entry import BAD_INPUT

if TYPE_CHECKING:
    from rich.console import Console

    from optimiser.problem import Problem
    from optimiser.runs import Run

# As --help lists them: in the order of the work.
IN_ORDER = (
    "demo",
    "check",
    "search",
    "resume",
    "rank",
    "show",
    "compare",
    "why",
    "report",
    "sheet",
    "setdown",
    "rerun",
    "fit",
    "schema",
)


class InOrder(TyperGroup):
    """The commands in the order of the work, whatever module brings them."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Names of the commands, as --help shows them."""
        return sorted(super().list_commands(ctx), key=IN_ORDER.index)


app = typer.Typer(
    cls=InOrder,
    add_completion=True,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def runs_there(ctx: Context, incomplete: str) -> list[str]:
    """Names of runs that begin so, for the shell to complete; a folder's own name completes itself."""
    from optimiser.names import names_of

    folder = Path(ctx.params.get("runs") or HERE)
    return [name for name in names_of(folder) if name.startswith(incomplete)]


def candidates_there(ctx: Context, incomplete: str) -> list[str]:
    """The first candidate of each run, and today's car, for the shell to complete."""
    first = [f"{name}#1" for name in runs_there(ctx, incomplete)]
    return [*first, *(word for word in ["today"] if word.startswith(incomplete))]


GoalsFile = Annotated[
    Path, typer.Argument(metavar="GOALS", help="The goals file.", show_default=False)
]
RunName = Annotated[
    str,
    typer.Argument(
        metavar="RUN",
        help="A run's name, or its folder.",
        show_default=False,
        autocompletion=runs_there,
    ),
]
Candidate = Annotated[
    str,
    typer.Argument(
        metavar="RUN#N",
        help="A candidate, or 'today'.",
        show_default=False,
        autocompletion=candidates_there,
    ),
]
Place = Annotated[int, typer.Argument(metavar="N", help="Place in the ranking, from 1.", min=1)]
Runs = Annotated[Path, typer.Option("--runs", help="Where runs are kept.")]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON document on stdout, nothing else.")]

HERE = Path("runs")

PIPED_COLUMNS = 80
MOST_COLUMNS = 120


class Kind(StrEnum):
    """A kind of file."""

    GOALS = "goals"
    CAR = "car"
    PARTS = "parts"
    READINGS = "readings"


def _tell_version(wanted: bool) -> None:
    if wanted:
        from optimiser import VERSION

        print(f"shimwright {VERSION}")
        raise typer.Exit


@app.callback()
def about(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_tell_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
) -> None:
    """Choose bolt-on front-suspension parts and every position they stand in.

    So that one car serves opposed duties. What a command wants and does: shimwright COMMAND --help.
    """


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn what can be wrong with files and runs into words and an exit code."""
    from goals.faults import InputError
    from optimiser.names import RunError

    try:
        yield
    except InputError as error:
        say(str(error))
        raise typer.Exit(BAD_INPUT) from None
    except (RunError, ValueError) as error:
        say(f"shimwright: {error}")
        raise typer.Exit(BAD_INPUT) from None
    except sqlite3.Error as error:
        say(f"shimwright: the run's ledger cannot be used: {error}")
        raise typer.Exit(BAD_INPUT) from None
    except OSError as error:
        where = f": {error.filename}" if error.filename else ""
        say(f"shimwright: {error.strerror or error}{where}")
        raise typer.Exit(BAD_INPUT) from None


def say(text: str) -> None:
    """Tell something beside the result: on stderr, at once. A terminal that is gone ends nothing."""
    with suppress(OSError):
        print(printable(text), file=sys.stderr, flush=True)


def printable(text: str) -> str:
    """A text in which nothing steers the terminal: what cannot be printed is escaped, line breaks apart."""
    return "".join(c if c.isprintable() or c == "\n" else ascii(c)[1:-1] for c in text)


def print_document(
    document: dict[str, Any], as_json: bool, show: Callable[[Console], None]
) -> None:
    """Print a document as JSON, or as the tables that ``show`` makes of it."""
    if as_json:
        print(json.dumps(document, allow_nan=False))
        return
    from rich.console import Console

    if sys.stdout.isatty():
        # a line of prose across a very wide screen is hard to read
        show(Console(highlight=False, width=min(Console().width, MOST_COLUMNS)))
        return
    text = StringIO()
    show(Console(file=text, highlight=False, width=PIPED_COLUMNS))
    print("\n".join(line.rstrip() for line in text.getvalue().splitlines()))


def load(goals: Path) -> tuple[Problem, Any]:
    """A goals file with all that it names, checked; what is told by half in it is said."""
    from goals.reading import load_goals
    from optimiser.problem import Problem

    loaded = load_goals(goals)
    for notice in loaded.notices:
        say(notice)
    problem = Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)
    # what the space refuses is the files' fault, and is better told before a run folder is made
    _ = problem.space.builds
    return problem, loaded


def print_ranking(run: Run, problem: Problem, as_json: bool, top: int) -> None:
    """Print a run's ranking as it is now, its first ``top`` candidates as a table or all as JSON."""
    from optimiser.runs import ranking_document
    from optimiser.tables import print_rank

    document = ranking_document(run, problem, run.ranked(problem.goals.search.keep))
    print_document(document, as_json, lambda console: print_rank(console, document, top))


def ranked_to(run: Run, problem: Problem, place: int) -> list[dict[str, Any]]:
    """The ranking, which has such a place."""
    from optimiser.runs import place_of

    rows = run.ranked(problem.goals.search.keep)
    place_of(run, rows, place)
    return rows

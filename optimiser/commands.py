"""The command line. Heavy modules load only when a command runs, so that --help answers at once."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from optimiser.entry import BAD_INPUT, STOPPED_EARLY

if TYPE_CHECKING:
    from rich.console import Console

    from optimiser.cluster import Access, ClusterExecutor
    from optimiser.problem import Problem
    from optimiser.runs import Run

NOTHING_FEASIBLE = 1
NOT_REPRODUCED = 1
LOOK_AGAIN = 1

app = typer.Typer(
    add_completion=True,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Choose bolt-on front-suspension parts and every position they stand in, so that one car "
    "serves opposed duties.",
)

GoalsFile = Annotated[Path, typer.Argument(help="The goals file.", show_default=False)]
ReadingsFile = Annotated[
    Path, typer.Argument(help="The readings file, YAML or CSV.", show_default=False)
]
RunName = Annotated[str, typer.Argument(help="A run's name, or its folder.", show_default=False)]
Place = Annotated[int, typer.Argument(help="Place in the ranking, from 1.", min=1)]
Runs = Annotated[Path, typer.Option("--runs", help="Where runs are kept.")]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON document on stdout, nothing else.")]

Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster", metavar="ADDRESS", help="Search on this cluster's machines: its scheduler."
    ),
]
ClusterCa = Annotated[
    Path | None, typer.Option("--cluster-ca", help="Who signed the cluster's certificates (PEM).")
]
ClusterCert = Annotated[
    Path | None, typer.Option("--cluster-cert", help="Our own certificate (PEM).")
]
ClusterKey = Annotated[
    Path | None, typer.Option("--cluster-key", help="Its key, where not in the same file.")
]

HERE = Path("runs")


class What(StrEnum):
    """A kind of file."""

    GOALS = "goals"
    CAR = "car"
    PARTS = "parts"
    READINGS = "readings"


class Suspension(StrEnum):
    """A kind of front suspension, as the car file says it."""

    STRUT = "strut"
    DOUBLE_WISHBONE = "double_wishbone"


# What the names of each example's files begin with.
EXAMPLES = {Suspension.STRUT: "", Suspension.DOUBLE_WISHBONE: "wishbone_"}


@contextmanager
def _plain_errors() -> Iterator[None]:
    """Turn what can be wrong with files and runs into words and an exit code."""
    from goals.faults import InputError
    from optimiser.runs import RunError

    try:
        yield
    except InputError as error:
        _say(str(error))
        raise typer.Exit(BAD_INPUT) from None
    except (RunError, ValueError) as error:
        _say(f"shimwright: {error}")
        raise typer.Exit(BAD_INPUT) from None
    except OSError as error:
        where = f": {error.filename}" if error.filename else ""
        _say(f"shimwright: {error.strerror or error}{where}")
        raise typer.Exit(BAD_INPUT) from None


def _say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _console() -> Console:
    from rich.console import Console

    return Console(highlight=False, width=None if sys.stdout.isatty() else 80)


def _print(document: dict[str, Any], as_json: bool, show: Callable[[Console], None]) -> None:
    if as_json:
        print(json.dumps(document, allow_nan=False))
    else:
        show(_console())


def _load(goals: Path) -> tuple[Problem, Any]:
    from goals.reading import load_goals
    from optimiser.problem import Problem

    loaded = load_goals(goals)
    for notice in loaded.notices:
        _say(notice)
    problem = Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)
    # what the space refuses is the files' fault, and is better told before a run folder is made
    _ = problem.space.builds
    return problem, loaded


@app.command()
def demo(
    suspension: Annotated[
        Suspension, typer.Option(help="Of the example's car.")
    ] = Suspension.STRUT,
    runs: Runs = HERE,
    as_json: AsJson = False,
    cluster: Cluster = None,
    cluster_ca: ClusterCa = None,
    cluster_cert: ClusterCert = None,
    cluster_key: ClusterKey = None,
) -> None:
    """Search the shipped example.

    Its files are laid in RUNS/demo-inputs, for you to edit.
    """
    from importlib.resources import files

    from goals.schema import json_schema
    from optimiser.runs import free_name, write_file

    with _plain_errors():
        access = _access(cluster, cluster_ca, cluster_cert, cluster_key)
        folder = runs / "demo-inputs"
        folder.mkdir(parents=True, exist_ok=True)
        for kind in What:
            # beside the files, where their first line tells editors to look
            document = json.dumps(json_schema(kind.value), indent=2) + "\n"
            write_file(folder / f"{kind}.schema.json", document)
            target = folder / f"{EXAMPLES[suspension]}{kind}.yaml"
            if kind is What.READINGS and suspension is not Suspension.STRUT:
                continue
            if target.exists():
                _say(f"{target} is there already and is used as it is")
            else:
                example = files("goals.examples").joinpath(target.name)
                write_file(target, example.read_text(encoding="utf-8"))
                _say(f"laid down {target}")
        name = free_name(runs, "demo" if suspension is Suspension.STRUT else "demo-wishbone")
        _search(folder / f"{EXAMPLES[suspension]}goals.yaml", runs, name, as_json, access)


@app.command()
def check(goals: GoalsFile, as_json: AsJson = False) -> None:
    """Show the car of today against the goals.

    As measured and, per duty, today's parts lowered and the toe reset.
    """
    with _plain_errors():
        problem, _ = _load(goals)
        from optimiser.checking import check_document
        from optimiser.tables import print_check

        document = check_document(problem)
        _print(document, as_json, lambda console: print_check(console, document, problem))


@app.command()
def search(
    goals: GoalsFile,
    runs: Runs = HERE,
    name: Annotated[str | None, typer.Option("--name", help="Name of the run.")] = None,
    as_json: AsJson = False,
    cluster: Cluster = None,
    cluster_ca: ClusterCa = None,
    cluster_cert: ClusterCert = None,
    cluster_key: ClusterKey = None,
) -> None:
    """Search parts and positions for the goals.

    The run is kept in a folder of its own below RUNS.
    """
    with _plain_errors():
        access = _access(cluster, cluster_ca, cluster_cert, cluster_key)
        _search(goals, runs, name, as_json, access)


@app.command()
def resume(
    run: RunName,
    runs: Runs = HERE,
    as_json: AsJson = False,
    cluster: Cluster = None,
    cluster_ca: ClusterCa = None,
    cluster_cert: ClusterCert = None,
    cluster_key: ClusterKey = None,
) -> None:
    """Go on with a run that was stopped."""
    with _plain_errors():
        from optimiser import VERSION
        from optimiser.runs import Run, RunError

        access = _access(cluster, cluster_ca, cluster_cert, cluster_key)
        found = Run.find(runs, run)
        if found.state().get("version") != VERSION:
            raise RunError(
                f"run '{found.name}' was begun with version {found.state().get('version')}, this is "
                f"{VERSION}: figures of two versions are not mixed in one ranking"
            )
        problem = found.load()
        with _joined(access, problem) as executor:
            _go(found, problem, as_json, executor)


def _access(
    address: str | None, ca: Path | None, cert: Path | None, key: Path | None
) -> Access | None:
    """Where a cluster is and how to get in; None where none is asked for."""
    if address is None and ca is None and cert is None and key is None:
        return None
    from optimiser.cluster import Access, ClusterError, need_library

    if address is None:
        raise ClusterError("--cluster-ca, --cluster-cert and --cluster-key need --cluster ADDRESS")
    need_library()
    access = Access(address, ca, cert, key)
    access.check()
    if not access.secure:
        _say(
            "the way to the cluster is not encrypted: whoever reaches its ports can run anything "
            "on its machines"
        )
    return access


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


@contextmanager
def _joined(access: Access | None, problem: Problem) -> Iterator[ClusterExecutor | None]:
    """A cluster's workers, or None where none is asked for."""
    if access is None:
        yield None
        return
    from optimiser.cluster import ClusterExecutor

    executor = ClusterExecutor(access, problem)
    try:
        _say(f"cluster: {_count(executor.workers, 'worker')}, {_count(executor.threads, 'thread')}")
        yield executor
    finally:
        executor.shutdown()


def _search(
    goals: Path, runs: Path, name: str | None, as_json: bool, access: Access | None
) -> None:
    from optimiser.runs import Run, RunError, fresh_name

    problem, loaded = _load(goals)
    if name is not None and (Path(name).name != name or name.startswith(".")):
        raise RunError(f"'{name}' is no name for a run: a plain word, no folders")
    # a cluster that cannot be used is told before a run folder is made
    with _joined(access, problem) as executor:
        run = Run.create(runs, name or fresh_name(runs, loaded.goals.name or goals.stem), loaded)
        _say(f"run {run.folder}")
        # a night's search on a model that fails its own car is better not begun
        _say(run.model_check["words"])
        _go(run, problem, as_json, executor)


def _go(run: Run, problem: Problem, as_json: bool, cluster: ClusterExecutor | None) -> None:
    """Search a run to its end or its stop, print the ranking, and end with the exit code it deserves."""
    from optimiser.coordinator import Search
    from optimiser.covered import coverage_lines
    from optimiser.progress import ProgressLine
    from optimiser.ranking import feasible
    from optimiser.runs import STOPPED

    space = problem.space
    _say(f"{space.builds:,} builds, {space.all_combinations:,} combinations to cover")
    show = ProgressLine()
    with run.held():
        status = Search(run, problem, show, cluster).go()
    show.done()
    rows = run.ranked(problem.goals.search.keep)
    _rank(run, problem, as_json, 10)
    cover = run.state()["coverage"]
    if not cover["proven"]:
        for line in coverage_lines(cover):
            _say(line)
    if status == STOPPED:
        _say(f"stopped early; go on with: shimwright resume {run.name}")
        if cluster is not None:
            reason = run.state().get("reason")
            _say(f"({reason}; what was finished is kept; --cluster ADDRESS as before, or without)")
        raise typer.Exit(STOPPED_EARLY)
    if not any(feasible(row) for row in rows):
        raise typer.Exit(NOTHING_FEASIBLE)


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
    with _plain_errors():
        from optimiser.runs import Run

        found = Run.find(runs, run)
        _rank(found, found.load(), as_json, top)


def _rank(run: Run, problem: Problem, as_json: bool, top: int) -> None:
    from optimiser.runs import ranking_document
    from optimiser.tables import print_rank

    document = ranking_document(run, problem, run.ranked(problem.goals.search.keep))
    _print(document, as_json, lambda console: print_rank(console, document, top))


def _ranked(run: Run, problem: Problem, place: int) -> list[dict[str, Any]]:
    """The ranking, which has such a place."""
    from optimiser.runs import RunError

    rows = run.ranked(problem.goals.search.keep)
    if place > len(rows):
        raise RunError(f"run '{run.name}' has {len(rows)} ranked candidates, not {place}")
    return rows


@app.command()
def show(run: RunName, place: Place, runs: Runs = HERE, as_json: AsJson = False) -> None:
    """Show one candidate with every figure."""
    with _plain_errors():
        from optimiser.detail import show_document
        from optimiser.runs import Run
        from optimiser.tables import print_show

        found = Run.find(runs, run)
        problem = found.load()
        document = show_document(found, problem, _ranked(found, problem, place), place)
        _print(document, as_json, lambda console: print_show(console, problem, document))


@app.command()
def sheet(
    run: RunName,
    place: Place,
    runs: Runs = HERE,
    as_json: AsJson = False,
) -> None:
    """Print the bench sheet of one candidate.

    It is kept as text and Markdown in the run's sheets/ as well.
    """
    with _plain_errors():
        from optimiser.detail import write_sheets
        from optimiser.runs import Run

        found = Run.find(runs, run)
        problem = found.load()
        text, paths = write_sheets(found, problem, _ranked(found, problem, place)[place - 1], place)
        if as_json:
            print(json.dumps({"run": found.name, "rank": place, "files": paths, "text": text}))
        else:
            print(text)
        for path in paths:
            _say(f"kept as {path}")


@app.command()
def fit(goals: GoalsFile, readings: ReadingsFile, as_json: AsJson = False) -> None:
    """Fit the measured hard points to readings of the car as it stands.

    Tells whether the model reproduces the car, where the tape may have slipped and what to read next, and
    writes the fitted car beside the old one. Exit code 0: it reproduces its car; 1: it does not.
    """
    with _plain_errors():
        from optimiser.fitting_run import run_fit

        problem, loaded = _load(goals)
        document = run_fit(problem, loaded, goals, readings, _say)
        from optimiser.fit_table import print_fit

        _print(document, as_json, lambda console: print_fit(console, document))
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
    with _plain_errors():
        from optimiser.runs import Run
        from optimiser.setdown_run import set_down
        from optimiser.setdown_table import print_setdown

        found = Run.find(runs, run)
        problem = found.load()
        row = _ranked(found, problem, place)[place - 1]
        document = set_down(found, problem, row, place, readings, duty)
        _print(document, as_json, lambda console: print_setdown(console, document))
        if not document["passes"]:
            raise typer.Exit(LOOK_AGAIN)


@app.command()
def schema(what: Annotated[What, typer.Argument(help="goals, car, parts or readings.")]) -> None:
    """Print the JSON Schema of a kind of file."""
    from goals.schema import json_schema

    print(json.dumps(json_schema(what.value), indent=2))

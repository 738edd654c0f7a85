"""Commands that search: the demo, the car of today, a new run, one that goes on."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from optimiser.command_line import (
    HERE,
    AsJson,
    GoalsFile,
    Kind,
    RunName,
    Runs,
    app,
    load,
    plain_errors,
    print_document,
    print_ranking,
    say,
)
from optimiser.entry import NOTHING_FEASIBLE, STOPPED_EARLY

if TYPE_CHECKING:
    from optimiser.cluster import Access, ClusterExecutor
    from optimiser.problem import Problem
    from optimiser.runs import Run


NEXT = (
    ("report RUN ", "a page with pictures, to open in a browser"),
    ("show RUN 1 ", "the best candidate, every figure"),
    ("sheet RUN 1", "its bench sheet, to print"),
    ("why RUN    ", "what decided, and which part to buy next"),
)

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


class Suspension(StrEnum):
    """A kind of front suspension, as the car file says it."""

    STRUT = "strut"
    DOUBLE_WISHBONE = "double_wishbone"


# What the names of each example's files begin with.
EXAMPLES = {Suspension.STRUT: "", Suspension.DOUBLE_WISHBONE: "wishbone_"}


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
    from optimiser.names import free_name
    from optimiser.writing import write_file

    with plain_errors():
        access = _access(cluster, cluster_ca, cluster_cert, cluster_key)
        folder = runs / "demo-inputs"
        folder.mkdir(parents=True, exist_ok=True)
        for kind in Kind:
            # beside the files, where their first line tells editors to look
            document = json.dumps(json_schema(kind.value), indent=2) + "\n"
            write_file(folder / f"{kind}.schema.json", document)
            target = folder / f"{EXAMPLES[suspension]}{kind}.yaml"
            if kind is Kind.READINGS and suspension is not Suspension.STRUT:
                continue
            if target.exists():
                say(f"{target} is there already and is used as it is")
            else:
                example = files("goals.examples").joinpath(target.name)
                write_file(target, example.read_text(encoding="utf-8"))
                say(f"laid down {target}")
        name = free_name(runs, "demo" if suspension is Suspension.STRUT else "demo-wishbone")
        _search(folder / f"{EXAMPLES[suspension]}goals.yaml", runs, name, as_json, access)


@app.command()
def check(goals: GoalsFile, as_json: AsJson = False) -> None:
    """Show the car of today against the goals.

    As measured and, per duty, today's parts lowered and the toe reset.
    """
    with plain_errors():
        problem, _ = load(goals)
        from optimiser.checking import check_document
        from optimiser.tables import print_check

        document = check_document(problem)
        print_document(document, as_json, lambda console: print_check(console, document, problem))


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
    with plain_errors():
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
    with plain_errors():
        from optimiser import VERSION
        from optimiser.names import RunError
        from optimiser.runs import Run
        from optimiser.sound_rows import check_resumable

        access = _access(cluster, cluster_ca, cluster_cert, cluster_key)
        found = Run.find(runs, run)
        if found.state().get("version") != VERSION:
            raise RunError(
                f"run '{found.name}' was begun with version {found.state().get('version')}, this is "
                f"{VERSION}: figures of two versions are not mixed in one ranking"
            )
        problem = found.load()
        check_resumable(problem, found.ledger)
        with _joined(access, problem) as executor:
            _go(found, problem, as_json, executor)


@app.command()
def rerun(
    run: RunName,
    goals: Annotated[
        Path | None,
        typer.Option("--goals", help="The goals file of now; that of the run when left out."),
    ] = None,
    built: Annotated[
        int,
        typer.Option("--built", help="Place in RUN's ranking of the car that was built.", min=1),
    ] = 1,
    name: Annotated[str | None, typer.Option("--name", help="Name of the new run.")] = None,
    runs: Runs = HERE,
    as_json: AsJson = False,
    cluster: Cluster = None,
    cluster_ca: ClusterCa = None,
    cluster_cert: ClusterCert = None,
    cluster_key: ClusterKey = None,
) -> None:
    """Search a run's goals again after a change.

    What still holds is taken over into a new run; RUN stays as it is. Shows what was changed, whether the
    car as built still passes, and which candidates rose, fell, appeared or died.
    """
    with plain_errors():
        from optimiser.names import check_name, fresh_name
        from optimiser.rerun import Rerun, goals_of
        from optimiser.rerun_table import change_lines, print_rerun
        from optimiser.runs import STOPPED, Run, place_of

        access = _access(cluster, cluster_ca, cluster_cert, cluster_key)
        check_name(name)
        old = Run.find(runs, run)
        file = goals or goals_of(old)
        problem, loaded = load(file)
        again = Rerun.of(old, loaded, file.name)
        if built != 1:
            place_of(old, old.ranked(again.before.goals.search.keep), built)
        if again.idle:
            document = again.document(None, built)
            print_document(document, as_json, lambda console: print_rerun(console, document))
            if old.status() == STOPPED:
                say(f"it was stopped early; go on with: shimwright resume {old.name}")
            return
        for line in change_lines([change.record for change in again.changes]):
            say(line)
        # a cluster that cannot be used is told before a run folder is made
        with _joined(access, problem) as executor:
            title = name or fresh_name(runs, loaded.goals.name or file.stem)
            found = again.begin(runs, title, loaded, file)
            say(f"run {found.folder}")
            say(found.model_check["words"])

            def tell() -> None:
                document = again.document(found, built)
                print_document(document, as_json, lambda console: print_rerun(console, document))

            _go(found, problem, as_json, executor, tell)


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
        say(
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
        say(f"cluster: {_count(executor.workers, 'worker')}, {_count(executor.threads, 'thread')}")
        yield executor
    finally:
        executor.shutdown()


def _search(
    goals: Path, runs: Path, name: str | None, as_json: bool, access: Access | None
) -> None:
    from optimiser.names import check_name, fresh_name
    from optimiser.runs import Run

    problem, loaded = load(goals)
    check_name(name)
    # a cluster that cannot be used is told before a run folder is made
    with _joined(access, problem) as executor:
        title = name or fresh_name(runs, loaded.goals.name or goals.stem)
        run = Run.create(runs, title, loaded, goals)
        say(f"run {run.folder}")
        # a night's search on a model that fails its own car is better not begun
        say(run.model_check["words"])
        _go(run, problem, as_json, executor)


def _go(
    run: Run,
    problem: Problem,
    as_json: bool,
    cluster: ClusterExecutor | None,
    tell: Callable[[], None] | None = None,
) -> None:
    """Search a run to its end or its stop, print the ranking, and end with the exit code it deserves.

    ``tell`` prints what is to be told of it in the ranking's place.
    """
    from optimiser.coordinator import Search
    from optimiser.covered import coverage_lines
    from optimiser.progress import ProgressLine
    from optimiser.ranking import feasible
    from optimiser.rerun import note_searched
    from optimiser.runs import STOPPED

    space = problem.space
    say(f"{space.builds:,} builds, {space.all_combinations:,} combinations to cover")
    show = ProgressLine()
    with run.held():
        search = Search(run, problem, show, cluster)
        status = search.go()
        show.done()
        with suppress(OSError):
            note_searched(run)
    rows = run.ranked(problem.goals.search.keep)
    if tell is None:
        print_ranking(run, problem, as_json, 10)
    else:
        tell()
    cover = run.state()["coverage"]
    if not cover["proven"]:
        for line in coverage_lines(cover):
            say(line)
    if status == STOPPED:
        say(f"stopped early: {search.reason}; what was finished is kept")
        how = " (--cluster ADDRESS as before, or without)" if cluster is not None else ""
        say(f"go on with: shimwright resume {run.name}{_where(run)}{how}")
        raise typer.Exit(STOPPED_EARLY)
    _say_what_next(run)
    if not any(feasible(row) for row in rows):
        raise typer.Exit(NOTHING_FEASIBLE)


def _say_what_next(run: Run) -> None:
    """The commands that a finished run is read with."""
    say("look closer:")
    for command, words in NEXT:
        say(f"  shimwright {command.replace('RUN', run.name)}{_where(run)}  {words}")


def _where(run: Run) -> str:
    """The option that leads to a run that is not where runs are looked for."""
    elsewhere = run.folder.resolve().parent != HERE.resolve()
    return f" --runs {run.folder.parent}" if elsewhere else ""

"""The run folder: one search and all it produced.

``inputs/`` the exact files used, ``run.json`` what and how far, ``ledger.sqlite`` one row a finished build,
``ranked.csv`` and ``ranked.json`` the ranking, ``sheets/`` bench sheets, ``log.jsonl`` what happened when.
Every file but ledger and log is written beside its place and then put there, so none is ever half a file.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import re
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from goals.reading import Loaded, load_saved
from optimiser import VERSION
from optimiser.ledger import Ledger
from optimiser.model_check import model_check, not_held
from optimiser.problem import Problem
from optimiser.proposer import PROMISING
from optimiser.ranking import Row, feasible, merit, minutes, rank
from optimiser.ties import tie_groups

FORMAT = 1

SEARCHING = "searching"
FINISHED = "finished"
STOPPED = "stopped"


class RunError(Exception):
    """A run that cannot be used as asked, in words for the user."""


def now() -> str:
    """The time, UTC, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def write_file(path: Path, text: str) -> None:
    """Put a text in place whole: written beside, then moved."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """Put a file in place whole: written beside, then moved."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(beside).chmod(0o644)
        Path(beside).replace(path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise


def digest(files: dict[str, bytes]) -> dict[str, str]:
    """SHA-256 of each input file."""
    return {name: hashlib.sha256(data).hexdigest() for name, data in sorted(files.items())}


class Run:
    """One run folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.ledger = Ledger(folder / "ledger.sqlite")

    @property
    def name(self) -> str:
        """The folder's name."""
        return self.folder.name

    @classmethod
    def create(
        cls, runs: Path, name: str, loaded: Loaded, goals: Path | None = None, **told: Any
    ) -> Run:
        """Make a new run folder with the inputs copied in.

        ``goals`` is where the goals file stands, kept for a rerun where it is near; ``told`` are further
        entries of run.json. Raises RunError where a run of that name is there already.
        """
        folder = runs / name
        try:
            folder.mkdir(parents=True)
        except FileExistsError:
            raise RunError(f"there is a run of the name '{name}' already: {folder}") from None
        for file, data in loaded.files.items():
            (folder / "inputs").mkdir(exist_ok=True)
            (folder / "inputs" / file).write_bytes(data)
        run = cls(folder)
        run.ledger.create()
        problem = Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)
        state = {
            "format": FORMAT,
            "name": name,
            "title": loaded.goals.name,
            "status": SEARCHING,
            "version": VERSION,
            "seed": loaded.goals.search.seed,
            "inputs": digest(loaded.files),
            **_goals_file(folder, goals),
            **told,
            "started": now(),
            "coverage": coverage(problem, 0, 0),
            "model_check": model_check(loaded.goals, loaded.car, loaded.readings),
        }
        write_file(folder / "run.json", _json(state))
        return run

    @classmethod
    def find(cls, runs: Path, named: str) -> Run:
        """The run of a name below ``runs``, or of a path.

        Raises RunError where there is none, or where it is of a format that is not known.
        """
        for folder in (runs / named, Path(named)):
            if (folder / "run.json").is_file():
                run = cls(folder.resolve())
                found = run.state().get("format")
                if found != FORMAT:
                    raise RunError(
                        f"run '{named}' is of format {found!r}; this version knows {FORMAT}"
                    )
                return run
        near = sorted(p.parent.name for p in runs.glob("*/run.json"))
        there = f"; runs there: {', '.join(near)}" if near else ""
        raise RunError(f"no run '{named}' in {runs}{there}")

    def state(self) -> dict[str, Any]:
        """What run.json says."""
        try:
            state = json.loads((self.folder / "run.json").read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise RunError(f"cannot read {self.folder / 'run.json'}: {error}") from None
        if not isinstance(state, dict):
            raise RunError(f"{self.folder / 'run.json'} is not a run's state")
        return state

    @property
    def order(self) -> str:
        """How the run's builds are chosen: a word of :mod:`optimiser.proposer`."""
        return str(self.state().get("coverage", {}).get("order", PROMISING))

    @property
    def model_check(self) -> dict[str, Any]:
        """Whether the model reproduces readings of its car, as found when the run began."""
        found = self.state().get("model_check")
        return found if isinstance(found, dict) else not_held()

    @property
    def goals_file(self) -> Path | None:
        """Where the goals file stands from which the run was made; None where that is not known."""
        told = self.state().get("goals_file")
        return self.folder / told if isinstance(told, str) else None

    def update(self, **changes: Any) -> None:
        """Change entries of run.json."""
        write_file(self.folder / "run.json", _json({**self.state(), **changes, "updated": now()}))

    def log(self, event: str, **facts: Any) -> None:
        """Add a line to the log."""
        line = json.dumps({"time": now(), "event": event, **facts}, sort_keys=True, allow_nan=False)
        with (self.folder / "log.jsonl").open("a", encoding="utf-8") as file:
            file.write(line + "\n")

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep other searches off this run while it is searched.

        Raises RunError where another process holds it. The hold ends with the process that has it, so a
        kill leaves nothing stale behind.
        """
        lock = sqlite3.connect(self.folder / "search.lock", timeout=0.0, isolation_level=None)
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError:
            lock.close()
            raise RunError(f"run '{self.name}' is being searched by another process") from None
        try:
            yield
        finally:
            lock.close()

    def load(self) -> Problem:
        """The inputs as they were when the run began.

        Raises RunError where a saved input is not what the run began with, InputError where it cannot
        be read.
        """
        loaded = load_saved(self.folder / "inputs")
        if digest(loaded.files) != self.state().get("inputs"):
            raise RunError(f"the inputs saved in {self.folder / 'inputs'} were changed")
        return Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)

    def ranked(self, keep: int) -> list[Row]:
        """The ranking of what is finished so far."""
        return rank(self.ledger.each(), keep, self.ledger.built())

    def write_ranking(self, problem: Problem) -> list[Row]:
        """Write ranked.json and ranked.csv from the ledger, and return the ranking."""
        rows = self.ranked(problem.goals.search.keep)
        document = ranking_document(self, problem, rows)
        # the name and status of the run, and in which order it went, are no part of what the search found
        lines = ",\n".join(json.dumps(c, allow_nan=False) for c in document["candidates"])
        cover = {name: v for name, v in document["coverage"].items() if name != "order"}
        found = json.dumps(cover, allow_nan=False)
        text = f'{{"coverage": {found},\n"candidates": [\n{lines}\n]}}\n'
        write_file(self.folder / "ranked.json", text)
        write_file(
            self.folder / "ranked.csv",
            _table(problem, rows, [c["tie"] for c in document["candidates"]]),
        )
        return rows


def _goals_file(folder: Path, goals: Path | None) -> dict[str, str]:
    """The goals file's place as run.json tells it: from the run's folder, where both stand in one folder.

    A file from elsewhere is not told: a run is handed on, and where someone keeps files is nobody's affair.
    """
    home = folder.resolve().parent.parent
    if goals is None or not goals.resolve().is_relative_to(home):
        return {}
    return {"goals_file": Path(os.path.relpath(goals.resolve(), folder.resolve())).as_posix()}


def place_of(run: Run, ranked: list[Row], place: int) -> Row:
    """The candidate at a place, from 1, of a run's ranking. Raises RunError where it has no such place."""
    if not 1 <= place <= len(ranked):
        raise RunError(f"run '{run.name}' has {len(ranked)} ranked candidates, not {place}")
    return ranked[place - 1]


def coverage(
    problem: Problem, builds_done: int, covered: int, order: str = PROMISING
) -> dict[str, Any]:
    """How much of the space was searched and how builds were chosen; proven only where that is all of it."""
    space = problem.space
    return {
        "builds": space.builds,
        "builds_done": builds_done,
        "combinations": space.all_combinations,
        "covered": covered,
        "proven": builds_done == space.builds and covered == space.all_combinations,
        "order": order,
    }


def coverage_now(run: Run, problem: Problem, order: str | None = None) -> dict[str, Any]:
    """Coverage by what the ledger holds at this moment; the order as the run tells it, or as given."""
    done, failed, covered = run.ledger.counts()
    return coverage(problem, done - failed, covered, order or run.order)


def ranking_document(run: Run, problem: Problem, rows: list[Row]) -> dict[str, Any]:
    """The ranking as ``rank --json`` prints it."""
    return {
        "run": run.name,
        "status": run.state()["status"],
        "coverage": coverage_now(run, problem),
        "model_check": run.model_check,
        "candidates": candidate_documents(rows),
    }


def candidate_documents(rows: list[Row]) -> list[dict[str, Any]]:
    """Ranked rows as ``rank --json`` prints them: without the curves of cars as built."""
    ties = tie_groups([row.get("as_built") for row in rows])
    return [
        candidate_document(place, row, tie)
        for place, (row, tie) in enumerate(zip(rows, ties, strict=True), 1)
    ]


def candidate_document(
    place: int, row: Row, tie: int | None = None, *, curves: bool = False
) -> dict[str, Any]:
    """One candidate as ``rank --json`` and, with ``curves``, ``show --json`` print it."""
    built = row.get("as_built", {})
    return {
        "rank": place,
        "merit": merit(row),
        "feasible": feasible(row),
        "yield": built.get("yield"),
        "yield_error": built.get("yield_error"),
        "tie": tie,
        "below_least_yield": not built.get("enough", True),
        **{name: built[name] for name in ("merit_band", "merit_matters") if name in built},
        "changeover_minutes": minutes(row),
        "pairing": row.get("pairing"),
        "price": row["price"],
        "to_buy": row["to_buy"],
        "number": row["build"],
        "build": row["parts"],
        "duties": _duties(row, curves),
    }


def _duties(row: Row, curves: bool) -> dict[str, Any]:
    """A row's duties, each with what becomes of it as built where that is known."""
    built = row.get("as_built", {}).get("duties", {})
    found = {}
    for duty, record in row["duties"].items():
        found[duty] = record
        if duty in built:
            told = {k: v for k, v in built[duty].items() if curves or k != "curves"}
            found[duty] = {**record, "as_built": told}
    return found


def _table(problem: Problem, rows: list[Row], ties: list[int | None]) -> str:
    """The ranking as CSV: a line a candidate."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    stations = [station.value for station in problem.space.stations]
    figures = [
        (duty, name)
        for duty in problem.duties
        for name in next(
            (row["duties"][duty]["measures"] for row in rows if "measures" in row["duties"][duty]),
            {},
        )
    ]
    head = ["rank", "build", "feasible", "merit", "changeover_minutes", "price", *stations]
    yields = ["yield", "yield error", "tie", *(f"{duty}: yield" for duty in problem.duties)]
    writer.writerow([*head, *(f"{duty}: {name}" for duty, name in figures), *yields])
    for place, (row, tie) in enumerate(zip(rows, ties, strict=True), 1):
        worst = merit(row)
        line = [place, row["build"], feasible(row), "" if worst is None else worst]
        swap = minutes(row)
        line += ["" if swap is None else swap, row["price"]]
        line += [row["parts"][station] for station in stations]
        line += [_cell(row["duties"][duty].get("measures", {}).get(name)) for duty, name in figures]
        writer.writerow([*line, *_yields(problem, row, tie)])
    return out.getvalue()


def _yields(problem: Problem, row: Row, tie: int | None) -> list[Any]:
    """Yield, its error, group of ties and each duty's yield; empty where the candidate was not built."""
    built = row.get("as_built", {})
    told = [built.get("yield"), built.get("yield_error"), tie]
    told += [built.get("duties", {}).get(duty, {}).get("yield") for duty in problem.duties]
    return ["" if value is None else value for value in told]


def _cell(entry: dict[str, Any] | None) -> Any:
    if entry is None or entry["value"] is None:
        return ""
    value = entry["value"]
    return (
        " ".join("" if v is None else repr(v) for v in value) if isinstance(value, list) else value
    )


def _json(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def check_name(name: str | None) -> None:
    """Raises RunError where a name that someone gave cannot be a run's."""
    if name is not None and (Path(name).name != name or name.startswith(".")):
        raise RunError(f"'{name}' is no name for a run: a plain word, no folders")


def fresh_name(runs: Path, title: str) -> str:
    """A name for a new run: the first words of its title, and the time."""
    words = re.findall(r"[a-z0-9]+", title.lower())[:4]
    stem = "-".join([*words, datetime.now().strftime("%Y%m%d-%H%M%S")])
    return free_name(runs, stem)


def free_name(runs: Path, stem: str) -> str:
    """A name that no run has yet: the stem, or the stem with the next free number."""
    name, count = stem, 1
    while (runs / name).exists():
        count += 1
        name = f"{stem}-{count}"
    return name

"""The run folder: one search and all it produced.

``inputs/`` the exact files used, ``run.json`` what and how far, ``ledger.sqlite`` one row a finished build,
``ranked.csv`` and ``ranked.json`` the ranking, ``sheets/`` bench sheets, ``log.jsonl`` what happened when.
A run folder comes to its place whole, and so does every file in it but ledger, log and lock.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shutil
import sqlite3
import uuid
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from goals.reading import Loaded, load_saved
from optimiser import VERSION
from optimiser.ledger import Ledger
from optimiser.model_check import model_check, not_held
from optimiser.names import RunError, names_of
from optimiser.problem import Problem
from optimiser.proposer import PROMISING
from optimiser.ranking import Row, feasible, merit, minutes, rank
from optimiser.row_shape import misfit
from optimiser.sound_folder import check_folder, read_json, refuse
from optimiser.sound_rows import checked_rows
from optimiser.state_shape import STATE, unprintable
from optimiser.ties import tie_groups
from optimiser.writing import (
    WRITE_FAULTS,
    clear_beside,
    fault_words,
    sync_folder,
    write_bytes,
    write_file,
)

FORMAT = 1

# Written whole, one after another, by the one process that searches the run.
WHOLE = ("run.json", "ranked.json", "ranked.csv")
# How long to wait for who only looks whether the run is held, s.
LOCK_WAIT = 1.0

SEARCHING = "searching"
FINISHED = "finished"
STOPPED = "stopped"
# The reason of a run that nobody searches, though the last that was heard of it is that it is searched.
CUT_OFF = "cut off: killed, or the power went"


def now() -> str:
    """The time, UTC, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def digest(files: dict[str, bytes]) -> dict[str, str]:
    """SHA-256 of each input file."""
    return {name: hashlib.sha256(data).hexdigest() for name, data in sorted(files.items())}


class Run:
    """One run folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.ledger = Ledger(folder / "ledger.sqlite")
        self._inputs: Problem | None = None

    @property
    def name(self) -> str:
        """The folder's name."""
        return self.folder.name

    @classmethod
    def create(
        cls,
        runs: Path,
        name: str,
        loaded: Loaded,
        goals: Path | None = None,
        begin: Callable[[Ledger], None] | None = None,
        **told: Any,
    ) -> Run:
        """Make a new run folder with the inputs copied in; it is there whole or not at all.

        ``goals`` is where the goals file stands, kept for a rerun where it is near; ``begin`` gives the
        ledger what is known beforehand; ``told`` are further entries of run.json. Raises RunError where a
        run of that name is there already, or where the folder cannot be made.
        """
        folder = runs / name
        if os.path.lexists(folder):
            raise _there_already(folder)
        with _staged(folder) as staging:
            for file, data in loaded.files.items():
                write_bytes(staging / "inputs" / file, data)
            run = cls(staging)
            run.ledger.create()
            if begin is not None:
                begin(run.ledger)
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
                "coverage": coverage_now(run, problem, PROMISING),
                "model_check": model_check(loaded.goals, loaded.car, loaded.readings),
            }
            # a ledger that is open would go on under the name it had
            run.ledger.settle()
            write_file(staging / "run.json", _json(state))
        return cls(folder)

    @classmethod
    def find(cls, runs: Path, named: str) -> Run:
        """The run of a name below ``runs``, or of a path.

        Raises RunError where there is none, or where it is of a format that is not known.
        """
        for folder in (runs / named, Path(named)):
            if (folder / "run.json").is_file():
                run = cls(folder.resolve())
                check_folder(run.folder)
                found = run.state().get("format")
                if found != FORMAT:
                    raise RunError(
                        f"run '{named}' is of format {found!r}; this version knows {FORMAT}"
                    )
                return run
        near = names_of(runs)
        there = f"; runs there: {', '.join(near)}" if near else ""
        raise RunError(f"no run '{named}' in {runs}{there}")

    def state(self) -> dict[str, Any]:
        """What run.json says. Raises Unsound where it does not say what this version writes."""
        path = self.folder / "run.json"
        state = read_json(path)
        if not isinstance(state, dict):
            refuse(path, "it is no mapping")
        words = unprintable(state)
        if words is None and state.get("format") == FORMAT:
            words = misfit(STATE, state)
        if words is not None:
            refuse(path, words)
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
        """Add a line to the log. A log that cannot be written ends nothing: the line is left out."""
        line = json.dumps({"time": now(), "event": event, **facts}, sort_keys=True, allow_nan=False)
        with suppress(OSError), (self.folder / "log.jsonl").open("ab+") as file:
            # a kill or a full disk may have left half a line
            torn = file.seek(0, os.SEEK_END) > 0 and not _ends_a_line(file)
            file.write(f"{chr(10) * torn}{line}\n".encode())

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep other searches off this run while it is searched.

        Raises RunError where another process holds it. The hold ends with the process that has it, so a
        kill leaves nothing stale behind.
        """
        with ExitStack() as hold:
            try:
                lock = sqlite3.connect(self._lock, timeout=LOCK_WAIT, isolation_level=None)
                hold.callback(lock.close)
                lock.execute("BEGIN EXCLUSIVE")
            except sqlite3.OperationalError as error:
                if _is_busy(error):
                    words = f"run '{self.name}' is being searched by another process"
                else:
                    words = (
                        f"run '{self.name}' cannot be searched: {fault_words(error)}: {self._lock}"
                    )
                raise RunError(words) from None
            for name in WHOLE:
                clear_beside(self.folder / name)
            yield

    @property
    def _lock(self) -> Path:
        return self.folder / "search.lock"

    def is_held(self) -> bool:
        """Whether a process searches this run at this moment."""
        if not self._lock.is_file():
            return False
        look = sqlite3.connect(f"{self._lock.absolute().as_uri()}?mode=ro", timeout=0.0, uri=True)
        try:
            look.execute("SELECT count(*) FROM sqlite_master")
        except sqlite3.OperationalError as error:
            return _is_busy(error)
        finally:
            look.close()
        return False

    def status(self) -> str:
        """SEARCHING, STOPPED or FINISHED. One whose search was cut off, by a kill, is stopped."""
        return str(self.progress()["status"])

    def progress(self) -> dict[str, Any]:
        """How the search of this run stands: its status, why it ended, and how far it had come when.

        ``reason`` is None while it goes on; ``progress`` is None where run.json tells none yet.
        """
        # looked at first: a search that ends in between has then written how
        held = self.is_held()
        state = self.state()
        status, reason = str(state.get("status")), state.get("reason")
        if status == SEARCHING:
            status, reason = (SEARCHING, None) if held else (STOPPED, CUT_OFF)
        told = {"progress": state.get("progress"), "updated": state.get("updated")}
        return {"status": status, "reason": reason, **told}

    def load(self) -> Problem:
        """The inputs as they were when the run began.

        Raises RunError where a saved input is not what the run began with, InputError where it cannot
        be read.
        """
        loaded = load_saved(self.folder / "inputs")
        if digest(loaded.files) != self.state().get("inputs"):
            raise RunError(f"the inputs saved in {self.folder / 'inputs'} were changed")
        self._inputs = Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)
        return self._inputs

    def ranked(self, keep: int) -> list[Row]:
        """The ranking of what is finished so far.

        Raises Unsound where a run whose inputs were loaded ranks what is not of them.
        """
        rows = rank(self.ledger.each(), keep, self.ledger.built())
        if self._inputs is None:
            return rows
        return list(checked_rows(self._inputs, rows, self.ledger.path))

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


def _there_already(folder: Path) -> RunError:
    return RunError(f"there is a run of the name '{folder.name}' already: {folder}")


@contextmanager
def _staged(folder: Path) -> Iterator[Path]:
    """A hidden folder beside a folder's place, which becomes that folder once it is whole.

    Raises RunError where it cannot be made.
    """
    staging = folder.parent / f".new-{uuid.uuid4().hex[:12]}"
    try:
        staging.mkdir(parents=True)
        yield staging
        for place in (staging / "inputs", staging):
            sync_folder(place)
        try:
            staging.rename(folder)
        except OSError:
            if os.path.lexists(folder):
                raise _there_already(folder) from None
            raise
        sync_folder(folder.parent)
    except WRITE_FAULTS as error:
        raise RunError(f"the run folder {folder} cannot be made: {fault_words(error)}") from None
    finally:
        # of a folder that has come to its place nothing is left here
        shutil.rmtree(staging, ignore_errors=True)


def _ends_a_line(file: BinaryIO) -> bool:
    """Whether the last byte of a file that holds any ends a line."""
    file.seek(-1, os.SEEK_END)
    return file.read(1) == b"\n"


def _is_busy(error: sqlite3.Error) -> bool:
    """Whether a lock is refused because another process has it."""
    return error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


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
        **run.progress(),
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

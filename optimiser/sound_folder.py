"""Whether the files of a run folder are such as this program writes: a run folder may come from anyone.

Nothing in it may lead out of it, make a command wait for ever, fill the memory or run anything. So known
names have to be plain files and folders, texts are read up to a size, packed ones unpacked up to a size, and
a ledger is used only where its schema is ours to the letter: no view, trigger or virtual table is ever asked.

What is refused is raised as :class:`Unsound`.
"""

from __future__ import annotations

import json
import os
import sqlite3
import stat
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, NoReturn

# Far more than any run needs: of run.json, of a row or record packed and unpacked, bytes.
MOST_STATE = 4_000_000
MOST_PACKED = 16_000_000
MOST_UNPACKED = 64_000_000
# Rows shrink to an eighth; what grows a hundredfold and more is no row once it is large.
MOST_GROWTH, SMALL = 200, 1_000_000

LEDGER, LOCK, LOG = "ledger.sqlite", "search.lock", "log.jsonl"
FOLDERS = ("inputs", "sheets")
FILES = ("run.json", "ranked.json", "ranked.csv", "report.html", LOG)
INPUTS = ("goals.yaml", "car.yaml", "parts.yaml", "readings.yaml", "readings.csv")
# Files that SQLite keeps beside its own.
BESIDE = ("", "-journal", "-wal", "-shm")
# The end of a rollback journal that names another journal, which SQLite would delete: its file format, 3.
OF_SEVERAL = bytes.fromhex("d9d505f920a163d7")


class Unsound(ValueError):
    """A run folder that does not hold what this version writes, in words for the user."""


def check_folder(folder: Path) -> None:
    """Raises Unsound where a known name in a run folder is a link, or not the kind of thing it has to be."""
    if not folder.name.isprintable():
        raise Unsound("the run folder's name has control characters in it: give it another name")
    for name in FOLDERS:
        _need(folder / name, stat.S_ISDIR, "folder")
    inputs = [f"inputs/{name}" for name in INPUTS]
    own = [f"{name}{suffix}" for name in (LEDGER, LOCK) for suffix in BESIDE]
    for name in (*FILES, *inputs, *own):
        _need(folder / name, stat.S_ISREG, "plain file")


def _need(path: Path, is_kind: Any, kind: str) -> os.stat_result | None:
    """What stands at a path, which is of a kind; None where nothing does."""
    try:
        found = path.lstat()
    except FileNotFoundError:
        return None
    if not is_kind(found.st_mode):
        what = "a link" if stat.S_ISLNK(found.st_mode) else f"not a {kind}"
        raise Unsound(f"{path} is {what}: a run folder has a {kind} there")
    return found


def check_searchable(folder: Path) -> None:
    """Raises Unsound where a search that goes on in a run folder would write anything elsewhere."""
    _check_written(folder / LOG)
    for name in (LEDGER, LOCK):
        check_database(folder / name, written=True)


def _check_written(path: Path) -> None:
    """Raises Unsound where a file that is written in place is a link or has a second name elsewhere."""
    found = _need(path, stat.S_ISREG, "plain file")
    if found is not None and found.st_nlink > 1:
        raise Unsound(
            f"{path} has a second name elsewhere (a hard link), which writing would change as well: "
            "copy the run folder and use the copy"
        )


def check_database(path: Path, *, written: bool) -> None:
    """Raises Unsound where SQLite should not open a file of ours, for what stands there or beside it."""
    for suffix in BESIDE:
        beside = path.with_name(f"{path.name}{suffix}")
        if written:
            _check_written(beside)
        else:
            _need(beside, stat.S_ISREG, "plain file")
    journal = path.with_name(f"{path.name}-journal")
    if journal.exists() and _end(journal) == OF_SEVERAL:
        raise Unsound(f"{journal} names files elsewhere: it is no journal of this run")


def _end(path: Path) -> bytes:
    size = len(OF_SEVERAL)
    with path.open("rb") as file:
        file.seek(max(0, file.seek(0, os.SEEK_END) - size))
        return file.read(size)


def secure(connection: sqlite3.Connection, path: Path, statements: Iterable[str]) -> None:
    """Make a connection to a ledger safe to use. Call it before anything is asked.

    Args:
        connection: just opened.
        path: the ledger's file, for messages.
        statements: those that make the tables it may have.
    """
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MOST_PACKED)
    connection.execute("PRAGMA trusted_schema=OFF")
    connection.execute("PRAGMA cell_size_check=ON")
    connection.execute("PRAGMA mmap_size=0")
    made = {_as_kept(text) for text in statements}
    found = connection.execute("SELECT type, name, sql FROM sqlite_master").fetchall()
    for kind, name, text in found:
        of_ours = kind == "index" and text is None and str(name).startswith("sqlite_autoindex_")
        if not of_ours and (kind, text) not in {("table", each) for each in made}:
            refuse(path, f"{str(name)[:40]!a} is no table of ours")
    if len({name for _, name, _ in found}) < len(found):
        refuse(path, "a table is there twice")


def _as_kept(statement: str) -> str:
    """A statement that makes a table as SQLite keeps it."""
    return statement.lstrip().replace("CREATE TABLE IF NOT EXISTS", "CREATE TABLE", 1)


def rising(path: Path, rows: Iterable[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    """Rows of a table by their number, which comes first: whole, from 0, and each larger than the last.

    In a ledger whose pages lead back to each other they would never end. Raises Unsound.
    """
    last = -1
    for row in rows:
        if not isinstance(row[0], int) or row[0] <= last:
            refuse(path, f"build {last} is followed by {str(row[0])[:40]!a}")
        last = row[0]
        yield row


def unpacked(data: object, where: str, path: Path) -> Any:
    """A row or record of the ledger: packed JSON with finite numbers. Raises Unsound."""
    if not isinstance(data, bytes):
        refuse(path, f"{where} is not packed")
    most = min(MOST_UNPACKED, max(SMALL, MOST_GROWTH * len(data)))
    try:
        packing = zlib.decompressobj()
        text = packing.decompress(data, most)
    except zlib.error:
        refuse(path, f"{where} cannot be unpacked")
    if packing.unconsumed_tail or not packing.eof:
        refuse(path, f"{where} is cut off" if len(text) < most else f"{where} is far too large")
    return plain_json(text, where, path)


def read_json(path: Path) -> Any:
    """The JSON of a file of a run folder, with finite numbers. Raises Unsound, OSError."""
    _need(path, stat.S_ISREG, "plain file")
    with path.open("rb") as file:
        data = file.read(MOST_STATE + 1)
    if len(data) > MOST_STATE:
        raise Unsound(f"{path} is far too large for a run's state")
    return plain_json(data, "its text", path)


def plain_json(data: bytes, where: str, path: Path) -> Any:
    """What a JSON text says. Raises Unsound where it is none, nests too deep or has a number that is none."""
    try:
        return json.loads(data, parse_constant=_no_number)
    except RecursionError:
        refuse(path, f"{where} is nested too deep")
    except ValueError as error:
        # of text that is not UTF-8 the error would tell all of it
        words = "not UTF-8" if isinstance(error, UnicodeError) else str(error)
        refuse(path, f"{where} is not JSON: {words}")


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


def refuse(path: Path, what: str) -> NoReturn:
    """Raise Unsound of a file of a run folder."""
    raise Unsound(f"{path} does not hold what this version writes: {what}")

"""The ledger: one row a finished build, the run's truth.

SQLite in write-ahead mode, one transaction a build, so that a build once finished survives a kill at any
moment. Only the coordinator writes; anyone may read at any time. A row is JSON, compressed with zlib: a
night makes many thousands of them, and they shrink to an eighth.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from optimiser import row_shape
from optimiser.sound_folder import check_database, refuse, rising, secure, unpacked

Row = dict[str, Any]

DONE = "done"
FAILED = "failed"

_TABLE = """
CREATE TABLE IF NOT EXISTS builds (
    number INTEGER PRIMARY KEY,
    status TEXT NOT NULL CHECK (status IN ('done', 'failed')),
    covered INTEGER NOT NULL,
    row BLOB NOT NULL
) STRICT
"""


# What became of ranked candidates when they were built many times: see optimiser.yields.
_BUILT = """
CREATE TABLE IF NOT EXISTS as_built (
    number INTEGER PRIMARY KEY,
    record BLOB NOT NULL
) STRICT
"""

# What an earlier run found that this one need not find again, until it has: see optimiser.reuse.
_KNOWN = """
CREATE TABLE IF NOT EXISTS known (
    kind TEXT NOT NULL CHECK (kind IN ('sweeps', 'built')),
    number INTEGER NOT NULL,
    record BLOB NOT NULL,
    PRIMARY KEY (kind, number)
) STRICT
"""
SWEEPS, BUILT = "sweeps", "built"
_STATEMENTS = (_TABLE, _BUILT, _KNOWN)
_ROW_SHAPES: dict[str, TypeAdapter[Any]] = {DONE: row_shape.RANKED, FAILED: row_shape.FAILED_ROW}


class Ledger:
    """The rows of one run."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._writer: sqlite3.Connection | None = None

    def _writing(self) -> sqlite3.Connection:
        """The connection that writes; kept open, for opening one costs some ten times what a row does."""
        if self._writer is None:
            check_database(self.path, written=True)
            self._writer = sqlite3.connect(self.path, timeout=30.0)
            secure(self._writer, self.path, _STATEMENTS)
            self._writer.execute("PRAGMA journal_mode=WAL")
            self._writer.execute("PRAGMA synchronous=FULL")
        return self._writer

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        check_database(self.path, written=False)
        with closing(_read_only(self.path)) as connection:
            try:
                secure(connection, self.path, _STATEMENTS)
            except sqlite3.OperationalError:
                if not self.path.is_file() or os.access(self.path.parent, os.W_OK):
                    raise
            else:
                yield connection
                return
        # a run that was cut off has a write-ahead log, which is not read where nothing can be written
        with closing(self._open_copy()) as connection:
            secure(connection, self.path, _STATEMENTS)
            yield connection

    def _open_copy(self) -> sqlite3.Connection:
        """A connection to a copy in memory of a ledger that stands where nothing can be written."""
        with tempfile.TemporaryDirectory() as folder:
            for suffix in ("", "-wal"):
                with suppress(FileNotFoundError):
                    shutil.copyfile(f"{self.path}{suffix}", Path(folder) / f"ledger{suffix}")
            connection = sqlite3.connect(":memory:")
            with closing(_read_only(Path(folder) / "ledger")) as copied:
                copied.backup(connection)
        return connection

    def create(self) -> None:
        """Make an empty ledger; an existing one is left as it is."""
        with self._writing() as connection:
            connection.execute(_TABLE)
            connection.execute(_BUILT)

    def add_built(self, number: int, record: Row) -> None:
        """Write what became of a candidate built many times; one that is there already is left as it is."""
        text = _packed(record)
        with self._writing() as connection:
            # a ledger of an earlier version has no such table
            connection.execute(_BUILT)
            connection.execute("INSERT OR IGNORE INTO as_built VALUES (?, ?)", (number, text))

    def built(self) -> dict[int, Row]:
        """What became of each candidate that was built many times, by its build's number."""
        with self._reading() as connection:
            if not _has(connection, "as_built"):
                return {}
            rows = connection.execute("SELECT number, record FROM as_built ORDER BY number")
            return {
                number: self._read(text, number, "number", row_shape.AS_BUILT)
                for number, text in rising(self.path, rows)
            }

    def _read(self, data: object, number: int, name: str, shape: TypeAdapter[Any]) -> Row:
        """A packed row or record that tells the number of its build by a name. Raises Unsound."""
        record = self._shaped(data, number, shape)
        if record[name] != number:
            refuse(self.path, f"build {number} tells of build {record[name]}")
        return record

    def _shaped(self, data: object, number: int, shape: TypeAdapter[Any]) -> Row:
        record: Row = unpacked(data, f"build {number}", self.path)
        words = row_shape.misfit(shape, record)
        if words is not None:
            refuse(self.path, f"build {number}: {words}")
        return record

    def row(self, number: int) -> Row:
        """The row of one finished build; KeyError where there is none."""
        with self._reading() as connection:
            found = connection.execute("SELECT row FROM builds WHERE number = ?", (number,))
            text = found.fetchone()
        if text is None:
            raise KeyError(number)
        return self._read(text[0], number, "build", row_shape.RANKED)

    def add(self, number: int, status: str, covered: int, row: Row) -> None:
        """Write a finished build. A build that is there already is left as it is."""
        text = _packed(row)
        # one transaction: on the disk when this returns
        with self._writing() as connection:
            connection.execute(
                "INSERT OR IGNORE INTO builds VALUES (?, ?, ?, ?)", (number, status, covered, text)
            )

    def seed(
        self, rows: Iterable[tuple[int, int, Row]], known: Iterable[tuple[str, int, Row]]
    ) -> None:
        """Begin with what an earlier run found, all of it or nothing.

        ``rows`` are finished builds: number, combinations covered, row. ``known`` is what is to be used when
        a build's turn comes: kind (SWEEPS or BUILT), number, record.
        """
        with self._writing() as connection:
            connection.execute(_KNOWN)
            connection.executemany(
                "INSERT INTO builds VALUES (?, ?, ?, ?)",
                ((number, DONE, covered, _packed(row)) for number, covered, row in rows),
            )
            connection.executemany(
                "INSERT INTO known VALUES (?, ?, ?)",
                ((kind, number, _packed(record)) for kind, number, record in known),
            )

    def known(self, kind: str) -> set[int]:
        """Numbers of the builds of which something is known beforehand."""
        query = "SELECT number FROM known WHERE kind = ? ORDER BY number"
        with self._reading() as connection:
            if not _has(connection, "known"):
                return set()
            rows = connection.execute(query, (kind,))
            return {number for (number,) in rising(self.path, rows)}

    def known_of(self, kind: str, number: int) -> Row:
        """What is known beforehand of a build; KeyError where nothing is."""
        query = "SELECT record FROM known WHERE kind = ? AND number = ?"
        with self._reading() as connection:
            text = connection.execute(query, (kind, number)).fetchone()
        if text is None:
            raise KeyError(number)
        if kind == BUILT:
            return self._read(text[0], number, "number", row_shape.AS_BUILT)
        return self._shaped(text[0], number, row_shape.SWEEPS)

    def forget_known(self) -> None:
        """Drop what was known beforehand, once it is used."""
        connection = self._writing()
        # nothing hangs on it: another reader may look on, or the disk be full
        with suppress(sqlite3.OperationalError):
            if _has(connection, "known"):
                with connection:
                    connection.execute("DROP TABLE known")
                # what room it took is given back
                connection.execute("VACUUM")

    def settle(self) -> None:
        """Fold the write-ahead log into the one file, so that a run at rest can be read from anywhere.

        Ends writing; a row added later begins anew.
        """
        connection, self._writer = self._writing(), None
        try:
            # another reader may be looking on; then the log stays beside the file, which is as sound
            with suppress(sqlite3.OperationalError):
                connection.execute("PRAGMA journal_mode=DELETE")
        finally:
            connection.close()

    def finished(self) -> set[int]:
        """Numbers of all builds that have a row."""
        with self._reading() as connection:
            rows = connection.execute("SELECT number FROM builds ORDER BY number")
            return {number for (number,) in rising(self.path, rows)}

    def counts(self) -> tuple[int, int, int]:
        """Builds finished, builds failed among them, and combinations covered."""
        done = failed = combinations = 0
        query = "SELECT number, status, covered FROM builds ORDER BY number"
        with self._reading() as connection:
            for number, status, covered in rising(self.path, connection.execute(query)):
                if status not in (DONE, FAILED) or not isinstance(covered, int) or covered < 0:
                    refuse(self.path, f"build {number} does not tell how it stands")
                done += 1
                failed += status == FAILED
                combinations += covered
        return done, failed, combinations

    def rows(self, status: str = DONE) -> list[Row]:
        """All rows of a status, by build number."""
        return list(self.each(status))

    def each(self, status: str = DONE) -> Iterator[Row]:
        """The rows of a status one by one, by build number: a night's rows need not be held together."""
        # all of them are asked for: of pages that lead back to each other SQLite would skip rows for ever
        query = "SELECT number, status, row FROM builds ORDER BY number"
        with self._reading() as connection:
            for number, told, text in rising(self.path, connection.execute(query)):
                if told == status:
                    yield self._read(text, number, "build", _ROW_SHAPES[status])


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=30.0)


def _packed(row: Row) -> bytes:
    return zlib.compress(json.dumps(row, sort_keys=True, allow_nan=False).encode())


def _has(connection: sqlite3.Connection, table: str) -> bool:
    """Whether a ledger has a table; one of an earlier version may not."""
    there = "SELECT count(*) FROM sqlite_master WHERE name = ?"
    return bool(connection.execute(there, (table,)).fetchone()[0])

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


class Ledger:
    """The rows of one run."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._writer: sqlite3.Connection | None = None

    def _writing(self) -> sqlite3.Connection:
        """The connection that writes; kept open, for opening one costs some ten times what a row does."""
        if self._writer is None:
            self._writer = sqlite3.connect(self.path, timeout=30.0)
            self._writer.execute("PRAGMA journal_mode=WAL")
            self._writer.execute("PRAGMA synchronous=FULL")
        return self._writer

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        connection = self._open_to_read()
        try:
            yield connection
        finally:
            connection.close()

    def _open_to_read(self) -> sqlite3.Connection:
        """A connection that only reads. Raises sqlite3.Error where there is no ledger."""
        connection = _read_only(self.path)
        try:
            connection.execute("SELECT count(*) FROM sqlite_master")
        except sqlite3.OperationalError:
            connection.close()
            if not self.path.is_file() or os.access(self.path.parent, os.W_OK):
                raise
            # a run that was cut off has a write-ahead log, which is not read where nothing can be written
            return self._open_copy()
        return connection

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
            return {int(number): json.loads(zlib.decompress(text)) for number, text in rows}

    def row(self, number: int) -> Row:
        """The row of one finished build; KeyError where there is none."""
        with self._reading() as connection:
            found = connection.execute("SELECT row FROM builds WHERE number = ?", (number,))
            text = found.fetchone()
        if text is None:
            raise KeyError(number)
        row: Row = json.loads(zlib.decompress(text[0]))
        return row

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
        query = "SELECT number FROM known WHERE kind = ?"
        with self._reading() as connection:
            if not _has(connection, "known"):
                return set()
            return {int(number) for (number,) in connection.execute(query, (kind,))}

    def known_of(self, kind: str, number: int) -> Row:
        """What is known beforehand of a build; KeyError where nothing is."""
        query = "SELECT record FROM known WHERE kind = ? AND number = ?"
        with self._reading() as connection:
            text = connection.execute(query, (kind, number)).fetchone()
        if text is None:
            raise KeyError(number)
        record: Row = json.loads(zlib.decompress(text[0]))
        return record

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
            return {number for (number,) in connection.execute("SELECT number FROM builds")}

    def counts(self) -> tuple[int, int, int]:
        """Builds finished, builds failed among them, and combinations covered."""
        # the sum of what is covered may leave 64 bits: in halves it does not
        query = """
            SELECT count(*), total(status = 'failed'),
                coalesce(sum(covered >> 32), 0), coalesce(sum(covered & 4294967295), 0)
            FROM builds
        """
        with self._reading() as connection:
            done, failed, high, low = connection.execute(query).fetchone()
        return int(done), int(failed), (int(high) << 32) + int(low)

    def rows(self, status: str = DONE) -> list[Row]:
        """All rows of a status, by build number."""
        return list(self.each(status))

    def each(self, status: str = DONE) -> Iterator[Row]:
        """The rows of a status one by one, by build number: a night's rows need not be held together."""
        query = "SELECT row FROM builds WHERE status = ? ORDER BY number"
        with self._reading() as connection:
            for (text,) in connection.execute(query, (status,)):
                yield json.loads(zlib.decompress(text))


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=30.0)


def _packed(row: Row) -> bytes:
    return zlib.compress(json.dumps(row, sort_keys=True, allow_nan=False).encode())


def _has(connection: sqlite3.Connection, table: str) -> bool:
    """Whether a ledger has a table; one of an earlier version may not."""
    there = "SELECT count(*) FROM sqlite_master WHERE name = ?"
    return bool(connection.execute(there, (table,)).fetchone()[0])

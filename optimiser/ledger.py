"""The ledger: one row a finished build, the run's truth.

SQLite in write-ahead mode, one transaction a build, so that a build once finished survives a kill at any
moment. Only the coordinator writes; anyone may read at any time. A row is JSON, compressed with zlib: a
night makes many thousands of them, and they shrink to an eighth.
"""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
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


class Ledger:
    """The rows of one run."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @contextmanager
    def _connection(self, *, write: bool) -> Iterator[sqlite3.Connection]:
        if write:
            connection = sqlite3.connect(self.path, timeout=30.0)
        else:
            connection = sqlite3.connect(f"file:{self.path}?mode=ro", uri=True, timeout=30.0)
        try:
            if write:
                connection.execute("PRAGMA journal_mode=WAL")
                connection.execute("PRAGMA synchronous=FULL")
            yield connection
        finally:
            connection.close()

    def create(self) -> None:
        """Make an empty ledger; an existing one is left as it is."""
        with self._connection(write=True) as connection, connection:
            connection.execute(_TABLE)

    def add(self, number: int, status: str, covered: int, row: Row) -> None:
        """Write a finished build. A build that is there already is left as it is."""
        text = zlib.compress(json.dumps(row, sort_keys=True, allow_nan=False).encode())
        with self._connection(write=True) as connection, connection:
            connection.execute(
                "INSERT OR IGNORE INTO builds VALUES (?, ?, ?, ?)", (number, status, covered, text)
            )

    def settle(self) -> None:
        """Fold the write-ahead log into the one file, so that a run at rest can be read from anywhere."""
        # another reader may be looking on; then the log stays beside the file, which is as sound
        with self._connection(write=True) as connection, suppress(sqlite3.OperationalError):
            connection.execute("PRAGMA journal_mode=DELETE")

    def finished(self) -> set[int]:
        """Numbers of all builds that have a row."""
        with self._connection(write=False) as connection:
            return {number for (number,) in connection.execute("SELECT number FROM builds")}

    def counts(self) -> tuple[int, int, int]:
        """Builds finished, builds failed among them, and combinations covered."""
        query = "SELECT count(*), total(status = 'failed'), total(covered) FROM builds"
        with self._connection(write=False) as connection:
            done, failed, covered = connection.execute(query).fetchone()
        return int(done), int(failed), int(covered)

    def rows(self, status: str = DONE) -> list[Row]:
        """All rows of a status, by build number."""
        query = "SELECT row FROM builds WHERE status = ? ORDER BY number"
        with self._connection(write=False) as connection:
            return [
                json.loads(zlib.decompress(text))
                for (text,) in connection.execute(query, (status,))
            ]

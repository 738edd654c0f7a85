"""Files that a kill, a power cut or a full disk leaves as they were or as they should be, never half.

A file is written beside its place, put on the disk, then moved; a move within one folder is whole or is not.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

# What a full, lost or read-only disk raises: from files, and from the ledger.
WRITE_FAULTS = (OSError, sqlite3.OperationalError)
# How long room on the disk is waited for before a search stops, and how often it is looked for, s.
PATIENCE = 30.0
LOOK_AGAIN = 1.0


class CannotWrite(Exception):
    """What a run hangs on could not be written, in words for the user."""


def write_file(path: Path, text: str) -> None:
    """Put a text in place whole. Raises OSError, which names the place."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """Put a file in place whole. Raises OSError, which names the place."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=_beside(path.name))
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
    except OSError as error:
        # the file beside it is nobody's affair, and a failing write names no file at all
        raise OSError(error.errno, error.strerror, str(path)) from None
    sync_folder(path.parent)


def _beside(name: str) -> str:
    return f".{name}."


def sync_folder(folder: Path) -> None:
    """Put a folder's names on the disk, so that a move outlives a power cut; where the system can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def clear_beside(path: Path) -> None:
    """Remove what a kill in the middle of writing a file has left beside it."""
    for left in path.parent.glob(_beside(path.name) + "*"):
        with suppress(OSError):
            left.unlink()


def fault_words(error: BaseException) -> str:
    """What a disk says, without the place."""
    words = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return words[:1].lower() + words[1:]


def patiently(
    write: Callable[[], None], tell: Callable[[str | None], None], stop: Callable[[], bool]
) -> None:
    """Write, and where the disk refuses wait for it.

    Args:
        write: what writes; it leaves nothing half done when it raises one of ``WRITE_FAULTS``.
        tell: is told what is waited for, and None when it has come.
        stop: whether to wait no longer.

    Raises CannotWrite after ``PATIENCE`` seconds, or once ``stop`` says so.
    """
    until = time.monotonic() + PATIENCE
    waited = False
    while True:
        try:
            write()
        except WRITE_FAULTS as error:
            if stop() or time.monotonic() >= until:
                raise CannotWrite(f"the run cannot be written: {fault_words(error)}") from error
            waited = True
            tell(f"cannot write ({fault_words(error)}): trying again")
            time.sleep(LOOK_AGAIN)
        else:
            if waited:
                tell(None)
            return

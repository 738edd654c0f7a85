"""A command called in this very process: its output, its exit code, and whether it may end so."""

from __future__ import annotations

import io
import json
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from unittest.mock import patch

from optimiser.entry import BAD_INPUT, STOPPED_EARLY, main


@dataclass(frozen=True)
class Called:
    """What a command did; ``broke`` is what it raised where it did not end as commands do."""

    words: tuple[str, ...]
    code: int
    out: str
    err: str
    broke: str | None = None

    def faults(self) -> list[str]:
        """What is wrong with how it ended, whatever it was given."""
        found = [] if self.broke is None else [f"it raised {self.broke}"]
        if self.broke is None and self.code not in (0, 1, BAD_INPUT, STOPPED_EARLY):
            found.append(f"it ended with {self.code}")
        if self.code == BAD_INPUT and not self.err.strip():
            found.append("it said nothing of what is wrong")
        if self.code == BAD_INPUT and self.err.count("shimwright:") > 1:
            found.append("it said more than one thing")
        found += [f"{ord(c):#x} was printed" for c in {*self.out, *self.err} if steers(c)]
        if "--json" in self.words and self.code in (0, 1) and self.broke is None:
            try:
                json.loads(self.out, parse_constant=_no_number)
            except ValueError as error:
                found.append(f"its document is none: {error}")
        return found


def steers(letter: str) -> bool:
    """Whether a letter may steer a terminal: control characters but for the end of a line."""
    return letter != "\n" and (ord(letter) < 32 or 127 <= ord(letter) < 160)


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number")


def call(*words: str) -> Called:
    """Call the command."""
    out, err = io.StringIO(), io.StringIO()
    code, broke = 0, None
    with (
        patch.object(sys, "argv", ["shimwright", *words]),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0
        except Exception as error:  # any at all is what is looked for
            broke = _told(error)
    return Called(words, code, out.getvalue(), err.getvalue(), broke)


def _told(error: BaseException) -> str:
    """An error with where it was raised."""
    at = error.__traceback__
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    where = "" if at is None else f" in {at.tb_frame.f_code.co_filename}:{at.tb_lineno}"
    return f"{type(error).__name__}: {str(error)[:200]}{where}"

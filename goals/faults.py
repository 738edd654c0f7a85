"""Faults in files that people write: one message each, with its place, in a builder's words."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice

# A file with more faults than this was not written by hand; the rest is left out.
MAX_FAULTS = 300
# More words than this are no help to read, unless nothing close was found.
MAX_FEW = 16
MAX_SHOWN = 60
# Above this length a word is not a slip of the finger, and comparing it would take long.
MAX_WORD = 80
# Comparing with more words than this would take long.
MAX_CANDIDATES = 500


@dataclass(frozen=True)
class Fault:
    """One fault in one file; ``line`` and ``column`` count from 1, both 0 mean the file as a whole.

    ``found`` says what stands there, ``expected`` what should (may be empty) and ``nearest`` is the
    closest valid word, if any is close.
    """

    file: str
    line: int
    column: int
    found: str
    expected: str = ""
    nearest: str | None = None

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        return f"{place}: {sentence(self.found, self.expected, self.nearest)}"


class InputError(Exception):
    """The files cannot be used: ``faults`` holds every fault of all files, in order of place."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: list[Fault] = list(faults)
        super().__init__("\n".join(map(str, self.faults)))


class Unsound(ValueError):
    """A value that breaks a rule, in the parts of a fault but without its place."""

    def __init__(self, found: str, expected: str = "", nearest: str | None = None) -> None:
        self.found, self.expected, self.nearest = found, expected, nearest
        super().__init__(sentence(found, expected, nearest))


def sentence(found: str, expected: str, nearest: str | None) -> str:
    """The words of a fault in one line."""
    parts = [found]
    if expected:
        parts.append(f"expected {expected}")
    if nearest is not None and nearest != expected:
        parts.append(f"perhaps you meant '{nearest}'")
    return "; ".join(parts)


@lru_cache(maxsize=4096)
def _nearest(word: str, valid: tuple[str, ...]) -> str | None:
    folded = {name.casefold(): name for name in reversed(valid)}
    close = difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    return folded[close[0]] if close else None


def nearest(word: object, valid: Iterable[str]) -> str | None:
    """The valid word closest to ``word`` without regard to case, or None when none is close."""
    if not isinstance(word, str) or not 0 < len(word) <= MAX_WORD:
        return None
    return _nearest(word, tuple(islice(valid, MAX_CANDIDATES)))


def one_of(words: Sequence[str], close: str | None = None) -> str:
    """``one of a, b, c`` when the words are few; a long list only when nothing close was found."""
    if not words or (len(words) > MAX_FEW and close is not None):
        return ""
    if len(words) > 4 * MAX_FEW:
        return f"one of {len(words)} words"
    return words[0] if len(words) == 1 else "one of " + ", ".join(words)


def show(value: object) -> str:
    """A value as the person who wrote the file would name it, short and on one line."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}" if value else "an empty list"
    if isinstance(value, str):
        short = value if len(value) <= MAX_SHOWN else value[: MAX_SHOWN - 1] + "…"
        # repr makes line breaks and control characters visible.
        return repr(short)
    return f"{value:g}" if isinstance(value, float) else str(value)

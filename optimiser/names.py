"""Names of runs. A small module, for the shell asks it while someone types."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

MOST_NAME = 80


class RunError(Exception):
    """A run that cannot be used as asked, in words for the user."""


def names_of(runs: Path) -> list[str]:
    """Names of the runs in a folder; what is hidden is none, nor what would steer a terminal."""
    names = (path.parent.name for path in runs.glob("*/run.json"))
    return sorted(name for name in names if not name.startswith(".") and name.isprintable())


def check_name(name: str | None) -> None:
    """Raises RunError where a name that someone gave cannot be a run's."""
    if name is None:
        return
    words = f"'{name[:MOST_NAME]}' is no name for a run"
    # a candidate is named RUN#N
    if not name.strip() or name.startswith((".", "-")) or any(sign in name for sign in "/\\#"):
        raise RunError(f"{words}: a plain word, no folders and no '#'")
    if not name.isprintable() or len(name) > MOST_NAME:
        raise RunError(f"{words}: a plain word of {MOST_NAME} letters at most")


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

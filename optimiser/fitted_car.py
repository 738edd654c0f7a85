"""The car file with fitted points, beside the old one: its text as it was, only numbers of points changed.

The old file is never touched. Comments, order and units of everything else stay; a comment says what the
points were fitted from. A car that stands in the goals file is written as a file of its own.
"""

from __future__ import annotations

import hashlib
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from goals.document import Path as Place
from goals.document import Span, read_document, spans
from goals.reading import CAR, GOALS, Loaded
from optimiser.fit import Fit
from optimiser.wording import clean, short

FITTED = ".fitted"
PLACES = 2  # hundredths of a mm: finer than anything is measured
DIGEST = 16


@dataclass(frozen=True)
class Source:
    """The text that a car file is made from, and where its numbers stand in it."""

    text: str
    spans: Mapping[Place, Span]
    data: Any


def rounded(found: Fit) -> dict[tuple[str, str, int], float]:
    """Fitted coordinates as they are written, of those that moved: (section, point, axis) → mm."""
    space = found.model.space
    moved = {}
    for at, coordinate in enumerate(space.coordinates[: space.points]):
        value = round(float(space.measured[at] + found.shift[at]), PLACES)
        if abs(value - float(space.measured[at])) >= 0.5 * 10.0**-PLACES:
            moved[coordinate.section, coordinate.name, coordinate.axis] = value
    return moved


def write_fitted(
    loaded: Loaded, found: Fit, beside: Path, readings: Path, raw: bytes, *, sound: bool = True
) -> Path:
    """Write the fitted car beside a file, under a name that is free, and return where.

    Args:
        loaded: the goals as read, with the car.
        found: the fit.
        beside: the car file, or the goals file that holds the car.
        readings: the readings file, and ``raw`` its bytes, for the comment.
        sound: whether the fitted car reproduces the readings; the comment says where it does not.
    """
    source = _source(loaded)
    head = (
        f"# Points fitted to the readings in {clean(readings.name)}, "
        f"SHA-256 {hashlib.sha256(raw).hexdigest()[:DIGEST]}…,\n"
        f"# from {clean(beside.name)}. {len(rounded(found))} numbers of points differ from it, nothing "
        "else.\n"
    )
    if not sound:
        head += (
            "# It does NOT reproduce those readings: a ranking from it should not be believed.\n"
        )
    text = _with_points(source, head, rounded(found))
    return _put(beside, beside.name if CAR in loaded.files else CAR, text)


def _source(loaded: Loaded) -> Source:
    """The car's own text: its file, or the part of the goals file where it stands."""
    if CAR in loaded.files:
        return _read(loaded.files[CAR].decode("utf-8-sig"))
    goals = loaded.files[GOALS]
    text, found = goals.decode("utf-8-sig"), spans(goals).get(("car",))
    wanted = read_document("", goals).data["car"]
    if found is not None and not found.flow:
        start = text.rfind("\n", 0, found.start) + 1
        cut = _read(textwrap.dedent(text[start : found.end]).rstrip() + "\n")
        if cut.data == wanted:
            return cut
    return _read(yaml.safe_dump(wanted, sort_keys=False, allow_unicode=True))


def _read(text: str) -> Source:
    raw = text.encode("utf-8", "surrogatepass")
    document = read_document("", raw)
    return Source(text, spans(raw) if document.readable else {}, document.data)


def _with_points(source: Source, head: str, moved: dict[tuple[str, str, int], float]) -> str:
    """The text with the moved numbers in it; made anew where references leave no place to put them."""
    wanted = _moved_data(source.data, moved)
    text = source.text
    changes = [
        (source.spans[place], value)
        for (section, name, axis), value in moved.items()
        if (place := (section, name, str(axis))) in source.spans
    ]
    for span, value in sorted(changes, key=lambda change: -change[0].start):
        text = text[: span.start] + short(value) + text[span.end :]
    if read_document("", text.encode()).data != wanted:
        old = "".join(f"# {line}\n" for line in source.text.splitlines())
        text = yaml.safe_dump(wanted, sort_keys=False, allow_unicode=True)
        text += f"# the file that this was made from:\n{old}"
    return _headed(text, head)


def _moved_data(data: Any, moved: dict[tuple[str, str, int], float]) -> Any:
    """The plain data with the moved numbers in it."""
    changed = {**data}
    for (section, name, axis), value in moved.items():
        points = changed[section] = {**changed[section]}
        point = points[name] = list(points[name])
        point[axis] = value
    return changed


def _headed(text: str, head: str) -> str:
    """The text with a comment after the comments that it begins with."""
    lines = text.splitlines(keepends=True)
    at = 0
    while at < len(lines) and (lines[at].startswith(("#", "%")) or not lines[at].strip()):
        at += 1
    ending = "\r\n" if "\r\n" in text else "\n"
    return "".join([*lines[:at], head.replace("\n", ending), *lines[at:]])


def _put(beside: Path, name: str, text: str) -> Path:
    """Write under the next name that is free; a file that is there is never touched."""
    stem = Path(name).stem.split(FITTED)[0] + FITTED
    suffix, number = Path(name).suffix or ".yaml", 1
    while True:
        path = beside.parent / f"{stem}{'' if number == 1 else f'-{number}'}{suffix}"
        try:
            with path.open("x", encoding="utf-8", newline="") as file:
                file.write(text)
        except FileExistsError:
            number += 1
            continue
        return path

"""A part of a document, asked for in plain steps: what stands there, and faults at its place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from goals.document import Document, Path, key_text
from goals.faults import Fault
from goals.units import LENGTH, Kind, read_quantity


@dataclass(frozen=True)
class Section:
    """A part of a document that one model describes: the whole, or a mapping within it."""

    document: Document
    path: Path = ()

    @property
    def data(self) -> Any:
        """The plain data of the section; None where the path leads nowhere."""
        data = self.document.data
        for word in self.path:
            data = step_into(data, word)
        return data

    def down(self, *path: object) -> Section:
        """The section further down; keys and indices as they stand in the data."""
        return Section(self.document, (*self.path, *map(key_text, path)))

    def items(self) -> list[tuple[Any, Section]]:
        """Keys and sections of a mapping, indices and sections of a list, or nothing."""
        data = self.data
        keys = data if isinstance(data, dict) else range(len(data) if isinstance(data, list) else 0)
        return [(key, self.down(key)) for key in keys]

    def fault(
        self, found: str, expected: str = "", near: str | None = None, key: bool = False
    ) -> Fault:
        """A fault at the section's value, or at its key."""
        place = self.document.place(self.path, key)
        return Fault(self.document.file, place.line, place.column, found, expected, near)

    def mapping(self) -> dict[Any, Any]:
        """The data when it is a mapping, else an empty one."""
        data = self.data
        return data if isinstance(data, dict) else {}

    def quantity(self, kind: Kind) -> float | None:
        """The data as a quantity, or None when it is none: that is told elsewhere."""
        try:
            return read_quantity(self.data, kind)
        except ValueError:
            return None

    def point(self) -> tuple[float, float, float] | None:
        """The data as a point in mm, or None when it is none: that is told elsewhere."""
        if not isinstance(self.data, list) or len(self.data) != 3:
            return None
        x, y, z = (self.down(axis).quantity(LENGTH) for axis in range(3))
        return None if x is None or y is None or z is None else (x, y, z)


def step_into(data: Any, word: str) -> Any:
    """One step down the plain data; None where there is nothing."""
    if isinstance(data, dict):
        if word in data:
            return data[word]
        number = _number(word)
        return None if number is None else data.get(number)
    if isinstance(data, list | tuple) and word.isascii() and word.isdigit() and len(word) < 9:
        return data[int(word)] if int(word) < len(data) else None
    return None


def _number(word: str) -> int | float | None:
    for kind in (int, float):
        try:
            return kind(word)
        except ValueError:
            continue
    return None


def spoken(data: Any, path: Path) -> str:
    """A path in words: keys with points between, items of a list counted from 1."""
    words = ""
    for word in path:
        if isinstance(data, list | tuple) and word.isdigit():
            words += f"#{int(word) + 1}"
        else:
            words += f".{word}"
        data = step_into(data, word)
    return words.lstrip(".")

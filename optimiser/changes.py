"""What was changed between two sets of inputs, in words: the validated models held against each other.

Models, not files: comments, layout and a figure written in another unit are no change. Parts, obstacles and
the like are matched by their ids and names, wherever they stand.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from goals.duties import GoalsFile
from goals.parts import Part
from optimiser.problem import Problem
from optimiser.signature import plain_data
from optimiser.wording import clean, short

AXES = ("x", "y", "z")
MOST_SHOWN = 60
ORDER = "the order of its entries"
ABSENT = "not given"
# Sections of the car file whose entries are points.
POINTS = ("points", "points_right")
ASKS = {"limits": "limit", "targets": "target"}
# How entries of a list are known again.
NAMES = ("id", "name")

Path_ = tuple[str, ...]


@dataclass(frozen=True)
class Change:
    """One entry that differs: in which file, where in it, and how it reads before and after.

    ``before`` or ``after`` is None where the entry is not there.
    """

    file: str
    where: str
    before: str | None
    after: str | None

    @property
    def words(self) -> str:
        """The change in a line."""
        if self.where == ORDER:
            return f"{self.file}: {ORDER}"
        if self.before is None:
            return f"{self.file}: {self.where} added{_behind(self.after)}"
        if self.after is None:
            return f"{self.file}: {self.where} removed{_behind(self.before)}"
        return f"{self.file}: {self.where} {self.before} → {self.after}"

    @property
    def record(self) -> dict[str, str | None]:
        """The change as JSON tells it."""
        return {
            "file": self.file,
            "where": self.where,
            "before": self.before,
            "after": self.after,
            "words": self.words,
        }


def _behind(text: str | None) -> str:
    return f": {text}" if text else ""


def changes(old: Problem, new: Problem, goals_name: str = "goals.yaml") -> list[Change]:
    """Everything that differs between two problems' inputs, file by file, in the files' order."""
    found: list[Change] = []
    for file, before, after in _files(old, new, goals_name):
        own = list(_Differ(file).between((), before, after))
        if not own and _plain(before) != _plain(after):
            own = [Change(file, ORDER, "", "")]
        found += own
    return found


def _files(old: Problem, new: Problem, goals_name: str) -> Iterator[tuple[str, Any, Any]]:
    named = (new.goals.car, new.goals.parts, new.goals.readings or old.goals.readings)
    car, parts, readings = (Path(n).name if isinstance(n, str) else goals_name for n in named)
    yield goals_name, _without_others(old.goals), _without_others(new.goals)
    yield car, old.car, new.car
    yield parts, old.parts, new.parts
    yield readings, old.readings, new.readings


def _without_others(goals: GoalsFile) -> GoalsFile:
    """The goals with car and parts by name alone: those that stand within are told of by themselves."""
    own = {name: "" for name in ("car", "parts") if not isinstance(getattr(goals, name), str)}
    return goals.model_copy(update=own)


def _plain(value: Any) -> Any:
    """A model in its files' order, with notes and names."""
    if isinstance(value, BaseModel):
        return {name: _plain(getattr(value, name)) for name in type(value).model_fields}
    return plain_data(value) if not isinstance(value, (dict, list)) else _plain_many(value)


def _plain_many(value: dict[Any, Any] | list[Any]) -> Any:
    if isinstance(value, dict):
        return [[_plain(key), _plain(one)] for key, one in value.items()]
    return [_plain(one) for one in value]


@dataclass(frozen=True)
class _Differ:
    """Finds what differs within one file."""

    file: str

    def between(self, path: Path_, old: Any, new: Any) -> Iterator[Change]:
        """What differs beneath a place of the file."""
        if old == new:
            return
        if isinstance(old, BaseModel) and type(old) is type(new):
            for name in type(old).model_fields:
                yield from self.between((*path, name), getattr(old, name), getattr(new, name))
        elif isinstance(old, dict) and isinstance(new, dict):
            yield from self._mappings(path, old, new)
        elif all(one is None or isinstance(one, list) for one in (old, new)):
            yield from self._lists(path, old or [], new or [])
        elif _is_point(path, old) and _is_point(path, new):
            for axis, a, b in zip(AXES, old, new, strict=True):
                yield from self.between((*path, axis), a, b)
        else:
            yield self._change(path, old, new)

    def _mappings(self, path: Path_, old: dict[Any, Any], new: dict[Any, Any]) -> Iterator[Change]:
        for key in dict.fromkeys([*old, *new]):
            yield from self.between((*path, text_of(key)), old.get(key), new.get(key))

    def _lists(self, path: Path_, old: list[Any], new: list[Any]) -> Iterator[Change]:
        """Entries that have names are matched by them, others by their places where there are as many."""
        name = next((n for n in NAMES if all(hasattr(one, n) for one in [*old, *new])), None)
        if name is not None:
            before, after = ({str(getattr(one, name)): one for one in each} for each in (old, new))
            yield from self._mappings(path, before, after)
        elif len(old) == len(new) and any(isinstance(one, BaseModel) for one in old):
            for place, (a, b) in enumerate(zip(old, new, strict=True), 1):
                yield from self.between((*path, f"({place})"), a, b)
        else:
            yield self._change(path, old, new)

    def _change(self, path: Path_, old: Any, new: Any) -> Change:
        before, after = (None if one is None else text_of(one) for one in (old, new))
        if not isinstance(new or old, (BaseModel, dict)):
            # a single figure that was left to its default, or is now
            before, after = (one or ABSENT for one in (before, after))
        return Change(self.file, where(path), before, after)


def _is_point(path: Path_, value: Any) -> bool:
    numbers = isinstance(value, tuple) and len(value) == 3
    return numbers and not {"along", "axis", "normal"} & set(path)


def where(path: Sequence[str]) -> str:
    """A place of a file in words: 'duty pad: limit lock_inner min', 'tie_rod kit: price', 'ball_joint z'."""
    if not path:
        return "the file"
    if path[0] == "duties" and len(path) > 1:
        return _of_duty(path[1:])
    if path[0] == "stations" and len(path) > 2:
        return _of_part(path[1:])
    if path[0] in POINTS and len(path) > 1:
        side = "right " if path[0] == "points_right" else ""
        return side + " ".join(path[1:])
    return " ".join(path)


def _of_duty(path: Sequence[str]) -> str:
    name, *rest = path
    if not rest:
        return f"duty {name}"
    return f"duty {name}: {' '.join([ASKS.get(rest[0], rest[0]), *rest[1:]])}"


def _of_part(path: Sequence[str]) -> str:
    station, part, *rest = path
    named = f"{station} {part}"
    return f"{named}: {' '.join(rest)}" if rest else named


def text_of(value: Any) -> str:
    """A value of a file in a line, as it would be written, cut where it is long."""
    text = clean(_written(value))
    return text if len(text) <= MOST_SHOWN else text[: MOST_SHOWN - 1] + "…"


def _written(value: Any) -> str:
    if isinstance(value, Part):
        # what it does would fill lines
        named = [value.name] if value.name else []
        return ", ".join([*named, f"price {short(value.price)}"])
    if isinstance(value, BaseModel):
        told = {name: getattr(value, name) for name in type(value).model_fields}
        given = {n: one for n, one in told.items() if n in value.model_fields_set}
        return ", ".join(f"{name} {_written(one)}" for name, one in given.items())
    if isinstance(value, dict):
        return ", ".join(f"{_written(key)} {_written(one)}" for key, one in value.items())
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(_written(one) for one in value)}]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, (int, float)):
        return short(value)
    return str(value)

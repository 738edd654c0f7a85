"""Pydantic's findings as faults: each kind of error has one row in a table, nothing else.

A row says where the fault is placed (at the value, at the key, or at the mapping that lacks
something) and how it is worded.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import BaseModel, ValidationError

from goals.base import TAGS
from goals.document import Document, Path, Place, key_text
from goals.faults import Fault, Unsound, nearest, one_of, show
from goals.shape import valid_keys, wanted

# A file with more faults than this was not written by hand; the rest is only counted.
MAX_FAULTS = 300

Spot = Literal["value", "key", "parent"]


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
            data = _inner(data, word)
        return data

    def down(self, *path: object) -> Section:
        """The section further down; keys and indices as they stand in the data."""
        return Section(self.document, (*self.path, *map(key_text, path)))

    def items(self) -> list[tuple[Any, Section]]:
        """Keys and sections of a mapping, indices and sections of a list, or nothing."""
        data = self.data
        keys = data if isinstance(data, dict) else range(len(data) if _is_list(data) else 0)
        return [(key, self.down(key)) for key in keys]

    def fault(
        self, found: str, expected: str = "", near: str | None = None, key: bool = False
    ) -> Fault:
        """A fault at the section's value, or at its key."""
        place = self.document.place(self.path, key)
        return Fault(self.document.file, place.line, place.column, found, expected, near)


@dataclass(frozen=True)
class _Case:
    """One error of one model: what pydantic said, and where in the section."""

    model: type[BaseModel]
    section: Section
    kind: str
    path: Path
    raw: Any
    context: Mapping[str, Any] = field(default_factory=dict)
    is_key: bool = False
    message: str = ""

    @property
    def name(self) -> str:
        return self.path[-1] if self.path else ""

    def of(self, path: Path) -> str:
        """Words for where in the file, empty at the top."""
        return f" in {'.'.join(path)}" if path else ""

    @property
    def here(self) -> str:
        """The value as found, with the name of its place."""
        if self.is_key:
            return f"{show(self.raw)} as a key{self.of(self.path[:-1])}"
        return f"{show(self.raw)} for {'.'.join(self.path)}" if self.path else show(self.raw)


Words = tuple[str, str, str | None]


def _unknown_key(case: _Case) -> Words:
    valid = valid_keys(case.model, case.path[:-1])
    close = nearest(case.name, valid)
    return f"unknown key {show(case.name)}{case.of(case.path[:-1])}", one_of(valid, close), close


def _missing(case: _Case) -> Words:
    if isinstance(case.raw, list | tuple):
        parent = case.path[:-1]
        return f"{show(case.raw)} for {'.'.join(parent)}", wanted(case.model, parent), None
    place = case.of(case.path[:-1]) or " at the top of the file"
    return f"key '{case.name}' is missing{place}", wanted(case.model, case.path), None


def _wrong_word(case: _Case) -> Words:
    expected = str(case.context.get("expected", ""))
    valid = re.findall(r"'([^']*)'", expected)
    close = nearest(case.raw, valid)
    return case.here, one_of(valid, close) or ("" if close else expected), close


def _rule(case: _Case) -> Words:
    error = case.context.get("error")
    if isinstance(error, Unsound):
        at = f"{'.'.join(case.path)}: " if case.path else ""
        return at + error.found, error.expected, error.nearest
    return f"{case.here}: {error or case.message}", "", None


def _type(noun: str) -> Callable[[_Case], Words]:
    def words(case: _Case) -> Words:
        return case.here, wanted(case.model, case.path) or noun, None

    return words


def _noun(noun: str) -> Callable[[_Case], Words]:
    return lambda case: (case.here, noun, None)


def _bound(words: str, key: str) -> Callable[[_Case], Words]:
    return lambda case: (case.here, words.format(f"{case.context[key]:g}"), None)


def _length(words: str, key: str) -> Callable[[_Case], Words]:
    return lambda case: (case.here, words.format(case.context[key]), None)


def _tuple_long(case: _Case) -> Words:
    fallback = f"a list of at most {case.context.get('max_length')}"
    return case.here, wanted(case.model, case.path) or fallback, None


_MAPPING = _noun("a mapping of keys and values")
_IDENTIFIER = "a name of letters, digits, blanks and _ . + - that starts with a letter or a digit"

_TABLE: Mapping[str, tuple[Spot, Callable[[_Case], Words]]] = {
    "extra_forbidden": ("key", _unknown_key),
    "missing": ("parent", _missing),
    "enum": ("value", _wrong_word),
    "literal_error": ("value", _wrong_word),
    "value_error": ("value", _rule),
    "float_type": ("value", _type("a number")),
    "int_type": ("value", _noun("a whole number")),
    "int_from_float": ("value", _noun("a whole number")),
    "bool_type": ("value", _noun("true or false")),
    "string_type": ("value", _type("a text; quotes make a number one")),
    "list_type": ("value", _noun("a list")),
    "tuple_type": ("value", _type("a list")),
    "dict_type": ("value", _MAPPING),
    "model_type": ("value", _MAPPING),
    "model_attributes_type": ("value", _MAPPING),
    "finite_number": ("value", _noun("a finite number")),
    "greater_than": ("value", _bound("more than {}", "gt")),
    "greater_than_equal": ("value", _bound("{} or more", "ge")),
    "less_than": ("value", _bound("less than {}", "lt")),
    "less_than_equal": ("value", _bound("{} or less", "le")),
    "too_short": ("value", _length("at least {} in it", "min_length")),
    "too_long": ("value", _tuple_long),
    "string_pattern_mismatch": ("value", _noun(_IDENTIFIER)),
    "string_too_long": ("value", _length("at most {} letters", "max_length")),
}


def explain(model: type[BaseModel], section: Section, error: ValidationError) -> list[Fault]:
    """Every error of ``error``, found in ``section`` against ``model``, as faults in order of place."""
    cases = [_case(model, section, each) for each in error.errors(include_url=False)]
    broken = section.document.broken
    cases = [case for case in cases if not _below(section, case.path, broken)]
    unknown = {
        (case.path[:-1], _unknown_key(case)[2]) for case in cases[:MAX_FAULTS] if _is_unknown(case)
    }
    # A misspelt key is one slip, not an unknown key and a missing one.
    cases = [case for case in cases if (_lack(case) not in unknown)]
    placed = sorted((_placed(case) for case in cases), key=lambda pair: _order(pair[0]))
    faults = [_worded(case, place) for place, case in placed[:MAX_FAULTS]]
    if len(placed) > MAX_FAULTS:
        faults.append(_and_more(section, placed[MAX_FAULTS][0], len(placed) - MAX_FAULTS))
    return list(dict.fromkeys(faults))


def _case(model: type[BaseModel], section: Section, error: Any) -> _Case:
    loc = list(error["loc"])
    is_key = bool(loc) and loc[-1] == "[key]"
    path = _path(section.data, loc[:-1] if is_key else loc)
    context = error.get("ctx", {})
    return _Case(
        model, section, error["type"], path, error["input"], context, is_key, error["msg"]
    )


def _path(data: Any, loc: list[Any]) -> Path:
    """The place in the data, without the marks of the branch that a choice took."""
    path: list[str] = []
    for word in loc:
        text = key_text(word)
        inner = _inner(data, text)
        if word in TAGS and inner is None:
            continue
        path.append(text)
        data = inner
    return tuple(path)


def _below(section: Section, path: Path, broken: frozenset[Path]) -> bool:
    whole = (*section.path, *path)
    return any(whole[:end] in broken for end in range(len(whole) + 1))


def _is_unknown(case: _Case) -> bool:
    return case.kind == "extra_forbidden"


def _lack(case: _Case) -> tuple[Path, str | None]:
    return (case.path[:-1], case.name) if case.kind == "missing" else ((), "\0")


def _placed(case: _Case) -> tuple[Place, _Case]:
    spot = _TABLE.get(case.kind, ("value", None))[0]
    whole = (*case.section.path, *case.path)
    document = case.section.document
    if spot != "parent":
        return document.place(whole, key=case.is_key or spot == "key"), case
    is_list = isinstance(case.raw, list | tuple)
    return document.place(whole[:-1], key=not is_list), case


def _worded(case: _Case, place: Place) -> Fault:
    words = _TABLE.get(case.kind, ("value", lambda each: (f"{each.here}: {each.message}", "", None)))
    found, expected, close = words[1](case)
    return Fault(case.section.document.file, place.line, place.column, found, expected, close)


def _and_more(section: Section, place: Place, count: int) -> Fault:
    return Fault(section.document.file, place.line, place.column, f"and {count} more faults")


def _order(place: Place) -> tuple[int, int]:
    return place.line, place.column


def _is_list(data: Any) -> bool:
    return isinstance(data, list | tuple)


def _inner(data: Any, word: str) -> Any:
    """One step down the plain data; None where there is nothing."""
    if isinstance(data, dict):
        if word in data:
            return data[word]
        return next((data[key] for key in data if key_text(key) == word), None)
    if isinstance(data, list | tuple) and word.isascii() and word.isdigit() and len(word) < 9:
        return data[int(word)] if int(word) < len(data) else None
    return None

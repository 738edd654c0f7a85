"""Pydantic's findings as faults: each kind of error has one row in a table, nothing else.

A row says where the fault is placed (at the value or at its key) and how it is worded. What is absent
is placed at the mapping that lacks it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import BaseModel, ValidationError

from goals.base import is_tag
from goals.document import NO_KEY, Path, Place, key_text
from goals.faults import MAX_FAULTS, Fault, Unsound, nearest, one_of, show
from goals.section import Section, spoken, step_into
from goals.shape import valid_keys, wanted

Spot = Literal["value", "key"]


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

    def spoken(self, path: Path) -> str:
        """A path of this section in words."""
        return spoken(self.section.data, path)

    def of(self, path: Path) -> str:
        """Words for where in the file, empty at the top."""
        return f" in {self.spoken(path)}" if path else ""

    @property
    def whole(self) -> Path:
        """The path from the top of the document."""
        return (*self.section.path, *self.path)

    @property
    def is_absent(self) -> bool:
        """True when there is no such key: something is missing, or a default breaks a rule."""
        return self.whole not in self.section.document.values

    @property
    def here(self) -> str:
        """The value as found, with the name of its place."""
        if self.is_key:
            return f"{show(self.raw)} as a key{self.of(self.path[:-1])}"
        return f"{show(self.raw)} for {self.spoken(self.path)}" if self.path else show(self.raw)


Words = tuple[str, str, str | None]


def _unknown_key(case: _Case) -> Words:
    valid = valid_keys(case.model, case.path[:-1])
    close = nearest(case.name, valid)
    return f"unknown key {show(case.name)}{case.of(case.path[:-1])}", one_of(valid, close), close


def _missing(case: _Case) -> Words:
    if isinstance(case.raw, list | tuple):
        parent = case.path[:-1]
        return f"{show(case.raw)} for {case.spoken(parent)}", wanted(case.model, parent), None
    place = case.of(case.path[:-1]) or " at the top of the file"
    return f"key '{case.name}' is missing{place}", wanted(case.model, case.path), None


def _wrong_word(case: _Case) -> Words:
    expected = str(case.context.get("expected", ""))
    valid = re.findall(r"'([^']*)'", expected)
    close = nearest(case.raw, valid)
    if len(valid) == 1:
        return case.here, wanted(case.model, case.path) or valid[0], close
    return case.here, one_of(valid, close) or ("" if close else expected), close


def _rule(case: _Case) -> Words:
    error = case.context.get("error")
    if isinstance(error, Unsound):
        path = case.path[:-1] if case.is_absent else case.path
        at = f"{case.spoken(path)}: " if path else ""
        return at + error.found, error.expected, error.nearest
    return f"{case.here}: {error or case.message}", "", None


def _form(case: _Case) -> Words:
    return case.here, wanted(case.model, case.path) or "a list of another length", None


def _too_long(case: _Case) -> Words:
    """A point of four numbers has another form; a long list has too much in it."""
    most = case.context["max_length"]
    return _form(case) if most <= 3 else (case.here, f"at most {most} in it", None)


def _noun(noun: str) -> Callable[[_Case], Words]:
    return lambda case: (case.here, noun, None)


def _bound(words: str, key: str) -> Callable[[_Case], Words]:
    return lambda case: (case.here, words.format(f"{case.context[key]:g}"), None)


def _length(words: str, key: str) -> Callable[[_Case], Words]:
    return lambda case: (case.here, words.format(case.context[key]), None)


_MAPPING = _noun("a mapping of keys and values")
_IDENTIFIER = "a name of letters, digits, blanks and _ . + - that starts with a letter or a digit"

_TABLE: Mapping[str, tuple[Spot, Callable[[_Case], Words]]] = {
    "extra_forbidden": ("key", _unknown_key),
    "missing": ("value", _missing),
    "enum": ("value", _wrong_word),
    "literal_error": ("value", _wrong_word),
    "value_error": ("value", _rule),
    "float_type": ("value", _noun("a number")),
    "int_type": ("value", _noun("a whole number")),
    "int_from_float": ("value", _noun("a whole number")),
    "bool_type": ("value", _noun("true or false")),
    "string_type": ("value", _noun("a text; quotes make a number one")),
    "list_type": ("value", _noun("a list")),
    "tuple_type": ("value", _form),
    "dict_type": ("value", _MAPPING),
    "model_type": ("value", _MAPPING),
    "model_attributes_type": ("value", _MAPPING),
    "finite_number": ("value", _noun("a finite number")),
    "greater_than": ("value", _bound("more than {}", "gt")),
    "greater_than_equal": ("value", _bound("{} or more", "ge")),
    "less_than": ("value", _bound("less than {}", "lt")),
    "less_than_equal": ("value", _bound("{} or less", "le")),
    "too_short": ("value", _length("at least {} in it", "min_length")),
    "too_long": ("value", _too_long),
    "string_pattern_mismatch": ("value", _noun(_IDENTIFIER)),
    "string_too_long": ("value", _length("at most {} letters", "max_length")),
}


def explain(model: type[BaseModel], section: Section, error: ValidationError) -> list[Fault]:
    """Every error of ``error``, found in ``section`` against ``model``, as faults in order of place."""
    cases = [_case(model, section, each) for each in error.errors(include_url=False)]
    cases = [case for case in _without_echoes(cases) if not _told(case)]
    placed = sorted(((_place(case), case) for case in cases), key=lambda pair: _order(pair[0]))
    # One more than is shown, so that whoever shows them knows that there are more.
    return [_worded(case, place) for place, case in placed[: MAX_FAULTS + 1]]


def _without_echoes(cases: list[_Case]) -> list[_Case]:
    """A misspelt key is one slip: what is missing because of it is left out."""
    unknown = [case for case in cases if case.kind == "extra_forbidden"][:MAX_FAULTS]
    meant = {(case.path[:-1], _unknown_key(case)[2]) for case in unknown}
    slipped = {parent for parent, close in meant if close is not None}
    return [
        case
        for case in cases
        if not case.is_absent
        or (
            (case.path[:-1], case.name) not in meant
            if case.kind == "missing"
            else case.path[:-1] not in slipped
        )
    ]


def _told(case: _Case) -> bool:
    """True when the value, or one that holds it, is known to be wrong already."""
    broken = case.section.document.broken
    if case.is_absent and (*case.whole[:-1], NO_KEY) in broken:
        return True
    return any(case.whole[:end] in broken for end in range(len(case.whole) + 1))


def _case(model: type[BaseModel], section: Section, error: Any) -> _Case:
    loc = list(error["loc"])
    is_key = bool(loc) and loc[-1] == "[key]"
    path = _path(section.data, loc[:-1] if is_key else loc)
    context = error.get("ctx", {})
    return _Case(model, section, error["type"], path, error["input"], context, is_key, error["msg"])


def _path(data: Any, loc: list[Any]) -> Path:
    """The place in the data, without the marks of the branch that a choice took."""
    path: list[str] = []
    for word in loc:
        text = key_text(word)
        inner = step_into(data, text)
        if is_tag(word) and inner is None:
            continue
        path.append(text)
        data = inner
    return tuple(path)


def _place(case: _Case) -> Place:
    document = case.section.document
    spot = _TABLE.get(case.kind, ("value", None))[0]
    if case.is_absent:
        return document.place(case.whole[:-1], key=not isinstance(case.raw, list | tuple))
    return document.place(case.whole, key=case.is_key or spot == "key")


def _worded(case: _Case, place: Place) -> Fault:
    words = _TABLE.get(
        case.kind, ("value", lambda each: (f"{each.here}: {each.message}", "", None))
    )
    found, expected, close = words[1](case)
    return Fault(case.section.document.file, place.line, place.column, found, expected, close)


def _order(place: Place) -> tuple[int, int]:
    return place.line, place.column

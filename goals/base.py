"""Quantities and the strict base of every model that is read from a file.

A quantity is a number in the documented unit, or a string with a unit ("2 in", "50 mm").
The documented units: mm, deg, kg, N/mm, N·m/deg, minutes, hours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    WithJsonSchema,
)
from pydantic import Strict as Exact
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import core_schema

from goals.faults import Unsound, show
from goals.units import ANGLE, LENGTH, MASS, ROLL_STIFFNESS, SPRING_RATE, Kind, read_quantity


class Strict(BaseModel):
    """A mapping in a file: unknown keys are faults, and nothing changes after reading."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


# Marks of the branch that a choice between two forms took; they stand in pydantic's places of errors
# and are no keys of the file.
ONE, MANY, PLAIN, MAPPING = "<one>", "<many>", "<plain>", "<mapping>"
WITH, WITHOUT = "<with>", "<without>"


def is_tag(word: object) -> bool:
    """Whether a step of pydantic's place is such a mark: a word in angle brackets."""
    return isinstance(word, str) and word.startswith("<") and word.endswith(">")


def by_form(form: type | tuple[type, ...], then: str, otherwise: str) -> Discriminator:
    """Chooses a branch by what stands in the file, so that only that branch's faults are told."""
    return Discriminator(lambda raw: then if isinstance(raw, form) else otherwise)


def plain_or_mapping() -> Discriminator:
    """A mapping (or a model made from one) takes the branch MAPPING, all else PLAIN."""
    return by_form((dict, BaseModel), MAPPING, PLAIN)


def by_keys(start: str) -> Discriminator:
    """A mapping with a key that begins with ``start`` takes the branch WITH, all else WITHOUT."""

    def branch(raw: Any) -> str:
        keys = type(raw).model_fields if isinstance(raw, BaseModel) else raw
        has = isinstance(keys, dict) and any(str(key).startswith(start) for key in keys)
        return WITH if has else WITHOUT

    return Discriminator(branch)


_BOUNDS = {"gt": "exclusiveMinimum", "ge": "minimum", "lt": "exclusiveMaximum", "le": "maximum"}


@dataclass(frozen=True)
class _Quantity:
    """Reads a quantity of one kind, and tells editors that a text with a unit will do."""

    kind: Kind

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(
            lambda raw: read_quantity(raw, self.kind), handler(source)
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        # The handler's schema is the plain number's, with its bounds under pydantic's names.
        number = {_BOUNDS.get(key, key): value for key, value in handler(schema).items()}
        number = {"minimum": -self.kind.most, "maximum": self.kind.most, **number}
        return {
            "anyOf": [number, {"type": "string", "pattern": self.kind.pattern}],
            "description": f"{self.kind.name}, {self.kind.unit}; or a text with a unit",
        }


Length = Annotated[float, _Quantity(LENGTH)]
Angle = Annotated[float, _Quantity(ANGLE)]
Mass = Annotated[float, _Quantity(MASS)]
SpringRate = Annotated[float, _Quantity(SPRING_RATE)]
RollStiffness = Annotated[float, _Quantity(ROLL_STIFFNESS)]

# More than anyone means, and less than anyone can tell from 0.
MOST_NUMBER, LEAST_NUMBER = 1e12, 1e-12


def _of_some_size(raw: Any) -> Any:
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        if MOST_NUMBER < abs(raw) < math.inf:
            raise Unsound(f"{show(raw)} is too much", f"{MOST_NUMBER:g} at most, either way")
        if abs(raw) < LEAST_NUMBER:
            return type(raw)(0)
    return raw


@dataclass(frozen=True)
class _Sized:
    """Refuses numbers that nobody means; what is next to nothing is 0. NaN and infinities are the model's."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(_of_some_size, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        # the handler's schema has bounds under pydantic's names
        number = {_BOUNDS.get(key, key): value for key, value in handler(schema).items()}
        return {"minimum": -MOST_NUMBER, "maximum": MOST_NUMBER, **number}


Number = Annotated[float, Exact(), _Sized()]
# A figure in a measure's unit; a text with a unit is turned into a number before the model sees it.
Figure = Annotated[float, Exact(), _Sized(), WithJsonSchema({"type": ["number", "string"]})]
Whole = Annotated[int, Exact(), _Sized()]
Flag = Annotated[bool, Exact()]

# Free texts go into tables and onto paper, where there is room for so many letters.
Name = Annotated[str, Field(max_length=300)]
Note = Annotated[str, Field(max_length=2000)]
Currency = Annotated[str, Field(max_length=20)]


@dataclass(frozen=True)
class Words:
    """A form's own description, which the description of a field with that form replaces."""

    text: str

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return {**handler(schema), "description": self.text}


def _is_format(raw: Any) -> Any:
    # True == 1 and 1.0 == 1 in Python; a format number is the whole number.
    if type(raw) is not int or raw != 1:
        raise Unsound(f"{show(raw)} is not known", "1, the only format that this version reads")
    return raw


def _as_word(raw: Any) -> Any:
    # Holes and positions are often just numbered: `1:` is a name as good as `"1":`.
    return str(raw) if type(raw) is int else raw


def _low_first(window: tuple[float, float]) -> tuple[float, float]:
    low, high = window
    if low > high:
        raise Unsound(f"range is upside down: {low:g} to {high:g}", "the low end first")
    return window


def _wide(window: tuple[float, float]) -> tuple[float, float]:
    if window[0] == window[1]:
        raise Unsound(f"range has no width: both ends are {window[0]:g}", "two different ends")
    return window


def _has_length(direction: tuple[float, float, float]) -> tuple[float, float, float]:
    if not any(direction):
        raise Unsound("a direction of no length", "at least one number that is not 0")
    return direction


Format = Annotated[Literal[1], BeforeValidator(_is_format), Words("format of this file: 1")]
Point = Annotated[tuple[Length, Length, Length], Words("a point [x, y, z], mm")]
Direction = Annotated[
    tuple[Number, Number, Number], AfterValidator(_has_length), Words("a direction [x, y, z]")
]
Span = Annotated[
    tuple[Length, Length],
    AfterValidator(_low_first),
    Words("a range [low, high], mm"),
]
Window = Annotated[
    tuple[Length, Length],
    AfterValidator(_low_first),
    AfterValidator(_wide),
    Words("a range [low, high], mm"),
]
# Wheel travel from a ride height, mm: more has no car.
Travel = Annotated[Length, Field(ge=-300, le=300)]
TravelWindow = Annotated[
    tuple[Travel, Travel],
    AfterValidator(_low_first),
    AfterValidator(_wide),
    Words("a range of wheel travel [low, high], mm"),
]
_IDENTIFIER = r"^[A-Za-z0-9][A-Za-z0-9 _.+-]*$"
Identifier = Annotated[
    str,
    BeforeValidator(_as_word),
    Field(pattern=_IDENTIFIER, max_length=80),
    WithJsonSchema({"type": ["string", "integer"], "pattern": _IDENTIFIER, "maxLength": 80}),
]

"""Quantities and the strict base of every model that is read from a file.

A quantity is a number in the documented unit, or a string with a unit ("2 in", "50 mm").
The documented units: mm, deg, kg, N/mm, N·m/deg, minutes, hours.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    WithJsonSchema,
)
from pydantic import Strict as Exact

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
TAGS = frozenset({ONE, MANY, PLAIN, MAPPING})


def by_form(form: type | tuple[type, ...], then: str, otherwise: str) -> Discriminator:
    """Chooses a branch by what stands in the file, so that only that branch's faults are told."""
    return Discriminator(lambda raw: then if isinstance(raw, form) else otherwise)


def plain_or_mapping() -> Discriminator:
    """A mapping (or a model made from one) takes the branch MAPPING, all else PLAIN."""
    return by_form((dict, BaseModel), MAPPING, PLAIN)


def _quantity(kind: Kind) -> tuple[BeforeValidator, WithJsonSchema]:
    """Reader and JSON Schema of a number or a string with a unit of ``kind``."""
    schema = {
        "anyOf": [{"type": "number"}, {"type": "string", "pattern": kind.pattern}],
        "description": f"{kind.name}, {kind.unit}; or a string with a unit",
    }
    return BeforeValidator(lambda raw: read_quantity(raw, kind)), WithJsonSchema(schema)


Length = Annotated[float, *_quantity(LENGTH)]
Angle = Annotated[float, *_quantity(ANGLE)]
Mass = Annotated[float, *_quantity(MASS)]
SpringRate = Annotated[float, *_quantity(SPRING_RATE)]
RollStiffness = Annotated[float, *_quantity(ROLL_STIFFNESS)]

Number = Annotated[float, Exact()]
Whole = Annotated[int, Exact()]
Flag = Annotated[bool, Exact()]


def _is_format(raw: Any) -> Any:
    # True == 1 and 1.0 == 1 in Python; a format number is the whole number.
    if type(raw) is not int or raw != 1:
        raise Unsound(f"format {show(raw)}", "1, the only format that this version reads")
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


Format = Annotated[
    Literal[1], BeforeValidator(_is_format), Field(description="format of this file: 1")
]
Point = Annotated[
    tuple[Length, Length, Length], Field(description="a point [x, y, z], mm")
]
Direction = Annotated[
    tuple[Length, Length, Length], Field(description="a direction [x, y, z]")
]
Span = Annotated[
    tuple[Length, Length],
    AfterValidator(_low_first),
    Field(description="a range [low, high], mm"),
]
Window = Annotated[
    tuple[Length, Length],
    AfterValidator(_low_first),
    AfterValidator(_wide),
    Field(description="a range [low, high], mm"),
]
Identifier = Annotated[
    str,
    BeforeValidator(_as_word),
    Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 _.+-]*$", max_length=80),
]

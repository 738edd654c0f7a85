"""Quantities and the strict base of every model that is read from a file.

A quantity is a number in the documented unit, or a string with a unit ("2 in", "50 mm").
The documented units: mm, deg, kg, N/mm, N·m/deg, minutes, hours.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from goals.units import ANGLE, LENGTH, MASS, ROLL_STIFFNESS, SPRING_RATE, Kind, read_quantity


class Strict(BaseModel):
    """A mapping in a file: unknown keys are faults, and nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


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

Point = tuple[Length, Length, Length]
Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 _.+-]*$", max_length=80)]

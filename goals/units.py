"""Quantities: a number in the documented unit, or a text of a number and a unit ("2 in")."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from goals.faults import Unsound, nearest, show

_NUMBER = r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*", re.DOTALL)
# Typographic signs that come with copied text, and the plain ones meant by them.
_SIGNS = str.maketrans({"−": "-", "″": '"', "”": '"', "′": "'", "’": "'", "⋅": "·", "*": "·"})


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: its documented unit and the factors that bring others to it.

    ``pattern`` is the JSON Schema pattern of a text with a unit of this kind. ``most`` is more than any car
    has of it, in that unit: what is larger, either way, is a slip.
    """

    name: str
    unit: str
    most: float
    factors: Mapping[str, float] = field(hash=False)
    pattern: str


# What is smaller than this, of any kind, was worked out and came to nothing; nobody measures it.
LEAST = 1e-9


def _kind(name: str, unit: str, most: float, factors: Mapping[str, float]) -> Kind:
    words = {word for factor in factors for word in (factor, factor.replace("·", "*"))}
    # Longest first, so that "inch" is not read as "in" by a matcher that takes the first.
    choices = "|".join(re.escape(word) for word in sorted(words, key=lambda w: (-len(w), w)))
    return Kind(name, unit, most, factors, rf"^\s*{_NUMBER}\s*(?:{choices})\s*$")


_INCH = 25.4  # mm, exact since 1959
_POUND = 0.45359237  # kg, exact
_GRAVITY = 9.80665  # m/s², standard
_RADIAN = 180.0 / math.pi  # deg

LENGTH = _kind(
    "a length",
    "mm",
    20_000.0,
    {
        "mm": 1.0,
        "cm": 10.0,
        "m": 1000.0,
        "in": _INCH,
        "inch": _INCH,
        '"': _INCH,
        "thou": _INCH / 1000.0,
    },
)
ANGLE = _kind(
    "an angle",
    "deg",
    360.0,
    {"deg": 1.0, "°": 1.0, "rad": _RADIAN, "arcmin": 1.0 / 60.0, "'": 1.0 / 60.0},
)
MASS = _kind("a mass", "kg", 50_000.0, {"kg": 1.0, "g": 0.001, "lb": _POUND})
SPRING_RATE = _kind(
    "a spring rate",
    "N/mm",
    1e5,
    {
        "N/mm": 1.0,
        "N/m": 0.001,
        "kgf/mm": _GRAVITY,
        "lb/in": _POUND * _GRAVITY / _INCH,
        "lbf/in": _POUND * _GRAVITY / _INCH,
    },
)
ROLL_STIFFNESS = _kind(
    "a roll stiffness",
    "N·m/deg",
    1e6,
    {
        "N·m/deg": 1.0,
        "Nm/deg": 1.0,
        "N·m/rad": 1.0 / _RADIAN,
        "Nm/rad": 1.0 / _RADIAN,
    },
)

# Spoken names are no units in a file, but they tell which unit was meant.
_SPOKEN = {
    "millimetre": "mm",
    "centimetre": "cm",
    "metre": "m",
    "inches": "in",
    "degree": "deg",
    "radian": "rad",
    "kilogram": "kg",
    "kilo": "kg",
    "gram": "g",
    "pound": "lb",
    "lbs": "lb",
}

KINDS = (LENGTH, ANGLE, MASS, SPRING_RATE, ROLL_STIFFNESS)


def read_quantity(raw: object, kind: Kind) -> float:
    """The quantity in the documented unit of ``kind``.

    Takes a number, which is in that unit already, or a text of a number and a unit. Raises
    ``Unsound`` (a ``ValueError``) for anything else: another kind's unit, an unknown unit, a text
    without a unit, true and false, infinity and not-a-number, and more than any car has of it.
    """
    if isinstance(raw, str):
        return _from_text(raw, kind)
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        raise Unsound(f"{show(raw)} is not {kind.name}", _wanted(kind))
    return _finite(raw, 1.0, raw, kind)


def kind_of_unit(unit: str) -> Kind | None:
    """The kind whose documented unit is ``unit``, or None when no kind has it."""
    return next((kind for kind in KINDS if kind.unit == unit), None)


def _from_text(text: str, kind: Kind) -> float:
    match = _QUANTITY.fullmatch(text.translate(_SIGNS)) if len(text) <= 200 else None
    if match is None:
        raise Unsound(f"{show(text)} is not {kind.name}", _wanted(kind))
    number, unit = match.groups()
    if not unit:
        raise Unsound(
            f"{show(text)} is a text without a unit", f"the bare number, or {_wanted(kind)}"
        )
    if unit not in kind.factors:
        raise _wrong_unit(text, unit, kind)
    return _finite(float(number), kind.factors[unit], text, kind)


def _wrong_unit(text: str, unit: str, kind: Kind) -> Unsound:
    other = next((each for each in KINDS if unit in each.factors), None)
    if other is not None:
        return Unsound(f"{show(text)} is {other.name}, not {kind.name}", _wanted(kind))
    if unit.startswith(","):
        return Unsound(f"{show(text)} has a comma in the number", f"a decimal point, {kind.unit}")
    return Unsound(
        f"{show(text)} has the unknown unit {show(unit)}",
        _wanted(kind),
        _meant(unit, kind),
    )


def _meant(unit: str, kind: Kind) -> str | None:
    spoken = {word: short for word, short in _SPOKEN.items() if short in kind.factors}
    close = nearest(unit, (*kind.factors, *spoken))
    return None if close is None else spoken.get(close, close)


def _finite(number: float, factor: float, raw: object, kind: Kind) -> float:
    try:
        value = float(number) * factor
    except OverflowError:  # a whole number of hundreds of digits
        value = math.inf
    if not math.isfinite(value):
        raise Unsound(f"{show(raw)} is not a finite number", _wanted(kind))
    if abs(value) > kind.most:
        raise Unsound(f"{show(raw)} is too much", f"{kind.most:g} {kind.unit} at most, either way")
    return 0.0 if abs(value) < LEAST else value


def _wanted(kind: Kind) -> str:
    others = ", ".join(word for word in kind.factors if word != kind.unit)
    return f"{kind.name} in {kind.unit} (with a unit: {others})"

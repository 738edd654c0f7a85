"""Quantities: numbers in the documented unit, texts with a unit, and nothing else."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from goals.units import (
    ANGLE,
    KINDS,
    LEAST,
    LENGTH,
    MASS,
    ROLL_STIFFNESS,
    SPRING_RATE,
    Kind,
    read_quantity,
)

# Worked out by hand from the definitions: 1 in = 25.4 mm, 1 lb = 0.45359237 kg, g = 9.80665 m/s2.
KNOWN = [
    (LENGTH, 50, 50.0),
    (LENGTH, -2.5, -2.5),
    (LENGTH, "50 mm", 50.0),
    (LENGTH, "50mm", 50.0),
    (LENGTH, "  -5 cm ", -50.0),
    (LENGTH, "0.29 m", 290.0),
    (LENGTH, "2 in", 50.8),
    (LENGTH, "2 inch", 50.8),
    (LENGTH, '.5"', 12.7),
    (LENGTH, "2″", 50.8),
    (LENGTH, "10 thou", 0.254),
    (LENGTH, "1e2 mm", 100.0),
    (LENGTH, "−3 mm", -3.0),
    (ANGLE, "0.1 deg", 0.1),
    (ANGLE, "3°", 3.0),
    (ANGLE, "6 arcmin", 0.1),
    (ANGLE, "6'", 0.1),
    (ANGLE, "1 rad", 57.29577951308232),
    (MASS, "1180 kg", 1180.0),
    (MASS, "500 g", 0.5),
    (MASS, "100 lb", 45.359237),
    (SPRING_RATE, "25 N/mm", 25.0),
    (SPRING_RATE, "25000 N/m", 25.0),
    (SPRING_RATE, "1 kgf/mm", 9.80665),
    (SPRING_RATE, "100 lb/in", 17.512683524647636),
    (SPRING_RATE, "100 lbf/in", 17.512683524647636),
    (ROLL_STIFFNESS, "300 N·m/deg", 300.0),
    (ROLL_STIFFNESS, "300 N*m/deg", 300.0),
    (ROLL_STIFFNESS, "300 Nm/deg", 300.0),
    (ROLL_STIFFNESS, "18000 N·m/rad", 314.1592653589793),
]


@pytest.mark.parametrize(("kind", "raw", "value"), KNOWN)
def test_known_quantities(kind: Kind, raw: object, value: float) -> None:
    assert read_quantity(raw, kind) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("kind", "raw", "words"),
    [
        (LENGTH, True, "true is not a length"),
        (LENGTH, None, "nothing is not a length"),
        (LENGTH, [5], "a list of 1"),
        (LENGTH, math.nan, "finite"),
        (LENGTH, math.inf, "finite"),
        (LENGTH, 10**400, "finite"),
        (LENGTH, "1e999 mm", "finite"),
        (LENGTH, "50", "without a unit"),
        (LENGTH, "mm", "'mm' is not a length"),
        (LENGTH, "", "is not a length"),
        (LENGTH, "5 kg", "is a mass, not a length"),
        (ANGLE, "5 mm", "is a length, not an angle"),
        (SPRING_RATE, "5 N·m/deg", "is a roll stiffness, not a spring rate"),
        (LENGTH, "5 MM", "perhaps you meant 'mm'"),
        (LENGTH, "5 millimeters", "perhaps you meant 'mm'"),
        (MASS, "5 lbs", "perhaps you meant 'lb'"),
        (ANGLE, "5 degrees", "perhaps you meant 'deg'"),
        (LENGTH, "4,5 mm", "comma"),
        (LENGTH, "5 furlongs", "mm (with a unit: cm, m, in"),
        (LENGTH, "5 mm mm", "unknown unit"),
        (LENGTH, "٥ mm", "is not a length"),
    ],
)
def test_refused(kind: Kind, raw: object, words: str) -> None:
    with pytest.raises(ValueError, match=re.escape(words)):
        read_quantity(raw, kind)


@given(st.sampled_from(KINDS), st.floats(-1e6, 1e6), st.data())
def test_a_text_with_a_unit_is_the_number_times_its_factor(
    kind: Kind, number: float, data: st.DataObject
) -> None:
    word = data.draw(st.sampled_from(sorted(kind.factors)))
    text = f"{number!r} {word}"
    value = number * kind.factors[word]
    if abs(value) > kind.most:
        with pytest.raises(ValueError, match="too much"):
            read_quantity(text, kind)
    elif abs(value) < LEAST:
        assert read_quantity(text, kind) == 0.0
    else:
        assert read_quantity(text, kind) == pytest.approx(value)
    assert re.search(kind.pattern, text)


@given(st.sampled_from(KINDS), st.text() | st.from_regex(r"[-+.0-9eE]{1,8} ?.{0,6}"))
def test_any_text_is_a_finite_number_or_a_named_error(kind: Kind, text: str) -> None:
    try:
        value = read_quantity(text, kind)
    except ValueError as error:
        assert str(error)
    else:
        assert math.isfinite(value)

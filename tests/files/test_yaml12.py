"""YAML 1.2's core schema, where the reader underneath knows YAML 1.1; and places."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from goals.document import Document, Place, read_document


def read(text: str) -> Document:
    return read_document("a.yaml", text.encode())


@pytest.mark.parametrize(
    ("written", "value"),
    [
        # true in YAML 1.1, words in 1.2
        *[(word, word) for word in ("yes", "Yes", "no", "on", "ON", "off", "y", "n")],
        *[(word, True) for word in ("true", "True", "TRUE")],
        *[(word, False) for word in ("false", "False", "FALSE")],
        *[(word, None) for word in ("null", "Null", "NULL", "~", "")],
        ("nULL", "nULL"),
        ("010", 10),
        ("0o10", 8),
        ("0x1F", 31),
        ("0b11", "0b11"),
        ("-7", -7),
        ("+7", 7),
        ("1_000", "1_000"),
        ("1:30", "1:30"),
        ("190:20:30.15", "190:20:30.15"),
        ("1e3", 1000.0),
        ("1E-3", 0.001),
        ("-.5", -0.5),
        ("5.", 5.0),
        (".", "."),
        ("1.e+2", 100.0),
        (".inf", math.inf),
        ("-.Inf", -math.inf),
        ("inf", "inf"),
        ("2026-01-31", "2026-01-31"),
        ("=", "="),
        ("'5'", "5"),
        ('"on"', "on"),
        ("!!str 5", "5"),
        ("!!float 5", 5.0),
    ],
)
def test_plain_words(written: str, value: Any) -> None:
    document = read(f"a: {written}")
    assert document.faults == ()
    assert document.data == {"a": value}
    assert type(document.data["a"]) is type(value)


def test_not_a_number() -> None:
    assert math.isnan(read("a: .nan").data["a"])


def test_numbers_may_be_keys() -> None:
    assert read("{1: a, 2.5: b, '3': c}").data == {1: "a", 2.5: "b", "3": "c"}


@pytest.mark.parametrize("second", ["5", "5.0", "'5'", "05", "0x5"])
def test_a_key_written_another_way_is_the_same_key(second: str) -> None:
    (fault,) = read(f"5: a\n{second}: b").faults
    assert "written twice, first on line 1" in fault.found
    assert (fault.line, fault.column) == (2, 1)


def test_places_of_keys_and_values() -> None:
    document = read("# a car\npoints:\n  hub: [0,\n    740, 290]\n'track front':   5\n")
    assert document.place(("points",), key=True) == Place(2, 1)
    assert document.place(("points",)) == Place(3, 3)
    assert document.place(("points", "hub"), key=True) == Place(3, 3)
    assert document.place(("points", "hub", "1")) == Place(4, 5)
    assert document.place(("track front",)) == Place(5, 18)
    assert document.place(("points", "cap", "9")) == Place(3, 3)  # nearest that there is


def test_columns_count_letters_after_a_byte_order_mark() -> None:
    document = read_document("a.yaml", "\ufeffé: {ü: 1}".encode())
    assert document.place(("é", "ü"), key=True) == Place(1, 5)


def test_aliases_are_written_out() -> None:
    data = read("a: &p [1, 2]\nb: *p\n").data
    assert data == {"a": [1, 2], "b": [1, 2]}
    assert data["a"] is not data["b"]


BOMB = "a0: &a0 [1, 1, 1, 1, 1, 1, 1, 1, 1, 1]\n" + "".join(
    f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]\n" for n in range(1, 12)
)


@pytest.mark.parametrize(
    "text",
    [
        BOMB,
        "a: &a [*a]",
        "a: &a {b: {c: *a}}",
        "[" * 100_000,
        "{a: " * 100_000,
        "- " * 100_000,
        "".join(" " * n + "a:\n" for n in range(200)),
        "[" + "1, " * 300_000 + "]",
        "&a a: 1\n" * 100_000,
    ],
    ids=["bomb", "loop", "loop of maps", "lists", "maps", "dashes", "indents", "long", "anchors"],
)
def test_what_no_person_writes_is_refused_in_time(text: str) -> None:
    document = read(text)
    assert not document.readable
    assert len(document.faults) == 1


PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**30), 10**30)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.text(st.characters(codec="ascii", categories=["L", "N"]), min_size=1, max_size=8),
            inner,
            max_size=4,
        )
    ),
    max_leaves=20,
)


@given(PLAIN)
def test_json_is_read_as_json_reads_it(data: Any) -> None:
    document = read(json.dumps(data, ensure_ascii=True))
    assert document.faults == ()
    assert document.data == data


@given(st.text() | st.text(st.sampled_from("ab01:-[]{},#&*!|>'\"%@` \n\t?<~.")))
def test_any_text_is_read_or_has_faults(text: str) -> None:
    document = read_document("a.yaml", text.encode("utf-8", "surrogatepass"))
    assert document.readable or len(document.faults) == 1
    for fault in document.faults:
        assert fault.line >= 1
        assert fault.column >= 1
        assert fault.found


@given(st.binary())
def test_any_bytes_are_read_or_have_faults(raw: bytes) -> None:
    document = read_document("a.yaml", raw)
    assert document.readable or len(document.faults) == 1

"""The JSON Schemas: sound in themselves, and of one mind with the models."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any, Literal

import pytest

from goals.document import read_document
from goals.schema import json_schema
from kinematics.measures import MEASURES
from tests.files.inputs import GOOD
from tests.files.test_readings_files import READINGS

What = Literal["goals", "car", "parts", "readings"]
FILES: tuple[What, ...] = ("goals", "car", "parts", "readings")

_TYPES: dict[str, Any] = {
    "object": dict,
    "array": list,
    "string": str,
    "number": (int, float),
    "integer": int,
    "boolean": bool,
    "null": type(None),
}


def problems(schema: Any, data: Any, root: Any, at: str = "") -> Iterator[str]:
    """What a validator would say, as far as our schemas go; a keyword not known here is an error."""
    if isinstance(schema, bool):
        if not schema:
            yield f"{at}: not allowed"
        return
    for keyword, rule in schema.items():
        yield from _KEYWORDS[keyword](schema, rule, data, root, at)


def _ref(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    yield from problems(root["$defs"][rule.removeprefix("#/$defs/")], data, root, at)


def _choice(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    if all(list(problems(branch, data, root, at)) for branch in rule):
        yield f"{at}: {data!r} fits no branch"


def _type(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    words = [rule] if isinstance(rule, str) else rule
    is_bool = isinstance(data, bool)
    if not any(isinstance(data, _TYPES[word]) and is_bool == (word == "boolean") for word in words):
        yield f"{at}: {data!r} is no {rule}"


def _properties(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    for key in rule.keys() & data.keys() if isinstance(data, dict) else ():
        yield from problems(rule[key], data[key], root, f"{at}.{key}")


def _additional(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    patterns = schema.get("patternProperties", {})
    for key in data.keys() - schema.get("properties", {}).keys() if isinstance(data, dict) else ():
        if not any(re.search(pattern, str(key)) for pattern in patterns):
            yield from problems(rule, data[key], root, f"{at}.{key}")


def _patterns(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    for key, value in data.items() if isinstance(data, dict) else ():
        for pattern, inner in rule.items():
            if re.search(pattern, str(key)):
                yield from problems(inner, value, root, f"{at}.{key}")


def _names(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    for key in data if isinstance(data, dict) else ():
        yield from problems(rule, str(key), root, f"{at} key")


def _required(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    if isinstance(data, dict) and set(rule) - data.keys():
        yield f"{at}: lacks {set(rule) - data.keys()}"


def _items(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    for n, each in enumerate(data if isinstance(data, list) else ()):
        yield from problems(rule, each, root, f"{at}.{n}")


def _prefix(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
    for inner, each in zip(rule, data if isinstance(data, list) else (), strict=False):
        yield from problems(inner, each, root, at)


def _test(kind: Any, holds: Any) -> Any:
    def check(schema: Any, rule: Any, data: Any, root: Any, at: str) -> Iterator[str]:
        if isinstance(data, kind) and not isinstance(data, bool) and not holds(data, rule):
            yield f"{at}: {data!r} breaks {rule!r}"

    return check


def _nothing(*_: Any) -> Iterator[str]:
    return iter(())


_KEYWORDS: dict[str, Any] = {
    "$ref": _ref,
    "anyOf": _choice,
    "oneOf": _choice,
    "type": _type,
    "properties": _properties,
    "additionalProperties": _additional,
    "patternProperties": _patterns,
    "propertyNames": _names,
    "required": _required,
    "items": _items,
    "prefixItems": _prefix,
    "pattern": _test(str, lambda data, rule: re.search(rule, data)),
    "enum": _test(object, lambda data, rule: data in rule),
    "const": _test(object, lambda data, rule: data == rule),
    "minimum": _test((int, float), lambda data, rule: data >= rule),
    "maximum": _test((int, float), lambda data, rule: data <= rule),
    "exclusiveMinimum": _test((int, float), lambda data, rule: data > rule),
    "minItems": _test(list, lambda data, rule: len(data) >= rule),
    "maxItems": _test(list, lambda data, rule: len(data) <= rule),
    "minProperties": _test(dict, lambda data, rule: len(data) >= rule),
    "maxProperties": _test(dict, lambda data, rule: len(data) <= rule),
    "maxLength": _test(str, lambda data, rule: len(data) <= rule),
    **dict.fromkeys(["$schema", "$defs", "title", "description", "default"], _nothing),
}


def data_of(what: What, old: str = "", new: str = "") -> Any:
    text = READINGS if what == "readings" else GOOD[f"{what}.yaml"]
    return read_document("", text.replace(old, new).encode()).data


def walk(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        yield node
    for each in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from walk(each)


@pytest.mark.parametrize("what", FILES)
def test_the_schema_says_what_it_is_and_is_json(what: What) -> None:
    schema = json_schema(what)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert what in schema["title"]
    assert json.loads(json.dumps(schema)) == schema


@pytest.mark.parametrize("what", FILES)
def test_every_reference_leads_somewhere(what: What) -> None:
    schema = json_schema(what)
    for node in walk(schema):
        if isinstance(node.get("$ref"), str):
            assert node["$ref"].removeprefix("#/$defs/") in schema["$defs"]


@pytest.mark.parametrize("what", FILES)
def test_every_key_has_words_for_the_editor(what: What) -> None:
    schema = json_schema(what)
    for name, form in {"": schema, **schema["$defs"]}.items():
        if name in ("Limit", "Target") or form.get("additionalProperties") is False:
            for key, inner in form["properties"].items():
                assert inner.get("description") or "$ref" in inner, (name, key)
    text = json.dumps(schema)
    assert "``" not in text


@pytest.mark.parametrize("what", FILES)
def test_a_sound_file_is_sound_by_its_schema(what: What) -> None:
    schema = json_schema(what)
    assert list(problems(schema, data_of(what), schema)) == []


@pytest.mark.parametrize(
    ("what", "old", "new"),
    [
        ("goals", "lowered_by: 45", "lowerd_by: 45"),
        ("goals", "lowered_by: 45", "lowered_by: 45 kg"),
        ("goals", "toggle_margin:", "togle_margin:"),
        ("goals", "[tie_rod_stud]", "[tie_rod_studd]"),
        ("goals", "weight: 3", "weight: 0"),
        ("goals", "format: 1", "format: 2"),
        ("car", "suspension: strut", "suspension: strutt"),
        ("car", "wheelbase: 2480", "wheelbase: 0"),
        ("car", "  top_mount:", "  top_mout:"),
        ("car", "[0, 740, 290]", "[0, 740]"),
        ("parts", "  lower_arm:", "  lower_arms:"),
        ("parts", "id: stock arm", "id: stock/arm"),
        ("parts", "5 mm: 8", "5 kg: 8"),
        ("parts", "price: 240", "price: free"),
        ("readings", "wheel: left", "wheel: up"),
        ("readings", "[40, -0.12]", "[40]"),
        ("readings", "base: 300", "base: 0"),
    ],
)
def test_a_slip_is_a_slip_by_the_schema(what: What, old: str, new: str) -> None:
    schema = json_schema(what)
    assert list(problems(schema, data_of(what, old, new), schema))


@pytest.mark.parametrize(
    ("what", "old", "new"),
    [
        ("goals", "lowered_by: 45", "lowered_by: 1.75 in"),
        ("goals", "value: 60", "value: 6 cm"),
        ("goals", "{min: 38}", "[{min: 38}, {max: 60}]"),
        ("goals", "workers: auto", "workers: 4"),
        ("car", "front: 590", "front: 1300 lb"),
        ("parts", "id: stock arm", "id: 7"),
    ],
)
def test_what_the_models_allow_the_schema_allows(what: What, old: str, new: str) -> None:
    schema = json_schema(what)
    assert list(problems(schema, data_of(what, old, new), schema)) == []


def test_limits_and_targets_name_the_measures_with_their_units() -> None:
    duty = json_schema("goals")["$defs"]["Duty"]["properties"]
    for kind in ("limits", "targets"):
        assert list(duty[kind]["properties"]) == list(MEASURES)
        assert duty[kind]["additionalProperties"] is False
    told = duty["limits"]["properties"]["toggle_margin"]["description"]
    assert told.startswith("deg. ")


def test_another_word_is_refused() -> None:
    with pytest.raises(KeyError):
        json_schema("cars")  # type: ignore[arg-type]

"""JSON Schemas of the files, for editors that complete, check and explain while one types."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import BaseModel, TypeAdapter

from goals.asks import catalogue
from goals.base import (
    Angle,
    Direction,
    Length,
    Mass,
    Point,
    RollStiffness,
    Span,
    SpringRate,
)
from goals.car import Car
from goals.duties import GoalsFile
from goals.parts import Parts
from goals.readings import Readings

DIALECT = "https://json-schema.org/draft/2020-12/schema"

_FILES: Mapping[str, tuple[type[BaseModel], str]] = {
    "goals": (GoalsFile, "shimwright goals file"),
    "car": (Car, "shimwright car file"),
    "parts": (Parts, "shimwright parts file"),
    "readings": (Readings, "shimwright readings file"),
}

# Forms that come up everywhere are defined once under this name, and referred to.
_SHARED: Mapping[str, Any] = {
    "Length": Length,
    "Angle": Angle,
    "Mass": Mass,
    "SpringRate": SpringRate,
    "RollStiffness": RollStiffness,
    "Point": Point,
    "Direction": Direction,
    "Range": Span,
}


def json_schema(what: Literal["goals", "car", "parts", "readings"]) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of one kind of file, as plain data ready for ``json.dumps``.

    In the goals schema the keys of limits and targets are the measures of the catalogue. Raises
    ``KeyError`` for any other word.
    """
    model, title = _FILES[what]
    raw = model.model_json_schema()
    definitions = {name: _tidy(each) for name, each in raw.pop("$defs", {}).items()}
    schema = {"$schema": DIALECT, **_tidy(raw), "title": title}
    if "Duty" in definitions:
        properties = definitions["Duty"]["properties"]
        properties["limits"] = _by_measure(properties["limits"])
        properties["targets"] = _by_measure(properties["targets"])
    whole = {**schema, "$defs": definitions}
    _list_keys(whole, definitions)
    return _share(whole)


def _tidy(node: Any) -> Any:
    """Without what is noise in an editor: titles that repeat the key, and null as a default."""
    if isinstance(node, list):
        return [_tidy(each) for each in node]
    if not isinstance(node, dict):
        return node
    tidy: dict[str, Any] = {}
    for key, value in node.items():
        if key in ("properties", "patternProperties"):
            tidy[key] = {name: _tidy(each) for name, each in value.items()}
            # A key that fits no pattern is a fault, not something else that may stand there.
            tidy.setdefault("additionalProperties", False)
        elif key == "description":
            tidy[key] = value.replace("``", "`")
        elif key not in ("title", "default"):
            tidy[key] = _tidy(value)
        elif key == "default" and value is not None:
            tidy[key] = value
    return tidy


def _by_measure(schema: Mapping[str, Any]) -> dict[str, Any]:
    """Limits or targets with one property for each measure, which tells unit and definition."""
    measures = catalogue()
    form = schema["additionalProperties"]
    properties = {
        name: {**form, "description": _told(measure)} for name, measure in measures.items()
    }
    return {**schema, "properties": properties, "additionalProperties": False}


def _told(measure: Any) -> str:
    return f"{measure.unit}. {measure.definition}" if measure.unit else str(measure.definition)


def _list_keys(node: Any, definitions: Mapping[str, Any]) -> None:
    """Where the keys come from a list of words, make each a property, which editors complete."""
    if isinstance(node, list):
        for each in node:
            _list_keys(each, definitions)
    if not isinstance(node, dict):
        return
    for value in node.values():
        _list_keys(value, definitions)
    names = node.get("propertyNames", {})
    words = definitions.get(names.get("$ref", "").removeprefix("#/$defs/"), {}).get("enum")
    if words and "additionalProperties" in node:
        del node["propertyNames"]
        node["properties"] = dict.fromkeys(words, node["additionalProperties"])
        node["additionalProperties"] = False


def _share(whole: dict[str, Any]) -> dict[str, Any]:
    """The schema with each shared form replaced by a reference to its one definition."""
    forms = {name: _tidy(TypeAdapter(form).json_schema()) for name, form in _SHARED.items()}
    shared = {name: _refer(form, forms, inside=name) for name, form in forms.items()}
    used: dict[str, Any] = _refer(whole, forms)
    used["$defs"] = {**used["$defs"], **shared}
    return used


def _refer(node: Any, forms: Mapping[str, Any], inside: str = "") -> Any:
    if isinstance(node, list):
        return [_refer(each, forms) for each in node]
    if not isinstance(node, dict):
        return node
    for name, form in forms.items():
        if name != inside and _bare(node) == _bare(form):
            words = {key: node[key] for key in ("description", "default") if key in node}
            reference = f"#/$defs/{name}"
            return {
                "$ref": reference,
                **(words if words != {"description": form["description"]} else {}),
            }
    return {key: _refer(value, forms) for key, value in node.items()}


def _bare(schema: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in schema.items() if key not in ("description", "default")}

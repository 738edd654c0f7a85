"""The shape that a file must have, asked at a path: which keys may stand there, what is wanted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from pydantic import BaseModel

from goals.document import Path


@cache
def schema_of(model: type[BaseModel]) -> Mapping[str, Any]:
    """The JSON Schema of a model, made once."""
    return model.model_json_schema()


def valid_keys(model: type[BaseModel], path: Path) -> tuple[str, ...]:
    """The keys that the mapping at ``path`` may have, in the order of the model."""
    found: dict[str, None] = {}
    for schema in _at(schema_of(model), path):
        found.update(dict.fromkeys(schema.get("properties", {})))
    return tuple(found)


def wanted(model: type[BaseModel], path: Path) -> str:
    """What stands at ``path``, in the first sentence of its description; empty when unknown."""
    for schema in _at(schema_of(model), path):
        text = str(schema.get("description", "")).strip()
        if text:
            first = " ".join(text.split("\n\n")[0].split()).split(". ")[0].rstrip(".")
            return first[0].lower() + first[1:]
    return ""


def _at(root: Mapping[str, Any], path: Path) -> list[Mapping[str, Any]]:
    """Every schema that may apply at ``path``, all branches of a choice included."""
    level = list(_open(root, root))
    for word in path:
        level = [
            branch
            for schema in level
            for inner in _step(schema, word)
            for branch in _open(root, inner)
        ]
    return level


def _step(schema: Mapping[str, Any], word: str) -> Iterator[Mapping[str, Any]]:
    """The schemas one key or index further down."""
    properties = schema.get("properties", {})
    if word in properties:
        yield properties[word]
        return
    rest = [schema.get("additionalProperties"), schema.get("items")]
    rest += schema.get("patternProperties", {}).values()
    yield from (inner for inner in rest if isinstance(inner, Mapping))
    prefix = schema.get("prefixItems", [])
    if word.isascii() and word.isdigit() and len(word) < 6 and int(word) < len(prefix):
        yield prefix[int(word)]


def _open(root: Mapping[str, Any], schema: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """The schema itself and, in its place, what it refers to or chooses between."""
    yield schema
    name = schema.get("$ref", "").removeprefix("#/$defs/")
    if name:
        yield from _open(root, root["$defs"][name])
    for choice in ("anyOf", "oneOf", "allOf"):
        for branch in schema.get(choice, ()):
            yield from _open(root, branch)

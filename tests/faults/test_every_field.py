"""The files that are spoilt have every field that a file may have: none is left unspoilt for being absent."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from goals.car import Car
from goals.duties import GoalsFile
from goals.parts import Parts
from goals.reading import load_goals
from goals.readings import Readings
from optimiser.checking import check_document
from optimiser.problem import Problem
from tests.faults import every_field

MODELS: dict[str, type[BaseModel]] = {
    "goals": GoalsFile,
    "car": Car,
    "parts": Parts,
    "readings": Readings,
}
Fields = dict[type[BaseModel], set[str]]


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models(inner)


def _known(model: type[BaseModel], known: Fields) -> Fields:
    """Every field of a model and of those within it."""
    if model not in known:
        known[model] = set(model.model_fields)
        for field in model.model_fields.values():
            for inner in _models(field.annotation):
                _known(inner, known)
    return known


def _written(value: Any, written: Fields) -> Fields:
    """Fields that were written with something in them."""
    if isinstance(value, BaseModel):
        here = {name for name in value.model_fields_set if getattr(value, name) is not None}
        written[type(value)] |= here
        inner: list[Any] = [getattr(value, name) for name in here]
    else:
        inner = list(value.values()) if isinstance(value, dict) else []
        inner += list(value) if isinstance(value, list | tuple) else []
    for each in inner:
        _written(each, written)
    return written


@pytest.mark.parametrize("kind", MODELS)
def test_every_field_is_written_somewhere(kind: str) -> None:
    written: Fields = defaultdict(set)
    for files in every_field.plain():
        _written(MODELS[kind].model_validate(files[kind]), written)
    known = _known(MODELS[kind], {})
    if kind == "goals":  # a car and parts within the goals are the same as in files of their own
        for other in ("car", "parts"):
            for model in _known(MODELS[other], {}):
                known.pop(model, None)
    absent = {model.__name__: sorted(known[model] - written[model]) for model in known}
    assert {name: fields for name, fields in absent.items() if fields} == {}


@pytest.mark.parametrize("which", every_field.SETS)
@pytest.mark.parametrize("readings", ["readings.yaml", "readings.csv"])
def test_the_files_are_sound(tmp_path: Path, which: str, readings: str) -> None:
    for kind, text in every_field.SETS[which].items():
        (tmp_path / f"{kind}.yaml").write_text(text)
    (tmp_path / "readings.yaml").write_text(every_field.READINGS)
    (tmp_path / "readings.csv").write_text(every_field.TABLE)
    goals = tmp_path / "goals.yaml"
    lines = [line for line in goals.read_text().splitlines() if not line.startswith("readings:")]
    goals.write_text("\n".join([*lines, f"readings: {readings}", ""]))
    loaded = load_goals(goals)
    assert loaded.readings is not None
    problem = Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)
    json.dumps(check_document(problem), allow_nan=False)

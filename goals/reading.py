"""From paths to validated models: the goals file and the car, parts and readings files that it names.

``load_goals`` and ``load_saved`` end in one of two ways: a ``Loaded``, or one ``InputError`` that
holds every fault of every file.
"""

from __future__ import annotations

import stat
from collections.abc import Callable
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from goals.asks import check_asks, in_measure_units
from goals.bars import check_bar_parts
from goals.boxes import check_parts, parts_notices
from goals.car import Car
from goals.document import MAX_BYTES, Document, read_document
from goals.duties import GoalsFile
from goals.explain import explain
from goals.faults import MAX_FAULTS, Fault, InputError, Unsound, nearest
from goals.fitted import check_fitted, fitted_notices
from goals.fitting import check_fit
from goals.geometry import car_notices, check_car
from goals.obstacles import check_obstacles
from goals.parts import Parts
from goals.readings import Readings, check_readings
from goals.readings_csv import read_table
from goals.section import Section
from goals.tolerances import check_tolerances

Model = TypeVar("Model", bound=BaseModel)

GOALS, CAR, PARTS = "goals.yaml", "car.yaml", "parts.yaml"
# Readings keep their form in a run folder.
READINGS, READINGS_TABLE, TABLE = "readings.yaml", "readings.csv", ".csv"


@dataclass(frozen=True)
class Loaded:
    """Sound inputs.

    ``files`` is the name in a run folder → the exact bytes that were read; car.yaml and parts.yaml
    are in it only when the goals file gives them as paths. ``notices`` are no faults, but worth
    telling the user. ``readings`` are those that the goals file names.
    """

    goals: GoalsFile
    car: Car
    parts: Parts
    files: dict[str, bytes]
    notices: list[str]
    readings: Readings | None = None


@dataclass
class _Reader:
    """One reading: what was read so far, and what is wrong with it."""

    files: dict[str, bytes]
    faults: list[Fault]

    def document(
        self,
        name: str,
        path: Path,
        asked: Section | None,
        read: Callable[[str, bytes], Document] = read_document,
    ) -> Section | None:
        """The whole of a file, or None when there is nothing to go on with.

        A file that cannot be read is a fault at the place that asks for it.
        """
        try:
            raw = read_bytes(path)
        except Unsound as error:
            words = (error.found, error.expected, error.nearest)
            self.faults.append(asked.fault(*words) if asked else Fault(str(path), 0, 0, *words))
            return None
        self.files[name] = raw
        document = read(str(path), raw)
        self.faults += document.faults
        return Section(document) if document.readable else None

    def part(self, goals: Section, key: str, name: str, locate: Callable[[str], Path]) -> Section:
        """The car or the parts: a file of their own, or a mapping in the goals file."""
        asked = goals.down(key)
        written = asked.data
        if isinstance(written, str):
            return self.document(name, locate(written), asked) or Section(NOTHING)
        return asked if isinstance(written, dict) else Section(NOTHING)

    def model(self, model: type[Model], section: Section) -> Model | None:
        """The validated model, or None with its faults noted."""
        if section.document is NOTHING:
            return None
        try:
            return model.model_validate(section.data)
        except ValidationError as error:
            self.faults += explain(model, section, error)
            return None

    def readings(self, section: Section, car: Section | None) -> Readings | None:
        """Validated readings that fit the car, or None with their faults noted."""
        self.faults += islice(check_readings(section, car), MAX_FAULTS + 1)
        return self.model(Readings, section)


NOTHING = Document("", readable=False)


def load_goals(path: Path) -> Loaded:
    """Read the goals file at ``path`` and the files that it names, relative to its own folder.

    Raises ``InputError`` with every fault of all files: unreadable, not YAML, not of the contract,
    not fitting each other, or not a car.
    """

    def beside(written: str) -> Path:
        return path.parent / written

    return _load(path, beside, beside, beside)


def load_saved(folder: Path) -> Loaded:
    """Read a run's own copies, goals.yaml and what it needs of car.yaml, parts.yaml and readings.

    The copies keep the paths of the original goals file, so those are not followed. Raises
    ``InputError`` as ``load_goals`` does.
    """
    return _load(
        folder / GOALS,
        lambda written: folder / CAR,
        lambda written: folder / PARTS,
        lambda written: folder / _readings_name(written),
    )


def load_readings(path: Path, car: Section | None = None) -> tuple[Readings, bytes]:
    """Read a readings file by itself, YAML or CSV by its ending, and the bytes that it had.

    ``car`` is the car's plain data, which the readings must fit. Raises ``InputError`` as ``load_goals``.
    """
    reader = _Reader({}, [])
    section = reader.document(READINGS, path, None, _form(path))
    readings = None if section is None else reader.readings(section, car)
    if readings is None or reader.faults:
        raise InputError(_in_order(reader.faults))
    return readings, reader.files[READINGS]


def car_section(car: Car) -> Section:
    """A car that was read already as plain data to hold other files against."""
    return Section(Document("", car.model_dump(mode="json")))


def _form(path: Path) -> Callable[[str, bytes], Document]:
    """How a readings file is read: a table by its ending, else YAML."""
    return read_table if path.suffix.lower() == TABLE else read_document


def _readings_name(written: str) -> str:
    """What readings are called in a run folder."""
    return READINGS_TABLE if Path(written).suffix.lower() == TABLE else READINGS


Locate = Callable[[str], Path]


def _load(path: Path, car_at: Locate, parts_at: Locate, readings_at: Locate) -> Loaded:
    reader = _Reader({}, [])
    written = reader.document(GOALS, path, None)
    if written is None:
        raise InputError(_in_order(reader.faults))
    car_part = reader.part(written, "car", CAR, car_at)
    parts_section = reader.part(written, "parts", PARTS, parts_at)
    notices = _check(reader, written, car_part, parts_section)
    goals = reader.model(GoalsFile, written)
    car = _inner(reader, Car, car_part, goals and goals.car)
    parts = _inner(reader, Parts, parts_section, goals and goals.parts)
    readings = _named_readings(reader, written, car_part, readings_at)
    if reader.faults or goals is None or car is None or parts is None:
        raise InputError(_in_order(reader.faults))
    return Loaded(goals, car, parts, reader.files, notices, readings)


def _named_readings(
    reader: _Reader, goals: Section, car: Section, locate: Locate
) -> Readings | None:
    """The readings that the goals file names; None without, or with faults noted."""
    asked = goals.down("readings")
    if not isinstance(asked.data, str):
        return None
    path = locate(asked.data)
    section = reader.document(_readings_name(asked.data), path, asked, _form(path))
    return None if section is None else reader.readings(section, car)


def _inner(reader: _Reader, model: type[Model], section: Section, within: object) -> Model | None:
    """The model of a file of its own; one that stands within the goals file was made with that."""
    if section.path:
        return within if isinstance(within, model) else None
    return reader.model(model, section)


def _check(reader: _Reader, goals: Section, car: Section, parts: Section) -> list[str]:
    """What no single field can tell; on plain data, so that other faults do not hide these."""
    reader.faults += in_measure_units(goals)
    for checks in (
        check_asks(goals, car, parts),
        check_car(car),
        check_parts(parts, goals),
        check_fitted(car, parts),
        check_bar_parts(parts, car),
        check_fit(goals, car, parts),
        check_obstacles(car, parts),
        check_tolerances(goals, car),
    ):
        # One more than is shown, so that the rest is known to be there.
        reader.faults += islice(checks, MAX_FAULTS + 1)
    notices = parts_notices(parts, goals) + car_notices(car)
    return notices + fitted_notices(car, parts)


def _in_order(faults: list[Fault]) -> list[Fault]:
    """File by file as they were first met, each from top to bottom, no fault twice."""
    files: dict[str, list[Fault]] = {}
    for fault in dict.fromkeys(faults):
        files.setdefault(fault.file, []).append(fault)
    ordered = []
    for file, own in files.items():
        own.sort(key=lambda each: (each.line, each.column))
        ordered += own[:MAX_FAULTS]
        if len(own) > MAX_FAULTS:
            rest = own[MAX_FAULTS]
            found = f"more faults than these {MAX_FAULTS}; put these right first"
            ordered.append(Fault(file, rest.line, rest.column, found))
    return ordered


def read_bytes(path: Path) -> bytes:
    """The bytes of a plain file, at most one more than ``MAX_BYTES``.

    Raises ``Unsound`` when there is no such file, or it is no plain file, or cannot be read.
    """
    try:
        # Opening a pipe would wait for ever, so look first.
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode):
            what = "is a folder" if stat.S_ISDIR(mode) else "is not a plain file"
            raise Unsound(f"{_name(path)} {what}", "a YAML file")
        with path.open("rb") as handle:
            return handle.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise Unsound(f"there is no file {_name(path)}", "a YAML file", _beside(path)) from None
    except (OSError, ValueError) as error:
        if isinstance(error, Unsound):
            raise
        reason = getattr(error, "strerror", None) or "not a path"
        raise Unsound(f"{_name(path)} cannot be read: {reason.lower()}", "a YAML file") from None


def _name(path: Path) -> str:
    """The path in quotes; of a very long one the end, which tells most."""
    text = str(path)
    return repr(text if len(text) <= 300 else "…" + text[-299:])


_YAML = (".yaml", ".yml")


def _beside(path: Path) -> str | None:
    """A YAML file in the same folder whose name is close."""
    try:
        names = sorted(each.name for each in path.parent.iterdir() if each.suffix in _YAML)
    except OSError:
        return None
    return nearest(path.name, names[:1000])

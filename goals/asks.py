"""Limits and targets against the measure catalogue: names, arguments, units, what the car must give."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from goals.faults import Fault, Unsound, nearest, one_of, show
from goals.section import Section, spoken
from goals.units import kind_of_unit, read_quantity

ARGUMENTS = ("over", "at", "wheel", "points")
FIGURES = ("min", "max", "in_hand", "value", "tolerance")

# What a section of the car file holds at least, for the fault that asks for it.
_SECTIONS = {
    "masses": "masses: {total: …, front: …, cg_height: …} in the car file",
    "rear": "rear: {roll_centre_height: …} in the car file",
    "springs": "springs: {rate: …, motion_ratio: …} in the car file",
    "antiroll_bar": "antiroll_bar: {diameter: …, length: …, arm: …, motion_ratio: …} in the car file",
    "antiroll_bar.pivot": "antiroll_bar: {pivot: …, end: …, link: …, link_on: …} in the car file",
    "joints": "joints: {ball_joint: {tilt: …}} in the car file",
    "hub": "hub: {bolts: …, pitch_circle: …, stud_length: …} in the car file",
    "brake": "brake: {profile: [[y, radius], …]} in the car file",
    "strut": "strut: {bump: …, droop: …} in the car file",
    "arch": "arch: {centre_x: …} in the car file",
    "top_mount_outline": "top_mount_outline: {centre: [x, y], radius: …} in the car file",
    "obstacles": "obstacles: [{name: …, on: …, shape: …}] in the car file",
    "wheel.barrel_radius": "wheel: {barrel_radius: …} in the car file",
}


def catalogue() -> Mapping[str, Any]:
    """The measure catalogue; imported when first asked for, because it brings the compiler along."""
    from kinematics.measures import MEASURES

    return MEASURES


def in_measure_units(goals: Section) -> list[Fault]:
    """Turn texts with a unit in limits and targets into numbers in the measure's unit, in place.

    Returns a fault for each text that is no such quantity. A measure without a unit of length, angle
    and so on takes plain numbers only; the models say so.
    """
    faults = []
    for measure, ask in _known_asks(goals):
        kind = kind_of_unit(measure.unit)
        for figure in _figures(ask):
            if kind is None or not isinstance(figure.data, str):
                continue
            try:
                _put(figure, read_quantity(figure.data, kind))
            except Unsound as error:
                found = f"{spoken(goals.data, figure.path)}: {error.found}"
                faults.append(figure.fault(found, error.expected, error.nearest))
                figure.document.broken.add(figure.path)
    return faults


def _put(figure: Section, value: float) -> None:
    holder = Section(figure.document, figure.path[:-1]).data
    holder[figure.path[-1] if isinstance(holder, dict) else int(figure.path[-1])] = value


def check_asks(goals: Section, car: Section, parts: Section) -> Iterator[Fault]:
    """Faults of limits and targets that name no measure, or ask one for what it doesn't give."""
    measures = catalogue()
    told = _told(car, parts)
    for name, section in measures_named(goals):
        if name in measures:
            yield from _lacking(measures[name], section, car, told)
        else:
            close = nearest(name, measures)
            found = f"unknown measure {show(name)}"
            yield section.fault(found, one_of(list(measures), close), close, key=True)
    for measure, ask in _known_asks(goals):
        for argument in ARGUMENTS:
            if ask.mapping().get(argument) is not None and argument not in measure.takes:
                yield _not_taken(measure, ask.down(argument), argument)


def _told(car: Section, parts: Section) -> dict[str, Any]:
    """The car file's sections with what parts say beside them: looked up once for all that is asked."""
    needs = {name for measure in catalogue().values() for name in measure.needs_car}
    names = {name.partition(".")[0] for name in needs}
    return {name: _with_parts(car.mapping().get(name), parts, name) for name in names}


def _lacking(
    measure: Any, section: Section, car: Section, told: Mapping[str, Any]
) -> Iterator[Fault]:
    if not isinstance(car.data, dict):
        return
    for name in sorted(measure.needs_car):
        section_name, _, entry = name.partition(".")
        written = told[section_name]
        if entry and written is None and section_name in measure.needs_car:
            continue  # the missing section is told already
        if written is None or (entry and isinstance(written, dict) and written.get(entry) is None):
            yield section.fault(
                f"{measure.name} needs the car's section '{name}', which {car.document.file} lacks"
                if not entry
                else f"{measure.name} needs '{name}', which {car.document.file} lacks",
                _SECTIONS.get(name, f"'{name}' in the car file"),
                key=True,
            )


def _with_parts(written: Any, parts: Section, name: str) -> Any:
    """A section of the car file with what parts say beside it; None where neither says anything."""
    if written is not None and not isinstance(written, dict):
        return written
    said: dict[Any, Any] = {}
    for _, station in parts.down("stations").items():
        for _, part in station.items():
            said |= part.down(name).mapping() if name == "joints" else {}
            said |= part.down("sets", name).mapping()
    return {**said, **written} if written is not None else said or None


def _not_taken(measure: Any, section: Section, argument: str) -> Fault:
    takes = [each for each in ARGUMENTS if each in measure.takes]
    expected = f"{one_of(takes)} at most" if takes else "no argument"
    return section.fault(f"{measure.name} takes no '{argument}'", expected, key=True)


def measures_named(goals: Section) -> Iterator[tuple[Any, Section]]:
    """Each measure's name in limits and targets, known or not, with what is asked of it."""
    for _, duty in goals.down("duties").items():
        for kind in ("limits", "targets"):
            if isinstance(duty.down(kind).data, dict):
                yield from duty.down(kind).items()


def _known_asks(goals: Section) -> Iterator[tuple[Any, Section]]:
    """Each ask of a measure that exists, with that measure; several asks of one come one by one."""
    measures = catalogue()
    for name, section in measures_named(goals):
        if name in measures:
            several = isinstance(section.data, list)
            for ask in [each for _, each in section.items()] if several else [section]:
                yield measures[name], ask


def _figures(ask: Section) -> Iterator[Section]:
    """Where an ask has figures in the measure's unit."""
    for key in FIGURES:
        if key in ask.mapping():
            yield ask.down(key)
    for _, pair in ask.down("points").items():
        if isinstance(pair.data, list) and len(pair.data) == 2:
            yield pair.down(1)

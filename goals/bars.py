"""Anti-roll bars that cannot be, and parts that ask more of the bar than the car file tells."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from goals.car import AntirollBar
from goals.faults import Fault
from goals.section import Section, spoken
from goals.units import LENGTH

Vector = tuple[float, float, float]

# Nearer than this is nothing to a tape measure, mm.
SAME = 1.0

POINTS = ("pivot", "end", "link")
GEOMETRY = (*POINTS, "link_on")
# What is told instead where the bar's points are not.
TOLD = ("arm", "motion_ratio")
# Only with the bar's points do these mean anything.
WITH_GEOMETRY = ("right", "corner_heights")

BAR_POINTS = ("bar_pivot", "bar_end", "bar_link")


def check_bar(bar: Section) -> Iterator[Fault]:
    """Faults of the car's anti-roll bar: on plain data, passing over what is no number or point."""
    yield from _keys(bar)
    lever: float | None = bar.down("arm").quantity(LENGTH)
    word = "the lever 'arm'"
    left = _points(bar)
    if "pivot" in left and "end" in left:
        lever, word = _lever(left), "the lever of 'end' about 'pivot'"
    yield from _section(bar, lever, word)
    yield from _placed(bar, left, frozenset(left), 1.0)
    right = bar.down("right")
    own = {name: (x, -y, z) for name, (x, y, z) in _points(right).items()}
    if own:
        yield from _placed(right, {**left, **own}, frozenset(own), -1.0)


def check_bar_parts(parts: Section, car: Section) -> Iterator[Fault]:
    """Faults of parts that move or change of the anti-roll bar what the car file does not tell."""
    if not isinstance(car.data, dict):
        return
    bar = car.down("antiroll_bar").mapping()
    for _, station in parts.down("stations").items():
        for _, part in station.items():
            for effects in _effects(part):
                yield from _untold(effects, bar, car.document.file)
            yield from _wall(part.down("sets", "antiroll_bar"), car.down("antiroll_bar"))


def _keys(bar: Section) -> Iterator[Fault]:
    given = {key for key, value in bar.mapping().items() if value is not None}
    if not given or given - set(AntirollBar.model_fields):
        return  # no bar, or a misspelt key, which is told elsewhere
    place = spoken(bar.document.data, bar.path)
    have, lack = ([key for key in GEOMETRY if (key in given) is told] for told in (True, False))
    if have and lack:
        found = f"{place} gives {_listed(have)} but not {_listed(lack)}"
        yield bar.fault(found, "all of pivot, end, link and link_on, or none of them", key=True)
    if have:
        return
    for key in TOLD:
        if key not in given:
            expected = f"'{key}', or the bar's points: pivot, end, link and link_on"
            yield bar.fault(f"key '{key}' is missing in {place}", expected, key=True)
    for key in WITH_GEOMETRY:
        if key in given:
            found = f"'{key}' of a bar whose points are not given"
            yield bar.down(key).fault(found, "pivot, end, link and link_on as well", key=True)


def _listed(names: list[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)


def _points(section: Section) -> dict[str, Vector]:
    found = {name: section.down(name).point() for name in POINTS}
    return {name: point for name, point in found.items() if point is not None}


def _lever(points: Mapping[str, Vector]) -> float:
    pivot, end = points["pivot"], points["end"]
    return math.hypot(end[0] - pivot[0], end[2] - pivot[2])


def _section(bar: Section, lever: float | None, word: str) -> Iterator[Fault]:
    diameter, bore, length = (
        bar.down(key).quantity(LENGTH) for key in ("diameter", "bore", "arm_length")
    )
    if diameter is not None and bore is not None and bore >= diameter > 0:
        found = f"the bar's bore, {bore:g} mm, leaves nothing of its {diameter:g} mm"
        yield bar.down("bore").fault(found, "less than the diameter")
    if lever is not None and length is not None and 0 < length < lever:
        found = f"arm_length is {length:g} mm and {word} {lever:.4g} mm"
        expected = "a true length no shorter than the lever square to the bar"
        yield bar.down("arm_length").fault(found, expected)


def _placed(
    section: Section, points: Mapping[str, Vector], own: frozenset[str], sign: float
) -> Iterator[Fault]:
    """Faults of one side's points, seen as a left side; told at those that are its own."""
    for name in POINTS:
        if name in own and points[name][1] <= 0.0:
            word, side = ("above", "left") if sign > 0.0 else ("below", "right")
            found = f"the bar's {name} is not on the {side} side of the car"
            yield section.down(name).fault(found, f"a y {word} 0: y points to the left")
    if len(points) < len(POINTS):
        return
    pivot, end, link = (points[name] for name in POINTS)
    at = section.down(next(name for name in ("link", "end", "pivot") if name in own))
    if math.dist(end, link) < SAME:
        found = "the bar's end and link are one point: the link has no length"
        yield at.fault(found, "two joints that are apart")
        return
    lever = _lever(points)
    if lever < SAME:
        found = "the bar's end is on the axis through pivot: the arm has no lever"
        yield at.fault(found, "an end ahead of, behind, above or below the pivot")
        return
    across = (end[0] - pivot[0]) * (link[2] - end[2]) - (end[2] - pivot[2]) * (link[0] - end[0])
    if abs(across) / lever < SAME:
        found = (
            "the bar's pivot, end and link lie in line seen along the bar: the link turns nothing"
        )
        yield at.fault(found, "a link that stands about square to the arm")


def _effects(part: Section) -> Iterator[Section]:
    """Every place of a part that names points or numbers, with its 'points', 'moves', 'along', 'adds'."""
    yield part
    for _, choice in part.down("choices").items():
        for _, position in choice.items():
            yield position
    for _, adjuster in part.down("adjusts").items():
        yield adjuster
    yield part.down("stack")


def _untold(effects: Section, bar: Mapping[str, object], file: str) -> Iterator[Fault]:
    told = bar.get("pivot") is not None
    if not isinstance(effects.data, dict):
        return
    named = [(effects.down(form), effects.down(form).mapping()) for form in _POINT_FORMS]
    places = [form.down(name) for form, keys in named for name in BAR_POINTS if name in keys]
    for at in [] if told else places:
        found = f"{at.path[-1]} of a bar whose points {file} does not give"
        yield at.fault(found, "antiroll_bar: {pivot: …, end: …, link: …, link_on: …}", key=True)
    if not told and effects.mapping().get("point") in BAR_POINTS:
        at = effects.down("point")
        found = f"{at.data} of a bar whose points {file} does not give"
        yield at.fault(found, "antiroll_bar: {pivot: …, end: …, link: …, link_on: …}")
    for form in ("sets", "adds"):
        yield from _untold_numbers(effects.down(form, "antiroll_bar"), bar, file, form)


_POINT_FORMS = ("points", "moves", "along")


def _untold_numbers(
    numbers: Section, bar: Mapping[str, object], file: str, form: str
) -> Iterator[Fault]:
    given = numbers.mapping()
    if given and not bar:
        found = f"a part for an anti-roll bar that {file} does not have"
        yield numbers.fault(found, "antiroll_bar: {diameter: …, …} in the car file", key=True)
        return
    if "link_length" in given and bar.get("pivot") is None:
        found = f"link_length of a bar whose points {file} does not give"
        expected = "antiroll_bar: {pivot: …, end: …, link: …, link_on: …}"
        yield numbers.down("link_length").fault(found, expected, key=True)
    if form == "adds" and "arm_length" in given and bar.get("arm_length") is None:
        found = f"arm_length is added to, and {file} does not give the bar's"
        expected = "arm_length in antiroll_bar; an arm without it is as long as its lever"
        yield numbers.down("arm_length").fault(found, expected, key=True)


def _wall(sets: Section, bar: Section) -> Iterator[Fault]:
    """A bar of another diameter keeps the car's bore unless it says its own."""
    bore = sets.down("bore").quantity(LENGTH)
    if bore is not None and bore < 0.0:
        yield sets.down("bore").fault(f"{bore:g} for antiroll_bar.bore", "0 or more; 0 is solid")
        return
    diameter = sets.down("diameter").quantity(LENGTH)
    if diameter is None or diameter <= 0.0:
        return
    if bore is not None and bore >= diameter:
        found = f"the bar's bore, {bore:g} mm, leaves nothing of its {diameter:g} mm"
        yield sets.down("bore").fault(found, "less than the diameter")
    kept = bar.down("bore").quantity(LENGTH)
    if bore is None and kept is not None and kept >= diameter:
        found = f"the car's bar has a bore of {kept:g} mm, which leaves nothing of {diameter:g} mm"
        yield sets.down("diameter").fault(found, "'bore' beside it; 0 is a solid bar")

"""What the parts file must be as a whole: ids, today's parts, exclusions, settings that can be counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from goals.faults import Fault, nearest, one_of, show
from goals.parts import Station
from goals.section import Section
from goals.stacks import MOST_STEPS, MOST_WAYS, most_filled, steps_to_stack, ways_to_stack
from goals.units import LENGTH, read_quantity

AS_IS = "as_is"
MAX_POSITIONS = 2000

# How far a step may be from a whole number of fine steps, as a share: what rounding in a file makes.
WHOLE_PART = 1e-6
_LESS = "a whole part of the step: its half, third, quarter and so on"

_ABOVE_ZERO = (
    ("rack", "travel"),
    ("rack", "per_turn"),
    ("wheel", "width"),
    ("wheel", "barrel_radius"),
    ("tyre", "width"),
    ("tyre", "diameter"),
    ("tyre", "loaded_radius"),
    ("antiroll_bar", "diameter"),
    ("antiroll_bar", "length"),
    ("antiroll_bar", "arm_length"),
    ("antiroll_bar", "link_length"),
    ("wheel", "pitch_circle"),
    ("wheel", "bore"),
    ("wheel", "pad"),
    ("hub", "pitch_circle"),
    ("hub", "spigot"),
    ("hub", "stud_length"),
)

_NOT_BELOW_ZERO = (("wheel", "lip"), ("tyre", "shoulder"), ("tyre", "growth"), ("tyre", "bulge"))


def check_parts(parts: Section, goals: Section) -> Iterator[Fault]:
    """Faults of the parts as a whole, and of ranges that are too finely stepped."""
    yield from _ids(parts)
    yield from _exclusions(parts)
    for _, station in parts.down("stations").items():
        yield from _today(station)
        for _, part in station.items():
            yield from _settings(part)
            yield from _numbers(part.down("sets"))
    for _, duty in goals.down("duties").items():
        yield from _lowering(duty.down("lowered_by"))


def _parts(parts: Section) -> Iterator[tuple[str, Section]]:
    """Every part that has an id, with that id."""
    for _, station in parts.down("stations").items():
        for _, part in station.items():
            name = _word(part.down("id").data) if isinstance(part.data, dict) else None
            if name is not None:
                yield name, part


def _word(raw: object) -> str | None:
    """An id as the models read it: a whole number is a word, too."""
    if type(raw) is int:
        return str(raw)
    return raw if isinstance(raw, str) else None


def _ids(parts: Section) -> Iterator[Fault]:
    first: dict[str, int] = {}
    for name, part in _parts(parts):
        id_section = part.down("id")
        line = id_section.document.place(id_section.path).line
        if name in first:
            found = f"part id {show(name)} is used twice, first on line {first[name]}"
            yield id_section.fault(found, "an id of its own for each part of the file")
        first.setdefault(name, line)


def _today(station: Section) -> list[Fault]:
    """At most one part is on the car; where none is, ``as_is`` stands for what is."""
    marked = [part for _, part in station.items() if part.mapping().get("today") is True]
    faults = [
        part.down("today").fault(
            f"a second part of {station.path[-1]} is marked 'today'", "one part on the car at most"
        )
        for part in marked[1:]
    ]
    for _, part in station.items():
        if not marked and part.mapping().get("id") == AS_IS:
            found = f"the id '{AS_IS}' in {station.path[-1]}, where no part is marked 'today'"
            expected = f"another id: '{AS_IS}' stands for leaving the station as measured"
            faults.append(part.down("id").fault(found, expected))
    return faults


def _exclusions(parts: Section) -> Iterator[Fault]:
    known = dict.fromkeys(name for name, _ in _parts(parts))
    for name, part in _parts(parts):
        for _, other in part.down("fits", "not_with").items():
            word = _word(other.data)
            if word == name:
                yield other.fault(f"{show(name)} cannot be combined with itself", "another part")
            elif word is not None and word not in known:
                close = nearest(word, known)
                found = f"no part has the id {show(word)}"
                yield other.fault(found, one_of(list(known), close), close)


def _numbers(sets: Section) -> Iterator[Fault]:
    """What a part sets must be possible; what it adds may well be negative."""
    for path in _ABOVE_ZERO:
        number = sets.down(*path)
        value = number.quantity(LENGTH)
        if value is not None and value <= 0.0:
            yield number.fault(f"{value:g} for {'.'.join(path)}", "more than 0")
    for path in _NOT_BELOW_ZERO:
        number = sets.down(*path)
        value = number.quantity(LENGTH)
        if value is not None and value < 0.0:
            yield number.fault(f"{value:g} for {'.'.join(path)}", "0 or more")


def _settings(part: Section) -> Iterator[Fault]:
    adjusts = part.down("adjusts")
    for _, adjuster in adjusts.items() if isinstance(adjusts.data, dict) else ():
        low = adjuster.down("range", 0).quantity(LENGTH)
        high = adjuster.down("range", 1).quantity(LENGTH)
        step = adjuster.down("step")
        yield from _too_fine(step, low, high, step.quantity(LENGTH))
        yield from _fine(adjuster.down("fine"), low, high, step.quantity(LENGTH))
    pieces = part.down("stack", "pieces")
    seen: dict[float, str] = {}
    for key, piece in pieces.items() if isinstance(pieces.data, dict) else ():
        thickness = _thickness(key)
        if thickness in seen:
            found = f"pieces of {show(key)} are counted twice, first as {seen[thickness]}"
            yield piece.fault(found, "one line a thickness", key=True)
        elif thickness is not None:
            seen[thickness] = show(key)
    yield from _stack(part.down("stack"))


def _fine(
    at: Section, low: float | None, high: float | None, step: float | None
) -> Iterator[Fault]:
    """A fine step that the adjuster's own step is not made of, or that is finer than can be tried."""
    fine = at.quantity(LENGTH)
    if fine is None or fine <= 0.0 or step is None or step <= 0.0:
        return  # told elsewhere
    parts = step / fine
    if parts < 1.0 - WHOLE_PART:
        yield at.fault(f"a fine step of {fine:g}, larger than the step of {step:g}", _LESS)
    elif abs(parts - round(parts)) > WHOLE_PART * parts:
        found = f"a fine step of {fine:g}, of which the step of {step:g} is {parts:.4g}"
        yield at.fault(found, _LESS)
    else:
        yield from _too_fine(at, low, high, fine)


def _stack(stack: Section) -> Iterator[Fault]:
    """A stack that has more ways than can be looked at, or no way to fill its stud at all."""
    pieces: dict[float, int] = {}
    for key, piece in stack.down("pieces").items():
        thickness = _thickness(key)
        if thickness is None or thickness <= 0 or type(piece.data) is not int or piece.data < 0:
            return  # told elsewhere
        if thickness in pieces:
            return  # likewise
        pieces[thickness] = piece.data
    ways = ways_to_stack(pieces)
    if ways > MOST_WAYS:
        found = f"{ways} ways to stack these pieces on each side"
        yield stack.down("pieces").fault(
            found, f"{MOST_WAYS} at most: fewer kinds, or fewer of each"
        )
        return
    usable = stack.down("usable").quantity(LENGTH)
    if steps_to_stack(pieces, usable) > MOST_STEPS:
        found = f"{sum(pieces.values())} pieces, which make too many different stacks"
        yield stack.down("pieces").fault(found, "fewer kinds, or fewer of each")
        return
    given = stack.mapping().get("slack")
    slack = 1.0 if given is None else stack.down("slack").quantity(LENGTH)
    if usable is None or usable <= 0 or slack is None or slack < 0:
        return
    if most_filled(pieces, usable, slack) is None:
        total = sum(thickness * (count // 2) for thickness, count in pieces.items())
        all_of_it = f"all of one side's pieces are {total:g} mm"
        found = (
            f"no pieces of this box fill {usable:g} mm of stud to within {slack:g} mm: {all_of_it}"
        )
        expected = "pieces for both sides that fill it, under and above the joint together"
        yield stack.down("usable").fault(found, expected)


def _thickness(key: object) -> float | None:
    try:
        return read_quantity(key, LENGTH)
    except ValueError:
        return None


def _lowering(section: Section) -> Iterator[Fault]:
    if isinstance(section.data, dict):
        low = section.down("min").quantity(LENGTH)
        high = section.down("max").quantity(LENGTH)
        step = section.down("step").quantity(LENGTH) if "step" in section.data else 5.0
        yield from _too_fine(section.down("step"), low, high, step)


def _too_fine(
    at: Section, low: float | None, high: float | None, step: float | None
) -> Iterator[Fault]:
    """A range that is stepped so finely that no search could try it all."""
    if low is None or high is None or step is None or step <= 0 or low > high:
        return
    # as they are counted where they are made: the high end is one only where a step falls on it
    steps = (high - low) / step + 1e-9
    if steps >= MAX_POSITIONS:
        found = f"the step of {step:g} is tiny"
        if steps < 1e9:
            found = f"a step of {step:g} makes {int(steps) + 1} positions from {low:g} to {high:g}"
        yield at.fault(found, f"{MAX_POSITIONS} positions at most")


def parts_notices(parts: Section, goals: Section) -> list[str]:
    """What does nothing, harmless and perhaps a slip: no parts to change, ride height set finely."""
    return _no_parts(parts, goals) + _fine_heights(parts)


def _no_parts(parts: Section, goals: Section) -> list[str]:
    have = parts.down("stations").mapping()
    allowed = [each for _, each in goals.down("changeover", "allow").items()]
    if not have:
        return []
    # the steering stop is set anew in any swap, with or without a part for it
    named = [each.data for each in allowed if each.data in list(Station)]
    counts = Counter(name for name in named if name != Station.STEERING_STOP)
    return [
        f"changeover allows {station} to change, but the parts file has no parts for it"
        for station in counts
        if station not in have
    ]


def _fine_heights(parts: Section) -> list[str]:
    return [
        f"{name}'s {adjuster.path[-1]} lowers the car: ride height is not refined, so its 'fine' does nothing"
        for name, part in _parts(parts)
        for _, adjuster in part.down("adjusts").items()
        if "fine" in adjuster.mapping() and "lowered_by" in adjuster.down("adds").mapping()
    ]

"""What opens a clash: by how much a limit alone must be eased, and how much more an adjuster must reach.

Both are told by search: what is told to open something was found to do so, and a step less was searched in
full and found not to. A limit is eased in steps of the last digit that its figures are shown with.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from math import ceil
from typing import Any

from goals.parts import Adjuster, Part, Parts, Stack, Station
from goals.verdicts import label_of
from kinematics.measures import MEASURES
from optimiser.clash import TimeUp
from optimiser.evaluate import settings_of
from optimiser.oracle import Asked, Held, Oracle, Wish, judged, limits_of
from optimiser.problem import Problem
from optimiser.wording import measure_of

Row = dict[str, Any]
# A limit is eased by at most this many of its measure's scale, a swap by this many minutes.
MOST_SCALES, MOST_MINUTES = 1000.0, 1000.0
# In which steps a limit is eased, by its unit; angles whose noticed difference is fine in finer ones.
STEPS = {"deg/mm": 1e-4, "mm": 0.1, "MPa": 1.0, "N/g": 1.0, "N·m/deg": 1.0, "N/mm": 0.1, "N": 1.0}
STEP, FINE_STEP, FINE_DEGREES = 0.01, 1e-3, 0.05


def least_ease(
    oracle: Oracle, asked: Asked, wish: Wish, duties: Sequence[str]
) -> tuple[float, Held] | None:
    """By how much one wish must be eased for all that is asked to hold, and what holds then.

    In the measure's unit, or minutes. All else that is asked can be held without the wish. None where even
    much more does not do, which can be so where a limit decides the stop. Raises TimeUp.
    """
    step, most = _step(wish.label)
    rest = asked - {wish}

    def eased(steps: int) -> float:
        return round(steps * step, 9)

    def holds(steps: int) -> Held | None:
        return oracle.held(rest | {wish._replace(eased=eased(steps))}, duties)

    without = oracle.held(rest, duties)
    high = 1 if without is None else lacking(oracle.problem, without, rest, wish, step)
    high = min(high, ceil(most / step))
    while (held := holds(high)) is None:
        if eased(high) >= most:
            return None
        high *= 2
    low = 0
    while high - low > 1:
        middle = (low + high) // 2
        better = holds(middle)
        if better is None:
            low = middle
        else:
            high, held = middle, better
            # what was found may need less still
            near = lacking(oracle.problem, held, rest, wish, step)
            if low < near < high and (found := holds(near)) is not None:
                high, held = near, found
    return eased(high), held


def ease_step(label: str) -> float:
    """The step in which a limit on a measure is eased, in its unit."""
    measure = MEASURES[measure_of(label)]
    if measure.unit == "deg" and measure.scale < FINE_DEGREES:
        return FINE_STEP
    return STEPS.get(measure.unit, STEP)


def _step(label: str) -> tuple[float, float]:
    """The step in which a wish is eased, and how far at most."""
    if label == "changeover":
        return 1.0, MOST_MINUTES
    return ease_step(label), MOST_SCALES * MEASURES[measure_of(label)].scale


def lacking(problem: Problem, held: Held, rest: Asked, wish: Wish, step: float) -> int:
    """Steps that a found setting lacks of a wish; 1 where that cannot be told of one setting."""
    if not wish.duty:
        return 1
    asked = rest | {wish._replace(eased=0.0)}
    lacks = judged(problem, held.number, wish.duty, asked, held.setting[wish.duty])
    scale = MEASURES[measure_of(wish.label)].scale
    lack = (lacks or {}).get(wish.label, 0.0) * scale
    return max(1, ceil(lack / step - 1e-6))


def ease_document(
    oracle: Oracle, asked: Asked, wish: Wish, duties: Sequence[str]
) -> dict[str, Any]:
    """What easing one wish buys; ``eased`` None with ``proven`` False where the time was up."""
    told: dict[str, Any] = {"duty": wish.duty or None, "limit": wish.label, "proven": True}
    try:
        found = least_ease(oracle, asked, wish, duties)
    except TimeUp:
        return {**told, "eased": None, "proven": False}
    if found is None:
        return {**told, "eased": None}
    by, held = found
    unit = "min" if not wish.duty else MEASURES[measure_of(wish.label)].unit
    bounds = bounds_with(oracle.problem, wish, by)
    return {**told, "eased": by, "unit": unit, **bounds, "found": told_of(oracle.problem, held)}


def bounds_with(problem: Problem, wish: Wish, by: float) -> dict[str, Any]:
    """The bounds as the goals write them and as eased: [least, most]."""
    if not wish.duty:
        changeover = problem.goals.changeover
        assert changeover is not None and changeover.minutes is not None
        most = changeover.minutes.max
        return {"was": [None, most], "bounds": [None, most + by]}
    for name, limit in limits_of(problem, wish.duty):
        if Wish(wish.duty, label_of(name, limit)) == wish._replace(eased=0.0):
            low = None if limit.min is None else round(limit.min - by, 9)
            high = None if limit.max is None else round(limit.max + by, 9)
            return {"was": [limit.min, limit.max], "bounds": [low, high]}
    raise ValueError(f"duty '{wish.duty}' has no limit '{wish.label}'")


def told_of(problem: Problem, held: Held) -> dict[str, Any]:
    """A build and its settings in short."""
    build = problem.space.build(held.number)
    settings = {}
    for duty, at in held.setting.items():
        assembly = problem.assembly(build, duty)
        assert assembly is not None
        settings[duty] = settings_of(assembly, at)
    return {
        "build": held.number,
        "parts": build.name,
        "price": build.price,
        "settings": settings,
    }


Change = tuple[str, str, str]


def changes(parts: Parts) -> list[Change]:
    """What of the box can reach further: station, part and adjuster; an empty name is the stack."""
    found: list[Change] = []
    for station, listed in parts.stations.items():
        for part in listed:
            found += [(station.value, part.id, name) for name in part.adjusts]
            if part.stack is not None:
                found.append((station.value, part.id, ""))
    return found


def reaching(parts: Parts, change: Change, steps: int) -> Parts:
    """The same box with one adjuster's range so many steps longer at both ends; of a stack more pieces."""
    station, identifier, name = change
    listed = [
        _longer(part, name, steps) if part.id == identifier else part
        for part in parts.stations[Station(station)]
    ]
    return parts.model_copy(update={"stations": {**parts.stations, Station(station): listed}})


def _longer(part: Part, name: str, steps: int) -> Part:
    if not name:
        assert part.stack is not None
        return part.model_copy(update={"stack": _more(part.stack, steps)})
    adjuster: Adjuster = part.adjusts[name]
    low, high = adjuster.range
    # settings count from the low end, so that the old ones stay where they are
    top = low + adjuster.step * int((high - low) / adjuster.step + 1e-9)
    span = (low - steps * adjuster.step, top + steps * adjuster.step)
    longer = adjuster.model_copy(update={"range": span})
    return part.model_copy(update={"adjusts": {**part.adjusts, name: longer}})


def _more(stack: Stack, pairs: int) -> Stack:
    """So many more of each thickness on each side of the car."""
    pieces = {thickness: count + 2 * pairs for thickness, count in stack.pieces.items()}
    return stack.model_copy(update={"pieces": pieces})


def most_steps(parts: Parts, change: Change) -> int:
    """How far a range is lengthened: by its own span at each end; a stack by one of each a side."""
    station, identifier, name = change
    if not name:
        return 1
    part = next(p for p in parts.stations[Station(station)] if p.id == identifier)
    low, high = part.adjusts[name].range
    return max(1, int((high - low) / part.adjusts[name].step + 1e-9))


def opening(
    problem: Problem,
    change: Change,
    asked: Asked,
    duties: Sequence[str],
    order: Sequence[int],
    seconds: float,
) -> dict[str, Any]:
    """Whether a longer reach of one adjuster opens what cannot be held, and by how few steps.

    ``opens`` is None where the time was up before that was known. ``steps`` is proven least where ``least``
    says so. Builds without the part cannot gain by it and are not searched.
    """
    until = time.monotonic() + seconds
    station, identifier, name = change
    some = [
        number
        for number in order
        if (part := problem.space.build(number).parts.get(Station(station))) is not None
        and part.id == identifier
    ]
    told: dict[str, Any] = {"station": station, "part": identifier, "adjuster": name or None}

    def holds(steps: int) -> tuple[Problem, Held] | None:
        longer = Problem(problem.goals, problem.car, reaching(problem.parts, change, steps))
        held = Oracle(longer, some, until).held(asked, duties)
        return None if held is None else (longer, held)

    high = most_steps(problem.parts, change)
    try:
        found = holds(high)
    except TimeUp:
        return {**told, "opens": None}
    if found is None:
        return {**told, "opens": False, "tried": high}
    least, found = _bisect(holds, high, found)
    return {**told, "opens": True, "steps": least[0], "least": least[1], "found": told_of(*found)}


def _bisect(
    holds: Callable[[int], tuple[Problem, Held] | None], high: int, found: tuple[Problem, Held]
) -> tuple[tuple[int, bool], tuple[Problem, Held]]:
    """The fewest steps that do, whether that is proven, and what holds with them."""
    low = 0
    try:
        while high - low > 1:
            middle = (low + high) // 2
            better = holds(middle)
            if better is None:
                low = middle
            else:
                high, found = middle, better
    except TimeUp:
        return (high, False), found
    return (high, True), found

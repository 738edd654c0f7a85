"""What was asked, for the report: each duty's set-up, limits and targets, in short and in full."""

from __future__ import annotations

from typing import Any

from goals.duties import Duty, LoweringRange
from goals.verdicts import Demand, demands
from optimiser.assembly import duty_toe
from optimiser.precision import as_set
from optimiser.problem import Problem
from optimiser.wording import bound_words, clean, plain, short, spoken, with_unit

Record = dict[str, Any]


def asked(problem: Problem) -> list[Record]:
    """Each duty as it was asked for: name, note, set-up in words, limits and targets a line each."""
    return [_duty(problem, name, duty) for name, duty in problem.goals.duties.items()]


def _duty(problem: Problem, name: str, duty: Duty) -> Record:
    wanted = demands(duty, in_hand=False)
    kept = {d.label: d.kept for d in demands(duty) if d.is_limit}
    toe = duty_toe(problem.car, duty)
    return {
        "name": clean(name),
        "note": clean(duty.note or ""),
        "setup": [
            _lowered(duty),
            f"toe {as_set(toe, 2)} deg each wheel",
            f"travel {short(duty.travel[0])} to {short(duty.travel[1])} mm",
            *(["steers against the turn"] if duty.counter_steers else []),
        ],
        "limits": [_limit(d, kept[d.label]) for d in wanted if d.is_limit],
        "targets": [_target(d) for d in wanted if not d.is_limit],
    }


def _lowered(duty: Duty) -> str:
    if isinstance(duty.lowered_by, LoweringRange):
        low, high = short(duty.lowered_by.min), short(duty.lowered_by.max)
        return f"lowered by {low} to {high} mm"
    return f"lowered by {short(duty.lowered_by)} mm"


def _limit(demand: Demand, kept: float) -> Record:
    bound = (demand.minimum, demand.maximum)
    words = bound_words(demand.label, bound)
    figure = any(c.isdigit() for c in words)
    return {
        "measure": plain(demand.label),
        "words": with_unit(words, demand.measure.unit) if figure else words,
        "kept": with_unit(short(kept), demand.measure.unit) if kept else "",
        "means": demand.measure.definition,
    }


def _target(demand: Demand) -> Record:
    unit = demand.measure.unit
    at = [ask.at for ask in demand.asks]
    if len(demand.wanted) > 1:
        points = [
            f"{with_unit(short(value), unit)} at {short(angle or 0.0)} deg"
            for value, angle in zip(demand.wanted, at, strict=True)
        ]
        words = ", ".join(points)
    else:
        words = with_unit(short(demand.wanted[0]), unit)
        if at[0] is not None and " at " not in demand.label:
            words += f" at {short(at[0])} deg"
    return {
        "measure": plain(demand.label),
        "words": words,
        "tolerance": f"+/- {with_unit(short(demand.tolerance), unit)}",
        "weight": short(demand.weight),
        "means": demand.measure.definition,
    }


def changeover_words(problem: Problem) -> str:
    """What a swap between the duties may touch, and how long it may take."""
    changeover = problem.goals.changeover
    if len(problem.duties) < 2:
        return ""
    if changeover is None:
        return "Nothing is said of a changeover: each duty is set up by itself."
    stations = ", ".join(spoken(s.value) for s in changeover.allow) or "nothing"
    most = changeover.minutes
    within = "" if most is None else f", within {short(most.max)} minutes"
    return f"A swap may touch {stations}{within}. Tie-rod length and steering stop are set anew in any swap."


def tolerance_words(problem: Problem) -> str:
    """The errors that cars as built are drawn with, in a sentence."""
    t = problem.goals.tolerances
    words = (
        f"Errors, +/- with a coverage factor of 2: hard points {short(t.hard_points)} mm, "
        f"settings {short(t.settings)} mm, "
        f"parts {short(t.parts)} mm, camber {short(t.camber)} deg, toe {short(t.toe)} deg, "
        f"ride height {short(t.ride_height)} mm; {short(t.rack_overtravel)} mm of rack beyond the stop."
    )
    if t.points:
        words += f" {len(t.points)} hard points have errors of their own."
    if t.least_yield is not None:
        words += f" Least yield wanted: {short(100.0 * t.least_yield)} %."
    return words

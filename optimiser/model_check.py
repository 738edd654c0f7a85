"""Whether the car file reproduces the readings of its own car, in figures and in plain words.

A model that does not reproduce the car of today is not to be believed about the car of tomorrow: the verdict
goes with every ranking.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from goals.car import Car
from goals.duties import GoalsFile
from goals.readings import Readings
from kinematics.arrays import Floats
from optimiser.fit import FAR, SURE, Fit, Held, Model, far, held
from optimiser.point_space import PointSpace
from optimiser.precision import fixed
from optimiser.reading_list import DECIMALS, KINDS, Reading, reading_list
from optimiser.wording import counted

Record = dict[str, Any]

NOT_HELD = "the model was not held against readings of this car"
LOUD = "DOES NOT REPRODUCE ITS CAR"
NOT_BELIEVED = "a ranking should not be believed"
LEAST_CHANCE = 1e-3


def make_model(goals: GoalsFile, car: Car, readings: Readings) -> Model:
    """A car and the readings of it as it stands."""
    space = PointSpace.of(goals, car)
    return Model(space, tuple(reading_list(readings)), readings.lowered_by or 0.0)


def not_held() -> Record:
    """The verdict where no readings are named."""
    return {"held": False, "reproduces": None, "words": NOT_HELD}


def model_check(goals: GoalsFile, car: Car, readings: Readings | None) -> Record:
    """The verdict on a car file as it is: what ``run.json`` and ``check --json`` carry as model_check.

    It reproduces its car where the readings' chi-square, with reading errors and the points' own errors in
    it, is no rarer than 1 %, no reading is too many standard deviations off, and all are in reach.
    """
    if readings is None:
        return not_held()
    model = make_model(goals, car, readings)
    verdict = held(model)
    out = unreached(model)
    faults = _faults_of(verdict, out)
    kinds = by_kind(model.readings, verdict.residual)
    return {
        "held": True,
        "reproduces": not faults,
        "readings": int(verdict.residual.size),
        "out_of_reach": out,
        "chi_square": verdict.chi_square,
        "chance": verdict.chance,
        "kinds": kinds,
        "faults": faults,
        "words": _words(kinds, int(verdict.residual.size), faults),
    }


def _faults_of(verdict: Held, out: list[str]) -> list[str]:
    """Why a car file as given does not reproduce its car; empty where it does."""
    faults = reach_faults(out)
    if verdict.chance < SURE:
        faults.append(chance_words(verdict.chance))
    if not verdict.residual.size:
        return faults
    worst = int(np.abs(verdict.beyond).argmax())
    size = abs(float(verdict.beyond[worst]))
    if size > far(verdict.residual.size):
        reading = verdict.model.readings[worst]
        faults.append(
            f"{reading.words} is off by {reading.told(float(verdict.residual[worst]))}, "
            f"{size:.1f} standard deviations"
        )
    return faults


def fit_faults(found: Fit) -> list[str]:
    """Why a fit does not reproduce the car: chi-square, a point moved or a reading left too far."""
    faults = reach_faults(unreached(found.model))
    if found.chance < SURE:
        faults.append(chance_words(found.chance))
    space = found.model.space
    moved = found.shift[: space.points]
    for at in np.flatnonzero(np.abs(moved) > FAR * space.sigma + 1e-9):
        sigmas = abs(float(moved[at] / space.sigma[at]))
        faults.append(
            f"{space.coordinates[at].words} had to move by {fixed(float(moved[at]), 1)} mm, "
            f"{sigmas:.1f} standard deviations of its measuring error"
        )
    beyond = found.after / found.model.sigma
    for at in np.flatnonzero(np.abs(beyond) > far(found.count)):
        reading = found.model.readings[at]
        faults.append(
            f"{reading.words} stays off by {reading.told(float(found.after[at]))}, "
            f"{abs(float(beyond[at])):.1f} standard deviations"
        )
    return faults


def unreached(model: Model) -> list[str]:
    """Readings of states that the model does not reach."""
    return [r.words for r, there in zip(model.every, model.reached, strict=True) if not there]


def reach_faults(out: list[str]) -> list[str]:
    """What is said of readings out of the model's reach."""
    if not out:
        return []
    more = f" and {len(out) - 1} more" if len(out) > 1 else ""
    return [f"the model does not reach {out[0]}{more}"]


def chance_words(chance: float) -> str:
    """How seldom measuring errors alone would do this."""
    seldom = (
        f"less than one time in {1.0 / LEAST_CHANCE:,.0f}"
        if chance < LEAST_CHANCE
        else f"one time in {1.0 / chance:,.0f}"
    )
    return f"errors as told would leave so much {seldom}"


def by_kind(readings: Sequence[Reading], residuals: Floats) -> list[Record]:
    """Root mean square and worst residual of each kind of reading, in the unit that was read."""
    found = []
    for kind, (name, _) in KINDS.items():
        units = dict.fromkeys(r.unit for r in readings if r.kind == kind)
        for unit in units:
            own = [i for i, r in enumerate(readings) if r.kind == kind and r.unit == unit]
            worst = max(own, key=lambda i: abs(residuals[i]))
            found.append(
                {
                    "kind": kind,
                    "name": name,
                    "unit": unit,
                    "count": len(own),
                    "rms": float(np.sqrt(np.mean(residuals[own] ** 2))),
                    "worst": float(residuals[worst]),
                    "worst_at": readings[worst].words,
                }
            )
    return found


def kind_words(kinds: list[Record]) -> str:
    """'toe over travel to 0.012 deg (worst 0.031)', one after the other."""
    told = []
    for each in kinds:
        places = DECIMALS[each["unit"]]
        text = f"{each['name']} to {fixed(each['rms'], places)} {each['unit']}"
        if each["count"] > 1:
            text += f" (worst {fixed(abs(each['worst']), places)})"
        told.append(text)
    return ", ".join(told)


def _words(kinds: list[Record], count: int, faults: list[str]) -> str:
    start = f"the car file was held against {counted(count, 'reading')} of its car"
    if not faults:
        return f"{start}: reproduces {kind_words(kinds)}"
    return (
        f"{start}: {LOUD}: {'; '.join(faults)}; off: {kind_words(kinds)}; {NOT_BELIEVED} before "
        "the points are put right (shimwright fit GOALS READINGS)"
    )

"""Everything that a fit comes to, as ``fit --json`` prints it. Figures keep full precision here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import hypot
from typing import Any

import numpy as np

from goals.readings import Readings
from optimiser.fit import NINETY, Fit, fit
from optimiser.model_check import (
    LOUD,
    NOT_BELIEVED,
    by_kind,
    fit_faults,
    kind_words,
    make_model,
    model_check,
    unreached,
)
from optimiser.next_reading import asked_figures, next_readings
from optimiser.point_space import RIGHT
from optimiser.problem import Problem
from optimiser.reading_list import Reading
from optimiser.slips import Suspicion, sight, suspects

Record = dict[str, Any]

SLIP = 5.0  # the slip of the tape whose visibility is told, mm
MOST_PROPOSALS = 8


def fit_readings(problem: Problem, readings: Readings) -> Fit:
    """Fit the problem's car to readings of it."""
    return fit(make_model(problem.goals, problem.car, readings))


def fit_document(problem: Problem, readings: Readings, found: Fit) -> Record:
    """What ``fit --json`` prints, but for the names of files."""
    faults = fit_faults(found)
    after = by_kind(found.model.readings, found.after)
    return {
        "car": problem.car.name,
        "reproduces": not faults,
        "faults": faults,
        "words": _words(found, after, faults),
        "readings": found.count,
        "out_of_reach": unreached(found.model),
        "lowered_by": found.model.lowered,
        "chi_square": found.chi_square,
        "chance": found.chance,
        "as_given": model_check(problem.goals, problem.car, readings),
        "before": by_kind(found.model.readings, found.before),
        "after": after,
        "sides": side_differences(found),
        "points": _points(found),
        "slips": [_suspicion(each) for each in suspects(found)],
        "unseen_slips": _unseen(found),
        "next_readings": _proposals(problem, readings, found),
        "residuals": _residuals(found),
    }


def _words(found: Fit, after: list[Record], faults: list[str]) -> str:
    if not faults:
        return f"with the points fitted the model reproduces {kind_words(after)}"
    return f"{LOUD}: {'; '.join(faults)}; {NOT_BELIEVED}"


def _residuals(found: Fit) -> list[Record]:
    """Each reading with what the model misses it by, in its own unit."""
    listed = []
    for reading, before, after in zip(found.model.readings, found.before, found.after, strict=True):
        listed.append(
            {
                "reading": reading.words,
                "kind": reading.kind,
                "wheel": reading.side,
                "value": reading.value,
                "unit": reading.unit,
                "deviation": reading.sigma,
                "before": float(before),
                "after": float(after),
            }
        )
    return listed


def _points(found: Fit) -> list[Record]:
    """Each coordinate of a point: as measured, as fitted, ± at 90 %, and how much of it the readings told."""
    space = found.model.space
    listed = []
    for at, coordinate in enumerate(space.coordinates[: space.points]):
        prior, left = float(space.sigma[at]), float(found.deviation[at])
        listed.append(
            {
                "side": "right" if coordinate.section == RIGHT else "left",
                "point": coordinate.name,
                "axis": "xyz"[coordinate.axis],
                "measured": float(space.measured[at]),
                "fitted": float(space.measured[at] + found.shift[at]),
                "moved": float(found.shift[at]),
                "plus_minus": NINETY * left,
                "told": 1.0 - left / prior if prior > 0.0 else 0.0,
            }
        )
    return listed


def side_differences(found: Fit) -> list[Record]:
    """How far readings of both wheels disagree where one mirrored geometry has to explain both.

    Left less right of readings taken alike, by kind; ``beyond`` is the worst in standard deviations.
    """
    space = found.model.space
    if space.car.points_right is not None:
        return []
    right = {_place(r): r for r in found.model.every if r.side == "right"}
    pairs = [
        (r, right[_place(r.mirrored)])
        for r in found.model.every
        if r.side == "left" and _place(r.mirrored) in right
    ]
    differences = [
        replace(a, value=a.value - b.value, sigma=hypot(a.sigma, b.sigma)) for a, b in pairs
    ]
    return _difference_kinds(differences)


def _place(reading: Reading) -> Reading:
    return replace(reading, value=0.0, sigma=0.0)


def _difference_kinds(differences: Sequence[Reading]) -> list[Record]:
    kinds = by_kind(differences, np.array([d.value for d in differences]))
    for each in kinds:
        own = [d for d in differences if d.kind == each["kind"] and d.unit == each["unit"]]
        each["beyond"] = max(abs(d.value) / d.sigma for d in own)
    return kinds


def _suspicion(suspicion: Suspicion) -> Record:
    return {
        "alike": [
            {
                "coordinate": slip.coordinate.words,
                "off": slip.off,
                "unit": slip.coordinate.unit,
                "plus_minus": NINETY * slip.deviation,
                "chi_square_falls": slip.drop,
            }
            for slip in suspicion.slips
        ],
        "chi_square_left": suspicion.chi_square,
    }


def _unseen(found: Fit) -> list[str]:
    """Coordinates in which these readings would not show a slip of ``SLIP`` mm."""
    if not found.count:
        return []
    space = found.model.space
    sees = sight(found.model).sees(SLIP)[: space.points]
    return [
        c.words for c, seen in zip(space.coordinates[: space.points], sees, strict=True) if not seen
    ]


def _proposals(problem: Problem, readings: Readings, found: Fit) -> list[Record]:
    figures = asked_figures(problem, found)
    proposals = next_readings(figures, found, readings.uncertainty)[:MOST_PROPOSALS]
    return [
        {
            "what": p.what,
            "readings": len(p.readings),
            "spread_before": p.before,
            "spread_after": p.after,
            "gain": p.gain,
            "helps": p.helps,
            "unit": p.unit,
            "plus_minus_before": p.spread[0],
            "plus_minus_after": p.spread[1],
        }
        for p in proposals
    ]

"""From a goals file and a readings file to a fit's document and the fitted car beside the old one."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from goals.reading import CAR, Loaded, car_section, load_readings
from optimiser.fit_document import fit_document, fit_readings
from optimiser.fitted_car import write_fitted
from optimiser.problem import Problem


def run_fit(
    problem: Problem, loaded: Loaded, goals: Path, readings: Path, say: Callable[[str], None]
) -> dict[str, Any]:
    """Fit the car of a goals file to readings, write the fitted car, and return what ``fit --json`` prints.

    Args:
        problem, loaded: the goals as read.
        goals, readings: where the files are.
        say: takes a notice for the user.

    Raises ``InputError`` where the readings cannot be used. ``car_file`` is None where it could not be
    written.
    """
    read, raw = load_readings(readings, car_section(problem.car))
    found = fit_readings(problem, read)
    document = fit_document(problem, read, found)
    document["readings_file"] = readings.name
    document["readings_digest"] = hashlib.sha256(raw).hexdigest()
    document["car_file"] = None
    try:
        path = write_fitted(
            loaded, found, _car_file(loaded, goals), readings, raw, sound=document["reproduces"]
        )
    except OSError as error:
        say(f"the fitted car could not be written: {error.strerror}: {error.filename}")
        return document
    document["car_file"] = str(path)
    return document


def _car_file(loaded: Loaded, goals: Path) -> Path:
    """The file that holds the car: its own, or the goals file."""
    if CAR not in loaded.files:
        return goals
    written = loaded.goals.car
    assert isinstance(written, str)
    return goals.parent / written

"""Which reading to take next: the slopes behind it are right, and taking it does what was promised."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from goals.reading import load_goals
from goals.readings import Uncertainty
from optimiser.checking import check_document
from optimiser.fit import Fit, Model, fit, posterior
from optimiser.next_reading import Figures, asked_figures, next_readings
from optimiser.point_space import PointSpace
from optimiser.problem import Problem
from optimiser.reading_list import Reading
from tests.files.inputs import CAR, GOALS, PARTS


@pytest.fixture(scope="module")
def problem(tmp_path_factory: pytest.TempPathFactory) -> Problem:
    folder = tmp_path_factory.mktemp("files")
    for name, text in (("goals.yaml", GOALS), ("car.yaml", CAR), ("parts.yaml", PARTS)):
        (Path(folder) / name).write_text(text)
    loaded = load_goals(Path(folder) / "goals.yaml")
    return Problem(loaded.goals, loaded.car, loaded.parts)


@pytest.fixture(scope="module")
def found(problem: Problem) -> Fit:
    """A fit of one reading that is as the car file says, so nothing moves."""
    space = PointSpace.of(problem.goals, problem.car)
    every = (Reading("caster", "left", 0.0, 0.15, "deg"),)
    value = float(Model(space, every, 0.0).given[0])
    return fit(Model(space, (replace(every[0], value=value),), 0.0))


@pytest.fixture(scope="module")
def figures(problem: Problem, found: Fit) -> Figures:
    return asked_figures(problem, found)


def test_slopes_of_figures_are_the_cars_own(problem: Problem, found: Fit, figures: Figures) -> None:
    """Against the figures that check tells of a car whose file is off by 0.2 mm either way."""
    words = [c.words for c in found.model.space.coordinates]
    at = words.index("tie_rod_outer z")
    told = []
    for way in (0.2, -0.2):
        step = np.zeros(found.model.space.points)
        step[at] = way
        car = found.model.space.shifted(step)
        measures = check_document(replace(problem, car=car))["duties"]["hill"]["measures"]
        told.append(measures["bump_steer"]["value"])
    row = figures.labels.index("hill: bump steer over -40 to 40 mm")
    assert figures.slopes[row, at] == pytest.approx((told[0] - told[1]) / 0.4, rel=0.05)
    assert figures.scales[row] == 0.05  # the target's own tolerance
    assert abs(figures.slopes[row, at]) > 0.01


def test_the_reading_proposed_does_what_is_promised(found: Fit, figures: Figures) -> None:
    """The proposal's readings added to the fit's own, all in one textbook formula."""
    best, *others = next_readings(figures, found, Uncertainty())
    model = found.model
    both = (*model.readings, *best.readings)
    slopes = model.slopes(found.shift, readings=both)
    noise = np.array([r.sigma for r in both])
    after = posterior(model.space.sigma, slopes, noise)
    assert figures.score(after) == pytest.approx(best.after, rel=1e-9)
    assert figures.score(found.covariance) == pytest.approx(best.before, rel=1e-12)
    assert all(best.gain >= other.gain > 0.0 for other in others)
    assert best.spread[1] < best.spread[0]


def test_what_matters_comes_first(found: Fit, figures: Figures) -> None:
    """Bump steer is asked for to 0.05 deg, and nobody has read it yet: the gauge comes before all else."""
    proposals = next_readings(figures, found, Uncertainty())
    assert proposals[0].what.startswith("bump-steer gauge, left wheel")
    assert "bump steer" in proposals[0].helps
    # a mirrored car's other wheel would tell the same once more
    assert not any("right wheel" in p.what for p in proposals if "caster" not in p.what)

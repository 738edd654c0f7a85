"""The shipped example of readings: sound, made as its remarks say, and explained by the example's car."""

from __future__ import annotations

from goals.document import read_document
from goals.reading import car_section, load_goals, load_readings
from goals.schema import json_schema
from optimiser.fit import fit
from optimiser.model_check import by_kind, fit_faults, make_model, model_check
from tests.benchmarks.example_readings import EXAMPLES, as_it_is, example_car, text
from tests.files.test_schemas import problems


def test_it_is_what_the_script_beside_it_makes() -> None:
    assert (EXAMPLES / "readings.yaml").read_text() == text()
    assert "invented" in text()


def test_it_is_sound_by_the_schema() -> None:
    schema = json_schema("readings")
    assert list(problems(schema, read_document("", text().encode()).data, schema)) == []


def test_the_examples_car_explains_it() -> None:
    loaded = load_goals(EXAMPLES / "goals.yaml")
    readings, _ = load_readings(EXAMPLES / "readings.yaml", car_section(loaded.car))
    assert model_check(loaded.goals, loaded.car, readings)["reproduces"]
    found = fit(make_model(loaded.goals, loaded.car, readings))
    assert not fit_faults(found)
    before, after = (
        {kind["kind"]: kind["rms"] for kind in by_kind(found.model.readings, residuals)}
        for residuals in (found.before, found.after)
    )
    # dials are read with 0.05 mm; the points' millimetre moved them by several times that
    assert after["dials"] < 0.07 and before["dials"] > 3.0 * after["dials"]


def test_its_car_is_the_examples_moved_by_about_a_millimetre() -> None:
    import numpy as np

    from tests.benchmarks.example_readings import SEED

    true, file = as_it_is(np.random.default_rng(SEED)), example_car()
    moved = np.array([np.subtract(true.points[n], file.points[n]) for n in file.points])
    assert 0.3 < np.sqrt((moved**2).mean()) < 0.7 and np.abs(moved).max() < 2.0

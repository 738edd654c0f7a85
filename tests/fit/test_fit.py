"""The fit: known points are found again, its uncertainties are true, and its verdicts are right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from goals.car import Car as CarFile
from optimiser.fit import Fit, Model, far, fit, held, posterior
from optimiser.fit_document import side_differences
from optimiser.model_check import by_kind, fit_faults, model_check
from optimiser.point_space import PointSpace
from optimiser.reading_list import Reading
from tests.cars import AHEAD, CARS, MIDDLING, OFF_LINE, Car
from tests.fit.garage import SIGMA, goals_of, model_of, really, space_of
from tests.gauges import Gauges
from tests.search.catalogues import car_mapping
from tests.wishbones import WISHBONES


def readings(toe: float = 0.015) -> tuple[Reading, ...]:
    """A day's readings of both wheels, their values still to be filled in."""
    found: list[Reading] = []
    for side in ("left", "right"):
        for travel in (-40.0, -20.0, 20.0, 40.0):
            found.append(Reading("toe_change", side, 0.0, toe, "deg", travel))
            found.append(Reading("camber", side, 0.0, 0.05, "deg", travel))
        for inner in (10.0, 20.0):
            found.append(Reading("turn_plates", side, 0.0, 0.2, "deg", inner=inner))
        found.append(Reading("caster", side, 0.0, 0.15, "deg"))
        found.append(Reading("rod_length", side, 0.0, 0.5, "mm"))
        found.append(Reading("heights", side, 0.0, 0.5, "mm", point="ball_joint"))
    return tuple(found)


def read(space: PointSpace, shift: np.ndarray, rng: np.random.Generator) -> Model:
    """The model of a car that is really off by a shift, with readings drawn of it."""
    every = readings()
    true = Model(space, every, 0.0).predict(shift[:, None], every)[:, 0]
    return Model(
        space,
        tuple(
            replace(r, value=float(v + r.sigma * rng.normal()))
            for r, v in zip(every, true, strict=True)
        ),
        0.0,
    )


@pytest.mark.parametrize("car", [MIDDLING, AHEAD, OFF_LINE, CARS[3]], ids=lambda car: car.name)
def test_a_fit_tells_what_was_never_read(car: Car) -> None:
    """Readings by plain rotations of a car that is not as its file says; other readings of it are the test.

    The gauge with wheels steered is not among what is fitted. The fitted model must tell it far better than
    the file's points do, and within what the fit says of its own uncertainty.
    """
    rng = np.random.default_rng(11)
    space = space_of(car)
    truth = SIGMA * rng.normal(size=space.points)
    gauges = Gauges(really(car, truth), rng)
    found = fit(model_of(space, gauges.file()))
    unseen = model_of(space, {"format": 1, "gauge": [Gauges(gauges.car).run("left", 15.0)]})
    wanted = tuple(r for r in unseen.every if r.kind == "toe_change")
    true = np.array([r.value for r in wanted])
    before = found.model.predict(np.zeros((space.points, 1)), wanted)[:, 0] - true
    after = found.model.predict(found.shift[:, None], wanted)[:, 0] - true
    slopes = found.model.slopes(found.shift, readings=wanted)
    sure = np.sqrt(np.diag(slopes @ found.covariance @ slopes.T))
    assert np.sqrt((after**2).mean()) < 0.5 * np.sqrt((before**2).mean())
    assert np.abs(after / sure).max() < 4.0
    off = truth - found.shift[: space.points]
    assert np.abs(off / found.deviation).max() < 4.0
    assert not fit_faults(found)


@pytest.mark.parametrize("car", [MIDDLING, WISHBONES[0]], ids=lambda car: car.name)
def test_uncertainties_are_true(car: Car) -> None:
    """Over many cars with errors as told: the points' errors, weighed by the fit's own covariance, are
    chi-square of as many degrees as there are points, the residuals' of as many as there are readings, and
    nine in ten of single coordinates lie inside their ± (standard theory of least squares).
    """
    rng = np.random.default_rng(7)
    space = space_of(car)
    count, inside = 30, 0
    points, residuals = [], []
    told = 0
    for _ in range(count):
        truth = SIGMA * rng.normal(size=space.points)
        found = fit(read(space, truth, rng))
        off = truth - found.shift[: space.points]
        points.append(off @ np.linalg.solve(found.covariance, off))
        residuals.append(found.chi_square)
        best = int(found.deviation.argmin())  # the coordinate that the readings tell most of
        told += found.deviation[best] < 0.8 * SIGMA
        inside += abs(off[best]) < 1.645 * found.deviation[best]
    assert told == count
    for sums, degrees in ((points, space.points), (residuals, len(readings()))):
        # four standard errors of the mean of so many
        assert abs(np.mean(sums) - degrees) < 4.0 * np.sqrt(2.0 * degrees / count)
    # P(fewer than 22 of 30 at 0.9) is 2e-3 (binomial)
    assert inside >= 22


def test_a_right_side_of_its_own_is_found_by_itself() -> None:
    mapping = car_mapping(MIDDLING)
    x, y, z = MIDDLING.points["tie_rod_outer"]
    mapping["points_right"] = {"tie_rod_outer": [x, -y, z]}
    file = CarFile.model_validate(mapping)
    space = PointSpace.of(goals_of(file), file)
    assert space.points == 27
    sharp = tuple(replace(r, sigma=0.05 * r.sigma) for r in readings())
    shift = np.zeros(space.points)
    shift[26] = 1.0  # the right joint is 1 mm higher than its file says
    true = Model(space, sharp, 0.0).predict(shift[:, None], sharp)[:, 0]
    found = fit(
        Model(
            space, tuple(replace(r, value=float(v)) for r, v in zip(sharp, true, strict=True)), 0.0
        )
    )
    words = [c.words for c in space.coordinates]
    right, left = words.index("right tie_rod_outer z"), words.index("tie_rod_outer z")
    # the rack's end is one for both, so what the sides tell apart is how unlike the outer joints are
    assert found.shift[right] - found.shift[left] == pytest.approx(1.0, abs=0.05)
    assert found.shift[right] > -found.shift[left] > 0.0
    assert side_differences(found) == []


def test_points_that_are_certain_stay() -> None:
    space = space_of(MIDDLING, hard_points=0.0)
    every = tuple(replace(r, value=1.0) for r in readings())
    found = fit(Model(space, every, 0.0))
    assert not found.shift.any() and not found.covariance.any()
    assert np.array_equal(found.before, found.after)


def test_the_posterior_of_one_number_is_the_textbooks() -> None:
    """1 / (1 / s^2 + a^2 / v^2): two measurements of one quantity, weighed."""
    found = posterior(np.array([0.5]), np.array([[2.0], [2.0]]), np.array([0.3, 0.4]))
    assert found[0, 0] == pytest.approx(1.0 / (1.0 / 0.25 + 4.0 / 0.09 + 4.0 / 0.16))


def test_bounds_are_those_of_the_tables() -> None:
    """Standard normal table: 2.5758 is exceeded both ways one time in a hundred, 3.2905 in a thousand."""
    assert far(1, least=0.0) == pytest.approx(2.5758, abs=1e-4)
    assert far(10, chance=0.01, least=0.0) == pytest.approx(3.2905, abs=1e-4)
    assert far(1) == 3.0
    assert far(0) == 3.0


def sound(chi_square: float, count: int) -> Fit:
    space = space_of(MIDDLING)
    every = tuple(replace(r, value=0.0) for r in readings()[:count])
    zero = np.zeros(count)
    shift = np.zeros(len(space.coordinates))
    model = Model(space, every, 0.0)
    return Fit(model, shift, np.eye(space.points), np.zeros((count, 24)), zero, zero, chi_square)


def test_chi_square_is_judged_by_the_table() -> None:
    """Chi-square table, 1 %: 11.345 for three degrees of freedom, 23.209 for ten."""
    for value, count in ((11.345, 3), (23.209, 10)):
        assert sound(value, count).chance == pytest.approx(0.01, rel=1e-3)
        assert not fit_faults(sound(value - 0.1, count))
        assert "errors as told" in fit_faults(sound(value + 0.1, count))[0]


def test_a_point_moved_beyond_three_deviations_is_not_believed() -> None:
    found = sound(1.0, 3)
    found.shift[5] = 2.9 * SIGMA
    assert not fit_faults(found)
    found.shift[5] = 3.1 * SIGMA
    assert fit_faults(found) == [
        "arm_rear z had to move by 1.6 mm, 3.1 standard deviations of its measuring error"
    ]


def test_a_reading_left_beyond_three_deviations_is_not_believed() -> None:
    found = sound(1.0, 3)
    found.after[1] = 3.2 * found.model.sigma[1]
    (fault,) = fit_faults(found)
    assert fault.startswith("camber, left wheel, 40 mm droop stays off by 0.160 deg, 3.2 standard")


def test_a_sound_car_file_is_seldom_called_unsound_and_a_wrong_one_always() -> None:
    rng = np.random.default_rng(3)
    space = space_of(MIDDLING)
    refused = 0
    for _ in range(60):
        model = read(space, SIGMA * rng.normal(size=space.points), rng)
        check = held(model)
        refused += check.chance < 0.01 or np.abs(check.beyond).max() > far(len(model.every))
    # at one in fifty by both rules, more than 5 of 60 come one time in 500 (binomial)
    assert refused <= 5
    shift = np.zeros(space.points)
    shift[[c.words for c in space.coordinates].index("tie_rod_outer z")] = 6.0
    assert held(read(space, shift, rng)).chance < 1e-3


def test_the_verdict_of_a_car_file_tells_the_gauges_unit() -> None:
    file = CarFile.model_validate(car_mapping(MIDDLING))
    from goals.readings import Readings

    rng = np.random.default_rng(2)
    base = Gauges(MIDDLING, rng).file(base=300.0)
    check = model_check(goals_of(file), file, Readings.model_validate(base))
    assert check["held"] and check["reproduces"] and not check["faults"]
    kinds = {each["kind"]: each for each in check["kinds"]}
    assert kinds["dials"]["unit"] == "mm" and kinds["camber"]["unit"] == "deg"
    # what is left is the error of reading, which the gauges of the tests draw with 0.05 mm
    assert kinds["dials"]["rms"] == pytest.approx(0.05, rel=0.5)
    assert "toe by dials to 0.0" in check["words"] and " mm (worst 0." in check["words"]
    base["static"]["left"]["camber"] += 1.0
    wrong = model_check(goals_of(file), file, Readings.model_validate(base))
    assert wrong["reproduces"] is False
    assert "DOES NOT REPRODUCE ITS CAR" in wrong["words"]
    assert "a ranking should not be believed" in wrong["words"]
    assert any("camber, left wheel, ride height is off by" in fault for fault in wrong["faults"])


def test_a_reading_out_of_the_models_reach_is_told_and_left_out() -> None:
    every = (*readings(), Reading("turn_plates", "left", 0.0, 0.2, "deg", inner=79.0))
    model = Model(space_of(MIDDLING), every, 0.0)
    assert model.reached.sum() == len(every) - 1
    found = fit(model)
    assert found.count == len(every) - 1
    said = "the model does not reach outer at inner 79 deg, left turn"
    assert fit_faults(found)[0] == said


def test_rms_and_worst_are_plain_arithmetic() -> None:
    every = readings()[:4]
    (toe, camber) = by_kind(every, np.array([0.3, 3.0, -0.4, -4.0]))
    assert toe["rms"] == pytest.approx(np.sqrt(0.125)) and toe["worst"] == -0.4
    assert camber["rms"] == pytest.approx(np.sqrt(12.5)) and camber["count"] == 2
    assert toe["worst_at"] == every[2].words


def test_left_and_right_readings_are_compared_as_mirror_images() -> None:
    space = space_of(MIDDLING)
    every = (
        Reading("toe_change", "left", 0.10, 0.03, "deg", 20.0, 15.0),
        Reading("toe_change", "right", 0.06, 0.04, "deg", 20.0, -15.0),
        Reading("toe_change", "right", 0.50, 0.04, "deg", 20.0, 15.0),
        Reading("caster", "left", 5.0, 0.1, "deg"),
    )
    (kind,) = side_differences(fit(Model(space, every, 0.0)))
    assert kind["count"] == 1 and kind["worst"] == pytest.approx(0.04)
    assert kind["beyond"] == pytest.approx(0.04 / 0.05)  # 3-4-5

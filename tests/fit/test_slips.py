"""A slip of the tape is found where the readings can see it, and nowhere else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimiser.fit import Model, fit
from optimiser.model_check import fit_faults
from optimiser.slips import sight, suspects, threshold
from tests.cars import AHEAD, CARS, MIDDLING, OFF_LINE, Car
from tests.fit.garage import SIGMA, space_of
from tests.fit.slipped import cases, found, thorough
from tests.wishbones import WISHBONES


def test_planted_slips_are_found_nine_times_in_ten() -> None:
    """5 mm in one coordinate, either way, on unlike cars; which can be seen is settled beforehand."""
    rng = np.random.default_rng(5)
    every = [
        case for car in (MIDDLING, AHEAD, CARS[3], OFF_LINE, WISHBONES[0]) for case in cases(car)
    ]
    assert len(every) > 40 and len({case.at for case in every}) > 8
    some = [every[i] for i in rng.choice(len(every), 12, replace=False)]
    hits = sum(found(case, rng) for case in some)
    assert hits >= 11, f"{hits} of {len(some)}"


def test_no_slip_is_seldom_taken_for_one() -> None:
    rng = np.random.default_rng(6)
    space, every = space_of(MIDDLING), thorough()
    false = 0
    for _ in range(12):
        truth = SIGMA * rng.normal(size=space.points)
        true = Model(space, every, 0.0).predict(truth[:, None], every)[:, 0]
        read = [
            replace(r, value=float(v + r.sigma * rng.normal()))
            for r, v in zip(every, true, strict=True)
        ]
        false += bool(suspects(fit(Model(space, tuple(read), 0.0))))
    # one time in a hundred each: two or more of twelve come six times in a thousand
    assert false <= 1


def test_what_nothing_reads_is_told_before_any_reading() -> None:
    """Camber over travel tells nothing of the tie rod's ends, and no reading where the hub is along x."""
    space = space_of(MIDDLING)
    camber = tuple(r for r in thorough() if r.kind == "camber")
    words = [c.words for c in space.coordinates]
    some, everything = (sight(Model(space, read, 0.0)) for read in (camber, thorough()))
    rod, hub = words.index("tie_rod_outer z"), words.index("hub_face x")
    assert everything.sees(5.0)[rod] and everything.least[rod] < 5.0
    assert not some.sees(5.0)[rod] and some.least[rod] > 4.0 * everything.least[rod]
    assert everything.least[hub] > 50.0


def test_what_looks_alike_is_told_together() -> None:
    """A strut's lower point slid along the strut changes nothing: its coordinates stand for one another."""
    space = space_of(MIDDLING)
    toe = tuple(r for r in thorough() if r.kind in ("toe_change", "rod_length"))
    words = [c.words for c in space.coordinates]
    alike = sight(Model(space, toe, 0.0)).alike
    outer, inner = words.index("tie_rod_outer y"), words.index("tie_rod_inner y")
    # a rod whose two ends move out together is the same rod further out: length alone tells them apart
    assert abs(alike[outer, inner]) > 0.9
    assert alike[outer, outer] == pytest.approx(1.0)


def test_static_camber_that_was_written_wrong_is_named() -> None:
    space, every = space_of(MIDDLING), thorough()
    true = Model(space, every, 0.0).given
    read = [
        replace(r, value=float(v) + (1.0 if r.kind == "camber" else 0.0))
        for r, v in zip(every, true, strict=True)
    ]
    (first, *_) = suspects(fit(Model(space, tuple(read), 0.0)))
    assert first.slips[0].coordinate.words == "static camber"
    assert first.slips[0].off == pytest.approx(-1.0, abs=0.05)


def test_the_threshold_allows_for_many_tries() -> None:
    """Normal table: 0.01 shared by ten tries is 0.001, both ways 3.2905."""
    assert threshold(10) == pytest.approx(3.2905, abs=1e-4)


@pytest.mark.parametrize("car", [MIDDLING], ids=lambda car: car.name)
def test_readings_of_quite_another_car_end_in_a_verdict(car: Car) -> None:
    """Whatever was read, the fit ends in plain numbers."""
    rng = np.random.default_rng(8)
    space, every = space_of(car), thorough()
    for size in (30.0, 300.0):
        true = Model(space, every, 0.0).given
        read = [
            replace(r, value=float(v + size * r.sigma * rng.normal()))
            for r, v in zip(every, true, strict=True)
        ]
        found = fit(Model(space, tuple(read), 0.0))
        assert np.isfinite(found.shift).all() and np.isfinite(found.after).all()
        assert np.isfinite(found.chi_square) and fit_faults(found)
        for suspicion in suspects(found):
            assert all(np.isfinite((s.off, s.drop)).all() for s in suspicion.slips)

"""Yields against the normal distribution, where a figure is a known function of one error or two.

With the car at its measured ride height and toe, moving the hub face by e moves the wheel by e and nothing
else (plane geometry): so track and the wheel's place are linear in it. Phi is scipy's normal distribution.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from optimiser.builds import search_build
from optimiser.yields import sample_row
from tests.built.shop import USUAL, mirrored, sampled, shop, with_samples
from tests.cars import CARS, Car
from tests.wishbones import WISHBONES

Phi = norm.cdf
# One column of Sobol points is spread to within one of n cars; two together to a few.
ONE, TWO = 2.0 / 256, 5.0 / 256
STANCE = {"static": {"toe": USUAL.toe}}


def stance(car: Car) -> dict[str, Any]:
    return {"static": {"toe": car.toe}}


def nominal(car: Car, name: str, **more: Any) -> float:
    """The car's own figure, told by a limit with nothing off: its margin to nought."""
    found = sampled(shop(car, limits={name: {"min": 0}}, duty=stance(car), **more))
    return float(found.in_hand[name][0])


def share(found: Any, label: str) -> float:
    return float(found.holds[label].mean())


@pytest.mark.parametrize("car", [*CARS, *WISHBONES], ids=lambda car: car.name)
@pytest.mark.parametrize("sigmas", [-1.3, 0.4, 2.0])
def test_track_with_a_mirrored_hub_face_moves_by_twice_its_error(car: Car, sigmas: float) -> None:
    # both wheels go outward alike: a tolerance of 2 mm is a deviation of 1 mm each, 2 mm of track
    limit = nominal(car, "track_width") + sigmas * 2.0
    found = sampled(
        shop(
            car,
            limits={"track_width": {"max": limit}},
            duty=stance(car),
            points={"hub_face": [0, 2, 0]},
        )
    )
    assert share(found, "track_width") == pytest.approx(Phi(sigmas), abs=ONE)


@pytest.mark.parametrize("sigmas", [-0.7, 0.0, 1.1])
def test_track_with_both_hub_faces_measured_adds_in_squares(sigmas: float) -> None:
    limit = nominal(USUAL, "track_width") + sigmas * np.sqrt(2.0)
    found = sampled(
        shop(
            limits={"track_width": {"max": limit}},
            duty=STANCE,
            right=mirrored(USUAL, "hub_face"),
            points={"hub_face": [0, 2, 0]},
        )
    )
    assert share(found, "track_width") == pytest.approx(Phi(sigmas), abs=TWO)


@pytest.mark.parametrize("sigmas", [-0.7, 0.0, 1.1])
def test_sides_that_differ_add_to_a_mirrored_point(sigmas: float) -> None:
    # left e, right e + s: track goes by 2 e + s, deviations 1 and 2 mm
    limit = nominal(USUAL, "track_width") + sigmas * np.sqrt(4.0 + 4.0)
    found = sampled(
        shop(
            limits={"track_width": {"max": limit}},
            duty=STANCE,
            points={"hub_face": [0, 2, 0]},
            sides=4,
        )
    )
    # the sides of every other point differ too: none of them moves a wheel that stands as measured
    assert share(found, "track_width") == pytest.approx(Phi(sigmas), abs=TWO)


@pytest.mark.parametrize(("low", "high"), [(-1.0, 1.0), (-0.3, 1.7), (0.5, 2.5)])
def test_a_band_holds_what_lies_between(low: float, high: float) -> None:
    track = nominal(USUAL, "track_width")
    found = sampled(
        shop(
            limits={"track_width": {"min": track + 2.0 * low, "max": track + 2.0 * high}},
            duty=STANCE,
            points={"hub_face": [0, 2, 0]},
        )
    )
    assert share(found, "track_width") == pytest.approx(Phi(high) - Phi(low), abs=ONE)


@pytest.mark.parametrize("sigmas", [-0.5, 0.3, 1.2])
def test_one_error_on_both_sides_fails_together_and_two_apart(sigmas: float) -> None:
    limits = {"wheel_centre_x": {"max": nominal_x() + sigmas}}
    errors: dict[str, Any] = {"points": {"hub_face": [2, 0, 0]}}
    together = sampled(shop(limits=limits, duty=STANCE, **errors))
    assert share(together, "wheel_centre_x") == pytest.approx(Phi(sigmas), abs=ONE)
    right = mirrored(USUAL, "hub_face")
    apart = sampled(shop(limits=limits, duty=STANCE, right=right, **errors))
    assert share(apart, "wheel_centre_x") == pytest.approx(Phi(sigmas) ** 2, abs=TWO)


def nominal_x() -> float:
    limits = {"wheel_centre_x": {"min": -1000}}
    return float(sampled(shop(limits=limits, duty=STANCE)).in_hand["wheel_centre_x"][0]) - 1000.0


@pytest.mark.parametrize("sigmas", [-0.4, 0.0, 1.5])
def test_each_wheels_toe_is_set_by_itself(sigmas: float) -> None:
    found = sampled(
        shop(
            limits={"toe": {"max": 0.2 + 0.05 * sigmas}},
            duty={"static": {"toe": 0.2}, "lowered_by": 25},
            toe=0.1,
        )
    )
    assert share(found, "toe") == pytest.approx(Phi(sigmas) ** 2, abs=TWO)


@pytest.mark.parametrize("sigmas", [-0.4, 0.0, 1.5])
def test_each_wheels_camber_is_measured_by_itself(sigmas: float) -> None:
    limits = {"camber": {"max": USUAL.camber + 0.1 * sigmas}}
    found = sampled(shop(limits=limits, duty=STANCE, camber=0.2))
    assert share(found, "camber") == pytest.approx(Phi(sigmas) ** 2, abs=TWO)


@settings(deadline=None, max_examples=12)
@given(
    car=st.sampled_from([car for car in CARS if "top_mount" in car.points]),
    tolerance=st.floats(0.5, 6.0),
    sigmas=st.floats(-2.0, 2.0),
)
def test_caster_of_a_top_mount_that_is_off_along_the_car(
    car: Car, tolerance: float, sigmas: float
) -> None:
    # side view: tan(caster) = (ball joint's x less top mount's) / height between them
    run = car.points["ball_joint"][0] - car.points["top_mount"][0]
    rise = car.points["top_mount"][2] - car.points["ball_joint"][2]
    limit = float(np.degrees(np.arctan((run + sigmas * 0.5 * tolerance) / rise)))
    found = sampled(
        shop(
            car,
            limits={"caster": {"max": limit}},
            duty=stance(car),
            points={"top_mount": [tolerance, 0, 0]},
        )
    )
    assert share(found, "caster") == pytest.approx(Phi(sigmas), abs=ONE)


def test_the_band_of_track_is_that_of_the_normal_distribution() -> None:
    track = nominal(USUAL, "track_width")
    found = sampled(shop(duty=STANCE, points={"hub_face": [0, 2, 0]}))
    reach = 2.0 * norm.ppf(0.95)
    low, high = found.record["bands"]["track_width"]
    # 256 quantiles of deviation 2 mm stand 2 / 256 / density = 0.076 mm apart there
    assert low == pytest.approx(track - reach, abs=0.08)
    assert high == pytest.approx(track + reach, abs=0.08)


def test_the_error_that_matters_is_named_with_its_share_of_the_variance() -> None:
    # track goes by 2 e along y of the hub face, deviation 1 mm, and by s of 1 mm: 4 of 5 and 1 of 5
    track = nominal(USUAL, "track_width")
    limits = {"track_width": {"max": track + 1.0}}
    found = sampled(
        shop(limits=limits, duty=STANCE, points={"hub_face": [0, 2, 0]}, sides=2, toe=0.1)
    )
    told = found.record["matters"]["track_width"]
    first, second = told["errors"][:2]
    assert (first["error"], second["error"]) == ("hub_face", "hub_face side to side")
    assert first["share"] == pytest.approx(0.8, abs=0.05)
    assert second["share"] == pytest.approx(0.2, abs=0.05)
    assert told["explained"] > 0.99


def test_more_cars_are_nearer_and_the_error_told_shrinks() -> None:
    limits = {"toe": {"max": 0.2 + 0.05 * 0.8}}
    off, told = [], []
    for samples in (32, 256, 4096):
        problem = shop(limits=limits, duty={"static": {"toe": 0.2}}, toe=0.1)
        found = sampled(with_samples(problem, samples))
        off.append(abs(share(found, "toe") - Phi(0.8) ** 2))
        told.append(found.record["yield_error"])
    assert told[0] > 2.0 * told[1] > 6.0 * told[2]
    # as for plain chance sqrt(p (1 - p) / n), here within three of them each
    assert all(each <= 3.0 * error for each, error in zip(off, told, strict=True))
    assert off[-1] < 0.004


def test_with_nothing_off_a_limit_holds_in_every_car_or_in_none() -> None:
    track = nominal(USUAL, "track_width")
    for room, held in ((1.0, 1.0), (-1.0, 0.0)):
        found = sampled(shop(limits={"track_width": {"max": track + room}}, duty=STANCE))
        assert found.record["limits"]["track_width"] == held
        assert found.record["yield"] == held
        assert found.record["yield_error"] == 0.0
        bands = [b for b in found.record["bands"].values() if b is not None and b[0] is not None]
        flat = [b for each in bands for b in (each if isinstance(each[0], list) else [each])]
        assert max(high - low for low, high in flat) == pytest.approx(0.0, abs=1e-9)


def test_toe_is_set_anew_in_every_duty() -> None:
    limits = {"toe": {"max": 0.2 + 0.05 * 0.9}}
    one = {"static": {"toe": 0.2}, "travel": [-30, 30], "limits": limits}
    problem = shop(duties={"first": one, "second": one}, toe=0.1)
    record = sample_row(problem, search_build(problem, 0))
    # two wheels in two duties: four settings, each by itself
    assert record["yield"] == pytest.approx(Phi(0.9) ** 4, abs=2 * TWO)


def in_two(setting_error: float, *, alike: bool) -> float:
    """Both wheels less than 0.5 mm ahead of where they are set, in two duties."""
    slot = {"along": {"hub_face": [1, 0, 0]}, "range": [0, 20], "step": 20}
    wheel = {"id": "plate", "today": True, "adjusts": {"along": slot}}
    at = nominal_x()
    duties = {}
    for place, wanted in enumerate((0.0, 0.0 if alike else 20.0)):
        limits = {"wheel_centre_x": {"min": at + wanted - 5.0, "max": at + wanted + 0.5}}
        duties[f"duty{place}"] = {
            "static": {"toe": USUAL.toe}, "travel": [-30, 30], "limits": limits
        }  # fmt: skip
    problem = shop(
        parts={"format": 1, "stations": {"wheel_spacer": [wheel]}},
        duties=duties,
        settings=setting_error,
    )
    row = search_build(problem, 0)
    assert all(duty["feasible"] for duty in row["duties"].values())
    return float(sample_row(problem, row)["yield"])


def test_what_all_duties_set_alike_is_set_once() -> None:
    # a tolerance of 2 mm is a deviation of 1: each wheel within half of it
    assert in_two(2.0, alike=True) == pytest.approx(Phi(0.5) ** 2, abs=TWO)
    assert in_two(2.0, alike=False) == pytest.approx(Phi(0.5) ** 4, abs=2 * TWO)

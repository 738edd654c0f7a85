"""Invariants of wheels on hubs and of strut stroke: what may never grow, and what must agree."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.measures import MEASURES
from kinematics.measures.struts import stroke_places, strut_change
from kinematics.struts import stroke_left
from kinematics.wheels import bolt_misfit
from tests.cars import CARS, geometry, scene_of

LENGTHS = st.floats(0.0, 60.0)
COUNTS = st.integers(3, 12)
CIRCLES = st.floats(90.0, 140.0)


def figure(name: str, **numbers: float) -> float:
    """One measure of a scene of one lane whose numbers are set, 'hub_bolts' for hub.bolts."""
    scene = scene_of(CARS[0], geometry(CARS[0]))
    for key, value in numbers.items():
        scene.channels.outer["left"][key.replace("_", ".", 1)] = np.array([value])
    return float(MEASURES[name](scene)[0, 0])


@settings(max_examples=40, deadline=None)
@given(LENGTHS, LENGTHS, st.floats(20.0, 90.0))
def test_a_wider_spacer_never_gives_more_thread(one: float, other: float, stud: float) -> None:
    names = ("wheel_stud_engagement", "wheel_nut_turns")
    thin, thick = sorted((one, other))
    for name in names:
        with_thin, with_thick = (
            figure(name, hub_stud_length=stud, wheel_spacer=spacer) for spacer in (thin, thick)
        )
        assert with_thick <= with_thin
    assert figure("wheel_nut_turns", hub_stud_length=stud, wheel_spacer=thick) >= 0.0


@settings(max_examples=40, deadline=None)
@given(LENGTHS, LENGTHS)
def test_a_wider_or_taller_tyre_never_makes_the_car_narrower(one: float, other: float) -> None:
    low, high = sorted((one, other))
    for key, size in (("tyre_width", 180.0), ("tyre_diameter", 560.0)):
        narrow, wide = (figure("width_over_tyres", **{key: size + v}) for v in (low, high))
        assert narrow <= wide + 1e-9


def misfit(*values: float) -> float:
    return float(bolt_misfit(*(np.array([v]) for v in values))[0])


@settings(max_examples=80, deadline=None)
@given(COUNTS, CIRCLES, COUNTS, CIRCLES)
def test_wheels_fit_where_holes_are_as_many_or_a_multiple_on_one_circle(
    studs: int, stud_circle: float, holes: int, hole_circle: float
) -> None:
    found = misfit(studs, stud_circle, holes, hole_circle)
    fits = holes % studs == 0 and stud_circle == hole_circle
    assert (found == 0.0) == fits
    # no clocking brings a stud nearer to a hole than their circles are
    assert found >= abs(stud_circle - hole_circle) - 1e-9
    assert misfit(studs, stud_circle, holes * studs, hole_circle) <= found + 1e-9


def test_what_bump_loses_droop_gains_in_every_state() -> None:
    """Stroke to both ends is all of the stroke, wherever the strut stands."""
    for car in CARS:
        scene = scene_of(car, geometry(car))
        change = strut_change(scene, "left", stroke_places(scene))
        none = np.full(1, np.nan)
        bump = stroke_left(change, np.full(1, 62.0), none)
        droop = stroke_left(change, none, np.full(1, 55.0))
        np.testing.assert_allclose(bump + droop, 117.0, rtol=0.0, atol=1e-9)
        both = stroke_left(change, np.full(1, 62.0), np.full(1, 55.0))
        np.testing.assert_array_equal(both, np.minimum(bump, droop))


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 60.0), st.floats(0.0, 60.0))
def test_more_stroke_never_leaves_less(one: float, other: float) -> None:
    less, more = sorted((one, other))
    for name in ("strut_bump", "strut_droop"):
        left = [figure("strut_stroke_left", **{name: value}) for value in (less, more)]
        assert left[0] <= left[1]

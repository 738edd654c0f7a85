"""Pictures against wheel travel: toe straight and on lock, roll-centre height and roll couple."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from goals.verdicts import Demand
from kinematics.measures import MEASURES
from kinematics.scene import STRAIGHT, At, Side
from optimiser.chart import Axis, Chart, Value
from optimiser.drawn import TODAY, Drawn, Figure, asked, figure_of, listed, stations, told
from optimiser.picture import Picture
from optimiser.wording import clean

# How far on lock toe is drawn, as shares of the stop, and in words.
LOCKS = ((0.0, "straight", "curve"), (0.5, "mid", "other"), (1.0, "lock", "third"))
LEAST_TOE = 0.2  # deg: less is noise, and is not drawn as if it mattered
LEAST_HEIGHT = 20.0  # mm
POINTS = 25
MOST_BEYOND = 1.5  # how far beyond the candidates' own figures today's car widens an axis


def travel_figures(key: str, duty: str, cars: Sequence[Drawn]) -> Iterator[Figure]:
    """All pictures of a duty against travel."""
    yield _toe(key, duty, cars)
    yield _toe_on_lock(key, duty, cars)
    yield _roll(key, duty, cars, "roll_centre_height", "roll centre above the ground, mm")
    if any(v is not None for car in cars for v in _curve(car, "roll_couple", [0.0])):
        yield _roll(key, duty, cars, "roll_couple", "roll couple, mm")


def travels(cars: Sequence[Drawn]) -> list[float]:
    """Places from full droop to full bump of a duty, mm."""
    low, high = cars[0].scene.frame.travel
    return stations(low, high, POINTS)


def _toe(key: str, duty: str, cars: Sequence[Drawn]) -> Figure:
    """Toe change of the left wheel (both where they differ), straight ahead."""
    at = travels(cars)
    curves = [(car, side, _toe_change(car, side, at, 0.0)) for car in cars for side in car.sides]
    bands = [band for car in cars for band in _built_toe(car)]
    window, most = _toe_goal(cars[0].wanted)
    chart = Chart(
        Axis.exactly("travel, mm, bump positive", at[0], at[-1]),
        Axis.over("toe change, deg, in positive", _toe_shown(curves, bands, most), LEAST_TOE),
    )
    if window is not None and most is not None:
        chart.band(list(window), [-most] * 2, [most] * 2, "goal")
        chart.write(window[0], most, "goal", by=(4.0, -3.0))
    for layer, xs, lows, highs in ((b[3], b[0], b[1], b[2]) for b in bands):
        chart.band(xs, lows, highs, "spread", layer)
    for car, side, curve in curves:
        chart.curve(at, curve, "curve" if side == "left" else "other", car.layer)
    words = [
        f"{car.words}{_side(car, side)}: {figure_of('bump_steer', curve[0])} deg at {told(at[0], 0)} mm, "
        f"{figure_of('bump_steer', curve[-1])} deg at {told(at[-1], 0)} mm"
        for car, side, curve in curves
    ]
    title = "Toe over travel, straight ahead"
    caption = "What a bump gauge reads: toe change of one wheel from ride height, rack centred."
    if bands:
        caption += " Shaded: nine cars of ten as built, each set to its own toe."
    return Figure(f"{key}-toe", duty, "toe", None, title, caption, _done(chart, title, words))


def _toe_on_lock(key: str, duty: str, cars: Sequence[Drawn]) -> Figure:
    """Toe change of the left wheel over travel in a left turn, the rack held half way and at the stop."""
    at = travels(cars)
    curves = [
        (car, share, word, role, _toe_change(car, "left", at, share))
        for car in cars
        for share, word, role in LOCKS[1:]
    ]
    chart = Chart(
        Axis.exactly("travel, mm, bump positive", at[0], at[-1]),
        Axis.over("toe change, deg", [v for *_, c in curves for v in c], LEAST_TOE),
    )
    for car, _, _, role, curve in curves:
        chart.curve(at, curve, role, car.layer)
    words = [
        f"{car.words}, {word}: {figure_of('camber', curve[0])} deg at droop, "
        f"{figure_of('camber', curve[-1])} deg at bump"
        for car, _, word, _, curve in curves
    ]
    title = "Toe over travel, steered"
    caption = (
        "The inner wheel's toe change from ride height with the rack held half way to the stop (thin) and at "
        "the stop (dotted)."
    )
    return Figure(f"{key}-toe-lock", duty, "toe", None, title, caption, _done(chart, title, words))


def _toe_change(car: Drawn, side: Side, at: Sequence[float], share: float) -> list[Value]:
    """Toe change of a wheel from ride height, deg, with the rack at a share of the stop in a left turn."""
    there = car.scene.states(side, [At(travel, lock=share) for travel in at]).toe
    ride = car.scene.states(side, [At(lock=share)]).toe
    return listed(there - ride)


def _built_toe(car: Drawn) -> Iterator[tuple[list[float], list[Value], list[Value], str]]:
    """Band of toe change of cars as built: travels, lows, highs, layer."""
    if car.built is None:
        return
    at = car.built["travel"]
    low, high = car.scene.frame.travel
    ride = car.scene.states("left", [STRAIGHT]).toe[0, 0]
    band = [
        (t, ends) for t, ends in zip(at, car.built["toe_left"], strict=True) if low <= t <= high
    ]
    lows = [None if b is None else b[0] - ride for _, b in band]
    highs = [None if b is None else b[1] - ride for _, b in band]
    yield [t for t, _ in band], lows, highs, car.layer


def _toe_shown(
    curves: Sequence[tuple[Drawn, Side, list[Value]]],
    bands: Sequence[tuple[list[float], list[Value], list[Value], str]],
    goal: float | None,
) -> list[Value]:
    """Figures that the axis has to take: those of candidates and goal, and of today's car what has room.

    Today's car may be far off, and the candidates' hundredths are what is looked at.
    """
    mine = [v for car, _, c in curves if car.layer != TODAY for v in c if v is not None]
    mine += [v for _, lows, highs, _ in bands[:1] for v in lows + highs if v is not None]
    mine += [] if goal is None else [-2.0 * goal, 2.0 * goal]
    reach = MOST_BEYOND * max((abs(v) for v in mine), default=float("inf"))
    today = [v for car, _, c in curves if car.layer == TODAY for v in c if v is not None]
    return [*mine, *(max(-reach, min(reach, v)) for v in today)]


def _toe_goal(wanted: Sequence[Demand]) -> tuple[tuple[float, float] | None, float | None]:
    """Window of travel and the greatest toe change, either way, that target or else limit allows."""
    demands = asked(wanted, "bump_steer")
    for demand in sorted(demands, key=lambda d: d.is_limit):
        most = demand.maximum if demand.is_limit else demand.wanted[0] + demand.tolerance
        if most is not None:
            return demand.asks[0].over or demand.measure.default_over, most
    return None, None


def _roll(key: str, duty: str, cars: Sequence[Drawn], name: str, words_y: str) -> Figure:
    at = travels(cars)
    curves = [(car, _curve(car, name, at)) for car in cars]
    limits = [
        bound
        for demand in asked(cars[0].wanted, name)
        if demand.is_limit
        for bound in (demand.minimum, demand.maximum)
        if bound is not None
    ]
    chart = Chart(
        Axis.exactly("travel, mm, bump positive", at[0], at[-1]),
        Axis.over(words_y, [*(v for _, c in curves for v in c), *limits], LEAST_HEIGHT),
    )
    for demand in asked(cars[0].wanted, name):
        if not demand.is_limit:
            aim, off = demand.wanted[0], demand.tolerance
            span = 0.06 * (at[-1] - at[0])
            chart.band([-span, span], [aim - off] * 2, [aim + off] * 2, "goal")
    for bound in limits:
        chart.across(bound, "limit", "limit")
    chart.upright(0.0, "zero")
    for car, curve in curves:
        chart.curve(at, curve, "curve", car.layer)
        chart.dot(0.0, _curve(car, name, [0.0])[0], "point", car.layer)
    words = [
        f"{car.words}: {figure_of(name, _curve(car, name, [0.0])[0])} mm at ride height, "
        f"{figure_of(name, curve[0])} mm at droop, {figure_of(name, curve[-1])} mm at bump"
        for car, curve in curves
    ]
    title = f"{clean(name.replace('_', ' ')).capitalize()} over travel"
    caption = {
        "roll_centre_height": "Both wheels together; below 0 is under the ground. Limits: ride height.",
        "roll_couple": "The CG above the roll axis: what rolls the body. Its own height is seldom known to "
        "better than 20 mm.",
    }[name]
    return Figure(
        f"{key}-{name.replace('_', '-')}",
        duty,
        "roll",
        None,
        title,
        caption,
        _done(chart, title, words),
    )


def _curve(car: Drawn, name: str, at: Sequence[float]) -> list[Value]:
    """A measure's curve over travel, of the left wheel where it is one wheel's."""
    curve = MEASURES[name].curve
    assert curve is not None
    return listed(curve(car.scene, "left", np.array(at)))


def _side(car: Drawn, side: Side) -> str:
    return "" if len(car.sides) == 1 else f", {side} wheel"


def _done(chart: Chart, title: str, words: Sequence[str]) -> Picture:
    return chart.picture(title, ". ".join(words) + ".")

"""Pictures against rack and steer: both wheels, toe-out, toggle margin, the loaded wheel's camber."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from goals.verdicts import Demand
from kinematics.measures.steer import LEFT_TURN, axes_distance, ideal_outer
from kinematics.scene import At, Side
from optimiser.chart import Axis, Chart, Value
from optimiser.drawn import Drawn, Figure, asked, figure_of, listed, stations, told

POINTS = 25
GOAL_SHARE = 0.08  # of the axis: how wide a goal at lock alone is drawn


def steer_figures(key: str, duty: str, cars: Sequence[Drawn]) -> Iterator[Figure]:
    """All pictures of a duty against the rack and steer."""
    yield _steer(key, duty, cars)
    yield _toe_out(key, duty, cars)
    yield _toggle(key, duty, cars)
    yield _camber(key, duty, cars)


def _shares() -> list[float]:
    return stations(0.0, 1.0, POINTS)


def _racks(car: Drawn) -> list[float]:
    """Rack from the centre to the stop, mm."""
    return [share * float(car.scene.stop[0]) for share in _shares()]


def _turned(car: Drawn, side: Side) -> list[Value]:
    """Steer of a wheel into a left turn up to the stop, deg."""
    states = car.scene.states(side, [At(lock=share) for share in _shares()])
    return listed(car.scene.steer(side, states))


def _steer(key: str, duty: str, cars: Sequence[Drawn]) -> Figure:
    inner = [_turned(car, LEFT_TURN.inner) for car in cars]
    outer = [_turned(car, LEFT_TURN.outer) for car in cars]
    racks = [_racks(car) for car in cars]
    locks = asked(cars[0].wanted, "lock_inner")
    bounds = [b for d in locks if d.is_limit for b in (d.minimum, d.maximum) if b is not None]
    chart = Chart(
        Axis.exactly("rack from the centre, mm", 0.0, max(r[-1] for r in racks) + 2.0),
        Axis.over("steer, deg", [v for c in (*inner, *outer) for v in c] + [*bounds]),
    )
    for demand in locks:
        _goal_at_the_end(chart, demand)
    for bound in bounds:
        chart.across(bound, "limit", "limit of the inner wheel")
    for car, rack, first, second in zip(cars, racks, inner, outer, strict=True):
        chart.curve(rack, first, "curve", car.layer)
        chart.curve(rack, second, "other", car.layer)
        chart.dot(rack[-1], first[-1], "point", car.layer)
    words = [
        f"{car.words}: inner {told(a[-1], 1)} deg and outer {told(b[-1], 1)} deg at the stop, "
        f"{told(r[-1], 1)} mm of rack"
        for car, r, a, b in zip(cars, racks, inner, outer, strict=True)
    ]
    title = "Both wheels against the rack"
    caption = "Up to the steering stop (the dot): inner wheel thick, outer wheel thin."
    return _figure(f"{key}-steer", duty, "steer", title, caption + _left_turn(cars), chart, words)


def _goal_at_the_end(chart: Chart, demand: Demand) -> None:
    """A target on a figure at the stop, drawn as a band at the end of the axis."""
    if demand.is_limit:
        return
    aim, off = demand.wanted[0], demand.tolerance
    start = chart.x.high - GOAL_SHARE * (chart.x.high - chart.x.low)
    chart.band([start, chart.x.high], [aim - off] * 2, [aim + off] * 2, "goal")


def _toe_out(key: str, duty: str, cars: Sequence[Drawn]) -> Figure:
    inner = [_turned(car, LEFT_TURN.inner) for car in cars]
    outer = [_turned(car, LEFT_TURN.outer) for car in cars]
    gap = [
        [None if a is None or b is None else a - b for a, b in zip(i, o, strict=True)]
        for i, o in zip(inner, outer, strict=True)
    ]
    goals = list(_toe_out_goals(cars))
    highest = max((v for curve in inner for v in curve if v is not None), default=1.0)
    chart = Chart(
        Axis.over("inner wheel, deg", [0.0, highest], 10.0),
        Axis.over(
            "toe-out, deg",
            [*(v for c in gap for v in c), *(v for _, a, b in goals for v in a + b)],
            2.0,
        ),
    )
    for at, lows, highs in goals:
        if len(at) > 1:
            chart.band(at, lows, highs, "goal")
        for x, low, high in zip(at, lows, highs, strict=True):
            spread = 0.012 * (chart.x.high - chart.x.low)
            chart.band([x - spread, x + spread], [low] * 2, [high] * 2, "goal")
    for car, first, curve in zip(cars, inner, gap, strict=True):
        chart.curve(first, curve, "curve", car.layer)
        chart.dot(first[-1], curve[-1], "point", car.layer)
    words = [
        f"{car.words}: {figure_of('toe_out_on_turns', curve[-1])} deg at the stop, "
        f"inner wheel {told(i[-1], 1)} deg"
        for car, i, curve in zip(cars, inner, gap, strict=True)
    ]
    title = "Toe-out against the inner wheel"
    caption = "Inner less outer wheel; 0 is parallel."
    if goals:
        caption += " Shaded: the goal with its tolerance"
        percent = any(asked(car.wanted, "ackermann") for car in cars)
        caption += (
            " (percent Ackermann turned into toe-out on candidate 1's axes)." if percent else "."
        )
    return _figure(f"{key}-toe-out", duty, "toe_out", title, caption, chart, words)


def _toe_out_goals(cars: Sequence[Drawn]) -> Iterator[tuple[list[float], list[Value], list[Value]]]:
    """Targets on toe-out and Ackermann as inner angles with least and greatest toe-out, deg."""
    car = cars[1] if len(cars) > 1 else cars[0]
    for name in ("toe_out_on_turns", "ackermann"):
        for demand in asked(car.wanted, name):
            if demand.is_limit or demand.asks[0].at is None:
                continue
            at = [float(ask.at) for ask in demand.asks if ask.at is not None]
            full = (
                np.ones(len(at)) if name == "toe_out_on_turns" else _full_ackermann(car, at) / 100.0
            )
            off = demand.tolerance
            lows = [float((w - off) * f) for w, f in zip(demand.wanted, full, strict=True)]
            highs = [float((w + off) * f) for w, f in zip(demand.wanted, full, strict=True)]
            yield at, list(lows), list(highs)


def _full_ackermann(
    car: Drawn, inner: Sequence[float]
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Toe-out that is 100 percent at inner angles, deg."""
    distance = axes_distance(car.scene)
    angles = np.array(inner)
    ideal = [float(ideal_outer(angle, distance, car.scene.car.wheelbase)[0]) for angle in angles]
    return np.asarray(angles - np.array(ideal))


def _toggle(key: str, duty: str, cars: Sequence[Drawn]) -> Figure:
    low, high = cars[0].scene.frame.travel
    rows = (
        (0.0, "curve", "ride height"),
        (high, "other", "full bump"),
        (low, "third", "full droop"),
    )
    drawn = []
    for car in cars:
        stop, past = float(car.scene.stop[0]), car.scene.frame.overtravel
        way = float(car.scene.turn_sign[0])
        rack = stations(-stop - past, stop + past, 2 * POINTS - 1)
        for travel, role, word in rows:
            places = [At(travel, rack=way * u) for u in rack]
            drawn.append((car, rack, role, word, listed(car.scene.states("left", places).toggle)))
    limits = [d.minimum for d in asked(cars[0].wanted, "toggle_margin") if d.minimum is not None]
    ends = max(rack[-1] for _, rack, *_ in drawn)
    chart = Chart(
        Axis.exactly("rack, mm, left turn positive", -ends - 2.0, ends + 2.0),
        Axis.over("toggle margin, deg", [0.0, *limits, *(v for *_, c in drawn for v in c)]),
    )
    for limit in limits:
        if limit > 1e-3:
            chart.across(limit, "limit", "limit")
    for car, rack, role, _, curve in drawn:
        chart.curve(rack, curve, role, car.layer)
    for car in cars:
        for way in (-1.0, 1.0):
            chart.upright(way * float(car.scene.stop[0]), "mark", car.layer)
    words = [
        f"{car.words}: least {told(min((v for v in every if v is not None), default=None), 1)} deg"
        for car in cars
        for every in ([v for c, *_, curve in drawn if c is car for v in curve],)
    ]
    title = "Toggle margin against the rack"
    caption = (
        "Angle of tie rod and steering arm from lying in line, left wheel. Ride height thick, full bump "
        "thin, full droop dotted, to past the stop by play and give. Upright lines: the stop."
    )
    return _figure(f"{key}-toggle", duty, "toggle", title, caption, chart, words)


def _camber(key: str, duty: str, cars: Sequence[Drawn]) -> Figure:
    """Camber of the wheel that a left turn loads, over its own steer."""
    drawn = []
    for car in cars:
        states = car.scene.states(car.loaded, [At(lock=share) for share in _shares()])
        drawn.append((car, _turned(car, car.loaded), listed(states.camber)))
    demands = [
        d for d in asked(cars[0].wanted, "camber_at_lock") if d.asks[0].wheel in (None, "loaded")
    ]
    bounds = [b for d in demands if d.is_limit for b in (d.minimum, d.maximum) if b is not None]
    aims = [
        v
        for d in demands
        if not d.is_limit
        for v in (d.wanted[0] - d.tolerance, d.wanted[0] + d.tolerance)
    ]
    chart = Chart(
        Axis.over("steer of that wheel, deg", [0.0, *(v for _, x, _ in drawn for v in x)], 10.0),
        Axis.over("camber, deg", [*bounds, *aims, *(v for *_, c in drawn for v in c)], 2.0),
    )
    for demand in demands:
        _goal_at_the_end(chart, demand)
    for bound in bounds:
        chart.across(bound, "limit", "limit at the stop")
    for car, across, camber in drawn:
        chart.curve(across, camber, "curve", car.layer)
        chart.dot(across[-1], camber[-1], "point", car.layer)
    words = [
        f"{car.words}: {figure_of('camber', camber[0])} deg straight ahead, "
        f"{figure_of('camber', camber[-1])} deg at the stop"
        for car, _, camber in drawn
    ]
    inside = cars[0].scene.frame.counter_steers
    title = "Camber of the loaded wheel against steer"
    caption = (
        "The wheel on the inside of the steering, which this duty loads in a slide. Top outward is positive."
        if inside
        else "The wheel on the outside of the turn. Top outward is positive."
    )
    return _figure(f"{key}-camber", duty, "camber", title, caption, chart, words)


def _left_turn(cars: Sequence[Drawn]) -> str:
    return "" if cars[0].scene.mirrored else " Left turn; this car's sides differ."


def _figure(
    key: str, duty: str, kind: str, title: str, caption: str, chart: Chart, words: Sequence[str]
) -> Figure:
    picture = chart.picture(title, ". ".join(words) + ".")
    return Figure(key, duty, kind, None, title, caption, picture)

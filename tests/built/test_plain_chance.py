"""Yields and bands against plain Monte Carlo: numpy's normal draws, 20,000 cars, built here by themselves.

Nothing of the project's own errors is used: points are moved, sides mirrored and corners made in this file,
straight from the car's points. Only the states and the measures are the project's (they are held against
outside solvers in tests/reference).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from kinematics.arrays import Floats
from kinematics.channels import Channels
from kinematics.corner import Corners, Strut, UpperArm, pack, set_toe
from kinematics.measures import MEASURES, Ask
from kinematics.scene import CarNumbers, DutyFrame, Scene
from tests.built.shop import NOTHING_OFF, sampled, shop
from tests.cars import AHEAD, LARGE, LOWERED, MIDDLING, SMALL, Car
from tests.wishbones import WISHBONES

CHANCE = 20_000
LOWERED_BY = 25.0
TOE = 0.1
OVER = (-30.0, 30.0)
MIRROR = np.array([1.0, -1.0, 1.0])


@dataclass(frozen=True)
class Case:
    """One car with its errors: a general tolerance, one of sides, and right-hand points measured apart."""

    car: Car
    hard_points: float
    sides: float
    apart: tuple[str, ...] = ()


CASES = (
    Case(MIDDLING, 1.0, 1.0),
    Case(AHEAD, 2.0, 0.5),
    Case(SMALL, 1.5, 2.0, ("ball_joint", "top_mount")),
    Case(LARGE, 1.0, 3.0, ("tie_rod_inner", "tie_rod_outer")),
    Case(LOWERED, 0.5, 1.0, ("hub_face",)),
    Case(WISHBONES[0], 1.0, 1.0),
    Case(WISHBONES[3], 1.5, 1.0, ("upper_ball_joint", "tie_rod_inner")),
)


def spindle(car: Car) -> Floats:
    """The knuckle's axes as columns: toe about the vertical, then camber about the heading, by matrices."""
    t, c = np.radians(car.toe), np.radians(car.camber)
    about_z = np.array([[np.cos(t), np.sin(t), 0], [-np.sin(t), np.cos(t), 0], [0, 0, 1.0]])
    about_x = np.array([[1.0, 0, 0], [0, np.cos(c), np.sin(c)], [0, -np.sin(c), np.cos(c)]])
    return about_z @ about_x


def corner(car: Car, points: dict[str, Floats]) -> Floats:
    """Kernel columns of corners whose points (3, n) are where they really are."""
    hub, axes = points["hub_face"], spindle(car)
    lanes = hub.shape[1]

    def in_knuckle(name: str) -> Floats:
        return axes.T @ (points[name] - hub)

    upper: Strut | UpperArm
    if "top_mount" in points:
        along = in_knuckle("top_mount") - in_knuckle("strut_lower")
        direction = along / np.linalg.norm(along, axis=0)
        upper = Strut(points["top_mount"], in_knuckle("strut_lower"), direction)
    else:
        upper = UpperArm(
            points["upper_front"],
            points["upper_rear"],
            points["upper_ball_joint"],
            in_knuckle("upper_ball_joint"),
        )
    columns = pack(
        Corners(
            arm_front=points["arm_front"],
            arm_rear=points["arm_rear"],
            arm_ball_joint=points["ball_joint"],
            tie_rod_inner=points["tie_rod_inner"],
            knuckle_ball_joint=in_knuckle("ball_joint"),
            tie_rod_outer=in_knuckle("tie_rod_outer"),
            upper=upper,
            wheel_inset=np.full(lanes, car.inset),
            loaded_radius=np.full(lanes, car.loaded_radius),
            ride_z=hub[2] + axes[2, 1] * car.inset + LOWERED_BY,
        )
    )
    set_toe(columns, TOE)
    return columns


def by_chance(case: Case, seed: int) -> Scene:
    """Cars drawn by plain chance."""
    rng = np.random.default_rng(seed)
    left, right = {}, {}
    for name, point in case.car.points.items():
        at = np.array(point)[:, None]
        left[name] = at + rng.normal(0.0, 0.5 * case.hard_points, (3, CHANCE))
        shared = left[name] - at
        if name in case.apart:
            right[name] = at + rng.normal(0.0, 0.5 * case.hard_points, (3, CHANCE))
        elif name == "tie_rod_inner":
            right[name] = at + shared * MIRROR[:, None]
        else:
            right[name] = at + shared + rng.normal(0.0, 0.5 * case.sides, (3, CHANCE))
    travel = np.full(CHANCE, case.car.rack_travel)
    return Scene(
        car=CarNumbers(wheelbase=case.car.wheelbase, ground_z=0.0),
        frame=DutyFrame(OVER, 0.0),
        left=corner(case.car, left),
        right=corner(case.car, right),
        rack_travel=travel,
        rack_per_turn=np.full(CHANCE, 44.0),
        price=np.zeros(CHANCE),
        stud_lever=np.full(CHANCE, np.nan),
        channels=Channels.plain({"left": {}, "right": {}}, CHANCE),
    )


ASKS: dict[str, Ask] = {
    "camber": Ask(),
    "caster": Ask(),
    "scrub_radius": Ask(),
    "track_width": Ask(),
    "roll_centre_height": Ask(),
    "bump_steer": Ask(over=OVER),
}
# Where limits are put in each figure's own spread over chance's cars, so that they cost something.
SHARES = {
    "camber": (0.0, 0.9),
    "caster": (0.15, 1.0),
    "scrub_radius": (0.05, 0.95),
    "track_width": (0.0, 0.8),
    "roll_centre_height": (0.1, 0.9),
    "bump_steer": (0.0, 0.7),
}


def limits_of(cases: dict[str, Floats]) -> dict[str, dict[str, Any]]:
    limits: dict[str, dict[str, Any]] = {}
    for name, values in cases.items():
        low, high = np.quantile(values[0], SHARES[name])
        limits[name] = {}
        if SHARES[name][0] > 0.0:
            limits[name]["min"] = float(low)
        if SHARES[name][1] < 1.0:
            limits[name]["max"] = float(high)
        if name == "bump_steer":
            limits[name]["over"] = list(OVER)
    return limits


def held(values: Floats, limit: dict[str, Any]) -> Floats:
    good = np.isfinite(values).all(axis=0)
    if "min" in limit:
        good &= values.min(axis=0) >= limit["min"]
    if "max" in limit:
        good &= values.max(axis=0) <= limit["max"]
    return np.asarray(good)


def close(ours: float, chance: float) -> bool:
    """Within three standard errors of both, and a thousandth for the rest."""
    variance = chance * (1.0 - chance) * (1.0 / 256 + 1.0 / CHANCE)
    return abs(ours - chance) <= 3.0 * np.sqrt(variance) + 1e-3


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.car.name)
def test_yields_and_bands_are_those_of_plain_chance(case: Case) -> None:
    scene = by_chance(case, 11)
    cases = {name: MEASURES[name](scene, ask) for name, ask in ASKS.items()}
    limits = limits_of(cases)
    right = {n: [*(np.array(case.car.points[n]) * MIRROR)] for n in case.apart}
    problem = shop(
        case.car,
        limits=limits,
        duty={"static": {"toe": TOE}, "lowered_by": LOWERED_BY},
        right=right or None,
        hard_points=case.hard_points,
        sides=case.sides,
    )
    assert set(NOTHING_OFF) >= {"settings", "toe", "camber", "ride_height"}
    ours = sampled(problem)
    good = np.ones(CHANCE, dtype=bool)
    for name, limit in limits.items():
        label = next(each for each in ours.holds if each.split(" ")[0] == name)
        one = held(cases[name], limit)
        good &= one
        assert close(float(ours.holds[label].mean()), float(one.mean())), name
    together = np.logical_and.reduce(
        [each for label, each in ours.holds.items() if label.split(" ")[0] in limits]
    )
    assert close(float(together.mean()), float(good.mean()))
    bands(ours.record["bands"], cases)


def bands(ours: dict[str, Any], cases: dict[str, Floats]) -> None:
    """The bands of figures that both wheels share; those of one wheel hang on which is shown."""
    for name in ("track_width", "roll_centre_height"):
        values = cases[name][0]
        spread = float(values.std())
        for told, share in zip(ours[name], (0.05, 0.95), strict=True):
            # a quantile's error is sqrt(p (1 - p) / n) / density: 0.13 deviations of 256 normal draws
            assert abs(told - float(np.quantile(values, share))) <= 3.0 * 0.13 * spread

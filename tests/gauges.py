"""Readings that a builder's gauges would give of a strut car, by the slow twin, not by the code under test.

What is read and how well is chosen here; the geometry is plain rotations (tests/properties/twin.py).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import brentq

from tests.cars import Car
from tests.properties.twin import Twin

TRAVELS = tuple(float(t) for t in range(-50, 61, 10))
ANGLES = (10.0, 20.0, 30.0)
# Standard deviations of the readings made here: half of what a readings file takes when it says nothing.
NOISE = {
    "toe": 0.015,
    "dials": 0.05,
    "camber": 0.05,
    "outer": 0.15 * 2.0**0.5,
    "static toe": 0.025,
    "caster": 0.15,
    "kingpin_inclination": 0.25,
    "rod_length": 0.5,
    "heights": 1.0,
}


class Gauges:
    """Gauges on one car: every reading has its error drawn, none where ``rng`` is None."""

    def __init__(self, car: Car, rng: np.random.Generator | None = None, lowered: float = 0.0):
        self.car, self.twin, self.lowered, self.rng = car, Twin(car), lowered, rng

    def read(self, true: float, kind: str) -> float:
        if self.rng is None:
            return float(true)
        return float(true + NOISE[kind] * self.rng.normal())

    def pose(self, side: str, travel: float, rack: float) -> Any:
        """The wheel's pose; a right wheel is a left one in a mirror, where the rack goes the other way."""
        pose = self.twin.at(self.lowered + travel, rack if side == "left" else -rack)
        assert pose is not None
        return pose

    def run(self, side: str, rack: float = 0.0, base: float | None = None) -> dict[str, Any]:
        """One wheel over travel; with ``base`` read as the difference of two dials, mm."""
        zero = self.pose(side, 0.0, rack).toe
        run: dict[str, Any] = {"wheel": side, "rack": rack, "toe": [], "camber": []}
        if base is not None:
            run["dials"] = {"unit": "mm", "base": base}
        for travel in TRAVELS:
            pose = self.pose(side, travel, rack)
            if base is None:
                toe = self.read(pose.toe - zero, "toe")
            else:
                there, ride = (float(np.tan(np.radians(angle))) for angle in (pose.toe, zero))
                toe = self.read(base * (there - ride), "dials")
            if travel:
                run["toe"].append([travel, toe])
            run["camber"].append([travel, self.read(pose.camber, "camber")])
        return run

    def outer(self, turn: str, inner: float) -> float:
        """The outer wheel's angle where the inner one stands at ``inner``, both into the turn."""
        other = "right" if turn == "left" else "left"
        straight = self.pose(turn, 0.0, 0.0).toe

        def steer(side: str, rack: float) -> float:
            # into a left turn the left wheel toes out and the right one in
            change = self.pose(side, 0.0, rack).toe - straight
            return float(-change if side == turn else change)

        way = 1.0 if steer(turn, 5.0) > 0.0 else -1.0
        rack = way * float(
            brentq(lambda r: steer(turn, way * r) - inner, 0.0, self.car.rack_travel, xtol=1e-12)
        )
        return steer(other, rack)

    def static(self, side: str) -> dict[str, Any]:
        pose, points = self.pose(side, 0.0, 0.0), self.car.points
        reach = np.array(points["tie_rod_outer"]) - np.array(points["tie_rod_inner"])
        return {
            "toe": self.read(pose.toe, "static toe"),
            "camber": self.read(pose.camber, "camber"),
            "caster": self.read(pose.caster, "caster"),
            "kingpin_inclination": self.read(pose.kingpin_inclination, "kingpin_inclination"),
            "rod_length": self.read(float(np.linalg.norm(reach)), "rod_length"),
            "heights": {
                "ball_joint": self.read(pose.ball_joint[2] - pose.contact[2], "heights"),
                "tie_rod_outer": self.read(pose.rod_outer[2] - pose.contact[2], "heights"),
                "arm_front": self.read(points["arm_front"][2] - pose.contact[2], "heights"),
            },
        }

    def file(self, *, steered: float = 0.0, base: float | None = None) -> dict[str, Any]:
        """A whole readings file: both wheels over travel, both turns on plates, alignment."""
        runs = [self.run("left", base=base), self.run("right", base=base)]
        if steered:
            runs += [self.run("left", steered), self.run("left", -steered)]
        plates = [
            {
                "turn": turn,
                "readings": [[a, self.read(self.outer(turn, a), "outer")] for a in ANGLES],
            }
            for turn in ("left", "right")
        ]
        file: dict[str, Any] = {"format": 1, "gauge": runs, "turn_plates": plates}
        file["static"] = {side: self.static(side) for side in ("left", "right")}
        if self.lowered:
            file["lowered_by"] = self.lowered
        return file

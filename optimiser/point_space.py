"""A car's measured coordinates as numbers that may be off: many cars side by side, as measured.

Where the car file gives only the left side, one set of points explains both wheels; a point that
``points_right`` gives is a point of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from goals.car import Car
from goals.duties import COVERAGE, GoalsFile
from kinematics.arrays import Floats
from kinematics.channels import Channels
from kinematics.corner import measured_corner, pack, set_measured_rods
from kinematics.rows import RIDE_Z
from kinematics.scene import CarNumbers, DutyFrame, Scene, Side
from optimiser.assembly import MIRROR

AXES = ("x", "y", "z")
STATIC = "static"
LEFT, RIGHT = "points", "points_right"


@dataclass(frozen=True)
class Coordinate:
    """One measured number of the car file: ``section`` and ``name`` as there, ``axis`` 0 to 2 (points)."""

    section: str
    name: str
    axis: int = 0

    @property
    def words(self) -> str:
        """The coordinate as it is spoken of."""
        if self.section == STATIC:
            return f"static {self.name}"
        side = "right " if self.section == RIGHT else ""
        return f"{side}{self.name} {AXES[self.axis]}"

    @property
    def unit(self) -> str:
        """Its unit."""
        return "deg" if self.section == STATIC else "mm"


def point_sigma(goals: GoalsFile, name: str) -> Floats:
    """Standard deviation of a hard point's measured place along x, y and z, (3,) mm.

    From the goals' tolerances, which are ± with coverage factor 2.
    """
    return np.array(goals.tolerances.of_point(name)) / COVERAGE


@dataclass(frozen=True)
class PointSpace:
    """The coordinates of a car that may be off, with their standard deviations.

    ``coordinates`` are the hard points' and, last, static toe and camber, which are never fitted;
    ``sigma`` (p,) is of the hard points' only, mm.
    """

    car: Car
    coordinates: tuple[Coordinate, ...]
    sigma: Floats

    @classmethod
    def of(cls, goals: GoalsFile, car: Car) -> PointSpace:
        """The coordinates of a car with the goals' tolerances."""
        points = list(_points(car))
        found = [Coordinate(section, name, axis) for section, name in points for axis in range(3)]
        sigma = [point_sigma(goals, name) for _, name in points]
        static = [Coordinate(STATIC, name) for name in ("toe", "camber")]
        return cls(car, (*found, *static), np.concatenate(sigma))

    @property
    def points(self) -> int:
        """How many coordinates of hard points there are."""
        return int(self.sigma.size)

    @cached_property
    def measured(self) -> Floats:
        """The coordinates as the car file gives them, mm or deg."""
        return np.array([_value(self.car, each) for each in self.coordinates])

    @property
    def sides(self) -> tuple[Side, ...]:
        """Sides whose points differ."""
        return ("left",) if self.car.points_right is None else ("left", "right")

    def scene(self, shifts: Floats, lowered: float = 0.0) -> Scene:
        """Cars as measured whose coordinates are off by ``shifts`` (coordinates or points, n).

        ``lowered`` mm below the measured ride height. With no shift it is the car as its file gives it.
        """
        lanes = shifts.shape[1]
        columns: dict[Side, Floats] = {}
        channels: dict[str, dict[str, Floats]] = {}
        for side in self.sides:
            many = [self._corner(side, shifts[:, lane], lowered) for lane in range(lanes)]
            columns[side] = np.concatenate([column for column, _ in many], axis=1)
            channels[side] = {
                name: np.stack([points[name] for _, points in many], axis=1) for name in many[0][1]
            }
        rack = np.full(lanes, self.car.rack.travel)
        return Scene(
            car=CarNumbers(wheelbase=self.car.wheelbase, ground_z=0.0),
            frame=DutyFrame(),
            left=columns["left"],
            right=columns.get("right"),
            rack_travel=rack,
            rack_per_turn=np.full(lanes, self.car.rack.per_turn),
            price=np.zeros(lanes),
            stud_lever=np.full(lanes, np.nan),
            channels=Channels.plain(channels, lanes),
        )

    def _corner(
        self, side: Side, shift: Floats, lowered: float
    ) -> tuple[Floats, dict[str, Floats]]:
        """Kernel column of one car's side, (rows, 1), and its points in left-hand axes."""
        points, static = self.moved(side, shift)
        car = self.car
        inset = car.wheel.spacer - car.wheel.offset
        corner = measured_corner(points, *static, inset, car.tyre.loaded_radius)
        column = pack(corner)
        set_measured_rods(column, corner, *static)
        column[RIDE_Z] += lowered
        return column, points

    def moved(self, side: Side, shift: Floats) -> tuple[dict[str, Floats], tuple[float, float]]:
        """One side's points in left-hand axes, and its toe and camber, off by a shift (coordinates,)."""
        values = self.measured.copy()
        values[: shift.size] += shift
        of = dict(zip(self.coordinates, values, strict=True))
        points: dict[str, Floats] = {}
        for section, name in _points(self.car):
            point = np.array([of[Coordinate(section, name, axis)] for axis in range(3)])
            if section == LEFT:
                points.setdefault(name, point)
            elif side == "right":
                points[name] = point * MIRROR
        return points, (of[Coordinate(STATIC, "toe")], of[Coordinate(STATIC, "camber")])

    def shifted(self, shift: Floats) -> Car:
        """The car file's model with its coordinates off by a shift (coordinates or points,)."""
        values = self.measured.copy()
        values[: shift.size] += shift
        data = self.car.model_dump()
        for each, value in zip(self.coordinates, values, strict=True):
            if each.section == STATIC:
                data[STATIC][each.name] = float(value)
                continue
            point = list(data[each.section][each.name])
            point[each.axis] = float(value)
            data[each.section][each.name] = tuple(point)
        return Car.model_validate(data)


def _points(car: Car) -> Iterator[tuple[str, str]]:
    """Section and name of each measured point, the left ones first."""
    for name in type(car.points).model_fields:
        yield LEFT, name
    if car.points_right is not None:
        for name in type(car.points_right).model_fields:
            if getattr(car.points_right, name) is not None:
                yield RIGHT, name


def _value(car: Car, of: Coordinate) -> float:
    if of.section == STATIC:
        return float(getattr(car.static, of.name))
    return float(getattr(getattr(car, of.section), of.name)[of.axis])

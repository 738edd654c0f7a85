"""Cars as built: the lanes of a scene are one candidate with other errors in each.

A hard point that was measured off is a car file with that point elsewhere: places in the knuckle are counted
anew from it. The builder then does what the sheet says: fits the parts, sets the adjusters, ride height and
toe by gauge and the steering stop on the car, so rods and stop are those of each car.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from goals.car import Car
from goals.parts import Station
from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.channels import Channels
from kinematics.corner import pack, set_toe
from kinematics.fittings import Fittings
from kinematics.scene import CarNumbers, Scene, Side
from kinematics.states import solve
from kinematics.struts import MeasuredStrut
from kinematics.vectors import cross, dot, length
from optimiser.assembly import Assembly, corner_points
from optimiser.channels import channel_of
from optimiser.errors import Drawn
from optimiser.fittings import fittings
from optimiser.space import adjuster_at

BOTH: tuple[Side, Side] = ("left", "right")
# Turns of a tie rod until the gauge reads what is wanted: the secant method needs four to the last bits.
TURNS = 6
FIRST_TURN = 0.05  # mm of rod

Shifts = dict[str, Floats]
Axes = tuple[Floats, Floats, Floats]


def as_built(assembly: Assembly, positions: tuple[int, ...], drawn: Drawn) -> Scene:
    """A candidate built many times, its stop not set yet: one lane a car, both sides of their own.

    Args:
        assembly: a build for a duty.
        positions: where its dimensions stand.
        drawn: the errors; those that matter to the candidate are noted there.
    """
    columns: dict[Side, Floats] = {}
    channels: dict[str, dict[str, Floats]] = {}
    grounds, struts = [], {}
    for side in BOTH:
        measured = _Measured(assembly.car, side, drawn)
        channels[side] = _channels(assembly, positions, side, drawn, measured)
        corners = assembly.corners_of(side, channels[side])
        corners = corners.lowered(measured.ride_shift + drawn.ride_height(side))
        columns[side] = pack(corners)
        set_toe(columns[side], assembly.toe)
        _gauge_toe(columns[side], assembly.toe + drawn.toe(side))
        grounds.append(measured.ground)
        if "strut_lower" in measured.points:
            struts[side] = measured.strut_length
    scene = assembly.scene_of(columns, Channels.plain(channels, drawn.samples))
    numbers = replace(assembly.numbers, ground_z=0.5 * (grounds[0] + grounds[1]))
    return _with(scene, numbers, _both_sides(assembly, struts))


def _with(scene: Scene, numbers: CarNumbers, fitted: Fittings) -> Scene:
    return replace(scene, car=numbers, fittings=fitted)


def _both_sides(assembly: Assembly, lengths: dict[Side, Floats]) -> Fittings:
    """The build's fittings with each car's own struts as measured, on both sides."""
    points: dict[str, dict[str, Floats]] = {
        side: corner_points(assembly.car, side) for side in BOTH
    }
    fitted = fittings(assembly.car, assembly.build.parts, points)
    struts = {
        side: MeasuredStrut(strut.direction, lengths["left" if side == "left" else "right"])
        for side, strut in fitted.struts.items()
    }
    return replace(fitted, struts=struts)


class _Measured:
    """One side of the car as measured, every lane with the errors of one car."""

    def __init__(self, car: Car, side: Side, drawn: Drawn) -> None:
        self.car = car
        self.side = side
        self.drawn = drawn
        self.points = corner_points(car, side)
        self.off = {name: drawn.point(name, side) for name in self.points}
        self.frame = knuckle_frames(car.static.toe, car.static.camber + drawn.camber(side))
        none = np.zeros(drawn.samples)
        self.stock_frame = knuckle_frames(car.static.toe, car.static.camber + none)

    def true(self, name: str) -> Floats:
        """Where a point really is, (3, n) mm in left-hand axes."""
        return self.points[name][:, None] + self.off[name]

    def in_knuckle(self, name: str) -> Floats:
        """How far a point really is from where it was told in the knuckle's frame, (3, n) mm."""
        told = self.points[name][:, None] - self.points["hub_face"][:, None]
        there = _turned(self.frame, self.true(name) - self.true("hub_face"))
        return there - _turned(self.stock_frame, told)

    @property
    def strut_length(self) -> Floats:
        """From strut_lower to the top mount, (n,) mm."""
        return length(self.true("top_mount") - self.true("strut_lower"))

    @property
    def _inset(self) -> float:
        return self.car.wheel.spacer - self.car.wheel.offset

    @property
    def ride_shift(self) -> Floats:
        """How much higher in the body the wheel centre stands as measured, (n,) mm."""
        lift = (self.frame[1][2] - self.stock_frame[1][2]) * self._inset
        return np.asarray(self.off["hub_face"][2] + lift)

    @property
    def ground(self) -> Floats:
        """Height of the contact point as measured, (n,) mm in body axes."""
        centre = self.true("hub_face")[2] + self.frame[1][2] * self._inset
        lean = np.radians(self.car.static.camber + self.drawn.camber(self.side))
        return np.asarray(centre - self.car.tyre.loaded_radius * np.cos(lean))

    def shifts(self) -> Shifts:
        """How far each channel of the car as measured is off, (3, n) mm."""
        found = {
            "arm_front": self.off["arm_front"],
            "arm_rear": self.off["arm_rear"],
            "arm_ball_joint": self.off["ball_joint"],
            "tie_rod_inner": self.off["tie_rod_inner"],
            "knuckle_ball_joint": self.in_knuckle("ball_joint"),
            "tie_rod_outer": self.in_knuckle("tie_rod_outer"),
        }
        if "top_mount" in self.points:
            return found | {
                "top_mount": self.off["top_mount"],
                "strut_lower": self.in_knuckle("strut_lower"),
                "strut_upper": self.in_knuckle("top_mount"),
            }
        return found | {
            "upper_front": self.off["upper_front"],
            "upper_rear": self.off["upper_rear"],
            "arm_upper_ball_joint": self.off["upper_ball_joint"],
            "knuckle_upper_ball_joint": self.in_knuckle("upper_ball_joint"),
        }


def knuckle_frames(toe: float, camber: Floats) -> Axes:
    """Axes x, y, z of knuckles as measured, each (3, n): a knuckle frame for each camber (n,), deg."""
    t, c = np.radians(toe), np.radians(camber)
    y = np.stack([np.sin(t) * np.cos(c), np.cos(t) * np.cos(c), -np.sin(c)])
    x = np.broadcast_to(np.array([[np.cos(t)], [-np.sin(t)], [0.0]]), y.shape)
    return x, y, cross(x, y)


def _turned(frame: Axes, vector: Floats) -> Floats:
    return np.stack([dot(axis, vector) for axis in frame])


def _channels(
    assembly: Assembly, positions: tuple[int, ...], side: Side, drawn: Drawn, measured: _Measured
) -> dict[str, Floats]:
    """Every channel of one side of every car: points (3, n) and numbers (n,)."""
    known: Side = side if side in assembly.bases else "left"
    told = assembly.channels(known, np.array([positions], dtype=np.int64).reshape(1, -1))
    off = measured.shifts()
    _carry_bar(assembly.car, off, measured)
    _brought(assembly, off, drawn)
    _set(assembly, off, side, drawn)
    return {
        name: np.repeat(value, drawn.samples, axis=-1) + off.get(name, 0.0)
        for name, value in told.items()
    }


def _carry_bar(car: Car, off: Shifts, measured: _Measured) -> None:
    """The anti-roll bar's link, which is taken as told, stays where it is when the knuckle's origin moves."""
    bar = car.antiroll_bar
    if bar is None or bar.link_on is None or bar.link_on == "arm" or bar.link is None:
        return
    link = np.array(bar.link, dtype=float)[:, None]
    hub = measured.points["hub_face"][:, None]
    there = _turned(measured.frame, link - measured.true("hub_face"))
    off["bar_link"] = there - _turned(measured.stock_frame, link - hub)
    if bar.link_on == "strut":
        # what is clamped to the strut is counted from it
        off["bar_link"] = off["bar_link"] - off["strut_lower"]


def _brought(assembly: Assembly, off: Shifts, drawn: Drawn) -> None:
    """Points that parts bring are off by the parts' own error, and no more by the car's."""
    for station, part in assembly.build.parts.items():
        given = {channel_of(name, station) for name in part.points}
        for channel in sorted(given):
            own = drawn.part_point(channel)
            if channel == "strut_lower" and "strut_upper" not in given:
                # the strut keeps its lean in the knuckle
                off["strut_upper"] = own + (off["strut_upper"] - off["strut_lower"])
            off[channel] = own


def _set(assembly: Assembly, off: Shifts, side: Side, drawn: Drawn) -> None:
    """Adjusters are set off on each side by itself; one that lowers the car is set by its ride height."""
    for dimension in assembly.dimensions:
        part = assembly.build.parts.get(Station(dimension.station))
        if dimension.kind != "adjuster" or part is None or dimension.name not in part.adjusts:
            continue
        if "lowered_by" in dimension.effects:
            continue
        own = part.adjusts[dimension.name].error
        error = drawn.setting(dimension.station.value, dimension.name, side, own)
        shifts = adjuster_at(part, dimension.station, dimension.name, error).effects
        for channel, table in shifts.items():
            off[channel] = off.get(channel, 0.0) + table.T
            if channel == "strut_lower":
                off["strut_upper"] = off["strut_upper"] + table.T


def _gauge_toe(columns: Floats, wanted: Floats) -> None:
    """Turn each lane's tie rod until its toe straight ahead at ride height is (n,) deg.

    ``columns`` have their rods set to a toe nearby already.
    """
    lanes = columns.shape[1]

    def reads(rod: Floats) -> Floats:
        columns[k.ROD_LENGTH] = rod
        toe = solve(columns, np.zeros(1), np.zeros((1, lanes))).toe[0]
        return np.asarray(toe - wanted)

    before = columns[k.ROD_LENGTH].copy()
    was = reads(before)
    rod = before + FIRST_TURN
    for _ in range(TURNS):
        off = reads(rod)
        with np.errstate(divide="ignore", invalid="ignore"):
            turn = off * (rod - before) / (off - was)
        # a lane whose gauge reads right stands still
        turn = np.where((np.abs(off) < 1e-12) | (off == was), 0.0, turn)
        before, was, rod = rod, off, rod - turn
    columns[k.ROD_LENGTH] = rod

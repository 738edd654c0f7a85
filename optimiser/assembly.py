"""From a car, a build and its settings to corners: the arrow from parts to geometry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from goals.car import Car
from goals.duties import Duty, GoalsFile
from goals.parts import Part, Rod, Station
from kinematics.arrays import Floats, Ints
from kinematics.bar_link import Mount
from kinematics.channels import Channels
from kinematics.corner import (
    Corners,
    Strut,
    UpperArm,
    knuckle_frame,
    measured_corner,
    pack,
    set_measured_rods,
    set_toe,
)
from kinematics.fittings import Fittings
from kinematics.obstacles import Obstacles
from kinematics.rods import RodKit
from kinematics.scene import CarNumbers, DutyFrame, Scene, Side
from kinematics.studs import Stud
from optimiser.antiroll import (
    antiroll_bar,
    bar_channels,
    bar_mount,
    corner_heights,
    has_geometry,
    has_right,
)
from optimiser.channels import NUMBERS, OPTIONAL, STUD_LEVER, UNFILLED, channel_of, numbers_of
from optimiser.fittings import fittings
from optimiser.obstacles import obstacles_of
from optimiser.space import Build, Dimension

MIRROR = np.array([1.0, -1.0, 1.0])


def corner_points(car: Car, side: Side) -> dict[str, Floats]:
    """Measured points of one side in left-hand axes (the right side's y is turned to positive)."""
    points = {name: np.array(value) for name, value in car.points.model_dump().items()}
    if side == "right" and car.points_right is not None:
        for name, value in car.points_right.model_dump().items():
            if value is not None:
                points[name] = np.array(value) * MIRROR
    return points


def measured(car: Car, side: Side = "left") -> Corners:
    """One corner of the car as its file gives it."""
    return measured_corner(
        corner_points(car, side),
        car.static.toe,
        car.static.camber,
        car.wheel.spacer - car.wheel.offset,
        car.tyre.loaded_radius,
    )


def sides_of(car: Car) -> tuple[Side, ...]:
    """Sides whose geometry differs: the left one alone where the right is its mirror."""
    mirrored = car.points_right is None and not has_right(car)
    return ("left",) if mirrored else ("left", "right")


def car_numbers(car: Car) -> CarNumbers:
    """What measures need of the whole car."""
    drop = car.tyre.loaded_radius * np.cos(np.radians(car.static.camber))
    ground = np.mean([measured(car, side).ride_z[0] - drop for side in sides_of(car)])
    masses, rear, springs = car.masses, car.rear, car.springs
    return CarNumbers(
        wheelbase=car.wheelbase,
        ground_z=float(ground),
        cg_height=None if masses is None else masses.cg_height,
        front_share=None if masses is None else masses.front / masses.total,
        rear_roll_centre=None if rear is None else rear.roll_centre_height,
        mass=None if masses is None else masses.total,
        unsprung_front=0.0 if masses is None else masses.unsprung_front,
        unsprung_rear=0.0 if masses is None else masses.unsprung_rear,
        hub_height=float(drop),
        wheel_rate=None if springs is None else springs.rate * springs.motion_ratio**2,
        bar=antiroll_bar(car),
        bar_mounts=_bar_mounts(car),
        bar_heights=corner_heights(car),
        rear_roll_stiffness=None if rear is None else rear.roll_stiffness,
        rear_track=None if rear is None else rear.track,
    )


def _bar_mounts(car: Car) -> dict[Side, Mount] | None:
    if not has_geometry(car):
        return None
    return {side: _bar_mount(car, side) for side in ("left", "right")}


def _bar_mount(car: Car, side: Side) -> Mount:
    """What carries the anti-roll bar's link on one side, as measured."""
    points = corner_points(car, side)
    frame = knuckle_frame(car.static.toe, car.static.camber)
    strut = None
    if "strut_lower" in points:
        strut = points["strut_lower"], points["top_mount"]
    return bar_mount(car, points["hub_face"], frame, strut)


def duty_frame(goals: GoalsFile, car: Car, duty: Duty) -> DutyFrame:
    """How the duty's figures are judged."""
    return DutyFrame(duty.travel, overtravel(goals, car), duty.counter_steers)


def overtravel(goals: GoalsFile, car: Car) -> float:
    """How far the rack may come past its stop, mm: the goals' allowance and the rack's own give."""
    return goals.tolerances.rack_overtravel + car.rack.compliance * (car.rack.force or 0.0)


def duty_toe(car: Car, duty: Duty) -> float:
    """Static toe that the duty's tie rods are set to, deg."""
    return car.static.toe if duty.static is None else duty.static.toe


def rod_kit(rod: Rod | None) -> RodKit | None:
    """The tie rod's kit; adjusters of which there are not two for the car's two rods are left out."""
    if rod is None:
        return None
    lengths = tuple(a.length for a in rod.adjusters if a.count >= 2)
    if not lengths:
        return None
    return RodKit(
        rod.inner, rod.outer, rod.thread, rod.pitch, rod.flats, rod.engagement, lengths
    )  # fmt: skip


def _measured_channels(car: Car, side: Side) -> dict[str, Floats]:
    """Channels of the car as measured: points (3,) and numbers ()."""
    stock = measured(car, side)
    frame = knuckle_frame(car.static.toe, car.static.camber)
    points = corner_points(car, side)
    base: dict[str, Floats] = {
        "arm_front": points["arm_front"],
        "arm_rear": points["arm_rear"],
        "arm_ball_joint": points["ball_joint"],
        "tie_rod_inner": points["tie_rod_inner"],
        "knuckle_ball_joint": stock.knuckle_ball_joint[:, 0],
        "tie_rod_outer": stock.tie_rod_outer[:, 0],
        "hub_face": np.zeros(3),
    }
    if isinstance(stock.upper, Strut):
        base |= {
            "top_mount": points["top_mount"],
            "strut_lower": stock.upper.lower[:, 0],
            "strut_upper": frame.T @ (points["top_mount"] - points["hub_face"]),
        }
    else:
        base |= {
            "upper_front": points["upper_front"],
            "upper_rear": points["upper_rear"],
            "arm_upper_ball_joint": points["upper_ball_joint"],
            "knuckle_upper_ball_joint": stock.upper.knuckle_ball_joint[:, 0],
        }
    numbers = car.model_dump(include={"rack", "wheel", "tyre", "hub", "strut"})
    for name in NUMBERS:
        section, _, key = name.partition(".")
        told = (numbers.get(section) or {}).get(key)
        unknown = np.nan if name in OPTIONAL else 0.0
        base[name] = np.array(unknown if told is None else float(told))
    if car.antiroll_bar is not None:
        mount = _bar_mount(car, side) if has_geometry(car) else None
        base.update(bar_channels(car.antiroll_bar, side, mount))
    return base


def _base_channels(car: Car, side: Side, build: Build) -> dict[str, Floats]:
    """Channels of a build with every setting at zero: replaced points, then fixed moves and numbers."""
    base = _measured_channels(car, side)
    base |= {UNFILLED[station]: np.array(0.0) for station in build.parts}
    _replace(base, build)
    _move(base, build)
    return base


def _replace(base: dict[str, Floats], build: Build) -> None:
    for station, part in build.parts.items():
        given = {channel_of(name, station): np.array(at) for name, at in part.points.items()}
        if "strut_lower" in given and "strut_upper" not in given:
            # the strut keeps its lean in the knuckle
            lean = base["strut_upper"] - base["strut_lower"]
            given["strut_upper"] = given["strut_lower"] + lean
        base.update(given)
        for channel, value in numbers_of(part.sets).items():
            base[channel] = np.array(value)
        if station is Station.TIE_ROD_STUD and part.strength is not None:
            base[STUD_LEVER] = np.array(part.strength.lever)


def _move(base: dict[str, Floats], build: Build) -> None:
    for station, part in build.parts.items():
        for name, move in part.moves.items():
            channel = channel_of(name, station)
            base[channel] = base[channel] + np.array(move)
            if channel == "strut_lower":
                base["strut_upper"] = base["strut_upper"] + np.array(move)
        for channel, value in numbers_of(part.adds).items():
            base[channel] = base[channel] + value


def _upper(c: dict[str, Floats]) -> Strut | UpperArm:
    """What holds the knuckle above the lower arm, by the channels that there are."""
    hub = c["hub_face"]
    if "upper_front" in c:
        joint = c["knuckle_upper_ball_joint"] - hub
        return UpperArm(c["upper_front"], c["upper_rear"], c["arm_upper_ball_joint"], joint)
    strut = c["strut_upper"] - c["strut_lower"]
    direction = strut / np.linalg.norm(strut, axis=0)
    return Strut(c["top_mount"], c["strut_lower"] - hub, direction)


@dataclass(frozen=True)
class Assembly:
    """A build on a car for one duty: what turns positions of its dimensions into corners.

    ``lowering`` is the duty's fixed lowering in mm, on top of what the dimensions lower.
    """

    car: Car
    build: Build
    dimensions: tuple[Dimension, ...]
    lowering: float
    frame: DutyFrame
    toe: float

    @cached_property
    def numbers(self) -> CarNumbers:
        """The whole car's numbers."""
        return car_numbers(self.car)

    @cached_property
    def kit(self) -> RodKit | None:
        """What the build's tie rod is made of."""
        part = self.build.parts.get(Station.TIE_ROD)
        return None if part is None else rod_kit(part.rod)

    @cached_property
    def stud(self) -> Stud | None:
        """The stud under the outer tie-rod joint, where the parts file says how strong it is."""
        part = self.build.parts.get(Station.TIE_ROD_STUD)
        if part is None or part.strength is None:
            return None
        s = part.strength
        return Stud(s.design_load, s.stud_root, s.allowable_stress)

    @cached_property
    def fittings(self) -> Fittings:
        """What the build fits to the car beside its geometry."""
        return car_fittings(self.car, self.build.parts)

    @property
    def base_numbers(self) -> dict[str, Floats]:
        """The build's numbers with nothing set yet, (): not-a-number where nobody tells one."""
        return {name: self.bases["left"][name] for name in NUMBERS}

    @cached_property
    def bases(self) -> dict[Side, dict[str, Floats]]:
        """The build's channels with nothing set yet, side → name → (3,) or ()."""
        return {side: _base_channels(self.car, side, self.build) for side in sides_of(self.car)}

    @cached_property
    def obstacles(self) -> Obstacles | None:
        """What the tyre must keep off: the car's obstacles and those of the parts."""
        return obstacles_of(self.car, self.build)

    @property
    def knows_barrel(self) -> bool:
        """Whether the tie rod's gap to the inside of the wheel can be told of this build."""
        told = bool(np.isfinite(self.bases["left"]["wheel.barrel_radius"]))
        return told and self.obstacles is not None and bool(self.obstacles.rod_pieces)

    def channels(self, side: Side, positions: Ints) -> dict[str, Floats]:
        """Every channel at the positions (n, dimensions): vectors (3, n), numbers (n,)."""
        n = positions.shape[0]
        values: dict[str, Floats] = {}
        for name, base in self.bases[side].items():
            values[name] = (
                np.repeat(base.reshape(-1, 1), n, axis=1) if base.ndim else np.full(n, base)
            )
        for column, dim in enumerate(self.dimensions):
            for name in dim.effects:
                shift = dim.shift(name, positions[:, column])
                values[name] += shift
                if name == "strut_lower":
                    values["strut_upper"] += shift
        return values

    def corners(self, side: Side, positions: Ints) -> Corners:
        """Corners at the positions, at the duty's ride height."""
        return self.corners_of(side, self.channels(side, positions))

    def corners_of(self, side: Side, c: dict[str, Floats]) -> Corners:
        """Corners of ready channels, at the duty's ride height."""
        hub = c["hub_face"]
        stock = measured(self.car, side)
        return Corners(
            arm_front=c["arm_front"],
            arm_rear=c["arm_rear"],
            arm_ball_joint=c["arm_ball_joint"],
            tie_rod_inner=c["tie_rod_inner"],
            # a hub face that moves in the knuckle is the knuckle's other points moving the other way
            knuckle_ball_joint=c["knuckle_ball_joint"] - hub,
            tie_rod_outer=c["tie_rod_outer"] - hub,
            upper=_upper(c),
            wheel_inset=c["wheel.spacer"] - c["wheel.offset"],
            loaded_radius=c["tyre.loaded_radius"],
            ride_z=stock.ride_z[0] + c["lowered_by"] + self.lowering,
        )

    def scene(self, positions: Ints) -> Scene:
        """A scene of the positions (n, dimensions), tie rods set to the duty's toe."""
        return self.posed(positions)[0]

    def posed(self, positions: Ints) -> tuple[Scene, dict[Side, Floats]]:
        """The same with each side's straight-ahead state at ride height, (STATE_ROWS, n)."""
        channels = {side: self.channels(side, positions) for side in sides_of(self.car)}
        return self.posed_of(channels, positions.shape[0])

    def posed_of(
        self, channels: Mapping[Side, dict[str, Floats]], lanes: int
    ) -> tuple[Scene, dict[Side, Floats]]:
        """The same of ready channels of so many lanes."""
        columns: dict[Side, Floats] = {}
        poses: dict[Side, Floats] = {}
        outer: dict[str, dict[str, Floats]] = {}
        for side, named in channels.items():
            outer[side] = named
            columns[side] = pack(self.corners_of(side, named))
            poses[side] = set_toe(columns[side], self.toe).raw[:, 0, :]
        return self.scene_of(columns, Channels.plain(outer, lanes)), poses

    def scene_of(self, columns: dict[Side, Floats], channels: Channels) -> Scene:
        """A scene of packed columns whose tie rods are set, with each lane's own channels."""
        lanes = columns["left"].shape[1]
        return Scene(
            car=self.numbers,
            frame=self.frame,
            left=columns["left"],
            right=columns.get("right"),
            rack_travel=channels.get("rack.travel"),
            rack_per_turn=channels.get("rack.per_turn"),
            price=np.full(lanes, self.build.price),
            rod_kit=self.kit,
            stud=self.stud,
            fittings=self.fittings,
            obstacles=self.obstacles,
            stud_lever=channels.get(STUD_LEVER),
            channels=channels,
        )


def car_fittings(car: Car, parts: Mapping[Station, Part]) -> Fittings:
    """What the car is fitted with when it carries these parts."""
    return fittings(car, parts, {side: corner_points(car, side) for side in sides_of(car)})


def as_measured(car: Car, frame: DutyFrame) -> Scene:
    """The car as its file gives it, with the tie rods at their measured length: a scene of one lane."""
    columns: dict[Side, Floats] = {}
    channels: dict[str, dict[str, Floats]] = {}
    for side in sides_of(car):
        corner = measured(car, side)
        channels[side] = {
            name: value[..., None] for name, value in _measured_channels(car, side).items()
        }
        columns[side] = pack(corner)
        set_measured_rods(columns[side], corner, car.static.toe, car.static.camber)
    return Scene(
        car=car_numbers(car),
        frame=frame,
        left=columns["left"],
        right=columns.get("right"),
        rack_travel=np.array([car.rack.travel]),
        rack_per_turn=np.array([car.rack.per_turn]),
        stud_lever=np.full(1, np.nan),
        fittings=car_fittings(car, {}),
        obstacles=obstacles_of(car),
        channels=Channels.plain(channels, 1),
        price=np.zeros(1),
    )

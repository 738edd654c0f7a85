"""Invented strut cars for the tests: unlike one another on purpose, none of them a real car.

Points are in millimetres in left-hand car axes (x forward, y left, z up), origin on the ground below
the front wheel centres, at the measured ride height.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kinematics import corner as c
from kinematics.arrays import Floats
from kinematics.channels import Channels
from kinematics.fittings import Circle, Fittings
from kinematics.joints import Joints, MountJoint, StudJoint
from kinematics.scene import CarNumbers, DutyFrame, Scene
from kinematics.struts import MeasuredStrut

UPRIGHT = StudJoint((0.0, 0.0, 1.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True)
class Car:
    """One invented car: what a car file would say, in plain numbers (mm, deg)."""

    name: str
    about: str
    points: dict[str, tuple[float, float, float]]
    toe: float
    camber: float
    inset: float  # from hub face outward to the wheel centre
    loaded_radius: float
    wheelbase: float
    rack_travel: float
    cg_height: float = 500.0
    rack_ahead: bool = False
    usual: bool = True  # proportions of a common road car: the rules of the trade are about these

    def vectors(self) -> dict[str, Floats]:
        """The points as arrays."""
        return {name: np.array(point) for name, point in self.points.items()}

    def moved(self, **shifts: tuple[float, float, float]) -> Car:
        """The same car with named points shifted in car axes."""
        points = dict(self.points)
        for name, shift in shifts.items():
            x, y, z = points[name]
            points[name] = (x + shift[0], y + shift[1], z + shift[2])
        return replace(self, points=points)


def corners(car: Car) -> c.Corners:
    """The car's left corner for the code under test."""
    return c.measured_corner(car.vectors(), car.toe, car.camber, car.inset, car.loaded_radius)


def geometry(car: Car) -> Floats:
    """Kernel columns (rows, 1) with the tie rod as measured."""
    measured = corners(car)
    columns = c.pack(measured)
    c.set_measured_rods(columns, measured, car.toe, car.camber)
    return columns


def scene_of(
    car: Car, left: Floats, right: Floats | None = None, frame: DutyFrame | None = None
) -> Scene:
    """A scene of ready columns (rows, n) with this car's numbers."""
    lanes = left.shape[1]
    numbers = CarNumbers(
        wheelbase=car.wheelbase,
        ground_z=0.0,
        cg_height=car.cg_height,
        front_share=0.53,
        rear_roll_centre=130.0,
    )
    return Scene(
        car=numbers,
        frame=frame or DutyFrame(),
        left=left,
        right=right,
        rack_travel=np.full(lanes, car.rack_travel),
        rack_per_turn=np.full(lanes, 44.0),
        stud_lever=np.zeros(lanes),
        channels=Channels.plain({"left": _channels(car, lanes)}, lanes),
        fittings=_fittings(car),
        price=np.zeros(lanes),
    )


# Numbers of an invented wheel on an invented hub, of its tyre, and of the strut's stroke.
NUMBERS = {
    "tyre.width": 205.0,
    "wheel.spacer": 5.0,
    "hub.bolts": 5.0,
    "hub.pitch_circle": 108.0,
    "hub.spigot": 63.4,
    "hub.stud_length": 38.0,
    "hub.stud_diameter": 12.0,
    "hub.stud_pitch": 1.5,
    "hub.engagement": 18.0,
    "wheel.bolts": 4.0,
    "wheel.pitch_circle": 100.0,
    "wheel.bore": 63.4,
    "wheel.pad": 11.0,
    "strut.bump": 62.0,
    "strut.droop": 55.0,
}


def _channels(car: Car, lanes: int) -> dict[str, Floats]:
    stock = corners(car)
    numbers = {**NUMBERS, "tyre.diameter": 2.0 * car.loaded_radius + 20.0}
    points = {"hub_face": np.zeros((3, 1)), "knuckle_ball_joint": stock.knuckle_ball_joint}
    if isinstance(stock.upper, c.Strut):
        points |= {
            "top_mount": stock.upper.top_mount,
            "strut_lower": stock.upper.lower,
            "strut_upper": stock.upper.lower + 500.0 * stock.upper.direction,
        }
    return {
        **{name: np.full(lanes, value) for name, value in numbers.items()},
        **{name: np.repeat(point, lanes, axis=1) for name, point in points.items()},
    }


def measured_strut(car: Car) -> MeasuredStrut:
    """The strut as the car's points lie."""
    p = car.vectors()
    along = p["top_mount"] - p["strut_lower"]
    length = float(np.linalg.norm(along))
    x, y, z = (float(v) for v in along / length)
    return MeasuredStrut((x, y, z), length)


def _fittings(car: Car) -> Fittings:
    known = Fittings(
        joints=Joints(UPRIGHT, True, UPRIGHT, upper_ball_joint=UPRIGHT),
        barrel=((0.0, 70.0), (-14.0, 90.0), (-14.0, 140.0), (6.0, 168.0), (120.0, 176.0)),
        caliper=((-12.0, 95.0), (-12.0, 140.0), (70.0, 152.0), (70.0, 90.0)),
        arch_x=2.0,
    )
    if "top_mount" not in car.points:
        return known
    strut = measured_strut(car)
    top = MountJoint({"left": strut.direction, "right": strut.direction})
    x, y, _ = car.points["top_mount"]
    return replace(
        known,
        joints=Joints(UPRIGHT, True, UPRIGHT, top_mount=top),
        outline=Circle((x + 4.0, y), 20.0),
        struts={"left": strut, "right": strut},
    )


MIDDLING = Car(
    name="Wendle (invented)",
    about="middling rear-drive saloon, rack behind the axle",
    points={
        "arm_front": (92.0, 362.0, 206.0),
        "arm_rear": (-208.0, 356.0, 203.0),
        "ball_joint": (4.0, 688.0, 183.0),
        "top_mount": (-38.0, 578.0, 842.0),
        "strut_lower": (-8.0, 660.0, 330.0),
        "tie_rod_outer": (-122.0, 662.0, 204.0),
        "tie_rod_inner": (-131.0, 318.0, 226.0),
        "hub_face": (0.0, 738.0, 288.0),
    },
    toe=0.05,
    camber=-0.7,
    inset=-30.0,
    loaded_radius=288.0,
    wheelbase=2480.0,
    rack_travel=66.0,
)

AHEAD = Car(
    name="Corriel (invented)",
    about="rack ahead of the axle, wide-based arm",
    points={
        "arm_front": (64.0, 340.0, 188.0),
        "arm_rear": (-246.0, 372.0, 196.0),
        "ball_joint": (-6.0, 702.0, 171.0),
        "top_mount": (-62.0, 590.0, 828.0),
        "strut_lower": (-20.0, 668.0, 352.0),
        "tie_rod_outer": (121.0, 716.0, 185.0),
        "tie_rod_inner": (128.0, 352.0, 200.0),
        "hub_face": (0.0, 752.0, 296.0),
    },
    toe=-0.05,
    camber=-1.0,
    inset=-24.0,
    loaded_radius=296.0,
    wheelbase=2610.0,
    rack_travel=68.0,
    rack_ahead=True,
)

SMALL = Car(
    name="Pipkin (invented)",
    about="very small town car, short arm, rack behind the axle",
    points={
        "arm_front": (18.0, 286.0, 176.0),
        "arm_rear": (-236.0, 318.0, 180.0),
        "ball_joint": (2.0, 566.0, 158.0),
        "top_mount": (-22.0, 470.0, 702.0),
        "strut_lower": (-6.0, 541.0, 300.0),
        "tie_rod_outer": (-96.0, 546.0, 182.0),
        "tie_rod_inner": (-104.0, 266.0, 198.0),
        "hub_face": (0.0, 614.0, 246.0),
    },
    toe=0.1,
    camber=0.2,
    inset=-20.0,
    loaded_radius=246.0,
    wheelbase=2050.0,
    rack_travel=54.0,
    cg_height=520.0,
)

LARGE = Car(
    name="Thornmoor (invented)",
    about="large estate on big wheels, rack behind the axle",
    points={
        "arm_front": (120.0, 402.0, 250.0),
        "arm_rear": (-262.0, 390.0, 238.0),
        "ball_joint": (10.0, 792.0, 216.0),
        "top_mount": (-74.0, 656.0, 936.0),
        "strut_lower": (-16.0, 752.0, 420.0),
        "tie_rod_outer": (-146.0, 762.0, 244.0),
        "tie_rod_inner": (-160.0, 366.0, 272.0),
        "hub_face": (0.0, 848.0, 342.0),
    },
    toe=0.0,
    camber=-0.4,
    inset=-22.0,
    loaded_radius=342.0,
    wheelbase=2920.0,
    rack_travel=78.0,
    cg_height=610.0,
)

LOWERED = Car(
    name="Sidlaw (invented)",
    about="lowered, short steering arm and long rack for high steering angle, much caster",
    points={
        "arm_front": (70.0, 352.0, 160.0),
        "arm_rear": (-218.0, 346.0, 152.0),
        "ball_joint": (16.0, 722.0, 128.0),
        "top_mount": (-88.0, 566.0, 796.0),
        "strut_lower": (-10.0, 682.0, 292.0),
        "tie_rod_outer": (-64.0, 706.0, 148.0),
        "tie_rod_inner": (-58.0, 320.0, 176.0),
        "hub_face": (0.0, 760.0, 292.0),
    },
    toe=-0.1,
    camber=-3.5,
    inset=-12.0,
    loaded_radius=292.0,
    wheelbase=2460.0,
    rack_travel=52.0,
    cg_height=455.0,
    usual=False,
)

INCLINED = Car(
    name="Garrowby (invented)",
    about="arm pivots strongly inclined in side and plan view against dive, rack behind the axle",
    points={
        "arm_front": (150.0, 330.0, 250.0),
        "arm_rear": (-190.0, 410.0, 158.0),
        "ball_joint": (8.0, 700.0, 186.0),
        "top_mount": (-54.0, 586.0, 856.0),
        "strut_lower": (-12.0, 664.0, 344.0),
        "tie_rod_outer": (-128.0, 674.0, 214.0),
        "tie_rod_inner": (-150.0, 336.0, 230.0),
        "hub_face": (0.0, 746.0, 302.0),
    },
    toe=0.08,
    camber=-1.2,
    inset=-18.0,
    loaded_radius=302.0,
    wheelbase=2550.0,
    rack_travel=64.0,
)

OFF_LINE = Car(
    name="Brackwater (invented)",
    about="ball joint well outboard and ahead of the strut's line, rack ahead of the axle",
    points={
        "arm_front": (84.0, 372.0, 214.0),
        "arm_rear": (-196.0, 352.0, 200.0),
        "ball_joint": (18.0, 726.0, 184.0),
        "top_mount": (-30.0, 588.0, 850.0),
        "strut_lower": (-22.0, 640.0, 360.0),
        "tie_rod_outer": (136.0, 738.0, 200.0),
        "tie_rod_inner": (142.0, 366.0, 222.0),
        "hub_face": (0.0, 756.0, 300.0),
    },
    toe=0.0,
    camber=-0.9,
    inset=-4.0,
    loaded_radius=300.0,
    wheelbase=2700.0,
    rack_travel=66.0,
    rack_ahead=True,
)

CARS = (MIDDLING, AHEAD, SMALL, LARGE, LOWERED, INCLINED, OFF_LINE)
USUAL = tuple(car for car in CARS if car.usual)

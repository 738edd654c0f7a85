"""What a build fits to the car beside its geometry, and the gates that follow from what is told of it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from goals.car import Car, TopMountOutline
from goals.car import Joints as JointModels
from goals.parts import Part, PartJoint, Station, WheelData
from goals.verdicts import (
    Demand,
    caliper_gate,
    hub_gate,
    outline_gate,
    stroke_gate,
    tilt_gates,
    wheel_stud_gate,
)
from kinematics.arrays import Floats
from kinematics.corner import knuckle_frame
from kinematics.fittings import Circle, Fittings, Polygon
from kinematics.joints import Joints, MountJoint, StudJoint
from kinematics.struts import MeasuredStrut
from kinematics.wheels import LEAST_ENGAGEMENT, Profile
from optimiser.channels import UNFILLED

Parts = Mapping[Station, Part]
Vector = tuple[float, float, float]


def fittings(car: Car, parts: Parts, points: Mapping[str, dict[str, Floats]]) -> Fittings:
    """What the car is fitted with when it carries these parts.

    ``points`` is side → name → measured point (3,) in left-hand axes.
    """
    struts = {side: _strut(named) for side, named in points.items() if "strut_lower" in named}
    return Fittings(
        joints=_joints(car, parts, struts),
        barrel=_barrel(car, parts),
        caliper=_caliper(car, parts),
        outline=_outline(car.top_mount_outline),
        arch_x=None if car.arch is None else car.arch.centre_x,
        struts=struts,
        stacks=tuple(
            UNFILLED[station]
            for station, part in parts.items()
            if part.stack is not None and part.stack.usable is not None
        ),
    )


def tilt_limits(car: Car, parts: Parts) -> dict[str, float]:
    """Joint → how far it may tilt in this build, its maker's limit less the reserve, deg."""
    said = _carried(car, parts)
    return {name: joint.tilt - joint.reserve for name, joint in said.items()}


def gates(car: Car, parts: Parts, numbers: Mapping[str, Floats], fitted: Fittings) -> list[Demand]:
    """The gates of a build, each where all that it needs is told.

    ``numbers`` are the build's channels with nothing set yet.
    """
    told = {name for name, value in numbers.items() if np.isfinite(value).all()}
    found = tilt_gates(tilt_limits(car, parts))
    bolts = {"hub.bolts", "hub.pitch_circle", "wheel.bolts", "wheel.pitch_circle"}
    if bolts <= told or {"hub.spigot", "wheel.bore"} <= told:
        found.append(hub_gate())
    least = least_engagement(numbers)
    if {"hub.stud_length", "wheel.pad"} <= told and least is not None:
        found.append(wheel_stud_gate(least))
    if fitted.barrel is not None and fitted.caliper is not None:
        found.append(caliper_gate())
    if told & {"strut.bump", "strut.droop"}:
        found.append(stroke_gate())
    if fitted.outline is not None:
        found.append(outline_gate())
    return found


def least_engagement(numbers: Mapping[str, Floats]) -> float | None:
    """Least thread of a wheel stud in its nut, mm; None where neither it nor the diameter is told."""
    for name, factor in (("hub.engagement", 1.0), ("hub.stud_diameter", LEAST_ENGAGEMENT)):
        value = float(numbers[name])
        if np.isfinite(value):
            return factor * value
    return None


def _carried(car: Car, parts: Parts) -> dict[str, PartJoint]:
    """Joints of a build: the car file's, and in their place what parts carry, the last station's first.

    Axes are as each file has them: see :func:`_joints`. A part's joint without an axis has none here.
    """
    found: dict[str, PartJoint] = {}
    for carrier in (car.joints, *(part.joints for part in parts.values())):
        for name in () if carrier is None else type(carrier).model_fields:
            joint = getattr(carrier, name)
            if joint is not None:
                found[name] = PartJoint(tilt=joint.tilt, reserve=joint.reserve)
    return found


def _joints(car: Car, parts: Parts, struts: Mapping[str, MeasuredStrut]) -> Joints:
    said = _carried(car, parts)
    top = None
    if "top_mount" in said and struts:
        middle = _axis(car, parts, "top_mount")
        top = MountJoint(
            {
                side: strut.direction if middle is None else _unit(middle)
                for side, strut in struts.items()
            }
        )
    return Joints(
        tie_rod_outer=_stud(car, parts, "tie_rod_outer") if "tie_rod_outer" in said else None,
        tie_rod_inner="tie_rod_inner" in said,
        ball_joint=_stud(car, parts, "ball_joint") if "ball_joint" in said else None,
        upper_ball_joint=_stud(car, parts, "upper_ball_joint")
        if "upper_ball_joint" in said
        else None,
        top_mount=top,
    )


def _stud(car: Car, parts: Parts, name: str) -> StudJoint:
    """A stud fixed in the knuckle: a part gives its direction there, the car file in car axes."""
    frame = knuckle_frame(car.static.toe, car.static.camber)
    own = _part_axis(parts, name)
    if own is not None:
        knuckle = np.asarray(_unit(own))
        body = frame @ knuckle
    else:
        body = np.asarray(_unit(_car_axis(car.joints, name) or (0.0, 0.0, 1.0)))
        knuckle = frame.T @ body
    return StudJoint(_vector(knuckle), _vector(body))


def _axis(car: Car, parts: Parts, name: str) -> Vector | None:
    return _part_axis(parts, name) or _car_axis(car.joints, name)


def _part_axis(parts: Parts, name: str) -> Vector | None:
    """The direction that the last part to give one for a joint gives."""
    axis = None
    for part in parts.values():
        joint = None if part.joints is None else getattr(part.joints, name)
        if joint is not None and joint.axis is not None:
            axis = joint.axis
    return axis


def _car_axis(joints: JointModels | None, name: str) -> Vector | None:
    joint = None if joints is None else getattr(joints, name)
    return None if joint is None else joint.axis


def _unit(direction: Vector) -> Vector:
    return _vector(np.asarray(direction) / np.linalg.norm(direction))


def _vector(values: Floats) -> Vector:
    x, y, z = (float(v) for v in values)
    return x, y, z


def _strut(points: Mapping[str, Floats]) -> MeasuredStrut:
    along = points["top_mount"] - points["strut_lower"]
    length = float(np.linalg.norm(along))
    return MeasuredStrut(_vector(along / length), length)


def _barrel(car: Car, parts: Parts) -> Profile | None:
    """The inside of the wheel that is on; a wheel of another shape is not known by the one before it."""
    barrel = car.wheel.barrel
    for part in parts.values():
        said = None if part.sets is None else part.sets.wheel
        if said is not None and (said.barrel is not None or _of_another_shape(said)):
            barrel = said.barrel
    return None if barrel is None else tuple(barrel)


def _of_another_shape(wheel: WheelData) -> bool:
    return wheel.offset is not None or wheel.width is not None


def _caliper(car: Car, parts: Parts) -> Profile | None:
    profile = None if car.brake is None else car.brake.profile
    for part in parts.values():
        if part.sets is not None and part.sets.brake is not None:
            profile = part.sets.brake.profile or profile
    return None if profile is None else tuple(profile)


def _outline(said: TopMountOutline | None) -> Circle | Polygon | None:
    if said is None:
        return None
    if said.polygon is not None:
        return Polygon(tuple(said.polygon))
    assert said.centre is not None and said.radius is not None
    return Circle(said.centre, said.radius)

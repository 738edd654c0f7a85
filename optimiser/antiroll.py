"""From the car file's anti-roll bar to what the model of it needs: channels, and what carries the link."""

from __future__ import annotations

import numpy as np

from goals.car import AntirollBar, Car
from kinematics.arrays import Floats
from kinematics.bar_link import Mount
from kinematics.bars import Bar
from kinematics.scene import Side
from optimiser.channels import BAR_NUMBERS

MIRROR = np.array([1.0, -1.0, 1.0])


def has_geometry(car: Car) -> bool:
    """Whether the car file tells the bar's points, so that its linkage is solved."""
    return car.antiroll_bar is not None and car.antiroll_bar.link_on is not None


def has_right(car: Car) -> bool:
    """Whether the bar's right side is told to differ from the mirrored left one."""
    bar = car.antiroll_bar
    return bar is not None and bar.right is not None and any(bar.right.model_dump().values())


def corner_heights(car: Car) -> tuple[float, float]:
    """Left and right wheel's travel at which the car stands, mm."""
    bar = car.antiroll_bar
    if bar is None or bar.corner_heights is None:
        return (0.0, 0.0)
    return (bar.corner_heights.left, bar.corner_heights.right)


def antiroll_bar(car: Car) -> Bar | None:
    """The front anti-roll bar as the car file gives it; None where it gives none.

    Where its points are given, its motion ratio is solved and not told here.
    """
    bar = car.antiroll_bar
    if bar is None:
        return None
    arm = bar.arm
    if bar.pivot is not None and bar.end is not None:
        arm = float(np.hypot(bar.end[0] - bar.pivot[0], bar.end[2] - bar.pivot[2]))
    assert arm is not None
    ratio = np.nan if has_geometry(car) or bar.motion_ratio is None else bar.motion_ratio
    return Bar(
        diameter=bar.diameter,
        bore=bar.bore,
        length=bar.length,
        arm=arm,
        arm_length=arm if bar.arm_length is None else bar.arm_length,
        motion_ratio=ratio,
    )


def bar_mount(
    car: Car, hub: Floats, frame: Floats, strut: tuple[Floats, Floats] | None
) -> Mount:  # fmt: skip
    """What carries the link, as measured.

    Args:
        hub: hub face as measured, (3,) mm in left-hand axes.
        frame: (3, 3), the knuckle's frame as measured.
        strut: lower and upper point on the strut, likewise; None where the car has none.
    """
    assert car.antiroll_bar is not None and car.antiroll_bar.link_on is not None
    carrier = car.antiroll_bar.link_on
    if carrier == "arm":
        return Mount(carrier, np.zeros(3), np.eye(3))
    if strut is None:
        return Mount(carrier, hub, frame)
    lower, upper = strut
    along = frame.T @ (upper - lower)
    return Mount(carrier, hub, frame, frame.T @ (lower - hub), along / np.linalg.norm(along))


def bar_channels(bar: AntirollBar, side: Side, mount: Mount | None) -> dict[str, Floats]:
    """Channels of the bar as measured: numbers (), and points (3,) where they are told."""
    numbers = bar.model_dump()
    found: dict[str, Floats] = {}
    for channel in BAR_NUMBERS:
        given = numbers.get(channel.partition(".")[2])
        # an arm whose own length is not told is as long as its lever, whatever hole that is at
        found[channel] = np.array(np.nan if given is None else given)
    if mount is None:
        return found
    points = _points(bar, side)
    found["bar_pivot"], found["bar_end"] = points["pivot"], points["end"]
    found["bar_link"] = mount.frame.T @ (points["link"] - mount.origin)
    length = np.linalg.norm(points["link"] - points["end"])
    found["antiroll_bar.link_length"] = np.array(length)
    return found


def _points(bar: AntirollBar, side: Side) -> dict[str, Floats]:
    """The bar's points of one side in left-hand axes, mm."""
    points = {name: np.array(getattr(bar, name), dtype=float) for name in ("pivot", "end", "link")}
    if side == "right" and bar.right is not None:
        for name, value in bar.right.model_dump().items():
            if value is not None:
                points[name] = np.array(value) * MIRROR
    return points

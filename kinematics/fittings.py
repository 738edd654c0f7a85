"""What a build fits to a car beside its geometry: joints, wheel and caliper, strut, body outlines.

None of it differs between the lanes of a scene; numbers that settings can change are in its channels.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from kinematics.arrays import Ints
from kinematics.joints import Joints
from kinematics.struts import MeasuredStrut
from kinematics.wheels import Profile


@dataclass(frozen=True)
class Circle:
    """A circle in plan view, left-hand car axes, mm."""

    centre: tuple[float, float]
    radius: float


@dataclass(frozen=True)
class Polygon:
    """A closed outline in plan view, left-hand car axes, mm."""

    corners: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Fittings:
    """What is known of a build's fittings; None, or empty, where the files say nothing.

    ``barrel`` is the wheel's inside and ``caliper`` the caliper's outline, see ``kinematics/wheels.py``.
    ``outline`` bounds the top mount in plan view, ``arch_x`` is the wheel arch's centre along the car.
    ``struts`` is side → strut as measured. ``stacks`` names the channels that hold what each stack leaves
    unfilled of its stud.
    """

    joints: Joints = field(default_factory=Joints)
    barrel: Profile | None = None
    caliper: Profile | None = None
    outline: Circle | Polygon | None = None
    arch_x: float | None = None
    struts: Mapping[str, MeasuredStrut] = field(default_factory=dict)
    stacks: tuple[str, ...] = ()

    def take(self, lanes: Ints) -> Fittings:
        """The fittings of the given lanes."""
        if all(isinstance(strut.length, float) for strut in self.struts.values()):
            return self
        struts = {
            side: replace(strut, length=np.asarray(strut.length)[lanes])
            for side, strut in self.struts.items()
        }
        return replace(self, struts=struts)

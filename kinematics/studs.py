"""Bending of the stud that a joint stands on, from the lever arm of the stack under it.

The joint's load acts square to the stud at the joint's centre; the stud is a cantilever from the face of
the arm it is clamped to. Rigid clamping, no help from the stack's own stiffness, no stress raiser beyond the
thread's root: a handbook figure to compare with a handbook allowable.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinematics.arrays import Floats


def bending_stress(load: float, lever: Floats, diameter: float) -> Floats:
    """Largest bending stress of a round section, MPa: 32 F l / (pi d^3).

    ``load`` N, ``lever`` mm (any shape), ``diameter`` mm; at a thread that is its root diameter.
    """
    return np.asarray(32.0 * load * np.abs(lever) / (np.pi * diameter**3))


@dataclass(frozen=True)
class Stud:
    """A stud with its design load (N), root diameter (mm) and allowable bending stress (MPa)."""

    load: float
    root: float
    allowable: float

"""Vectors of many lanes: arrays (3, ...), the axes behind the first broadcast against one another.

The sums go in one order whatever the arrays' shapes, so a lane's bits do not hang on its neighbours. On few
lanes numpy's own forms cost several times as much as the work on them.
"""

from __future__ import annotations

import numpy as np

from kinematics.arrays import Floats


def cross(a: Floats, b: Floats) -> Floats:
    """Vector products, (3, ...)."""
    x = a[1] * b[2] - a[2] * b[1]
    found = np.empty((3, *x.shape))
    found[0] = x
    found[1] = a[2] * b[0] - a[0] * b[2]
    found[2] = a[0] * b[1] - a[1] * b[0]
    return found


def dot(a: Floats, b: Floats) -> Floats:
    """Scalar products, (...)."""
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


def square(v: Floats) -> Floats:
    """Squared lengths, (...)."""
    return dot(v, v)


def length(v: Floats) -> Floats:
    """Lengths, (...)."""
    return np.asarray(np.sqrt(dot(v, v)))

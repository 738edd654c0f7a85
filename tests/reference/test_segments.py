"""Distance between straight pieces against a general collision library, and by hand."""

from __future__ import annotations

import fcl
import numpy as np
import pytest

from kinematics.arrays import Floats
from kinematics.segments import segment_distance


def capsule(a: Floats, b: Floats, radius: float) -> fcl.CollisionObject:
    """A tube from a to b as the library has it: along z about its middle."""
    length = float(np.linalg.norm(b - a))
    z = (b - a) / length
    x = np.cross(z, [1.0, 0.0, 0.0] if abs(z[0]) < 0.9 else [0.0, 1.0, 0.0])
    x /= np.linalg.norm(x)
    turn = np.column_stack([x, np.cross(z, x), z])
    return fcl.CollisionObject(fcl.Capsule(radius, length), fcl.Transform(turn, 0.5 * (a + b)))


def test_random_pieces_against_a_collision_library() -> None:
    """Thin tubes: the library's distance and their radii make that of the middle lines, to 0.01 mm."""
    rng = np.random.default_rng(5)
    ends = rng.uniform(-300.0, 300.0, (4, 3, 400))
    found = segment_distance(*ends)
    compared = 0
    for n in range(400):
        a, b, c, d = (end[:, n] for end in ends)
        result = fcl.DistanceResult()
        gap = fcl.distance(capsule(a, b, 1.0), capsule(c, d, 1.0), fcl.DistanceRequest(), result)
        if gap > 0.0:
            compared += 1
            assert found[n] == pytest.approx(gap + 2.0, abs=0.01)
    assert compared > 300


@pytest.mark.parametrize(
    ("ends", "distance"),
    [
        # crossing at a right angle, 5 above each other
        (((-1, 0, 0), (1, 0, 0), (0, -1, 5), (0, 1, 5)), 5.0),
        # parallel side by side, and parallel one behind the other: 3, 4, 5
        (((0, 0, 0), (10, 0, 0), (2, 7, 0), (8, 7, 0)), 7.0),
        (((0, 0, 0), (10, 0, 0), (13, 4, 0), (20, 4, 0)), 5.0),
        # an end over the other's middle, and two ends
        (((0, 0, 0), (10, 0, 0), (5, 0, 2), (5, 0, 9)), 2.0),
        (((0, 0, 0), (1, 0, 0), (4, 4, 0), (9, 9, 0)), 5.0),
        # a point beside a piece
        (((3, 3, 0), (3, 3, 0), (0, 0, 0), (10, 0, 0)), 3.0),
    ],
)
def test_by_hand(ends: tuple[tuple[float, float, float], ...], distance: float) -> None:
    a, b, c, d = (np.array(end, dtype=float)[:, None] for end in ends)
    assert float(segment_distance(a, b, c, d)[0]) == pytest.approx(distance)
    assert float(segment_distance(d, c, b, a)[0]) == pytest.approx(distance)

"""From obstacles as they are written to pieces that the tyre is measured against."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import pairwise

import numpy as np

from goals.car import Car, StrutPoints
from goals.obstacles import Arch, Ball, Box, Capsule, Carrier, Chain, HardPoint, Obstacle, Plane
from kinematics import tyre
from kinematics.arrays import Floats
from kinematics.corner import knuckle_frame
from kinematics.obstacles import NOWHERE, Obstacles, Piece, Spot, Vector
from optimiser.space import Build

# An arch's straight pieces lie inside its arc by no more than this, mm: towards the wheel under it.
ARCH_ERROR = 0.2
CARRIERS = {
    Carrier.BODY: tyre.BODY,
    Carrier.ARM: tyre.ARM,
    Carrier.KNUCKLE: tyre.KNUCKLE,
    Carrier.STRUT: tyre.STRUT,
    Carrier.TIE_ROD: tyre.TIE_ROD,
    # everything on the bar hangs on its points, which are told in body axes
    Carrier.BAR: tyre.BODY,
}
# Which carriers a parts file's coordinates are written in the knuckle's own frame for.
IN_KNUCKLE = frozenset({Carrier.KNUCKLE, Carrier.STRUT})

# Turns a written point, or a written direction, into a carrier's axes.
Turn = Callable[[Vector], Vector]


def obstacles_of(car: Car, build: Build | None = None) -> Obstacles | None:
    """The obstacles of the car and of a build's parts, which take the place of the car's by name.

    None where nothing is declared.
    """
    parts = [] if build is None else list(build.parts.values())
    brought = [one for part in parts for one in part.obstacles]
    names = {one.name for one in brought}
    own = [one for one in car.obstacles or () if one.name not in names]
    if not own and not brought:
        return None
    packer = _Packer(car)
    pieces: list[Piece] = []
    for number, one in enumerate([*own, *brought]):
        pieces += packer.pieces(one, number, in_car=number < len(own))
    everything = [*own, *brought]
    struts = any(one.on is Carrier.STRUT for one in everything)
    return Obstacles(
        names=tuple(one.name for one in everything),
        pieces=tuple(pieces),
        rods=_on(everything, Carrier.TIE_ROD),
        bars=_on(everything, Carrier.BAR),
        arms=_on(everything, Carrier.ARM),
        strut=packer.strut(car) if struts else None,
    )


def _on(obstacles: list[Obstacle], carrier: Carrier) -> frozenset[int]:
    return frozenset(n for n, one in enumerate(obstacles) if one.on is carrier)


def arc_points(one: Vector, two: Vector, three: Vector, error: float = ARCH_ERROR) -> list[Vector]:
    """Points on the arc from ``one`` through ``two`` to ``three``; chords between them are off by ``error``.

    A chord over the angle 2a of a circle of radius r lies inside its arc by r (1 - cos a) at most.
    """
    a, b, c = (np.array(point) for point in (one, two, three))
    centre, radius = _circle(a, b, c)
    x = (a - centre) / radius
    normal = np.cross(b - a, c - b)
    y = np.cross(normal / np.linalg.norm(normal), x)
    sweep = float(np.arctan2((c - centre) @ y, (c - centre) @ x)) % (2.0 * np.pi)
    step = 2.0 * np.arccos(1.0 - min(error / radius, 1.0))
    angles = np.linspace(0.0, sweep, int(np.ceil(sweep / step)) + 1)
    return [_vector(centre + radius * (np.cos(t) * x + np.sin(t) * y)) for t in angles]


def _circle(a: Floats, b: Floats, c: Floats) -> tuple[Floats, float]:
    """Centre and radius of the circle through three points (barycentric form of the circumcentre)."""
    ab, ac = b - a, c - a
    normal = np.cross(ab, ac)
    to_centre = (
        np.cross(normal, ab) * (ac @ ac) + np.cross(ac, normal) * (ab @ ab)
    ) / (2.0 * (normal @ normal))  # fmt: skip
    return a + to_centre, float(np.linalg.norm(to_centre))


def _vector(array: Floats) -> Vector:
    x, y, z = (float(v) for v in array)
    return x, y, z


class _Packer:
    """Turns written obstacles into pieces, with the axes of one car."""

    def __init__(self, car: Car) -> None:
        self._hub = np.array(car.points.hub_face)
        self._knuckle = knuckle_frame(car.static.toe, car.static.camber)
        self._inner = np.array(car.points.tie_rod_inner)
        self._rod = rod_frame(np.array(car.points.tie_rod_outer) - self._inner)

    def in_knuckle(self, point: Vector) -> Vector:
        """A point in car axes as measured, in the knuckle's own frame from the stock hub face."""
        return _vector(self._knuckle.T @ (np.array(point) - self._hub))

    def strut(self, car: Car) -> tuple[Vector, Vector] | None:
        """Two points of the strut's sliding axis in the knuckle; None on a car without struts."""
        points = car.points
        if not isinstance(points, StrutPoints):
            return None
        return self.in_knuckle(points.strut_lower), self.in_knuckle(points.top_mount)

    def pieces(self, one: Obstacle, owner: int, in_car: bool) -> list[Piece]:
        """The pieces of one obstacle; ``in_car`` tells the car file's from a part's."""
        carrier = CARRIERS[one.on]
        point, direction = self._turns(one.on, in_car)

        def spot(place: Vector | HardPoint) -> Spot:
            if isinstance(place, HardPoint):
                return Spot.hard_point(place.value)
            return Spot(carrier, point(place))

        if isinstance(one, Plane):
            normal = direction(one.normal)
            # a plane through a hard point goes where that goes, and turns as its own carrier does
            axes = (normal, NOWHERE, NOWHERE)
            return [Piece(tyre.PLANE, owner, spot(one.point), Spot(carrier), axes=axes)]
        if isinstance(one, Box):
            low, high = np.array(one.low), np.array(one.high)
            at = Spot(carrier, point(_vector(0.5 * (low + high))))
            x, y, z = (direction(_vector(axis)) for axis in np.eye(3))
            size = _vector(0.5 * (high - low))
            return [Piece(tyre.BOX, owner, at, at, axes=(x, y, z), size=size)]
        spots = [spot(place) for place in _line(one)]
        if len(spots) == 1:
            spots *= 2
        return [Piece(tyre.SEGMENT, owner, a, b, one.radius) for a, b in pairwise(spots)]

    def _turns(self, on: Carrier, in_car: bool) -> tuple[Turn, Turn]:
        """What turns written points and written directions into the carrier's axes."""
        if on in IN_KNUCKLE and in_car:
            return self.in_knuckle, lambda d: _unit(self._knuckle.T @ np.array(d))
        if on is Carrier.TIE_ROD:
            return (
                lambda p: _vector(self._rod.T @ (np.array(p) - self._inner)),
                lambda d: _unit(self._rod.T @ np.array(d)),
            )
        return (lambda p: p), (lambda d: _unit(np.array(d)))


def _line(one: Capsule | Chain | Ball | Arch) -> Iterable[Vector | HardPoint]:
    """The middle line of a tube, point by point; one point of a ball."""
    if isinstance(one, Capsule):
        return one.ends
    if isinstance(one, Chain):
        return one.points
    if isinstance(one, Ball):
        return [one.point]
    return arc_points(*one.points)


def rod_frame(rod: Floats) -> Floats:
    """Axes of a tie rod (3,) from inner to outer joint, as columns: along it, level, and upward."""
    x = rod / np.linalg.norm(rod)
    level = np.array([-x[1], x[0], 0.0]) / np.hypot(x[0], x[1])
    return np.column_stack([x, level, np.cross(x, level)])


def _unit(direction: Floats) -> Vector:
    return _vector(direction / np.linalg.norm(direction))

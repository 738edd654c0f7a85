"""Which measured coordinate a slip of the tape would explain, beyond its measuring error.

A slip of size d in coordinate i moves the predictions by a d, a being their slope. With S the covariance
that reading errors and ordinary measuring errors give the residuals r, the best d is (a' S^-1 r) /
(a' S^-1 a), its standard deviation (a' S^-1 a)^-1/2, and chi-square falls by (a' S^-1 r)^2 / (a' S^-1 a).
That is Baarda's data snooping ("A testing procedure for use in geodetic networks", 1968, from memory); a slip
that the readings cannot see has a large standard deviation, told before any reading is looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from kinematics.arrays import Floats
from optimiser.fit import SURE, Fit, Model, fit
from optimiser.point_space import Coordinate

# A slip that readings can see is found this often where it is there.
POWER = 0.95
# Two suspects whose chi-squares are nearer than this are not told apart (1 % of one degree of freedom).
ALIKE = 6.63
# Standard deviation of a coordinate that is set free: as good as no measurement, mm and deg.
FREE = {"mm": 50.0, "deg": 5.0}
MOST_SUSPECTS = 3
MOST_REFITS = 6
# A slip that ordinary errors give anyway is none: least size, in the coordinate's standard deviations.
LEAST = 3.0


@dataclass(frozen=True)
class Slip:
    """One coordinate suspected: by how much it is off as written (written less true), and how sure.

    ``drop`` is what chi-square falls by when the coordinate is set free.
    """

    coordinate: Coordinate
    off: float
    deviation: float
    drop: float


@dataclass(frozen=True)
class Suspicion:
    """A slip that the readings show; several ``slips`` where they are not told apart, likeliest first.

    ``chi_square`` is what is left with the first set free.
    """

    slips: tuple[Slip, ...]
    chi_square: float


@dataclass(frozen=True)
class Sight:
    """How well the readings see slips of each coordinate, by the linear model; (coordinates,) each.

    ``deviation`` is that of an estimated slip, mm or deg; ``alike`` (c, c) how alike two slips look, -1 to 1.
    """

    deviation: Floats
    alike: Floats

    def sees(self, size: float) -> Floats:
        """Which coordinates' slips of a size would be found at the chance of ``POWER``, (coordinates,)."""
        return np.asarray(
            size / self.deviation >= threshold(self.deviation.size) + float(ndtri(POWER))
        )

    @property
    def least(self) -> Floats:
        """The least slip of each coordinate that would be found so, (coordinates,)."""
        return np.asarray(self.deviation * (threshold(self.deviation.size) + float(ndtri(POWER))))


def threshold(tries: int) -> float:
    """Standard deviations that a slip must be off, with so many coordinates tried."""
    return float(-ndtri(SURE / (2.0 * tries)))


def sight(model: Model) -> Sight:
    """What slips the readings of a model can see."""
    slopes, spread = _all_slopes(model, np.zeros(len(model.space.coordinates)))
    weighed = np.asarray(np.linalg.solve(spread, slopes), dtype=np.float64)
    return _sight(slopes, weighed)


def _sight(slopes: Floats, weighed: Floats) -> Sight:
    normal = slopes.T @ weighed
    with np.errstate(divide="ignore"):
        deviation = 1.0 / np.sqrt(np.maximum(np.diag(normal), 0.0))
    size = np.where(np.isfinite(deviation), deviation, 0.0)
    return Sight(deviation, normal * size[:, None] * size)


def _all_slopes(model: Model, shift: Floats) -> tuple[Floats, Floats]:
    """Slopes by every coordinate, static toe and camber too, and the residuals' covariance."""
    space = model.space
    slopes = model.slopes(shift, np.arange(len(space.coordinates)))
    own = slopes[:, : space.points] * space.sigma
    return slopes, np.diag(model.sigma**2) + own @ own.T


def suspects(found: Fit) -> list[Suspicion]:
    """Coordinates most suspected of a slip, one after the other, the likeliest first.

    After each the likeliest of its group is set free, and the rest is looked at again.
    """
    model = found.model
    listed: list[Suspicion] = []
    freed: list[int] = []
    while found.count and len(listed) < MOST_SUSPECTS:
        suspicion = _suspicion(found, freed)
        if suspicion is None:
            break
        listed.append(suspicion)
        freed.append(model.space.coordinates.index(suspicion.slips[0].coordinate))
        found = _freed(found, freed)
    return listed


def _suspicion(found: Fit, freed: list[int]) -> Suspicion | None:
    """The likeliest slip beyond those freed already, with what is not told apart from it."""
    first = sorted(_linear(found, freed), key=lambda slip: -slip.drop)
    if not first:
        return None
    tries = len(found.model.space.coordinates)
    refitted = []
    for slip in first[:MOST_REFITS]:
        if slip.drop < 0.5 * threshold(tries) ** 2 or slip.drop < 0.5 * first[0].drop:
            break
        refitted.append(_refit(found, freed, slip))
    refitted.sort(key=lambda pair: -pair[0].drop)
    if not refitted or refitted[0][0].drop < threshold(tries) ** 2:
        return None
    best = refitted[0]
    group = [
        slip for slip, _ in refitted if best[0].drop - slip.drop < ALIKE and _is_slip(found, slip)
    ]
    return Suspicion(tuple(group), best[1]) if group else None


def _is_slip(found: Fit, slip: Slip) -> bool:
    space = found.model.space
    at = space.coordinates.index(slip.coordinate)
    usual = space.sigma[at] if at < space.points else 0.0
    return abs(slip.off) > LEAST * usual


def _linear(found: Fit, freed: list[int]) -> Iterator[Slip]:
    """Every coordinate's slip by the linear model about a fit, where the readings see anything of it."""
    model = found.model
    slopes, spread = _all_slopes(model, found.shift)
    for at in freed:
        # a coordinate set free explains whatever it can
        wide = slopes[:, at] * FREE[model.space.coordinates[at].unit]
        spread = spread + np.outer(wide, wide)
    residual = found.after + slopes @ found.shift
    weighed = np.asarray(np.linalg.solve(spread, slopes), dtype=np.float64)
    sees = _sight(slopes, weighed)
    for at, coordinate in enumerate(model.space.coordinates):
        deviation = float(sees.deviation[at])
        if at in freed or not np.isfinite(deviation) or deviation > FREE[coordinate.unit]:
            continue
        size = float(weighed[:, at] @ residual) * deviation**2
        # what is further off than any tape slips is a wrong model, not a slip
        if abs(size) > FREE[coordinate.unit]:
            continue
        # the car as written is off by the slip: the truth is written less that
        yield Slip(coordinate, -size, deviation, (size / deviation) ** 2)


def _widened(found: Fit, freed: list[int]) -> Floats:
    space = found.model.space
    static = len(space.coordinates) - space.points
    wide = np.concatenate([space.sigma, np.zeros(static)])
    for at in freed:
        wide[at] = FREE[space.coordinates[at].unit]
    return wide


def _freed(found: Fit, freed: list[int], start: Floats | None = None) -> Fit:
    """The fit with some coordinates set free."""
    return fit(found.model, _widened(found, freed), start)


def _refit(found: Fit, freed: list[int], slip: Slip) -> tuple[Slip, float]:
    """A slip by a fit with its coordinate free, and that fit's chi-square."""
    at = found.model.space.coordinates.index(slip.coordinate)
    start = np.zeros_like(found.shift)
    start[at] = -slip.off
    again = _freed(found, [*freed, at], start)
    drop = found.chi_square - again.chi_square
    return replace(slip, off=-float(again.shift[at]), drop=drop), again.chi_square

"""Weighted least squares: the measured hard points that explain a car's readings best.

Each coordinate is a reading too, with its measuring error, so the least sum of squares S, readings and
coordinates together, is chi-square of as many degrees of freedom as there are readings, and the inverse of
the normal matrix is the covariance of the points (linear model, normal errors: any text on adjustment by
least squares, e.g. Mikhail and Ackermann, "Observations and Least Squares", 1976, from memory).
Static toe and camber of the car file are not fitted: readings of them are readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy
from scipy.special import chdtrc, ndtri

from kinematics.arrays import Bools, Floats, Ints
from optimiser.point_space import PointSpace
from optimiser.predict import predictions
from optimiser.reading_list import Reading

STEP = 0.05  # of a coordinate for a difference quotient, mm or tenths of deg
SURE = 0.01  # chance at which a sound car is called unsound
NINETY = float(ndtri(0.95))  # ± this many standard deviations hold nine in ten
FAR = 3.0
OUT_OF_REACH = (
    1e3  # residual of a state that a trial geometry does not reach, in standard deviations
)


def far(count: int, chance: float = SURE, least: float = FAR) -> float:
    """Standard deviations beyond which the worst of so many normal errors is suspect.

    ``least``, or more where so many would go beyond it by chance alone more often than ``chance``.
    """
    if count < 1:
        return least
    return max(least, float(-ndtri(chance / (2.0 * count))))


@dataclass(frozen=True)
class Model:
    """Readings, and the cars that could have given them.

    Only readings that the car as measured reaches are used; ``reached`` says which of all they are.
    """

    space: PointSpace
    every: tuple[Reading, ...]
    lowered: float

    @cached_property
    def given(self) -> Floats:
        """Predictions of every reading for the car as its file gives it, (readings,)."""
        scene = self.space.scene(np.zeros((self.space.points, 1)), self.lowered)
        return np.asarray(predictions(scene, self.every)[:, 0])

    @cached_property
    def reached(self) -> Bools:
        """Which readings the car as measured reaches."""
        return np.asarray(np.isfinite(self.given))

    @cached_property
    def readings(self) -> tuple[Reading, ...]:
        """The readings that are used."""
        return tuple(r for r, there in zip(self.every, self.reached, strict=True) if there)

    @cached_property
    def values(self) -> Floats:
        """What was read, (m,)."""
        return np.array([r.value for r in self.readings])

    @cached_property
    def sigma(self) -> Floats:
        """Standard deviations of the readings, (m,)."""
        return np.array([r.sigma for r in self.readings])

    def predict(self, shifts: Floats, readings: Sequence[Reading] | None = None) -> Floats:
        """Predictions (m, n) for coordinates off by shifts (coordinates or points, n)."""
        wanted = self.readings if readings is None else readings
        if not wanted:
            return np.zeros((0, shifts.shape[1]))
        return predictions(self.space.scene(shifts, self.lowered), wanted)

    def slopes(
        self, shift: Floats, of: Ints | None = None, readings: Sequence[Reading] | None = None
    ) -> Floats:
        """Change of predictions per mm (deg) of coordinates, (m, q), about a shift (coordinates,)."""
        which = np.arange(self.space.points) if of is None else of
        steps = np.zeros((shift.size, which.size))
        steps[which, np.arange(which.size)] = self.step[which]
        both = np.concatenate([shift[:, None] + steps, shift[:, None] - steps], axis=1)
        high, low = np.split(self.predict(both, readings), 2, axis=1)
        return np.nan_to_num((high - low) / (2.0 * self.step[which]))

    @cached_property
    def step(self) -> Floats:
        """Step of each coordinate's difference quotient."""
        static = len(self.space.coordinates) - self.space.points
        return np.concatenate([np.full(self.space.points, STEP), np.full(static, 0.1 * STEP)])


@dataclass(frozen=True)
class Fit:
    """A fit: ``shift`` of every coordinate (static toe and camber stay), with its covariance.

    ``covariance`` is (points, points) mm², about the fitted points. ``before`` and ``after`` are readings
    less predictions, (m,), in the readings' own units. ``chi_square`` is S at the best point.
    """

    model: Model
    shift: Floats
    covariance: Floats
    slopes: Floats
    before: Floats
    after: Floats
    chi_square: float

    @property
    def count(self) -> int:
        """Readings used: the degrees of freedom of chi-square."""
        return int(self.after.size)

    @property
    def chance(self) -> float:
        """How often a sound model with the errors as told would do worse than this."""
        return float(chdtrc(self.count, self.chi_square)) if self.count else 1.0

    @property
    def deviation(self) -> Floats:
        """Standard deviation of each fitted coordinate of a point, (points,) mm."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def fit(model: Model, sigma: Floats | None = None, start: Floats | None = None) -> Fit:
    """Fit the points to the readings.

    Args:
        model: readings and car.
        sigma: standard deviations of the coordinates that may move, (coordinates,) where static toe and
            camber are among them or (points,); the measuring errors when left out. 0 holds one fixed.
        start: shift to start from, (coordinates,).
    """
    space = model.space
    wide = space.sigma if sigma is None else sigma
    free = np.flatnonzero(wide)
    shift = np.zeros(len(space.coordinates))
    before = model.values - model.predict(shift[:, None])[:, 0]
    if free.size and before.size:
        first = np.zeros(free.size)
        # a start may be so far off that the linkage no longer comes together
        if start is not None and np.isfinite(model.predict(start[:, None])).all():
            first = start[free] / wide[free]
        shift[free] = wide[free] * _solve(model, wide, free, first)
    after = model.values - model.predict(shift[:, None])[:, 0]
    after = np.where(np.isfinite(after), after, OUT_OF_REACH * model.sigma)
    slopes = model.slopes(shift)
    chi_square = float(((after / model.sigma) ** 2).sum())
    chi_square += float(((shift[free] / wide[free]) ** 2).sum())
    covariance = posterior(space.sigma, slopes, model.sigma)
    return Fit(model, shift, covariance, slopes, before, after, chi_square)


def _solve(model: Model, wide: Floats, free: Ints, first: Floats) -> Floats:
    """Shifts of the free coordinates in their standard deviations at the least sum of squares."""

    def full(x: Floats) -> Floats:
        shift = np.zeros(len(model.space.coordinates))
        shift[free] = wide[free] * x
        return shift

    def residuals(x: Floats) -> Floats:
        off = (model.predict(full(x)[:, None])[:, 0] - model.values) / model.sigma
        return np.concatenate([np.nan_to_num(off, nan=OUT_OF_REACH), x])

    def slopes(x: Floats) -> Floats:
        rows = model.slopes(full(x), free) * wide[free] / model.sigma[:, None]
        return np.concatenate([rows, np.eye(free.size)])

    found = scipy.optimize.least_squares(
        residuals, first, jac=slopes, xtol=1e-10, ftol=1e-10, max_nfev=60
    )
    return np.asarray(found.x)


def posterior(sigma: Floats, slopes: Floats, noise: Floats) -> Floats:
    """Covariance of coordinates with standard deviations ``sigma`` (p,) after readings.

    ``slopes`` (m, p) of the readings and their ``noise`` (m,). A coordinate without error keeps none.
    """
    scaled = slopes * sigma / noise[:, None]
    inverse = np.linalg.inv(np.eye(sigma.size) + scaled.T @ scaled)
    return np.asarray(sigma[:, None] * inverse * sigma)


@dataclass(frozen=True)
class Held:
    """The car file as given held against readings, by the linear model about it.

    ``residual`` is readings less predictions (m,); ``spread`` the covariance that reading errors and the
    points' own errors give it (m, m); ``chi_square`` is the residual's, of m degrees of freedom.
    """

    model: Model
    residual: Floats
    spread: Floats
    chi_square: float

    @property
    def chance(self) -> float:
        """How often a sound car file with the errors as told would do worse than this."""
        return float(chdtrc(self.residual.size, self.chi_square)) if self.residual.size else 1.0

    @property
    def beyond(self) -> Floats:
        """Each residual in standard deviations of its spread, (m,)."""
        return np.asarray(self.residual / np.sqrt(np.diag(self.spread)))


def held(model: Model) -> Held:
    """Hold the car file as given against readings: the prior predictive check."""
    residual = model.values - model.given[model.reached]
    slopes = model.slopes(np.zeros(len(model.space.coordinates))) * model.space.sigma
    spread = np.diag(model.sigma**2) + slopes @ slopes.T
    chi_square = float(residual @ np.linalg.solve(spread, residual)) if residual.size else 0.0
    return Held(model, residual, spread, chi_square)

"""Cars with one coordinate that the tape slipped on, and what the readings say of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from kinematics.arrays import Floats
from optimiser.fit import Model, fit
from optimiser.point_space import PointSpace
from optimiser.reading_list import Reading
from optimiser.slips import Suspicion, sight, suspects
from tests.cars import Car
from tests.fit.garage import SIGMA, space_of

SIZE = 5.0


def thorough() -> tuple[Reading, ...]:
    """Readings of both wheels by which slips of the tape show, values still to be filled in."""
    found: list[Reading] = []
    for side in ("left", "right"):
        for travel in (-40.0, -20.0, 20.0, 40.0, 60.0):
            found.append(Reading("toe_change", side, 0.0, 0.015, "deg", travel))
            found.append(Reading("camber", side, 0.0, 0.05, "deg", travel))
        for inner in (10.0, 20.0, 28.0):
            found.append(Reading("turn_plates", side, 0.0, 0.2, "deg", inner=inner))
        found.append(Reading("caster", side, 0.0, 0.1, "deg"))
        found.append(Reading("kingpin_inclination", side, 0.0, 0.1, "deg"))
        found.append(Reading("rod_length", side, 0.0, 0.5, "mm"))
        for point in ("ball_joint", "tie_rod_outer", "tie_rod_inner", "arm_front"):
            found.append(Reading("heights", side, 0.0, 0.75, "mm", point=point))
    return tuple(found)


@dataclass(frozen=True)
class Slipped:
    """One case: which coordinate of which car, and by how much the file is off there (written less true)."""

    car: Car
    at: int
    off: float


def cases(car: Car) -> Iterator[Slipped]:
    """Every coordinate in which the readings can see a slip, both ways, by the linear model alone."""
    space = space_of(car)
    seen = sight(Model(space, thorough(), 0.0)).sees(SIZE)[: space.points]
    for at in np.flatnonzero(seen):
        for off in (SIZE, -SIZE):
            yield Slipped(car, int(at), off)


def looked_for(case: Slipped, rng: np.random.Generator) -> tuple[PointSpace, list[Suspicion]]:
    """The suspects by readings of the car, whose other points are off by ordinary errors."""
    space = space_of(case.car)
    truth: Floats = SIGMA * rng.normal(size=space.points)
    truth[case.at] -= case.off
    every = thorough()
    true = Model(space, every, 0.0).predict(truth[:, None], every)[:, 0]
    read = [
        replace(r, value=float(v + r.sigma * rng.normal()))
        for r, v in zip(every, true, strict=True)
    ]
    return space, suspects(fit(Model(space, tuple(read), 0.0)))


def found(case: Slipped, rng: np.random.Generator) -> bool:
    """Whether the slip is the first suspect, or among those not told apart from it, and its size is right."""
    space, listed = looked_for(case, rng)
    if not listed:
        return False
    sizes = {slip.coordinate: slip.off for slip in listed[0].slips}
    size = sizes.get(space.coordinates[case.at])
    return size is not None and abs(size - case.off) < 3.0

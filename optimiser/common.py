"""What the duties of one build have in common to set, and keys by which their settings are compared.

A duty's ride height narrows what can be set, so positions of two duties are compared by what they stand
for. A key is one whole number for all settings of some stations: alike keys, alike settings.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from goals.parts import Station
from kinematics.arrays import Floats, Ints
from optimiser.assembly import Assembly
from optimiser.space import Dimension

Name = tuple[Station, str]
LOWERED_BY: Name = (Station.SPRING_SEAT, "lowered_by")
# Levels of what is set, as the sweep has them.
SUSPENSION, RODS, BENEATH = range(3)


@dataclass(frozen=True)
class _Shared:
    """One thing to set: how many values it has over all duties, its level, and each duty's way to read it.

    A duty's ``reads`` is the index of its dimension with the value's number at each position, or the
    number of the one value that it has without a dimension.
    """

    name: Name
    size: int
    level: int
    reads: dict[str, tuple[int, Ints] | int]


@dataclass(frozen=True)
class Common:
    """Everything that the duties of one build set, duty → positions → keys."""

    shared: tuple[_Shared, ...]

    @classmethod
    def of(cls, assemblies: Mapping[str, Assembly]) -> Common:
        """What the duties' dimensions have in common, by station and name."""
        names = dict.fromkeys(_name(d) for a in assemblies.values() for d in a.dimensions)
        found = [_shared(name, assemblies) for name in names]
        return cls(tuple(each for each in found if each is not None))

    def keys(
        self,
        duty: str,
        positions: Ints,
        apart: Collection[Station],
        deepest: int = BENEATH,
    ) -> Ints:
        """Keys (n,) of a duty's positions (n, dimensions), by every station but those that may stand apart.

        Nothing below the ``deepest`` level is looked at.
        """
        keys = np.zeros(positions.shape[0], dtype=np.int64)
        for each in self.shared:
            if each.name[0] in apart or each.level > deepest:
                continue
            read = each.reads[duty]
            value = read if isinstance(read, int) else read[1][positions[:, read[0]]]
            keys = keys * each.size + value
        return keys

    def differing(self, settings: Mapping[str, tuple[int, ...]]) -> tuple[Station, ...]:
        """Stations that duties' positions set apart."""
        found = {
            each.name[0]
            for each in self.shared
            if len({_value(each.reads[duty], at) for duty, at in settings.items()}) > 1
        }
        return tuple(station for station in Station if station in found)


def _name(dimension: Dimension) -> Name:
    return dimension.station, dimension.name


def _value(read: tuple[int, Ints] | int, at: tuple[int, ...]) -> int:
    return read if isinstance(read, int) else int(read[1][at[read[0]]])


def _level(dimension: Dimension) -> int:
    if not dimension.steering_only:
        return SUSPENSION
    return BENEATH if dimension.beneath_the_rods else RODS


def _shared(name: Name, assemblies: Mapping[str, Assembly]) -> _Shared | None:
    """One thing to set; None where duties are told apart in it by the goals themselves."""
    values: dict[float | str, int] = {}
    reads: dict[str, tuple[int, Ints] | int] = {}
    fixed = set()
    level = SUSPENSION if name == LOWERED_BY else BENEATH
    for duty, assembly in assemblies.items():
        place = next((i for i, d in enumerate(assembly.dimensions) if _name(d) == name), None)
        if place is None:
            # only the ride height is searched in one duty and given in another
            assert name == LOWERED_BY
            fixed.add(assembly.lowering)
            reads[duty] = values.setdefault(assembly.lowering, len(values))
            continue
        dimension = assembly.dimensions[place]
        level = min(level, _level(dimension))
        numbers = [values.setdefault(value, len(values)) for value in dimension.values]
        reads[duty] = place, np.array(numbers, dtype=np.int64)
    if len(fixed) > 1:
        return None
    return _Shared(name, len(values), level, reads)


def alike(keys: list[Ints]) -> Ints:
    """Keys that every one of several arrays has, in order."""
    found = np.unique(keys[0])
    for others in keys[1:]:
        found = np.intersect1d(found, others)
    return found


def least_of(codes: Ints, values: Floats, count: int) -> Floats:
    """The least value of each code, (count,); infinite where a code has none."""
    least = np.full(count, np.inf)
    np.minimum.at(least, codes, values)
    return least

"""What builds have alike: the suspension settings that pass a duty's static limits.

Builds that differ only in tie rods, their studs, the rack or the anti-roll bar have the same suspension, so
its settings are tested once for all of them. What is kept here is found from what the figures read, never
from the parts' names; a search without it comes to the same.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass

from goals.verdicts import Demand
from kinematics.arrays import Floats, Ints
from kinematics.scene import Side
from optimiser.assembly import Assembly
from optimiser.channels import STEERING_ONLY

# Settings kept in all, 16 bytes each.
MOST_KEPT = 2_000_000

# How far a setting came: the step that refused it, its shortfall there, its number.
Nearness = tuple[int, float, int]


@dataclass(frozen=True)
class StaticLevel:
    """Suspension settings that pass: their numbers and weighted squares of misses, (n,) each.

    ``refused_by`` counts the others by limit; ``nearest`` is the one of them that came furthest.
    """

    numbers: Ints
    squares: Floats
    refused_by: dict[str, int]
    nearest: Nearness


class Families:
    """The static levels last used, so many as fit."""

    def __init__(self) -> None:
        self._levels: OrderedDict[Hashable, StaticLevel] = OrderedDict()
        self._kept = 0

    def get(self, key: Hashable) -> StaticLevel | None:
        """A level that is known."""
        level = self._levels.get(key)
        if level is not None:
            self._levels.move_to_end(key)
        return level

    def put(self, key: Hashable, level: StaticLevel) -> None:
        """Keep a level; those not used for longest make room for it."""
        self._levels[key] = level
        self._kept += level.numbers.size
        while self._kept > MOST_KEPT and len(self._levels) > 1:
            _, old = self._levels.popitem(last=False)
            self._kept -= old.numbers.size


def family_of(assembly: Assembly, static: list[Demand]) -> Hashable:
    """All that the static figures of a build's suspension settings hang on, for one duty's demands."""
    sides: tuple[Side, ...] = ("left", "right")
    channels = [
        (side, name, value.tobytes())
        for side in sides
        for name, value in sorted(assembly.bases.get(side, {}).items())
        if name not in STEERING_ONLY
    ]
    dimensions = [
        (name, table.tobytes())
        for dimension in assembly.dimensions
        if not dimension.steering_only
        for name, table in sorted(dimension.effects.items())
        if name not in STEERING_ONLY
    ]
    fitted = assembly.fittings
    asked = [
        (d.label, d.asks, d.minimum, d.maximum, d.wanted, d.tolerance, d.weight) for d in static
    ]
    return (
        tuple(channels),
        tuple(dimensions),
        tuple(d.size for d in assembly.dimensions if not d.steering_only),
        (fitted.barrel, fitted.caliper, fitted.outline, fitted.arch_x),
        (assembly.toe, assembly.lowering, assembly.frame),
        tuple(asked),
    )

"""How many settings one build may have: refused in words before a search that no machine has room for.

A sweep holds a list of the suspension settings that pass, and tables of all settings of the tie rod's ends
and of what is beneath them (``optimiser/levels.py``); a setting's number is a whole number of 64 bits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import floor, log10, prod

from goals.duties import GoalsFile, LoweringRange
from optimiser.space import Dimension, Space, dimensions_of

# 16 bytes for each that passes, and some minutes of one processor to look at them all.
MOST_SUSPENSION = 200_000_000
# About 100 bytes each while the tables are made.
MOST_ROD_ENDS = 5_000_000
MOST_BENEATH = 1_000_000
MOST_SETTINGS = 2**62
LOWERING = "lowered_by"
_Wanted = Callable[[Dimension], bool]
_LESS = "coarser steps, or fewer things to set on the parts"


def check_sizes(space: Space, goals: GoalsFile) -> None:
    """Raise ValueError where a build may have more settings than can be swept.

    The most are counted station by station, whether or not the parts that have them can be combined.
    """
    suspension = _most(space, lambda d: not d.steering_only and LOWERING not in d.effects)
    suspension *= max(_heights(goals), _most(space, lambda d: LOWERING in d.effects))
    rods = _most(space, lambda d: d.steering_only and not d.beneath_the_rods)
    beneath = _most(space, lambda d: d.beneath_the_rods)
    for count, most, what in (
        (suspension, MOST_SUSPENSION, "of its suspension"),
        (rods, MOST_ROD_ENDS, "of its tie rods' ends"),
        (beneath, MOST_BENEATH, "of rack and anti-roll bar"),
        (suspension * rods * beneath, MOST_SETTINGS, "in all"),
    ):
        if count > most:
            raise ValueError(
                f"a build has up to {_told(count)} settings {what}; "
                f"at most {_told(most)} can be swept: {_LESS}"
            )


def _most(space: Space, wanted: _Wanted) -> int:
    """The most settings that one part a station has of some dimensions."""
    return prod(
        max(_settings(dimensions_of(part, station), wanted) for part in parts)
        for station, parts in zip(space.stations, space.options, strict=True)
    )


def _settings(dimensions: Iterable[Dimension], wanted: _Wanted) -> int:
    return prod(d.size for d in dimensions if wanted(d))


def _heights(goals: GoalsFile) -> int:
    """The most ride heights that a duty is searched over."""
    ranges = [
        d.lowered_by for d in goals.duties.values() if isinstance(d.lowered_by, LoweringRange)
    ]
    return max((floor((r.max - r.min) / r.step + 1e-9) + 1 for r in ranges), default=1)


def _told(count: int) -> str:
    return f"{count:,}" if count < 10**15 else f"10^{floor(log10(count))}"

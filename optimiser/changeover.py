"""What a swap between duties may touch, and the minutes that it takes.

Stations that the goals allow may be set apart from duty to duty; every other setting is alike in all of them.
Minutes are summed over what has to be undone: each station that is set anew once, the tie rod's length once
however many things ask for it, a front wheel taken off once a corner. What no part tells counts as nothing
and is named. Tie-rod length and steering stop are solved for each duty: they are set anew in any swap.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

from goals.duties import Changeover
from goals.parts import Part, Parts, Station
from optimiser.assembly import Assembly
from optimiser.space import Build

CORNERS = 2


@dataclass(frozen=True)
class Swap:
    """A swap that sets some stations anew: which, and the minutes it takes.

    ``resets_rod`` is whether the tie rods' length has to be set anew. ``untold`` are stations that are part
    of the work and whose minutes no part tells.
    """

    stations: tuple[Station, ...]
    minutes: float
    resets_rod: bool
    untold: tuple[Station, ...]


@dataclass(frozen=True)
class Work:
    """The work on one build between its duties: what there is to set, and what it takes.

    ``stations`` are those that may be set apart and have something to set. ``always_resets`` is whether the
    duties ask for toes or ride heights that differ, so that the rods are set anew in any case.
    """

    build: Build
    parts: Parts
    stations: tuple[Station, ...]
    always_resets: bool
    most_minutes: float | None

    @classmethod
    def of(
        cls,
        build: Build,
        parts: Parts,
        changeover: Changeover,
        assemblies: Mapping[str, Assembly],
    ) -> Work:
        """The work that the goals allow on a build made ready for each duty."""
        limit = changeover.minutes
        free = {d.station for a in assemblies.values() for d in a.dimensions} & {*changeover.allow}
        return cls(
            build,
            parts,
            tuple(station for station in Station if station in free),
            len({(a.toe, a.lowering) for a in assemblies.values()}) > 1,
            None if limit is None else limit.max,
        )

    def swap(self, stations: Iterable[Station]) -> Swap:
        """The swap that sets these stations anew."""
        anew = tuple(station for station in Station if station in set(stations))
        resets = self.always_resets or any(
            d.station in anew and not d.beneath_the_rods for d in self.build.dimensions
        )
        # where nothing in the build lowers the car, its ride height moves the rods all the same
        swap = Swap(anew, 0.0, resets or Station.SPRING_SEAT in anew, ())
        minutes, untold = 0.0, []
        for station in self.touched(swap):
            part = self.build.parts.get(station)
            if part is None or part.minutes is None:
                untold.append(station)
            else:
                minutes += part.minutes
        if self.takes_wheels_off(swap):
            minutes += CORNERS * self.parts.wheel_off
        return replace(swap, minutes=minutes, untold=tuple(untold))

    def touched(self, swap: Swap) -> tuple[Station, ...]:
        """Stations that are worked on: those set anew, the tie rods to be re-set, the stop."""
        touched = set(swap.stations)
        if swap.resets_rod:
            touched.add(Station.TIE_ROD)
        if touched and Station.STEERING_STOP in self.build.parts:
            touched.add(Station.STEERING_STOP)
        return tuple(station for station in Station if station in touched)

    def takes_wheels_off(self, swap: Swap) -> bool:
        """Whether a front wheel has to come off."""
        return any(behind_wheel(self.build.parts.get(s), s) for s in self.touched(swap))

    def swaps(self) -> list[Swap]:
        """Every swap that the goals allow, whatever its minutes, the quickest and least first."""
        every = [
            self.swap(some)
            for count in range(len(self.stations) + 1)
            for some in combinations(self.stations, count)
        ]
        return sorted(every, key=lambda swap: (swap.minutes, len(swap.stations)))

    def affords(self, swap: Swap) -> bool:
        """Whether a swap stays within the minutes that the goals allow."""
        return self.most_minutes is None or swap.minutes <= self.most_minutes + 1e-9


def behind_wheel(part: Part | None, station: Station) -> bool:
    """Whether a front wheel has to come off to work on a part."""
    if part is None or part.behind_wheel is None:
        return station in (Station.WHEEL, Station.WHEEL_SPACER)
    return part.behind_wheel

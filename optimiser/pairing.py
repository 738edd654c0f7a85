"""Settings of one build that go together: one for each duty, apart only in what a swap may touch.

Each duty's settings that pass the tests over travel are listed, with the least merit that they can come to;
lists of several duties drop what has no counterpart alike in every station that may not stand apart. For each
swap that the goals allow, the quickest first, groups of settings alike in all else are opened in the order of
what they can come to at best, and only then steered. What cannot beat a quicker swap's settings is never
steered, and nothing else is dropped: for each number of minutes the settings found are the best there are on
the grid, by the worst duty's merit and then by the mean.

Among settings equal in that the ones with more room left on the adjusters are taken, then the lowest numbers.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from goals.parts import Station
from goals.verdicts import Demand
from kinematics.arrays import Bools, Floats, Ints
from optimiser.assembly import Assembly
from optimiser.changeover import Swap, Work
from optimiser.common import BENEATH, RODS, SUSPENSION, Common, alike, least_of
from optimiser.families import Families
from optimiser.inner import Sweep, waves
from optimiser.room import rooms
from optimiser.stages import INNER_LANES, Outers, Settings, Stages
from optimiser.stages import MERIT_GRAIN as GRAIN

Positions = tuple[int, ...]
# Steps to the nearer end of every adjuster, least first.
Rooms = tuple[float, ...]

# Settings listed at a time for one duty; where there are more, settings of the suspension are taken in parts.
MOST_LISTED = 400_000
# Groups that are opened first, and how many times more each wave after; of each group likewise its settings.
FIRST_GROUPS, GROUPS_GROW = 16, 4
FIRST_MEMBERS, MEMBERS_GROW = 2, 4
# Combinations of the duties' own best settings that are tried first.
FIRST_TRIED = 100
# How far settings that go together were found: what is said where there are none.
NONE_STATIC = "static limits of the duties leave no suspension alike in what may not be set apart"
NONE_TRAVEL = "no settings alike in what may not be set apart pass every duty's limits over travel"
NONE_STEERED = "no settings alike in what may not be set apart hold every duty's limits at lock"

Score = tuple[float, float]


@dataclass(frozen=True)
class Together:
    """Settings for all duties that go together, and the swap between them."""

    swap: Swap
    worst: float
    mean: float
    room: Rooms
    merits: dict[str, float]
    positions: dict[str, Positions]

    @property
    def score(self) -> Score:
        """Worst merit and mean: less is better."""
        return self.worst, self.mean


@dataclass(frozen=True)
class Pairing:
    """What was found of settings that go together.

    ``front`` are the best within the goals' minutes, quickest first, each better than all quicker ones;
    the last is the best. ``beyond`` is the quickest past the goals' minutes, looked for where there are none
    within, and ``reason`` what is said where there are none at all.
    """

    front: tuple[Together, ...]
    beyond: Together | None = None
    reason: str | None = None

    @property
    def best(self) -> Together | None:
        """The best within the goals' minutes."""
        return self.front[-1] if self.front else None


def pair(
    assemblies: Mapping[str, Assembly],
    wanted: Mapping[str, list[Demand]],
    alone: Mapping[str, Sweep],
    work: Work,
    families: Families | None = None,
    most_listed: int = MOST_LISTED,
) -> Pairing:
    """Find the best settings of a build that go together, exactly, on the declared grid.

    Args:
        assemblies: the build made ready for each duty.
        wanted: each duty's demands on it.
        alone: what sweeping each duty by itself found; every duty has settings that hold.
        work: what a swap may touch and takes.
        families: what sweeps of other builds found.
        most_listed: settings listed at a time for one duty.
    """
    search = _Search(assemblies, wanted, work, families, most_listed)
    swaps = work.swaps()
    affordable = [swap for swap in swaps if work.affords(swap)]
    found = search.run(affordable, _seeds(search.common, assemblies, alone, work))
    if found:
        return Pairing(tuple(found))
    reason = search.reason
    others = [swap for swap in swaps if not work.affords(swap)]
    past = search.run(others, [])
    return Pairing((), past[0] if past else None, reason)


def _seeds(
    common: Common,
    assemblies: Mapping[str, Assembly],
    alone: Mapping[str, Sweep],
    work: Work,
) -> list[Together]:
    """Combinations of the duties' own best settings that may be swapped: a first bound."""
    each = max(1, int(FIRST_TRIED ** (1.0 / len(alone))))
    seeds = []
    for some in product(*(sweep.kept[:each] for sweep in alone.values())):
        positions = {duty: at for duty, (_, at) in zip(alone, some, strict=True)}
        stations = common.differing(positions)
        if set(stations) <= set(work.stations):
            merits = {duty: merit for duty, (merit, _) in zip(alone, some, strict=True)}
            room = [rooms(assemblies[d].dimensions, at) for d, at in positions.items()]
            seeds.append(_together(work.swap(stations), merits, positions, room))
    return seeds


def _together(
    swap: Swap, merits: dict[str, float], positions: dict[str, Positions], room: list[Rooms]
) -> Together:
    values = list(merits.values())
    mean = round(sum(values) / len(values), 9)
    all_room = tuple(sorted(steps for each in room for steps in each))
    return Together(swap, max(values), mean, all_room, merits, positions)


@dataclass
class _List:
    """One duty's settings under a part of the suspension settings: what they are and what they come to.

    ``settings`` and ``beneath`` say each setting, ``positions`` (n, dimensions) too. ``merits`` are the least
    that they can come to, and where ``known`` what they do; infinite: out, or past what is wanted still.
    """

    outers: Outers | None
    settings: Settings
    beneath: Ints
    numbers: Ints
    positions: Ints
    merits: Floats
    known: Bools

    @classmethod
    def empty(cls, dimensions: int) -> _List:
        """A list of nothing."""
        none = np.zeros(0, dtype=np.int64)
        settings = Settings(none, none, none, np.zeros(0))
        places = np.zeros((0, dimensions), dtype=np.int64)
        return cls(None, settings, none, none, places, np.zeros(0), np.zeros(0, dtype=bool))


class _Duty:
    """One duty's side of the search."""

    def __init__(self, name: str, stages: Stages, common: Common) -> None:
        self.name = name
        self.stages = stages
        self.common = common
        stages.telling = False
        self.level = stages.static_level()

    def keys(self, positions: Ints, apart: Collection[Station], deepest: int) -> Ints:
        """Keys of the duty's positions, as :meth:`Common.keys`."""
        return self.common.keys(self.name, positions, apart, deepest)

    def suspension_keys(self, apart: Collection[Station]) -> Ints:
        """Keys of the suspension settings that pass the static limits."""
        positions = self.stages.levels.suspension_positions(self.level.numbers)
        return self.keys(positions, apart, SUSPENSION)

    def listed(
        self, pick: Bools, apart: Collection[Station], others: Ints | None, most: float
    ) -> _List | None:
        """Settings under some of the suspension settings that pass over travel; None where too many.

        Where ``others`` are given, keys of another duty's settings, those alone that are alike to one of
        them but for what may stand ``apart``; what is beneath the rods is not looked at.
        """
        stages = self.stages
        level = replace(
            self.level, numbers=self.level.numbers[pick], squares=self.level.squares[pick]
        )
        pool: Outers | None = None
        for outers in stages.outers(level):
            pool = outers if pool is None else pool.joined(outers)
        if pool is None:
            return _List.empty(len(stages.levels.sizes))
        passed: list[Settings] = []
        count = 0
        for settings in stages.screened(pool, np.arange(pool.index.size)):
            if others is not None:
                positions = stages.levels.all_positions_of(stages.numbers_of(pool, settings))
                has = np.isin(self.keys(positions, apart, RODS), others)
                settings = settings.take(np.flatnonzero(has))
            for some in stages.travelled(pool, settings):
                passed.append(some)
                count += some.outer.size * stages.levels.beneath.count
            if count > most:
                return None
        return self._list(pool, passed)

    def _list(self, pool: Outers, passed: list[Settings]) -> _List:
        levels = self.stages.levels
        if not passed:
            return _List.empty(len(levels.sizes))
        under = levels.beneath.count
        above = Settings.joined(passed)
        settings = above.take(np.repeat(np.arange(above.outer.size), under))
        beneath = np.tile(np.arange(under), above.outer.size)
        numbers = self.stages.numbers_of(pool, settings) + levels.beneath.index[beneath]
        merits = self.stages.merits(settings.squares)
        places = levels.all_positions_of(numbers)
        known = np.zeros(numbers.size, dtype=bool)
        return _List(pool, settings, beneath, numbers, places, merits, known)

    def steer(self, found: _List, some: Ints, most: float) -> None:
        """Put some listed settings to the last tests; what comes to more than ``most`` counts as out."""
        assert found.outers is not None
        self.stages.ceiling = most
        for low in range(0, some.size, INNER_LANES):
            part = some[low : low + INNER_LANES]
            lanes = self.stages.steered(
                found.outers, found.settings.take(part), found.beneath[part]
            )
            merits = np.full(part.size, np.inf)
            order = np.argsort(found.numbers[part], kind="stable")
            at = order[np.searchsorted(found.numbers[part][order], lanes.index)]
            merits[at] = self.stages.merits(lanes.squares)
            found.merits[part], found.known[part] = merits, True


@dataclass(frozen=True)
class _Group:
    """One duty's listed settings that have a counterpart: which, and the number of each one's group."""

    duty: _Duty
    found: _List
    members: Ints
    codes: Ints

    def merits(self, groups: Ints, count: int, most: float) -> Floats:
        """Least merit of each of some groups, (count,) over all groups; infinite past ``most``."""
        found = self.found
        here = np.isin(self.codes, groups)
        order = np.lexsort((found.merits[self.members[here]], self.codes[here]))
        members, codes = self.members[here][order], self.codes[here][order]
        starts = np.flatnonzero(np.diff(codes, prepend=-1))
        rank = np.arange(codes.size) - np.repeat(starts, np.diff(starts, append=codes.size))
        limit = FIRST_MEMBERS
        while True:
            known = found.known[members]
            least = least_of(codes[known], found.merits[members[known]], count)
            open_ = ~known & (found.merits[members] <= np.minimum(least[codes], most) + GRAIN)
            if not open_.any():
                return least
            now = open_ & (rank < limit)
            if now.any():
                self.duty.steer(found, members[now], most)
            limit *= MEMBERS_GROW

    def best(self, group: int, merit: float) -> tuple[Rooms, Positions]:
        """Room and positions of the settings of a group that come to its merit: most room, lowest."""
        found = self.found
        here = self.members[self.codes == group]
        equal = here[found.known[here] & (found.merits[here] <= merit + 0.5 * GRAIN)]
        dimensions = self.duty.stages.assembly.dimensions
        every = [(found.numbers[i], tuple(int(p) for p in found.positions[i])) for i in equal]
        # room first, then the lowest number
        every.sort(key=lambda each: each[0])
        positions = max((at for _, at in every), key=lambda at: rooms(dimensions, at))
        return rooms(dimensions, positions), positions


class _Search:
    """The search over all duties of one build."""

    def __init__(
        self,
        assemblies: Mapping[str, Assembly],
        wanted: Mapping[str, list[Demand]],
        work: Work,
        families: Families | None,
        most_listed: int,
    ) -> None:
        self.common = Common.of(assemblies)
        self.work = work
        self.most_listed = most_listed
        self.duties = [
            _Duty(name, Stages(assembly, wanted[name], families), self.common)
            for name, assembly in assemblies.items()
        ]
        self.keys = [duty.suspension_keys(work.stations) for duty in self.duties]
        self.reason = NONE_STATIC
        self.swaps: list[Swap] = []
        self.best: dict[int, Together] = {}

    def run(self, swaps: list[Swap], seeds: list[Together]) -> list[Together]:
        """The best settings for each number of minutes that beat all of fewer, quickest first."""
        self.swaps, self.best = swaps, {}
        places = {swap.stations: i for i, swap in enumerate(swaps)}
        for seed in seeds:
            if seed.swap.stations in places:
                self._offer(places[seed.swap.stations], seed)
        common = alike(self.keys)
        if swaps and common.size:
            self._over(common)
        front: list[Together] = []
        for i in sorted(self.best, key=lambda i: (swaps[i].minutes, self.best[i].score, i)):
            if not front or self.best[i].score < front[-1].score:
                front.append(self.best[i])
        return front

    def _offer(self, place: int, found: Together) -> None:
        """Keep what is found for a swap where it is the best of it."""
        best = self.best.get(place)
        if best is None or _key(found) < _key(best):
            self.best[place] = found

    def _bound(self, place: int) -> float:
        """Worst merit of the best settings known for a swap and all quicker ones."""
        return min((t.worst for i, t in self.best.items() if i <= place), default=np.inf)

    def _over(self, keys: Ints) -> None:
        """Every swap over some groups of suspension settings; in halves where they are too many at once."""
        lists = self._lists(keys, np.inf if keys.size == 1 else self.most_listed)
        if lists is None:
            half = keys.size // 2
            self._over(keys[:half])
            self._over(keys[half:])
            return
        for place, swap in enumerate(self.swaps):
            self._search_swap(place, swap, lists)

    def _lists(self, keys: Ints, most: float) -> list[_List] | None:
        """Each duty's settings, as far as the duties before it have counterparts."""
        apart = self.work.stations
        picks = [np.isin(own, keys) for own in self.keys]
        order = sorted(range(len(picks)), key=lambda i: int(picks[i].sum()))
        lists: dict[int, _List] = {}
        others: Ints | None = None
        for i in order:
            duty = self.duties[i]
            duty.stages.ceiling = self._bound(0)
            found = duty.listed(picks[i], apart, others, most)
            if found is None:
                return None
            lists[i] = found
            others = np.unique(duty.keys(found.positions, apart, RODS))
        if self.reason == NONE_STATIC:
            self.reason = NONE_TRAVEL
        if others is not None and others.size:
            self.reason = NONE_STEERED
        return [lists[i] for i in range(len(picks))]

    def _search_swap(self, place: int, swap: Swap, lists: list[_List]) -> None:
        """The best settings of one swap, where they beat all of the quicker ones."""
        groups, count = self._groups(swap, lists, self._bound(place))
        if not count:
            return
        could = [least_of(g.codes, g.found.merits[g.members], count) for g in groups]
        worst, mean = np.max(could, axis=0), np.mean(could, axis=0)
        for wave in waves(np.lexsort((mean, worst)), FIRST_GROUPS, GROUPS_GROW):
            most = self._bound(place)
            left = wave[worst[wave] <= most + GRAIN]
            if not left.size:
                return
            merits: dict[str, Floats] = {}
            for group in sorted(groups, key=lambda g: g.members.size):
                merits[group.duty.name] = group.merits(left, count, most)
                found = merits[group.duty.name][left]
                left = left[(found <= most + GRAIN) & (found < np.inf)]
            if left.size:
                self._take_best(place, swap, groups, merits, left)

    def _groups(self, swap: Swap, lists: list[_List], most: float) -> tuple[list[_Group], int]:
        """Settings of each duty that may yet do, in groups alike in all that the swap leaves."""
        alive = [
            np.flatnonzero((found.merits <= most + GRAIN) & (found.merits < np.inf))
            for found in lists
        ]
        keys = [
            duty.keys(found.positions[some], swap.stations, BENEATH)
            for duty, found, some in zip(self.duties, lists, alive, strict=True)
        ]
        common = alike(keys)
        groups = []
        for duty, found, some, own in zip(self.duties, lists, alive, keys, strict=True):
            has = np.isin(own, common)
            groups.append(_Group(duty, found, some[has], np.searchsorted(common, own[has])))
        return groups, int(common.size)

    def _take_best(
        self,
        place: int,
        swap: Swap,
        groups: list[_Group],
        merits: dict[str, Floats],
        left: Ints,
    ) -> None:
        """Offer the best of the groups that are left, all that are equally good."""
        of = np.array([merits[g.duty.name][left] for g in groups])
        worst, mean = of.max(axis=0), np.round(of.mean(axis=0), 9)
        first = np.lexsort((mean, worst))[0]
        equal = (worst <= worst[first] + 0.5 * GRAIN) & (mean <= mean[first] + 0.5 * GRAIN)
        for group in left[equal]:
            own = {g.duty.name: float(merits[g.duty.name][group]) for g in groups}
            chosen = {g.duty.name: g.best(int(group), own[g.duty.name]) for g in groups}
            room = [room for room, _ in chosen.values()]
            positions = {duty: at for duty, (_, at) in chosen.items()}
            self._offer(place, _together(swap, own, positions, room))


def _key(found: Together) -> tuple[float, float, Rooms, tuple[Positions, ...]]:
    """Order of settings for one swap: the best first."""
    return *found.score, tuple(-steps for steps in found.room), tuple(found.positions.values())

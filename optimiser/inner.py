"""Search one build: an exact staged sweep over all its settings, a pure function of its inputs.

Settings are swept in three levels (``optimiser/levels.py``; what each puts them to is in
``optimiser/stages.py``). The suspension's straight-ahead pose at the wanted toe is solved once for all
settings beneath it, and static limits drop whole branches. Under what is left all places of the tie rod's
ends are screened by closed forms before any of them is made a lane; then travel is solved, and last, with
the rack's own travel and the anti-roll bar, steering and the envelope with each lane's stop.

Demands are tested cheapest first, each on a bound of its figure before the figure itself. What has missed
least so far goes first, for its merit then rules out much of the rest: what is surely worse than the worst
of the best kept is never solved further. Nothing that could be among the best is dropped, so the best found
are the best there are on the grid; among equals the lowest setting number wins.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from goals.verdicts import Demand
from kinematics.arrays import Floats, Ints
from optimiser.assembly import Assembly
from optimiser.families import Families
from optimiser.stages import INNER_LANES, OUTER_LANES, Lanes, Outers, Settings, Stages

# Outer lanes that go first, and how many times more each wave after has; the same for lanes to be steered.
FIRST_WAVE, WAVES_GROW = 256, 16
FIRST_STEERED, STEERED_GROW = 64, 4
# What is said of a build that a bound drops whole.
NO_SUSPENSION = "no setting of its suspension holds the static limits; nothing beneath was searched"
OF_ITSELF = "what the build is of itself does not do; no setting was searched"
NO_ROD_ENDS = (
    "no place of its tie rod's ends holds roll centre and bump steer; no further was searched"
)
# Where nothing gets past the screen, so many outer lanes by so many settings are looked at for the nearest.
NEAREST_LANES, NEAREST_SETTINGS = 16, 64


@dataclass
class Sweep:
    """What sweeping a build for one duty found.

    ``kept`` are merit and positions of the best settings, best first. Where nothing holds every limit
    ``nearest`` is the setting that came furthest through the tests with the least shortfall, and
    ``ruled_out`` says so where a bound dropped the whole build.
    ``refused_by`` counts what each limit refused before the best known merit ruled anything out.
    ``lanes`` counts what was solved at each level.
    """

    settings: int
    kept: list[tuple[float, tuple[int, ...]]] = field(default_factory=list)
    nearest: tuple[int, ...] | None = None
    ruled_out: str | None = None
    refused_by: dict[str, int] = field(default_factory=dict)
    lanes: dict[str, int] = field(default_factory=dict)

    @property
    def best(self) -> tuple[int, ...] | None:
        """Positions of the best setting; None where nothing holds every limit."""
        return self.kept[0][1] if self.kept else None

    @property
    def merit(self) -> float | None:
        """Merit of the best setting."""
        return self.kept[0][0] if self.kept else None


def sweep(
    assembly: Assembly, wanted: list[Demand], keep: int = 1, families: Families | None = None
) -> Sweep:
    """Find the best ``keep`` settings of a build for one duty, exactly, on the declared grid.

    ``families`` is what sweeps of other builds found that this one may use, and the other way round.
    """
    return _Sweeper(Stages(assembly, wanted, families), keep).run()


def first_held(
    assembly: Assembly, wanted: list[Demand], families: Families | None = None
) -> tuple[int, ...] | None:
    """Positions of a setting that holds every limit, the first come upon; None where there surely is none.

    The sweep of :func:`sweep` with the targets taken off, ended at what it finds first.
    """
    limits = [demand for demand in wanted if demand.is_limit]
    found = good_enough(assembly, limits, 0.0, families)
    return None if found is None else found[1]


def good_enough(
    assembly: Assembly, wanted: list[Demand], merit: float, families: Families | None = None
) -> tuple[float, tuple[int, ...]] | None:
    """Merit and positions of a setting that holds every limit: the best, or one no worse than ``merit``.

    The sweep of :func:`sweep`, ended where it comes upon such a one; None where surely no limits hold.
    """
    return _Sweeper(Stages(assembly, wanted, families), 1).until(merit)


class _Enough(Exception):
    """Something was found, which is all that was asked."""


class _Sweeper:
    def __init__(self, stages: Stages, keep: int) -> None:
        self.stages = stages
        self.levels = stages.levels
        self.keep = keep
        self.merits: Floats = np.zeros(0)
        self.numbers: Ints = np.zeros(0, dtype=np.int64)
        self.unscreened: tuple[Outers, Ints] | None = None
        self.enough = -np.inf

    def until(self, merit: float) -> tuple[float, tuple[int, ...]] | None:
        """Sweep until something is found that is no worse than a merit."""
        self.enough = merit
        try:
            found = self.run().kept
        except _Enough:
            found = self._found(None).kept
        return found[0] if found else None

    def run(self) -> Sweep:
        """Sweep everything and say what was found."""
        stages = self.stages
        pool: Outers | None = None
        level = stages.static_level()
        for outers in stages.outers(level):
            pool = outers if pool is None else pool.joined(outers)
            if pool.index.size >= OUTER_LANES:
                self._under(pool)
                pool = None
        if pool is not None:
            self._under(pool)
        ruled_out = None
        if not stages.lanes.get("screened"):
            ruled_out = NO_SUSPENSION if not level.numbers.size else OF_ITSELF
        if not self.merits.size and not stages.lanes.get("travelled") and self.unscreened:
            ruled_out = NO_ROD_ENDS
            self._look_at_some(*self.unscreened)
        return self._found(ruled_out)

    def _under(self, outers: Outers) -> None:
        """Everything beneath some suspension settings, those that missed least so far first."""
        order = np.lexsort((outers.index, outers.squares))
        for wave in waves(order, FIRST_WAVE, WAVES_GROW):
            wave = wave[outers.squares[wave] <= self.stages.most_squares]
            if wave.size:
                self._wave(outers, wave)

    def _wave(self, outers: Outers, wave: Ints) -> None:
        screened: list[Settings] = []
        waiting: list[Settings] = []
        passed = False
        for settings in self.stages.screened(outers, wave):
            passed = True
            screened.append(settings)
            if sum(s.outer.size for s in screened) >= INNER_LANES:
                waiting += self.stages.travelled(outers, Settings.joined(screened))
                screened = []
            if sum(s.outer.size for s in waiting) >= 4 * INNER_LANES:
                self._steer(outers, Settings.joined(waiting))
                waiting = []
        if screened:
            waiting += self.stages.travelled(outers, Settings.joined(screened))
        if waiting:
            self._steer(outers, Settings.joined(waiting))
        if not passed and not self.merits.size and self.unscreened is None:
            self.unscreened = outers, wave

    def _steer(self, outers: Outers, settings: Settings) -> None:
        """Put settings to the last tests, those that missed least so far first."""
        beneath = self.levels.beneath.count
        # numbers of both levels together, the last one's running fastest
        order = np.argsort(settings.squares, kind="stable")
        for wave in waves(order, max(1, FIRST_STEERED // beneath), STEERED_GROW):
            wave = wave[settings.squares[wave] <= self.stages.most_squares]
            chunk = max(1, INNER_LANES // beneath)
            for low in range(0, wave.size, chunk):
                some = settings.take(wave[low : low + chunk])
                for first in range(0, beneath, INNER_LANES):
                    under = np.arange(first, min(first + INNER_LANES, beneath))
                    each = some.take(np.repeat(np.arange(some.outer.size), under.size))
                    lower = np.tile(under, some.outer.size)
                    self._keep(self.stages.steered(outers, each, lower))

    def _keep(self, lanes: Lanes) -> None:
        """Put settings that hold every limit among the best, and keep as many as asked for."""
        if lanes.index.size == 0:
            return
        merits = np.concatenate([self.merits, self.stages.merits(lanes.squares)])
        numbers = np.concatenate([self.numbers, lanes.index])
        order = np.lexsort((numbers, merits))[: self.keep]
        self.merits, self.numbers = merits[order], numbers[order]
        self.stages.telling = False
        if self.merits.size >= self.keep:
            self.stages.ceiling = float(self.merits[-1])
        if self.merits[0] <= self.enough:
            raise _Enough

    def _look_at_some(self, outers: Outers, wave: Ints) -> None:
        """Where the screen refused everything: solve some of it, so that a nearest setting can be named."""
        a, b = self.levels.outer_ends.count, self.levels.inner_ends.count
        some = np.unique(np.linspace(0, a * b - 1, min(a * b, NEAREST_SETTINGS)).astype(np.int64))
        outer = np.repeat(wave[:NEAREST_LANES], some.size)
        at = np.tile(some, wave[:NEAREST_LANES].size)
        counted = dict(self.stages.refused_by)
        settings = Settings(outer, at // b, at % b, outers.squares[outer])
        for passed in self.stages.travelled(outers, settings):
            self._steer(outers, passed)
        # they were counted when they were screened
        self.stages.refused_by = counted

    def _found(self, ruled_out: str | None) -> Sweep:
        stages = self.stages
        kept = [
            (float(merit), self.levels.positions_of(int(number)))
            for merit, number in zip(self.merits, self.numbers, strict=True)
        ]
        nearest = None
        if not kept and stages.nearest_key[2] >= 0:
            nearest = self.levels.positions_of(stages.nearest_key[2])
        return Sweep(
            self.levels.settings, kept, nearest, ruled_out, stages.refused_by, stages.lanes
        )


def waves(order: Ints, first: int, grow: int) -> Iterator[Ints]:
    """The order cut into waves, each so many times as long as the one before."""
    low, size = 0, first
    while low < order.size:
        yield order[low : low + size]
        low, size = low + size, size * grow

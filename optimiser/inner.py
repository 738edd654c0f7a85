"""Search one build: an exact staged sweep over all its settings, a pure function of its inputs.

Settings are swept in three levels (``optimiser/levels.py``). The suspension's straight-ahead pose at the
wanted toe is solved once for all settings beneath it, and static limits drop whole branches. Under what is
left all places of the tie rod's ends are screened by closed forms before any of them is made a lane
(``optimiser/screening.py``); then travel is solved, and last, with the rack's own travel and the anti-roll
bar, steering and the envelope with each lane's stop.

Demands are tested cheapest first, each on a bound of its figure before the figure itself. What has missed
least so far goes first, for its merit then rules out much of the rest: what is surely worse than the worst
of the best kept is never solved further. Nothing that could be among the best is dropped, so the best found
are the best there are on the grid; among equals the lowest setting number wins.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from math import prod

import numpy as np

from goals.verdicts import NO_FIGURE_MISS, Demand, holds, merit_of, total_weight
from kinematics import rows as k
from kinematics.arrays import Bools, Floats, Ints
from kinematics.channels import Channels
from kinematics.corner import set_rods
from kinematics.measures import Stage
from kinematics.measures.steer import rack_for, turns
from kinematics.scene import Scene, Side
from kinematics.screen import screen
from kinematics.stops import sound_at, stopped
from optimiser.assembly import Assembly
from optimiser.families import Families, Nearness, StaticLevel, family_of
from optimiser.levels import INNER_END, OUTER_END, Levels
from optimiser.screening import Screen

OUTER_LANES = 4096
INNER_LANES = 8192
# Settings screened at a time; a byte each.
SCREENED = 4_000_000
# Outer lanes that go first, and how many times more each wave after has; the same for lanes to be steered.
FIRST_WAVE, WAVES_GROW = 256, 16
FIRST_STEERED, STEERED_GROW = 64, 4
# Merits closer than this are the same: rounding noise must not decide a ranking.
MERIT_GRAIN = 1e-9
# A wanted inner lock of no more than this many degrees is not worth trying beforehand.
LEAST_LOCK = 5.0
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


class _Kind(Enum):
    """What a step does with its lanes."""

    JUDGE = "judge"  # the demand on its figure
    BOUND = "bound"  # the demand on a bound of its figure, which can only refuse
    REACH = "reach"  # the least inner lock that can do against what decides the stop, before that is solved
    STOP = "stop"  # solves the stop


@dataclass(frozen=True)
class _Step:
    """One step of the sweep; that which solves the stop has no demand."""

    number: int
    kind: _Kind
    demand: Demand | None = None


@dataclass
class _Lanes:
    """Candidates under test: their scene, setting numbers, and weighted squares of misses so far."""

    scene: Scene
    index: Ints
    squares: Floats

    def take(self, keep: Ints) -> _Lanes:
        return _Lanes(self.scene.take(keep), self.index[keep], self.squares[keep])


@dataclass
class _Outers:
    """Suspension settings that passed the static limits, without the states solved for them."""

    columns: dict[Side, Floats]
    poses: dict[Side, Floats]
    channels: Channels
    index: Ints
    squares: Floats

    def joined(self, other: _Outers) -> _Outers:
        def both(a: dict[Side, Floats], b: dict[Side, Floats]) -> dict[Side, Floats]:
            return {side: np.concatenate([a[side], b[side]], axis=1) for side in a}

        return _Outers(
            both(self.columns, other.columns),
            both(self.poses, other.poses),
            self.channels.joined(other.channels),
            np.concatenate([self.index, other.index]),
            np.concatenate([self.squares, other.squares]),
        )


@dataclass
class _Settings:
    """Settings not made lanes of: outer lane, places of the rod's ends, and squares of misses so far."""

    outer: Ints
    a: Ints
    b: Ints
    squares: Floats

    def take(self, keep: Ints) -> _Settings:
        return _Settings(self.outer[keep], self.a[keep], self.b[keep], self.squares[keep])

    @classmethod
    def joined(cls, parts: list[_Settings]) -> _Settings:
        return cls(
            np.concatenate([p.outer for p in parts]),
            np.concatenate([p.a for p in parts]),
            np.concatenate([p.b for p in parts]),
            np.concatenate([p.squares for p in parts]),
        )


def sweep(
    assembly: Assembly, wanted: list[Demand], keep: int = 1, families: Families | None = None
) -> Sweep:
    """Find the best ``keep`` settings of a build for one duty, exactly, on the declared grid.

    ``families`` is what sweeps of other builds found that this one may use, and the other way round.
    """
    return _Sweeper(assembly, wanted, keep, families or Families()).run()


class _Sweeper:
    def __init__(
        self, assembly: Assembly, wanted: list[Demand], keep: int, families: Families
    ) -> None:
        self.assembly = assembly
        self.levels = Levels(assembly.dimensions)
        self.weight = total_weight(wanted)
        self.holds = holds(wanted)
        self.screen = Screen.of(wanted)
        self.plan = _plan(wanted, self.screen)
        self.found = Sweep(settings=self.levels.settings)
        self.keep = keep
        self.families = families
        self.merits: Floats = np.zeros(0)
        self.numbers: Ints = np.zeros(0, dtype=np.int64)
        self.nearest_key: Nearness = (-1, np.inf, -1)
        self.unscreened: tuple[_Outers, Ints] | None = None

    def run(self) -> Sweep:
        """Sweep everything and say what was found."""
        pool: _Outers | None = None
        level = self._static_level()
        for outers in self._outers(level):
            pool = outers if pool is None else pool.joined(outers)
            if pool.index.size >= OUTER_LANES:
                self._under(pool)
                pool = None
        if pool is not None:
            self._under(pool)
        if not self.found.lanes.get("screened"):
            self.found.ruled_out = NO_SUSPENSION if not level.numbers.size else OF_ITSELF
        if not self.merits.size and not self.found.lanes.get("travelled") and self.unscreened:
            self.found.ruled_out = NO_ROD_ENDS
            self._look_at_some(*self.unscreened)
        self._finish()
        return self.found

    @property
    def worst_kept(self) -> float:
        """Merit that a setting must reach to be kept."""
        return float(self.merits[-1]) if self.merits.size >= self.keep else np.inf

    @property
    def most_squares(self) -> float:
        """Weighted squares of misses above which a setting is surely worse: equals go by number."""
        return float(self.weight * (self.worst_kept + 2 * MERIT_GRAIN) ** 2)

    # The suspension's level.

    def _static_level(self) -> StaticLevel:
        """Which suspension settings pass the static limits: known of the build's family, or found."""
        key = family_of(self.assembly, [s.demand for s in self.plan.static if s.demand])
        level = self.families.get(key)
        if level is None:
            level = self._find_static_level()
            self.families.put(key, level)
        self.found.refused_by.update(level.refused_by)
        step, short, number = level.nearest
        if number >= 0:
            number = int(self._setting_numbers(np.array([number]))[0])
        self.nearest_key = step, short, number
        return level

    def _setting_numbers(self, numbers: Ints) -> Ints:
        """Numbers of settings by those of their suspension settings, all else at its first position."""
        return self.levels.index_of(self.levels.suspension_positions(numbers))

    def _find_static_level(self) -> StaticLevel:
        total = prod(self.levels.sizes[i] for i in self.levels.suspension)
        passed: list[tuple[Ints, Floats]] = []
        for start in range(0, total, OUTER_LANES):
            numbers = np.arange(start, min(start + OUTER_LANES, total))
            self._count("suspension", numbers.size)
            lanes = self._test(self._outer_lanes(numbers)[0], self.plan.static)
            passed.append((lanes.index, lanes.squares))
        # noted by this very sweep, which then takes them over like those of any other build
        refused, self.found.refused_by = self.found.refused_by, {}
        return StaticLevel(
            np.concatenate([numbers for numbers, _ in passed]),
            np.concatenate([squares for _, squares in passed]),
            refused,
            self.nearest_key,
        )

    def _outers(self, level: StaticLevel) -> Iterator[_Outers]:
        """The suspension settings that passed, made ready for what is beneath them."""
        for low in range(0, level.numbers.size, OUTER_LANES):
            cut = slice(low, low + OUTER_LANES)
            lanes, poses = self._outer_lanes(level.numbers[cut])
            lanes.index = self._setting_numbers(lanes.index)
            lanes.squares = level.squares[cut].copy()
            # what is the build's own is alike in all of them
            lanes = self._test(lanes, self.plan.own)
            if lanes.index.size:
                columns = {side: lanes.scene.columns(side) for side in lanes.scene.sides()}
                yield _Outers(columns, poses, lanes.scene.channels, lanes.index, lanes.squares)

    def _outer_lanes(self, numbers: Ints) -> tuple[_Lanes, dict[Side, Floats]]:
        """Lanes of suspension settings with everything beneath at its first position, and their poses.

        The lanes' index is the suspension setting's number.
        """
        scene, poses = self.assembly.posed(self.levels.suspension_positions(numbers))
        lanes = _Lanes(scene, numbers, np.zeros(numbers.size))
        # a lane whose arm cannot reach ride height has no rod length, and nothing beneath it has either
        stands = np.isfinite(scene.left[k.ROD_LENGTH])
        if scene.right is not None:
            stands &= np.isfinite(scene.right[k.ROD_LENGTH])
        if stands.all():
            return lanes, poses
        some = np.flatnonzero(stands)
        return lanes.take(some), {side: pose[:, some] for side, pose in poses.items()}

    # The level of the tie rod's ends.

    def _under(self, outers: _Outers) -> None:
        """Everything beneath some suspension settings, those that missed least so far first."""
        order = np.lexsort((outers.index, outers.squares))
        for wave in _waves(order, FIRST_WAVE, WAVES_GROW):
            wave = wave[outers.squares[wave] <= self.most_squares]
            if wave.size:
                self._wave(outers, wave)

    def _wave(self, outers: _Outers, wave: Ints) -> None:
        screened: list[_Settings] = []
        waiting: list[_Settings] = []
        for settings in self._screened(outers, wave):
            screened.append(settings)
            if sum(s.outer.size for s in screened) >= INNER_LANES:
                waiting += self._travelled(outers, _Settings.joined(screened))
                screened = []
            if sum(s.outer.size for s in waiting) >= 4 * INNER_LANES:
                self._steer(outers, _Settings.joined(waiting))
                waiting = []
        if screened:
            waiting += self._travelled(outers, _Settings.joined(screened))
        if waiting:
            self._steer(outers, _Settings.joined(waiting))

    def _screened(self, outers: _Outers, wave: Ints) -> Iterator[_Settings]:
        """Settings under a wave of outer lanes that may do by what the screen tells."""
        levels = self.levels
        ends = levels.ends
        under = levels.outer_ends.count * levels.inner_ends.count
        room = np.maximum(self.most_squares - outers.squares[wave], 0.0)
        columns = {side: column[:, wave] for side, column in outers.columns.items()}
        poses = {side: pose[:, wave] for side, pose in outers.poses.items()}
        roll = None
        if "right" not in columns:
            roll = self.screen.roll_of(columns["left"], poses["left"], room)
        toes = [
            window
            for side in columns
            for window in self.screen.toes_of(
                side, columns[side], poses[side], self.assembly.toe, room, ends
            )
        ]
        passed = 0
        for some in np.array_split(np.arange(wave.size), -(-wave.size * under // SCREENED)):
            if not some.size:
                continue
            marks, refused = screen(ends, roll, toes, some)
            self._count("screened", marks.size)
            self._note_screened(refused)
            at, a, b = np.nonzero(marks)
            passed += at.size
            outer = wave[some[at]]
            for low in range(0, at.size, INNER_LANES):
                cut = slice(low, low + INNER_LANES)
                yield _Settings(outer[cut], a[cut], b[cut], outers.squares[outer[cut]])
        if not passed and not self.merits.size and self.unscreened is None:
            self.unscreened = outers, wave

    def _travelled(self, outers: _Outers, settings: _Settings) -> list[_Settings]:
        """Those of the settings that pass the tests over travel."""
        passed = []
        for low in range(0, settings.outer.size, INNER_LANES):
            some = settings.take(np.arange(low, min(low + INNER_LANES, settings.outer.size)))
            self._count("travelled", some.outer.size)
            lanes = self._lanes(outers, some)
            tested = self._test(lanes, self.plan.travel)
            if tested.index.size:
                kept = some.take(np.flatnonzero(np.isin(lanes.index, tested.index)))
                kept.squares = tested.squares
                passed.append(kept)
        return passed

    def _lanes(self, outers: _Outers, settings: _Settings, beneath: Ints | None = None) -> _Lanes:
        """Lanes of settings, tie rods set to the toe; what is beneath at its first position, or as told."""
        levels, pick = self.levels, settings.outer
        placed = (levels.outer_ends, settings.a), (levels.inner_ends, settings.b)
        geometry: dict[Side, Floats] = {}
        for side, columns in outers.columns.items():
            g = columns[:, pick]
            for table, at in placed:
                for row, channel in _MOVED.items():
                    if channel in table.shifts:
                        g[row : row + 3] += table.shifts[channel][:, at]
            set_rods(g, outers.poses[side][:, pick])
            geometry[side] = g
        layers = [table.layer(at) for table, at in placed]
        index = outers.index[pick] + levels.outer_ends.index[settings.a]
        index = index + levels.inner_ends.index[settings.b]
        if beneath is not None:
            layers.append(levels.beneath.layer(beneath))
            index = index + levels.beneath.index[beneath]
        scene = self.assembly.scene_of(geometry, outers.channels.under(pick, *layers))
        return _Lanes(scene, index, settings.squares.copy())

    # The last level: the rack's travel, the bar; steering and the envelope.

    def _steer(self, outers: _Outers, settings: _Settings) -> None:
        """Put settings to the last tests, those that missed least so far first."""
        beneath = self.levels.beneath.count
        # numbers of both levels together, the last one's running fastest
        order = np.argsort(settings.squares, kind="stable")
        for wave in _waves(order, max(1, FIRST_STEERED // beneath), STEERED_GROW):
            wave = wave[settings.squares[wave] <= self.most_squares]
            chunk = max(1, INNER_LANES // beneath)
            for low in range(0, wave.size, chunk):
                some = settings.take(wave[low : low + chunk])
                for first in range(0, beneath, INNER_LANES):
                    under = np.arange(first, min(first + INNER_LANES, beneath))
                    each = some.take(np.repeat(np.arange(some.outer.size), under.size))
                    self._count("steered", each.outer.size)
                    lanes = self._lanes(outers, each, np.tile(under, some.outer.size))
                    self._keep(self._test(lanes, self.plan.steer))

    def _keep(self, lanes: _Lanes) -> None:
        """Put settings that hold every limit among the best, and keep as many as asked for."""
        if lanes.index.size == 0:
            return
        merits = np.round(merit_of(lanes.squares, self.weight) / MERIT_GRAIN) * MERIT_GRAIN
        merits = np.concatenate([self.merits, merits])
        numbers = np.concatenate([self.numbers, lanes.index])
        order = np.lexsort((numbers, merits))[: self.keep]
        self.merits, self.numbers = merits[order], numbers[order]

    # Testing.

    def _test(self, lanes: _Lanes, steps: list[_Step]) -> _Lanes:
        """Put lanes through the steps; what is refused or ruled out falls away."""
        for step in steps:
            if lanes.index.size == 0:
                break
            if step.demand is None:
                lanes.scene = stopped(lanes.scene, self.holds)
                continue
            if step.kind is _Kind.REACH:
                lanes = self._reaching(step, lanes)
                continue
            if step.demand.is_limit:
                short = step.demand.shortfall(step.demand.figures(lanes.scene))
                keep = short <= 0.0
                self._note_refused(step, step.demand.label, lanes, short, keep)
            else:
                miss = step.demand.miss(step.demand.figures(lanes.scene))
                if step.kind is _Kind.BOUND:
                    # a figure may yet turn out not to be there, which counts for no more than this
                    miss = np.minimum(miss, NO_FIGURE_MISS)
                grown = lanes.squares + step.demand.weight * miss**2
                keep = grown <= self.most_squares
                if step.kind is not _Kind.BOUND:
                    lanes.squares = grown
            if not keep.all():
                lanes = lanes.take(np.flatnonzero(keep))
        return lanes

    def _reaching(self, step: _Step, lanes: _Lanes) -> _Lanes:
        """Lanes that can steer as far as a limit asks, or as a target asks of what shall be kept."""
        demand = step.demand
        assert demand is not None
        if demand.is_limit:
            assert demand.minimum is not None
            least = demand.minimum
        else:
            # one angle for all lanes: that of the lane which has missed least
            room = max(self.most_squares - float(lanes.squares.min()), 0.0)
            least = demand.wanted[0] - demand.tolerance * float(np.sqrt(room / demand.weight))
            least -= 1e-6
        if least <= LEAST_LOCK:
            return lanes
        sound = np.ones(lanes.scene.lanes, dtype=bool)
        for turn in turns(lanes.scene):
            sound &= sound_at(lanes.scene, self.holds, rack_for(lanes.scene, turn, least))
        if demand.is_limit:
            self._note_refused(step, demand.label, lanes, np.where(sound, 0.0, 1.0), sound)
        return lanes if sound.all() else lanes.take(np.flatnonzero(sound))

    # What is told of it.

    def _note_refused(
        self, step: _Step, label: str, lanes: _Lanes, short: Floats, keep: Bools
    ) -> None:
        refused = int(keep.size - keep.sum())
        if not refused or self.merits.size:
            return
        self.found.refused_by[label] = self.found.refused_by.get(label, 0) + refused
        if step.number < self.nearest_key[0]:
            return
        away = np.where(keep, np.inf, short)
        worst = int(np.lexsort((lanes.index, away))[0])
        key = (step.number, float(away[worst]), int(lanes.index[worst]))
        if key[0] > self.nearest_key[0] or key[1:] < self.nearest_key[1:]:
            self.nearest_key = key

    def _note_screened(self, refused: Ints) -> None:
        if self.merits.size:
            return
        for label, count in zip(self.screen.labels, refused, strict=True):
            if count and label:
                self.found.refused_by[label] = self.found.refused_by.get(label, 0) + int(count)

    def _look_at_some(self, outers: _Outers, wave: Ints) -> None:
        """Where the screen refused everything: solve some of it, so that a nearest setting can be named."""
        a, b = self.levels.outer_ends.count, self.levels.inner_ends.count
        some = np.unique(np.linspace(0, a * b - 1, min(a * b, NEAREST_SETTINGS)).astype(np.int64))
        outer = np.repeat(wave[:NEAREST_LANES], some.size)
        at = np.tile(some, wave[:NEAREST_LANES].size)
        counted = dict(self.found.refused_by)
        settings = _Settings(outer, at // b, at % b, outers.squares[outer])
        for passed in self._travelled(outers, settings):
            self._steer(outers, passed)
        # they were counted when they were screened
        self.found.refused_by = counted

    def _count(self, level: str, lanes: int) -> None:
        self.found.lanes[level] = self.found.lanes.get(level, 0) + lanes

    def _finish(self) -> None:
        found = self.found
        found.kept = [
            (float(merit), self.levels.positions_of(int(number)))
            for merit, number in zip(self.merits, self.numbers, strict=True)
        ]
        if not found.kept and self.nearest_key[2] >= 0:
            found.nearest = self.levels.positions_of(self.nearest_key[2])


# Rows of the geometry columns that a place of the rod's ends moves, each with the channel that moves it.
_MOVED = {k.ROD_END: OUTER_END, k.RACK_END: INNER_END}


def _waves(order: Ints, first: int, grow: int) -> Iterator[Ints]:
    """The order cut into waves, each so many times as long as the one before."""
    low, size = 0, first
    while low < order.size:
        yield order[low : low + size]
        low, size = low + size, size * grow


@dataclass(frozen=True)
class _Plan:
    """Steps of the three levels, in each the cheapest and most decisive first.

    ``static`` ones are the same for builds of one suspension, ``own`` ones the build's.
    """

    static: list[_Step]
    own: list[_Step]
    travel: list[_Step]
    steer: list[_Step]


def _plan(wanted: list[Demand], screened: Screen) -> _Plan:
    """The steps of a duty; a bound that the screen has looked at already is left out."""
    outer = [d for d in wanted if d.stage <= Stage.STATIC]
    still = [d for d in wanted if Stage.STATIC < d.stage <= Stage.TRAVEL]
    loads = [d for d in still if d.measure.group == "loads"]
    still = [d for d in still if d not in loads]
    steered = [d for d in wanted if d.stage > Stage.TRAVEL]
    outer.sort(key=lambda d: (d.stage, not d.is_limit))
    static = [(_Kind.JUDGE, d) for d in outer if d.measure.name != "price"]
    own = [(_Kind.JUDGE, d) for d in outer if d.measure.name == "price"]
    travel = [(_Kind.BOUND, b) for d in still if d not in screened.toe for b in d.bounds()]
    travel += [(_Kind.JUDGE, d) for d in still]
    # loads may hang on the bar
    loaded = [(_Kind.BOUND, b) for d in loads for b in d.bounds()]
    loaded += [(_Kind.JUDGE, d) for d in loads]
    steer: list[tuple[_Kind, Demand | None]] = [*sorted(loaded, key=_cost)]
    steer += [(_Kind.REACH, d) for d in sorted(steered, key=_by_limit) if _asks_lock(d)]
    steer += [(_Kind.BOUND, d) for d in sorted(steered, key=_by_limit) if d.measure.stop_only_masks]
    steer.append((_Kind.STOP, None))
    steer += [(_Kind.JUDGE, d) for d in sorted(steered, key=_by_limit)]
    plan: list[tuple[_Kind, Demand | None]] = [*static, *own, *sorted(travel, key=_cost), *steer]
    steps = [_Step(n, kind, demand) for n, (kind, demand) in enumerate(plan)]
    first, under, last = np.cumsum([len(static), len(own), len(travel)])
    return _Plan(steps[:first], steps[first:under], steps[under:last], steps[last:])


def _asks_lock(demand: Demand) -> bool:
    """Whether the rack position that an inner lock asks for can be tried before the stop is solved."""
    if demand.measure.name != "lock_inner":
        return False
    return demand.minimum is not None if demand.is_limit else demand.wanted[0] > LEAST_LOCK


def _by_limit(demand: Demand) -> tuple[int, bool]:
    return int(demand.stage), not demand.is_limit


def _cost(step: tuple[_Kind, Demand]) -> tuple[int, int, bool]:
    """Order of the tests over travel: by what has to be solved, then by how many states that takes."""
    _, demand = step
    sample = ("top", "ends", "all").index(demand.asks[0].sample)
    windowed = demand.measure.default_over is not None
    return int(demand.stage), sample + 1 if windowed else 0, not demand.is_limit

"""The staged tests of one build for one duty: what each level makes of settings, and what falls where.

A build's settings stand in three levels (``optimiser/levels.py``). Here is how a level's settings are put to
their tests; which of them are, in what order, and what of it is kept is for whoever searches:
``optimiser/inner.py`` for the best of one duty, ``optimiser/pairing.py`` for settings that go together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
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
# Merits closer than this are the same: rounding noise must not decide a ranking.
MERIT_GRAIN = 1e-9
# A wanted inner lock of no more than this many degrees is not worth trying beforehand.
LEAST_LOCK = 5.0


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
class Lanes:
    """Candidates under test: their scene, setting numbers, and weighted squares of misses so far."""

    scene: Scene
    index: Ints
    squares: Floats

    def take(self, keep: Ints) -> Lanes:
        return Lanes(self.scene.take(keep), self.index[keep], self.squares[keep])


@dataclass
class Outers:
    """Suspension settings that passed the static limits, without the states solved for them."""

    columns: dict[Side, Floats]
    poses: dict[Side, Floats]
    channels: Channels
    index: Ints
    squares: Floats

    def joined(self, other: Outers) -> Outers:
        def both(a: dict[Side, Floats], b: dict[Side, Floats]) -> dict[Side, Floats]:
            return {side: np.concatenate([a[side], b[side]], axis=1) for side in a}

        return Outers(
            both(self.columns, other.columns),
            both(self.poses, other.poses),
            self.channels.joined(other.channels),
            np.concatenate([self.index, other.index]),
            np.concatenate([self.squares, other.squares]),
        )


@dataclass
class Settings:
    """Settings not made lanes of: outer lane, places of the rod's ends, and squares of misses so far."""

    outer: Ints
    a: Ints
    b: Ints
    squares: Floats

    def take(self, keep: Ints) -> Settings:
        return Settings(self.outer[keep], self.a[keep], self.b[keep], self.squares[keep])

    @classmethod
    def joined(cls, parts: list[Settings]) -> Settings:
        return cls(
            np.concatenate([p.outer for p in parts]),
            np.concatenate([p.a for p in parts]),
            np.concatenate([p.b for p in parts]),
            np.concatenate([p.squares for p in parts]),
        )


class Stages:
    """The levels' tests of one build for one duty.

    ``ceiling`` is the merit above which a setting need not be looked at further; ``most_squares`` says the
    same of its weighted squares of misses. While ``telling`` is on, ``refused_by`` counts what each limit
    refuses and ``nearest_key`` keeps the setting that came furthest. ``lanes`` counts what was solved.
    """

    def __init__(
        self, assembly: Assembly, wanted: list[Demand], families: Families | None = None
    ) -> None:
        self.assembly = assembly
        self.levels = Levels(assembly.dimensions)
        self.weight = total_weight(wanted)
        self.holds = holds(wanted)
        self.screen = Screen.of(wanted)
        self.plan = _plan(wanted, self.screen)
        self.families = families or Families()
        self.ceiling = np.inf
        self.telling = True
        self.refused_by: dict[str, int] = {}
        self.nearest_key: Nearness = (-1, np.inf, -1)
        self.lanes: dict[str, int] = {}

    @property
    def most_squares(self) -> float:
        """Weighted squares of misses above which a setting is surely worse: equals go by number."""
        return float(self.weight * (self.ceiling + 2 * MERIT_GRAIN) ** 2)

    def merits(self, squares: Floats) -> Floats:
        """Merits of weighted squares of misses, to the grain."""
        return np.asarray(np.round(merit_of(squares, self.weight) / MERIT_GRAIN) * MERIT_GRAIN)

    # The suspension's level.

    def static_level(self) -> StaticLevel:
        """Which suspension settings pass the static limits: known of the build's family, or found."""
        key = family_of(self.assembly, [s.demand for s in self.plan.static if s.demand])
        level = self.families.get(key)
        if level is None:
            level = self._find_static_level()
            self.families.put(key, level)
        self.refused_by.update(level.refused_by)
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
        refused, self.refused_by = self.refused_by, {}
        return StaticLevel(
            np.concatenate([numbers for numbers, _ in passed]),
            np.concatenate([squares for _, squares in passed]),
            refused,
            self.nearest_key,
        )

    def outers(self, level: StaticLevel) -> Iterator[Outers]:
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
                yield Outers(columns, poses, lanes.scene.channels, lanes.index, lanes.squares)

    def _outer_lanes(self, numbers: Ints) -> tuple[Lanes, dict[Side, Floats]]:
        """Lanes of suspension settings with everything beneath at its first position, and their poses.

        The lanes' index is the suspension setting's number.
        """
        scene, poses = self.assembly.posed(self.levels.suspension_positions(numbers))
        lanes = Lanes(scene, numbers, np.zeros(numbers.size))
        # a lane whose arm cannot reach ride height has no rod length, and nothing beneath it has either
        stands = np.isfinite(scene.left[k.ROD_LENGTH])
        if scene.right is not None:
            stands &= np.isfinite(scene.right[k.ROD_LENGTH])
        if stands.all():
            return lanes, poses
        some = np.flatnonzero(stands)
        return lanes.take(some), {side: pose[:, some] for side, pose in poses.items()}

    # The level of the tie rod's ends.

    def screened(self, outers: Outers, wave: Ints) -> Iterator[Settings]:
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
        for some in np.array_split(np.arange(wave.size), -(-wave.size * under // SCREENED)):
            if not some.size:
                continue
            marks, refused = screen(ends, roll, toes, some)
            self._count("screened", marks.size)
            self._note_screened(refused)
            at, a, b = np.nonzero(marks)
            outer = wave[some[at]]
            for low in range(0, at.size, INNER_LANES):
                cut = slice(low, low + INNER_LANES)
                yield Settings(outer[cut], a[cut], b[cut], outers.squares[outer[cut]])

    def travelled(self, outers: Outers, settings: Settings) -> list[Settings]:
        """Those of the settings that pass the tests over travel."""
        passed = []
        for low in range(0, settings.outer.size, INNER_LANES):
            some = settings.take(np.arange(low, min(low + INNER_LANES, settings.outer.size)))
            self._count("travelled", some.outer.size)
            lanes = self.lanes_of(outers, some)
            tested = self._test(lanes, self.plan.travel)
            if tested.index.size:
                kept = some.take(np.flatnonzero(np.isin(lanes.index, tested.index)))
                kept.squares = tested.squares
                passed.append(kept)
        return passed

    def numbers_of(self, outers: Outers, settings: Settings) -> Ints:
        """Setting numbers (n,) with what is beneath at its first position."""
        levels = self.levels
        ends = levels.outer_ends.index[settings.a] + levels.inner_ends.index[settings.b]
        return np.asarray(outers.index[settings.outer] + ends)

    def lanes_of(self, outers: Outers, settings: Settings, beneath: Ints | None = None) -> Lanes:
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
        index = self.numbers_of(outers, settings)
        if beneath is not None:
            layers.append(levels.beneath.layer(beneath))
            index = index + levels.beneath.index[beneath]
        scene = self.assembly.scene_of(geometry, outers.channels.under(pick, *layers))
        return Lanes(scene, index, settings.squares.copy())

    # The last level: the rack's travel, the bar; steering and the envelope.

    def steered(self, outers: Outers, settings: Settings, beneath: Ints) -> Lanes:
        """Those of the settings, each with its setting beneath, that hold every limit; squares in full."""
        self._count("steered", settings.outer.size)
        return self._test(self.lanes_of(outers, settings, beneath), self.plan.steer)

    # Testing.

    def _test(self, lanes: Lanes, steps: list[_Step]) -> Lanes:
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

    def _reaching(self, step: _Step, lanes: Lanes) -> Lanes:
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
        self, step: _Step, label: str, lanes: Lanes, short: Floats, keep: Bools
    ) -> None:
        refused = int(keep.size - keep.sum())
        if not refused or not self.telling:
            return
        self.refused_by[label] = self.refused_by.get(label, 0) + refused
        if step.number < self.nearest_key[0]:
            return
        away = np.where(keep, np.inf, short)
        worst = int(np.lexsort((lanes.index, away))[0])
        key = (step.number, float(away[worst]), int(lanes.index[worst]))
        if key[0] > self.nearest_key[0] or key[1:] < self.nearest_key[1:]:
            self.nearest_key = key

    def _note_screened(self, refused: Ints) -> None:
        if not self.telling:
            return
        for label, count in zip(self.screen.labels, refused, strict=True):
            if count and label:
                self.refused_by[label] = self.refused_by.get(label, 0) + int(count)

    def _count(self, level: str, lanes: int) -> None:
        self.lanes[level] = self.lanes.get(level, 0) + lanes


# Rows of the geometry columns that a place of the rod's ends moves, each with the channel that moves it.
_MOVED = {k.ROD_END: OUTER_END, k.RACK_END: INNER_END}


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

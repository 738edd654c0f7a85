"""Search one build: an exact staged sweep over all its settings, a pure function of its inputs.

Settings are swept in two levels. The outer level holds everything that moves the suspension; its
straight-ahead pose at the wanted toe is solved once, and its static limits drop whole branches. Under each
survivor the inner level sets the tie rod's ends, the rack and the bar. Demands are tested cheapest first,
each on a bound of its figure before the figure itself, and what a limit refuses or the best merit so far
rules out is never solved further. Where steering and the envelope begin, each lane's stop is solved; before
that, lanes that cannot steer so far as asked under the holds that decide it are refused. Nothing that could
be the best is dropped, so the best found is the best there is on the grid; among equals the lowest setting
number wins.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from math import prod

import numpy as np

from goals.verdicts import NO_FIGURE_MISS, Demand, holds, merit_of, total_weight
from kinematics import rows as k
from kinematics.arrays import Bools, Floats, Ints
from kinematics.corner import set_rods, set_toe
from kinematics.measures import Stage
from kinematics.measures.steer import rack_for, turns
from kinematics.scene import Scene, Side
from kinematics.stops import sound_at, stopped
from optimiser.assembly import Assembly
from optimiser.space import Dimension

OUTER_LANES = 4096
INNER_LANES = 8192
# Merits closer than this are the same: rounding noise must not decide a ranking.
MERIT_GRAIN = 1e-9


@dataclass
class Sweep:
    """What sweeping a build for one duty found.

    ``best`` is the setting's positions and ``merit`` its merit, None where nothing holds every limit;
    then ``nearest`` is the setting that came furthest through the tests with the least shortfall.
    """

    settings: int
    best: tuple[int, ...] | None = None
    merit: float | None = None
    nearest: tuple[int, ...] | None = None
    refused_by: dict[str, int] = field(default_factory=dict)


class _Kind(Enum):
    """What a step does with its lanes."""

    JUDGE = "judge"  # the demand on its figure
    BOUND = "bound"  # the demand on a bound of its figure, which can only refuse
    REACH = "reach"  # a least inner lock against what decides the stop, before the stop is solved
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


def sweep(assembly: Assembly, wanted: list[Demand]) -> Sweep:
    """Find the best setting of a build for one duty, exactly, on the declared grid."""
    return _Sweeper(assembly, wanted).run()


class _Sweeper:
    def __init__(self, assembly: Assembly, wanted: list[Demand]) -> None:
        self.assembly = assembly
        dims = assembly.dimensions
        self.sizes = tuple(d.size for d in dims)
        self.outer = [i for i, d in enumerate(dims) if not d.steering_only]
        self.inner = [i for i, d in enumerate(dims) if d.steering_only]
        self.weight = total_weight(wanted)
        self.holds = holds(wanted)
        self.outer_steps, self.inner_steps = _plan(wanted)
        self.found = Sweep(settings=prod(self.sizes))
        self.best_key: tuple[float, int] = (np.inf, -1)
        self.nearest_key: tuple[int, float, int] = (-1, np.inf, -1)

    def run(self) -> Sweep:
        """Sweep everything and say what was found."""
        table = _inner_table(self.assembly.dimensions, self.inner)
        per_outer = table.count
        outer_total = prod(self.sizes[i] for i in self.outer)
        for start in range(0, outer_total, OUTER_LANES):
            numbers = np.arange(start, min(start + OUTER_LANES, outer_total))
            lanes = self._test(self._outer_lanes(numbers), self.outer_steps)
            poses = self._poses(lanes)
            chunk = max(1, INNER_LANES // per_outer)
            for first in range(0, lanes.index.size, chunk):
                pick = np.arange(first, min(first + chunk, lanes.index.size))
                for low in range(0, per_outer, INNER_LANES):
                    high = min(low + INNER_LANES, per_outer)
                    self._inner_test(self._inner_lanes(lanes, poses, pick, table, low, high))
        self._finish()
        return self.found

    def _outer_lanes(self, numbers: Ints) -> _Lanes:
        """Lanes of the outer level with the inner dimensions at their first position."""
        positions = np.zeros((numbers.size, len(self.sizes)), dtype=np.int64)
        sizes = tuple(self.sizes[i] for i in self.outer)
        if sizes:
            positions[:, self.outer] = np.stack(np.unravel_index(numbers, sizes), axis=1)
        scene = self.assembly.scene(positions)
        lanes = _Lanes(scene, self._index_of(positions), np.zeros(numbers.size))
        # a lane whose arm cannot reach ride height has no rod length, and nothing beneath it has either
        stands = np.isfinite(scene.left[k.ROD_LENGTH])
        if scene.right is not None:
            stands &= np.isfinite(scene.right[k.ROD_LENGTH])
        return lanes if stands.all() else lanes.take(np.flatnonzero(stands))

    def _poses(self, lanes: _Lanes) -> dict[Side, Floats]:
        """Straight-ahead pose of every outer lane at the wanted toe, shared by all settings under it."""
        return {
            side: set_toe(lanes.scene.columns(side), self.assembly.toe).raw[:, 0, :]
            for side in lanes.scene.sides()
        }

    def _inner_lanes(
        self,
        lanes: _Lanes,
        poses: dict[Side, Floats],
        pick: Ints,
        table: _InnerTable,
        low: int,
        high: int,
    ) -> _Lanes:
        """Every inner setting from low to high under each picked outer lane, tie rods set to the toe."""
        cut = slice(low, high)
        count = pick.size * (high - low)
        geometry: dict[Side, Floats] = {}
        for side in lanes.scene.sides():
            outer = lanes.scene.columns(side)[:, pick, None]
            g = np.repeat(outer, high - low, axis=2)
            for row, channel in _MOVED.items():
                if channel in table.shifts:
                    g[row : row + 3] += table.shifts[channel][:, None, cut]
            set_rods(g, poses[side][:, pick, None])
            geometry[side] = g.reshape(-1, count)

        channels = lanes.scene.channels.under(pick, table.shifts, np.arange(low, high))
        scene = self.assembly.scene_of(geometry, channels)
        index = (lanes.index[pick, None] + table.index[None, cut]).reshape(count)
        return _Lanes(scene, index, np.repeat(lanes.squares[pick], high - low))

    def _inner_test(self, lanes: _Lanes) -> None:
        lanes = self._test(lanes, self.inner_steps)
        if lanes.index.size == 0:
            return
        merits = np.round(merit_of(lanes.squares, self.weight) / MERIT_GRAIN) * MERIT_GRAIN
        order = np.lexsort((lanes.index, merits))
        key = (float(merits[order[0]]), int(lanes.index[order[0]]))
        self.best_key = min(self.best_key, key)

    def _test(self, lanes: _Lanes, steps: list[_Step]) -> _Lanes:
        """Put lanes through the steps; what is refused or ruled out falls away."""
        for step in steps:
            if lanes.index.size == 0:
                break
            if step.demand is None:
                lanes.scene = stopped(lanes.scene, self.holds)
                continue
            if step.demand.is_limit:
                short = self._shortfall(lanes.scene, step.kind, step.demand)
                keep = short <= 0.0
                self._note_refused(step, step.demand.label, lanes, short, keep)
            else:
                miss = step.demand.miss(step.demand.figures(lanes.scene))
                if step.kind is _Kind.BOUND:
                    # a figure may yet turn out not to be there, which counts for no more than this
                    miss = np.minimum(miss, NO_FIGURE_MISS)
                grown = lanes.squares + step.demand.weight * miss**2
                # only what is surely worse than the best may go: equals are decided by number
                keep = grown <= self.weight * (self.best_key[0] + 2 * MERIT_GRAIN) ** 2
                if step.kind is not _Kind.BOUND:
                    lanes.squares = grown
            if not keep.all():
                lanes = lanes.take(np.flatnonzero(keep))
        return lanes

    def _shortfall(self, scene: Scene, kind: _Kind, demand: Demand) -> Floats:
        if kind is not _Kind.REACH:
            return demand.shortfall(demand.figures(scene))
        assert demand.minimum is not None
        sound = np.ones(scene.lanes, dtype=bool)
        for turn in turns(scene):
            sound &= sound_at(scene, self.holds, rack_for(scene, turn, demand.minimum))
        return np.where(sound, 0.0, 1.0)

    def _note_refused(
        self, step: _Step, label: str, lanes: _Lanes, short: Floats, keep: Bools
    ) -> None:
        refused = int(keep.size - keep.sum())
        if not refused:
            return
        self.found.refused_by[label] = self.found.refused_by.get(label, 0) + refused
        if self.best_key[1] >= 0 or step.number < self.nearest_key[0]:
            return
        away = np.where(keep, np.inf, short)
        worst = int(np.lexsort((lanes.index, away))[0])
        key = (step.number, float(away[worst]), int(lanes.index[worst]))
        if key[0] > self.nearest_key[0] or key[1:] < self.nearest_key[1:]:
            self.nearest_key = key

    def _finish(self) -> None:
        if self.best_key[1] >= 0:
            self.found.merit = self.best_key[0]
            self.found.best = self._positions_of(self.best_key[1])
        elif self.nearest_key[2] >= 0:
            self.found.nearest = self._positions_of(self.nearest_key[2])

    def _index_of(self, positions: Ints) -> Ints:
        if not self.sizes:
            return np.zeros(positions.shape[0], dtype=np.int64)
        return np.asarray(np.ravel_multi_index(tuple(positions.T), self.sizes), dtype=np.int64)

    def _positions_of(self, index: int) -> tuple[int, ...]:
        if not self.sizes:
            return ()
        return tuple(int(p) for p in np.unravel_index(index, self.sizes))


# Rows of the geometry columns that an inner setting moves, each with the channel that moves it.
_MOVED = {k.ROD_END: "tie_rod_outer", k.RACK_END: "tie_rod_inner"}


@dataclass(frozen=True)
class _InnerTable:
    """What each inner setting adds to what its outer lane was assembled with.

    ``shifts`` is channel → (3, count) for points, (count,) for numbers; ``index`` adds to the setting number.
    """

    count: int
    shifts: dict[str, Floats]
    index: Ints


def _inner_table(dimensions: tuple[Dimension, ...], inner: list[int]) -> _InnerTable:
    sizes = tuple(d.size for d in dimensions)
    counts = tuple(sizes[i] for i in inner)
    count = prod(counts)
    strides = [prod(sizes[i + 1 :]) for i in range(len(sizes))]
    shifts: dict[str, Floats] = {}
    index = np.zeros(count, dtype=np.int64)
    places = np.unravel_index(np.arange(count), counts) if counts else ()
    for i, at in zip(inner, places, strict=True):
        index += strides[i] * at
        for channel, table in dimensions[i].effects.items():
            # the first position is what the outer lanes were assembled with
            shift = (table[at] - table[0]).T
            shifts[channel] = shifts[channel] + shift if channel in shifts else shift
    return _InnerTable(count, shifts, index)


def _plan(wanted: list[Demand]) -> tuple[list[_Step], list[_Step]]:
    """Steps of the outer and of the inner level, cheapest and most decisive first."""
    outer = [d for d in wanted if d.stage <= Stage.STATIC]
    still = [d for d in wanted if Stage.STATIC < d.stage <= Stage.TRAVEL]
    steered = [d for d in wanted if d.stage > Stage.TRAVEL]
    steps = [(_Kind.JUDGE, d) for d in sorted(outer, key=lambda d: (d.stage, not d.is_limit))]
    travel = [(_Kind.BOUND, bound) for d in still for bound in d.bounds()]
    travel += [(_Kind.JUDGE, d) for d in still]
    plan: list[tuple[_Kind, Demand | None]] = [*steps, *sorted(travel, key=_cost)]
    plan += [(_Kind.REACH, d) for d in steered if _asks_lock(d)]
    plan += [(_Kind.BOUND, d) for d in sorted(steered, key=_by_limit) if d.measure.stop_only_masks]
    plan.append((_Kind.STOP, None))
    plan += [(_Kind.JUDGE, d) for d in sorted(steered, key=_by_limit)]
    numbered = [_Step(n, kind, demand) for n, (kind, demand) in enumerate(plan)]
    return numbered[: len(outer)], numbered[len(outer) :]


def _asks_lock(demand: Demand) -> bool:
    """Whether the rack position that a limit on the inner wheel's lock asks for can be tried beforehand."""
    return demand.is_limit and demand.measure.name == "lock_inner" and demand.minimum is not None


def _by_limit(demand: Demand) -> tuple[int, bool]:
    return int(demand.stage), not demand.is_limit


def _cost(step: tuple[_Kind, Demand]) -> tuple[int, bool, int, bool]:
    """Order of the tests over travel: by what has to be solved, then by how many states that takes.

    Loads come behind the rest: they cost more and seldom decide.
    """
    _, demand = step
    sample = ("top", "ends", "all").index(demand.asks[0].sample)
    windowed = demand.measure.default_over is not None
    loads = demand.measure.group == "loads"
    return int(demand.stage), loads, sample + 1 if windowed else 0, not demand.is_limit

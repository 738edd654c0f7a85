"""A catalogue as one flat problem, the way a general-purpose optimiser is given it.

One categorical for the part at each station, one variable for each thing that can be set on each part and
each duty. What is set on parts that are not chosen is ignored. Candidates come in batches and are judged by
the project's own geometry, stop and verdicts, whatever their builds: builds that differ in nothing but
their points and numbers share the kernel's calls.

Judging is as generous as can be: a duty's demands are tested cheapest first and a candidate that breaks
one is not solved further, and every half of a candidate counts: the settings of one duty that hold are kept
for the build, whatever the settings of the other duty beside them were.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from goals.verdicts import Demand, merit_of, total_weight
from kinematics.arrays import Floats, Ints
from kinematics.channels import Channels
from kinematics.corner import pack, set_toe
from kinematics.measures import Stage
from kinematics.scene import Scene, Side
from optimiser.assembly import Assembly, sides_of
from optimiser.evaluate import stopped
from optimiser.problem import Problem
from optimiser.space import Dimension

# What a shortfall counts at most, in the measure's scale: some figures that do not exist count 100.
MOST_SHORT = 10.0
STEPS = ((Stage.PARTS, Stage.STATIC), (Stage.ROD, Stage.TRAVEL), (Stage.STEER, Stage.ENVELOPE))
UNBUILDABLE = len(STEPS) + 1.0


@dataclass(frozen=True)
class Variable:
    """One thing to set in one duty. ``station`` and ``option`` say on which part; None is always there."""

    name: str
    dimension: Dimension
    station: int | None
    option: int | None

    @property
    def size(self) -> int:
        """How many positions it has."""
        return self.dimension.size

    @property
    def ordered(self) -> bool:
        """Whether its positions stand in an order: an adjuster's or a stack's do, a choice's do not."""
        return self.dimension.kind != "choice"


@dataclass
class Archive:
    """Everything that is known to hold: the best merit of each build in each duty.

    ``held`` counts the candidates that hold every limit of a duty among those judged.
    """

    duties: tuple[str, ...]
    merits: dict[tuple[int, str], float] = field(default_factory=dict)
    judged: int = 0
    held: dict[str, int] = field(default_factory=dict)

    def note(self, builds: Ints, duty: str, merits: Floats) -> None:
        """Keep what holds; not-a-number does not."""
        good = np.flatnonzero(np.isfinite(merits))
        self.held[duty] = self.held.get(duty, 0) + good.size
        for i in good:
            key = int(builds[i]), duty
            self.merits[key] = min(float(merits[i]), self.merits.get(key, np.inf))

    def builds(self) -> dict[int, float]:
        """Merit of every build that serves all duties: that of its worst."""
        numbers = {number for number, _ in self.merits}
        rows = {n: [self.merits.get((n, duty), np.inf) for duty in self.duties] for n in numbers}
        return {n: max(row) for n, row in rows.items() if max(row) < np.inf}


@dataclass(frozen=True)
class _Ready:
    """A build made ready for a duty.

    ``family`` tells all that a scene has of it beside its lanes; ``bases`` are its channels, side by side,
    with everything at its first position.
    """

    assembly: Assembly
    wanted: list[Demand]
    family: str
    bases: dict[Side, dict[str, Floats]]


class Flat:
    """The flat problem of a catalogue; ``archive`` keeps what any candidate showed."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.space = problem.space
        self.duties = problem.duties
        self.stations = [station.value for station in self.space.stations]
        self.options = [len(parts) for parts in self.space.options]
        self.numbers = {self.space.picks(n): n for n in range(self.space.builds)}
        self.variables = {duty: self._variables(duty) for duty in self.duties}
        self.archive = Archive(self.duties)
        self._ready: dict[tuple[int, str], _Ready | None] = {}

    def _variables(self, duty: str) -> list[Variable]:
        found: dict[str, Variable] = {}
        places = {station: s for s, station in enumerate(self.space.stations)}
        for number in self._one_of_each():
            assembly = self.problem.assembly(self.space.build(number), duty)
            if assembly is None:
                continue
            for dim in assembly.dimensions:
                name = f"{duty}.{dim.station.value}.{dim.part}.{dim.name}"
                station = places.get(dim.station)
                option = None if station is None else self.space.picks(number)[station]
                if dim.size > 1:
                    found.setdefault(name, Variable(name, dim, station, option))
        return list(found.values())

    def _one_of_each(self) -> list[int]:
        """Builds that have every part of the catalogue among them."""
        first: dict[tuple[int, int], int] = {}
        for number in range(self.space.builds):
            for place in enumerate(self.space.picks(number)):
                first.setdefault(place, number)
        return sorted(set(first.values()))

    @cached_property
    def sizes(self) -> list[int]:
        """Size of every variable: parts by station, then settings, duty by duty."""
        return self.options + [v.size for duty in self.duties for v in self.variables[duty]]

    def judge(self, numbers: Ints) -> tuple[Floats, Floats]:
        """Candidates (n, variables), as ``sizes`` has them: merit, and violation of each duty (duties, n).

        Merit is that of the worst duty, not-a-number unless all hold. A violation is 0 where all limits of
        the duty hold; it counts the steps of tests not passed, and adds what the first of them lacks.
        """
        n = numbers.shape[0]
        picks = numbers[:, : len(self.options)]
        builds = np.array([self.numbers.get(tuple(row), -1) for row in picks.tolist()])
        violation = np.full((len(self.duties), n), UNBUILDABLE)
        merits = np.full((len(self.duties), n), np.nan)
        at = len(self.options)
        for d, duty in enumerate(self.duties):
            settings = numbers[:, at : at + len(self.variables[duty])]
            at += len(self.variables[duty])
            for lanes in self._families(builds, duty):
                merit, lack = self._judge_family(duty, builds[lanes], picks[lanes], settings[lanes])
                merits[d, lanes], violation[d, lanes] = merit, lack
            self.archive.note(builds, duty, merits[d])
        self.archive.judged += n
        return merits.max(axis=0), violation

    def scene(self, duty: str, builds: Ints, picks: Ints, settings: Ints) -> Scene:
        """A scene of candidates of one family, tie rods set to the duty's toe."""
        kinds, which = np.unique(builds, return_inverse=True)
        ready = [one for number in kinds if (one := self._of(int(number), duty)) is not None]
        first = ready[0].assembly
        channels: dict[str, dict[str, Floats]] = {}
        columns = {}
        for side in sides_of(self.problem.car):
            c = self._channels([one.bases[side] for one in ready], which, duty, picks, settings)
            channels[side] = c
            columns[side] = pack(first.corners_of(side, c))
            set_toe(columns[side], first.toe)
        price = np.array([one.assembly.build.price for one in ready])[which]
        made = first.scene_of(columns, Channels.plain(channels, builds.size))
        return replace(made, price=price)

    def _of(self, number: int, duty: str) -> _Ready | None:
        key = number, duty
        if key not in self._ready:
            assembly = self.problem.assembly(self.space.build(number), duty)
            self._ready[key] = None if assembly is None else _ready(self.problem, assembly, duty)
        return self._ready[key]

    def _families(self, builds: Ints, duty: str) -> list[Ints]:
        groups: dict[str, list[int]] = defaultdict(list)
        for lane, number in enumerate(builds.tolist()):
            ready = self._of(number, duty) if number >= 0 else None
            if ready is not None:
                groups[ready.family].append(lane)
        return [np.array(lanes) for lanes in groups.values()]

    def _channels(
        self,
        bases: list[dict[str, Floats]],
        which: Ints,
        duty: str,
        picks: Ints,
        settings: Ints,
    ) -> dict[str, Floats]:
        """Every channel of every lane: its build's, and what its settings add."""
        c = {
            name: np.stack([base[name] for base in bases], axis=-1)[..., which] for name in bases[0]
        }
        for column, variable in enumerate(self.variables[duty]):
            on = self._there(variable, picks)
            for name, table in variable.dimension.effects.items():
                shift = (table[settings[on, column]] - table[0]).T
                c[name][..., on] += shift
                if name == "strut_lower":
                    c["strut_upper"][..., on] += shift
        return c

    def _there(self, variable: Variable, picks: Ints) -> Ints:
        if variable.station is None:
            return np.arange(picks.shape[0])
        return np.flatnonzero(picks[:, variable.station] == variable.option)

    def _judge_family(
        self, duty: str, builds: Ints, picks: Ints, settings: Ints
    ) -> tuple[Floats, Floats]:
        ready = self._of(int(builds[0]), duty)
        assert ready is not None
        scene = self.scene(duty, builds, picks, settings)
        alive = np.arange(builds.size)
        violation = np.zeros(builds.size)
        squares = np.zeros(builds.size)
        for number, (low, high) in enumerate(STEPS):
            if alive.size == 0:
                break
            wanted = [d for d in ready.wanted if low <= d.stage <= high]
            if number == len(STEPS) - 1:
                scene = stopped(scene, ready.wanted)
            short, squared = _look(scene, wanted)
            squares[alive] += squared
            broken = short > 0.0
            violation[alive] = np.where(broken, len(STEPS) - number - 1 + short / (1 + short), 0.0)
            alive, scene = alive[~broken], scene.take(np.flatnonzero(~broken))
        merits = merit_of(squares, total_weight(ready.wanted))
        return np.where(violation > 0.0, np.nan, merits), violation


def _look(scene: Scene, wanted: list[Demand]) -> tuple[Floats, Floats]:
    """What the limits lack together, and the weighted squares of the targets' misses, (n,)."""
    short, squares = np.zeros(scene.lanes), np.zeros(scene.lanes)
    for demand in wanted:
        figures = demand.figures(scene)
        if demand.is_limit:
            short += np.minimum(demand.shortfall(figures), MOST_SHORT)
        else:
            squares += demand.weight * demand.miss(figures) ** 2
    return short, squares


def _ready(problem: Problem, assembly: Assembly, duty: str) -> _Ready:
    wanted = problem.demands(assembly, duty)
    told = (assembly.kit, assembly.stud, assembly.fittings, assembly.lowering, wanted)
    bases = {side: _base(assembly, side) for side in sides_of(problem.car)}
    return _Ready(assembly, wanted, repr(told), bases)


def _base(assembly: Assembly, side: Side) -> dict[str, Floats]:
    """An assembly's channels with everything at its first position, (3,) or ()."""
    first = np.zeros((1, len(assembly.dimensions)), dtype=np.int64)
    return {name: value[..., 0] for name, value in assembly.channels(side, first).items()}

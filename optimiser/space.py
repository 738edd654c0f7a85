"""The space that is searched: builds by number, and each build's settings as a grid.

A build is one part for each station. Its settings are dimensions, one for each adjuster, choice or stack;
a setting is a position on each. Builds that declare they cannot be combined are not in the numbering.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from math import prod

import numpy as np

from goals.duties import Duty, LoweringRange
from goals.parts import Adjuster, Part, Parts, Position, Station
from goals.stacks import Pile, piles
from kinematics.arrays import Floats, Ints
from optimiser.channels import (
    BENEATH_THE_RODS,
    STEERING_ONLY,
    STUD_LEVER,
    UNFILLED,
    channel_of,
    numbers_of,
)
from optimiser.numbering import Numbering, Pair

AS_IS = "as_is"
MOST_BUILDS = 20_000_000


@dataclass(frozen=True)
class Dimension:
    """One thing to set: its positions and what each does.

    ``values`` are what a person sets (mm, or a position's name), ``effects`` channel → (k, 3) or (k,).
    """

    station: Station
    part: str
    name: str
    kind: str
    values: tuple[float | str, ...]
    effects: dict[str, Floats]
    reads: str | None = None
    stack: tuple[Pile, ...] = ()

    @property
    def size(self) -> int:
        """How many positions there are."""
        return len(self.values)

    @property
    def steering_only(self) -> bool:
        """Whether only the tie rod's ends, the rack or the anti-roll bar are touched."""
        return set(self.effects) <= STEERING_ONLY

    @property
    def beneath_the_rods(self) -> bool:
        """Whether nothing is touched that a tie rod's ends and its length hang on."""
        return set(self.effects) <= BENEATH_THE_RODS

    def shift(self, channel: str, positions: Ints) -> Floats:
        """The channel's shift at the given positions: (3, n) or (n,)."""
        return np.asarray(self.effects[channel][positions].T)

    def only(self, keep: list[int]) -> Dimension:
        """The same dimension with some of its positions."""
        return Dimension(
            self.station,
            self.part,
            self.name,
            self.kind,
            tuple(self.values[i] for i in keep),
            {channel: table[keep] for channel, table in self.effects.items()},
            self.reads,
            tuple(self.stack[i] for i in keep) if self.stack else (),
        )


@dataclass(frozen=True)
class Build:
    """One part for each station, with everything that can be set on it."""

    number: int
    parts: dict[Station, Part]
    dimensions: tuple[Dimension, ...] = field(repr=False)

    @property
    def name(self) -> dict[str, str]:
        """Station → part id."""
        return {station.value: part.id for station, part in self.parts.items()}

    @cached_property
    def price(self) -> float:
        """What has yet to be paid for the build."""
        return sum(part.price for part in self.to_buy)

    @property
    def to_buy(self) -> list[Part]:
        """Parts that are not owned and not on the car."""
        return [p for p in self.parts.values() if not p.owned and not p.today and p.id != AS_IS]


@dataclass(frozen=True)
class Space:
    """All builds of a parts file."""

    stations: tuple[Station, ...]
    options: tuple[tuple[Part, ...], ...]

    @cached_property
    def numbering(self) -> Numbering:
        """Builds by number. Raises ValueError where the parts make more than MOST_BUILDS."""
        total = prod(len(parts) for parts in self.options)
        if total > MOST_BUILDS:
            raise ValueError(
                f"the parts make {total} builds; at most {MOST_BUILDS} can be numbered: "
                "leave out parts that you would not fit"
            )
        return Numbering(tuple(len(parts) for parts in self.options), self._apart())

    def _apart(self) -> list[Pair]:
        """Parts that exclude each other, as (station, option) twice."""
        every = [(s, i) for s, parts in enumerate(self.options) for i in range(len(parts))]
        places: dict[str, list[tuple[int, int]]] = {}
        for s, i in every:
            places.setdefault(self.options[s][i].id, []).append((s, i))
        return [
            ((s, i), (t, j))
            for s, i in every
            for other in self.options[s][i].fits.not_with
            for t, j in places.get(other, [])
            if s != t or i == j
        ]

    @property
    def builds(self) -> int:
        """Number of builds."""
        return self.numbering.count

    def build(self, number: int) -> Build:
        """The build of a number, 0 to builds - 1."""
        return self._assemble(number, self.picks(number))

    def _assemble(self, number: int, pick: tuple[int, ...]) -> Build:
        chosen = {
            station: parts[i]
            for station, parts, i in zip(self.stations, self.options, pick, strict=True)
        }
        dims = tuple(d for station, part in chosen.items() for d in dimensions_of(part, station))
        return Build(number, chosen, dims)

    def picks(self, number: int) -> tuple[int, ...]:
        """Which option each station has in a build."""
        return self.numbering.picks(number)

    def number_of(self, picks: tuple[int, ...]) -> int | None:
        """The build of one option a station; None where they cannot be combined."""
        return self.numbering.number_of(picks)

    def today(self) -> Build:
        """The parts that are on the car as measured (number -1 where they make no build)."""
        pick = tuple(
            next((i for i, p in enumerate(parts) if p.today or p.id == AS_IS), 0)
            for parts in self.options
        )
        return self.build_of(pick)

    def build_of(self, picks: tuple[int, ...]) -> Build:
        """The build of one option a station (number -1 where they cannot be combined)."""
        number = self.number_of(picks)
        return self._assemble(-1 if number is None else number, picks)

    @cached_property
    def _sizes(self) -> dict[tuple[int, int], int]:
        """Settings of each part by station and option, before a duty's ride height narrows them."""
        return {
            (s, i): prod(d.size for d in dimensions_of(part, station))
            for s, station in enumerate(self.stations)
            for i, part in enumerate(self.options[s])
        }

    def combinations(self, number: int) -> int:
        """Settings of one build on its declared grid."""
        return prod(self._sizes[s, i] for s, i in enumerate(self.picks(number)))

    @cached_property
    def all_combinations(self) -> int:
        """Settings of all builds together."""
        return self.numbering.sum_of_products(
            tuple(
                tuple(self._sizes[s, i] for i in range(len(parts)))
                for s, parts in enumerate(self.options)
            )
        )


def make_space(parts: Parts) -> Space:
    """Number the builds of a parts file; leaving a station as it is counts as a part."""
    stations = tuple(sorted(parts.stations, key=list(Station).index))
    options = []
    for station in stations:
        listed = tuple(parts.stations[station])
        if not any(part.today for part in listed):
            listed = (Part(id=AS_IS, name="as it is", today=True, owned=True), *listed)
        options.append(listed)
    return Space(stations, tuple(options))


def dimensions_of(part: Part, station: Station) -> Iterator[Dimension]:
    """Everything that can be set on a part."""
    for name, positions in part.choices.items():
        yield _choice(part, station, name, positions)
    for name, adjuster in part.adjusts.items():
        yield adjuster_at(part, station, name, adjuster_settings(adjuster))
    if part.stack is not None:
        ways = piles(part.stack)
        heights = np.array([pile.height for pile in ways])
        effects = {
            channel_of(part.stack.point, station): heights[:, None] * _unit(part.stack.along)
        }
        if station is Station.TIE_ROD_STUD:
            effects[STUD_LEVER] = heights
        if part.stack.usable is not None:
            filled = [pile.height + sum(pile.above) for pile in ways]
            effects[UNFILLED[station]] = part.stack.usable - np.array(filled)
        yield Dimension(
            station,
            part.id,
            "under_joint",
            "stack",
            tuple(float(h) for h in heights),
            effects,
            stack=tuple(ways),
        )


def _choice(part: Part, station: Station, name: str, positions: dict[str, Position]) -> Dimension:
    effects: dict[str, Floats] = {}
    for i, position in enumerate(positions.values()):
        for point, move in position.moves.items():
            channel = channel_of(point, station)
            table = effects.setdefault(channel, np.zeros((len(positions), 3)))
            table[i] += move
        for channel, value in numbers_of(position.adds).items():
            effects.setdefault(channel, np.zeros(len(positions)))[i] += value
    return Dimension(station, part.id, name, "choice", tuple(positions), effects)


def adjuster_at(part: Part, station: Station, name: str, settings: Floats) -> Dimension:
    """An adjuster of a part with the given positions (n,), mm, which need not be its own steps."""
    adjuster = part.adjusts[name]
    effects: dict[str, Floats] = {}
    for point, direction in adjuster.along.items():
        effects[channel_of(point, station)] = settings[:, None] * _unit(direction)
    for channel, factor in numbers_of(adjuster.adds).items():
        effects[channel] = settings * factor
    values = tuple(float(s) for s in settings)
    return Dimension(station, part.id, name, "adjuster", values, effects, adjuster.reads)


def adjuster_settings(adjuster: Adjuster) -> Floats:
    """Real positions of an adjuster: ``step`` apart from the low end of its range, mm."""
    low, high = adjuster.range
    count = int(np.floor((high - low) / adjuster.step + 1e-9)) + 1
    return np.round(low + adjuster.step * np.arange(count), 9)


def _unit(direction: tuple[float, float, float]) -> Floats:
    vector = np.asarray(direction, dtype=float)
    return np.asarray(vector / np.linalg.norm(vector))


def duty_dimensions(build: Build, duty: Duty) -> tuple[tuple[Dimension, ...], float] | None:
    """A build's dimensions as one duty may set them, and the lowering that is fixed, mm.

    The duty's ride height narrows an adjuster that lowers the car to the positions that give it (to half
    a step where it is one number). Where nothing in the build lowers the car, ride height is taken as
    given, or searched over the duty's own range. None where the build cannot give the ride height.
    """
    lowering = duty.lowered_by
    fixed = sum(numbers_of(part.adds).get("lowered_by", 0.0) for part in build.parts.values())
    lowers = [d for d in build.dimensions if "lowered_by" in d.effects]
    if not lowers:
        if fixed:
            return (build.dimensions, 0.0) if _keeps(np.array([fixed]), lowering).size else None
        if isinstance(lowering, LoweringRange):
            return (*build.dimensions, _ride_height(lowering)), 0.0
        return build.dimensions, lowering
    if len(lowers) > 1:
        names = ", ".join(f"{d.station}.{d.name}" for d in lowers)
        raise ValueError(f"more than one adjuster lowers the car: {names}")
    keep = _keeps(lowers[0].effects["lowered_by"] + fixed, lowering)
    if keep.size == 0:
        return None
    narrowed = lowers[0].only([int(i) for i in keep])
    return tuple(narrowed if d is lowers[0] else d for d in build.dimensions), 0.0


def _keeps(levels: Floats, lowering: float | LoweringRange) -> Ints:
    """Positions whose lowering the duty accepts: in its range, or nearest to its number."""
    if isinstance(lowering, LoweringRange):
        inside = (levels >= lowering.min - 1e-9) & (levels <= lowering.max + 1e-9)
        return np.flatnonzero(inside)
    gaps = np.diff(np.sort(levels))
    step = float(gaps.max()) if gaps.size else 1.0
    best = int(np.abs(levels - lowering).argmin())
    close = abs(float(levels[best]) - lowering) <= 0.5 * step + 1e-9
    return np.array([best] if close else [], dtype=np.int64)


def _ride_height(wanted: LoweringRange) -> Dimension:
    count = int(np.floor((wanted.max - wanted.min) / wanted.step + 1e-9)) + 1
    levels = np.round(wanted.min + wanted.step * np.arange(count), 9)
    return Dimension(
        Station.SPRING_SEAT,
        AS_IS,
        "lowered_by",
        "adjuster",
        tuple(float(v) for v in levels),
        {"lowered_by": levels},
        "mm below the measured ride height",
    )

"""Many candidates of one car at once, with every state that their measures ask for.

A scene holds n lanes: the same car with other geometry in each. States are solved when a measure first
asks for them and kept, so measures share them. Rack positions are told as a *turn*: 1 is the rack at the
end of its own travel for a left turn, -1 for a right turn, 0 straight ahead; or as a *lock*: the same with
the steering stop in place of the rack's own end.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Literal, NamedTuple, TypeVar

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Bools, Floats, Ints
from kinematics.bar_link import Mount
from kinematics.bars import Bar
from kinematics.channels import Channels
from kinematics.fittings import Fittings
from kinematics.obstacles import Obstacles
from kinematics.rods import RodKit
from kinematics.solved import SolvedStates, gathered
from kinematics.states import CornerStates, solve
from kinematics.studs import Stud
from kinematics.vectors import cross, dot

Side = Literal["left", "right"]
Found = TypeVar("Found")

# Scenes of no more lanes keep what has been worked out of them: making it anew takes longer than the room is
# worth. In wider ones it would fill the memory.
FEW = 256


class At(NamedTuple):
    """One state: wheel travel in mm, turn as a share of the rack's travel, and mm of rack beside it.

    ``lock`` is a turn as a share of the steering stop instead, one of both is 0. ``beyond`` mm are added in
    the direction of the turn; ``rack`` mm are added along +y of the car.
    """

    travel: float = 0.0
    turn: float = 0.0
    beyond: float = 0.0
    rack: float = 0.0
    lock: float = 0.0


STRAIGHT = At()


@dataclass(frozen=True)
class CarNumbers:
    """What measures need of the whole car: mm, kg, N/mm; None where the car file does not say.

    ``ground_z`` is the contact points' height in body axes as measured (the mean of both sides where they
    differ), from which the CG is counted; (n,) where lanes are cars that were measured differently.
    ``hub_height`` is the height of the front wheel centres above the ground as measured. ``wheel_rate`` is
    one front spring's rate at its wheel, and ``rear_roll_stiffness`` is in N·m/deg. No ``bar`` means a car
    without one; ``bar_mounts`` carry its links where its geometry is told, and ``bar_heights`` are the left
    and right wheel's travel at which the car stands, mm, for the bar's preload.
    """

    wheelbase: float
    ground_z: float | Floats
    cg_height: float | None = None
    front_share: float | None = None
    rear_roll_centre: float | None = None
    mass: float | None = None
    unsprung_front: float = 0.0
    unsprung_rear: float = 0.0
    hub_height: float | None = None
    wheel_rate: float | None = None
    bar: Bar | None = None
    bar_mounts: dict[Side, Mount] | None = None
    bar_heights: tuple[float, float] = (0.0, 0.0)
    rear_roll_stiffness: float | None = None
    rear_track: float | None = None

    def take(self, lanes: Ints) -> CarNumbers:
        """The numbers of the given lanes."""
        if isinstance(self.ground_z, float):
            return self
        return replace(self, ground_z=self.ground_z[lanes])


@dataclass(frozen=True)
class DutyFrame:
    """How a duty is judged: its envelope of travel, the rack's overtravel, and which wheel it loads.

    ``overtravel`` is how far the rack may come past the stop, by play, wear and give, mm.
    """

    travel: tuple[float, float] = (-60.0, 60.0)
    overtravel: float = 2.5
    counter_steers: bool = False


@dataclass
class Scene:
    """Lanes of one car: kernel columns of the left corner, and of the right where it is no mirror.

    ``rack_travel`` (to the rack's own end) and ``rack_per_turn`` are (n,) mm; ``stop`` is where the steering
    stop holds the rack, (n,) mm, the rack's own end where it was not solved. ``stud_lever`` is the lever arm
    of the outer tie-rod joint on its stud, (n,) mm; ``price`` is (n,). Tie rods are set already.
    ``channels`` are the points and numbers that the parts and settings of each lane come to; ``fittings``
    are what all lanes have alike.
    ``obstacles`` are what the tyre must keep off, alike in every lane but for the points they hang on.
    Of the solved states ``_locked`` are those that hang on the stop, ``_free`` the others.
    """

    car: CarNumbers
    frame: DutyFrame
    left: Floats
    right: Floats | None
    rack_travel: Floats
    rack_per_turn: Floats
    price: Floats
    stud_lever: Floats
    channels: Channels
    rod_kit: RodKit | None = None
    stud: Stud | None = None
    fittings: Fittings = field(default_factory=Fittings)
    obstacles: Obstacles | None = None
    stop: Floats = field(default_factory=lambda: np.zeros(0))
    _free: Store = field(default_factory=SolvedStates, repr=False)
    _locked: Store = field(default_factory=SolvedStates, repr=False)
    _turn_sign: Floats | None = field(default=None, repr=False)
    _kept: dict[Hashable, Floats] = field(default_factory=dict, repr=False)
    # not handed on: it follows from this very scene
    _known: dict[Hashable, object] = field(default_factory=dict, repr=False, init=False)

    def __post_init__(self) -> None:
        if self.stop.shape != self.rack_travel.shape:
            self.stop = self.rack_travel

    @property
    def lanes(self) -> int:
        """Number of candidates."""
        return int(self.left.shape[1])

    @property
    def mirrored(self) -> bool:
        """Whether the right corner is the mirror of the left."""
        return self.right is None

    def sides(self) -> tuple[Side, ...]:
        """Sides that have to be looked at: one is enough where the other is its mirror."""
        return ("left",) if self.mirrored else ("left", "right")

    def columns(self, side: Side) -> Floats:
        """Kernel columns of a side (of the left where the right is its mirror)."""
        return self.left if side == "left" or self.right is None else self.right

    def number(self, name: str) -> Floats:
        """A number that parts can change ("tyre.width", "wheel.spacer"), (n,) mm."""
        return self.channels.get(name)

    def point(self, side: Side, name: str) -> Floats:
        """A hard point that parts can move, (3, n) mm in left-hand axes.

        Points of the knuckle are in the knuckle's frame, from the middle of the stock hub face.
        """
        return self.channels.get(name, side)

    @property
    def turn_sign(self) -> Floats:
        """Direction along y in which the rack goes for a left turn, (n,) of +1 or -1.

        From the tie rod's constraint: a rack step dy turns the knuckle by U_y dy / (U . (E x arm)).
        """
        if self._turn_sign is None:
            raw = self.states("left", [STRAIGHT]).raw[:, 0, :]
            rod = raw[k.ROD_OUTER : k.ROD_OUTER + 3] - self.left[k.RACK_END : k.RACK_END + 3]
            arm = raw[k.ROD_OUTER : k.ROD_OUTER + 3] - raw[k.BALL_JOINT : k.BALL_JOINT + 3]
            lever = dot(rod, cross(raw[k.AXIS : k.AXIS + 3], arm))
            self._turn_sign = np.where(rod[1] * lever >= 0.0, 1.0, -1.0)
        return self._turn_sign

    def rack_at(self, at: At) -> Floats:
        """Rack displacement along +y of the car, (n,) mm."""
        way = np.sign(at.turn + at.lock)
        if way == 0.0:
            return np.full(self.lanes, at.rack)
        share = at.turn * self.rack_travel + at.lock * self.stop
        return np.asarray(self.turn_sign * (share + way * at.beyond) + at.rack)

    def corner_rack(self, side: Side, places: Sequence[At]) -> Floats:
        """Rack displacement along +y of one side's left-hand corner, (s, n) mm."""
        many = _columns(tuple(places))
        if not many.turned.any():
            rack = np.repeat(many.rack, self.lanes, axis=1)
            return rack if side == "left" else -rack
        share = many.turn * self.rack_travel + many.lock * self.stop
        moved = self.turn_sign * (share + many.beyond) + many.rack
        rack = np.where(many.turned, moved, many.rack)
        return rack if side == "left" else -rack

    def states(self, side: Side, wanted: Sequence[At]) -> CornerStates:
        """The wanted states of one wheel, in order; solved once and kept."""
        if side == "right" and self.mirrored:
            # the right wheel is the left one in a mirror, where the rack goes the other way
            return self.states("left", _mirrored(tuple(wanted)))
        places = tuple(wanted)
        if len(places) == 1 or self.lanes <= FEW:
            key = ("states", side, places)
            found = self._known.get(key)
            if found is None:
                found = self._known[key] = self._states(side, places)
            assert isinstance(found, CornerStates)
            return found
        return self._states(side, places)

    def _states(self, side: Side, wanted: tuple[At, ...]) -> CornerStates:
        """The wanted states, out of the stores; what is missing there is solved."""
        for store, hang in ((self._free, False), (self._locked, True)):
            missing = [
                at
                for at in dict.fromkeys(wanted)
                if (at.lock != 0.0) is hang and (side, at) not in store.places
            ]
            if missing:
                store.add([(side, at) for at in missing], self._solve(side, missing))
        return gathered(
            (self._free if at.lock == 0.0 else self._locked).find((side, at)) for at in wanted
        )

    def solve_rack(self, side: Side, rack: Floats) -> CornerStates:
        """States at ride height with a rack displacement of each lane's own, (s, n) mm along car +y.

        On a symmetric car the right wheel is the left one with the rack the other way.
        """
        if side == "right":
            rack = -rack
        return solve(self.columns(side), np.zeros(rack.shape[0]), rack)

    def held_arm(self, side: Side, at: At) -> CornerStates:
        """One state with the arm held where it stands at ride height, only the rack moved."""
        rack = self.rack_at(at)[None, :]
        return solve(
            self.columns(side), np.zeros(1), rack if side == "left" else -rack, hold_arm=True
        )

    def steer(self, side: Side, states: CornerStates) -> Floats:
        """Toe change from straight ahead at ride height, left turn positive, deg, (s, n)."""
        change = states.toe - self.states(side, [STRAIGHT]).toe
        return change if side == "right" else -change

    def of(self, left: Floats, right: Floats | None) -> Scene:
        """The same lanes with other columns, and nothing solved yet."""
        return replace(
            self,
            left=left,
            right=right,
            _free=SolvedStates(),
            _locked=SolvedStates(),
            _turn_sign=None,
            _kept={},
        )

    def shifted(self, row: int, by: Floats | float, sides: Sequence[Side] = ()) -> Scene:
        """The same lanes with a row of the kernel's columns greater by mm, (n,) or alike in all.

        On the given sides, which have columns of their own; on all where none are given.
        """
        columns: dict[Side, Floats] = {side: self.columns(side).copy() for side in self.sides()}
        for side in sides or self.sides():
            columns[side][row] += by
        return self.of(columns["left"], columns.get("right"))

    def with_stop(self, stop: Floats) -> Scene:
        """The same lanes with the stop at (n,) mm of rack; states that do not hang on it are kept."""
        return replace(self, stop=stop, _free=self._free.copy(), _locked=SolvedStates())

    def keep(self, key: Hashable, solve: Callable[[], Floats]) -> Floats:
        """A figure (..., n) that does not hang on the stop: solved once, and kept for lanes taken on."""
        if key not in self._kept:
            self._kept[key] = solve()
        return self._kept[key]

    def remember(self, key: Hashable, find: Callable[[], Found]) -> Found:
        """Anything that follows from this very scene, found once where there are few lanes."""
        if self.lanes > FEW:
            return find()
        if key not in self._known:
            self._known[key] = find()
        return self._known[key]  # type: ignore[return-value]

    def remembers(self, key: Hashable) -> bool:
        """Whether that has been found already."""
        return key in self._known

    def take(self, lanes: Ints, *, stop: Floats | None = None) -> Scene:
        """The given lanes with every state that is known of them.

        With another ``stop`` for them, (m,) mm, that is every state that does not hang on it.
        """
        return Scene(
            car=self.car.take(lanes),
            frame=self.frame,
            left=self.left.take(lanes, axis=1),
            right=None if self.right is None else self.right.take(lanes, axis=1),
            rack_travel=self.rack_travel[lanes],
            rack_per_turn=self.rack_per_turn[lanes],
            price=self.price[lanes],
            stud_lever=self.stud_lever[lanes],
            channels=self.channels.take(lanes),
            rod_kit=self.rod_kit,
            stud=self.stud,
            fittings=self.fittings.take(lanes),
            obstacles=self.obstacles,
            stop=self.stop[lanes] if stop is None else stop,
            _kept={key: figure.take(lanes, axis=-1) for key, figure in self._kept.items()},
            _free=self._free.take(lanes),
            _locked=self._locked.take(lanes) if stop is None else SolvedStates(),
            _turn_sign=None if self._turn_sign is None else self._turn_sign[lanes],
        )

    def _solve(self, side: Side, wanted: list[At]) -> CornerStates:
        travel = np.array([at.travel for at in wanted])
        return solve(self.columns(side), travel, self.corner_rack(side, wanted))


Store = SolvedStates[tuple[Side, At]]


@lru_cache(maxsize=256)
def _mirrored(places: tuple[At, ...]) -> tuple[At, ...]:
    """The states of the left wheel whose mirror images are the right wheel's."""
    return tuple(At(at.travel, -at.turn, at.beyond, -at.rack, -at.lock) for at in places)


class _Columns(NamedTuple):
    """Places as columns (s, 1): ``beyond`` with the sign of the turn, ``turned`` whether there is one."""

    turn: Floats
    lock: Floats
    beyond: Floats
    rack: Floats
    turned: Bools


@lru_cache(maxsize=256)
def _columns(places: tuple[At, ...]) -> _Columns:
    turn, lock, beyond, rack = (
        np.array([[getattr(at, name)] for at in places])
        for name in ("turn", "lock", "beyond", "rack")
    )
    way = np.sign(turn + lock)
    return _Columns(turn, lock, way * beyond, rack, way != 0.0)

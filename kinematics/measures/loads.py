"""Measures of what the car's weight does in a corner: roll couple, roll, lateral load transfer, bar rate.

The mechanics are in ``kinematics/rolling.py`` and ``kinematics/bars.py``; here they meet a car. What the car
file does not say is not-a-number, and so is every figure that hangs on it. The rear axle is taken as
measured, whatever is done to the front. The curves are of heave, both wheels at the same travel.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats, Value
from kinematics.measures.bar import bar_rate
from kinematics.measures.catalogue import Ask, Measure, Stage, straight
from kinematics.measures.static import track
from kinematics.measures.travel import roll_centre
from kinematics.measures.where import ride_height
from kinematics.rolling import (
    GRAVITY,
    Axle,
    elastic_transfer,
    geometric_transfer,
    roll_arm,
    roll_per_g,
    roll_stiffness,
    sprung_height,
    transfer,
    unsprung_transfer,
)
from kinematics.scene import Scene, Side

HANDBOOK = "Barton & Fieldhouse 2018, p. 174 (roll and load transfer by roll centres)"
BEAMS = "standard beam theory, see kinematics/bars.py; common practice, no source, for the whole"

PER_DEGREE = 1e-3 * np.pi / 180.0  # N·mm/rad to N·m/deg


def _said(value: float | None) -> float:
    return np.nan if value is None else value


def _mean_row(scene: Scene, row: int, travel: Sequence[float]) -> Floats:
    """A row of the wheels' states, the mean of both sides, (s, n)."""
    places = straight(tuple(travel))
    left = scene.states("left", places).row(row)
    if scene.mirrored:
        return left
    return np.asarray(0.5 * (left + scene.states("right", places).row(row)))


def _sunk(scene: Scene, travel: Sequence[float]) -> Floats:
    """How far the body stands lower over its contact points than as measured, (s, n) mm."""
    return np.asarray(_mean_row(scene, k.CONTACT + 2, travel) - scene.car.ground_z)


def _roll_couple(scene: Scene, travel: Sequence[float]) -> Floats:
    """CG height above the roll axis, (s, n) mm, the CG going up and down with the body."""
    car = scene.car
    share = _said(car.front_share)
    front = roll_centre(scene, travel)
    axis = front * share + _said(car.rear_roll_centre) * (1.0 - share)
    return np.asarray(_said(car.cg_height) - _sunk(scene, travel) - axis)


def _bar_rate(scene: Scene, ask: Ask) -> Floats:
    return bar_rate(scene, [0.0])


def _front_stiffness(scene: Scene, travel: Sequence[float]) -> Floats:
    """Roll stiffness of the front axle, springs and bar, (s, n) N·mm/rad."""
    bar = 0.0 if scene.car.bar is None else bar_rate(scene, travel)
    rate = _said(scene.car.wheel_rate) + bar
    return np.asarray(roll_stiffness(rate, track(scene, travel)))


@dataclass(frozen=True)
class _Cornering:
    """Both axles (N, mm, N·mm/rad) and the sprung CG's height above the roll axis, mm."""

    front: Axle
    rear: Axle
    arm: Value

    @property
    def roll(self) -> Floats:
        """Body roll, rad per g."""
        stiffness = self.front.stiffness + self.rear.stiffness
        return roll_per_g(self.front.sprung + self.rear.sprung, self.arm, stiffness)


def _cornering(scene: Scene, travel: Sequence[float]) -> _Cornering:
    return scene.remember(("cornering", tuple(travel)), lambda: _cornering_of(scene, travel))


def _cornering_of(scene: Scene, travel: Sequence[float]) -> _Cornering:
    car = scene.car
    mass, share, hub = _said(car.mass), _said(car.front_share), _said(car.hub_height)
    own_front, own_rear = GRAVITY * car.unsprung_front, GRAVITY * car.unsprung_rear
    front = Axle(
        sprung=GRAVITY * mass * share - own_front,
        unsprung=own_front,
        roll_centre=roll_centre(scene, travel),
        unsprung_height=_mean_row(scene, k.CENTRE + 2, travel)
        - _mean_row(scene, k.CONTACT + 2, travel),
        track=track(scene, travel),
        stiffness=_front_stiffness(scene, travel),
    )
    rear = Axle(
        sprung=GRAVITY * mass * (1.0 - share) - own_rear,
        unsprung=own_rear,
        roll_centre=_said(car.rear_roll_centre),
        unsprung_height=hub,
        track=_said(car.rear_track),
        stiffness=_said(car.rear_roll_stiffness) / PER_DEGREE,
    )
    whole = _said(car.cg_height)
    measured = sprung_height(GRAVITY * mass, whole, (own_front, hub), (own_rear, hub))
    return _Cornering(front, rear, roll_arm(front, rear, measured - _sunk(scene, travel)))


def _front_roll_stiffness(scene: Scene, travel: Sequence[float]) -> Floats:
    return np.asarray(_front_stiffness(scene, travel) * PER_DEGREE)


def _roll_gradient(scene: Scene, travel: Sequence[float]) -> Floats:
    return np.asarray(np.degrees(_cornering(scene, travel).roll))


def _front_share(scene: Scene, travel: Sequence[float]) -> Floats:
    car = _cornering(scene, travel)
    front, rear = transfer(car.front, car.roll), transfer(car.rear, car.roll)
    return np.asarray(100.0 * front / (front + rear))


def _front_geometric(scene: Scene, travel: Sequence[float]) -> Floats:
    return np.asarray(geometric_transfer(_cornering(scene, travel).front))


def _front_elastic(scene: Scene, travel: Sequence[float]) -> Floats:
    car = _cornering(scene, travel)
    return np.asarray(elastic_transfer(car.front, car.roll))


def _front_unsprung(scene: Scene, travel: Sequence[float]) -> Floats:
    # the mass is asked for as well: without it nothing is known of what is unsprung
    known = 0.0 * _said(scene.car.mass)
    return np.asarray(unsprung_transfer(_cornering(scene, travel).front) + known)


def _load(
    name: str,
    unit: str,
    definition: str,
    scale: float,
    needs: set[str],
    read: Callable[[Scene, Sequence[float]], Floats],
    source: str = HANDBOOK,
) -> Measure:
    """A measure of the whole car at ride height, with its curve over heave."""

    def figure(scene: Scene, ask: Ask) -> Floats:
        return read(scene, [0.0])

    def curve(scene: Scene, side: Side, travel: Floats) -> Floats:
        return read(scene, [float(t) for t in travel])

    return Measure(
        name=name,
        unit=unit,
        group="loads",
        definition=definition,
        source=source,
        stage=Stage.TRAVEL,
        figure=figure,
        scale=scale,
        where=ride_height,
        needs_car=frozenset(needs),
        along="travel",
        curve=curve,
    )


MEASURES = (
    _load(
        "roll_couple", "mm",
        "CG height above the roll axis through front and rear roll centres, the CG lowered "
        "with the body; the rear axle taken as measured.",
        5.0, {"masses", "rear"}, _roll_couple,
        "roll axis of handbook roll theory (Barton & Fieldhouse 2018, p. 174 terms)",
    ),
    _load(
        "roll_gradient", "deg/g",
        "Body roll per g of lateral acceleration, m g d / (K_front + K_rear - m g d): m the sprung mass, d "
        "its CG's height above the roll axis. The sprung CG follows from the whole car's with all unsprung "
        "mass at the measured height of the front wheel centres, and moves with the body; the axis under "
        "it is weighted by sprung mass. Needs rear.roll_stiffness; the tyres' give is left out.",
        0.1, {"masses", "springs", "rear", "rear.roll_stiffness"}, _roll_gradient,
    ),
    _load(
        "front_roll_stiffness", "N·m/deg",
        "Roll moment of the front axle per degree of body roll: half of (spring rate times motion ratio "
        "squared, plus bar_rate) times track squared, the track at the contact points at ride height. A "
        "car file without antiroll_bar is a car without one. Left out: tyres, bushes, bump stops, and the "
        "change of the spring's motion ratio with travel.",
        10.0, {"springs"}, _front_roll_stiffness,
        "k t^2 / 2 (Milliken & Milliken 1995, ch. 16)",
    ),
    Measure(
        name="bar_rate",
        unit="N/mm",
        group="loads",
        definition="Vertical force at one front wheel per mm of its travel from the anti-roll bar, the "
        "wheels moving oppositely: 2 K MR^2, K from torsion of the bar and bending of both arms in "
        "series (G 79.3 GPa, E 206 GPa), MR the arm's end's travel along its arc per wheel travel: solved "
        "where the car file gives the bar's points, else as given. Left out: bending between the bushes, the "
        "give of bushes and links.",
        source=BEAMS,
        stage=Stage.TRAVEL,
        figure=_bar_rate,
        scale=1.0,
        where=ride_height,
        needs_car=frozenset({"antiroll_bar"}),
    ),
    _load(
        "front_load_transfer", "%",
        "The front axle's share of the whole lateral load transfer, geometric, elastic and unsprung "
        "parts of both axles. Needs rear.roll_stiffness and rear.track.",
        1.0, {"masses", "springs", "rear", "rear.roll_stiffness", "rear.track"}, _front_share,
    ),
    _load(
        "front_transfer_geometric", "N/g",
        "Load moved from the inner to the outer front wheel per g by the roll centre's height: sprung "
        "weight on the front axle times roll-centre height over track; negative with the roll centre "
        "under the ground.",
        20.0, {"masses"}, _front_geometric,
    ),
    _load(
        "front_transfer_elastic", "N/g",
        "Load moved from the inner to the outer front wheel per g by springs and bar: front roll "
        "stiffness times roll_gradient over track. Needs rear.roll_stiffness.",
        20.0, {"masses", "springs", "rear", "rear.roll_stiffness"}, _front_elastic,
    ),
    _load(
        "front_transfer_unsprung", "N/g",
        "Load moved from the inner to the outer front wheel per g by the front unsprung mass at the "
        "wheel centre's height; 0 where masses gives no unsprung_front, which is then counted as sprung.",
        20.0, {"masses"}, _front_unsprung,
    ),
)  # fmt: skip

"""Body roll and lateral load transfer in steady cornering, as handbooks have it.

The sprung mass rolls about a roll axis through both roll centres. Each axle's load transfer has three parts:
geometric (the sprung mass's side force at the roll centre), elastic (the axle's share of the roll moment,
by roll stiffness) and unsprung (its own unsprung mass). All of it is per g of lateral acceleration, for small
roll, with stiff tyres and a stiff body. Units are any that belong together; a weight is a mass times g.

Sources: Barton & Fieldhouse 2018, p. 174; Milliken & Milliken, Race Car Vehicle Dynamics, 1995,
ch. 16 and 18.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinematics.arrays import Floats, Value

GRAVITY = 9.80665  # m/s², standard


@dataclass(frozen=True)
class Axle:
    """One axle: weights, heights above the ground, track, and roll stiffness (moment per radian).

    ``sprung`` is the weight of sprung mass that it carries, ``unsprung`` that of its own unsprung mass.
    """

    sprung: Value
    unsprung: Value
    roll_centre: Value
    unsprung_height: Value
    track: Value
    stiffness: Value


def roll_stiffness(rate: Value, track: Value) -> Value:
    """Moment per radian of two springs at the wheels of that rate each: half of rate times track squared."""
    return 0.5 * rate * track**2


def sprung_height(weight: Value, height: Value, *unsprung: tuple[Value, Value]) -> Value:
    """Height of the sprung mass's CG from the whole car's, less each unsprung (weight, height)."""
    moment, rest = weight * height, weight
    for each, at in unsprung:
        moment, rest = moment - each * at, rest - each
    return moment / rest


def roll_arm(front: Axle, rear: Axle, height: Value) -> Value:
    """Height of the sprung mass's CG, given above the ground, above the roll axis under it."""
    axis = front.sprung * front.roll_centre + rear.sprung * rear.roll_centre
    return height - axis / (front.sprung + rear.sprung)


def roll_per_g(weight: Value, arm: Value, stiffness: Value, *, tipping: bool = True) -> Floats:
    """Body roll per g, rad, of a sprung weight ``arm`` above the roll axis.

    ``tipping`` counts the weight's own moment as the body leans, which softens the car; without it the
    figure is the simpler W d / K. Not-a-number where the body would fall over.
    """
    moment = np.asarray(weight * arm)
    left = np.asarray(stiffness - moment if tipping else stiffness)
    return np.asarray(moment / np.where(left > 0.0, left, np.nan))


def geometric_transfer(axle: Axle) -> Value:
    """Load that the roll centre's height moves from one wheel to the other, per g."""
    return axle.sprung * axle.roll_centre / axle.track


def unsprung_transfer(axle: Axle) -> Value:
    """Load that the unsprung mass moves from one wheel to the other, per g."""
    return axle.unsprung * axle.unsprung_height / axle.track


def elastic_transfer(axle: Axle, roll: Value) -> Value:
    """Load that the axle's springs and bar move from one wheel to the other; ``roll`` in rad per g."""
    return axle.stiffness * roll / axle.track


def transfer(axle: Axle, roll: Value) -> Value:
    """The whole load transfer of an axle, per g."""
    return geometric_transfer(axle) + unsprung_transfer(axle) + elastic_transfer(axle, roll)

"""Measures of the straight-ahead state at ride height, and of what the parts cost."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.measures.catalogue import Ask, Measure, Stage, sides_asked, straight
from kinematics.measures.where import each_wheel, no_state, ride_height
from kinematics.scene import STRAIGHT, At, Scene, Side
from kinematics.states import CornerStates

ISO = "ISO 8855:2011 (terms and signs)"

_WHEEL = frozenset({"wheel"})


def _per_wheel(read: Callable[[CornerStates], Floats]) -> Callable[[Scene, Ask], Floats]:
    """A figure of single wheels at the straight-ahead state."""

    def figure(scene: Scene, ask: Ask) -> Floats:
        return np.stack(
            [read(scene.states(side, [STRAIGHT]))[0] for side in sides_asked(scene, ask)]
        )

    return figure


def _over_travel(read: Callable[[CornerStates], Floats]) -> Callable[[Scene, Side, Floats], Floats]:
    """The same figure's curve over travel, rack centred."""

    def curve(scene: Scene, side: Side, travel: Floats) -> Floats:
        return read(scene.states(side, [At(float(t)) for t in travel]))

    return curve


def track(scene: Scene, travel: Sequence[float]) -> Floats:
    """Distance between both contact points across the car, (s, n) mm, both wheels at that travel."""
    places = straight(tuple(travel))
    left = scene.states("left", places).row(k.CONTACT + 1)
    right = left if scene.mirrored else scene.states("right", places).row(k.CONTACT + 1)
    return left + right


def _track_width(scene: Scene, ask: Ask) -> Floats:
    return track(scene, [0.0])


def _price(scene: Scene, ask: Ask) -> Floats:
    return scene.price[None, :]


def _wheel_measure(
    name: str, unit: str, definition: str, scale: float, read: Callable[[CornerStates], Floats]
) -> Measure:
    return Measure(
        name=name,
        unit=unit,
        group="static",
        definition=definition,
        source=ISO,
        stage=Stage.STATIC,
        figure=_per_wheel(read),
        scale=scale,
        where=each_wheel,
        takes=_WHEEL,
        along="travel",
        curve=_over_travel(read),
    )


MEASURES = (
    _wheel_measure(
        "toe", "deg",
        "Wheel plane to the x axis seen from above, one wheel; toe-in positive.",
        0.05, lambda s: s.toe,
    ),
    _wheel_measure(
        "camber", "deg",
        "Wheel plane to the vertical along the wheel's heading; top outward positive.",
        0.25, lambda s: s.camber,
    ),
    _wheel_measure(
        "caster", "deg",
        "Steering axis to the vertical in side view; top rearward positive.",
        0.5, lambda s: s.caster,
    ),
    _wheel_measure(
        "kingpin_inclination", "deg",
        "Steering axis to the vertical in front view; top inward positive.",
        0.5, lambda s: s.kingpin_inclination,
    ),
    _wheel_measure(
        "scrub_radius", "mm",
        "On the ground across the wheel's heading from steering axis to contact point; "
        "positive where the axis lies inboard.",
        5.0, lambda s: s.scrub_and_trail()[0],
    ),
    _wheel_measure(
        "mechanical_trail", "mm",
        "On the ground along the wheel's heading from steering axis to contact point; "
        "positive where the axis lies ahead.",
        3.0, lambda s: s.scrub_and_trail()[1],
    ),
    _wheel_measure(
        "wheel_centre_x", "mm",
        "The wheel centre's place along the car, forward positive: the wheel in its arch.",
        3.0, lambda s: s.row(k.CENTRE),
    ),
    Measure(
        name="track_width",
        unit="mm",
        group="static",
        definition="Distance between both contact points across the car at ride height.",
        source=ISO,
        stage=Stage.STATIC,
        figure=_track_width,
        scale=5.0,
        where=ride_height,
        along="travel",
        curve=lambda scene, side, travel: track(scene, [float(t) for t in travel]),
    ),
    Measure(
        name="price",
        unit="",
        group="buying",
        definition="Sum of the prices of parts that are not owned yet, in the parts file's currency.",
        source="the parts file",
        stage=Stage.PARTS,
        figure=_price,
        scale=50.0,
        where=no_state("sum of the parts' prices"),
    ),
)  # fmt: skip

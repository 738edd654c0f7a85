"""Measures of the wheel on its hub, round the caliper and in the body.

What neither car nor parts tell is not-a-number, and so is every figure that hangs on it. The mechanics are in
``kinematics/wheels.py``.
"""

from __future__ import annotations

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.measures.catalogue import Ask, Measure, Stage, sides_asked
from kinematics.measures.where import Wheres, each_wheel, no_state, ride_height
from kinematics.scene import STRAIGHT, Scene, Side
from kinematics.wheels import SHOULDER, bolt_misfit, caliper_gap, tyre_reach
from kinematics.where import Where

PRACTICE = "common practice, no source"
SIZES = "sizes of hub and wheel"


def _misfits(scene: Scene) -> tuple[Floats, Floats]:
    """How far bolt circle and bore are off, (n,) each; not-a-number where hub or wheel is not told."""
    bolts = bolt_misfit(
        scene.number("hub.bolts"),
        scene.number("hub.pitch_circle"),
        scene.number("wheel.bolts"),
        scene.number("wheel.pitch_circle"),
    )
    bore = np.abs(scene.number("wheel.bore") - scene.number("hub.spigot"))
    return bolts, np.asarray(bore)


def _hub_fit(scene: Scene, ask: Ask) -> Floats:
    """The worse of bolt circle and bore; what one of hub and wheel does not tell is passed over."""
    return np.asarray(np.fmax(*_misfits(scene))[None, :])


def _worse_misfit(scene: Scene, ask: Ask) -> Wheres:
    """No state: bolt circle or bore."""
    bolts, bore = (float(misfit[0]) for misfit in _misfits(scene))
    if np.isnan(bolts) and np.isnan(bore):
        return [None]
    return [Where(of="bore" if bore > bolts or np.isnan(bolts) else "bolts", basis=SIZES)]


def _engagement(scene: Scene) -> Floats:
    taken = scene.number("wheel.spacer") + scene.number("wheel.pad")
    return np.asarray(scene.number("hub.stud_length") - taken)


def _wheel_stud_engagement(scene: Scene, ask: Ask) -> Floats:
    return _engagement(scene)[None, :]


def _wheel_nut_turns(scene: Scene, ask: Ask) -> Floats:
    turns = np.maximum(_engagement(scene), 0.0) / scene.number("hub.stud_pitch")
    return np.asarray(turns[None, :])


def _caliper_clearance(scene: Scene, ask: Ask) -> Floats:
    barrel, caliper = scene.fittings.barrel, scene.fittings.caliper
    if barrel is None or caliper is None:
        return np.full((1, scene.lanes), np.nan)
    cases = []
    for side in sides_asked(scene, ask):
        # the caliper stays on the knuckle where a part moves the hub face
        hub = scene.point(side, "hub_face")
        outboard = scene.number("wheel.spacer") + hub[1]
        places, lanes = np.unique(outboard, return_inverse=True)
        gaps = np.array([caliper_gap(barrel, caliper, float(place)) for place in places])
        cases.append(gaps[lanes] - np.hypot(hub[0], hub[2]))
    return np.stack(cases)


def _reach(scene: Scene, side: Side) -> Floats:
    states = scene.states(side, [STRAIGHT])
    width, diameter = scene.number("tyre.width"), scene.number("tyre.diameter")
    shoulder = np.minimum(SHOULDER * width, 0.5 * diameter)
    centre = states.row(k.CENTRE + 1)[0]
    spindle = states.raw[k.SPINDLE : k.SPINDLE + 3, 0]
    return tyre_reach(centre, spindle, width, diameter, shoulder)


def _width_over_tyres(scene: Scene, ask: Ask) -> Floats:
    left = _reach(scene, "left")
    right = left if scene.mirrored else _reach(scene, "right")
    return (left + right)[None, :]


def _wheel_in_arch(scene: Scene, ask: Ask) -> Floats:
    arch = scene.fittings.arch_x
    if arch is None:
        return np.full((1, scene.lanes), np.nan)
    sides = sides_asked(scene, ask)
    return np.stack([scene.states(side, [STRAIGHT]).row(k.CENTRE)[0] - arch for side in sides])


MEASURES = (
    Measure(
        name="hub_fit",
        unit="mm",
        group="mechanics",
        definition="How far the wheel's bolt holes and bore are from the hub's studs and spigot, in "
        "diameter: twice the distance of the worst stud from its nearest hole, or the difference of bore "
        "and spigot, the greater; 0 where bolt count, pitch circle and bore agree.",
        source="plane geometry of even bolt circles",
        stage=Stage.PARTS,
        figure=_hub_fit,
        scale=1.0,
        where=_worse_misfit,
        needs_car=frozenset({"hub"}),
    ),
    Measure(
        name="wheel_stud_engagement",
        unit="mm",
        group="mechanics",
        definition="Thread of a wheel stud in its nut: the stud's length from the hub face less spacer and "
        "the thickness of the wheel's pad; negative where the stud does not come through. An open nut that "
        "is long enough for it, and a stud that is threaded so far, are taken for granted.",
        source=PRACTICE,
        stage=Stage.PARTS,
        figure=_wheel_stud_engagement,
        scale=1.0,
        where=no_state("stud less spacer and wheel"),
        needs_car=frozenset({"hub"}),
    ),
    Measure(
        name="wheel_nut_turns",
        unit="",
        group="mechanics",
        definition="Full turns of thread in a wheel nut: wheel_stud_engagement over the studs' pitch, to be "
        "counted on the car.",
        source=PRACTICE,
        stage=Stage.PARTS,
        figure=_wheel_nut_turns,
        scale=0.5,
        where=no_state("stud less spacer and wheel"),
        needs_car=frozenset({"hub", "hub.stud_pitch"}),
    ),
    Measure(
        name="caliper_clearance",
        unit="mm",
        group="space",
        definition="Least distance between the caliper's outline and the wheel's inside in a half-plane "
        "through the spindle, the spacer moving the wheel outboard; negative where it fouls, by the depth "
        "of the deepest corner.",
        source="plane geometry of straight pieces",
        stage=Stage.PARTS,
        figure=_caliper_clearance,
        scale=1.0,
        where=no_state("sizes of wheel, spacer and caliper", each=True),
        takes=frozenset({"wheel"}),
        needs_car=frozenset({"brake"}),
    ),
    Measure(
        name="width_over_tyres",
        unit="mm",
        group="space",
        definition="Width across the car over both front tyres at ride height, wheels straight ahead: the "
        "tyre as a cylinder of its unloaded width and diameter with rounded shoulders (0.15 of the width); "
        "the bulge over the ground is left out.",
        source="support function of the solid",
        stage=Stage.STATIC,
        figure=_width_over_tyres,
        scale=5.0,
        where=ride_height,
    ),
    Measure(
        name="wheel_in_arch",
        unit="mm",
        group="space",
        definition="How far the wheel centre stands ahead of the arch's centre at ride height; negative "
        "behind it.",
        source=PRACTICE,
        stage=Stage.STATIC,
        figure=_wheel_in_arch,
        scale=3.0,
        where=each_wheel,
        takes=frozenset({"wheel"}),
        needs_car=frozenset({"arch"}),
    ),
)

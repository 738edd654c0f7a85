"""Measures of the strut: what is left of its stroke, and where its top may stand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.fittings import Circle
from kinematics.measures.catalogue import Ask, Measure, Stage, sides_asked
from kinematics.measures.envelope import travels
from kinematics.measures.where import Wheres, no_state
from kinematics.plane import room_in_circle, room_in_outline
from kinematics.scene import At, Scene, Side
from kinematics.struts import stroke_left, strut_length
from kinematics.where import Where

# The rack centred and at the stop both ways: steering at a given travel lengthens the strut a little.
LOCKS = (-1.0, 0.0, 1.0)
BUMP_STOP, FULL_EXTENSION = "bump stop", "full extension"


def strut_change(scene: Scene, side: Side, places: Sequence[At]) -> Floats:
    """How much longer the strut is than as measured, (s, n) mm; not-a-number where a state is not reached."""
    lower, upper = (scene.point(side, name) for name in ("strut_lower", "strut_upper"))
    ball_joint = scene.point(side, "knuckle_ball_joint")
    above_foot = scene.states(side, places).row(k.STRUT_LENGTH)
    length = strut_length(above_foot, lower, upper, ball_joint)
    return np.asarray(length - scene.fittings.struts[side].length)


def stroke_places(scene: Scene) -> tuple[At, ...]:
    """States at which the stroke is judged."""
    return tuple(At(travel, lock=share) for share in LOCKS for travel in travels(scene))


def _strut_stroke_left(scene: Scene, ask: Ask) -> Floats:
    if not scene.fittings.struts:
        return np.full((1, scene.lanes), np.nan)
    bump, droop = scene.number("strut.bump"), scene.number("strut.droop")
    places = stroke_places(scene)
    cases = [
        stroke_left(strut_change(scene, side, places), bump, droop).min(axis=0)
        for side in sides_asked(scene, ask)
    ]
    return np.stack(cases)


def _least_stroke(scene: Scene, ask: Ask) -> Wheres:
    """In which state the strut is nearest an end of its stroke, and which end."""
    if not scene.fittings.struts:
        return [None]
    places = stroke_places(scene)
    found = []
    for side in sides_asked(scene, ask):
        change = strut_change(scene, side, places)[:, 0]
        ends = [scene.number("strut.bump")[0] + change, scene.number("strut.droop")[0] - change]
        at = int(np.minimum(*ends).argmin())
        end = BUMP_STOP if ends[0][at] <= ends[1][at] else FULL_EXTENSION
        found.append(Where.of_state(scene, side, places[at], end))
    return found


def _top_mount_room(scene: Scene, ask: Ask) -> Floats:
    outline = scene.fittings.outline
    if outline is None:
        return np.full((1, scene.lanes), np.nan)
    cases = []
    for side in sides_asked(scene, ask):
        points = scene.point(side, "top_mount")[:2].T
        if isinstance(outline, Circle):
            cases.append(room_in_circle(points, outline.centre, outline.radius))
        else:
            cases.append(room_in_outline(points, np.asarray(outline.corners)))
    return np.stack(cases)


MEASURES = (
    Measure(
        name="strut_stroke_left",
        unit="mm",
        group="mechanics",
        definition="What is left of the strut's stroke, the lesser of that to the bump stop and that to full "
        "extension, least over the duty's travel with the rack centred and at the stop both ways; negative "
        "where the strut comes to an end before the travel does.",
        source="length along the sliding axis against that of the car as measured",
        stage=Stage.ENVELOPE,
        figure=_strut_stroke_left,
        scale=3.0,
        where=_least_stroke,
        takes=frozenset({"wheel"}),
        needs_car=frozenset({"strut"}),
        kind=k.STRUT,
    ),
    Measure(
        name="top_mount_room",
        unit="mm",
        group="space",
        definition="Distance in plan view of the top mount's centre from the outline that bounds it, "
        "positive inside.",
        source="plane geometry; the outline is the car file's",
        stage=Stage.PARTS,
        figure=_top_mount_room,
        scale=2.0,
        where=no_state("place of the top mount in the body", each=True),
        takes=frozenset({"wheel"}),
        needs_car=frozenset({"top_mount_outline"}),
        kind=k.STRUT,
    ),
)

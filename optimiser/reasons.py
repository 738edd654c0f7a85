"""Why a limit does not hold, in words that a builder understands, where the figure alone does not say it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kinematics.arrays import Floats
from kinematics.measures.struts import stroke_places, strut_change
from kinematics.scene import Scene
from kinematics.wheels import bolt_misfit
from optimiser.wording import short, travel_words


def reason(name: str, scene: Scene) -> str:
    """Why a one-lane scene misses a limit on a measure; empty where its figure says enough."""
    told = _REASONS.get(name)
    return "" if told is None else told(scene)


def _hub_fit(scene: Scene) -> str:
    studs, stud_circle, holes, hole_circle, bore, spigot = (
        scene.number(key)
        for key in (
            "hub.bolts",
            "hub.pitch_circle",
            "wheel.bolts",
            "wheel.pitch_circle",
            "wheel.bore",
            "hub.spigot",
        )
    )
    bolts = float(bolt_misfit(studs, stud_circle, holes, hole_circle)[0])
    centre = float(np.abs(bore - spigot)[0])
    if np.isfinite(bolts) and not centre > bolts:
        wheel, hub = _circle(holes, hole_circle), _circle(studs, stud_circle)
        return f"{wheel} wheel on a {hub} hub"
    if np.isfinite(centre):
        return f"bore {short(float(bore[0]))} mm on a spigot of {short(float(spigot[0]))} mm"
    return ""


def _circle(count: Floats, circle: Floats) -> str:
    return f"{short(float(count[0]))} x {short(float(circle[0]))}"


def _wheel_stud_engagement(scene: Scene) -> str:
    length, spacer, pad = (
        short(float(scene.number(key)[0]))
        for key in ("hub.stud_length", "wheel.spacer", "wheel.pad")
    )
    return f"stud {length} mm less spacer {spacer} mm and wheel {pad} mm"


def _strut_stroke_left(scene: Scene) -> str:
    """Which end of its stroke the strut comes to, and at what wheel travel."""
    bump, droop = scene.number("strut.bump"), scene.number("strut.droop")
    places = stroke_places(scene)
    worst: tuple[float, str] | None = None
    for side in scene.sides():
        change = strut_change(scene, side, places)[:, 0]
        for left, end in ((bump + change, "bump stop"), (droop - change, "full extension")):
            if np.isfinite(left).any():
                at = int(np.nanargmin(left))
                words = f"{end} at {travel_words(places[at].travel)}"
                worst = min(worst or (np.inf, ""), (float(left[at]), words))
    return "" if worst is None else worst[1]


_REASONS: dict[str, Callable[[Scene], str]] = {
    "hub_fit": _hub_fit,
    "wheel_stud_engagement": _wheel_stud_engagement,
    "strut_stroke_left": _strut_stroke_left,
}

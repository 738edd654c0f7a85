"""The part of the bench sheet about what is fitted: wheel studs, caliper, strut and top mount."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kinematics.measures import MEASURES
from kinematics.scene import Scene
from optimiser.paper import FILL, Block, Grid, Heading, Words
from optimiser.precision import fixed, usual_places

# Measure → what is looked at on the car.
CHECKS = {
    "wheel_stud_engagement": "wheel stud in its nut, mm",
    "wheel_nut_turns": "full turns of the wheel nut",
    "caliper_clearance": "caliper to wheel, nearest, mm",
    "strut_stroke_left": "strut stroke left at the worst, mm",
    "top_mount_room": "top mount inside its outline, mm",
}


def fitted_blocks(scene: Scene) -> Iterator[Block]:
    """What is expected of a one-lane scene's wheels and struts, with blanks; nothing where untold."""
    rows = []
    for name, words in CHECKS.items():
        least = float(MEASURES[name](scene)[:, 0].min())
        if np.isfinite(least):
            # full turns are counted: a part of one is none
            text = (
                str(int(least)) if name == "wheel_nut_turns" else fixed(least, usual_places(name))
            )
            rows.append((words, text, FILL, FILL))
    if not rows:
        return
    yield Heading("Wheels, brakes and struts", 3)
    yield Grid(("", "expected", "measured left", "measured right"), tuple(rows), right=1)
    yield Words("Turn both wheels by hand, lock to lock, at full bump and full droop.")

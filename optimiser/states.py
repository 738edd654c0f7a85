"""In which state a figure was decided, as tables, JSON and the ledger carry it, and in words.

A record says ``wheel`` (inner, outer or either where the sides are alike, left or right where they are not,
both where it is of the whole car), ``travel`` (mm from ride height, bump positive; both ends as a list where
the figure is between two states) and ``rack`` (mm from the centre; a left turn positive where the sides are
not alike). A figure of no state says in ``basis`` what it follows from instead. ``of`` says which of several
things it is: an obstacle, an end of the strut's stroke, what sets the steering stop.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from kinematics.measures.catalogue import Ask, Measure
from kinematics.scene import Scene
from kinematics.where import Where

Record = dict[str, Any]


NO_FIGURE = "the figure does not exist"


def state_of(scene: Scene, measure: Measure, ask: Ask, case: int) -> Record:
    """Where one case of a one-lane scene's figure was decided."""
    wheres = measure.decided_in(scene, ask)
    where = wheres[case] if case < len(wheres) else None
    if where is None or not np.isfinite([where.travel, where.rack]).all():
        return {"basis": NO_FIGURE}
    return state_record(where, alike=scene.mirrored)


def state_record(where: Where, *, alike: bool) -> Record:
    """A state as a record; ``alike`` where the left wheel stands for both."""
    of = {"of": where.of} if where.of else {}
    if where.basis:
        side = {} if where.side is None or alike else {"wheel": where.side}
        return {"basis": where.basis, **side, **of}
    travel = where.travel if where.until is None else [where.travel, where.until]
    rack = abs(where.rack) if alike else where.rack
    return {"wheel": _wheel(where, alike), "travel": travel, "rack": rack, **of}


def _wheel(where: Where, alike: bool) -> str:
    if where.side is None:
        return "both"
    if not alike:
        return where.side
    if where.rack == 0.0:
        return "either"
    return "inner" if (where.rack > 0.0) == (where.side == "left") else "outer"

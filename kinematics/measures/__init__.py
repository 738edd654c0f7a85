"""The measure catalogue: every figure that can be a limit, a target, a column or a curve."""

from __future__ import annotations

from kinematics.measures import (
    bar,
    clearance,
    joints,
    loads,
    mechanics,
    static,
    steer,
    struts,
    travel,
    wheels,
)
from kinematics.measures.catalogue import Ask, Measure, Stage

MEASURES: dict[str, Measure] = {
    entry.name: entry
    for module in (static, travel, steer, loads, bar, mechanics, joints, struts, wheels, clearance)
    for entry in module.MEASURES
}

__all__ = ["MEASURES", "Ask", "Measure", "Stage"]

"""The measure catalogue: every figure that can be a limit, a target, a column or a curve."""

from __future__ import annotations

from kinematics.measures import clearance, joints, loads, mechanics, static, steer, travel
from kinematics.measures.catalogue import Ask, Measure, Stage

MEASURES: dict[str, Measure] = {
    entry.name: entry
    for module in (static, travel, steer, loads, mechanics, joints, clearance)
    for entry in module.MEASURES
}

__all__ = ["MEASURES", "Ask", "Measure", "Stage"]

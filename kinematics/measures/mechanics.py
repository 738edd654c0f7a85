"""Measures of what holds a candidate together."""

from __future__ import annotations

import numpy as np

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.measures.catalogue import Ask, Measure, Stage
from kinematics.measures.where import Wheres, no_state
from kinematics.scene import Scene
from kinematics.studs import bending_stress
from kinematics.where import Where


def _thread_engagement(scene: Scene, ask: Ask) -> Floats:
    """Engagement at each end of the tie rod, mm; not-a-number where no rod kit is declared."""
    kit = scene.rod_kit
    if kit is None:
        return np.full((1, scene.lanes), np.nan)
    return np.stack([kit.fit(scene.columns(side)[k.ROD_LENGTH])[1] for side in scene.sides()])


def _stud_stress(scene: Scene, ask: Ask) -> Floats:
    """Bending stress of the outer tie-rod joint's stud; not-a-number where its strength is not said."""
    stud = scene.stud
    if stud is None:
        return np.full((1, scene.lanes), np.nan)
    return bending_stress(stud.load, scene.stud_lever, stud.root)[None, :]


def _stack_fit(scene: Scene, ask: Ask) -> Floats:
    """Stud left unfilled by the worst of the build's stacks; not-a-number where none has a length to fill."""
    gaps = [scene.number(name) for name in scene.fittings.stacks]
    return np.max(gaps, axis=0)[None, :] if gaps else np.full((1, scene.lanes), np.nan)


def _each_rod(scene: Scene, ask: Ask) -> Wheres:
    """The rod is as long as the static toe asks, straight ahead at ride height."""
    return [Where(side) for side in scene.sides()]


def _fullest_from_full(scene: Scene, ask: Ask) -> Wheres:
    """No state: the worst of the stacks."""
    stacks = scene.fittings.stacks
    if not stacks:
        return [None]
    gaps = [float(scene.number(name)[0]) for name in stacks]
    station = stacks[int(np.argmax(gaps))].partition(".")[0]
    return [Where(of=station, basis="sum of the stack")]


MEASURES = (
    Measure(
        name="stack_fit",
        unit="mm",
        group="mechanics",
        definition="Length of stud that the pieces under and above the joint leave unfilled, at most the "
        "stack's slack; the greatest of the build's stacks.",
        source="the parts file: usable length less all pieces",
        stage=Stage.ROD,
        figure=_stack_fit,
        scale=0.5,
        where=_fullest_from_full,
    ),
    Measure(
        name="stud_stress",
        unit="MPa",
        group="mechanics",
        definition="Bending stress at the thread's root of the outer tie-rod joint's stud under the design "
        "load, from the lever arm of what is stacked under the joint.",
        source="32 M / (pi d^3), bending of a round section (standard beam theory)",
        stage=Stage.ROD,
        figure=_stud_stress,
        scale=20.0,
        where=no_state("design load on the stack's lever"),
    ),
    Measure(
        name="thread_engagement",
        unit="mm",
        group="mechanics",
        definition="Thread engagement at each end of the tie rod with the best adjuster in the box for "
        "the solved rod length; less than the kit's least means that none fits.",
        source="thread tables, see kinematics/rods.py; least engagement is the parts file's",
        stage=Stage.ROD,
        figure=_thread_engagement,
        scale=2.0,
        where=_each_rod,
    ),
)

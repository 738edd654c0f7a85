"""What one real step of each adjuster does at a candidate's settings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from kinematics.measures import MEASURES, Ask
from kinematics.scene import Scene
from optimiser.bench import DutyBench, row_of
from optimiser.evaluate import stopped
from optimiser.paper import Block, Grid, Heading, Words
from optimiser.precision import fixed, usual_places
from optimiser.settings import part_of
from optimiser.space import Dimension, adjuster_at
from optimiser.wording import short, spoken

# Figures that are told, where they exist; the angle at which one on turns is asked.
FIGURES = (
    "bump_steer_slope",
    "roll_centre_height",
    "camber",
    "caster",
    "track_width",
    "lock_inner",
    "toggle_margin",
    "toe_out_on_turns",
)
AT = 20.0  # deg of the inner wheel
HEADS = {
    "bump_steer_slope": "bump steer, deg/100 mm",
    "roll_centre_height": "roll centre, mm",
    "camber": "camber, deg",
    "caster": "caster, deg",
    "track_width": "track, mm",
    "lock_inner": "inner lock, deg",
    "toggle_margin": "toggle, deg",
    "toe_out_on_turns": f"toe-out at {AT:g} deg",
}
PER_100 = 100.0
MOST = 8
NOTE = (
    "One step more of one adjuster, all else as set, the tie rods turned back to the wanted toe and the stop "
    "set anew. Two steps do about twice as much."
)


@dataclass(frozen=True)
class Effect:
    """One step of one adjuster.

    ``step`` is in mm, as a person sets it; ``changes`` measure → change in the measure's unit, not-a-number
    where there is no figure before or after.
    """

    station: str
    name: str
    step: float
    changes: dict[str, float]

    @property
    def size(self) -> float:
        """The largest change in differences that a builder would notice."""
        sizes = [abs(v) / MEASURES[name].scale for name, v in self.changes.items()]
        return float(np.nanmax([0.0, *sizes]))


def effects_of(bench: DutyBench) -> list[Effect]:
    """Effects of a duty's adjusters and stacks, the most useful first."""
    if bench.scene is None or bench.assembly is None:
        return []
    before = _figures(bench.scene)
    found = []
    for column, dimension, step in _steps(bench):
        after = _figures(_scene_with(bench, column, dimension))
        changes = {name: after[name] - before[name] for name in FIGURES}
        found.append(Effect(dimension.station.value, dimension.name, step, changes))
    useful = [effect for effect in found if effect.size > 0.0]
    return sorted(useful, key=lambda effect: -effect.size)[:MOST]


def _steps(bench: DutyBench) -> Iterator[tuple[int, Dimension, float]]:
    """For each adjuster and stack: its place, the one position that is a step on, and that step."""
    original = bench.problem.assembly(bench.build, bench.duty)
    assert original is not None and bench.assembly is not None
    for column, dimension in enumerate(original.dimensions):
        stands = bench.assembly.dimensions[column].values[bench.positions[column]]
        if isinstance(stands, str):
            continue
        part = part_of(bench.build, dimension.station.value)
        if dimension.stack:
            others = [float(v) - stands for v in dimension.values if float(v) != stands]
            if others:
                step = min(others, key=lambda d: (abs(d), -d))
                at = [float(v) - stands for v in dimension.values].index(step)
                yield column, dimension.only([at]), step
        elif part is not None and dimension.name in part.adjusts:
            adjuster = part.adjusts[dimension.name]
            step = adjuster.step
            if stands + step > adjuster.range[1] + 1e-9:
                step = -step
            if stands + step < adjuster.range[0] - 1e-9:
                continue
            there = np.array([stands + step])
            yield column, adjuster_at(part, dimension.station, dimension.name, there), step


def _scene_with(bench: DutyBench, column: int, dimension: Dimension) -> Scene:
    """The candidate with one dimension moved, toe and stop set again."""
    assert bench.assembly is not None
    dimensions = list(bench.assembly.dimensions)
    dimensions[column] = dimension
    positions = list(bench.positions)
    positions[column] = 0
    moved = replace(bench.assembly, dimensions=tuple(dimensions))
    return stopped(moved.scene(row_of(tuple(positions))), bench.problem.demands(moved, bench.duty))


def _figures(scene: Scene) -> dict[str, float]:
    """Each figure at its first wheel or turn."""
    found = {}
    for name in FIGURES:
        ask = Ask(at=AT) if name == "toe_out_on_turns" else Ask()
        found[name] = float(MEASURES[name](scene, ask)[0, 0])
    return found


def effect_blocks(bench: DutyBench) -> Iterator[Block]:
    """The effects as a table; nothing where nothing can be moved by a step."""
    grid = effect_grid(effects_of(bench))
    if grid is not None:
        yield Heading("What one step does", 3)
        yield Words(NOTE)
        yield grid


def effect_grid(effects: list[Effect]) -> Grid | None:
    """Effects as a table, without figures that none of them moves."""
    names = [name for name in FIGURES if any(_text(e, name) not in ("", "-") for e in effects)]
    if not effects or not names:
        return None
    rows = tuple((_step_words(e), *(_text(e, name) for name in names)) for e in effects)
    return Grid(("one step", *(HEADS[name] for name in names)), rows, right=1, first=22)


def _step_words(effect: Effect) -> str:
    sign = "+" if effect.step > 0.0 else ""
    return f"{spoken(effect.station)} {spoken(effect.name)} {sign}{short(effect.step)} mm"


def _text(effect: Effect, name: str) -> str:
    """A change with its sign; empty where it rounds to nothing."""
    change = effect.changes[name]
    if not np.isfinite(change):
        return "-"
    if name == "bump_steer_slope":
        change, places = change * PER_100, 2
    else:
        # errors of measuring are nearly alike in both, so that a change is known better than a figure
        places = usual_places(name) + 1
    text = fixed(change, places)
    if not text.strip("-0."):
        return ""
    return f"+{text}" if change > 0.0 else text

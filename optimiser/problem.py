"""A search's inputs made ready: the space of builds, and each duty's demands."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from goals.car import Car
from goals.duties import GoalsFile
from goals.parts import Parts
from goals.readings import Readings
from goals.verdicts import (
    Demand,
    bar_gates,
    demands,
    gap_gates,
    linkage_gate,
    stud_gate,
    thread_gate,
    tilt_gates,
)
from optimiser.antiroll import has_geometry
from optimiser.assembly import Assembly, duty_frame, duty_toe
from optimiser.errors import Errors
from optimiser.families import Families
from optimiser.fittings import gates, tilt_limits
from optimiser.obstacles import obstacles_of
from optimiser.sizes import check_sizes
from optimiser.space import Build, Dimension, Space, duty_dimensions, make_space


@dataclass(frozen=True)
class Problem:
    """What is searched: goals, car and parts, as read. Sent whole to every worker.

    ``readings`` of the car as it stands tell whether to believe the model; the search needs none.
    """

    goals: GoalsFile
    car: Car
    parts: Parts
    readings: Readings | None = None

    @cached_property
    def space(self) -> Space:
        """All builds by number. Raises ValueError where one has more settings than can be swept."""
        space = make_space(self.parts)
        check_sizes(space, self.goals)
        return space

    @cached_property
    def families(self) -> Families:
        """What the sweeps of this process found that other builds may use."""
        return Families()

    @cached_property
    def errors(self) -> Errors:
        """What can be off on a car as built, drawn many times: alike for every candidate."""
        return Errors(self.goals, self.car, self.space)

    def __getstate__(self) -> dict[str, object]:
        """What a worker is sent: the inputs that a search needs, alone."""
        return {"goals": self.goals, "car": self.car, "parts": self.parts}

    @property
    def duties(self) -> tuple[str, ...]:
        """Names of the duties, as the goals file orders them."""
        return tuple(self.goals.duties)

    def assembly(self, build: Build, duty_name: str) -> Assembly | None:
        """A build made ready for a duty; None where it cannot give the duty's ride height."""
        narrowed = duty_dimensions(build, self.goals.duties[duty_name])
        if narrowed is None:
            return None
        return self.assembly_of(build, duty_name, *narrowed)

    def assembly_of(
        self, build: Build, duty_name: str, dimensions: tuple[Dimension, ...], lowering: float
    ) -> Assembly:
        """A build with given dimensions and a given lowering in mm, judged as a duty is."""
        duty = self.goals.duties[duty_name]
        return Assembly(
            self.car,
            build,
            dimensions,
            lowering,
            duty_frame(self.goals, self.car, duty),
            duty_toe(self.car, duty),
        )

    def gates_as_measured(self) -> list[Demand]:
        """The gates that hold for the car as its file gives it, whatever the goals."""
        bars = bar_gates() if has_geometry(self.car) else []
        tilts = tilt_gates(tilt_limits(self.car, {}))
        obstacles = obstacles_of(self.car)
        rods = obstacles is not None and bool(obstacles.rod_pieces)
        barrel = rods and self.car.wheel.barrel_radius is not None
        return [linkage_gate(), *bars, *tilts, *gap_gates([], obstacles is not None, barrel)]

    def demands(self, assembly: Assembly, duty_name: str, *, in_hand: bool = True) -> list[Demand]:
        """A duty's limits, targets and gates on a build.

        Limits keep in hand what they say; without ``in_hand`` they are the bounds themselves.
        """
        wanted = demands(self.goals.duties[duty_name], in_hand=in_hand)
        if assembly.kit is not None:
            wanted.append(thread_gate(assembly.kit.engagement))
        if assembly.stud is not None:
            wanted.append(stud_gate(assembly.stud.allowable))
        parts = assembly.build.parts
        wanted += gates(self.car, parts, assembly.base_numbers, assembly.fittings)
        if has_geometry(self.car):
            wanted += bar_gates()
        wanted += gap_gates(wanted, assembly.obstacles is not None, assembly.knows_barrel)
        return sorted(wanted, key=lambda d: (d.stage, not d.is_limit))

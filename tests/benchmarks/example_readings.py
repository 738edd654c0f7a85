"""Make the shipped example of readings: python -m tests.benchmarks.example_readings

The example car's points are moved by about a millimetre (seeded), the readings are what plain rotations of
the moved points give (tests/properties/twin.py), with an error, rounded as the gauges are marked.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from goals.reading import load_goals
from tests.cars import Car
from tests.fit.garage import really
from tests.gauges import Gauges

EXAMPLES = Path(__file__).parents[2] / "goals" / "examples"
SEED = 22


def example_car() -> Car:
    """The example's car, in the tests' plain form."""
    car = load_goals(EXAMPLES / "goals.yaml").car
    return Car(
        name=car.name,
        about="the shipped example",
        points={name: tuple(point) for name, point in car.points.model_dump().items()},
        toe=car.static.toe,
        camber=car.static.camber,
        inset=car.wheel.spacer - car.wheel.offset,
        loaded_radius=car.tyre.loaded_radius,
        wheelbase=car.wheelbase,
        rack_travel=car.rack.travel,
    )


def as_it_is(rng: np.random.Generator) -> Car:
    """The car with each coordinate off by an error of ± 1 mm, coverage factor 2."""
    car = example_car()
    return really(car, 0.5 * rng.normal(size=3 * len(car.points)))


def text() -> str:
    """The example readings file."""
    rng = np.random.default_rng(SEED)
    file = Gauges(as_it_is(rng), rng).file(base=300.0)
    lines = [
        "# yaml-language-server: $schema=readings.schema.json",
        "# Invented for this example: no such car was read. The example car's points were moved by about",
        "# a millimetre, and the readings of that car rounded as gauges are marked.",
        "# Toe-in, top outward (camber), bump and a left turn are positive.",
        "format: 1",
        "name: Larkmoor 1600, as it came in (invented)",
        "lowered_by: 0",
        "gauge:  # springs out, bar off, rack held at its centre; toe by two dials 300 mm apart",
    ]
    for run in file["gauge"]:
        lines.append(f"  - wheel: {run['wheel']}")
        lines.append("    dials: {unit: mm, base: 300}")
        lines.append(f"    toe: [{_pairs(run['toe'], 2)}]")
        lines.append(f"    camber: [{_pairs(run['camber'], 1)}]")
    lines.append("turn_plates:  # inner wheel, outer wheel")
    for plates in file["turn_plates"]:
        pairs = _pairs(plates["readings"], 1)
        lines.append(f"  - {{turn: {plates['turn']}, readings: [{pairs}]}}")
    lines.append("static:")
    for side, wheel in file["static"].items():
        words = f"toe: {wheel['toe']:.2f}, camber: {wheel['camber']:.1f}, "
        words += f"caster: {wheel['caster']:.1f}, rod_length: {wheel['rod_length']:.0f}"
        lines.append(f"  {side}: {{{words}}}")
    lines += [
        "# How far a reading may be off, ± with coverage factor 2 (common practice, no source).",
        "uncertainty: {dials: 0.1, camber: 0.15, turn_plates: 0.3, toe: 0.05, caster: 0.3, "
        "rod_length: 1}",
    ]
    return "\n".join(lines) + "\n"


def _pairs(pairs: list[list[float]], places: int) -> str:
    return ", ".join(f"[{at:g}, {round(value, places) + 0.0:.{places}f}]" for at, value in pairs)


if __name__ == "__main__":
    (EXAMPLES / "readings.yaml").write_text(text(), encoding="utf-8")
    print(text())

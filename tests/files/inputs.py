"""Small sound files of an invented car, and helpers that lay them out, spoilt or not."""

from __future__ import annotations

from pathlib import Path

from goals.faults import Fault, InputError
from goals.reading import load_goals

CAR = """\
format: 1
name: Wendle Two
suspension: strut
wheelbase: 2480
points:
  arm_front: [180, 320, 190]
  arm_rear: [-170, 330, 195]
  ball_joint: [5, 690, 185]
  top_mount: [-35, 560, 790]
  strut_lower: [-8, 640, 330]
  tie_rod_outer: [-130, 660, 210]
  tie_rod_inner: [-140, 310, 215]
  hub_face: [0, 740, 290]
static: {toe: 0.0, camber: -0.5}
rack: {travel: 72, per_turn: 44}
wheel: {offset: 35, width: 178}
tyre: {width: 205, diameter: 600, loaded_radius: 290}
masses: {total: 1180, front: 590, cg_height: 480, unsprung_front: 70}
"""

WISHBONE_CAR = """\
format: 1
name: Harrowlea Two
suspension: double_wishbone
wheelbase: 2310
points:
  arm_front: [132, 348, 172]
  arm_rear: [-148, 344, 168]
  ball_joint: [6, 676, 160]
  upper_front: [92, 428, 462]
  upper_rear: [-104, 424, 450]
  upper_ball_joint: [-24, 640, 474]
  tie_rod_outer: [-112, 660, 196]
  tie_rod_inner: [-118, 342, 206]
  hub_face: [0, 722, 292]
static: {toe: 0.05, camber: -0.8}
rack: {travel: 62, per_turn: 44}
wheel: {offset: 20, width: 152}
tyre: {width: 185, diameter: 600, loaded_radius: 292}
masses: {total: 900, front: 450, cg_height: 450}
"""

PARTS = """\
format: 1
currency: EUR
stations:
  tie_rod_stud:
    - id: spacers
      stack: {point: tie_rod_outer, along: [0, 0, -1], pieces: {1: 4, 2.5: 4, 5 mm: 8}, usable: 25}
  lower_arm:
    - id: stock arm
      today: true
    - id: slotted arm
      adjusts:
        slot: {along: {arm_front: [0, 1, 0]}, range: [-10, 10], step: 2}
      choices:
        hole: {1: {}, 2: {moves: {arm_front: [0, 0, 5]}}}
      fits: {not_with: [spacers]}
      price: 240
"""

GOALS = """\
format: 1
car: car.yaml
parts: parts.yaml
duties:
  hill:
    lowered_by: 45
    static: {toe: 0.05}
    limits:
      toggle_margin: {min: 18}
      lock_inner: {min: 38}
    targets:
      roll_centre_height: {value: 60, tolerance: 8, weight: 3}
      bump_steer: {value: 0, tolerance: 0.05, over: [-40, 40]}
      ackermann: {points: [[5, 60], [20, 50]], tolerance: 10}
  pads:
    lowered_by: {min: 30, max: 55}
changeover: {allow: [tie_rod_stud], minutes: {max: 45}}
search: {hours: 8, workers: auto, keep: 200, seed: 1}
"""

GOOD = {"goals.yaml": GOALS, "car.yaml": CAR, "parts.yaml": PARTS}

# Where a spoilt text has this sign, the fault is expected; it is taken out before the file is written.
HERE = "§"


def lay(folder: Path, **changed: str | bytes | None) -> Path:
    """The three files in ``folder``, those named (without .yaml) changed, None left out; the goals."""
    for name, text in GOOD.items():
        given = changed.get(name.removesuffix(".yaml"), text)
        if given is not None:
            raw = given if isinstance(given, bytes) else given.encode()
            (folder / name).write_bytes(raw)
    return folder / "goals.yaml"


def spoil(text: str, old: str, new: str) -> str:
    """``text`` with its one ``old`` replaced, so that a test never spoils nothing."""
    assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
    return text.replace(old, new)


def marked(text: str) -> tuple[str, int, int]:
    """The text without its mark, and the mark's line and column from 1."""
    before, after = text.split(HERE)
    return before + after, before.count("\n") + 1, len(before) - before.rfind("\n")


def faults_of(path: Path) -> list[Fault]:
    """The faults that loading ``path`` ends with; none when it loads."""
    try:
        load_goals(path)
    except InputError as error:
        return error.faults
    return []

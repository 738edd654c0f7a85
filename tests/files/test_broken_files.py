"""One slip in an otherwise sound set of files is one fault, at its place, in a builder's words."""

from __future__ import annotations

from pathlib import Path

import pytest

from goals import asks
from goals.faults import InputError
from goals.obstacles import Box
from goals.reading import load_goals, load_saved
from optimiser.assembly import overtravel
from tests.files.inputs import CAR, GOALS, GOOD, PARTS, faults_of, lay, marked, spoil

# name: (file, what is replaced, what by, words of the message); § marks the place of the fault.
SLIPS = {
    # the goals file
    "unknown key": (
        "goals",
        "    lowered_by: 45",
        "    §lowerd_by: 45",
        ["unknown key 'lowerd_by' in duties.hill", "perhaps you meant 'lowered_by'"],
    ),
    "unknown key, nothing near": (
        "goals",
        "static: {toe: 0.05}",
        "static: {toe: 0.05, §colour: 3}",
        ["unknown key 'colour' in duties.hill.static", "expected toe"],
    ),
    "missing key": (
        "goals",
        "{value: 0, tolerance: 0.05,",
        "{value: 0,",
        ["key 'tolerance' is missing in duties.hill.targets.bump_steer"],
    ),
    "missing key at the top": (
        "goals",
        "format: 1\ncar: car.yaml\n",
        "§format: 1\n",
        ["key 'car' is missing at the top of the file", "path of the car file"],
    ),
    "format of another time": ("goals", "format: 1", "format: §2", ["format: 2", "expected 1"]),
    "format that is true": ("goals", "format: 1", "format: §true", ["format: true"]),
    "word for a number": ("goals", "min: 18", "min: §lots", ["'lots'", "expected an angle in deg"]),
    "yes is no truth in YAML 1.2": (
        "goals",
        "    lowered_by: 45",
        "    lowered_by: 45\n    counter_steers: §yes",
        ["'yes' for duties.hill.counter_steers", "true or false"],
    ),
    "true for a number": ("goals", "weight: 3", "weight: §true", ["true for", "a number"]),
    "wrong unit": (
        "goals",
        "lowered_by: 45",
        "lowered_by: §45 kg",
        ["'45 kg' is a mass, not a length", "expected a length in mm"],
    ),
    "unknown unit": ("goals", "lowered_by: 45", "lowered_by: §45 mmm", ["perhaps you meant 'mm'"]),
    "text without a unit": ("goals", "lowered_by: 45", 'lowered_by: §"45"', ["without a unit"]),
    "decimal comma": ("goals", "lowered_by: 45", "lowered_by: §4,5 mm", ["comma", "point"]),
    "list for a length": ("goals", "lowered_by: 45", "lowered_by: §[45]", ["a list of 1"]),
    "nothing for a length": ("goals", "lowered_by: 45", "lowered_by:§", ["nothing is not"]),
    "infinite": ("goals", "hours: 8", "hours: §.inf", ["a finite number"]),
    "unit of another measure": (
        "goals",
        "value: 60",
        "value: §60 deg",
        ["roll_centre_height.value: '60 deg' is an angle, not a length"],
    ),
    "limit upside down": (
        "goals",
        "{min: 18}",
        "{min: 18, max: §12}",
        ["upside down", "min 18 is above max 12"],
    ),
    "window upside down": ("goals", "over: [-40, 40]", "over: §[40, -40]", ["upside down"]),
    "window without width": ("goals", "over: [-40, 40]", "over: §[40, 40]", ["no width"]),
    "range of lowering upside down": ("goals", "max: 55", "max: §5", ["min 30 is above max 5"]),
    "too many positions": (
        "goals",
        "max: 55",
        "max: 55, step: §0.01",
        ["2501 positions", "2000 positions at most"],
    ),
    "limit without a bound": (
        "goals",
        "      lock_inner: {min: 38}",
        "      §lock_inner: {}",
        ["'min', 'max' or both"],
    ),
    "limits without a bound in a list": (
        "goals",
        "lock_inner: {min: 38}",
        "lock_inner: [{min: 38}, §{}]",
        ["lock_inner#2: a limit without a bound"],
    ),
    "target with both": (
        "goals",
        "{points: [[5",
        "{value: 3, points: §[[5",
        ["either 'value' or 'points'"],
    ),
    "target with neither": (
        "goals",
        "      bump_steer: {value: 0,",
        "      §bump_steer: {",
        ["either 'value' or 'points'"],
    ),
    "pair of one": ("goals", "[20, 50]", "§[20]", ["a list of 1", "expected a pair"]),
    "out of bounds": ("goals", "weight: 3", "weight: §0", ["0 for", "more than 0"]),
    "half a candidate": ("goals", "keep: 200", "keep: §0.5", ["a whole number"]),
    "workers": ("goals", "workers: auto", "workers: §many", ["'many'", "auto"]),
    "wheel": (
        "goals",
        "{min: 18}",
        "{min: 18, wheel: §iner}",
        ["one of left, right, inner", "perhaps you meant 'inner'"],
    ),
    "station": (
        "goals",
        "[tie_rod_stud]",
        "[§tie_rod_studd]",
        ["'tie_rod_studd' for changeover.allow#1", "perhaps you meant 'tie_rod_stud'"],
    ),
    "unknown measure": (
        "goals",
        "      toggle_margin:",
        "      §togle_margin:",
        ["unknown measure 'togle_margin'", "perhaps you meant 'toggle_margin'"],
    ),
    "argument that the measure does not take": (
        "goals",
        "{min: 38}",
        "{min: 38, §over: [-5, 5]}",
        ["lock_inner takes no 'over'"],
    ),
    "measure that needs more of the car": (
        "goals",
        "      lock_inner: {min: 38}",
        "      §roll_couple: {max: 500}",
        ["roll_couple needs the car's section 'rear'", "car.yaml lacks"],
    ),
    "measure that needs the springs": (
        "goals",
        "      lock_inner: {min: 38}",
        "      §front_roll_stiffness: {min: 500}",
        ["front_roll_stiffness needs the car's section 'springs'", "car.yaml lacks"],
    ),
    "measure that needs the anti-roll bar": (
        "goals",
        "      lock_inner: {min: 38}",
        "      §bar_rate: {min: 20}",
        ["bar_rate needs the car's section 'antiroll_bar'", "car.yaml lacks"],
    ),
    "no duty": (
        "goals",
        GOALS[GOALS.index("duties:") : GOALS.index("changeover")],
        "duties: §{}\n",
        ["no duty", "at least one"],
    ),
    "duty with a bad name": ("goals", "  pads:", "  §pads/2:", ["'pads/2' as a key in duties"]),
    "duplicate key": (
        "goals",
        "      lock_inner: {min: 38}",
        "      §toggle_margin: {min: 38}",
        ["'toggle_margin' is written twice", "first on line 9"],
    ),
    "number for a path": ("goals", "car: car.yaml", "car: §5", ["5 for car", "a text"]),
    "no such car file": (
        "goals",
        "car: car.yaml",
        "car: §cat.yaml",
        ["there is no file", "cat.yaml", "perhaps you meant 'car.yaml'"],
    ),
    "folder for a car file": ("goals", "car: car.yaml", "car: §.", ["is a folder"]),
    "path that is none": ("goals", "car: car.yaml", 'car: §"a\\0b"', ["cannot be read"]),
    # the car file
    "missing point": (
        "car",
        "points:\n  arm_front: [180, 320, 190]\n",
        "§points:\n",
        ["key 'arm_front' is missing in points", "front body pivot of the lower arm"],
    ),
    "misspelt point is one slip": (
        "car",
        "  top_mount:",
        "  §top_mout:",
        ["unknown key 'top_mout'", "perhaps you meant 'top_mount'"],
    ),
    "point of two": ("car", "[0, 740, 290]", "§[0, 740]", ["a list of 2 for points.hub_face"]),
    "point of four": ("car", "[0, 740, 290]", "§[0, 740, 290, 1]", ["a list of 4"]),
    "word in a point": ("car", "[0, 740, 290]", "[0, §out, 290]", ["points.hub_face#2: 'out'"]),
    "suspension": ("car", "suspension: strut", "suspension: §strutt", ["'strutt'", "strut"]),
    "number for a name": ("car", "name: Wendle Two", "name: §911", ["911 for name", "quotes"]),
    "arm without an axis": (
        "car",
        "arm_rear: [-170, 330, 195]",
        "arm_rear: §[180, 320, 190.5]",
        ["arm_front and arm_rear are one point"],
    ),
    "arm without length": (
        "car",
        "ball_joint: [5, 690, 185]",
        "ball_joint: §[5, 325, 192.5]",
        ["ball_joint is on the line through the arm's pivots"],
    ),
    "tie rod without length": (
        "car",
        "tie_rod_inner: [-140, 310, 215]",
        "tie_rod_inner: §[-130, 660, 210]",
        ["the tie rod has no length"],
    ),
    "steering arm without length": (
        "car",
        "tie_rod_outer: [-130, 660, 210]",
        "tie_rod_outer: §[-15, 625, 487.5]",
        ["tie_rod_outer is on the steering axis"],
    ),
    "strut upside down": (
        "car",
        "top_mount: [-35, 560, 790]\n  strut_lower: [-8, 640, 330]",
        "top_mount: §[-35, 560, 179]\n  strut_lower: [-8, 640, 33]",
        ["top_mount is not above ball_joint"],
    ),
    "strut without direction": (
        "car",
        "strut_lower: [-8, 640, 330]",
        "strut_lower: §[-35, 560, 790]",
        ["strut_lower and top_mount are one point"],
    ),
    "strut the wrong way": (
        "car",
        "strut_lower: [-8, 640, 330]",
        "strut_lower: §[-8, 640, 830]",
        ["strut_lower is not below top_mount"],
    ),
    "left point on the right": (
        "car",
        "hub_face: [0, 740, 290]",
        "hub_face: §[0, -740, 290]",
        ["hub_face is not on the left side"],
    ),
    "right point on the left": (
        "car",
        "wheelbase: 2480",
        "wheelbase: 2480\npoints_right: {hub_face: §[0, 741, 290]}",
        ["hub_face is not on the right side"],
    ),
    "more on the front axle than there is": (
        "car",
        "front: 590",
        "front: §1190",
        ["1190 kg of 1180 kg"],
    ),
    "more unsprung at the rear than there is": (
        "car",
        "unsprung_front: 70",
        "unsprung_front: 70, unsprung_rear: §590",
        ["unsprung_rear is 590 kg of the rear axle's 590 kg"],
    ),
    "unknown key of the anti-roll bar": (
        "car",
        "masses:",
        "antiroll_bar: {diameter: 22, length: 900, arm: 200, motion_ratio: 0.6, §bor: 3}\nmasses:",
        ["unknown key 'bor' in antiroll_bar", "perhaps you meant 'bore'"],
    ),
    "anti-roll bar without its motion ratio": (
        "car",
        "masses:",
        "§antiroll_bar: {diameter: 22, length: 900, arm: 200}\nmasses:",
        ["key 'motion_ratio' is missing in antiroll_bar"],
    ),
    "anti-roll bar of no wall": (
        "car",
        "masses:",
        "antiroll_bar: {diameter: 22, bore: §22, length: 900, arm: 200, motion_ratio: 0.6}\nmasses:",
        ["bore, 22 mm, leaves nothing of its 22 mm"],
    ),
    "anti-roll bar's arm shorter than its lever": (
        "car",
        "masses:",
        "antiroll_bar: {diameter: 22, length: 900, arm: 200, arm_length: §190, motion_ratio: 0.6}\nmasses:",
        ["arm_length is 190 mm and the lever 'arm' 200 mm"],
    ),
    "obstacle of no shape": (
        "car",
        "masses:",
        "obstacles: [§{name: rail, on: body}]\nmasses:",
        ["key 'shape' is missing", "one of capsule, chain"],
    ),
    "obstacle of an unknown shape": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: arm, shape: §capsul, ends: [arm_rear, ball_joint], radius: 9}]\nmasses:",
        ["'capsul' is no shape", "perhaps you meant 'capsule'"],
    ),
    "obstacle on an unknown carrier": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: §bdy, shape: ball, point: ball_joint, radius: 9}]\nmasses:",
        ["'bdy' for obstacles#1.on", "perhaps you meant 'body'"],
    ),
    "obstacle on an unknown point": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: arm, shape: capsule, ends: [arm_rear, §bal_joint], radius: 9}]\nmasses:",
        ["'bal_joint' for obstacles#1.ends#2", "perhaps you meant 'ball_joint'"],
    ),
    "obstacle without its radius": (
        "car",
        "masses:",
        "obstacles: [§{name: a, on: arm, shape: capsule, ends: [arm_rear, ball_joint]}]\nmasses:",
        ["key 'radius' is missing in obstacles#1", "radius of the tube"],
    ),
    "obstacle with another shape's key": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: body, shape: plane, point: [0, 400, 300], normal: [0, 1, 0], "
        "§radius: 3}]\nmasses:",
        ["unknown key 'radius' in obstacles#1"],
    ),
    "obstacle with one end": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: arm, shape: capsule, ends: §[arm_rear], radius: 9}]\nmasses:",
        ["a list of 1 for obstacles#1.ends", "both ends of its middle line"],
    ),
    "obstacle whose ends are one point": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: body, shape: capsule, ends: §[[0, 400, 300], [0, 400, 300.5]], "
        "radius: 9}]\nmasses:",
        ["places are one point", "places that are apart"],
    ),
    "chain with a link of no length": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: arm, shape: chain, points: §[arm_rear, ball_joint, ball_joint], "
        "radius: 9}]\nmasses:",
        ["places #2 and #3 are one point"],
    ),
    "arch that is straight": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: body, shape: arch, points: §[[-300, 800, 300], [0, 800, 300], "
        "[300, 800, 300]], radius: 5}]\nmasses:",
        ["the three points lie in line"],
    ),
    "box upside down": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: body, shape: box, low: [0, 300, 200], high: §[100, 200, 300]}]\nmasses:",
        ["box is upside down: its y goes from 300 to 200"],
    ),
    "plane without a direction": (
        "car",
        "masses:",
        "obstacles: [{name: a, on: body, shape: plane, point: top_mount, normal: §[0, 0, 0]}]\nmasses:",
        ["a direction of no length"],
    ),
    "obstacle name used twice": (
        "car",
        "masses:",
        "obstacles:\n  - {name: a, on: arm, shape: ball, point: ball_joint, radius: 9}\n"
        "  - {name: §a, on: arm, shape: ball, point: arm_rear, radius: 9}\nmasses:",
        ["obstacle name 'a' is used twice, first on line 19"],
    ),
    "measure that needs obstacles": (
        "goals",
        "      lock_inner: {min: 38}",
        "      §tyre_clearance: {min: 5}",
        ["tyre_clearance needs the car's section 'obstacles'", "car.yaml lacks"],
    ),
    "tyre that shrinks": (
        "car",
        "loaded_radius: 290}",
        "loaded_radius: 290, growth: §-1}",
        ["-1 for tyre.growth", "0 or more"],
    ),
    # the parts file
    "obstacle name used twice in the box": (
        "parts",
        "      stack: {point: tie_rod_outer, along: [0, 0, -1], pieces: {1: 4, 2.5: 4, 5 mm: 8}, "
        "usable: 40}\n  lower_arm:\n    - id: stock arm\n",
        "      obstacles: [{name: arm, on: arm, shape: ball, point: ball_joint, radius: 9}]\n"
        "  lower_arm:\n    - id: stock arm\n"
        "      obstacles: [{name: §arm, on: arm, shape: ball, point: ball_joint, radius: 9}]\n",
        ["obstacle name 'arm' is used twice, first on line 6"],
    ),
    "barrel of nothing": (
        "parts",
        "      price: 240",
        "      sets: {wheel: {barrel_radius: §0}}",
        ["0 for wheel.barrel_radius", "more than 0"],
    ),
    "barrel that cannot be added to": (
        "parts",
        "      price: 240",
        "      adds: {wheel: {§barrel_radius: 3}}",
        ["unknown key 'barrel_radius'"],
    ),
    "unknown station": (
        "parts",
        "  tie_rod_stud:",
        "  §tie_rod_stut:",
        ["'tie_rod_stut' as a key in stations", "perhaps you meant 'tie_rod_stud'"],
    ),
    "part without an id": (
        "parts",
        "    - id: stock arm\n      today: true",
        "    - §today: true",
        ["key 'id' is missing in stations.lower_arm#1"],
    ),
    "duplicate id": (
        "parts",
        "id: stock arm",
        "id: §spacers",
        ["part id 'spacers' is used twice", "first on line 5"],
    ),
    "two parts of today": (
        "parts",
        "      price: 240",
        "      price: 240\n      today: §true",
        ["a second part of lower_arm is marked 'today'"],
    ),
    "as_is is taken": (
        "parts",
        "id: stock arm\n      today: true",
        "id: §as_is",
        ["the id 'as_is' in lower_arm, where no part is marked 'today'"],
    ),
    "excludes a part that isn't": (
        "parts",
        "not_with: [spacers]",
        "not_with: [§spacer]",
        ["no part has the id 'spacer'", "perhaps you meant 'spacers'"],
    ),
    "excludes itself": (
        "parts",
        "not_with: [spacers]",
        "not_with: [§slotted arm]",
        ["cannot be combined with itself"],
    ),
    "point that the suspension hasn't": (
        "parts",
        "point: tie_rod_outer",
        "point: §tie_rod_outr",
        ["perhaps you meant 'tie_rod_outer'"],
    ),
    "adjusted point that the suspension hasn't": (
        "parts",
        "along: {arm_front:",
        "along: {§arm_frnt:",
        ["'arm_frnt' as a key", "perhaps you meant 'arm_front'"],
    ),
    "moved point that the suspension hasn't": (
        "parts",
        "moves: {arm_front:",
        "moves: {§upper_front:",
        ["'upper_front' as a key", "one of arm_front"],
    ),
    "range upside down": ("parts", "range: [-10, 10]", "range: §[10, -10]", ["upside down"]),
    "endless adjuster": ("parts", "step: 2", "step: §0.01", ["2001 positions"]),
    "step of nothing": ("parts", "step: 2", "step: §0", ["more than 0"]),
    "direction of nothing": ("parts", "[0, 0, -1]", "§[0, 0, 0]", ["a direction of no length"]),
    "adjuster that moves nothing": (
        "parts",
        "        slot: {along: {arm_front: [0, 1, 0]}, ",
        "        §slot: {",
        ["moves nothing", "'along', 'adds' or both"],
    ),
    "piece of no thickness": ("parts", "{1: 4,", "{§0: 4,", ["0 as a key", "more than 0"]),
    "piece of unknown thickness": ("parts", "{1: 4,", "{§thick: 4,", ["'thick' is not a length"]),
    "pieces counted twice": ("parts", "5 mm: 8", "§1 mm: 8", ["twice", "first as 1"]),
    "part of a piece": ("parts", "{1: 4,", "{1: §4.5,", ["a whole number"]),
    "set to nothing": (
        "parts",
        "      price: 240",
        "      sets: {rack: {travel: §0}}",
        ["0 for rack.travel", "more than 0"],
    ),
    # what is no YAML, or more than the plain kind
    "tab": ("goals", "    lowered_by: 45", "    §\tlowered_by: 45", ["a tab", "spaces"]),
    "colon in a text": ("car", "name: Wendle Two", "name: Wendle§: Two", ["':'", "quotes"]),
    "open bracket": ("car", "[0, 740, 290]", "[0, 740, 290", ["bracket"]),
    "open quote": ("car", "name: Wendle Two", 'name: §"Wendle', ["a quote that is not closed"]),
    "wrong indent": (
        "goals",
        "    static: {toe: 0.05}",
        "   §static: {toe: 0.05}",
        ["indented otherwise"],
    ),
    "line without a colon": ("car", "wheelbase: 2480\n", "wheelbase\n", ["':'"]),
    "sign that starts no text": ("car", "name: Wendle Two", "name: §@home", ["'@'", "quotes"]),
    "alias of nothing": ("car", "[0, 740, 290]", "§*hub", ["alias '*hub'"]),
    "second document": ("goals", "search:", "§---\nsearch:", ["a second document"]),
    "tag": ("car", "wheelbase: 2480", "wheelbase: §!!python/name:os.system 2480", ["the tag"]),
    "own tag": ("car", "wheelbase: 2480", "wheelbase: §!mm 2480", ["the tag '!mm'"]),
    "merge key": ("goals", "    lowered_by: 45", "    §<<: {lowered_by: 45}", ["merge key"]),
    "true as a key": ("goals", "  pads:", "  §true:", ["true as a key", "quotes"]),
    "list as a key": ("goals", "  pads:", "  §[a, b]:", ["a key that is a list"]),
    "half a character": ("car", "name: Wendle Two", 'name: §"\\ud800"', ["half a character"]),
    "endless number": ("car", "2480", "§" + "9" * 5000, ["5000 digits"]),
}


# Where the parser notices a slip late, its place is not the slip's; only the words are checked.
NOT_PLACED = {"open bracket", "line without a colon", "missing key"}


@pytest.mark.parametrize("slip", SLIPS)
def test_one_slip_is_one_fault_at_its_place(tmp_path: Path, slip: str) -> None:
    name, old, new, words = SLIPS[slip]
    text, line, column = spoil(GOOD[f"{name}.yaml"], old, new), 0, 0
    if slip not in NOT_PLACED:
        text, line, column = marked(text)
    faults = faults_of(lay(tmp_path, **{name: text}))
    assert len(faults) == 1, faults
    fault = faults[0]
    assert fault.file == str(tmp_path / f"{name}.yaml")
    if line:
        assert (fault.line, fault.column) == (line, column), fault
    assert str(fault).startswith(f"{fault.file}:{fault.line}:{fault.column}: ")
    for word in words:
        assert word in str(fault)
    assert "\n" not in str(fault)


def test_a_missing_key_is_placed_at_the_line_of_its_mapping(tmp_path: Path) -> None:
    goals = spoil(GOALS, "{value: 0, tolerance: 0.05,", "{value: 0,")
    (fault,) = faults_of(lay(tmp_path, goals=goals))
    assert GOALS.splitlines()[fault.line - 1].startswith("      bump_steer:")
    assert fault.column == 7


def test_all_faults_of_all_files_come_at_once_in_order(tmp_path: Path) -> None:
    goals = spoil(GOALS, "lowered_by: 45", "lowerd_by: 45")
    goals = spoil(goals, "{min: 18}", "{min: 18, max: 12, wheel: iner, foo: 1}")
    goals = spoil(goals, "lock_inner:", "lock_iner:")
    car = spoil(CAR, "suspension: strut", "suspension: strutt")
    car = spoil(car, "tie_rod_inner: [-140, 310, 215]", "tie_rod_inner: [-130, 660, 210]")
    parts = spoil(PARTS, "id: stock arm", "id: spacers")
    parts = spoil(parts, "price: 240", "price: free")
    faults = faults_of(lay(tmp_path, goals=goals, car=car, parts=parts))
    found = [(Path(fault.file).name, fault.line) for fault in faults]
    assert found == [
        ("goals.yaml", 6),
        *[("goals.yaml", 9)] * 3,
        ("goals.yaml", 10),
        ("car.yaml", 3),
        ("car.yaml", 12),
        ("parts.yaml", 8),
        ("parts.yaml", 16),
    ]


def test_a_broken_file_does_not_hide_the_faults_of_the_others(tmp_path: Path) -> None:
    goals = spoil(GOALS, "lowered_by: 45", "lowerd_by: 45")
    faults = faults_of(lay(tmp_path, goals=goals, car="a: [", parts=None))
    assert {Path(fault.file).name for fault in faults} == {"goals.yaml", "car.yaml"}
    assert len(faults) == 3  # the missing parts file is told where the goals file names it


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"a: \xff", "not UTF-8"),
        (b"", "the file is empty"),
        (b"# only a comment\n", "the file is empty"),
        (b" " * 2_000_000, "more than 1000000 bytes"),
        (b"- 1\n- 2\n", "expected a mapping"),
        (b"just words", "expected a mapping"),
        ("a: 1".encode("utf-16"), "not UTF-8"),
    ],
)
def test_what_is_no_such_file_at_all(tmp_path: Path, raw: bytes, words: str) -> None:
    (fault,) = faults_of(lay(tmp_path, goals=raw))
    assert words in str(fault)


def test_a_byte_that_is_no_text_has_a_place(tmp_path: Path) -> None:
    (fault,) = faults_of(lay(tmp_path, car=b"format: 1\nname: \xe9ric\n"))
    assert (fault.line, fault.column) == (2, 7)


def test_a_goals_file_that_is_not_there(tmp_path: Path) -> None:
    lay(tmp_path)
    for path in (
        tmp_path / "gaols.yaml",
        tmp_path,
        tmp_path / "goals.yaml" / "x",
        Path("/dev/zero"),
    ):
        (fault,) = faults_of(path)
        assert fault.file == str(path)
        assert str(fault).startswith(f"{path}: ")
    (fault,) = faults_of(tmp_path / "gaols.yaml")
    assert fault.nearest == "goals.yaml"


def test_a_flood_of_faults_is_cut_short(tmp_path: Path) -> None:
    goals = GOALS + "".join(f"word{n}: 1\n" for n in range(2000))
    faults = faults_of(lay(tmp_path, goals=goals))
    assert len(faults) == 301
    assert "more faults than these 300" in str(faults[-1])


def test_sound_files_load_with_the_bytes_that_were_read(tmp_path: Path) -> None:
    loaded = load_goals(lay(tmp_path))
    assert {name: raw.decode() for name, raw in loaded.files.items()} == GOOD
    assert loaded.notices == []
    assert loaded.goals.car == "car.yaml"
    assert loaded.car.name == "Wendle Two"
    assert loaded.car.points.hub_face == (0.0, 740.0, 290.0)
    stack = loaded.parts.stations["tie_rod_stud"][0].stack  # type: ignore[index]
    assert stack is not None
    assert stack.pieces == {1.0: 4, 2.5: 4, 5.0: 8}
    assert list(loaded.parts.stations["lower_arm"][1].choices["hole"]) == ["1", "2"]  # type: ignore[index]


def _indented(text: str) -> str:
    return "".join(f"  {line}\n" for line in text.splitlines())


def test_car_and_parts_may_stand_in_the_goals_file(tmp_path: Path) -> None:
    goals = spoil(GOALS, "car: car.yaml\n", f"car:\n{_indented(CAR)}")
    goals = spoil(goals, "parts: parts.yaml\n", f"parts:\n{_indented(PARTS)}")
    loaded = load_goals(lay(tmp_path, goals=goals, car=None, parts=None))
    assert set(loaded.files) == {"goals.yaml"}
    apart = load_goals(lay(tmp_path))
    assert loaded.car == apart.car
    assert loaded.parts == apart.parts


def test_a_fault_of_a_car_in_the_goals_file_is_told_once_and_there(tmp_path: Path) -> None:
    spoilt = spoil(CAR, "  top_mount:", "  §top_mout:")
    spoilt = spoil(spoilt, "front: 590", "front: 1190")
    goals, line, column = marked(spoil(GOALS, "car: car.yaml\n", f"car:\n{_indented(spoilt)}"))
    faults = faults_of(lay(tmp_path, goals=goals))
    assert len(faults) == 2
    assert (faults[0].line, faults[0].column) == (line, column)
    assert "in car.points" in faults[0].found
    assert {Path(fault.file).name for fault in faults} == {"goals.yaml"}


def test_a_runs_own_copies_are_read_whatever_the_goals_file_calls_them(tmp_path: Path) -> None:
    goals = spoil(GOALS, "car: car.yaml", "car: ../garage/heron.yaml")
    lay(tmp_path, goals=goals)
    assert load_saved(tmp_path).car.name == "Wendle Two"


def test_oddities_are_notices(tmp_path: Path) -> None:
    goals = spoil(GOALS, "[tie_rod_stud]", "[tie_rod_stud, wheel]")
    car = spoil(CAR, "loaded_radius: 290", "loaded_radius: 320")
    notices = load_goals(lay(tmp_path, goals=goals, car=car)).notices
    assert len(notices) == 3
    assert "wheel" in notices[0]
    assert "below the ground" in notices[1]
    assert "more than half" in notices[2]


def test_a_section_that_nothing_uses_is_a_notice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As in a version without the measures of clearance."""
    known = {n: m for n, m in asks.catalogue().items() if "obstacles" not in m.needs_car}
    monkeypatch.setattr(asks, "catalogue", lambda: known)
    (notice,) = load_goals(lay(tmp_path, car=CAR + OBSTACLES)).notices
    assert "'obstacles' is not used" in notice


OBSTACLES = """\
obstacles:
  - {name: rail, on: body, shape: box, low: [-400, 300, 250], high: [400, 380, 16 in]}
  - {name: fender, on: body, shape: plane, point: [0, 430, 600], normal: [0, 1, 0]}
  - {name: arch, on: body, shape: arch, points: [[-390, 840, 288], [0, 840, 680], [390, 840, 288]], radius: 6}
"""


def test_obstacles_are_used(tmp_path: Path) -> None:
    arm = "  - {name: arm, on: arm, shape: chain, points: [arm_rear, [0, 600, 190], ball_joint], radius: 9}\n"
    loaded = load_goals(lay(tmp_path, car=CAR + OBSTACLES))
    assert loaded.notices == []
    assert loaded.car.obstacles is not None
    rail = loaded.car.obstacles[0]
    assert isinstance(rail, Box) and rail.high == (400.0, 380.0, pytest.approx(406.4))
    (notice,) = load_goals(lay(tmp_path, car=CAR + OBSTACLES + arm)).notices
    assert "counts as solid" in notice and "barrel_radius" in notice
    barrel = spoil(CAR + OBSTACLES + arm, "width: 178}", "width: 178, barrel_radius: 188}")
    assert load_goals(lay(tmp_path, car=barrel)).notices == []


def test_parts_of_one_station_may_bring_obstacles_of_one_name(tmp_path: Path) -> None:
    bar = "      obstacles: [{name: arm, on: arm, shape: ball, point: ball_joint, radius: 9}]\n"
    parts = spoil(PARTS, "      today: true\n", "      today: true\n" + bar)
    parts = spoil(parts, "      price: 240\n", "      price: 240\n" + bar)
    assert faults_of(lay(tmp_path, parts=parts)) == []


def test_springs_and_bar_are_used(tmp_path: Path) -> None:
    bar = "antiroll_bar: {diameter: 0.875 in, length: 900, arm: 200, motion_ratio: 0.6}\n"
    car = CAR + "springs: {rate: 240 lb/in}\n" + bar
    loaded = load_goals(lay(tmp_path, car=car))
    assert loaded.notices == []
    assert loaded.car.antiroll_bar is not None
    assert loaded.car.antiroll_bar.diameter == pytest.approx(22.225)
    assert loaded.car.antiroll_bar.bore == 0.0
    assert loaded.car.antiroll_bar.arm_length is None


def test_a_rack_that_gives_is_counted_only_with_its_force(tmp_path: Path) -> None:
    """[D] 0.4 mm per kN under 3 kN on top of 2.5 mm: 3.7 mm past the stop."""
    car = spoil(CAR, "per_turn: 44}", "per_turn: 44, compliance: 0.4}")
    (notice,) = load_goals(lay(tmp_path, car=car)).notices
    assert "compliance is not counted" in notice and "'force'" in notice
    pushed = spoil(CAR, "per_turn: 44}", "per_turn: 44, compliance: 0.4, force: 3}")
    loaded = load_goals(lay(tmp_path, car=pushed))
    assert loaded.notices == []
    assert overtravel(loaded.goals, loaded.car) == pytest.approx(3.7)


def test_a_wheel_that_stands_on_the_ground_is_no_notice(tmp_path: Path) -> None:
    car = spoil(CAR, "loaded_radius: 290", "loaded_radius: 276")
    assert load_goals(lay(tmp_path, car=car)).notices == []


def test_a_measure_that_needs_one_entry_of_a_section_says_which(tmp_path: Path) -> None:
    """The rear section is there but for the stiffness and the track that load transfer needs."""
    car = CAR + "springs: {rate: 40}\nrear: {roll_centre_height: 200}\n"
    goals = spoil(GOALS, "      lock_inner: {min: 38}", "      front_load_transfer: {max: 70}")
    with pytest.raises(InputError) as raised:
        load_goals(lay(tmp_path, goals=goals, car=car))
    told = [str(fault) for fault in raised.value.faults]
    assert len(told) == 2
    assert "needs 'rear.roll_stiffness'" in told[0] and "needs 'rear.track'" in told[1]

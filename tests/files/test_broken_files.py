"""One slip in an otherwise sound set of files is one fault, at its place, in a builder's words."""

from __future__ import annotations

from pathlib import Path

import pytest

from goals.faults import InputError
from goals.obstacles import Box
from goals.reading import load_goals, load_saved
from optimiser.assembly import overtravel
from tests.files.inputs import CAR, GOALS, GOOD, PARTS, faults_of, lay, marked, spoil

# A bar with its points, before the car's masses.
BAR = (
    "antiroll_bar: {diameter: 22, length: 900, pivot: [220, 520, 300], end: [20, 585, 300], "
    "link: [18, 592, 190], link_on: arm}\nmasses:"
)

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
    "error of an unknown point": (
        "goals",
        "format: 1",
        "format: 1\ntolerances: {points: {§ball_joynt: 2}}",
        ["unknown hard point 'ball_joynt'", "perhaps you meant 'ball_joint'"],
    ),
    "error of a point that the car has not": (
        "goals",
        "format: 1",
        "format: 1\ntolerances: {points: {§upper_front: 2}}",
        ["unknown hard point 'upper_front'", "expected one of arm_front"],
    ),
    "error less than nothing": (
        "goals",
        "format: 1",
        "format: 1\ntolerances: {sides: §-1}",
        ["-1 for tolerances.sides", "0 or more"],
    ),
    "error of two directions": (
        "goals",
        "format: 1",
        "format: 1\ntolerances: {points: {top_mount: §[1, 2]}}",
        ["a list of 2", "errors along [x, y, z]"],
    ),
    "error less than nothing along an axis": (
        "goals",
        "format: 1",
        "format: 1\ntolerances: {points: {top_mount: [1, 2, §-3]}}",
        ["-3 for", "0 or more"],
    ),
    "error of a point as a word": (
        "goals",
        "format: 1",
        "format: 1\ntolerances: {points: {top_mount: §much}}",
        ["'much'", "a length in mm"],
    ),
    "points' errors as a number": (
        "goals",
        "format: 1",
        "format: 1\ntolerances: {points: §3}",
        ["expected a mapping of keys and values"],
    ),
    "angle in millimetres": (
        "goals",
        "format: 1",
        "format: 1\ntolerances: {toe: §0.1 mm}",
        ["is a length, not an angle"],
    ),
    "yield in percent": (
        "goals",
        "format: 1",
        "format: 1\ntolerances: {least_yield: §90}",
        ["90 for tolerances.least_yield", "1 or less"],
    ),
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
    "more in hand than there is": (
        "goals",
        "{min: 18}",
        "{min: 18, max: 20, in_hand: §1.5}",
        ["in_hand 1.5 at both ends leaves nothing between 18 and 20", "1 at most"],
    ),
    "less than nothing in hand": ("goals", "{min: 18}", "{min: 18, in_hand: §-1}", ["-1"]),
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
    "measure that needs the hub": (
        "goals",
        "      lock_inner: {min: 38}",
        "      §hub_fit: {max: 0.5}",
        ["hub_fit needs the car's section 'hub'", "car.yaml lacks"],
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
    "path that is none": (
        "goals",
        "car: car.yaml",
        'car: §"a\\0b"',
        ["the control character '\\x00' in a text"],
    ),
    "text that steers the terminal": (
        "goals",
        "car: car.yaml",
        'car: §"a\\e[31mb"',
        ["the control character '\\x1b' in a text"],
    ),
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
    "anti-roll bar with half of its points": (
        "car",
        "masses:",
        "§antiroll_bar: {diameter: 22, length: 900, pivot: [220, 520, 300], link_on: arm}\nmasses:",
        ["antiroll_bar gives 'pivot', 'link_on' but not 'end', 'link'", "or none of them"],
    ),
    "anti-roll bar with neither arm nor points": (
        "car",
        "masses:",
        "§antiroll_bar: {diameter: 22, length: 900, motion_ratio: 0.6}\nmasses:",
        ["key 'arm' is missing in antiroll_bar", "pivot, end, link and link_on"],
    ),
    "anti-roll bar's link on nothing known": (
        "car",
        "masses:",
        BAR.replace("link_on: arm", "link_on: §hub"),
        ["'hub' for antiroll_bar.link_on"],
    ),
    "anti-roll bar's end on its axis": (
        "car",
        "masses:",
        BAR.replace("end: [20, 585, 300]", "end: [220, 585, 300]").replace("link: [", "link: §["),
        ["end is on the axis through pivot: the arm has no lever"],
    ),
    "anti-roll bar's link without length": (
        "car",
        "masses:",
        BAR.replace("link: [18, 592, 190]", "link: §[20, 585.5, 300]"),
        ["end and link are one point: the link has no length"],
    ),
    "anti-roll bar's link in line with the arm": (
        "car",
        "masses:",
        BAR.replace("link: [18, 592, 190]", "link: §[-90, 592, 300]"),
        ["pivot, end and link lie in line"],
    ),
    "anti-roll bar's point on the wrong side": (
        "car",
        "masses:",
        BAR.replace("end: [20, 585", "end: §[20, -585"),
        ["the bar's end is not on the left side of the car"],
    ),
    "anti-roll bar's right point on the wrong side": (
        "car",
        "masses:",
        BAR.replace("}\n", ", right: {link: §[18, 592, 190]}}\n"),
        ["the bar's link is not on the right side of the car"],
    ),
    "anti-roll bar's arm shorter than the lever of its points": (
        "car",
        "masses:",
        BAR.replace("}\n", ", arm_length: §190}\n"),
        ["arm_length is 190 mm and the lever of 'end' about 'pivot' 200 mm"],
    ),
    "corner heights of a bar without points": (
        "car",
        "masses:",
        "antiroll_bar: {diameter: 22, length: 900, arm: 200, motion_ratio: 0.6, "
        "§corner_heights: {left: 3, right: -3}}\nmasses:",
        ["'corner_heights' of a bar whose points are not given"],
    ),
    "one corner's height": (
        "car",
        "masses:",
        BAR.replace("}\n", ", §corner_heights: {left: 3}}\n"),
        ["key 'right' is missing in antiroll_bar.corner_heights"],
    ),
    "unknown key of the hub": (
        "car",
        "masses:",
        "hub: {§spigott: 60}\nmasses:",
        ["unknown key 'spigott' in hub", "perhaps you meant 'spigot'"],
    ),
    "hub with two studs": ("car", "masses:", "hub: {bolts: §2}\nmasses:", ["2 for hub.bolts"]),
    "barrel from the wrong end": (
        "car",
        "width: 178}",
        "width: 178, barrel: §[[100, 170], [0, 70]]}",
        ["wheel.barrel", "ends no further inboard", "from the wheel's pad to its inboard rim"],
    ),
    "barrel that crosses itself": (
        "car",
        "width: 178}",
        "width: 178, barrel: §[[0, 70], [40, 170], [40, 100], [0, 150], [90, 175]]}",
        ["goes over itself between its pieces 1 and 3"],
    ),
    "barrel of one point": (
        "car",
        "width: 178}",
        "width: 178, barrel: §[[0, 70]]}",
        ["a list of 1"],
    ),
    "barrel with a point twice": (
        "car",
        "width: 178}",
        "width: 178, barrel: §[[0, 70], [0, 70], [90, 175]]}",
        ["points 1 and 2 are one point"],
    ),
    "radius below nothing": (
        "car",
        "width: 178}",
        "width: 178, barrel: [[0, §-70], [90, 175]]}",
        ["-70 for wheel.barrel#1#2", "0 or more"],
    ),
    "caliper that crosses itself": (
        "car",
        "masses:",
        "brake: {profile: §[[0, 100], [60, 150], [0, 150], [60, 100]]}\nmasses:",
        ["goes over itself between its pieces 1 and 3"],
    ),
    "less than no stroke": ("car", "masses:", "strut: {bump: §-5}\nmasses:", ["-5 for strut.bump"]),
    "arch without a centre": (
        "car",
        "masses:",
        "§arch: {}\nmasses:",
        ["'centre_x' is missing in arch"],
    ),
    "outline of both forms": (
        "car",
        "masses:",
        "top_mount_outline: {centre: [0, 560], radius: 20, polygon: §[[0, 540], [9, 5], [0, 580]]}\nmasses:",
        ["not one form", "'centre' and 'radius', or 'polygon'"],
    ),
    "outline without a radius": (
        "car",
        "masses:",
        "§top_mount_outline: {centre: [0, 560]}\nmasses:",
        ["not one form"],
    ),
    "outline in a line": (
        "car",
        "masses:",
        "top_mount_outline: {polygon: §[[0, 540], [10, 550], [20, 560]]}\nmasses:",
        ["nothing inside"],
    ),
    "joint without any tilt left": (
        "car",
        "masses:",
        "joints: {top_mount: {tilt: 3, reserve: §3}}\nmasses:",
        ["a reserve of 3 deg leaves nothing of 3 deg"],
    ),
    "joint that tilts less than the usual reserve": (
        "car",
        "masses:",
        "joints: {§top_mount: {tilt: 2}}\nmasses:",
        ["a reserve of 3 deg leaves nothing of 2 deg", "where none is given it is 3 deg"],
    ),
    # the parts file
    "least engagement added to": (
        "parts",
        "      price: 240",
        "      adds: {hub: {§engagement: 3}}",
        ["unknown key 'engagement'", "pitch_circle, spigot, stud_length"],
    ),
    "added to what nobody tells": (
        "parts",
        "      price: 240",
        "      adds: {hub: {§stud_length: 10}}",
        ["adds to hub.stud_length, which neither the car nor any part tells"],
    ),
    "added to what nobody tells, by a choice": (
        "parts",
        "{1: {}, 2: {moves",
        "{1: {adds: {strut: {§bump: 10}}}, 2: {moves",
        ["adds to strut.bump, which neither"],
    ),
    "bore of nothing": (
        "parts",
        "      price: 240",
        "      sets: {wheel: {bore: §0}}",
        ["0 for wheel.bore", "more than 0"],
    ),
    "a part's joint without any tilt left": (
        "parts",
        "      price: 240",
        "      joints: {ball_joint: {tilt: 5, reserve: §6}}",
        ["a reserve of 6 deg leaves nothing of 5 deg"],
    ),
    "a part's joint that tilts less than the usual reserve": (
        "parts",
        "      price: 240",
        "      joints: {§ball_joint: {tilt: 2.5}}",
        ["a reserve of 3 deg leaves nothing of 2.5 deg"],
    ),
    "a joint that there is not": (
        "parts",
        "      price: 240",
        "      joints: {§ball_jont: {tilt: 5}}",
        ["unknown key 'ball_jont'", "perhaps you meant 'ball_joint'"],
    ),
    "stud that the pieces cannot fill": (
        "parts",
        "usable: 25}",
        "usable: §40}",
        ["no pieces of this box fill 40 mm of stud to within 1 mm", "one side's pieces are 27 mm"],
    ),
    "stud that falls between the pieces": (
        "parts",
        "usable: 25}",
        "usable: §26.9, slack: 0.2}",
        ["no pieces of this box fill 26.9 mm of stud to within 0.2 mm"],
    ),
    "pieces of which each side has none": (
        "parts",
        "{1: 4, 2.5: 4, 5 mm: 8}, usable: 25}",
        "{1: 1, 2.5: 1, 5 mm: 0}, usable: §25}",
        ["no pieces of this box fill 25 mm", "pieces are 0 mm"],
    ),
    "more ways to stack than can be tried": (
        "parts",
        "pieces: {1: 4, 2.5: 4,",
        "pieces: §{1: 400, 2.5: 400,",
        ["202005 ways to stack these pieces on each side", "200000 at most"],
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
    "obstacle on a bar whose points nobody tells": (
        "car",
        "masses:",
        "obstacles: [{name: link, on: bar, shape: ball, point: §bar_end, radius: 6}]\nmasses:",
        ["bar_end of a bar whose points the car file does not tell", "pivot"],
    ),
    "obstacle on the bar beside its points": (
        "car",
        "masses:",
        "obstacles: [{name: bar, on: bar, shape: ball, point: §[20, 580, 300], radius: 9}]\n"
        + BAR.replace("§", ""),
        ["a place on the bar that is none of its points", "bar_pivot"],
    ),
    "box on the bar": (
        "car",
        "masses:",
        "obstacles: [{name: bar, on: §bar, shape: box, low: [0, 1, 2], high: [3, 4, 5]}]\nmasses:",
        ["'box' on the bar", "a capsule, chain or ball"],
    ),
    "obstacle name used twice in the box": (
        "parts",
        "  lower_arm:\n    - id: stock arm\n",
        "      obstacles: [{name: arm, on: arm, shape: ball, point: ball_joint, radius: 9}]\n"
        "  lower_arm:\n    - id: stock arm\n"
        "      obstacles: [{name: §arm, on: arm, shape: ball, point: ball_joint, radius: 9}]\n",
        ["obstacle name 'arm' is used twice, first on line 7"],
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
        ["upper_front is of a double wishbone", "the car has a strut"],
    ),
    "station that the suspension hasn't": (
        "parts",
        "  lower_arm:",
        "  §upper_arm:",
        ["station 'upper_arm' is of a double wishbone"],
    ),
    "stack on a point that the suspension hasn't": (
        "parts",
        "stack: {point: tie_rod_outer",
        "stack: {point: §upper_ball_joint",
        ["upper_ball_joint is of a double wishbone"],
    ),
    "wishbone's points on a strut": (
        "car",
        "suspension: strut",
        "suspension: §double_wishbone",
        ["suspension is double_wishbone, but the points have top_mount", "expected strut, or"],
    ),
    "right-hand point of another suspension": (
        "car",
        "static: {toe: 0.0",
        "points_right: {§upper_front: [100, -400, 480]}\nstatic: {toe: 0.0",
        ["points_right has upper_front, which a double_wishbone has and a strut has not"],
    ),
    "joint that a strut has not": (
        "car",
        "static: {toe: 0.0",
        "joints: {§upper_ball_joint: {tilt: 25}}\nstatic: {toe: 0.0",
        ["the joint upper_ball_joint is of a double wishbone, and the car has a strut"],
    ),
    "range upside down": ("parts", "range: [-10, 10]", "range: §[10, -10]", ["upside down"]),
    "endless adjuster": ("parts", "step: 2", "step: §0.01", ["2001 positions"]),
    "step of nothing": ("parts", "step: 2", "step: §0", ["more than 0"]),
    "fine step of nothing": ("parts", "step: 2", "step: 2, fine: §0", ["more than 0"]),
    "fine step below nothing": ("parts", "step: 2", "step: 2, fine: §-0.5", ["more than 0"]),
    "fine step that is coarser": (
        "parts",
        "step: 2",
        "step: 2, fine: §2.5",
        ["a fine step of 2.5, larger than the step of 2", "a whole part of the step"],
    ),
    "fine step that does not divide": (
        "parts",
        "step: 2",
        "step: 2, fine: §0.75",
        ["a fine step of 0.75, of which the step of 2 is 2.667", "a whole part of the step"],
    ),
    "fine step as a mass": ("parts", "step: 2", "step: 2, fine: §1 kg", ["is a mass"]),
    "endless fine step": ("parts", "step: 2", "step: 2, fine: §0.01", ["2001 positions"]),
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


def test_what_only_parts_tell_will_do_for_a_measure(tmp_path: Path) -> None:
    goals = spoil(GOALS, "      lock_inner: {min: 38}", "      strut_stroke_left: {min: 5}")
    parts = spoil(PARTS, "      price: 240", "      sets: {strut: {bump: 60, droop: 50}}")
    assert load_goals(lay(tmp_path, goals=goals, parts=parts)).notices == []
    pitch = spoil(
        PARTS, "      price: 240", "      sets: {hub: {stud_pitch: 1.5}, wheel: {pad: 11}}"
    )
    turns = spoil(GOALS, "      lock_inner: {min: 38}", "      wheel_nut_turns: {min: 12}")
    car = CAR + "hub: {stud_length: 40, stud_diameter: 12}\n"
    assert load_goals(lay(tmp_path, goals=turns, car=car, parts=pitch)).notices == []
    assert len(faults_of(lay(tmp_path, goals=turns, car=car))) == 1
    lifted = spoil(PARTS, "      price: 240", "      joints: {top_mount: {tilt: 12}}")
    goals = spoil(GOALS, "      lock_inner: {min: 38}", "      top_mount_tilt: {max: 5}")
    assert load_goals(lay(tmp_path, goals=goals, parts=lifted)).notices == []


@pytest.mark.parametrize(
    ("car", "sets", "words"),
    [
        ("hub: {bolts: 5, pitch_circle: 108}", "", "fit the hub's studs is not judged"),
        ("hub: {stud_length: 40, stud_diameter: 12}", "", "'wheel.pad' is not told"),
        ("hub: {stud_length: 40}", "wheel: {pad: 12}", "'hub.stud_diameter' or 'hub.engagement'"),
        ("brake: {profile: [[0, 90], [0, 140], [60, 90]]}", "", "no wheel's 'barrel' is told"),
    ],
)
def test_what_is_told_by_half_is_a_notice(tmp_path: Path, car: str, sets: str, words: str) -> None:
    parts = spoil(
        PARTS, "      price: 240", f"      sets: {{{sets}}}" if sets else "      price: 240"
    )
    (notice,) = load_goals(lay(tmp_path, car=f"{CAR}{car}\n", parts=parts)).notices
    assert words in notice


def test_a_wheel_of_another_shape_without_its_inside_is_a_notice(tmp_path: Path) -> None:
    car = spoil(CAR, "width: 178}", "width: 178, barrel: [[0, 70], [90, 175]]}")
    car += "brake: {profile: [[0, 90], [0, 140], [60, 90]]}\n"
    assert load_goals(lay(tmp_path, car=car)).notices == []
    parts = spoil(PARTS, "      price: 240", "      sets: {wheel: {offset: 20}}")
    (notice,) = load_goals(lay(tmp_path, car=car, parts=parts)).notices
    assert "slotted arm clears the caliper is not judged" in notice


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


BARS_PART = """  antiroll_bar:
    - id: holes
      choices: {hole: {inner: {moves: {bar_end: [20, 0, 0]}}, outer: {}}}
      adjusts:
        link: {adds: {antiroll_bar: {link_length: 1}}, range: [-10, 10], step: 5}
        bracket: {along: {bar_link: [0, 0, 1]}, range: [0, 10], step: 5}
"""


def test_a_bar_with_its_points_and_parts_for_it_are_sound(tmp_path: Path) -> None:
    car = spoil(CAR, "masses:", BAR)
    parts = spoil(PARTS, "stations:\n", "stations:\n" + BARS_PART)
    loaded = load_goals(lay(tmp_path, car=car, parts=parts))
    assert loaded.car.antiroll_bar is not None and loaded.car.antiroll_bar.arm is None
    assert loaded.notices == []


TOLD = "antiroll_bar: {diameter: 22, bore: 20, length: 900, arm: 200, motion_ratio: 0.6}\nmasses:"


@pytest.mark.parametrize(
    ("car", "effect", "words"),
    [
        (TOLD, "moves: {§bar_end: [20, 0, 0]}", "bar_end of a bar whose points"),
        (TOLD, "adds: {antiroll_bar: {§link_length: 5}}", "link_length of a bar whose points"),
        (TOLD, "stack: {point: §bar_link, along: [0, 0, 1], pieces: {2: 4}}", "bar_link of a bar"),
        (TOLD, "adds: {antiroll_bar: {§arm_length: 5}}", "arm_length is added to"),
        (TOLD, "sets: {antiroll_bar: {diameter: §18}}", "the car's bar has a bore of 20 mm"),
        (TOLD, "sets: {antiroll_bar: {diameter: 18, bore: §18}}", "leaves nothing of its 18 mm"),
        (TOLD, "sets: {antiroll_bar: {length: §0}}", "0 for antiroll_bar.length"),
        (TOLD, "sets: {antiroll_bar: {bore: §-1}}", "-1 for antiroll_bar.bore"),
        ("masses:", "sets: {§antiroll_bar: {diameter: 25}}", "does not have"),
        (BAR, "moves: {§bar_ende: [20, 0, 0]}", "perhaps you meant 'bar_end'"),
        (BAR, "sets: {antiroll_bar: {§link: 5}}", "unknown key 'link'"),
    ],
)
def test_parts_that_ask_more_of_the_bar_than_is_told(
    tmp_path: Path, car: str, effect: str, words: str
) -> None:
    part = f"stations:\n  antiroll_bar:\n    - id: other\n      {effect}\n"
    parts, line, column = marked(spoil(PARTS, "stations:\n", part))
    (fault,) = faults_of(lay(tmp_path, car=spoil(CAR, "masses:", car), parts=parts))
    assert (fault.line, fault.column) == (line, column), str(fault)
    assert words in str(fault)


@pytest.mark.parametrize("measure", ["link_angle", "bar_preload", "bar_toggle"])
def test_measures_of_the_linkage_need_its_points(tmp_path: Path, measure: str) -> None:
    goals = spoil(GOALS, "      lock_inner: {min: 38}", f"      {measure}: {{max: 70}}")
    (fault,) = faults_of(lay(tmp_path, goals=goals, car=spoil(CAR, "masses:", TOLD)))
    assert f"{measure} needs 'antiroll_bar.pivot'" in str(fault)

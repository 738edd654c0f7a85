"""Sound files of two invented cars in which every field that a file may have is written at least once.

What is left out of a sound file is never spoilt, so what spoils files begins with these. Figures are chosen
to be unlike the defaults, and small enough to search.
"""

# ruff: noqa: E501 (lines of files are as long as people write them)

from __future__ import annotations

from typing import Any

from goals.document import read_document

STRUT_CAR = """\
format: 1
name: Undercliffe (invented)
suspension: strut
wheelbase: 2480
points:
  arm_front: [165, 352, 206]
  arm_rear: [-205, 348, 202]
  ball_joint: [2, 700, 182]
  top_mount: [-42, 562, 842]
  strut_lower: [-14, 592, 410]
  tie_rod_outer: [-116, 664, 203]
  tie_rod_inner: [-98, 338, 220]
  hub_face: [0, 748, 292.5]
points_right:
  arm_front: [166, -351, 206]
  arm_rear: [-204, -348, 203]
  ball_joint: [2, -701, 182]
  top_mount: [-41, -562, 842]
  strut_lower: [-14, -592, 411]
  tie_rod_outer: [-116, -665, 203]
  tie_rod_inner: [-99, -338, 220]
  hub_face: [0, -748, 292]
static: {toe: 0.05, camber: -0.6}
rack: {travel: 72, per_turn: 44, compliance: 0.4, force: 2}
wheel:
  offset: 22
  width: 7 in
  spacer: 3
  bolts: 4
  pitch_circle: 108
  bore: 63.4
  pad: 13
  barrel_radius: 212
  barrel: [[0, 74], [-6, 140], [4, 204], [24, 212], [111, 217]]
  lip: 9
hub:
  bolts: 4
  pitch_circle: 108
  spigot: 63.4
  stud_length: 44
  stud_diameter: 12
  stud_pitch: 1.5
  engagement: 17
brake: {profile: [[8, 146], [8, 198], [62, 198], [62, 146]]}
strut: {bump: 118, droop: 60}
top_mount_outline: {polygon: [[-80, 520], [0, 520], [0, 605], [-80, 605]]}
arch: {centre_x: 4}
tyre: {width: 205, diameter: 602, loaded_radius: 290, shoulder: 22, growth: 2, bulge: 9}
masses: {total: 1120, front: 588, cg_height: 505, unsprung_front: 74, unsprung_rear: 96}
springs: {rate: 42, motion_ratio: 0.96}
antiroll_bar:
  diameter: 21
  bore: 3
  length: 850
  arm_length: 150
  pivot: [150, 425, 300]
  end: [14, 434, 300]
  link: [12, 442, 230]
  link_on: arm
  right: {pivot: [150, -425, 301], end: [14, -434, 301], link: [12, -442, 231]}
  corner_heights: {left: 2, right: -1}
rear: {roll_stiffness: 430, roll_centre_height: 210, track: 1440}
joints:
  ball_joint: {tilt: 28, reserve: 3, axis: [0, -0.17, 1]}
  tie_rod_outer: {tilt: 25, reserve: 2, axis: [0, 0.05, 1]}
  tie_rod_inner: {tilt: 30, reserve: 3}
  top_mount: {tilt: 18, reserve: 3, axis: [0.05, 0.03, 1]}
obstacles:
  - {name: strut, on: strut, shape: capsule, ends: [strut_lower, top_mount], radius: 22, note: bare}
  - {name: arm, on: arm, shape: chain, points: [arm_rear, [-16, 470, 196], ball_joint], radius: 16, note: bent}
  - {name: joint, on: knuckle, shape: ball, point: ball_joint, radius: 24, note: with its boot}
  - {name: rod, on: tie_rod, shape: capsule, ends: [tie_rod_inner, tie_rod_outer], radius: 8}
  - {name: lip, on: body, shape: arch, points: [[-350, 866, 300], [4, 866, 712], [358, 866, 300]], radius: 5, note: rolled}
  - {name: bulkhead, on: body, shape: plane, point: [-420, 500, 300], normal: [1, 0.1, 0], note: flat}
  - {name: rail, on: body, shape: box, low: [-620, 300, 330], high: [420, 360, 440], note: straight}
  - {name: bar, on: bar, shape: capsule, ends: [bar_pivot, bar_end], radius: 13}
note: measured twice
"""

STRUT_PARTS = """\
format: 1
name: The long shelf (invented)
currency: crowns
wheel_off: 4
note: counted in spring
stations:
  knuckle:
    - id: standard
      today: true
    - id: forged
      name: forged knuckle
      points: {ball_joint: [2, -48, -112], strut_lower: [-14, -156, 118], strut_upper: [-42, -186, 548]}
      moves: {tie_rod_outer: [0, 2, -3]}
      sets:
        hub: {bolts: 4, pitch_circle: 108, spigot: 63.4, stud_length: 46, stud_diameter: 12, stud_pitch: 1.25, engagement: 18}
        brake: {profile: [[9, 146], [9, 196], [60, 196], [60, 146]]}
        strut: {bump: 112, droop: 64}
      joints:
        ball_joint: {tilt: 30, reserve: 2, axis: [0, -0.1, 1]}
        tie_rod_outer: {tilt: 27, reserve: 2, axis: [0, 0, 1]}
      obstacles:
        - {name: rib, on: knuckle, shape: capsule, ends: [[-20, -60, 20], [-60, -70, -40]], radius: 9, note: cast}
        - {name: web, on: knuckle, shape: chain, points: [[20, -60, 20], [40, -70, -20], [60, -70, -40]], radius: 8, note: cast}
        - {name: bolt, on: knuckle, shape: ball, point: [-60, -70, -40], radius: 10, note: its head}
        - {name: hoop, on: body, shape: arch, points: [[-340, 880, 300], [4, 880, 720], [350, 880, 300]], radius: 5, note: rolled}
        - {name: shield, on: body, shape: plane, point: [-460, 500, 300], normal: [1, 0, 0], note: flat}
        - {name: bracket, on: body, shape: box, low: [-600, 260, 460], high: [-440, 300, 500], note: welded}
      fits: {not_with: [bronze]}
      price: 480
      owned: false
      count: 1
      minutes: 150
      behind_wheel: true
      note: made to order
  rack_mount:
    - id: turned
      choices:
        thick_side:
          back: {moves: {tie_rod_inner: [6, 0, 0]}, note: rack forward}
          up: {moves: {tie_rod_inner: [0, 0, -6]}, adds: {rack: {travel: -2, per_turn: 1}}}
      sets: {rack: {travel: 74, per_turn: 48}}
      adds: {rack: {travel: 1}}
  lower_arm:
    - id: pressed
      today: true
    - id: threaded
      adjusts:
        length:
          along: {ball_joint: [0, 1, 0]}
          range: [0, 4]
          step: 2
          fine: 1
          error: 0.3
          reads: further out
          note: both sides alike
      joints: {tie_rod_inner: {tilt: 31, reserve: 3}}
  top_mount:
    - id: bronze
      today: true
      joints: {top_mount: {tilt: 20, reserve: 2, axis: [0, 0, 1]}}
  tie_rod:
    - id: kit
      rod: {inner: 98, outer: 86, thread: 40, pitch: 1.5, flats: 6, engagement: 21, adjusters: [{length: 165, count: 2, price: 9}, {length: 190}]}
  tie_rod_stud:
    - id: washers
      stack: {point: tie_rod_outer, along: [0, 0, -1], pieces: {2: 4, 5: 2}, usable: 9, slack: 1.5}
      strength: {stud_root: 13.5, lever: 14, design_load: 5000, allowable_stress: 620}
  wheel:
    - id: road
      today: true
    - id: wide
      sets:
        wheel: {offset: 10, width: 203, spacer: 2, bolts: 4, pitch_circle: 108, bore: 63.4, pad: 12, lip: 8, barrel_radius: 212, barrel: [[0, 74], [-8, 140], [2, 204], [111, 217]]}
        tyre: {width: 225, diameter: 600, loaded_radius: 289, shoulder: 20, growth: 3, bulge: 8}
  wheel_spacer:
    - id: plates
      today: true
      choices:
        plate:
          none: {}
          plate_5:
            adds:
              wheel: {offset: -1, width: 0.5, spacer: 5, pitch_circle: 0.01, bore: 0.1, pad: 1}
              tyre: {width: 1, diameter: 2, loaded_radius: 1}
              hub: {pitch_circle: 0.01, spigot: 0.05, stud_length: 2}
              strut: {bump: 1, droop: -1}
  antiroll_bar:
    - id: soft
      today: true
    - id: stiff
      sets: {antiroll_bar: {diameter: 24, bore: 2, length: 840, arm_length: 152, link_length: 71}}
      choices:
        hole:
          inner: {moves: {bar_end: [6, 0, 0]}, adds: {antiroll_bar: {arm_length: -6, diameter: 0.1, bore: 0.1, length: 1, link_length: 1}}}
          outer: {}
  spring_seat:
    - id: perch
      today: true
      sets: {lowered_by: 2}
      adjusts:
        turned_down: {adds: {lowered_by: 1}, range: [0, 30], step: 10, reads: below the seat}
"""

STRUT_GOALS = """\
format: 1
name: Everything at once (invented)
car: car.yaml
parts: parts.yaml
readings: readings.yaml
tolerances:
  hard_points: 1.2
  settings: 0.4
  rack_overtravel: 2
  points: {ball_joint: 0.5, top_mount: [1, 2, 1.5]}
  sides: 1.5
  parts: 0.3
  camber: 0.15
  toe: 0.04
  ride_height: 1.5
  least_yield: 0.2
duties:
  lane:
    lowered_by: 10
    static: {toe: 0.05}
    counter_steers: true
    travel: [-40, 45]
    limits:
      toggle_margin: {min: 8, wheel: left}
      bump_steer: {max: 2, over: [-20, 20], wheel: right, in_hand: 0.01}
      camber: [{min: -8, wheel: outer}, {max: 6, wheel: inner}]
      ackermann: {min: -300, max: 500, at: 12}
      tyre_clearance: {min: -40}
    targets:
      roll_centre_height: {value: 60, tolerance: 8, weight: 3}
      bump_steer: {value: 0, tolerance: 0.05, over: [-30, 30], wheel: loaded}
      camber_on_turns: {value: -1, tolerance: 1, at: 10, wheel: outer}
      toe_out_on_turns: {points: [[10, 1], [20, 3]], tolerance: 1}
      front_load_transfer: {value: 55, tolerance: 5}
    note: narrow
  yard:
    lowered_by: {min: 0, max: 20, step: 10}
    limits: {lock_inner: {min: 15}}
changeover: {allow: [wheel_spacer, spring_seat, steering_stop], minutes: {max: 45}}
search: {hours: 0.1, workers: 1, keep: 5, settings: 4, seed: 7}
note: for spoiling
"""

WISHBONE_CAR = """\
format: 1
name: Underhay (invented)
suspension: double_wishbone
wheelbase: 2310
points:
  arm_front: [134, 346, 176]
  arm_rear: [-150, 342, 170]
  ball_joint: [6, 676, 164]
  upper_front: [90, 430, 452]
  upper_rear: [-106, 426, 444]
  upper_ball_joint: [-26, 642, 474]
  tie_rod_outer: [-110, 656, 200]
  tie_rod_inner: [-112, 340, 206]
  hub_face: [0, 722, 296]
points_right:
  arm_front: [134, -347, 176]
  arm_rear: [-150, -342, 171]
  ball_joint: [6, -676, 165]
  upper_front: [91, -430, 452]
  upper_rear: [-106, -427, 444]
  upper_ball_joint: [-26, -642, 475]
  tie_rod_outer: [-110, -657, 200]
  tie_rod_inner: [-112, -340, 207]
  hub_face: [0, -722, 296]
static: {toe: 0.05, camber: -0.5}
rack: {travel: 64, per_turn: 46}
wheel: {offset: 24, width: 152}
tyre: {width: 185, diameter: 604, loaded_radius: 294}
masses: {total: 930, front: 470, cg_height: 450}
springs: {rate: 48}
antiroll_bar: {diameter: 19, length: 760, arm: 200, motion_ratio: 0.6}
rear: {roll_centre_height: 150}
joints:
  ball_joint: {tilt: 28, axis: [0, -0.1, 1]}
  upper_ball_joint: {tilt: 25, reserve: 3, axis: [0, -0.1, 1]}
obstacles:
  - {name: upper arm, on: body, shape: capsule, ends: [upper_front, upper_ball_joint], radius: 12}
"""

WISHBONE_PARTS = """\
format: 1
stations:
  upper_arm:
    - id: pressed
      today: true
      adjusts:
        shims: {along: {upper_front: [0, -1, 0], upper_rear: [0, -1, 0], upper_ball_joint: [0, -1, 0]}, range: [0, 4], step: 2}
    - id: tube
      points: {arm_upper_ball_joint: [-24, 640, 476]}
      joints: {upper_ball_joint: {tilt: 27, reserve: 2}}
  knuckle:
    - id: tall
      moves: {knuckle_upper_ball_joint: [0, 0, 8], knuckle_ball_joint: [0, 0, -4], hub_face: [0, 1, 0]}
"""

WISHBONE_GOALS = """\
format: 1
car: car.yaml
parts: parts.yaml
duties:
  circuit:
    lowered_by: 20
    limits: {upper_ball_joint_tilt: {max: 40}, toggle_margin: {min: 5}}
    targets: {camber: {value: -2, tolerance: 0.3}, bump_steer: {value: 0, tolerance: 0.1, over: [-20, 20]}}
search: {workers: auto}
"""

READINGS = """\
format: 1
name: As it came in (invented)
lowered_by: 0
duty: lane
note: springs out
gauge:
  - wheel: left
    rack: 2
    dials: {unit: mm, base: 300}
    toe: [[-40, 0.22], [-20, 0.24], [20, -0.36], [40, -0.89]]
    camber: [[-40, 0.0], [0, -0.5], [40, -0.8]]
  - wheel: right
    toe: [[-30, 0.1], [30, -0.2]]
  - wheel: right
    dials: {unit: thou, base: 12 in}
    toe: [[-25, 4], [25, -11]]
turn_plates:
  - {turn: left, readings: [[10, 9.8], [20, 18.5]]}
  - {turn: right, readings: [[10, 9.5], [20, 18.5]]}
static:
  left: {toe: 0.02, camber: -0.6, caster: 4, kingpin_inclination: 12, rod_length: 326, heights: {ball_joint: 182, arm_front: 205}}
  right: {toe: 0, camber: -0.6, caster: 3.8, kingpin_inclination: 12.2, rod_length: 327, heights: {tie_rod_inner: 221}}
uncertainty:
  toe_change: 0.04
  dials: 0.1
  camber: 0.15
  turn_plates: 0.3
  toe: 0.05
  caster: 0.3
  kingpin_inclination: 0.4
  rod_length: 1
  heights: 2
"""

TABLE = """\
kind,wheel,turn,at,value,rack,unit,base
# springs out
name,,,,"As it came in, ""dry"" and cold",,,
duty,,,,lane,,,
lowered_by,,,,0,,,
toe_change,left,,-40,0.3,2,mm,300
toe_change,left,,40,-0.6,2,mm,300
toe_change,right,,30,-0.2,,deg,
toe_change,right,,25,-11,1,thou,12 in
camber,left,,0,-0.5,,,
camber,left,,30,-0.9,,,
camber,right,,,-0.6,,,
turn_plate,,left,10,9.5,,,
turn_plate,,right,20,18,,,
toe,left,,,0.02,,,
caster,left,,,4.0,,,
kingpin_inclination,left,,,12,,,
rod_length,right,,,330,,,
height,left,,ball_joint,182,,,
uncertainty,,,camber,0.2,,,
"""

# The strut's outline in its other form; the rest is as before.
POLYGON = "{polygon: [[-80, 520], [0, 520], [0, 605], [-80, 605]]}"
ROUND_CAR = STRUT_CAR.replace(POLYGON, "{centre: [-42, 562], radius: 36}")

STRUT = {"goals": STRUT_GOALS, "car": STRUT_CAR, "parts": STRUT_PARTS}
ROUND = {**STRUT, "car": ROUND_CAR}
WISHBONE = {"goals": WISHBONE_GOALS, "car": WISHBONE_CAR, "parts": WISHBONE_PARTS}
SETS = {"strut": STRUT, "round": ROUND, "wishbone": WISHBONE}


def plain() -> list[dict[str, Any]]:
    """Each set of files as plain data by kind; the readings table as its text."""
    return [
        {
            **{kind: read_document("", text.encode()).data for kind, text in files.items()},
            "readings": read_document("", READINGS.encode()).data,
            "table": TABLE,
        }
        for files in SETS.values()
    ]

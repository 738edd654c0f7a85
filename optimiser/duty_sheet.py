"""One duty's part of the bench sheet: how to set the candidate, and what gauges should read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from goals.parts import Adjuster, Stack, Station
from kinematics.measures import MEASURES
from kinematics.measures.steer import Turn, turns
from kinematics.scene import STRAIGHT, Scene, Side
from optimiser.adjuster_effects import effect_blocks
from optimiser.assembly import overtravel
from optimiser.bench import DutyBench, flat_of, gauge, heights, plates, toe_of_flats
from optimiser.channels import channel_of
from optimiser.fitted_sheet import fitted_blocks
from optimiser.paper import FILL, Block, Drawing, Grid, Heading, Items, Words
from optimiser.precision import as_set, fixed, usual_places
from optimiser.settings import (
    PIECES,
    STACK,
    each_setting,
    part_name,
    part_of,
    pieces,
    refined_words,
    setting_note,
    setting_text,
)
from optimiser.stack_picture import stack_picture
from optimiser.wording import clean, direction, short, spoken, stop_words

Record = dict[str, Any]
Row = tuple[str, ...]

MEASURED = ("measured left", "measured right")
TWO_THREADS = 2.0


def shown(value: float, places: int) -> str:
    """A predicted reading; '-' where the state is not reached."""
    return fixed(value, places) if np.isfinite(value) else "-"


def signed(value: float, places: int) -> str:
    """A predicted change, with its sign where it is not nothing."""
    text = shown(value, places)
    return f"+{text}" if value > 0.0 and text.strip("0.-") else text


def duty_blocks(bench: DutyBench) -> Iterator[Block]:
    """Everything that one duty puts on the sheet."""
    yield Heading(f"Duty: {bench.duty}")
    note = bench.problem.goals.duties[bench.duty].note
    if note:
        yield Words(clean(note))
    if bench.scene is None:
        yield Words(
            f"No setting of this build serves it: {bench.record.get('reason', 'none found')}."
        )
        return
    if not bench.record["feasible"]:
        yield Words("DOES NOT HOLD EVERY LIMIT - not to be built; the nearest setting is shown.")
    yield from _positions(bench)
    yield from _stacks(bench)
    yield from ride_height_blocks(bench, bench.scene)
    yield from tie_rod_blocks(bench, bench.scene)
    yield from alignment_blocks(bench, bench.scene)
    yield from stop_blocks(bench, bench.scene)
    yield from fitted_blocks(bench.scene)
    yield from effect_blocks(bench)
    yield from gauge_blocks(bench, bench.scene)
    for turn in turns(bench.scene):
        yield from plate_blocks(bench, bench.scene, turn)


def _positions(bench: DutyBench) -> Iterator[Block]:
    items = []
    for station, name, block in each_setting(bench.build, bench.record):
        if name == STACK and PIECES[0] in block:
            continue
        part = part_of(bench.build, station)
        text = f"{spoken(station)}, {spoken(name)}: {clean(setting_text(block, name))}"
        note = setting_note(part, name, block[name])
        if note:
            text += f" - {note}"
        if part is not None and name in part.adjusts:
            text += _range_words(part.adjusts[name], block[name])
        items.append(text)
    if items:
        yield Heading("Positions, both sides alike", 3)
        yield Items(tuple(items), boxed=True)
    refined = refined_words(bench.duty, bench.record)
    if refined:
        yield Words(f"{refined}.")


def _range_words(adjuster: Adjuster, value: float) -> str:
    low, high = adjuster.range
    end, step = "", adjuster.fine or adjuster.step
    if value + step > high + 1e-9 or value - step < low - 1e-9:
        end = ", AN END OF IT: nothing left this way"
    return f" (range {short(low)} to {short(high)}{end})"


def _stacks(bench: DutyBench) -> Iterator[Block]:
    for station, name, block in each_setting(bench.build, bench.record):
        part = part_of(bench.build, station)
        if name != STACK or part is None or part.stack is None:
            continue
        under, above = (block[key] for key in PIECES)
        yield Heading(f"Stack, {spoken(station)}: {part_name(part)}", 3)
        yield Grid(
            ("each side, in order", "pieces from the joint outward, mm", "sum, mm"),
            (
                ("under the joint", _listed(under), short(sum(under))),
                ("the joint", "", ""),
                ("above the joint", _listed(above), short(sum(above))),
                ("the nut", "torque and lock", ""),
            ),
            right=2,
        )
        yield Words(_stack_words(part.stack, channel_of(part.stack.point, Station(station))))
        yield Drawing(stack_picture(f"Stack, {spoken(station)}", {"each side": (under, above)}))


def _listed(heights_of_pieces: Sequence[float]) -> str:
    return pieces(list(heights_of_pieces)).strip(" ()") or "none"


POINTS = {
    "tie_rod_outer": "outer tie-rod joint",
    "tie_rod_inner": "inner tie-rod joint",
    "knuckle_ball_joint": "ball joint's place in the knuckle",
    "arm_ball_joint": "ball joint's place on the arm",
}


def _stack_words(stack: Stack, channel: str) -> str:
    along = direction(stack.along)
    text = f"A piece under the joint moves the {POINTS.get(channel, spoken(channel))} {along}."
    if stack.usable is not None:
        text += (
            f" Under and above together fill {short(stack.usable)} mm of stud, "
            f"to within {short(stack.slack)} mm."
        )
    return text


# Points of the body whose height above the ground is checked, those that the car's suspension has.
HEIGHTS = {
    "arm_front": "lower arm, front body pivot",
    "arm_rear": "lower arm, rear body pivot",
    "upper_front": "upper arm, front body pivot",
    "upper_rear": "upper arm, rear body pivot",
    "top_mount": "top mount, centre of bearing",
}


def ride_height_blocks(bench: DutyBench, scene: Scene) -> Iterator[Block]:
    """Heights of body points above the ground, to check the ride height by."""
    yield Heading("Ride height", 3)
    yield Words(f"{lowered_words(bench)} Check:")
    columns = []
    for side in bench.sides:
        c = bench.channels(side)
        points = {name: float(c[name][2, 0]) for name in HEIGHTS if name in c}
        columns.append(heights(scene, side, points))
    rows = [
        (text, *(shown(column[name], 1) for column in columns), FILL, FILL)
        for name, text in HEIGHTS.items()
        if name in columns[0]
    ]
    yield Grid(("above the ground, mm", *_heads(bench), *MEASURED), tuple(rows), right=1)


def lowered_words(bench: DutyBench) -> str:
    """How low the body stands."""
    lowered = float(bench.record["solved"]["lowered_by"])
    size = as_set(abs(lowered), 1)
    if float(size) == 0.0:
        return "Body as high as measured, tyres as in the files."
    way = "lower" if lowered > 0.0 else "higher"
    return f"Body {size} mm {way} than measured, tyres as in the files."


def _heads(bench: DutyBench) -> tuple[str, ...]:
    return ("both sides",) if len(bench.sides) == 1 else tuple(bench.sides)


def _length(length: float | None) -> str:
    """A rod's length; none reaches where the settings cannot stand."""
    return "-" if length is None else fixed(length, 1)


def tie_rod_blocks(bench: DutyBench, scene: Scene) -> Iterator[Block]:
    """Length, adjuster and threads of the tie rods, and what a flat does."""
    yield Heading("Tie rods", 3)
    rods = bench.rods()
    rows: list[Row] = [
        ("eye to eye, mm", *(_length(r["length"]) for r in rods.values()), FILL, FILL)
    ]
    if any("pitch" in r for r in rods.values()):
        rows += _kit_rows(bench, scene, rods)
    yield Grid(("", *_heads(bench), *MEASURED), tuple(rows), right=1)
    kit = scene.rod_kit
    if kit is None:
        yield Words("No rod kit in the files: threads and adjusters were not checked.")
        return
    warning = rod_warning(bench)
    if warning:
        yield Words(warning)
    turned = toe_of_flats(scene, bench.sides[0], 0.1)
    way = "in" if turned > 0.0 else "out"
    yield Words(
        f"Engagement is the same at both ends, {short(kit.engagement)} mm at the least. What shows has "
        f"to take the locknut and two threads more. A longer rod turns the wheel toe-{way}. The ends "
        f"are taken to be of opposite hand: one turn is {kit.flats} flats and twice the pitch of "
        f"{short(kit.pitch)} mm."
    )


def rod_warning(bench: DutyBench) -> str:
    """What forbids to assemble the tie rods as they were solved; empty where nothing does."""
    rods = bench.rods().values()
    if not any("pitch" in rod for rod in rods):
        return ""
    if any(rod.get("adjuster") is None for rod in rods):
        return "NO ADJUSTER IN THE BOX FITS this length: do not assemble."
    if any(rod["threads_showing"] < TWO_THREADS * rod["pitch"] for rod in rods):
        return "FEWER THAN TWO THREADS SHOW: no room for the locknut. Get another adjuster."
    return ""


def _kit_rows(bench: DutyBench, scene: Scene, rods: dict[Side, Record]) -> list[Row]:
    def told(read: Any) -> Row:
        return tuple(read(side, rod) for side, rod in rods.items())

    def number(name: str) -> Row:
        return told(lambda _, r: "-" if r.get(name) is None else fixed(r[name], 1))

    def threads(_: Side, rod: Record) -> str:
        showing = rod.get("threads_showing")
        return "-" if showing is None else fixed(showing / rod["pitch"], 1)

    def toe(side: Side, rod: Record) -> str:
        return fixed(abs(toe_of_flats(scene, side, flat_of(rod))), 2)

    adjuster = told(lambda _, r: "none fits" if r["adjuster"] is None else short(r["adjuster"]))
    blank = (FILL, FILL)
    return [
        ("adjuster, mm", *adjuster, *blank),
        ("engagement, each end, mm", *number("engagement"), *blank),
        ("threads showing, each end, mm", *number("threads_showing"), *blank),
        ("threads showing, each end, count", *told(threads), *blank),
        ("one flat, mm of length", *told(lambda _, r: fixed(flat_of(r), 2)), "", ""),
        ("one flat, deg of toe", *told(toe), "", ""),
    ]


def alignment_blocks(bench: DutyBench, scene: Scene) -> Iterator[Block]:
    """Toe, camber, caster and kingpin inclination, and the track."""
    yield Heading("Alignment to set", 3)
    diameter = float(bench.channels("left")["tyre.diameter"][0])
    states = {side: scene.states(side, [STRAIGHT]) for side in bench.sides}
    toes = [float(s.toe[0, 0]) for s in states.values()]
    across = [2.0 * 0.5 * diameter * float(np.sin(np.radians(toe))) for toe in toes]
    rows: list[Row] = [
        ("toe, each wheel, deg (in is +)", *(as_set(t, usual_places("toe")) for t in toes)),
        (f"toe over {short(diameter)} mm of tyre, mm", *(shown(a, 1) for a in across)),
    ]
    for name in ("camber", "caster", "kingpin_inclination"):
        values = [getattr(s, name) for s in states.values()]
        rows.append(
            (f"{spoken(name)}, deg", *(shown(float(v[0, 0]), usual_places(name)) for v in values))
        )
    rows = [(*row, FILL, FILL) for row in rows]
    yield Grid(("", *_heads(bench), *MEASURED), tuple(rows), right=1)
    track = float(MEASURES["track_width"](scene)[0, 0])
    text = shown(track, usual_places("track_width"))
    yield Words(f"Track at the contact points: {text} mm. Measured: {FILL}")


def stop_blocks(bench: DutyBench, scene: Scene) -> Iterator[Block]:
    """Where the steering stop stands, and what asks for it."""
    stop, per_turn = float(scene.stop[0]), float(scene.rack_per_turn[0])
    locks = {name: MEASURES[f"lock_{name}"](scene)[:, 0] for name in ("inner", "outer")}
    ways = len(locks["inner"])
    rows: list[Row] = [
        ("rack from centre to stop, mm", *[fixed(stop, 1)] * ways),
        ("handwheel turns each way", *[fixed(stop / per_turn, 2)] * ways),
    ]
    for name, angles in locks.items():
        places = usual_places(f"lock_{name}")
        rows.append((f"{name} wheel at the stop, deg", *(shown(float(a), places) for a in angles)))
    yield Heading("Steering stop", 3)
    head = ("either way",) if ways == 1 else ("left turn", "right turn")
    blank = ("measured, left turn", "measured, right turn")
    yield Grid(("", *head, *blank), tuple((*row, FILL, FILL) for row in rows), right=1)
    yield Words(stop_setting(bench, scene))


def stop_setting(bench: DutyBench, scene: Scene) -> str:
    """How to set the steering stop, what asks for it, and how to try it."""
    stop, own = float(scene.stop[0]), float(scene.rack_travel[0])
    if stop >= own:
        return (
            f"The rack's own end, {short(own)} mm, is the stop: nothing that was checked asks for less. "
            "Try it by hand at full bump and full droop before driving."
        )
    past = short(overtravel(bench.problem.goals, bench.problem.car))
    return (
        f"SET THE STOP {fixed(own - stop, 1)} mm short of the rack's own end ({short(own)} mm), both ways. "
        f"What asks for it: {stop_words(bench.record['solved']['stop_set_by'])}; {past} mm past the stop is "
        "counted in for play and give. Lock it; try it by hand at full bump and droop before driving."
    )


def gauge_blocks(bench: DutyBench, scene: Scene) -> Iterator[Block]:
    """What the bump-steer gauge should read."""
    yield Heading("Bump-steer gauge, expected", 3)
    yield Words(
        "Springs out, bar off, steering locked straight ahead, zero at ride height. Travel in mm, bump "
        "positive; toe change of one wheel in deg, toe-in positive; camber in deg."
    )
    head = ["travel"]
    for side in bench.sides:
        at = f", {side}" if len(bench.sides) > 1 else ""
        head += [f"toe change{at}", f"camber{at}"]
    columns = [gauge(scene, side) for side in bench.sides]
    rows = []
    for readings in zip(*columns, strict=True):
        cells = [short(readings[0].travel)]
        for reading in readings:
            cells.append(signed(reading.toe, usual_places("bump_steer")))
            cells.append(shown(reading.camber, usual_places("camber")))
        rows.append((*cells, FILL, FILL))
    yield Grid((*head, *MEASURED), tuple(rows), right=0)
    if any(not np.isfinite(reading.toe) for column in columns for reading in column):
        yield Words("A dash: the suspension does not reach so far.")


def plate_blocks(bench: DutyBench, scene: Scene, turn: Turn) -> Iterator[Block]:
    """What the turn plates should read in one direction of turn."""
    several = len(bench.sides) > 1
    side = "left" if turn.sign > 0 else "right"
    yield Heading(f"Turn plates, expected{f', {side} turn' if several else ', either way'}", 3)
    readings = plates(scene, turn)
    names = [short(r.inner) for r in readings[:-1]] + ["lock"]
    rows = [
        (
            name,
            shown(r.inner, usual_places("lock_inner")),
            shown(r.outer, usual_places("lock_outer")),
            shown(r.toe_out, usual_places("toe_out_on_turns")),
            shown(r.rack, 1),
            *((FILL,) if several else (FILL, FILL)),
        )
        for name, r in zip(names, readings, strict=True)
    ]
    blanks = ("outer, measured",) if several else ("outer, left turn", "outer, right turn")
    head = ("at", "inner, deg", "outer, deg", "toe-out, deg", "rack, mm", *blanks)
    yield Grid(head, tuple(rows), right=1)
    if any(not np.isfinite(r.outer) for r in readings):
        yield Words("A dash: the inner wheel does not come so far.")

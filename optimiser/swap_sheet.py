"""The swap between duties on the bench sheet: steps in order, each with a reading that confirms it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from goals.duties import Changeover
from goals.parts import Station
from kinematics.measures import MEASURES
from kinematics.scene import STRAIGHT
from optimiser.bench import DutyBench, gauge, heights
from optimiser.changeover import CORNERS, Work, behind_wheel
from optimiser.paper import Block, Grid, Heading, Items, Words
from optimiser.precision import as_set, fixed, usual_places
from optimiser.problem import Problem
from optimiser.ranking import Row
from optimiser.settings import Setting, settings_of
from optimiser.space import Build
from optimiser.wording import clean, short, spoken, unpaired_words

Record = dict[str, Any]

# In what order stations are set: what the car stands on first, then from the body outward, wheels last.
ORDER = (
    Station.SPRING_SEAT,
    Station.LOWER_ARM,
    Station.UPPER_ARM,
    Station.BALL_JOINT_STUB,
    Station.TOP_MOUNT,
    Station.KNUCKLE,
    Station.RACK_MOUNT,
    Station.RACK_END,
    Station.TIE_ROD,
    Station.TIE_ROD_STUD,
    Station.ANTIROLL_BAR,
    Station.STEERING_STOP,
    Station.WHEEL_SPACER,
    Station.WHEEL,
)
GAUGE_AT = (40.0, -30.0)


def swap_blocks(
    problem: Problem, build: Build, row: Row, benches: dict[str, DutyBench]
) -> Iterator[Block]:
    """From the first duty to each other one and back again, and what fewer minutes would give."""
    pairing = row.get("pairing")
    if len(benches) < 2 or any(bench.scene is None for bench in benches.values()):
        return
    if pairing is not None and not pairing["found"]:
        yield Words(f"THESE SETTINGS DO NOT GO TOGETHER: {unpaired_words(pairing)}.")
        return
    yield Words(minutes_words(problem, build, row, benches))
    first, *others = benches.values()
    for other in others:
        for start, end in ((first, other), (other, first)):
            yield Heading(f"Swap, {clean(start.duty)} to {clean(end.duty)}", 3)
            yield Items(tuple(_steps(build, row, start, end)), numbered=True)
    if pairing is not None:
        yield from _front(pairing)


def minutes_words(problem: Problem, build: Build, row: Row, benches: dict[str, DutyBench]) -> str:
    """Of what the minutes between all duties are made up, and what nobody tells."""
    changeover = problem.goals.changeover
    assemblies = {d: bench.assembly for d, bench in benches.items() if bench.assembly is not None}
    work = Work.of(build, problem.parts, changeover or Changeover(), assemblies)
    moved = {Station(s.station) for s in settings_of(build, row["duties"]) if s.differs}
    swap = work.swap(moved)
    sums = [
        f"{spoken(station)} {short(part.minutes)}"
        for station, part in build.parts.items()
        if station in work.touched(swap) and part.minutes is not None
    ]
    if work.takes_wheels_off(swap) and problem.parts.wheel_off:
        sums.append(f"both front wheels off and on {short(CORNERS * problem.parts.wheel_off)}")
    most = work.most_minutes
    allowed = "" if most is None else f" (the goals allow {short(most)})"
    text = f"A swap takes {short(swap.minutes)} minutes by the parts file{allowed}"
    text += f": {' + '.join(sums)}" if sums else ""
    if swap.untold:
        text += f". Not told, and counted as nothing: {', '.join(map(spoken, swap.untold))}"
    text += ". Steering stop and checks are not in it unless a part tells them."
    if changeover is None:
        text += " The goals say nothing of a changeover: each duty is set up by itself."
    return text


def _steps(build: Build, row: Row, start: DutyBench, end: DutyBench) -> Iterator[str]:
    """The steps from one duty to another, in order."""
    duties = {start.duty: row["duties"][start.duty], end.duty: row["duties"][end.duty]}
    moved = [s for s in settings_of(build, duties) if s.differs]
    moved.sort(key=lambda s: ORDER.index(Station(s.station)))
    off = any(behind_wheel(build.parts.get(Station(s.station)), Station(s.station)) for s in moved)
    if off:
        yield "Car on stands, level; both front wheels off."
    elif moved:
        yield "Car on stands, level."
    for setting in moved:
        yield _setting_step(setting, start, end)
    if off:
        yield "Wheels on, nuts to the maker's torque. Car down, rolled and settled at ride height."
    elif moved:
        yield "Car down, rolled and settled at ride height."
    rods = start.rods_words(end)
    if rods:
        yield f"{rods[:1].upper()}{rods[1:]}. Lock both ends. Check: {_toe_words(end)}."
    yield from _check_steps(moved, end)
    yield _stop_step(start, end)
    yield (
        "By hand, lock to lock at full bump and full droop: nothing touches or binds. Paint-mark every "
        "fastener that was undone."
    )


def _setting_step(setting: Setting, start: DutyBench, end: DutyBench) -> str:
    was, now = (clean(setting.texts[bench.duty]) for bench in (start, end))
    return f"Both sides, {_named(setting)}: from {was} to {now}."


def _named(setting: Setting) -> str:
    return f"{spoken(setting.station)} {spoken(setting.name)}"


def _check_steps(moved: list[Setting], end: DutyBench) -> Iterator[str]:
    """A reading that confirms each setting, those that one reading confirms together."""
    confirmed: dict[str, list[str]] = {}
    for setting in moved:
        check = CHECKS.get(Station(setting.station), _alignment)(end)
        confirmed.setdefault(check, []).append(_named(setting))
    for check, names in confirmed.items():
        yield f"Check {', '.join(names)}: {check}."


def _each(bench: DutyBench, read: Callable[[Any], float], places: int) -> str:
    """A figure of one wheel, or of both where they differ."""
    values = [fixed(read(side), places) for side in bench.sides]
    if len(values) == 1:
        return values[0]
    return ", ".join(f"{side} {value}" for side, value in zip(bench.sides, values, strict=True))


def _state(bench: DutyBench, name: str) -> str:
    scene = bench.scene
    assert scene is not None
    return _each(
        bench,
        lambda side: float(getattr(scene.states(side, [STRAIGHT]), name)[0, 0]),
        usual_places(name),
    )


def _alignment(bench: DutyBench) -> str:
    return f"camber {_state(bench, 'camber')} deg, caster {_state(bench, 'caster')} deg"


def _height(bench: DutyBench) -> str:
    scene = bench.scene
    assert scene is not None

    def front_pivot(side: Any) -> float:
        z = float(bench.channels(side)["arm_front"][2, 0])
        return heights(scene, side, {"arm_front": z})["arm_front"]

    return f"front pivot of the lower arm {_each(bench, front_pivot, 1)} mm above the ground"


def _gauge(bench: DutyBench) -> str:
    scene = bench.scene
    assert scene is not None
    words = []
    for travel in GAUGE_AT:

        def change(side: Any, travel: float = travel) -> float:
            return next(r.toe for r in gauge(scene, side) if r.travel == travel)

        told = [change(side) for side in bench.sides]
        if all(np.isfinite(told)):
            way = "bump" if travel > 0 else "droop"
            words.append(
                f"{_each(bench, change, usual_places('bump_steer'))} deg at {short(abs(travel))} mm of {way}"
            )
    if not words:
        return "the bump-steer gauge against the table below"
    return f"toe change on the gauge {' and '.join(words)}, toe-in positive"


def _track(bench: DutyBench) -> str:
    assert bench.scene is not None
    track = float(MEASURES["track_width"](bench.scene)[0, 0])
    return f"track at the contact points {fixed(track, usual_places('track_width'))} mm"


def _rack_ends(bench: DutyBench) -> str:
    scene = bench.scene
    assert scene is not None
    turns = 2.0 * float(scene.rack_travel[0] / scene.rack_per_turn[0])
    return f"rack from its end to its end {fixed(turns, 2)} handwheel turns, stops out"


def _bar(bench: DutyBench) -> str:
    links = bench.record["solved"].get("bar_link")
    if links is None:
        return "both links go in by hand with the driver aboard: no preload"
    return f"links {fixed(links['left'], 1)} mm between joints, in by hand: no preload"


CHECKS: dict[Station, Callable[[DutyBench], str]] = {
    Station.SPRING_SEAT: _height,
    Station.TIE_ROD_STUD: _gauge,
    Station.RACK_MOUNT: _gauge,
    Station.RACK_END: _rack_ends,
    Station.STEERING_STOP: _rack_ends,
    Station.WHEEL: _track,
    Station.WHEEL_SPACER: _track,
    Station.ANTIROLL_BAR: _bar,
}


def _toe_words(bench: DutyBench) -> str:
    diameter = float(bench.channels("left")["tyre.diameter"][0])
    toe = float(bench.record["solved"]["toe"])
    across = diameter * float(np.sin(np.radians(toe)))
    return f"toe {as_set(toe, 2)} deg each wheel, {fixed(across, 1)} mm over {short(diameter)} mm of tyre"


def _stop_step(start: DutyBench, end: DutyBench) -> str:
    assert end.scene is not None
    stops = [float(bench.record["solved"]["stop"]) for bench in (start, end)]
    inner = MEASURES["lock_inner"](end.scene)[:, 0]
    angles = [fixed(float(angle), usual_places("lock_inner")) for angle in inner]
    lock = angles[0]
    if inner.size > 1:
        lock = f"{angles[0]} in a left turn, {angles[1]} in a right turn"
    check = f"Check on the plates: inner wheel {lock} deg at the stop"
    if not np.isfinite(inner).all():
        check = "No angle to check it by: in the model the steering does not come to that stop"
    if abs(stops[0] - stops[1]) < 0.05:
        return f"Steering stop stays at {fixed(stops[1], 1)} mm of rack. {check}."
    return (
        f"Steering stop: from {fixed(stops[0], 1)} to {fixed(stops[1], 1)} mm of rack each way, locked. "
        f"{check}."
    )


def _front(pairing: Record) -> Iterator[Block]:
    """What fewer minutes would give, the chosen one last."""
    front = pairing["front"]
    if len(front) < 2:
        return
    yield Heading("What fewer minutes would give", 3)
    duties = list(front[0]["merits"])
    rows = [
        (
            short(each["minutes"]),
            fixed(each["merit"], 3),
            *(fixed(each["merits"][duty], 3) for duty in duties),
            ", ".join(map(spoken, each["differs"])) or "nothing",
        )
        for each in front
    ]
    yield Grid(("minutes", "merit", *map(clean, duties), "set anew"), tuple(rows))
    yield Words("On the grid of steps; the last line is what this sheet sets up.")

"""The corner in front, top and side view: today's against a candidate's, to scale, with what moved in mm.

Views stand as a drawing office sets them: the front view as seen from ahead, the top view under it with the
front of the car down the page, the side view from the left. The ground is the datum of heights.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from kinematics import rows as k
from kinematics.arrays import Floats
from kinematics.bar_link import carried_by_knuckle
from kinematics.measures.travel import roll_centre
from kinematics.scene import STRAIGHT
from optimiser.chart import Letters
from optimiser.drawn import TODAY, Drawn, Figure, told
from optimiser.picture import Anchor, Disc, Label, Picture, Shape, stroke

WIDTH = 380.0
EDGE = 14.0
SCALE_BAR = 200.0  # mm
LINE = 14.0  # px between lines of text
ROUND = 48
# Which axes a view shows: across the page and down it, each an axis with its sign.
VIEWS = {
    "front": ((1, 1.0), (2, -1.0), "Corner from ahead"),
    "top": ((1, 1.0), (0, 1.0), "Corner from above, front of the car down the page"),
    "side": ((0, -1.0), (2, -1.0), "Corner from the left, front of the car at the left"),
}
LETTERED = {
    "A": ("ball joint", "ball_joint"),
    "B": ("tie rod, outer joint", "rod_outer"),
    "C": ("tie rod, inner joint", "rod_inner"),
    "D": ("top of the steering axis", "top"),
    "E": ("contact point", "contact"),
    "F": ("roll centre", "roll_centre"),
}
SEEN = {"front": "ABCDEF", "top": "ABCDE", "side": "ABCDE"}
SAME = 0.05  # mm
NOTHING_MOVED = "nothing that is seen here moved"

COLUMNS: tuple[tuple[str, float, Anchor], ...] = (
    ("", EDGE, "start"),
    ("moved, mm", EDGE + 16.0, "start"),
    ("today", 240.0, "end"),
    ("candidate", 306.0, "end"),
    ("by", WIDTH - EDGE, "end"),
)

# An axis of the car with its sign on the page.
Way = tuple[int, float]
Place = Callable[[Floats], tuple[float, float]]


@dataclass(frozen=True)
class Corner:
    """Points of the left corner at ride height, straight ahead, (3,) mm: body axes, z above ground."""

    points: dict[str, Floats]
    spindle: Floats
    forward: Floats
    radius: float
    width: float


def corner_of(car: Drawn) -> Corner:
    """The left corner of a one-lane scene."""
    scene = car.scene
    states = scene.states("left", [STRAIGHT])
    raw = states.raw[:, 0, 0]
    lift = np.array([0.0, 0.0, raw[k.CONTACT + 2]])

    def state(row: int) -> Floats:
        return np.asarray(raw[row : row + 3] - lift)

    def body(name: str) -> Floats:
        return np.asarray(scene.point("left", name)[:, 0] - lift)

    points = {
        "ball_joint": state(k.BALL_JOINT),
        "rod_outer": state(k.ROD_OUTER),
        "rod_inner": np.asarray(scene.columns("left")[k.RACK_END : k.RACK_END + 3, 0] - lift),
        "contact": state(k.CONTACT),
        "centre": state(k.CENTRE),
        "arm_front": body("arm_front"),
        "arm_rear": body("arm_rear"),
        "roll_centre": np.array([raw[k.CONTACT], 0.0, float(roll_centre(scene, [0.0])[0, 0])]),
    }
    if scene.left[k.KIND, 0] == k.WISHBONE:
        joint = carried_by_knuckle(
            states.raw,
            scene.point("left", "knuckle_upper_ball_joint"),
            scene.point("left", "knuckle_ball_joint"),
        )
        points["top"] = np.asarray(joint[:, 0, 0] - lift)
        points["upper_front"], points["upper_rear"] = body("upper_front"), body("upper_rear")
    else:
        points["top"] = body("top_mount")
    drop = points["ball_joint"][2] / raw[k.AXIS + 2]
    points["axis_ground"] = points["ball_joint"] - drop * raw[k.AXIS : k.AXIS + 3]
    return Corner(
        points,
        np.asarray(raw[k.SPINDLE : k.SPINDLE + 3]),
        np.asarray(raw[k.FORWARD : k.FORWARD + 3]),
        float(scene.number("tyre.diameter")[0]) / 2.0,
        float(scene.number("tyre.width")[0]),
    )


def corner_figures(key: str, duty: str, cars: Sequence[Drawn]) -> Iterator[Figure]:
    """Three views for each candidate, against today's car."""
    today, *candidates = cars
    before = corner_of(today)
    for car in candidates:
        after = corner_of(car)
        for view in VIEWS:
            yield _view(key, duty, view, before, car, after)


def _view(key: str, duty: str, view: str, before: Corner, car: Drawn, after: Corner) -> Figure:
    across, down, title = VIEWS[view]
    outlines = {TODAY: _lines(before), car.layer: _lines(after)}
    flat = {
        layer: [
            (role, closed, _on_page(role, points, across, down)) for role, closed, points in lines
        ]
        for layer, lines in outlines.items()
    }
    every = np.concatenate([p for lines in flat.values() for _, _, p in lines])
    low, high = every.min(axis=0), every.max(axis=0)
    if view == "front":
        low[0], high[1] = min(low[0], 0.0), max(high[1], 0.0)
    scale = (WIDTH - 2.0 * EDGE) / 1000.0
    scale = min(scale, (WIDTH - 2.0 * EDGE) / float(high[0] - low[0]))
    height = EDGE + float(high[1] - low[1]) * scale

    def place(point: Floats) -> tuple[float, float]:
        return float(EDGE + (point[0] - low[0]) * scale), float(EDGE + (point[1] - low[1]) * scale)

    shapes: list[Shape] = []
    if down[0] == 2:
        ground = place(np.array([low[0], 0.0]))[1]
        shapes.append(stroke([(EDGE, ground), (WIDTH - EDGE, ground)], "ground"))
    for layer, lines in flat.items():
        shapes += [
            stroke([place(p) for p in points], role, closed=closed, layer=layer)
            for role, closed, points in lines
        ]
    shapes += _letters(view, car.layer, after, across, down, place)
    rows = list(_rows(view, before, after, across, down))
    shapes += _legend(rows, height + 30.0, scale, height + 12.0)
    total = height + 30.0 + LINE * (len(rows) + 1)
    words = (
        NOTHING_MOVED
        if not rows
        else ". ".join(
            f"{name}: {told_today} today, {told_now}" for _, name, told_today, told_now, _ in rows
        )
    )
    picture = Picture(WIDTH, total, title, f"{words}.", tuple(shapes))
    caption = (
        "At ride height, straight ahead, equal scale in all views; today's car behind. Heights are above the "
        "ground, x forward from where the front wheel centres were measured, y left of the centre plane."
    )
    return Figure(
        f"{key}-corner-{view}-{car.layer}", duty, "corner", car.layer, title, caption, picture
    )


def _on_page(role: str, points: Floats, across: Way, down: Way) -> Floats:
    """A line on the page; of a solid thing its outline."""
    flat = _flat(points, across, down)
    return np.asarray(flat[scipy.spatial.ConvexHull(flat).vertices]) if role == "solid" else flat


def _flat(points: Floats, across: Way, down: Way) -> Floats:
    """Points (3, n) on the page, (n, 2) mm."""
    return np.stack([points[across[0]] * across[1], points[down[0]] * down[1]], axis=1)


def _lines(corner: Corner) -> list[tuple[str, bool, Floats]]:
    """Everything that is drawn of a corner: role, whether closed, points (3, n) mm."""
    p = corner.points
    lines = [
        ("solid", True, _tyre(corner)),
        ("link", False, _chain(p["arm_front"], p["ball_joint"], p["arm_rear"])),
        ("link", False, _chain(p["rod_inner"], p["rod_outer"])),
        ("thin", False, _chain(p["rod_outer"], p["ball_joint"])),
        ("thin", False, _chain(p["ball_joint"], p["centre"])),
        ("axis", False, _chain(p["top"], p["axis_ground"])),
    ]
    if "upper_front" in p:
        lines.append(("link", False, _chain(p["upper_front"], p["top"], p["upper_rear"])))
    if np.isfinite(p["roll_centre"]).all():
        lines.append(("axis", False, _chain(p["contact"], p["roll_centre"])))
    return lines


def _chain(*points: Floats) -> Floats:
    return np.stack(points, axis=1)


def _tyre(corner: Corner) -> Floats:
    """Both rims of the tyre as a plain cylinder, (3, n) mm."""
    turn = np.linspace(0.0, 2.0 * np.pi, ROUND, endpoint=False)
    up = np.cross(corner.forward, corner.spindle)
    rim = corner.radius * (np.outer(corner.forward, np.cos(turn)) + np.outer(up, np.sin(turn)))
    half = 0.5 * corner.width * corner.spindle[:, None]
    centre = corner.points["centre"][:, None]
    return np.concatenate([centre + half + rim, centre - half + rim], axis=1)


def _letters(
    view: str, layer: str, corner: Corner, across: Way, down: Way, place: Place
) -> Iterator[Shape]:
    letters = Letters()
    for letter in SEEN[view]:
        point = corner.points[LETTERED[letter][1]]
        if np.isfinite(point).all():
            x, y = place(_flat(point[:, None], across, down)[0])
            dx, dy = letters.beside((x, y))
            yield Disc((x, y), 2.5, "point", layer)
            yield Label((x + dx, y + dy), letter, "letter", layer=layer)


Row = tuple[str, str, str, str, str]


def _rows(view: str, before: Corner, after: Corner, across: Way, down: Way) -> Iterator[Row]:
    """Letter, name, today's place, the candidate's and the difference, for each axis of the view."""
    for letter in SEEN[view]:
        words, name = LETTERED[letter]
        for axis in sorted({across[0], down[0]}):
            was, now = float(before.points[name][axis]), float(after.points[name][axis])
            if letter == "F" and axis != 2:
                continue
            if abs(now - was) > SAME:
                sign = "+" if now > was else ""
                yield (
                    letter,
                    f"{words}, {'xyz'[axis]}",
                    told(was, 1),
                    told(now, 1),
                    sign + told(now - was, 1),
                )


def _legend(rows: Sequence[Row], top: float, scale: float, bar: float) -> Iterator[Shape]:
    yield stroke([(EDGE, bar), (EDGE + SCALE_BAR * scale, bar)], "scale")
    yield Label((EDGE + SCALE_BAR * scale + 6.0, bar + 4.0), f"{SCALE_BAR:.0f} mm", "note")
    if not rows:
        yield Label((EDGE, top), NOTHING_MOVED, "note")
        return
    for words, x, anchor in COLUMNS:
        yield Label((x, top), words, "note", anchor)
    for number, row in enumerate(rows, 1):
        for words, (_, x, anchor) in zip(row, COLUMNS, strict=True):
            yield Label((x, top + LINE * number), words, "dim-text", anchor)

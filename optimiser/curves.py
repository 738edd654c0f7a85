"""Curves of several duties printed compactly: against wheel travel, and against the rack."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from optimiser.figures import curve_figure
from optimiser.wording import clean, short

Record = dict[str, Any]

TRAVEL_EVERY = 20.0
RACK_EVERY = 20.0
TOE_EVERY = 20.0
MOST_TOE_COLUMNS = 5
TRAVEL = (("toe", "bump_steer"), ("camber", "camber"), ("roll_centre_height", "roll_centre_height"))
STEER = (
    ("left", "lock_inner"),
    ("right", "lock_outer"),
    ("toe_out_on_turns", "toe_out_on_turns"),
    ("toggle_margin", "toggle_margin"),
)
HEADS = {
    "toe": "toe\ndeg",
    "camber": "camber\ndeg",
    "roll_centre_height": "roll c.\nmm",
    "left": "left\ndeg",
    "right": "right\ndeg",
    "toe_out_on_turns": "toe-out\ndeg",
    "toggle_margin": "toggle\ndeg",
}
Curve = dict[float, Record]


def print_curves(console: Console, duties: dict[str, Record]) -> None:
    """Print the curves of each duty that has them, two duties beside each other."""
    having = {duty: record["curves"] for duty, record in duties.items() if "curves" in record}
    names = list(having)
    for i in range(0, len(names), 2):
        some = names[i : i + 2]
        console.print()
        console.print(Text("left wheel against travel from ride height, bump positive", "bold"))
        console.print(_curves("travel", "travel mm", some, having))
        console.print()
        console.print(
            Text("steer against the rack, left turn positive; toggle: left wheel", "bold")
        )
        console.print(_curves("steer", "rack mm", some, having))


def _curves(kind: str, head: str, duties: list[str], having: Record) -> Table:
    columns = TRAVEL if kind == "travel" else STEER
    along = "travel" if kind == "travel" else "rack"
    curves = {duty: _picked(having[duty][kind], along, columns) for duty in duties}
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    table.add_column(Text(f"\n{head}"), justify="right", width=7, overflow="fold")
    for duty in duties:
        for name, _ in columns:
            title = Text(f"{clean(duty)}\n{HEADS[name]}")
            table.add_column(title, justify="right", min_width=7, max_width=9, overflow="fold")
    stations = sorted({at for curve in curves.values() for at in curve})
    if along == "travel":
        stations.reverse()
    for at in stations:
        cells = []
        for duty in duties:
            point = curves[duty].get(at)
            cells += [
                "" if point is None else curve_figure(measure, point[name])
                for name, measure in columns
            ]
        table.add_row(Text(short(round(at, 1))), *(Text(cell) for cell in cells))
    return table


def print_toe(console: Console, curves: dict[str, Record]) -> None:
    """Print the toe change of the left wheel over travel, a column each: what a bump gauge reads."""
    names = list(curves)
    for i in range(0, len(names), MOST_TOE_COLUMNS):
        some = names[i : i + MOST_TOE_COLUMNS]
        table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
        table.add_column(Text("travel mm"), justify="right", min_width=6, overflow="fold")
        for name in some:
            table.add_column(Text(clean(name)), justify="right", min_width=8, overflow="fold")
        stations = curves[some[0]]["travel"]
        for n, at in reversed(list(enumerate(stations))):
            if at % TOE_EVERY == 0.0:
                cells = [_toe_change(curves[name], n) for name in some]
                table.add_row(Text(short(at)), *(Text(cell) for cell in cells))
        console.print()
        console.print(Text("toe change, left wheel, deg: what a bump gauge reads", "bold"))
        console.print(table)


def _toe_change(curve: Record, n: int) -> str:
    ride = curve["toe"][curve["travel"].index(0.0)]
    there = curve["toe"][n]
    missing = ride is None or there is None
    return curve_figure("bump_steer", None if missing else there - ride)


def _picked(curve: Record, along: str, columns: tuple[tuple[str, str], ...]) -> Curve:
    """Points of a curve every 20 mm, and its ends."""
    positions = curve[along]
    last = len(positions) - 1
    return {
        at: {name: curve[name][i] for name, _ in columns}
        for i, at in enumerate(positions)
        if i in (0, last) or abs(at / RACK_EVERY - round(at / RACK_EVERY)) < 1e-9
    }

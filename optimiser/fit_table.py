"""A fit printed for people: whether the model reproduces its car, what moved, what to look at again."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from goals.duties import COVERAGE
from optimiser.fit_document import SLIP
from optimiser.layout import add_figures, new_table, print_item, room
from optimiser.precision import fixed, places_for
from optimiser.reading_list import DECIMALS
from optimiser.wording import clean, counted, short, spoken

Record = dict[str, Any]

# Half a 90 % interval in standard deviations; most decimals of a coordinate, mm.
NINETY = 1.6448536269514722
MOST_PLACES = 2

CAUTION = (
    "The model is rigid and ideal. The new points are those that explain these readings best, no more: "
    "gauge and turn plates on the car decide."
)
FIRST_PROPOSALS = 5


def print_fit(console: Console, document: Record) -> None:
    """Print a fit.

    Args:
        console: where to.
        document: what ``fit --json`` prints.
    """
    with room(console):
        console.print(Text(clean(document["car"]), "bold"))
        name = clean(document["readings_file"])
        console.print(Text(f"fitted to {counted(document['readings'], 'reading')} in {name}"))
        _print_verdict(console, document)
        _print_kinds(console, document)
        _print_sides(console, document["sides"])
        _print_points(console, document["points"])
        _print_slips(console, document)
        _print_proposals(console, document["next_readings"])
        console.print()
        if document["car_file"] is not None:
            warning = (
                "" if document["reproduces"] else " (it does not reproduce the readings either)"
            )
            console.print(Text(f"the fitted car: {document['car_file']}{warning}"))
        console.print(Text(CAUTION, "dim"))


def _print_verdict(console: Console, document: Record) -> None:
    if document["reproduces"]:
        console.print(Text("The model reproduces this car with the points fitted.", "green"))
    else:
        console.print(
            Text("DOES NOT REPRODUCE ITS CAR: a ranking should not be believed.", "bold red")
        )
        for fault in document["faults"]:
            print_item(console, "  ", fault, "red")
    given = document["as_given"]
    word = "reproduces" if given["reproduces"] else "does not reproduce"
    console.print(Text(f"As its file gives it now the car {word} them within the errors told."))
    console.print(
        Text(
            f"chi-square {fixed(document['chi_square'], 1)} for {document['readings']}; errors as told "
            f"give more {_percent(document['chance'])}"
        )
    )


def _percent(chance: float) -> str:
    """A chance in words."""
    if chance < 0.01:
        return "less than once in a hundred times"
    return f"{fixed(100.0 * chance, 0)} times in a hundred"


def _print_kinds(console: Console, document: Record) -> None:
    before, after = document["before"], document["after"]
    if not before:
        return
    console.print()
    table = new_table()
    table.add_column(Text("readings less model"), min_width=22, max_width=26, overflow="fold")
    add_figures(table, "count", [str(b["count"]) for b in before])
    for head, kinds in (("before", before), ("after", after)):
        for word, key in (("rms", "rms"), ("worst", "worst")):
            add_figures(table, f"{head}, {word}", [_figure(each, key) for each in kinds])
    for b, a in zip(before, after, strict=True):
        cells = [f"{b['name']}, {b['unit']}", str(b["count"])]
        cells += [_figure(each, key) for each in (b, a) for key in ("rms", "worst")]
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)


def _figure(kind: Record, key: str) -> str:
    return fixed(kind[key], DECIMALS[kind["unit"]])


def _print_sides(console: Console, sides: list[Record]) -> None:
    if not sides:
        return
    console.print()
    console.print(Text("Left and right wheel, one mirrored geometry for both:", "bold"))
    for each in sides:
        apart = f"{_figure(each, 'rms')} {each['unit']} apart"
        worst = "" if each["count"] == 1 else f", worst {_figure(each, 'worst')}"
        sure = f"{fixed(each['beyond'], 1)} standard deviations"
        print_item(console, "  ", f"{each['name']}: {apart}{worst} ({sure})")
    if any(each["beyond"] > 3.5 for each in sides):
        console.print(
            Text("The sides are not alike: measure the right one and give it as points_right.")
        )


def _point_places(points: list[Record]) -> int:
    """Decimals of fitted coordinates: as the one that is known best deserves, alike in all."""
    known = [COVERAGE * p["plus_minus"] / NINETY for p in points if p["plus_minus"] > 0.0]
    return min(MOST_PLACES, max(0, places_for(min(known)))) if known else MOST_PLACES


def _print_points(console: Console, points: list[Record]) -> None:
    console.print()
    table = new_table()
    table.add_column(Text("point"), overflow="fold", min_width=18)
    places = _point_places(points)
    rows = [
        (
            f"{'right ' if p['side'] == 'right' else ''}{spoken(p['point'])} {p['axis']}",
            short(round(p["measured"], 3)),
            fixed(p["fitted"], places),
            fixed(p["moved"], places),
            fixed(p["plus_minus"], places),
            f"{100.0 * p['told']:.0f} %",
        )
        for p in points
    ]
    heads = ("measured", "fitted", "moved", "± 90 %", "told")
    for at, head in enumerate(heads, 1):
        add_figures(table, head, [row[at] for row in rows])
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    console.print(table)
    console.print(
        Text("mm; told: how much smaller the readings make the error of measuring", "dim")
    )


def _print_slips(console: Console, document: Record) -> None:
    console.print()
    for number, suspicion in enumerate(document["slips"], 1):
        told = [_slip_words(slip) for slip in suspicion["alike"]]
        print_item(console, f"Suspect {number}: ", f"{told[0]}. Measure it again.", "bold")
        if told[1:]:
            others = "; ".join(told[1:])
            print_item(console, "  ", f"these readings cannot tell it from: {others}", "bold")
    if not document["slips"]:
        console.print(Text("No slip of the tape shows."))
    unseen = document["unseen_slips"]
    if unseen:
        names = ", ".join(spoken(name) for name in unseen)
        console.print(
            Text(f"These readings would not show a slip of {short(SLIP)} mm in: {names}", "dim")
        )


def _slip_words(slip: Record) -> str:
    places = 1 if slip["unit"] == "mm" else 2
    size = f"{fixed(abs(slip['off']), places)} {slip['unit']}"
    way = "too great" if slip["off"] > 0.0 else "too small"
    sure = fixed(slip["plus_minus"], places)
    return f"{spoken(slip['coordinate'])}, {size} {way} in the file (± {sure})"


def _print_proposals(console: Console, proposals: list[Record]) -> None:
    if not proposals:
        return
    console.print()
    console.print(Text("What to read next, by how much surer it makes the figures asked:", "bold"))
    for number, each in enumerate(proposals[:FIRST_PROPOSALS], 1):
        unit = f" {each['unit']}" if each["unit"] else ""
        spread = [fixed(each[f"plus_minus_{when}"], 3) for when in ("before", "after")]
        print_item(
            console,
            f"  {number}. ",
            f"{each['what']}: {100.0 * each['gain']:.0f} % surer over all; "
            f"{clean(each['helps'])} from ± {spread[0]} to ± {spread[1]}{unit}",
        )

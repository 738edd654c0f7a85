"""A set-down printed for people: each reading with what was expected, and what would correct what is off."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from goals.duties import COVERAGE
from optimiser.layout import add_figures, new_table, print_item, room
from optimiser.notice import print_model_notice
from optimiser.precision import MOST_DECIMALS, as_set, fixed, not_nothing, places_for, usual_places
from optimiser.reading_list import DECIMALS, KINDS
from optimiser.wording import clean, counted, figure, plain, short, spoken, with_unit

Record = dict[str, Any]

CAUTIONS = (
    "A correction comes from a rigid, ideal model: after it, gauge, plates and toe are read again.",
    "Measure first, change second: a gauge that was not zeroed looks like a wrong shim.",
    "Never drive on a fastener that is not torqued and locked. By hand from lock to lock first, at full "
    "bump and full droop.",
)


def print_setdown(console: Console, document: Record) -> None:
    """Print a set-down.

    Args:
        console: where to.
        document: what ``setdown --json`` prints.
    """
    with room(console):
        head = f"set-down: run {clean(document['run'])}, candidate {document['rank']}"
        console.print(Text.assemble((head, "bold"), f", {clean(document['car'])}"))
        lowered = as_set(document["lowered_by"], 1)
        console.print(Text(f"duty {clean(document['duty'])}, lowered {lowered} mm"))
        if not document["feasible"]:
            console.print(Text("DOES NOT HOLD EVERY LIMIT - not to be built", "bold red"))
        print_model_notice(console, document["model_check"])
        _print_verdict(console, document)
        console.print()
        console.print(_table(document["readings"], document["factor"]))
        bound = f"bound: {fixed(document['factor'], 1)} standard deviations of reading, points and"
        console.print(Text(f"{bound} settings together", "dim"))
        for group in document["groups"]:
            _print_group(console, group)
        console.print()
        for line in CAUTIONS:
            console.print(Text(line, "dim"))


def _print_verdict(console: Console, document: Record) -> None:
    count = counted(len(document["readings"]), "reading")
    if document["passes"]:
        console.print(Text(f"{count}, each as expected.", "green"))
    else:
        console.print(Text(f"LOOK AGAIN at {document['look_again']} of {count}.", "bold red"))


def _table(readings: list[Record], factor: float) -> Table:
    table = new_table()
    table.add_column(Text("reading"), overflow="fold", min_width=20)
    keys = ("value", "expected", "difference", "bound")
    heads = ("read", "expected", "apart", "bound")
    digits = {kind: _digits(readings, kind, factor) for kind in {r["kind"] for r in readings}}
    for key, head in zip(keys, heads, strict=True):
        add_figures(table, head, [_number(r, key, digits) for r in readings])
    table.add_column("unit")
    table.add_column("")
    for r in readings:
        cells = [
            clean(r["reading"]).replace(" wheel,", ","),
            *(_number(r, key, digits) for key in keys),
            r["unit"],
        ]
        mark = Text("pass") if r["passes"] else Text("LOOK", "bold red")
        table.add_row(*(Text(cell) for cell in cells), mark)
    return table


def _number(reading: Record, key: str, digits: dict[str, int]) -> str:
    value = reading[key]
    return "-" if value is None else fixed(value, digits[reading["kind"]])


def _digits(readings: list[Record], kind: str, factor: float) -> int:
    """Decimals of one kind of readings: as many as were read, or as the model's expectations are known to.

    And as many more as show of each whether it is inside its bound.
    """
    some = [r for r in readings if r["kind"] == kind]
    most = DECIMALS[some[0]["unit"]]
    known = [places_for(COVERAGE * r["bound"] / factor) for r in some if r["bound"] > 0.0]
    read = [len(short(r["value"]).partition(".")[2]) for r in some]
    found = min(most, max([*known, *read]))
    while found < MOST_DECIMALS and not all(_reads_right(r, found) for r in some):
        found += 1
    return found


def _reads_right(reading: Record, places: int) -> bool:
    if reading["difference"] is None:
        return True
    apart, bound = (float(fixed(reading[key], places)) for key in ("difference", "bound"))
    return bool((abs(apart) <= bound) == reading["passes"])


def _print_group(console: Console, group: Record) -> None:
    name = KINDS[group["kind"]][0]
    where = f"{group['wheel']} {'turn' if group['kind'] == 'turn_plates' else 'wheel'}"
    console.print()
    head = f"{name}, {where}: look again at {group['look_again']} of {group['readings']}"
    console.print(Text(head, "bold"))
    if not group["corrections"]:
        console.print(
            Text("  No single setting of this build would correct it: measure parts and points.")
        )
    for number, each in enumerate(group["corrections"], 1):
        print_item(console, f"  {number}. ", _correction_words(each))

    for each in group["missets"]:
        name = f"{spoken(each['station'])}, {spoken(each['setting'])}"
        where = f"stood at {_position(each['reads_as'])} and not at {_position(each['stands'])}"
        print_item(console, "  - ", f"reads as if {name} {where}: look whether it does")


def _position(value: float | str) -> str:
    return clean(value) if isinstance(value, str) else f"{short(value)} mm"


def _correction_words(each: Record) -> str:
    rod = each["station"] == "tie_rod" and each["setting"] in ("flats", "length")
    rest = "all then pass" if each["passes"] else f"{100.0 * each['left']:.0f} % of it is left"
    words = f"{_change(each, rod)}: {rest}"
    if not rod:
        words += "; then toe is set back with the tie rod"
    changes = [_changed(c["measure"], c["from"], c["to"], c["unit"]) for c in each["changes"]]
    return f"{words}. It changes {', '.join(changes) or 'nothing else that you would notice'}"


def _changed(measure: str, before: float, after: float, unit: str) -> str:
    """How a figure moves, with digits enough to show that it does."""
    places = max(usual_places(measure), not_nothing(after - before, usual_places(measure)))
    start, end = (figure(measure, value, places=places) for value in (before, after))
    return f"{plain(measure)} {start} to {with_unit(end, unit)}"


def _change(each: Record, rod: bool) -> str:
    """What is changed: '3 flats longer on the left tie rod', or a setting's positions."""
    if rod:
        amount = abs(each["to"])
        way = "longer" if each["to"] > 0.0 else "shorter"
        unit = f"{short(amount)} {'flat' if amount == 1.0 else 'flats'}"
        size = unit if each["setting"] == "flats" else f"{short(amount)} mm"
        return f"tie rod, {each['side']}, {size} {way}"
    start, end = _position(each["from"]), _position(each["to"])
    name = f"{spoken(each['station'])}, {spoken(each['setting'])}, {each['side']}"
    return f"{name}, from {start} to {end}"

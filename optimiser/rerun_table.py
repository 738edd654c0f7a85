"""A rerun for people: what was changed, what was kept, the car as built, and how the ranking moved."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from optimiser.covered import coverage_lines, status_words
from optimiser.layout import add_figures, hung, new_table, print_item, room
from optimiser.moves import APPEARED, DIED, LEFT, UNSEARCHED, swap_words
from optimiser.precision import fixed, places, telling_side
from optimiser.space import AS_IS
from optimiser.wording import (
    IN_HAND,
    bound_words,
    clean,
    counted,
    figure,
    keeps_in_hand,
    measure_of,
    plain,
    price,
    spoken,
    state_words,
    with_unit,
)

Record = dict[str, Any]

MOST_CHANGES = 30
NAMES = 34  # columns for a limit's name and its state
LOST = (DIED, LEFT, UNSEARCHED)
CAUTION = (
    "The model is rigid and ideal. Before driving on changed figures check the car by hand, lock to lock at "
    "full bump and droop; part makers' limits, local rules and an inspector come first."
)
NOTHING_CHANGED = "nothing was changed since run {run} was made: its ranking stands as it is"


def change_lines(changes: list[Record]) -> list[str]:
    """The changes, a line each, the first so many of them."""
    lines = [clean(change["words"]) for change in changes[:MOST_CHANGES]]
    more = len(changes) - len(lines)
    return [*lines, f"and {counted(more, 'further change')}"] if more > 0 else lines


def reuse_words(document: Record) -> str:
    """How much of the earlier run was of use."""
    kept, builds = document["reuse"], document["coverage"]["builds"]
    if not document["same_version"]:
        return "nothing taken over: the earlier run is of another version of the program"
    words = f"taken over as they were: {kept['reused']:,} of {counted(builds, 'build')}"
    searched = kept.get("searched", 0)
    if searched:
        words += f"; searched: {searched:,}"
        if kept["in_part"]:
            words += f", {kept['in_part']:,} of them with some of it taken over"
    return words


def print_rerun(console: Console, document: Record, top: int = 10) -> None:
    """Print what ``Rerun.document`` returns, of the ranking its first ``top`` and so many lost."""
    with room(console):
        if document["run"] is None:
            console.print(Text(NOTHING_CHANGED.format(run=clean(document["rerun_of"]))))
            return
        status = status_words(document)
        name, old = clean(document["run"]), clean(document["rerun_of"])
        console.print(Text.assemble((f"run {name}", "bold"), f", {status}: {old} made again"))
        _print_changes(console, document)
        console.print()
        for line in (reuse_words(document), *coverage_lines(document["coverage"])):
            print_item(console, "", line)
        _print_built(console, document)
        _print_today(console, document["today"])
        _print_moves(console, document, top)
        console.print()
        print_item(console, "", CAUTION, "dim")


def _print_changes(console: Console, document: Record) -> None:
    console.print()
    if not document["changes"]:
        console.print(Text("no input was changed"))
        return
    console.print(Text("changed", "bold"))
    for line in change_lines(document["changes"]):
        print_item(console, "  ", line)


def _print_built(console: Console, document: Record) -> None:
    built = document["built"]
    console.print()
    if built is None:
        console.print(Text(f"run {clean(document['rerun_of'])} ranks no candidate to judge anew"))
        return
    head = f"the car as built from candidate {built['rank']} of {clean(document['rerun_of'])}"
    verdict = Text("still holds every limit", "green")
    if not built["holds"]:
        words = "DOES NOT HOLD EVERY LIMIT" + ("" if built["feasible_before"] else ", as before")
        verdict = Text(words, "bold red")
    console.print(Text.assemble((head, "bold"), ": ", verdict))
    console.print(Text("parts, settings and stop as they were, toe on the gauge", "dim"))
    for words in built["gone"]:
        print_item(console, "  ", clean(words), "red")
    for duty in built["missing"]:
        console.print(Text(f"  it was never set up for {clean(duty)}", "red"))
    if built["swap"] is not None:
        style = "" if built["swap"]["holds"] else "red"
        print_item(console, "  ", swap_words(built["swap"]), style)
    for duty, record in built["duties"].items():
        _print_built_duty(console, duty, record)
    if keeps_in_hand(built["duties"].values()):
        console.print(Text(IN_HAND, "dim"))


def _print_built_duty(console: Console, duty: str, record: Record) -> None:
    console.print()
    verdict = Text("pass", "green") if record["holds"] else Text("FAILS", "bold red")
    merits = f", merit {merit_text(record['merit_before'])} → {merit_text(record['merit'])}"
    console.print(Text.assemble((clean(duty), "bold"), ": ", verdict, merits))
    put, now = record["stop"]["put"], record["stop"]["now"]
    if fixed(put, 1) != fixed(now, 1):
        may = "may stand at" if now > put else "would have to come in to"
        words = f"steering stop at {fixed(put, 1)} mm of rack; it {may} {fixed(now, 1)}"
        if not record["holds"]:
            words += ", where every limit holds" if record["holds_with_stop"] else ", not enough"
        print_item(console, "  ", words)
    for words in record["notes"]:
        print_item(console, "  ", clean(words))
    table = new_table()
    table.add_column("  limit", overflow="fold", min_width=24, max_width=NAMES)
    add_figures(table, "figure", [_figure(limit) for limit in record["limits"]])
    table.add_column("bound", overflow="fold")
    add_figures(table, "in hand", [_in_hand(limit) for limit in record["limits"]])
    table.add_column("", no_wrap=True)
    for limit in sorted(record["limits"], key=lambda limit: not _lacks(limit)):
        table.add_row(
            _named(limit),
            Text(_figure(limit)),
            Text(bound_words(limit["key"], limit["bound"])),
            Text(_in_hand(limit)),
            Text("FAILS", "bold red") if _lacks(limit) else Text("ok", "green"),
        )
    console.print(table)


def _named(limit: Record) -> Text:
    """A limit's name with the state that decided it under it."""
    name = Text(f"  {plain(limit['key'])}")
    state = state_words(limit["state"])
    return Text("\n").join([name, hung(state, NAMES, before="    ")]) if state else name


def _lacks(limit: Record) -> bool:
    return limit["in_hand"] is None or limit["in_hand"] < 0.0


def _figure(limit: Record) -> str:
    return with_unit(figure(limit["key"], limit["value"], [limit["bound"]]), limit["unit"])


def _in_hand(limit: Record) -> str:
    if limit["in_hand"] is None:
        return "-"
    # as fine as the figure itself, and never rounded to nothing or across it
    measure = measure_of(limit["key"])
    least = places(measure, limit["value"], [limit["bound"]], None)
    return fixed(limit["in_hand"], telling_side(limit["in_hand"], [(0.0, None)], least))


def merit_text(value: float | None) -> str:
    """A merit, or a dash."""
    return "-" if value is None else fixed(value, 3)


def _print_today(console: Console, today: Record) -> None:
    console.print()
    console.print(Text("today's car", "bold"))
    for duty, sides in today.items():
        before, after = sides["before"], sides["after"]
        words = f"{_today_words(before)} → {_today_words(after)}"
        if before == after:
            words = f"{_today_words(after)}, as before"
        print_item(console, f"  {clean(duty)}: ", words)


def _today_words(side: Record | None) -> str:
    if side is None:
        return "not asked"
    merit = f"merit {merit_text(side['merit'])}"
    if side["feasible"]:
        return f"holds every limit, {merit}"
    fails = dict.fromkeys(plain(key) for key in side["fails"])
    return f"fails {', '.join(fails) or 'a limit'}, {merit}"


def _print_moves(console: Console, document: Record, top: int) -> None:
    every = document["candidates"]
    held = [c for c in every if c["move"] not in LOST]
    lost = [c for c in every if c["move"] in LOST]
    console.print()
    if not every:
        console.print(Text("no candidate holds every limit, before or now"))
        return
    if held:
        console.print(Text("candidates that hold every limit", "bold"))
        console.print(_moves_table(held[:top], held[0]))
    else:
        console.print(Text("nothing holds every limit any more", "bold red"))
    if lost:
        console.print()
        console.print(Text("lost", "bold"))
        for candidate in lost[:top]:
            _print_lost(console, candidate)
    hidden = max(0, len(held) - top) + max(0, len(lost) - top)
    if hidden:
        name = clean(document["run"])
        words = f"{hidden:,} more: shimwright rank {name}, or --json"
        console.print(Text(words, "dim"))


def _moves_table(candidates: list[Record], first: Record) -> Table:
    table = new_table()
    add_figures(table, "#", [str(c["after"]["rank"]) for c in candidates])
    add_figures(table, "was", [_was(c, "rank", str) for c in candidates])
    add_figures(table, "merit", [merit_text(c["after"]["merit"]) for c in candidates])
    add_figures(table, "was", [_was(c, "merit", merit_text) for c in candidates])
    add_figures(table, "price", [price(c["after"]["price"]) for c in candidates])
    add_figures(table, "was", [_was(c, "price", price) for c in candidates])
    table.add_column("", overflow="fold", min_width=20)
    for c in candidates:
        after = c["after"]
        table.add_row(
            Text(str(after["rank"])),
            Text(_was(c, "rank", str)),
            Text(merit_text(after["merit"])),
            Text(_was(c, "merit", merit_text)),
            Text(price(after["price"])),
            Text(_was(c, "price", price)),
            _move_words(c, first),
        )
    return table


def _was(candidate: Record, name: str, text: Any) -> str:
    before = candidate["before"]
    if before is None or (name != "price" and not before["feasible"]):
        return "-"
    return str(text(before[name]))


def _move_words(candidate: Record, first: Record) -> Text:
    move = candidate["move"]
    style = {"rose": "green", APPEARED: "green", "fell": "yellow"}.get(move, "dim")
    words = move + (f": {candidate['why']}" if candidate["why"] else "")
    text = Text(words, style)
    if candidate is not first:
        text.append(f"\nas {first['after']['rank']} but {_apart(candidate, first)}", "dim")
    return text


def _apart(candidate: Record, first: Record) -> str:
    other = [
        f"{spoken(station)} {part}"
        for station, part in candidate["build"].items()
        if first["build"].get(station) != part
    ]
    return ", ".join(other) or "settings alone"


def _print_lost(console: Console, candidate: Record) -> None:
    before = candidate["before"]
    parts = ", ".join(clean(part) for part in candidate["build"].values() if part != AS_IS)
    head = f"was {before['rank']}, merit {merit_text(before['merit'])}, {price(before['price'])}"
    print_item(console, "  ", f"{head}: {parts}")
    style = "" if candidate["move"] == UNSEARCHED else "red"
    why = f": {clean(candidate['why'])}" if candidate["why"] else ""
    print_item(console, "    ", f"{candidate['move']}{why}", style)

"""What becomes of a candidate when it is built, in words: yields, their errors, and what matters most."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rich.console import Console
from rich.text import Text

from optimiser.layout import new_table
from optimiser.precision import fixed
from optimiser.wording import clean, plain

Record = dict[str, Any]

TIE = "=: cannot be told from the first of its group: the difference has 0 in its band"
YIELD = "yield: share of cars built with the errors told that hold every limit"


def share_words(share: float | None) -> str:
    """A share in whole percent; nearly all is not all, and nearly none is not none."""
    if share is None:
        return "-"
    percent = round(100.0 * share)
    if percent == 100 and share < 1.0:
        return ">99 %"
    if percent == 0 and share > 0.0:
        return "<1 %"
    return f"{percent} %"


def rank_notes(candidates: list[Record]) -> Iterator[str]:
    """What is to be said of yields and ties below a ranking."""
    sampled = [c for c in candidates if c["yield"] is not None]
    if not sampled:
        return
    yield YIELD
    ties = [c["tie"] for c in sampled]
    if len(set(ties)) < len(ties):
        yield TIE
    short_of = [c for c in candidates if c.get("below_least_yield")]
    if short_of:
        one = len(short_of) == 1
        yield (
            f"{len(short_of)} {'has' if one else 'have'} less than the least yield wanted and "
            f"{'ranks' if one else 'rank'} after the others, from {short_of[0]['rank']}"
        )


def print_as_built(console: Console, least: float | None, document: Record) -> None:
    """Print yields by limit, the errors that matter most, and the stop's band, of one candidate."""
    if document["yield"] is None:
        return
    error = f"+/- {fixed(100.0 * document['yield_error'], 1)} points standard error"
    console.print()
    console.print(
        Text.assemble(
            ("as built", "bold"),
            f": {share_words(document['yield'])} of the cars hold every limit of every duty, {error}",
        )
    )
    if least is not None and document["yield"] < least:
        console.print(Text(f"less than the least yield wanted, {share_words(least)}", "red"))
    band = document.get("merit_band")
    if band is not None and document["merit"] is not None:
        console.print(Text(f"merit {fixed(band[0], 3)} to {fixed(band[1], 3)} (5 to 95 %)"))
    console.print(Text(mattering("merit", document.get("merit_matters"))))
    for duty, record in document["duties"].items():
        if "as_built" in record:
            _print_duty(console, duty, record)


def _print_duty(console: Console, duty: str, record: Record) -> None:
    built = record["as_built"]
    low, high = (fixed(value, 1) for value in built["stop_band"])
    printed = fixed(record["solved"]["stop"], 1)
    words = f"{share_words(built['yield'])} hold every limit; the stop comes to {low} to {high} mm"
    console.print(Text.assemble((clean(duty), "bold"), f": {words}"))
    share = share_words(built["yield_at_printed_stop"])
    console.print(Text(f"  with the stop at {printed} mm whatever the car: {share}"))
    failing = sorted(
        ((share, label) for label, share in built["limits"].items() if share < 1.0),
    )
    if not failing:
        console.print(Text("  every limit holds in every car drawn", "green"))
        return
    table = new_table(header=False)
    table.add_column(overflow="fold", min_width=20, max_width=30)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(overflow="fold")
    for share, label in failing:
        why = mattering("", built["matters"].get(label))
        table.add_row(Text(f"  {plain(label)}"), Text(share_words(share)), Text(why, "dim"))
    console.print(table)


def mattering(what: str, told: Record | None) -> str:
    """Which errors matter most, largest first, and how much of the figure all errors explain."""
    if told is None:
        return f"{what}: no error to tell of".lstrip(": ")
    named = [
        f"{error_words(each['error'])} {share_words(each['share'])}" for each in told["errors"]
    ]
    lead = f"{what}: mostly " if what else ""
    return f"{lead}{', '.join(named)} (all errors, linearly: {share_words(told['explained'])})"


def error_words(name: str) -> str:
    """An error's name in plain words."""
    return clean(name.replace("_", " "))

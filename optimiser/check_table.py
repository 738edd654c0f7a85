"""The car as it stands, told so that its builder knows it again."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from optimiser.curves import print_toe
from optimiser.figures import Column, asks_of, print_figures
from optimiser.layout import beside, chunks, new_table, room
from optimiser.notice import print_model_notice
from optimiser.precision import as_set
from optimiser.problem import Problem
from optimiser.wording import (
    IN_HAND,
    bounds_of,
    clean,
    counted,
    failing,
    fault_words,
    keeps_in_hand,
    plain,
    short,
)

Record = dict[str, Any]


def print_check(console: Console, document: Record, problem: Problem | None = None) -> None:
    """Print the car as it stands against the goals.

    Args:
        console: where to.
        document: what ``check --json`` prints.
        problem: the files behind it, if at hand; then windows and wheels asked for are shown too.
    """
    space = document["space"]
    duties = document["duties"]
    with room(console):
        console.print(Text(clean(document["car"]), "bold"))
        parts = (
            f"{counted(space['builds'], 'build')}, {counted(space['combinations'], 'combination')}"
        )
        console.print(Text(f"{parts} of parts and settings to search"))
        print_model_notice(console, document.get("model_check"))
        for duty, record in duties.items():
            console.print()
            _print_verdict(console, duty, record)
        if keeps_in_hand(duties.values()):
            console.print()
            console.print(Text(IN_HAND, "dim"))
        measured = Column("as measured", document["as_measured"]["measures"])
        for some in chunks(list(duties), beside(console)):
            console.print()
            columns = [
                Column(
                    clean(duty),
                    duties[duty]["measures"],
                    _asks(problem, duty),
                    duties[duty].get("bands", {}),
                )
                for duty in some
            ]
            print_figures(console, [measured, *columns])
        curves = {"as measured": document["as_measured"], **duties}
        print_toe(console, {name: record["curves"]["travel"] for name, record in curves.items()})


def _asks(problem: Problem | None, duty: str) -> Record:
    if problem is None:
        return {}
    assembly = problem.assembly_of(problem.space.today(), duty, (), 0.0)
    return asks_of(problem.demands(assembly, duty))


def _print_verdict(console: Console, duty: str, record: Record) -> None:
    limits = sum(len(bounds_of(entry)) for entry in record["measures"].values())
    missed = failing(duty, record)
    solved = record.get("solved") or {}
    lowered = f"lowered {short(solved['lowered_by'])} mm" if "lowered_by" in solved else "lowered"
    toe = f"toe reset to {as_set(solved['toe'], 2)} deg" if "toe" in solved else "toe reset"
    console.print(Text.assemble((clean(duty), "bold"), f": today's parts, {lowered}, {toe}"))
    if not missed:
        word = "holds every limit" if limits else "no limits to hold"
        console.print(Text(f"  {word}", "green"))
        return
    console.print(Text(f"  fails {len(missed)} of {counted(limits, 'limit')}:", "bold red"))
    table = new_table(header=False)
    table.add_column(overflow="fold", min_width=20, max_width=30)
    table.add_column(overflow="fold")
    for margin in missed:
        table.add_row(Text(f"  {plain(margin.key)}"), Text(fault_words(margin)))
    console.print(table)

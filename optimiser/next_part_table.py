"""Which part to buy next, as text on a console."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from optimiser.layout import figure_lines, print_item
from optimiser.precision import fixed
from optimiser.problem import Problem
from optimiser.wording import clean, plain, price

Record = dict[str, Any]

MOST_LINES = 8


def print_next_part(console: Console, problem: Problem, told: Record, proven: bool) -> None:
    """Print what each purchase gives."""
    currency = problem.parts.currency
    console.print()
    console.print(Text("The next part", "bold"))
    if not proven:
        print_item(console, "  ", "of what was searched alone")
    print_item(console, "  ", f"with nothing bought: {_best(told['nothing'])}")
    _print_next(console, told, currency)
    least = told["every_duty"]
    if (
        least is not None
        and least["to_buy"]
        and not (told["next"] or {"best": least})["best"]["feasible"]
    ):
        cost = price(least["price"], currency)
        names = ", ".join(clean(part) for part in least["to_buy"])
        print_item(
            console, "  ", f"fewest parts that serve every duty: {names}, {cost}: {_best(least)}"
        )
    helping = [one for one in told["single"] if one["betters"]]
    if len(helping) > 1:
        console.print(Text("  one part alone:"))
        _print_lines(console, [([one["part"]], one["best"]) for one in helping], currency)
    if told["front"]:
        console.print(Text("  more for more money:"))
        _print_lines(console, [(row["to_buy"], row) for row in told["front"]], currency)
    for one in told["without"]:
        if one["loses"]:
            text = f"never bought {_part(told, one['part'])}: {_best(one['best'])}"
            print_item(console, "  ", text)


def _print_next(console: Console, told: Record, currency: str) -> None:
    buy = told["next"]
    if buy is None:
        text = (
            "no part serves a duty more or betters the merit" if told["parts"] else "nothing to buy"
        )
        print_item(console, "  ", text)
        return
    parts = " and ".join(_part(told, part) for part in buy["parts"])
    single = len(buy["parts"]) == 1
    which = "buy next" if single else "no single part changes anything; buy together"
    cost = price(buy["best"]["price"], currency)
    print_item(console, "  ", f"{which}: {parts}, {cost}: {_best(buy['best'])}")


def _part(told: Record, identifier: str) -> str:
    name = told["parts"][identifier]["name"]
    return clean(identifier) if name is None else f"{clean(identifier)} ({clean(name)})"


def _best(row: Record | None) -> str:
    """What a build comes to, in a few words."""
    if row is None:
        return "no build searched"
    if not row["feasible"]:
        served = " and ".join(clean(duty) for duty in row["serves"])
        return f"not every duty is served{', only ' + served if served else ''}"
    words = f"merit {row['merit']:.3f}"
    if row["yield"] is not None:
        words += f", yield {100 * row['yield']:.0f} %"
    tight = row["tightest"]
    if tight is not None:
        words += f", tightest {plain(tight['limit'])} of {clean(tight['duty'])}"
    return words


def _print_lines(console: Console, rows: list[tuple[list[str], Record]], currency: str) -> None:
    """A line for each purchase: price, duties served, merit, what to buy."""
    some = rows[:MOST_LINES] if len(rows) <= MOST_LINES else [*rows[: MOST_LINES - 1], rows[-1]]
    cells = [
        [
            price(row["price"], currency),
            str(len(row["serves"])),
            "-" if row["merit"] is None else fixed(row["merit"], 3),
        ]
        for _, row in some
    ]
    head, lines = figure_lines(["price", "duties", "merit"], cells)
    console.print(Text("    " + head))
    for line, (parts, _) in zip(lines, some, strict=True):
        names = ", ".join(clean(part) for part in parts) or "nothing"
        print_item(console, f"    {line}  ", names)

"""Tables for people: the ranking, one candidate, and the car as it stands.

Laid out for 80 columns; wider terminals get wider names. Names wrap, figures never do.
"""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from optimiser.built_table import print_as_built, rank_notes, share_words
from optimiser.check_table import print_check
from optimiser.covered import coverage_lines, status_words
from optimiser.curves import print_curves
from optimiser.figures import Column, asks_of, print_figures
from optimiser.layout import beside, chunks, figure_lines, hung, new_table, print_item, room
from optimiser.notice import print_model_notice
from optimiser.precision import fixed
from optimiser.problem import Problem
from optimiser.runs import STOPPED
from optimiser.settings import (
    differ,
    part_name,
    refined_words,
    settings_of,
    solved_texts,
    source_of,
)
from optimiser.wording import (
    IN_HAND,
    Margin,
    bound_words,
    clean,
    keeps_in_hand,
    lacks,
    margins,
    plain,
    price,
    short,
    spoken,
    tells,
    unpaired_words,
)

__all__ = ["print_check", "print_rank", "print_show"]

Record = dict[str, Any]

MOST_DUTY_COLUMNS = 3
BELOW_THE_GRID = "on the declared grid; settings that can be set finer were refined below it"
# Under what the lines about a candidate stand: its first figure.
UNDER = " " * 6
NAME_WIDTH = 28


def print_rank(console: Console, document: Record, top: int = 20) -> None:
    """Print a ranking, its first ``top`` candidates.

    Args:
        console: where to.
        document: what ``runs.ranking_document`` returns.
        top: most candidates to print; how many more there are is said.
    """
    candidates = document["candidates"]
    with room(console):
        if candidates and not any(c["feasible"] for c in candidates):
            say = "Nothing holds every limit; the nearest come first."
            console.print(Text(say, style="bold red"))
        _print_coverage(console, document)
        print_model_notice(console, document.get("model_check"))
        if not candidates:
            console.print(Text("No build is finished yet."))
            return
        console.print()
        _print_ranked(console, candidates, candidates[:top])
        console.print()
        _print_rank_notes(console, candidates, top)


def _print_coverage(console: Console, document: Record) -> None:
    cover = document["coverage"]
    status = status_words(document)
    console.print(Text.assemble((f"run {clean(document['run'])}", "bold"), f", {status}"))
    if document["status"] == STOPPED:
        console.print(Text(f"go on with: shimwright resume {clean(document['run'])}"))
    for line in coverage_lines(cover):
        console.print(Text(line))
    if cover["proven"] and _any_refined(document["candidates"]):
        console.print(Text(BELOW_THE_GRID))


def _any_refined(candidates: list[Record]) -> bool:
    return any("refined" in record for c in candidates for record in c["duties"].values())


def _print_ranked(console: Console, candidates: list[Record], shown: list[Record]) -> None:
    """A line of figures a candidate; under it what is tightest or lacks, and what is other than the first."""
    duties = list(candidates[0]["duties"])
    apart = len(duties) <= MOST_DUTY_COLUMNS
    sampled = any(c["yield"] is not None for c in shown)
    swapped = any(c["changeover_minutes"] is not None for c in shown)
    head = ["#", "merit", *(map(clean, duties) if apart else ())]
    head += ["yield"] * sampled + ["swap"] * swapped + ["price", "to buy"]
    rows = []
    for i, c in enumerate(shown):
        merits = [_merit(c["duties"][duty]["merit"]) for duty in duties] if apart else []
        cells = [_place(candidates, i).rjust(4), _merit(c["merit"]), *merits]
        cells += [share_words(c["yield"])] * sampled + [_minutes(c)] * swapped
        rows.append([*cells, price(c["price"]), str(len(c["to_buy"]))])
    titles, lines = figure_lines(head, rows)
    console.print(Text(titles, "bold"))
    for candidate, line in zip(shown, lines, strict=True):
        console.print(Text(line))
        if not apart:
            each = [f"{clean(d)} {_merit(candidate['duties'][d]['merit'])}" for d in duties]
            print_item(console, UNDER, ", ".join(each))
        words, style = _state(candidate)
        print_item(console, UNDER, words, style)
        other = _other_parts(candidate, candidates[0])
        if other:
            print_item(console, UNDER, other, "dim")


def _place(candidates: list[Record], i: int) -> str:
    """A candidate's place, with a mark where it ties with the one above it."""
    tie = candidates[i]["tie"]
    tied = i > 0 and tie is not None and tie == candidates[i - 1]["tie"]
    return f"= {candidates[i]['rank']}" if tied else str(candidates[i]["rank"])


def _minutes(candidate: Record) -> str:
    """Minutes of the swap between a candidate's duties."""
    told = candidate["changeover_minutes"]
    return "-" if told is None else short(told)


def _merit(value: float | None) -> str:
    return "-" if value is None else fixed(value, 3)


def _state(candidate: Record) -> tuple[str, str]:
    """The tightest limit, or what is served and what lacks; and in which style to say it."""
    duties = candidate["duties"]
    if candidate["feasible"]:
        tight = tightest(duties, 1)
        return (f"tightest: {_tight_words(tight[0])}" if tight else "no limits"), ""
    served = [clean(duty) for duty, record in duties.items() if record["feasible"]]
    lead = f"serves {', '.join(served)}; " if served else ""
    words = [lacks(duty, record) for duty, record in duties.items() if not record["feasible"]]
    if not words:
        words = [f"settings do not go together: {unpaired_words(candidate['pairing'])}"]
    return lead + "; ".join(words), "red"


def _other_parts(candidate: Record, first: Record) -> str:
    """How a build differs from the first of the ranking; empty where it does not."""
    other = [
        f"{spoken(station)} {clean(part)}"
        for station, part in candidate["build"].items()
        if first["build"].get(station) != part
    ]
    return f"as {first['rank']} but {', '.join(other)}" if other else ""


def tightest(duties: dict[str, Record], count: int) -> list[Margin]:
    """The limits with the least in hand over all duties, by what a builder would notice.

    What the stop stands at has next to nothing in hand by its nature, so it is left out.
    """
    every = [
        m for duty, record in duties.items() for m in margins(duty, record) if tells(record, m)
    ]
    return sorted(every, key=lambda m: m.in_scales)[:count]


def _tight_words(margin: Margin) -> str:
    bound = bound_words(margin.key, margin.bound)
    words = f"{margin.duty}, {plain(margin.key)} {bound}, {margin.gap_words()} in hand"
    state = margin.state_words()
    return f"{words}; {state}" if state else words


def _print_rank_notes(console: Console, candidates: list[Record], top: int) -> None:
    more = len(candidates) - top
    if more > 0:
        console.print(Text(f"{more:,} more ranked; --top {len(candidates)} shows all", "dim"))
    holding = sum(bool(c["feasible"]) for c in candidates)
    words = f"{holding:,} of {len(candidates):,} ranked hold every limit of every duty"
    console.print(Text(words, "dim"))
    notes = ["merit: 0 meets every target, 1 is the edge of tolerance; the worst duty counts"]
    if any(c["changeover_minutes"] is not None for c in candidates):
        notes.append("swap: minutes from duty to duty, settings chosen to go together")
    if any(keeps_in_hand(c["duties"].values()) for c in candidates):
        notes.append(IN_HAND)
    for note in [*notes, *rank_notes(candidates)]:
        print_item(console, "", note, "dim")


def print_show(console: Console, problem: Problem, document: Record) -> None:
    """Print one candidate in full.

    Args:
        console: where to.
        problem: the run's inputs.
        document: the candidate as ``show --json`` prints it; curves are printed where it has them.
    """
    duties = document["duties"]
    build = problem.space.build(document["number"])
    with room(console):
        _print_head(console, problem, document)
        print_model_notice(console, document.get("model_check"))
        _print_parts(console, problem, document)
        _print_settings(console, problem, document)
        if keeps_in_hand(duties.values()):
            console.print()
            console.print(Text(IN_HAND, "dim"))
        print_as_built(console, problem.goals.tolerances.least_yield, document)
        shown = [duty for duty, record in duties.items() if "measures" in record]
        for some in chunks(shown, beside(console)):
            console.print()
            columns = []
            for duty in some:
                assembly = problem.assembly(build, duty)
                asks = {} if assembly is None else asks_of(problem.demands(assembly, duty))
                bands = duties[duty].get("as_built", {}).get("bands", {})
                columns.append(Column(clean(duty), duties[duty]["measures"], asks, bands))
            print_figures(console, columns)
        print_curves(console, duties)


def _print_head(console: Console, problem: Problem, document: Record) -> None:
    currency = problem.parts.currency
    console.print(
        Text.assemble(
            (f"run {clean(document['run'])}, candidate {document['rank']}", "bold"),
            f", build {document['number']}, {clean(problem.car.name)}",
        )
    )
    if document["feasible"]:
        merits = ", ".join(f"{d} {_merit(r['merit'])}" for d, r in document["duties"].items())
        console.print(
            Text(f"holds every limit; merit {_merit(document['merit'])} ({merits})", "green")
        )
        for margin in tightest(document["duties"], 1):
            console.print(Text(f"tightest: {_tight_words(margin)}"))
    else:
        console.print(Text("DOES NOT HOLD EVERY LIMIT", "bold red"))
        for duty, record in document["duties"].items():
            text = f"serves {duty}" if record["feasible"] else lacks(duty, record)
            console.print(Text(text, "" if record["feasible"] else "red"))
    _print_swap(console, document["pairing"])
    bought = [clean(part) for part in document["to_buy"]]
    words = f"{price(document['price'], currency)} for {', '.join(bought)}" if bought else "nothing"
    console.print(Text(f"to buy: {words}"))


def _print_swap(console: Console, pairing: Record | None) -> None:
    """How the duties' settings go together, and what each duty could have by itself."""
    if pairing is None:
        return
    alone = ", ".join(f"{clean(duty)} {_merit(merit)}" for duty, merit in pairing["alone"].items())
    if not pairing["found"]:
        words = f"settings do not go together: {unpaired_words(pairing)}"
        console.print(Text(words, "red"))
    else:
        anew = ", ".join(map(spoken, pairing["differs"])) or "no station"
        console.print(Text(f"swap: {short(pairing['minutes'])} minutes, {anew} set anew"))
        for each in pairing["front"][:-1]:
            anew = ", ".join(map(spoken, each["differs"])) or "no station"
            words = f"or {short(each['minutes'])} minutes at merit {_merit(each['merit'])}, {anew}"
            console.print(Text(words, "dim"))
    console.print(Text(f"each duty by itself: {alone}", "dim"))


def _print_parts(console: Console, problem: Problem, document: Record) -> None:
    build = problem.space.build(document["number"])
    table = new_table()
    table.add_column("station", no_wrap=True)
    table.add_column("part", overflow="fold", max_width=18)
    table.add_column("", overflow="fold")
    table.add_column("", overflow="fold", max_width=20)
    for station, part in build.parts.items():
        source = source_of(part, problem.parts.currency)
        style = "bold" if source.startswith(("buy", "get")) else ""
        name = part_name(part) if part.id != "as_is" else ""
        table.add_row(Text(spoken(station)), Text(clean(part.id)), Text(name), Text(source, style))
    console.print()
    console.print(table)


def _print_settings(console: Console, problem: Problem, document: Record) -> None:
    build = problem.space.build(document["number"])
    duties = document["duties"]
    for some in chunks(list(duties), MOST_DUTY_COLUMNS):
        shown = {duty: duties[duty] for duty in some}
        table = new_table()
        room_each = max(9, (console.width - NAME_WIDTH) // len(some) - 2)
        table.add_column("settings", no_wrap=True)
        for duty in some:
            table.add_column(Text(clean(duty)), overflow="fold", max_width=room_each)
        for setting in settings_of(build, shown):
            mark = "* " if setting.differs else "  "
            name = f"{spoken(setting.station)}: {spoken(setting.name)}"
            cells = [hung(clean(setting.texts[d]), room_each) for d in some]
            table.add_row(hung(name, NAME_WIDTH, before=mark), *cells)
        for words, texts in solved_texts(shown):
            mark = "* " if differ(texts) else "  "
            cells = [hung(texts[d], room_each) for d in some]
            table.add_row(hung(words, NAME_WIDTH, before=mark), *cells)
        console.print()
        console.print(table)
        if len(some) > 1:
            console.print(Text("* differs between duties", "dim"))
        for words in (refined_words(duty, record) for duty, record in shown.items()):
            if words:
                console.print(Text(words))

"""Why a run came out as it did, as text on a console."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from optimiser.covered import coverage_lines
from optimiser.layout import print_item, room
from optimiser.next_part_table import print_next_part
from optimiser.precision import fixed, not_nothing, usual_places
from optimiser.problem import Problem
from optimiser.wording import (
    bound_words,
    clean,
    counted,
    measure_of,
    plain,
    short,
    spoken,
    state_words,
    with_unit,
)

Record = dict[str, Any]

# Refusals and correlations that are told of each duty; how strong a correlation must be.
MOST_REFUSALS, MOST_CORRELATIONS, LEAST_RANK = 5, 3, -0.5
# Pairs of targets that are told of a build, and how much one has to lose by the other, in tolerances.
MOST_PAIRS, LEAST_LOST = 3, 0.1
CAUTION = (
    "The model is rigid and ideal, and limits hold on it alone. Before a limit is eased: what makers of "
    "parts, local rules and a licensed engineer or inspector allow comes first, whatever a search finds."
)


def print_why(console: Console, problem: Problem, document: Record) -> None:
    """Print what ``why --json`` prints."""
    with room(console):
        for line in coverage_lines(document["coverage"]):
            print_item(console, "", line)
        console.print(Text(_verdict(document)))
        for duty, record in document["decided"].items():
            _print_decided(console, duty, record)
        if not document["feasible"]:
            _print_clashes(console, document)
        for record in document["pulls"]:
            _print_pulls(console, record)
        for duty, told in document["correlations"].items():
            _print_correlations(console, duty, told)
        print_next_part(console, problem, document["next_part"], document["coverage"]["proven"])
        console.print()
        print_item(console, "", CAUTION, "dim")


def _verdict(document: Record) -> str:
    if not document["feasible"]:
        return "no build found serves every duty"
    number = document["serving"]
    return f"{counted(number, 'build')} {'serves' if number == 1 else 'serve'} every duty"


def heading(console: Console, text: str) -> None:
    """A bold line after an empty one."""
    console.print()
    console.print(Text(text, "bold"))


def _print_decided(console: Console, duty: str, record: Record) -> None:
    heading(console, f"{clean(duty)}: what decided")
    print_item(
        console, "  ", f"{record['serving']:,} of {counted(record['builds'], 'build')} serve it"
    )
    for reason, count in record["unserved"].items():
        print_item(console, "  ", f"{counted(count, 'build')}: {reason}")
    if record["refused"]:
        some = list(record["refused"].items())[:MOST_REFUSALS]
        words = ", ".join(f"{plain(label)} {count:,}" for label, count in some)
        print_item(console, "  ", f"settings refused, by the first test that refused: {words}")
    if record["lacking"]:
        some = list(record["lacking"].items())[:MOST_REFUSALS]
        words = ", ".join(f"{plain(label)} {count:,}" for label, count in some)
        print_item(console, "  ", f"builds whose nearest setting lacks it: {words}")
    for each in record["stood_at"][:MOST_REFUSALS]:
        hand = amount(each["limit"], each["in_hand"], each["unit"])
        of = f"in {each['candidates']} of the best"
        words = f"tight: {plain(each['limit'])}, {hand} in hand at the least, {of}"
        state = state_words(each["state"])
        print_item(console, "  ", f"{words}; {state}" if state else words)


def amount(label: str, value: float, unit: str) -> str:
    """An amount of a measure with its unit, never rounded to nothing."""
    return with_unit(fixed(value, not_nothing(value, usual_places(measure_of(label)))), unit)


def wish_words(wish: Record) -> str:
    """A limit with its duty."""
    if wish["duty"] is None:
        return "the changeover"
    return f"{clean(wish['duty'])}'s {plain(wish['limit'])}"


def _names(wishes: list[Record]) -> str:
    words = [wish_words(wish) for wish in wishes]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _print_clashes(console: Console, document: Record) -> None:
    if not document.get("clash_known"):
        heading(console, "What clashes")
        print_item(console, "  ", "not proven: the time was up; give more with --minutes")
        return
    if not document["clashes"]:
        heading(console, "What clashes")
        text = "nothing: all limits can be held, and the run has only not come to it yet"
        print_item(console, "  ", text)
    for clash in document["clashes"]:
        _print_clash(console, clash)
    if document["failed"]:
        text = f"{counted(len(document['failed']), 'build')} could not be searched: not proven of those"
        print_item(console, "  ", text)
    if document["openings"] is not None:
        _print_openings(console, document["openings"])


def _print_clash(console: Console, clash: Record) -> None:
    heading(console, f"What clashes, {_scope(clash)}")
    if clash["gates_alone"]:
        text = (
            "no build stands and holds the gates that hold unasked, whatever the limits: parts, ride height "
            "and the car's own sizes do not go together"
        )
        print_item(console, "  ", text)
        return
    for number, some in enumerate(clash["sets"], 1):
        words = (
            "cannot be held by any build"
            if len(some) == 1
            else "cannot be held together; any one less of them can"
        )
        print_item(console, f"  {number}. ", f"{_names(some)}: {words}")
    if clash["unsure"] is not None:
        text = (
            f"not made smallest, the time was up: {_names(clash['unsure'])} cannot be held together"
        )
        print_item(console, "  ", text)
    if not clash["complete"]:
        print_item(console, "  ", "there may be others; give more time with --minutes")
    for some in clash["give_up"]:
        print_item(console, "  ", f"without {_names(some)} all else can be held")
    for ease in clash["eases"]:
        _print_ease(console, ease)


def _scope(clash: Record) -> str:
    names = " and ".join(clean(duty) for duty in clash["duties"])
    if len(clash["duties"]) == 1:
        return f"in {names} by itself"
    how = "with settings that can be swapped" if clash["changeover"] else "in one build"
    return f"{names} {how}"


def _print_ease(console: Console, ease: Record) -> None:
    name = wish_words(ease)
    if ease["eased"] is None:
        why = (
            "not known: the time was up" if not ease["proven"] else "easing it alone opens nothing"
        )
        if ease["proven"] and ease["enough"] is None:
            why = "it has no minutes to ease; what it allows to be set apart decides"
        print_item(console, "  ", f"{name}: {why}")
        return
    by = with_unit(short(ease["eased"]), ease["unit"]) if ease["duty"] else _minutes(ease)
    was, now = (
        bound_words(ease["limit"], tuple(ease[key])) if ease["duty"] else _minutes_bound(ease[key])
        for key in ("was", "bounds")
    )
    parts = ", ".join(clean(part) for part in ease["found"]["parts"].values())
    text = f"{name} eased by {by}, {now} instead of {was}, opens it: build {ease['found']['build']}"
    print_item(console, "  ", f"{text} ({parts})")


def _minutes(ease: Record) -> str:
    return f"{ease['eased']:g} min"


def _minutes_bound(bound: list[float]) -> str:
    return f"<= {bound[1]:g} min"


def _print_openings(console: Console, openings: list[Record]) -> None:
    heading(console, "Adjusters that would open it by reaching further")
    opens = [each for each in openings if each["opens"]]
    for each in opens:
        print_item(console, "  ", _opening_words(each))
    if not opens:
        print_item(console, "  ", "none of those that were searched in full")
    unknown = [each for each in openings if each["opens"] is None]
    if unknown:
        text = f"not known of {len(unknown)} of {len(openings)}: the time was up; give more with --minutes"
        print_item(console, "  ", text)


def _opening_words(each: Record) -> str:
    where = f"{spoken(each['station'])} {clean(each['part'])}"
    names = " and ".join(clean(duty) for duty in each["duties"])
    if each["adjuster"] is None:
        return f"{where}: one more piece of each thickness a side opens {names}"
    least = "" if each["least"] else " or fewer"
    steps = counted(each["steps"], "step")
    return f"{where}, {spoken(each['adjuster'])}: {steps}{least} more at each end opens {names}"


def _print_pulls(console: Console, record: Record) -> None:
    name = f"{clean(record['duty'])}: what pulls in build {record['build']}"
    heading(console, f"{name}, merit {record['merit']:.3f} by itself")
    for each in record["targets"]:
        if each["alone"] is not None and each["miss"] > each["alone"] + 0.05:
            text = f"{plain(each['target'])} is {each['miss']:.2f} tolerances off; alone "
            print_item(console, "  ", text + _off(each["alone"]))
    for pair in [pair for pair in record["pairs"] if pair["lost"] >= LEAST_LOST][:MOST_PAIRS]:
        a, b = (plain(target) for target in pair["targets"])
        first, second = (f"{miss:.2f}" for miss in pair["together"])
        text = f"{a} against {b}: at best {first} and {second} off together; alone "
        print_item(console, "  ", text + " and ".join(_off(miss) for miss in pair["alone"]))
    for each in record["without"]:
        if each["others_now"] - each["others_then"] > 0.05:
            text = f"without {plain(each['target'])} the others' merit goes from {each['others_now']:.2f}"
            print_item(console, "  ", f"{text} to {each['others_then']:.2f}")
    for each in record["limits"]:
        text = f"without the limit on {plain(each['limit'])} merit would be {each['merit']:.3f}"
        print_item(console, "  ", text)


def _off(miss: float) -> str:
    return "it can be met" if miss <= 0.05 else f"at best {miss:.2f}"


def _print_correlations(console: Console, duty: str, told: list[Record]) -> None:
    some = [each for each in told if each["rank"] <= LEAST_RANK][:MOST_CORRELATIONS]
    if not some:
        return
    heading(console, f"{clean(duty)}: bettered at each other's cost over the candidates")
    for each in some:
        a, b = (plain(target) for target in each["targets"])
        print_item(console, "  ", f"{a} and {b}: rank correlation {each['rank']:.2f}")

"""Two cars side by side for people: parts and settings to change, then every figure with which is better."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from optimiser.better import ALIKE, BETTER, WORSE
from optimiser.built_table import share_words
from optimiser.figures import shown_of
from optimiser.layout import add_figures, new_table, print_item, room
from optimiser.precision import Shown, row_places
from optimiser.rerun_table import change_lines, merit_text
from optimiser.wording import (
    bound_words,
    clean,
    figure,
    measure_of,
    plain,
    price,
    short,
    spoken,
    state_words,
)

Record = dict[str, Any]

STYLES: dict[str, str] = {BETTER: "green", WORSE: "red", ALIKE: "dim"}
SAME = "same"
LEGEND = (
    "B beside A: better or worse where a limit or target says which way; alike where nobody would notice, "
    "or errors of measuring and setting may make the difference; nothing where nothing, or not the same, "
    "is asked"
)
CAUTION = (
    "Figures are of a rigid, ideal model. Check parts and clearances on the car, lock to lock at full bump "
    "and droop; part makers' limits, local rules and an inspector come first."
)


def print_compare(console: Console, document: Record) -> None:
    """Print what ``compare.compare_document`` returns."""
    with room(console):
        for name in ("a", "b"):
            _print_head(console, name.upper(), document[name])
        _print_difference(console, document)
        _print_parts(console, document["parts"])
        for name, other in (("a", "b"), ("b", "a")):
            for duty in document[f"only_{name}"]:
                words = f"{clean(duty)}: {name.upper()} alone is judged in it, not {other.upper()}"
                console.print(Text(words, "yellow"))
        for duty, both in document["duties"].items():
            _print_duty(console, duty, both)
        console.print()
        print_item(console, "", LEGEND, "dim")
        print_item(console, "", CAUTION, "dim")


def _print_head(console: Console, name: str, head: Record) -> None:
    what = f"candidate {head['rank']} of run {clean(head['run'])}"
    if head["rank"] is None:
        what = f"today's car under the goals of run {clean(head['run'])}"
    verdict = Text("holds every limit", "green")
    if not head["feasible"]:
        verdict = Text("DOES NOT HOLD EVERY LIMIT", "bold red")
    console.print(Text.assemble((f"{name}: {what}", "bold"), ", ", verdict))
    told = [f"merit {merit_text(head['merit'])}"]
    if head["yield"] is not None:
        told.append(f"yield {share_words(head['yield'])}")
    bought = f"{price(head['price'])} to buy" if head["to_buy"] else "nothing to buy"
    told.append(bought)
    if head["changeover_minutes"] is not None:
        told.append(f"swap {short(head['changeover_minutes'])} minutes")
    console.print(Text(f"   {', '.join(told)}"))
    for words in head["lacks"]:
        print_item(console, "   ", clean(words), "red")


def _print_difference(console: Console, document: Record) -> None:
    if document["merit"] is not None:
        words = {
            BETTER: "by merit B is the better one",
            WORSE: "by merit A is the better one",
            ALIKE: "by merit they are alike",
        }[document["merit"]]
        if document["tie"]:
            words = "by merit they tie: the difference is within measuring and setting errors"
        console.print(Text(words))
    if document["inputs_differ"]:
        console.print()
        console.print(Text("the runs' inputs differ, each is judged by its own", "yellow"))
        for line in change_lines(document["inputs_differ"]):
            print_item(console, "  ", line)


def _print_parts(console: Console, parts: list[Record]) -> None:
    console.print()
    changed = [each for each in parts if each["a"] != each["b"]]
    if not changed:
        console.print(Text("the same parts"))
        return
    table = new_table()
    table.add_column("station", no_wrap=True)
    table.add_column("A", overflow="fold")
    table.add_column("B", overflow="fold")
    for each in changed:
        table.add_row(spoken(each["station"]), Text(clean(each["a"])), Text(clean(each["b"])))
    console.print(table)
    kept = [spoken(each["station"]) for each in parts if each["a"] == each["b"]]
    if kept:
        print_item(console, "", f"the same: {', '.join(kept)}", "dim")


def _print_duty(console: Console, duty: str, both: Record) -> None:
    console.print()
    merits = both["merit"]
    head = Text.assemble((clean(duty), "bold"), ": merit ")
    head.append(f"{merit_text(merits['a'])} → {merit_text(merits['b'])}")
    if merits["judged"]:
        head.append(f", {merits['judged']}", STYLES[merits["judged"]])
    if not both["asks_alike"]:
        head.append(", not asked alike", "yellow")
    console.print(head)
    console.print(_settings_table(both))
    for each in both["rods"]:
        side = "right tie rod" if each["rod"] == "tie_rod_right" else "tie rod"
        print_item(console, f"{side}, A to B: ", each["words"])
    asked = [m for m in both["measures"] if m["asked"]]
    others = [m for m in both["measures"] if not m["asked"]]
    if asked:
        console.print()
        console.print(_asked_table(asked))
    if others:
        console.print()
        console.print(_others_table(others))


def _settings_table(both: Record) -> Table:
    """What to set, and what follows from it."""
    lines = [(each, *_set_words(each)) for each in both["settings"]]
    follow = [
        (each["what"], each["a"], each["b"], _differs(each["a"], each["b"]))
        for each in both["solved"]
    ]
    table = new_table()
    table.add_column("setting", overflow="fold", min_width=20, max_width=26)
    table.add_column("A", overflow="fold", min_width=9)
    table.add_column("B", overflow="fold", min_width=9)
    changes = [*(line[-1] for line in lines), *(line[-1] for line in follow)]
    width = max((len(text) for text in changes), default=0)
    table.add_column("change", no_wrap=True, min_width=max(width, len("change")))
    for each, a, b, change in lines:
        name = f"{spoken(each['station'])}: {spoken(each['name'])}"
        table.add_row(Text(name), Text(a), Text(b), Text(change, "dim" if change == SAME else ""))
    for what, a, b, change in follow:
        table.add_row(Text(what, "dim"), Text(a), Text(b), Text(change, "dim"))
    return table


def _set_words(each: Record) -> tuple[str, str, str]:
    """How both set one thing, and how it moves from one to the other."""
    a, b = (clean(each[name] or "-") for name in ("a", "b"))
    return a, b, _moved(a, b, each["difference"])


def _moved(a: str, b: str, difference: float | None) -> str:
    if a == b:
        return SAME
    if difference is None or not difference:
        return "set anew"
    return f"{'+' if difference > 0.0 else ''}{short(difference)} mm"


def _differs(a: str, b: str) -> str:
    """How one printed figure becomes another; empty where they are words."""
    if a == b:
        return SAME
    try:
        change = float(b) - float(a)
    except ValueError:
        return ""
    return f"{change:+.{len(a.partition('.')[2])}f}"


def _asked_table(measures: list[Record]) -> Table:
    rows = [row for measure in measures for row in _rows(measure)]
    table = new_table()
    table.add_column("asked for", overflow="fold", min_width=22)
    add_figures(table, "A", [row[1] for row in rows])
    add_figures(table, "B", [row[2] for row in rows])
    table.add_column("B is", no_wrap=True, min_width=6)
    table.add_column("", overflow="fold")
    for label, a, b, judged, ask in rows:
        table.add_row(Text(label), Text(a), Text(b), Text(judged, STYLES.get(judged, "")), ask)
    return table


Line = tuple[str, str, str, str, Text]


def _rows(measure: Record) -> list[Line]:
    """The lines of one measure: one, or one for each point of a curve."""
    key, judged = measure["key"], measure["judged"] or ""
    label = with_comma(plain(key), measure["unit"])
    a, b = measure["a"], measure["b"]
    points = max(len(v) if isinstance(v, list) else 0 for v in (a, b))
    places = _digits(measure)
    if not points:
        return [(label, *_texts(measure), judged, _ask(measure))]
    asks = measure["asked_b"] or measure["asked_a"]
    lines: list[Line] = []
    for i in range(points):
        at = f"{plain(key)} at {short(asks['at'][i])} deg"
        aim = Text(f"aim {short(asks['wanted'][i])} +/- {short(asks['tolerance'])}", "dim")
        texts = [
            figure(key, v[i], places=places) if isinstance(v, list) and i < len(v) else "-"
            for v in (a, b)
        ]
        lines.append((with_comma(at, measure["unit"]), texts[0], texts[1], judged, aim))
    return lines


def with_comma(words: str, unit: str) -> str:
    """A measure's words with its unit behind them."""
    return f"{words}, {unit}" if unit else words


def _digits(measure: Record) -> int:
    """Decimals of both sides' figures, alike so that they can be compared."""
    shown: list[Shown] = []
    for name in ("a", "b"):
        asks = measure[f"asked_{name}"] or {}
        entry = {"value": measure[name], "bounds": asks.get("bounds", [])}
        shown += shown_of(entry, measure["bands"][name])
    return row_places(measure_of(measure["key"]), shown)


def _texts(measure: Record) -> tuple[str, str]:
    """Both sides' figures."""
    places = _digits(measure)

    def text(value: Any) -> str:
        every = value if isinstance(value, list) else [value]
        return " ".join(figure(measure["key"], one, places=places) for one in every)

    return text(measure["a"]), text(measure["b"])


def _ask(measure: Record) -> Text:
    """What is asked, of each side where that differs, and which one fails."""
    asks = {name: measure[f"asked_{name}"] or {} for name in ("a", "b")}
    if measure["asks_alike"]:
        text = Text(_ask_words(measure["key"], asks["a"]), "dim")
    else:
        words = [_ask_words(measure["key"], asks[n]) or "not asked" for n in ("a", "b")]
        text = Text(f"A: {words[0]}\nB: {words[1]}", "dim")
    for name, ask in asks.items():
        if ask.get("limit") is False:
            text.append(f"\n{name.upper()} FAILS", "bold red")
    for line in _state_lines(*(state_words(ask.get("state")) for ask in asks.values())):
        text.append(f"\n{line}", "dim")
    return text


def _state_lines(a: str, b: str) -> list[str]:
    """In which state each side's limit was decided; once where that is the same."""
    if a == b:
        return [a] if a else []
    return [f"{name}: {words}" for name, words in (("A", a), ("B", b)) if words]


def _ask_words(key: str, asks: Record) -> str:
    words = [bound_words(key, bound) for bound in asks.get("bounds", ())]
    if "wanted" in asks:
        wanted = asks["wanted"]
        aim = ", ".join(map(short, wanted)) if isinstance(wanted, list) else short(wanted)
        words.append(f"aim {aim} +/- {short(asks['tolerance'])}")
    return ", ".join(words)


def _others_table(measures: list[Record]) -> Table:
    table = new_table()
    table.add_column("not asked for", overflow="fold", min_width=22)
    cells = [_texts(measure) for measure in measures]
    for head, column in zip("AB", zip(*cells, strict=True), strict=True):
        add_figures(table, head, list(column))
    for measure, (a, b) in zip(measures, cells, strict=True):
        label = with_comma(plain(measure["key"]), measure["unit"])
        table.add_row(Text(label, "dim"), Text(a), Text(b))
    return table

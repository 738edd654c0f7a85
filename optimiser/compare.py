"""Two cars side by side: candidates of one run or of two, or a candidate and today's car.

What to change from the first to the second, and every figure of both with which is better. Each is judged by
the goals of its own run; a direction is told only where both ask alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from goals.parts import Station
from kinematics.measures import MEASURES
from optimiser.bench import rod_change
from optimiser.better import ask_alike, asked, judge, judge_merits
from optimiser.changes import changes
from optimiser.names import RunError
from optimiser.problem import Problem
from optimiser.ranking import Row, feasible, merit, minutes
from optimiser.runs import Run, place_of
from optimiser.settings import PIECES, setting_text, solved_texts
from optimiser.signature import Signatures, plain_data
from optimiser.space import AS_IS, Build
from optimiser.standing import today_row
from optimiser.swap_sheet import ORDER
from optimiser.ties import tie_groups
from optimiser.wording import lacks, measure_of

Record = dict[str, Any]

TODAY = "today"
FORM = "RUN#N, a run and a place in its ranking, or 'today'"


@dataclass(frozen=True)
class Side:
    """One of two cars: a ledger row (today's car as one), the inputs that it is judged by, and its name.

    ``place`` is its place in the ranking, None of today's car.
    """

    run: str
    place: int | None
    problem: Problem
    row: Row

    @property
    def label(self) -> str:
        """How it was asked for."""
        return TODAY if self.place is None else f"{self.run}#{self.place}"

    @cached_property
    def build(self) -> Build:
        """Its parts."""
        if self.place is None:
            return self.problem.space.today()
        return self.problem.space.build(self.row["build"])

    def record(self, duty: str) -> Record:
        """What is known of it in a duty."""
        found: Record = self.row["duties"][duty]
        return found

    def bands(self, duty: str) -> Record:
        """The 5 to 95 percent bands of its figures, where it was built many times."""
        built = self.row.get("as_built", {}).get("duties", {})
        found: Record = built.get(duty, {}).get("bands", {})
        return found


def sides(one: str, other: str, runs: Path) -> tuple[Side, Side]:
    """The two cars of ``RUN#N`` or ``today``.

    Today's car stands under the inputs of the other one's run. Raises RunError where a text is neither, both
    are today's, a run is not there or its ranking has no such place.
    """
    texts = one, other
    if all(text == TODAY for text in texts):
        raise RunError(f"both are today's car: one has to be a candidate, {FORM}")
    found = [None if text == TODAY else _candidate(text, runs) for text in texts]
    first, second = found
    if first is None:
        assert second is not None
        first = _today(second)
    elif second is None:
        second = _today(first)
    assert second is not None
    return first, second


def _candidate(text: str, runs: Path) -> Side:
    name, mark, place = text.rpartition("#")
    if not mark or not name or not (place.isascii() and place.isdigit()):
        raise RunError(f"'{text}' is no candidate: {FORM}")
    run = Run.find(runs, name)
    problem = run.load()
    ranked = run.ranked(problem.goals.search.keep)
    return Side(run.name, int(place), problem, place_of(run, ranked, int(place)))


def _today(other: Side) -> Side:
    return Side(other.run, None, other.problem, today_row(other.problem))


def compare_document(one: Side, other: Side) -> Record:
    """What ``compare --json`` prints: ``a`` and ``b`` are the cars, ``judged`` is how b stands to a."""
    shared = [duty for duty in one.row["duties"] if duty in other.row["duties"]]
    differ = [] if one.problem is other.problem else changes(one.problem, other.problem)
    same_goals = all(_asks_alike(one, other, duty) for duty in shared)
    same_duties = set(one.row["duties"]) == set(other.row["duties"])
    tied = _tied(one, other)
    judged = None
    if same_goals and same_duties:
        judged = judge_merits(_merit(one), _merit(other), tied=tied)
    return {
        "a": _head(one),
        "b": _head(other),
        "inputs_differ": [change.record for change in differ],
        "merit": judged,
        "tie": tied,
        "parts": list(_parts(one, other)),
        "only_a": [duty for duty in one.row["duties"] if duty not in shared],
        "only_b": [duty for duty in other.row["duties"] if duty not in shared],
        "duties": {duty: _duty(one, other, duty) for duty in shared},
    }


def _merit(side: Side) -> float | None:
    return merit(side.row)


def _head(side: Side) -> Record:
    built = side.row.get("as_built", {})
    return {
        "label": side.label,
        "run": side.run,
        "rank": side.place,
        "car": side.problem.car.name,
        "feasible": feasible(side.row),
        "lacks": [
            lacks(duty, record)
            for duty, record in side.row["duties"].items()
            if not record["feasible"]
        ],
        "merit": merit(side.row),
        "yield": built.get("yield"),
        "yield_error": built.get("yield_error"),
        "price": side.row["price"],
        "to_buy": side.row["to_buy"],
        "changeover_minutes": minutes(side.row),
    }


def _tied(one: Side, other: Side) -> bool | None:
    """Whether the merits cannot be told apart car by car; None where no cars can be told of both."""
    built = [side.row.get("as_built") for side in (one, other)]
    if any(record is None or "merits" not in record for record in built):
        return None
    if Signatures(one.problem).drawn != Signatures(other.problem).drawn:
        return None
    first, second = tie_groups(built)
    return first == second


def _asks_alike(one: Side, other: Side, duty: str) -> bool:
    """Whether both are judged alike in a duty."""
    asks = [plain_data(side.problem.goals.duties[duty]) for side in (one, other)]
    return bool(asks[0] == asks[1])


def _parts(one: Side, other: Side) -> Iterator[Record]:
    """Part by station, in the order in which they are fitted."""
    for station in ORDER:
        pair = [side.row["parts"].get(station.value, AS_IS) for side in (one, other)]
        if any(station in side.build.parts for side in (one, other)):
            yield {"station": station.value, "a": pair[0], "b": pair[1]}


def _duty(one: Side, other: Side, duty: str) -> Record:
    pair = one.record(duty), other.record(duty)
    alike = _asks_alike(one, other, duty)
    merits = [record["merit"] if record["feasible"] else None for record in pair]
    return {
        "asks_alike": alike,
        "feasible": {"a": pair[0]["feasible"], "b": pair[1]["feasible"]},
        "merit": {
            "a": merits[0],
            "b": merits[1],
            "judged": judge_merits(merits[0], merits[1]) if alike else None,
        },
        "settings": list(_settings(one, other, duty)),
        "solved": list(_solved(*pair)),
        "rods": list(_rods(one, other, duty)),
        "measures": list(_measures(one, other, duty)),
    }


def _settings(one: Side, other: Side, duty: str) -> Iterator[Record]:
    """Everything to set, in the order in which a person sets it, and by how much it moves."""
    pair = [side.record(duty).get("settings", {}) for side in (one, other)]
    for station in ORDER:
        blocks = [settings.get(station.value, {}) for settings in pair]
        names = dict.fromkeys(n for block in blocks for n in block if n not in PIECES)
        for name in _in_order(one, other, station, list(names)):
            texts = [setting_text(b, name) if name in b else None for b in blocks]
            values = [block.get(name) for block in blocks]
            numbers = all(isinstance(value, (int, float)) for value in values)
            same_part = one.row["parts"].get(station.value) == other.row["parts"].get(station.value)
            yield {
                "station": station.value,
                "name": name,
                "a": texts[0],
                "b": texts[1],
                "difference": values[1] - values[0] if numbers and same_part else None,
            }


def _in_order(one: Side, other: Side, station: Station, names: list[str]) -> list[str]:
    """Settings of a station in the parts file's order: the ledger sorts its keys."""
    known: dict[str, int] = {}
    for side in (one, other):
        part = side.build.parts.get(station)
        for name in [] if part is None else [*part.choices, *part.adjusts]:
            known.setdefault(name, len(known))
    return sorted(names, key=lambda name: (known.get(name, len(known)), name))


def _solved(one: Record, other: Record) -> Iterator[Record]:
    """What follows from the settings, a line each."""
    for words, texts in solved_texts({"a": one, "b": other}):
        yield {"what": words, **texts}


def _rods(one: Side, other: Side, duty: str) -> Iterator[Record]:
    """How the tie rods come from one to the other; flats where both have one kit."""
    pair = [side.record(duty).get("solved") for side in (one, other)]
    if pair[0] is None or pair[1] is None:
        return
    station = Station.TIE_ROD.value
    if one.row["parts"].get(station, AS_IS) != other.row["parts"].get(station, AS_IS):
        return
    for key in ("tie_rod", "tie_rod_right"):
        if key in pair[0] and key in pair[1]:
            lengths = (pair[0][key]["length"], pair[1][key]["length"])
            longer = None if None in lengths else lengths[1] - lengths[0]
            words = rod_change(pair[0][key], pair[1][key])
            yield {"rod": key, "longer": longer, "words": words}


def _measures(one: Side, other: Side, duty: str) -> Iterator[Record]:
    """Every figure of both, in the catalogue's order."""
    pair = [side.record(duty).get("measures", {}) for side in (one, other)]
    order = list(MEASURES)
    keys = dict.fromkeys([*pair[0], *pair[1]])
    for key in sorted(keys, key=lambda key: order.index(measure_of(key))):
        entries = [measures.get(key) for measures in pair]
        shown = entries[1] or entries[0]
        assert shown is not None
        bands = one.bands(duty).get(key), other.bands(duty).get(key)
        first, second = entries
        both = first is not None and second is not None
        found: Record = {
            "key": key,
            "unit": shown["unit"],
            "a": None if first is None else first["value"],
            "b": None if second is None else second["value"],
            "asked": any(entry is not None and asked(entry) for entry in entries),
            "asks_alike": both and ask_alike(first or {}, second or {}),
            "judged": judge(key, first, second, bands) if first and second else None,
        }
        for name, entry in (("a", first), ("b", second)):
            told = {} if entry is None else _ask_of(entry)
            found[f"asked_{name}"] = told or None
        found["bands"] = {"a": bands[0], "b": bands[1]}
        yield found


def _ask_of(entry: Record) -> Record:
    """What is asked of a figure, and whether it holds."""
    names = ("bounds", "limit", "state", "wanted", "tolerance", "at", "miss")
    if not asked(entry):
        return {}
    return {name: entry[name] for name in names if entry.get(name) is not None}

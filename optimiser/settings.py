"""A candidate's parts and positions in shop words, for tables and the bench sheet alike."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from goals.parts import Part, Position, Station
from optimiser.channels import numbers_of
from optimiser.precision import as_set, fixed
from optimiser.space import AS_IS, Build
from optimiser.wording import clean, nearest_words, price, shift_words, short, spoken, stop_words

Record = dict[str, Any]

PIECES = ("pieces_under", "pieces_above")
STACK = "under_joint"


@dataclass(frozen=True)
class Setting:
    """One thing to set, with what each duty sets it to."""

    station: str
    name: str
    texts: dict[str, str]

    @property
    def differs(self) -> bool:
        """Whether the duties set it differently."""
        return differ(self.texts)


def differ(texts: Mapping[str, str]) -> bool:
    """Whether duties have different texts; a duty that has none does not count."""
    return len({text for text in texts.values() if text != "-"}) > 1


def source_of(part: Part, currency: str) -> str:
    """Where a part comes from."""
    if part.id == AS_IS:
        return "as it is"
    if part.owned:
        return "on hand" if part.today else "in the box"
    if part.today:
        return "on the car"
    return f"buy, {price(part.price, currency)}" if part.price else "get"


def part_of(build: Build, station: str) -> Part | None:
    """The part at a station, None where a duty sets something that no part carries."""
    return build.parts.get(Station(station))


def part_name(part: Part) -> str:
    """What the shop calls a part."""
    return clean(part.name) if part.name else spoken(part.id)


def settings_of(build: Build, duties: Mapping[str, Record]) -> list[Setting]:
    """Everything to set, in the parts' own order."""
    names: dict[tuple[str, str], None] = {}
    for record in duties.values():
        for station, name, _ in each_setting(build, record):
            names[station, name] = None
    order = list(Station)
    found = []
    for station, name in sorted(names, key=lambda pair: order.index(Station(pair[0]))):
        texts = {
            duty: setting_text(record["settings"][station], name)
            if name in record.get("settings", {}).get(station, {})
            else "-"
            for duty, record in duties.items()
        }
        found.append(Setting(station, name, texts))
    return found


def each_setting(build: Build, record: Record) -> Iterator[tuple[str, str, Record]]:
    """Station, name and the station's block of one duty's record; pieces belong to their stack."""
    settings = record.get("settings", {})
    for station in sorted(settings, key=list(Station).index):
        part = part_of(build, station)
        listed = [*part.choices, *part.adjusts] if part is not None else []
        names = [name for name in settings[station] if name not in PIECES]
        # the ledger sorts its keys: give them back the order of the parts file
        known = {name: place for place, name in enumerate(listed)}
        for name in sorted(names, key=lambda n: known.get(n, len(known))):
            yield station, name, settings[station]


def setting_text(block: Record, name: str) -> str:
    """A position in a line: '16 mm', 'plate_10', '6 under (4 + 2), 2 above (2)'."""
    value = block[name]
    if name == STACK and PIECES[0] in block:
        under, above = (block[key] for key in PIECES)
        return f"{short(value)} under{pieces(under)}, {short(sum(above))} above{pieces(above)}"
    return f"{short(value)} mm" if isinstance(value, (int, float)) else str(value)


def pieces(heights: list[float]) -> str:
    """Which pieces make a height, first the one against the joint."""
    return f" ({' + '.join(short(h) for h in heights)})" if heights else ""


def refined_words(duty: str, record: Record) -> str:
    """What was set finer than the grid's steps, from where, and what that gave; empty where nothing was."""
    refined = record.get("refined")
    if refined is None:
        return ""
    moved = [
        f"{spoken(station)} {spoken(name)} from {short(was)} to "
        f"{short(record['settings'][station][name])} mm"
        for station, block in refined["from"].items()
        for name, was in block.items()
    ]
    merits = [fixed(merit, 4) for merit in (refined["grid_merit"], record["merit"])]
    return (
        f"{clean(duty)} is refined below the grid step: {', '.join(moved)}; "
        f"merit from {merits[0]} to {merits[1]}"
    )


def setting_note(part: Part | None, name: str, value: Any) -> str:
    """What is read off on the car, or what a position means."""
    if part is None:
        return "below the measured ride height" if name == "lowered_by" else ""
    if name in part.adjusts:
        adjuster = part.adjusts[name]
        return clean(adjuster.reads or adjuster.note or "")
    if name in part.choices and value in part.choices[name]:
        return position_note(part.choices[name][value])
    return ""


def position_note(position: Position) -> str:
    """A named position's note, or else what it does."""
    if position.note:
        return clean(position.note)
    words = [f"{spoken(point)} {shift_words(by)}" for point, by in position.moves.items()]
    for channel, value in numbers_of(position.adds).items():
        words.append(
            f"{spoken(channel.replace('.', ' '))} {'+' if value > 0 else ''}{short(value)} mm"
        )
    return ", ".join(words)


def solved_texts(duties: Mapping[str, Record]) -> list[tuple[str, dict[str, str]]]:
    """What follows from the settings, a line each: (words, duty → text)."""
    rods = [key for key in ("tie_rod", "tie_rod_right") if _any(duties, key)]
    lines = [
        ("lowered by, mm", _each(duties, lambda s: as_set(s["lowered_by"], 1))),
        ("toe each wheel, deg", _each(duties, lambda s: as_set(s["toe"], 2))),
    ]
    for key in rods:
        side = "" if len(rods) == 1 else (" right" if key.endswith("right") else " left")
        lines += _rod_texts(duties, key, side)
    if _any(duties, "bar_link"):
        lines += _bar_texts(duties)
    lines.append(("steering stop, mm of rack", _each(duties, lambda s: fixed(s["stop"], 1))))
    lines.append(("stop set by", _each(duties, lambda s: stop_words(s["stop_set_by"]))))
    if _any(duties, "tyre_nearest"):
        nearest = _each(duties, lambda s: nearest_words(s.get("tyre_nearest")))
        lines.append(("tyre comes nearest to", nearest))
    return lines


def _rod_texts(
    duties: Mapping[str, Record], key: str, side: str
) -> list[tuple[str, dict[str, str]]]:
    def told(name: str, places: int) -> dict[str, str]:
        return _each(duties, lambda s: _or_dash(s[key].get(name), places))

    lines = [(f"rod{side} eye to eye, mm", told("length", 1))]
    if any("adjuster" in (d.get("solved") or {}).get(key, {}) for d in duties.values()):
        adjusters = _each(
            duties,
            lambda s: "none fits" if s[key].get("adjuster") is None else short(s[key]["adjuster"]),
        )
        lines.append((f"adjuster{side}, mm", adjusters))
        lines.append((f"threads in{side}, each end, mm", told("engagement", 1)))
        lines.append((f"threads showing{side}, mm", told("threads_showing", 1)))
    return lines


def _or_dash(value: float | None, places: int) -> str:
    return "-" if value is None else fixed(value, places)


def _bar_texts(duties: Mapping[str, Record]) -> list[tuple[str, dict[str, str]]]:
    def told(key: str) -> dict[str, str]:
        return _each(duties, lambda s: _or_dash(s["bar_link"][key], 1))

    left, right, free = told("left"), told("right"), told("right_free")
    if left == right == free:
        return [("bar links, mm between joints", left)]
    return [
        ("bar link left, mm between joints", left),
        ("bar link right, mm between joints", right),
        ("the same for no preload", free),
    ]


def _any(duties: Mapping[str, Record], key: str) -> bool:
    return any(key in (record.get("solved") or {}) for record in duties.values())


def _each(duties: Mapping[str, Record], read: Any) -> dict[str, str]:
    return {
        duty: read(record["solved"]) if record.get("solved") else "-"
        for duty, record in duties.items()
    }

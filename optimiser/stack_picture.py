"""A stack of loose pieces on its stud, drawn from the side: pieces to scale, each with its thickness."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from optimiser.bench import DutyBench
from optimiser.picture import Label, Picture, Shape, stroke
from optimiser.settings import PIECES, STACK, each_setting, part_name, part_of
from optimiser.wording import clean, short, spoken

Pile = tuple[Sequence[float], Sequence[float]]

WIDTH = 380.0
NAME = 70.0  # px: the duties' names
FIXED = {"seat": 34.0, "joint": 40.0, "nut": 30.0}  # px of what is not to scale
ROW, HIGH = 66.0, 28.0
MOST_SCALE = 7.0  # px a mm


def stack_pictures(benches: Mapping[str, DutyBench]) -> Iterator[Picture]:
    """A picture of each stack of a candidate, a row for each way in which the duties pile it."""
    piles: dict[str, dict[str, Pile]] = {}
    titles: dict[str, str] = {}
    for duty, bench in benches.items():
        for station, name, block in each_setting(bench.build, bench.record):
            part = part_of(bench.build, station)
            if name == STACK and PIECES[0] in block and part is not None:
                under, above = (tuple(block[key]) for key in PIECES)
                piles.setdefault(station, {})[duty] = (under, above)
                titles[station] = f"Stack, {spoken(station)}: {part_name(part)}"
    for station, by_duty in piles.items():
        yield stack_picture(titles[station], _alike(by_duty))


def _alike(by_duty: Mapping[str, Pile]) -> dict[str, Pile]:
    """Duties that pile alike share a row."""
    rows: dict[Pile, list[str]] = {}
    for duty, pile in by_duty.items():
        rows.setdefault(pile, []).append(clean(duty))
    return {
        "each side" if len(rows) == 1 else ", ".join(duties): pile for pile, duties in rows.items()
    }


def stack_picture(title: str, rows: Mapping[str, Pile]) -> Picture:
    """Piles by the words that stand before them; pieces are told from the joint outward, mm."""
    longest = max(sum(under) + sum(above) for under, above in rows.values())
    room = WIDTH - NAME - sum(FIXED.values()) - 8.0
    scale = min(MOST_SCALE, room / longest) if longest > 0.0 else MOST_SCALE
    shapes: list[Shape] = []
    for number, (words, pile) in enumerate(rows.items()):
        shapes += _row(words, pile, 24.0 + number * ROW, scale)
    told = "; ".join(f"{words}: {_told(pile)}" for words, pile in rows.items())
    return Picture(WIDTH, ROW * len(rows) + 8.0, title, f"{told}.", tuple(shapes))


def _told(pile: Pile) -> str:
    under, above = (" + ".join(map(short, heights)) or "nothing" for heights in pile)
    return f"under the joint {under} mm, above it {above} mm, each from the joint outward"


def _row(words: str, pile: Pile, top: float, scale: float) -> Iterator[Shape]:
    under, above = pile
    parts = [("seat", FIXED["seat"], "seat")]
    parts += [(short(h), h * scale, "piece") for h in reversed(under)]
    parts.append(("joint", FIXED["joint"], "joint"))
    parts += [(short(h), h * scale, "piece") for h in above]
    parts.append(("nut", FIXED["nut"], "nut"))
    yield Label((2.0, top + HIGH / 2.0 + 4.0), words, "dim-text")
    x = NAME
    middle = top + HIGH / 2.0
    end = NAME + sum(wide for _, wide, _ in parts)
    yield stroke([(NAME - 6.0, middle), (end + 6.0, middle)], "stud")
    lifted = False
    for text, wide, role in parts:
        high = {"seat": HIGH, "joint": 0.8 * HIGH, "nut": 0.7 * HIGH}.get(role, HIGH)
        yield stroke(_box(x, middle, wide, high), role, closed=True)
        across = x + wide / 2.0
        if role == "piece":
            # narrow neighbours have their figures at two levels
            lifted = not lifted and wide < 7.0 * len(text) + 3.0
            yield Label((across, top - 3.0 - (10.0 if lifted else 0.0)), text, "dim-text", "middle")
        else:
            yield Label((across, middle + 4.0), text, "on-part", "middle")
        x += wide
    start = NAME + FIXED["seat"]
    wide = sum(under) * scale
    level = top + HIGH + 13.0
    if under:
        yield Label((start + wide / 2.0, level), f"under: {short(sum(under))}", "note", "middle")
    if above:
        start += wide + FIXED["joint"]
        wide = sum(above) * scale
        yield Label((start + wide / 2.0, level), f"above: {short(sum(above))}", "note", "middle")


def _box(x: float, middle: float, wide: float, high: float) -> list[tuple[float, float]]:
    low, top = middle + high / 2.0, middle - high / 2.0
    return [(x, top), (x + wide, top), (x + wide, low), (x, low)]

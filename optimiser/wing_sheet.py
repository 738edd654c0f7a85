"""What the printed sheet shows and where: a page to set the car by, and a page to read and write down.

Blocks are those of the text sheet; duties that read alike stand side by side in one table, two at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from goals.parts import Part
from kinematics.measures.steer import turns
from kinematics.scene import Scene
from optimiser.adjuster_effects import effect_grid, effects_of
from optimiser.bench import DutyBench, tightest
from optimiser.built_table import share_words
from optimiser.duty_sheet import (
    alignment_blocks,
    gauge_blocks,
    lowered_words,
    plate_blocks,
    ride_height_blocks,
    rod_warning,
    stop_blocks,
    stop_setting,
    tie_rod_blocks,
)
from optimiser.fitted_sheet import fitted_blocks
from optimiser.layout import chunks
from optimiser.notice import fails, model_notice
from optimiser.paper import Block, Grid, Heading, Items, Loud, Words
from optimiser.precision import fixed
from optimiser.problem import Problem
from optimiser.ranking import Row, feasible, merit
from optimiser.settings import (
    Setting,
    differ,
    part_of,
    setting_note,
    settings_of,
    solved_texts,
)
from optimiser.sheet import (
    CAUTIONS,
    HASH_LENGTH,
    SIGNED,
    Sheet,
    fastener_blocks,
    mark,
    not_checked,
    part_blocks,
    refusal_blocks,
)
from optimiser.sheet_pdf import Element, Leaf, Strip, as_pdf
from optimiser.space import Build
from optimiser.stack_picture import stack_pictures
from optimiser.swap_sheet import swap_blocks
from optimiser.wording import clean, plain, spoken

Record = dict[str, Any]
Section = Callable[[DutyBench, Scene], Iterator[Block]]

TICK = "__"  # a narrow place to tick
BESIDE = 2  # duties in one table
SAFETY = (
    "Do not drive on this sheet's word: rigid, ideal model. Gauge and plates decide: makers' limits, "
    "local rules, a licensed engineer or inspector come first."
)
NARROW = "____"
MOST_EFFECTS = 7
# Of what follows from the settings, what has no blank on the second page.
ALSO = ("bar link", "the same for no preload")
# Rows and columns of the text sheet that follow from others, and find no room here.
LEFT_OUT = {
    "handwheel turns each way",
    "threads showing, each end, count",
    "one flat, mm of length",
    "one flat, deg of toe",
    "inner, deg",
    "toe-out, deg",
}
SHORTER = {
    "measured left": "left",
    "measured right": "right",
    "measured, left turn": "left turn",
    "measured, right turn": "right turn",
    "outer, left turn": "left turn",
    "outer, right turn": "right turn",
}


def wing_pdf(sheet: Sheet, paper: str) -> bytes:
    """The printed sheet on a paper of :data:`optimiser.sheet_pdf.PAPERS`."""
    return wing_pdfs(sheet, (paper,))[paper]


def wing_pdfs(sheet: Sheet, papers: Iterable[str]) -> dict[str, bytes]:
    """The printed sheet on several papers: what stands on it is worked out once."""
    problem, build, row, benches = sheet.problem, sheet.build, sheet.row, sheet.benches
    parts = [
        list(_to_set(problem, build, row, benches, sheet.model_check)),
        list(_to_read(problem, build, benches)),
    ]
    return {paper: as_pdf(_leaf(sheet), parts, paper) for paper in papers}


def _leaf(sheet: Sheet) -> Leaf:
    """Head and foot of every page."""
    hashes = "  ".join(f"{clean(name)} {text[:HASH_LENGTH]}" for name, text in sheet.inputs.items())
    return Leaf(
        clean(sheet.problem.car.name),
        f"run {clean(sheet.run)}, candidate {sheet.place}, build {sheet.row['build']}",
        SAFETY,
        f"shimwright {clean(sheet.version)}  inputs: {hashes}",
        not feasible(sheet.row),
    )


def _to_set(
    problem: Problem,
    build: Build,
    row: Row,
    benches: dict[str, DutyBench],
    model_check: Record | None,
) -> Iterator[Element]:
    yield from refusal_blocks(row, benches)
    if fails(model_check):
        yield Loud((model_notice(model_check),))
    yield Words(_merits(problem, row, benches))
    yield from part_blocks(problem, build, row)
    yield Heading("Settings")
    yield _settings(build, row["duties"])
    if len(benches) > 1:
        yield Words("* is set anew at every swap.")
    yield from _rods_and_stop(row, benches)
    drawings = list(stack_pictures(benches))
    for some in (drawings[i : i + 2] for i in range(0, len(drawings), 2)):
        yield Strip(tuple((picture,) for picture in some))
    yield from _swaps(problem, build, row, benches)


def _settings(build: Build, duties: dict[str, Record]) -> Grid:
    """Every position as a person measures it, what the stop hangs on, and boxes to tick."""
    lines = []
    for setting in settings_of(build, duties):
        part = part_of(build, setting.station)
        name = f"{mark(setting.differs)}{spoken(setting.station)}: {spoken(setting.name)}"
        values = {
            r["settings"].get(setting.station, {}).get(setting.name)
            for r in duties.values()
            if "settings" in r
        }
        notes = {setting_note(part, setting.name, value) for value in values if value is not None}
        texts = (
            clean(setting.texts[duty]) + _at_an_end(part, setting, record)
            for duty, record in duties.items()
        )
        lines.append((name, *texts, "; ".join(sorted(filter(None, notes))), TICK, TICK))
    for words, texts_of in solved_texts(duties):
        if words.startswith(ALSO):
            lines.append((mark(differ(texts_of)) + words, *texts_of.values(), "", "", ""))
    return Grid(
        ("setting", *map(clean, duties), "as measured on the car", "left", "right"), tuple(lines)
    )


def _rods_and_stop(row: Row, benches: dict[str, DutyBench]) -> Iterator[Element]:
    """What may not be missed of tie rods, stop and ride height, duty by duty."""
    built = row.get("as_built", {}).get("duties", {})
    for duty, bench in benches.items():
        if bench.scene is None:
            continue
        head = f"{clean(duty)}: " if len(benches) > 1 else ""
        warning = rod_warning(bench)
        if warning:
            yield Loud((f"{head}{warning}",))
        text = f"{head}{stop_setting(bench, bench.scene)} {lowered_words(bench)}"
        if duty in built:
            low, high = (fixed(end, 1) for end in built[duty]["stop_band"])
            if low != high:
                text += (
                    f" As built the stop comes to {low} to {high} mm in 9 cars of 10: begin low."
                )
        yield Words(text)


def _at_an_end(part: Part | None, setting: Setting, record: Record) -> str:
    """Said where an adjuster has nothing left one way."""
    if part is None or setting.name not in part.adjusts or "settings" not in record:
        return ""
    low, high = part.adjusts[setting.name].range
    value = record["settings"].get(setting.station, {}).get(setting.name)
    return ", an end" if value is not None and (value <= low or value >= high) else ""


def _flats(bench: DutyBench, scene: Scene) -> str:
    """What one flat of the tie rods does; empty without a kit."""
    rows = {
        line[0]: line[1:]
        for block in tie_rod_blocks(bench, scene)
        if isinstance(block, Grid)
        for line in block.rows
    }
    length, toe = (
        [cell for cell in rows.get(f"one flat, {what}", ()) if cell]
        for what in ("mm of length", "deg of toe")
    )
    return (
        f"{length[0]} mm of length, {' and '.join(dict.fromkeys(toe))} deg of toe" if length else ""
    )


def _merits(problem: Problem, row: Row, benches: dict[str, DutyBench]) -> str:
    goals = clean(problem.goals.name or "")
    worst = merit(row)
    text = f"{goals}. " if goals else ""
    if worst is None:
        return text.strip()
    each = ", ".join(f"{clean(d)} {fixed(r['merit'], 3)}" for d, r in row["duties"].items())
    text += f"Merit {fixed(worst, 3)} ({each}); 0 is on every target, 1 on the edge of tolerance."
    built = row.get("as_built")
    for m in tightest(benches.values())[:1]:
        text += f" Tightest: {clean(m.duty)}, {plain(m.key)} {m.value_words()}, {m.hand_words()} in hand."
    if built is not None:
        text += (
            f" Of cars built with the errors told {share_words(built['yield'])} hold every limit."
        )
    return text


def _swaps(
    problem: Problem, build: Build, row: Row, benches: dict[str, DutyBench]
) -> Iterator[Element]:
    """The swaps, there and back beside each other."""
    columns: list[tuple[Block, ...]] = []
    for block in swap_blocks(problem, build, row, benches):
        if isinstance(block, Heading):
            columns.append((block,))
        elif isinstance(block, Items) and columns:
            columns[-1] += (block,)
            if len(columns) % BESIDE == 0:
                yield Strip(tuple(columns))
                columns = []
        elif isinstance(block, Words) and not columns:
            yield Heading("Swap between duties")
            yield block
        else:
            # what fewer minutes would give is for the desk, not for the wing
            return
    if columns:
        yield Strip(tuple(columns))


def _to_read(problem: Problem, build: Build, benches: dict[str, DutyBench]) -> Iterator[Element]:
    strut = problem.car.suspension == "strut"
    served = [bench for bench in benches.values() if bench.scene is not None]
    torque: tuple[Block, ...] = tuple(_narrow(fastener_blocks(build, strut)))
    cautions: tuple[Block, ...] = (Heading("Cautions"), Items(CAUTIONS, boxed=True))
    unknown: tuple[Block, ...] = (
        Heading("Not checked"),
        Words("; ".join(not_checked(strut)) + "."),
    )
    # a table by itself, too, says whose it is, where there are several
    named = len(served) > 1
    for names in chunks([bench.duty for bench in served], BESIDE):
        some = [benches[name] for name in names]
        checks = _side_by_side(
            some, (ride_height_blocks, alignment_blocks, tie_rod_blocks, _stop, _fitted), named
        )
        gauge = _side_by_side(some, (gauge_blocks,), named)
        flats = dict.fromkeys(_flats(b, b.scene) for b in some if b.scene is not None)
        words = "; ".join(filter(None, flats))
        note = (Words(f"One flat of the tie rod: {words}."),) if words else ()
        heading = Heading("Set and check; heights of body points are above the ground, mm")
        yield Strip(((heading, checks, *note), torque))
        heading = Heading("Bump-steer gauge: springs and bar off, zero at ride height")
        yield Strip(((heading, gauge), cautions))
        torque = cautions = ()
        for turn in turns(some[0].scene) if some[0].scene is not None else ():
            side = "" if some[0].scene is None or some[0].scene.mirrored else _way(turn.sign)
            heading = Heading(f"Turn plates, outer wheel{side}")

            def read(bench: DutyBench, scene: Scene, turn: Any = turn) -> Iterator[Block]:
                return plate_blocks(bench, scene, turn)

            yield Strip(((heading, _side_by_side(some, (read,), named)), unknown))
            unknown = ()
    for bench in served[:1]:
        grid = effect_grid(effects_of(bench)[:MOST_EFFECTS])
        if grid is not None:
            yield Heading(
                f"What one step does, as {clean(bench.duty)} is set; rods and stop set anew"
            )
            yield grid
    for left in (torque, cautions, unknown):
        yield from left
    yield SIGNED


def _narrow(blocks: Iterator[Block]) -> Iterator[Block]:
    """Fasteners with narrow boxes, so that they stand beside what is set."""
    for block in blocks:
        if isinstance(block, Grid):
            rows = tuple((line[0], NARROW, NARROW, NARROW) for line in block.rows)
            yield Grid(("", "torque", "locked by", "rechecked"), rows)
        else:
            yield block


def _way(sign: float) -> str:
    return ", left turn" if sign > 0.0 else ", right turn"


def _stop(bench: DutyBench, scene: Scene) -> Iterator[Block]:
    return (block for block in stop_blocks(bench, scene) if isinstance(block, Grid))


def _fitted(bench: DutyBench, scene: Scene) -> Iterator[Block]:
    return fitted_blocks(scene)


def _side_by_side(benches: Sequence[DutyBench], sections: Iterable[Section], named: bool) -> Grid:
    """Tables of several duties as one: a row for each thing, columns of each duty beside each other.

    ``named`` has each duty's name above its columns.
    """
    heads: list[tuple[str, ...]] = []
    found: list[dict[str, tuple[str, ...]]] = []
    right = 1
    for bench in benches:
        assert bench.scene is not None
        rows: dict[str, tuple[str, ...]] = {}
        head: tuple[str, ...] = ()
        for section in sections:
            for block in section(bench, bench.scene):
                if isinstance(block, Grid):
                    keep = [n for n, text in enumerate(block.head) if text not in LEFT_OUT]
                    lines = [tuple(line[n] for n in keep) for line in block.rows]
                    head = head or tuple(block.head[n] for n in keep[1:])
                    rows |= {line[0]: line[1:] for line in lines if line[0] not in LEFT_OUT}
        heads.append(tuple(_headed(bench, text, n, named) for n, text in enumerate(head)))
        found.append(rows)
    labels = dict.fromkeys(label for rows in found for label in rows)
    lines = []
    for label in labels:
        cells = [
            rows.get(label, ("-",) * len(head)) for rows, head in zip(found, heads, strict=True)
        ]
        lines.append((label, *(cell for some in cells for cell in some)))
    return Grid(("", *(text for head in heads for text in head)), tuple(lines), right=right)


def _headed(bench: DutyBench, text: str, number: int, named: bool) -> str:
    """A column's head: the duty's name where it begins, blanks by their side alone."""
    if text in SHORTER:
        return SHORTER[text]
    duty = clean(bench.duty) if named else ""
    if text in ("both sides", "either way", "expected"):
        return duty or "expected"
    return f"{duty} {text}".strip() if number == 0 else text

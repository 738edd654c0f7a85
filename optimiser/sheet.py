"""The bench sheet of one candidate: what to fit, how to set it, what the gauges should then read.

One list of blocks for plain text and the page; the printed sheet takes its own choice of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from goals.parts import Station
from optimiser.bench import DutyBench, bands_of, tightest
from optimiser.built_sheet import built_blocks
from optimiser.duty_sheet import duty_blocks
from optimiser.notice import fails, model_notice
from optimiser.paper import FILL, Block, Grid, Heading, Items, Loud, Words, as_text
from optimiser.precision import fixed
from optimiser.problem import Problem
from optimiser.ranking import Row, feasible, merit
from optimiser.settings import differ, part_name, settings_of, solved_texts, source_of
from optimiser.space import AS_IS, Build
from optimiser.swap_sheet import swap_blocks
from optimiser.wording import (
    IN_HAND,
    clean,
    counted,
    fault_words,
    keeps_in_hand,
    plain,
    price,
    spoken,
    unpaired_words,
)

Record = dict[str, Any]

HASH_LENGTH = 10
MOST_MARGINS = 3

FIRST = (
    "These figures come from a rigid, ideal model of the car as it was measured: no flex, no play, no "
    "wear. Bushes, joints, the rack and the shell give under load, and a hard point that is 1 mm off "
    "moves bump steer by as much as its whole tolerance. The last digit printed is no finer than a tenth "
    "of what a figure may be off by. The sheet says where to start and what to expect; the gauge and the "
    "turn plates on the built car decide. Do not drive on the sheet's word."
)
FASTENED = {
    Station.KNUCKLE: "knuckle to strut",
    Station.TIE_ROD: "tie-rod locknuts, both ends",
    Station.TIE_ROD_STUD: "outer tie-rod joint, stud nut",
    Station.RACK_MOUNT: "rack mounts",
    Station.RACK_END: "inner joint to rack",
    Station.LOWER_ARM: "lower arm, pivots and ball joint",
    Station.UPPER_ARM: "upper arm, pivots and ball joint",
    Station.BALL_JOINT_STUB: "ball-joint stub",
    Station.TOP_MOUNT: "top mount, body and centre nut",
    Station.WHEEL: "wheel nuts",
    Station.WHEEL_SPACER: "wheel spacer",
    Station.STEERING_STOP: "steering stop",
    Station.ANTIROLL_BAR: "anti-roll bar and links",
    Station.SPRING_SEAT: "spring-seat lock",
}
CAUTIONS = (
    "The makers' limits for every part come before anything on this sheet: torque, thread, tilt, load.",
    "Positive locking on every steering fastener: split pin, lock wire, tab or all-metal locknut.",
    "Thread engagement is no less than the maker's least at both ends, equal at both ends, and at "
    "least two threads stand beyond each locknut.",
    "Before the car is driven, wheels on: by hand from lock to lock at full bump and at full droop. "
    "Nothing touches, no joint binds, and the stop is met before the linkage comes near straight.",
    "Torque, paint-mark, and check again after the first run and at each event.",
    "Never heat, bend or weld a steering part. One that was bent is scrap.",
    "Local rules may forbid or limit changes to steering and suspension. Ask before driving on a road.",
    "Have a licensed engineer or inspector look at the finished car.",
)
_LINE = FILL * 3
SIGNED = Grid(
    ("", "name", "signature", "date"),
    (("built by", _LINE, _LINE, FILL + "____"), ("checked by", _LINE, _LINE, FILL + "____")),
)
NOT_CHECKED = (
    "tyre clearance to anything that the files declare no obstacle for ('tyre clearance' among the figures "
    "tells of what they do), and clearance of the wheel's spokes",
    "joint tilt of any joint whose limit the files do not tell",
    "stress in any stud but the outer tie-rod joint's, and in that one only where the parts file says "
    "how strong it is ('stud stress' among the figures)",
    "strut stroke, wheel fit, room round the caliper and the top mount's place where the files do not tell "
    "their sizes",
    "tilt of the anti-roll bar's link joints; the bar's linkage and its gap to the arm only where the "
    "files give its points and tubes",
    "flex: the rack, its mounts and the bushes are taken as rigid",
    "the steering stop's own strength and give: the stop is solved from what the model checks, no more",
)


@dataclass(frozen=True)
class Sheet:
    """The bench sheet of one candidate, ready to be set in any medium.

    Attributes:
        problem: the run's inputs.
        run: the run's name.
        place: the candidate's place in the ranking, from 1.
        row: its row of the ledger.
        inputs: file name → digest of the inputs.
        version: of the program that searched.
        model_check: whether the model reproduces readings of its car, where that is known.
    """

    problem: Problem
    run: str
    place: int
    row: Row
    inputs: dict[str, str]
    version: str
    model_check: Record | None = None

    @cached_property
    def build(self) -> Build:
        """The candidate's build."""
        return self.problem.space.build(self.row["build"])

    @cached_property
    def benches(self) -> dict[str, DutyBench]:
        """The candidate as each duty sets it."""
        return {
            duty: DutyBench.of(self.problem, self.build, duty, record, bands_of(self.row, duty))
            for duty, record in self.row["duties"].items()
        }

    def blocks(self) -> list[Block]:
        """Everything on the sheet, in order."""
        problem, build, row, benches = self.problem, self.build, self.row, self.benches
        blocks = [
            *_head(problem, self.run, self.place, row, self.inputs, self.version),
            *refusal_blocks(row, benches),
            *_model(self.model_check),
            Heading("Read this first"),
            Words(FIRST),
            *part_blocks(problem, build, row),
            *difference_blocks(problem, build, row, benches),
            *built_blocks(row),
        ]
        for bench in benches.values():
            blocks += duty_blocks(bench)
        strut = problem.car.suspension == "strut"
        return [
            *blocks,
            *tightest_blocks(benches),
            *fastener_blocks(build, strut),
            *_last_words(strut),
        ]

    def text(self) -> str:
        """The sheet as plain text of at most 80 columns."""
        return as_text(self.blocks())


def _head(
    problem: Problem, run_name: str, place: int, row: Row, inputs: dict[str, str], version: str
) -> Iterator[Block]:
    yield Heading(f"Bench sheet: {clean(problem.car.name)}", 1)
    merits = ", ".join(
        f"{duty} {'-' if record['merit'] is None else fixed(record['merit'], 3)}"
        for duty, record in row["duties"].items()
    )
    worst = merit(row)
    hashes = ", ".join(f"{clean(name)} {text[:HASH_LENGTH]}" for name, text in inputs.items())
    yield Grid(
        ("", ""),
        (
            ("goals", clean(problem.goals.name or "")),
            ("run", clean(run_name)),
            ("candidate", f"rank {place}, build {row['build']}"),
            (
                "merit",
                f"{'-' if worst is None else fixed(worst, 3)} ({merits}); 0 is on every target",
            ),
            ("version", clean(version)),
            ("inputs", hashes),
        ),
    )


def _model(check: Record | None) -> Iterator[Block]:
    words = model_notice(check)
    if words:
        words = f"{words[0].upper()}{words[1:]}."
        yield Loud((words,)) if fails(check) else Words(words)


def refusal_blocks(row: Row, benches: dict[str, DutyBench]) -> Iterator[Block]:
    """Why a candidate is not to be built; nothing where it holds every limit."""
    if feasible(row):
        return
    if all(record["feasible"] for record in row["duties"].values()):
        words = unpaired_words(row["pairing"])
        yield Loud(
            ("SETTINGS DO NOT GO TOGETHER - no one car", f"{words}. Each duty is shown alone.")
        )
        return
    lines = ["DOES NOT HOLD EVERY LIMIT - not to be built"]
    for duty, record in row["duties"].items():
        if record["feasible"]:
            continue
        if record.get("reason"):
            lines.append(f"{duty}: {record['reason']}")
        for margin in benches[duty].margins:
            if margin.gap is None or margin.gap < 0.0:
                lines.append(f"{duty}: {plain(margin.key)} {fault_words(margin)}")
    yield Loud(tuple(lines))


def part_blocks(problem: Problem, build: Build, row: Row) -> Iterator[Block]:
    """The parts to fit, and what is to be bought of them."""
    currency = problem.parts.currency
    yield Heading("Parts to fit")
    rows = []
    for station, part in build.parts.items():
        name = "left as measured" if part.id == AS_IS else part_name(part)
        note = f" ({clean(part.note)})" if part.note else ""
        shown = "-" if part.id == AS_IS else clean(part.id)
        rows.append((spoken(station), shown, name + note, source_of(part, currency)))
    yield Grid(("station", "part", "what it is", "from"), tuple(rows))
    count = len(row["to_buy"])
    if count:
        yield Words(f"To buy: {counted(count, 'part')}, {price(row['price'], currency)} in all.")
    else:
        yield Words("Nothing to buy.")


def difference_blocks(
    problem: Problem, build: Build, row: Row, benches: dict[str, DutyBench]
) -> Iterator[Block]:
    """Settings side by side, and what a swap from the first duty to each other one takes."""
    duties = row["duties"]
    if len(duties) < 2:
        return
    *some, last = duties
    yield Heading(f"What differs between {', '.join(some)} and {last}")
    yield settings_grid(build, duties)
    yield Words("* is set anew at every swap.")
    yield from swap_blocks(problem, build, row, benches)


def settings_grid(build: Build, duties: dict[str, Record]) -> Grid:
    """Everything to set and what follows from it, a column a duty."""
    settings = settings_of(build, duties)
    lines = [
        (
            f"{mark(s.differs)}{spoken(s.station)}: {spoken(s.name)}",
            *(clean(s.texts[duty]) for duty in duties),
        )
        for s in settings
    ]
    lines += [
        (mark(differ(texts)) + words, *texts.values()) for words, texts in solved_texts(duties)
    ]
    return Grid(("setting", *duties), tuple(lines))


def mark(differs: bool) -> str:
    """What stands before a setting that the duties set differently."""
    return "* " if differs else ""


def tightest_blocks(benches: dict[str, DutyBench]) -> Iterator[Block]:
    """The limits with the least in hand over all duties."""
    every = tightest(benches.values())
    if not every:
        return
    yield Heading("Tightest limits")
    yield Words("Least in hand first: look at these first on the built car.")
    if keeps_in_hand(bench.record for bench in benches.values()):
        yield Words(f"Here {IN_HAND}.")
    rows = [
        (
            m.duty,
            plain(m.key),
            m.value_words(),
            m.bound_words(),
            m.hand_words(),
            m.state_words() or "-",
        )
        for m in every[:MOST_MARGINS]
    ]
    head = ("duty", "measure", "figure", "limit", "in hand", "decided in the state")
    yield Grid(head, tuple(rows))


def fastener_blocks(build: Build, strut: bool) -> Iterator[Block]:
    """Fasteners with fields for the part makers' figures."""
    yield Heading("Torque and locking")
    yield Words(
        "Fill in from the parts makers' figures before starting. None are given here on purpose."
    )
    # a station left as measured is on the list too: its fasteners come undone with its neighbours'
    words = FASTENED if strut else {**FASTENED, Station.KNUCKLE: "knuckle, both ball joints"}
    rows = [(words[station], FILL, FILL, FILL, FILL) for station in build.parts]
    head = ("fastener", "torque", "locked by", "marked L / R", "rechecked")
    yield Grid(head, tuple(rows))


def not_checked(strut: bool) -> tuple[str, ...]:
    """What this version does not check, of a car on struts or on double wishbones."""
    return NOT_CHECKED if strut else tuple(map(_of_a_wishbone, NOT_CHECKED))


def _of_a_wishbone(line: str) -> str:
    """What is not checked of a double wishbone: its damper's stroke never is, and it has no top mount."""
    if line.startswith("strut stroke"):
        return (
            "the damper's stroke; wheel fit and room round the caliper where the files do not tell "
            "their sizes"
        )
    return line


def _last_words(strut: bool) -> Iterator[Block]:
    yield Heading("Cautions")
    yield Items(CAUTIONS, boxed=True)
    yield Heading("Not checked in this version")
    yield Items(not_checked(strut))
    yield Heading("Built and checked")
    yield SIGNED

"""The report of a run as a plain document: what was asked and covered, the best candidates, every figure.

What is shown is decided and worded here; :mod:`optimiser.report_page` sets it as a page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from optimiser.built_table import rank_notes, share_words
from optimiser.covered import coverage_lines, status_words
from optimiser.drawn import TODAY
from optimiser.notice import fails, model_notice
from optimiser.precision import DIGITS, fixed
from optimiser.problem import Problem
from optimiser.ranking import Row
from optimiser.report_asked import asked, changeover_words, tolerance_words
from optimiser.report_best import best, lead, other_parts
from optimiser.report_candidate import in_full
from optimiser.report_measures import measure_groups
from optimiser.report_shown import Candidate, Today
from optimiser.runs import SEARCHING, Run, ranking_document
from optimiser.sheet import CAUTIONS, FIRST, HASH_LENGTH, not_checked
from optimiser.tables import BELOW_THE_GRID, tightest
from optimiser.wording import (
    IN_HAND,
    clean,
    counted,
    keeps_in_hand,
    lacks,
    plain,
    price,
    short,
    unpaired_words,
)

Record = dict[str, Any]

DRAWN = 6
MOST_DRAWN = 8
LEFT_OUT = (
    "what bends or rubs: compliance, friction and wear are left out, but for the rack's own give past "
    "the stop where the car file tells it",
    "errors that all readings share (a gauge zeroed wrong), and those of obstacles, masses and tyres: "
    "yields do not weigh them",
    "obstacles that nobody declared, hoses and wiring; the rear suspension is only a roll-centre height, "
    "a track and a stiffness",
)


@dataclass(frozen=True)
class Report:
    """A run ready to be told: its inputs, every ranked row, and those that are drawn."""

    run: Run
    problem: Problem
    rows: list[Row]
    top: int = DRAWN

    @property
    def drawn(self) -> list[Row]:
        """The rows laid side by side and drawn: the first of the ranking."""
        return self.rows[: min(self.top, MOST_DRAWN)]


def report_document(report: Report) -> Record:
    """What the report shows, all figures in words, but the pictures."""
    problem, run = report.problem, report.run
    ranking = ranking_document(run, problem, report.rows)
    candidates = ranking["candidates"]
    today = Today(problem)
    shown = _shown(report, candidates)
    state = run.state()
    refined = any("refined" in r for c in candidates for r in c["duties"].values())
    cover = coverage_lines(ranking["coverage"])
    return {
        "title": clean(problem.goals.name or f"Run {run.name}"),
        "car": clean(problem.car.name),
        "run": clean(run.name),
        "status": status_words(ranking),
        "version": clean(state["version"]),
        "seed": state["seed"],
        "inputs": [(clean(name), text[:HASH_LENGTH]) for name, text in state["inputs"].items()],
        "loud": _loud(ranking),
        "lead": lead(problem, today, shown),
        "searching": ranking["status"] == SEARCHING,
        "coverage": [*cover, *([BELOW_THE_GRID] if refined and proven(ranking) else [])],
        "proven": proven(ranking),
        "model": _model(ranking["model_check"]),
        "asked": asked(problem),
        "changeover": changeover_words(problem),
        "tolerances": tolerance_words(problem),
        "duties": [clean(duty) for duty in problem.duties],
        "shown": [{"place": c.place, "layer": c.layer} for c in shown],
        "best": best(problem, today, shown) if shown else [],
        "in_hand": IN_HAND if any(keeps_in_hand(c["duties"].values()) for c in candidates) else "",
        "measures": _measures(problem, today, shown),
        "candidates": [in_full(problem, today, c) for c in shown],
        "ranked": _ranked(problem, report.rows, candidates),
        "notes": _notes(candidates),
        "first": FIRST.replace("The sheet says", "This page says").replace("sheet's", "page's"),
        "cautions": [line.replace("on this sheet", "on this page") for line in CAUTIONS],
        "unknown": _not_checked(problem),
    }


def proven(ranking: Record) -> bool:
    """Whether all of the declared grid was covered."""
    return bool(ranking["coverage"]["proven"])


def _shown(report: Report, candidates: Sequence[Record]) -> list[Candidate]:
    first: dict[int, int] = {}
    shown = []
    for place, row in enumerate(report.drawn, 1):
        tie = candidates[place - 1]["tie"]
        head = place if tie is None else first.setdefault(tie, place)
        shown.append(Candidate(report.problem, row, place, head if head != place else None))
    return shown


def _loud(ranking: Record) -> list[str]:
    candidates = ranking["candidates"]
    lines = []
    if ranking["status"] == SEARCHING:
        lines.append("Still searching: this is what is ranked so far. Make the page again later.")
    if not candidates:
        lines.append("No build is finished yet.")
    elif not any(c["feasible"] for c in candidates):
        lines.append(
            "NOTHING HOLDS EVERY LIMIT. The nearest come first; none of them is to be built."
        )
    if fails(ranking["model_check"]):
        lines.append(
            "THE MODEL DOES NOT REPRODUCE ITS CAR. Mend the car file before believing this page."
        )
    return lines


def _model(check: Record | None) -> Record:
    """The verdict on the model: its first words, and whether it speaks for or against."""
    words = model_notice(check)
    words = f"{words[:1].upper()}{words[1:]}." if words else ""
    state = "" if check is None else {True: "yes", False: "no"}.get(check["reproduces"], "")
    heads = {"yes": "The model reproduces its car", "no": "The model does not reproduce its car"}
    return {
        "words": words,
        "state": state,
        "head": heads.get(state, "The model was not held against its car"),
    }


def _measures(problem: Problem, today: Today, shown: Sequence[Candidate]) -> list[Record]:
    if not shown:
        return []
    layers = [TODAY, *(c.layer for c in shown)]
    found = []
    for duty in problem.duties:
        columns = [today.column(duty), *(c.column(duty) for c in shown)]
        found.append({"duty": clean(duty), "layers": layers, "groups": measure_groups(columns)})
    return found


def _ranked(problem: Problem, rows: Sequence[Row], candidates: Sequence[Record]) -> list[Record]:
    """Every ranked candidate in a line; numbers beside the texts are for sorting."""
    found = []
    first = problem.space.build(rows[0]["build"]) if rows else None
    for row, c in zip(rows, candidates, strict=True):
        build = problem.space.build(row["build"])
        minutes = c["changeover_minutes"]
        merits = [r["merit"] if r["feasible"] else None for r in c["duties"].values()]
        found.append(
            {
                "rank": c["rank"],
                "feasible": c["feasible"],
                "merits": [_sortable(m, 3) for m in (c["merit"], *merits)],
                "yield": ("-" if c["yield"] is None else share_words(c["yield"]), c["yield"]),
                "minutes": ("-" if minutes is None else short(minutes), minutes),
                "price": (price(c["price"]), c["price"]),
                "buy": len(c["to_buy"]),
                "state": _state(c),
                "parts": other_parts(build, first) if first is not None else [],
            }
        )
    return found


def _sortable(value: float | None, places: int) -> tuple[str, float | None]:
    return ("-" if value is None else fixed(value, places), value)


def _state(candidate: Record) -> str:
    """The tightest limit, or what is served and what lacks."""
    duties = candidate["duties"]
    if candidate["feasible"]:
        for m in tightest(duties, 1):
            words = f"{clean(m.duty)}: {plain(m.key)}, {m.gap_words()} in hand"
            return f"{words}; {m.state_words()}" if m.state else words
        return "no limits"
    lines = [lacks(clean(d), record) for d, record in duties.items() if not record["feasible"]]
    if not lines:
        lines = [f"settings do not go together: {unpaired_words(candidate['pairing'])}"]
    return "; ".join(lines)


def _notes(candidates: Sequence[Record]) -> list[str]:
    holding = sum(bool(c["feasible"]) for c in candidates)
    return [
        f"{holding:,} of {counted(len(candidates), 'ranked candidate')} hold every limit of every duty",
        "merit: 0 meets every target, 1 is the edge of tolerance; the worst duty counts",
        *(words for words in rank_notes(list(candidates)) if not words.startswith("=")),
        DIGITS,
    ]


def _not_checked(problem: Problem) -> list[str]:
    return [*LEFT_OUT, *not_checked(problem.car.suspension == "strut")]

"""A rerun: changed inputs searched anew, with all that an earlier run found and that still holds.

The earlier run is only read. The new one is a run like any other: begun with the rows that hold, it searches
the rest, and after an interruption ``resume`` goes on with it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from goals.reading import Loaded
from optimiser import VERSION
from optimiser.changes import Change, changes
from optimiser.ledger import BUILT, SWEEPS, Ledger
from optimiser.moves import moves
from optimiser.names import RunError
from optimiser.problem import Problem
from optimiser.ranking import feasible
from optimiser.reuse import Reused, reusable
from optimiser.runs import Run, coverage_now, place_of
from optimiser.sound_rows import checked_rows
from optimiser.standing import judged_anew, today_row
from optimiser.wording import Margin, margins

Record = dict[str, Any]
Row = dict[str, Any]


def goals_of(run: Run) -> Path:
    """The goals file that a run was made from.

    Raises RunError where the run does not tell it, or where it is not there any more.
    """
    found = run.goals_file
    if found is None:
        raise RunError(
            f"run '{run.name}' does not tell where its goals file stands: name it with --goals"
        )
    home = run.folder.parent.parent
    if Path(run.state()["goals_file"]).is_absolute() or not found.resolve().is_relative_to(home):
        raise RunError(
            f"run '{run.name}' tells of a goals file outside of {home}: name it with --goals, "
            "if it is yours"
        )
    if not found.is_file():
        raise RunError(
            f"the goals file of run '{run.name}' is not at {run.state()['goals_file']} from its "
            "folder any more: name it with --goals"
        )
    # as short as it can be said, for messages name it
    here = Path.cwd()
    found = found.resolve()
    return found.relative_to(here) if found.is_relative_to(here) else found


@dataclass(frozen=True)
class Rerun:
    """Changed inputs beside those of an earlier run, and what of it holds for them."""

    old: Run
    before: Problem
    after: Problem
    changes: list[Change]

    @classmethod
    def of(cls, old: Run, loaded: Loaded, goals_name: str) -> Rerun:
        """The rerun of a run with inputs as they are now. Raises RunError, InputError as ``Run.load``."""
        before = old.load()
        after = Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)
        return cls(old, before, after, changes(before, after, goals_name))

    @property
    def same_version(self) -> bool:
        """Whether the earlier run is of this version of the program: figures of two are not mixed."""
        return bool(self.old.state().get("version") == VERSION)

    @property
    def idle(self) -> bool:
        """Whether there is nothing to do: no input was changed."""
        return not self.changes and self.same_version

    def begin(self, runs: Path, name: str, loaded: Loaded, goals: Path) -> Run:
        """Make the new run and give it what still holds.

        Raises RunError where a run of that name is there already.
        """
        reused = Reused()
        if self.same_version:
            ledger = self.old.ledger
            rows = checked_rows(self.before, ledger.each(), ledger.path)
            reused = reusable(self.before, self.after, rows, ledger.built())
        counts = {
            "reused": len(reused.rows),
            "in_part": len(reused.sweeps),
            "as_built": len(reused.built),
        }
        space = self.after.space

        def begin(ledger: Ledger) -> None:
            rows = reused.rows.items()
            ledger.seed(((n, space.combinations(n), row) for n, row in rows), _known(reused))

        told = {"rerun_of": self.old.name, "rerun": counts}
        run = Run.create(runs, name, loaded, goals, begin, **told)
        run.log("begun from another run", of=self.old.name, **counts)
        return run

    def document(self, run: Run | None, built: int) -> Record:
        """What ``rerun --json`` prints.

        Args:
            run: the new run, searched as far as it came; None where nothing was changed.
            built: place in the earlier ranking of the car that was built.
        """
        found: Record = {
            "run": None if run is None else run.name,
            "rerun_of": self.old.name,
            "changes": [change.record for change in self.changes],
            "same_version": self.same_version,
        }
        if run is None:
            return found
        before = self.old.ranked(self.before.goals.search.keep)
        found["built"] = self.built(before, built)
        found["today"] = self._today()
        after = run.ranked(self.after.goals.search.keep)
        return {
            **found,
            **run.progress(),
            "coverage": coverage_now(run, self.after),
            "reuse": run.state()["rerun"],
            "candidates": moves(before, after, (self.before, self.after), run.ledger.finished()),
        }

    def built(self, ranked: list[Row], place: int) -> Record | None:
        """The car as built, from a place of the earlier ranking, judged by the inputs of now.

        None where that ranking is empty. Raises RunError where it has no such place.
        """
        if not ranked and place == 1:
            return None
        row = place_of(self.old, ranked, place)
        judged = judged_anew(self.after, row)
        was = {duty: record.get("merit") for duty, record in row["duties"].items()}
        for duty, record in judged["duties"].items():
            record["merit_before"] = was[duty]
            record["limits"] = [_limit(m) for m in margins(duty, record)]
        return {
            "rank": place,
            "number": row["build"],
            "build": row["parts"],
            "feasible_before": feasible(row),
            **judged,
        }

    def _today(self) -> Record:
        """Today's car in every duty, before and after."""
        sides = {name: today_row(each) for name, each in self._sides().items()}
        found: Record = {}
        for duty in self.after.duties:
            found[duty] = {
                name: _verdict(duty, row["duties"][duty]) if duty in row["duties"] else None
                for name, row in sides.items()
            }
        return found

    def _sides(self) -> dict[str, Problem]:
        return {"before": self.before, "after": self.after}


def _verdict(duty: str, record: Record) -> Record:
    return {
        "feasible": record["feasible"],
        "merit": record["merit"],
        "fails": [m.key for m in margins(duty, record) if m.gap is None or m.gap < 0.0],
    }


def _limit(margin: Margin) -> Record:
    """A limit of the car as built: its figure, its bound and what is in hand, negative where it lacks."""
    return {
        "key": margin.key,
        "value": margin.value,
        "bound": list(margin.bound),
        "in_hand": margin.gap,
        "unit": margin.unit,
        "state": margin.state,
    }


def _known(reused: Reused) -> Iterator[tuple[str, int, Row]]:
    yield from ((SWEEPS, number, sweeps) for number, sweeps in reused.sweeps.items())
    yield from ((BUILT, number, record) for number, record in reused.built.items())


def note_searched(run: Run) -> None:
    """Tell in a rerun's run.json how many builds it had to search; of any other run nothing."""
    state = run.state()
    if "rerun" in state:
        done = run.ledger.counts()[0]
        searched = done - state["rerun"]["reused"]
        run.update(rerun={**state["rerun"], "searched": searched})

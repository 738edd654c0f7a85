"""What a report lays side by side: today's car and the first candidates of a ranking."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from optimiser.bench import DutyBench, bands_of, tightest
from optimiser.checking import check_document
from optimiser.drawn import TODAY, layer_of
from optimiser.figures import Column, asks_of
from optimiser.problem import Problem
from optimiser.ranking import Row
from optimiser.runs import candidate_document
from optimiser.space import Build
from optimiser.wording import Margin

Record = dict[str, Any]


@dataclass(frozen=True)
class Candidate:
    """One drawn candidate: its row of the ledger and its place from 1.

    ``ties_with`` is the place of the first candidate whose merit cannot be told from this one's.
    """

    problem: Problem
    row: Row
    place: int
    ties_with: int | None = None

    @property
    def layer(self) -> str:
        """What it is called in pictures and tables that can be laid over each other."""
        return layer_of(self.place)

    @cached_property
    def document(self) -> Record:
        """The candidate as ``rank --json`` prints it."""
        return candidate_document(self.place, self.row)

    @cached_property
    def build(self) -> Build:
        """Its parts."""
        return self.problem.space.build(self.row["build"])

    @cached_property
    def benches(self) -> dict[str, DutyBench]:
        """Each duty as this candidate sets it, with its scene."""
        return {
            duty: DutyBench.of(self.problem, self.build, duty, record, bands_of(self.row, duty))
            for duty, record in self.row["duties"].items()
        }

    def tightest(self, count: int) -> list[Margin]:
        """The limits with least in hand.

        What the stop itself stands at has next to nothing in hand by its nature, and is left out.
        """
        return tightest(self.benches.values())[:count]

    def column(self, duty: str) -> Column:
        """One duty's measures with what was asked for under each key."""
        record = self.document["duties"][duty]
        bench = self.benches[duty]
        wanted = [] if bench.assembly is None else self.problem.demands(bench.assembly, duty)
        bands = record.get("as_built", {}).get("bands", {})
        return Column(str(self.place), record.get("measures", {}), asks_of(wanted), bands)


@dataclass(frozen=True)
class Today:
    """Today's parts, lowered by what each duty says and with its toe: what ``check`` prints."""

    problem: Problem

    layer = TODAY

    @cached_property
    def document(self) -> Record:
        """The document of ``check --json``."""
        return check_document(self.problem)

    @property
    def duties(self) -> dict[str, Record]:
        """Each duty's record."""
        found: dict[str, Record] = self.document["duties"]
        return found

    @cached_property
    def build(self) -> Build:
        """Today's parts."""
        return self.problem.space.today()

    def column(self, duty: str) -> Column:
        """One duty's measures with what was asked for under each key."""
        assembly = self.problem.assembly_of(self.build, duty, (), 0.0)
        asks = asks_of(self.problem.demands(assembly, duty))
        record = self.duties[duty]
        return Column(TODAY, record["measures"], asks, record.get("bands", {}))

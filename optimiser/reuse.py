"""What an earlier run found that still holds for changed inputs: whole rows, sweeps of a duty, cars as built.

Builds are matched by what their parts do, so neither numbers nor names matter; a station that only one of two
boxes has is one left as it is. A whole row is told anew where its digest is unchanged, with number, parts and
price of the new box. Else each duty whose own digest is unchanged keeps what sweeping it found: its settings
still have to be paired, refined and judged, which costs far less. Nothing is taken over on a guess.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product
from typing import Any

from goals.parts import Part, Station
from optimiser.problem import Problem
from optimiser.signature import Reads, Signatures, part_digest
from optimiser.space import AS_IS

Row = dict[str, Any]

# What a sweep can be made of again: see optimiser.builds.swept_before.
SWEPT = ("settings_swept", "refused_by", "kept", "ruled_out", "positions", "reason")


@dataclass
class Reused:
    """What the new run need not search: rows and records by the new build's number.

    ``rows`` are whole ledger rows, ``sweeps`` build → duty → what sweeping it found, ``built`` what became of
    cars as built, which counts only if the new run builds that candidate at all.
    """

    rows: dict[int, Row] = field(default_factory=dict)
    sweeps: dict[int, dict[str, Row]] = field(default_factory=dict)
    built: dict[int, Row] = field(default_factory=dict)


def reusable(
    old: Problem, new: Problem, rows: Iterable[Row], built: Mapping[int, Row] | None = None
) -> Reused:
    """What of a run with inputs ``old`` holds for the inputs ``new``.

    Args:
        old, new: inputs, of one version of the program.
        rows: finished rows of the old run; failed ones are no use.
        built: its records of cars as built, by build number.
    """
    match = _Match(Signatures(old), Signatures(new))
    found = Reused()
    for row in rows:
        for number in match.rows_of(row):
            if number in found.rows:
                continue
            found.rows[number] = retold(new, row, number)
            record = (built or {}).get(row["build"])
            if record is not None and "failed" not in record and match.same_cars(row, number):
                found.built[number] = _built_anew(new, record, number)
        for number, sweeps in match.sweeps_of(row):
            if number not in found.rows:
                known = found.sweeps.setdefault(number, {})
                found.sweeps[number] = {**sweeps, **known}
    for number in found.rows:
        found.sweeps.pop(number, None)
    return found


class _Match:
    """Which builds of a new box are those of an old one, for so much as is read of them."""

    def __init__(self, old: Signatures, new: Signatures) -> None:
        self.old = old
        self.new = new
        self._tables: dict[Reads, list[tuple[int | None, dict[int, list[int]]]] | None] = {}

    @cached_property
    def _same_rows(self) -> bool:
        return self.old.row == self.new.row

    @cached_property
    def _same_duties(self) -> dict[str, str]:
        """New duty → the old one that is swept alike, by whatever name."""
        known = {self.old.sweep(duty): duty for duty in self.old.problem.duties}
        new = {duty: self.new.sweep(duty) for duty in self.new.problem.duties}
        return {duty: known[digest] for duty, digest in new.items() if digest in known}

    def rows_of(self, row: Row) -> Iterator[int]:
        """New builds whose whole row is that of an old build."""
        if self._same_rows:
            yield from self._builds(row["build"], self.new.row_reads())

    def sweeps_of(self, row: Row) -> Iterator[tuple[int, dict[str, Row]]]:
        """New builds, each with what of an old row is known of sweeping its duties."""
        if self._same_rows and self.new.row_reads() is Reads.NOTHING:
            # what a sweep reads is all that the row does
            return
        for duty, was in self._same_duties.items():
            record = row["duties"][was]
            if record["settings_swept"]:
                swept = {name: record[name] for name in SWEPT if name in record}
                for number in self._builds(row["build"], self.new.sweep_reads(duty)):
                    yield number, {duty: swept}

    def same_cars(self, row: Row, number: int) -> bool:
        """Whether cars of an old and a new build, whose rows are alike, are drawn and built alike."""
        if self.old.drawn != self.new.drawn:
            return False
        reads = self.new.row_reads() | Reads.ERRORS
        return number in self._builds(row["build"], reads)

    def _builds(self, number: int, reads: Reads) -> Iterator[int]:
        """New builds that have an old one's parts, as far as they are read."""
        table = self._table(reads)
        if table is None:
            return
        picks = self.old.problem.space.picks(number)
        # the old build has nothing at a station that is new
        choices = [same.get(0 if at is None else picks[at], []) for at, same in table]
        for pick in product(*choices):
            found = self.new.problem.space.number_of(pick)
            if found is not None and self._leaves_out_nothing(picks, reads):
                yield found

    def _table(self, reads: Reads) -> list[tuple[int | None, dict[int, list[int]]]] | None:
        """For each new station: where it was in the old box, and old option → the new ones like it."""
        if reads not in self._tables:
            self._tables[reads] = [self._alike(station, reads) for station in self._stations]
        return self._tables[reads]

    @property
    def _stations(self) -> tuple[Station, ...]:
        return self.new.problem.space.stations

    def _alike(self, station: Station, reads: Reads) -> tuple[int | None, dict[int, list[int]]]:
        old, new = self.old.problem.space.stations, self._stations
        at = old.index(station) if station in old else None
        before = [_nothing(reads)] if at is None else self._digests(self.old, at, reads)
        after = self._digests(self.new, new.index(station), reads)
        return at, {
            i: [j for j, digest in enumerate(after) if digest == was]
            for i, was in enumerate(before)
        }

    @staticmethod
    def _digests(of: Signatures, station: int, reads: Reads) -> list[str]:
        options = of.problem.space.options[station]
        return [of.part(station, option, reads) for option in range(len(options))]

    def _leaves_out_nothing(self, picks: tuple[int, ...], reads: Reads) -> bool:
        """Whether an old build has nothing at stations that the new box does not know."""
        return all(
            station in self._stations or self.old.part(at, pick, reads) == _nothing(reads)
            for at, (station, pick) in enumerate(
                zip(self.old.problem.space.stations, picks, strict=True)
            )
        )


def _nothing(reads: Reads) -> str:
    """The digest of a station left as it is."""
    return part_digest(Part(id=AS_IS, name="as it is", today=True, owned=True), reads)


def retold(problem: Problem, row: Row, number: int) -> Row:
    """An old row as the search of build ``number`` of a problem would tell it."""
    build = problem.space.build(number)
    duties = {}
    for duty, record in row["duties"].items():
        told = dict(record)
        if "measures" in told:
            price = {**told["measures"]["price"], "value": float(build.price)}
            told["measures"] = {**told["measures"], "price": price}
        duties[duty] = told
    return {
        **row,
        "build": number,
        "parts": build.name,
        "price": build.price,
        "to_buy": [part.id for part in build.to_buy],
        "duties": duties,
    }


def _built_anew(problem: Problem, record: Row, number: int) -> Row:
    """A record of cars as built under the build's new number, by the yield that is wanted now."""
    price = float(problem.space.build(number).price)
    duties = {}
    for duty, told in record["duties"].items():
        # every car costs the same
        bands = {**told["bands"], "price": [price, price]}
        duties[duty] = {**told, "bands": bands}
    least = problem.goals.tolerances.least_yield
    enough = least is None or record["yield"] >= least
    return {**record, "number": number, "enough": enough, "duties": duties}

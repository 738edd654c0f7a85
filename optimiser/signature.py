"""What a build's row hangs on, as digests: equal digests of two problems, and the search finds the same.

A build's row is a pure function of the inputs. Here is what of them it reads, part by part: whatever is not
known for sure to be idle is in it. Idle are names and notes, prices and what is owned where no duty asks for
the price (they are told beside the row), minutes where nothing is swapped, and the errors that cars as built
may have, which only what becomes of them reads.

Digests are SHA-256 of JSON that keeps every order, for sums are taken and ties broken in the files' order.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import Enum, Flag, auto
from functools import cached_property
from typing import Any

from pydantic import BaseModel

from goals.car import Car
from goals.duties import Duty
from goals.parts import Adjuster, Part, RodAdjuster, Station
from optimiser.problem import Problem
from optimiser.space import AS_IS

Idle = Mapping[type[BaseModel], Collection[str]]

NEVER_READ: dict[type[BaseModel], frozenset[str]] = {
    Car: frozenset({"name", "format"}),
    Part: frozenset({"id", "name", "today", "owned", "price", "fits"}),
    Adjuster: frozenset({"reads"}),
    RodAdjuster: frozenset({"price"}),
}


class Reads(Flag):
    """What a part's digest is to hold beside what every search reads."""

    NOTHING = 0
    PRICES = auto()  # a duty asks for the price
    MINUTES = auto()  # settings of several duties have to go together
    ERRORS = auto()  # cars as built


def digest_of(value: Any) -> str:
    """SHA-256 of plain data."""
    text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def plain_data(value: Any, idle: Idle = NEVER_READ) -> Any:
    """A model as plain data in its files' order, without notes and what is ``idle`` of each model."""
    if isinstance(value, BaseModel):
        left_out = {"note", *idle.get(type(value), ())}
        fields = [name for name in type(value).model_fields if name not in left_out]
        return [[name, plain_data(getattr(value, name), idle)] for name in fields]
    if isinstance(value, dict):
        # pairs: a mapping's order counts, and its keys need not be texts
        return [[plain_data(key, idle), plain_data(one, idle)] for key, one in value.items()]
    if isinstance(value, (list, tuple)):
        return [plain_data(one, idle) for one in value]
    return value.value if isinstance(value, Enum) else value


@dataclass(frozen=True)
class Signatures:
    """Digests of one problem."""

    problem: Problem

    @property
    def paired(self) -> bool:
        """Whether the settings of several duties have to go together."""
        return self.problem.goals.changeover is not None and len(self.problem.goals.duties) > 1

    @cached_property
    def _car(self) -> Any:
        return plain_data(self.problem.car)

    def _judged(self) -> list[Any]:
        """What every duty is judged by beside its own limits and targets."""
        goals = self.problem.goals
        return [self._car, goals.tolerances.rack_overtravel, goals.search.settings]

    def asks_price(self, duty: str) -> bool:
        """Whether a duty has a limit or a target on the price."""
        asked: Duty = self.problem.goals.duties[duty]
        return "price" in asked.limits or "price" in asked.targets

    def row_reads(self) -> Reads:
        """What a build's whole row reads of its parts."""
        prices = any(self.asks_price(duty) for duty in self.problem.duties)
        return (Reads.PRICES if prices else Reads.NOTHING) | (
            Reads.MINUTES if self.paired else Reads.NOTHING
        )

    def sweep_reads(self, duty: str) -> Reads:
        """What sweeping one duty by itself reads of the parts."""
        return Reads.PRICES if self.asks_price(duty) else Reads.NOTHING

    @cached_property
    def row(self) -> str:
        """All that a build's row reads beside its parts."""
        goals = self.problem.goals
        told = [*self._judged(), plain_data(goals.duties), self.paired]
        if self.paired and goals.changeover is not None:
            # a steering stop that is in the box at all is set anew in every swap
            stop = Station.STEERING_STOP in self.problem.space.stations
            told += [plain_data(goals.changeover), self.problem.parts.wheel_off, stop]
        return digest_of(told)

    def sweep(self, duty: str) -> str:
        """All that sweeping one duty by itself reads beside the build's parts."""
        return digest_of([*self._judged(), plain_data(self.problem.goals.duties[duty])])

    @cached_property
    def drawn(self) -> str:
        """The errors that cars as built are drawn with: columns, seed and tolerances."""
        errors, goals = self.problem.errors, self.problem.goals
        tolerances = goals.tolerances.model_copy(update={"least_yield": None})
        told = [list(errors.names), errors.samples, goals.search.seed, plain_data(tolerances)]
        return digest_of(told)

    @cached_property
    def _known(self) -> dict[tuple[int, int, Reads], str]:
        return {}

    def part(self, station: int, option: int, reads: Reads) -> str:
        """One part's digest, by its place in the space's options."""
        key = station, option, reads
        if key not in self._known:
            part = self.problem.space.options[station][option]
            self._known[key] = part_digest(part, reads)
        return self._known[key]


def part_digest(part: Part, reads: Reads) -> str:
    """All of a part that a search with such ``reads`` reads; of a station left as it is, next to nothing."""
    idle = dict(NEVER_READ)
    if Reads.MINUTES not in reads:
        idle[Part] = NEVER_READ[Part] | {"minutes", "behind_wheel"}
    if Reads.ERRORS not in reads:
        idle[Adjuster] = NEVER_READ[Adjuster] | {"error"}
    bought = not part.owned and not part.today and part.id != AS_IS
    paid = part.price if Reads.PRICES in reads and bought else 0.0
    return digest_of([plain_data(part, idle), paid])

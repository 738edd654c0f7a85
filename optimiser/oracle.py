"""Whether some build has a setting that holds a set of limits: answered by search, never guessed.

A wish is one limit of one duty, as the goals write it or eased by an amount, or the changeover. Limits that
are not asked for are taken off the duty, targets always; gates that hold unasked stay. The stop is solved by
the limits asked for: a setting is judged as the search would judge it, were these all the limits.

'No' is said only where every build was covered by the exact sweep (and by the exact pairing where the
changeover is among the wishes), or where an earlier such answer covers the question. 'Yes' comes with the
setting, which is judged anew, alone.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from goals.duties import Limit
from goals.verdicts import Demand, label_of
from kinematics.measures import MEASURES
from optimiser.assembly import Assembly
from optimiser.changeover import Work
from optimiser.clash import TimeUp
from optimiser.evaluate import stopped as with_stop
from optimiser.evaluate import verdict_of
from optimiser.inner import first_held, sweep
from optimiser.pairing import pair
from optimiser.problem import Problem
from optimiser.wording import measure_of
from optimiser.workers import ask_task

Row = dict[str, Any]
Positions = tuple[int, ...]
# A setting for each duty of a build: what holds a set of wishes.
Setting = dict[str, Positions]


class Wish(NamedTuple):
    """A limit of a duty, its bounds moved out by ``eased``; a changeover has no duty, eased by minutes."""

    duty: str
    label: str
    eased: float = 0.0


CHANGEOVER = Wish("", "changeover")
Asked = frozenset[Wish]


@dataclass(frozen=True)
class Held:
    """A build and its settings that hold what was asked."""

    number: int
    setting: Setting


def wishes_of(problem: Problem, duty: str) -> list[Wish]:
    """The limits that the goals write for a duty."""
    return [Wish(duty, label_of(name, limit)) for name, limit in limits_of(problem, duty)]


def limits_of(problem: Problem, duty: str) -> Iterator[tuple[str, Limit]]:
    """The limits that the goals write for a duty, each with its measure's name."""
    for name, entry in problem.goals.duties[duty].limits.items():
        for limit in entry if isinstance(entry, list) else [entry]:
            yield name, limit


def wanted_by(
    problem: Problem, assembly: Assembly, duty: str, asked: Asked, *, targets: bool = False
) -> list[Demand]:
    """The limits that are asked of a duty and the gates that hold unasked; its targets where wanted too."""
    eased = {wish.label: wish.eased for wish in asked if wish.duty == duty}
    limits: dict[str, list[Limit]] = {}
    for name, limit in limits_of(problem, duty):
        label = label_of(name, limit)
        if label in eased:
            limits.setdefault(name, []).append(_eased(limit, eased[label]))
    changed = problem.goals.duties[duty].model_copy(update={"limits": limits})
    if not targets:
        changed = changed.model_copy(update={"targets": {}})
    goals = problem.goals.model_copy(update={"duties": {duty: changed}})
    # gates hang on which limits there are, so they are found anew
    return Problem(goals, problem.car, problem.parts).demands(assembly, duty)


def _eased(limit: Limit, by: float) -> Limit:
    low = None if limit.min is None else limit.min - by
    high = None if limit.max is None else limit.max + by
    return limit.model_copy(update={"min": low, "max": high})


def held_by(problem: Problem, number: int, asked: Asked, duties: Sequence[str]) -> Setting | None:
    """Settings of one build that hold what is asked, for each of the duties; None where there are none."""
    build = problem.space.build(number)
    setting: Setting = {}
    ready: dict[str, tuple[Assembly, list[Demand]]] = {}
    for duty in duties:
        assembly = problem.assembly(build, duty)
        if assembly is None:
            return None
        wanted = wanted_by(problem, assembly, duty, asked)
        found = first_held(assembly, wanted, problem.families)
        if found is None:
            return None
        setting[duty] = found
        ready[duty] = assembly, wanted
    swap = _changeover(asked)
    return setting if swap is None else _together(problem, number, ready, swap.eased)


def _together(
    problem: Problem, number: int, ready: dict[str, tuple[Assembly, list[Demand]]], minutes: float
) -> Setting | None:
    work = work_of(problem, number, {d: assembly for d, (assembly, _) in ready.items()}, minutes)
    assemblies = {duty: assembly for duty, (assembly, _) in ready.items()}
    wanted = {duty: limits for duty, (_, limits) in ready.items()}
    sweeps = {d: sweep(a, limits, 10, problem.families) for d, (a, limits) in ready.items()}
    best = pair(assemblies, wanted, sweeps, work, problem.families).best
    return None if best is None else best.positions


def work_of(
    problem: Problem, number: int, assemblies: dict[str, Assembly], minutes: float = 0.0
) -> Work:
    """The work that the goals allow on a build, with so many minutes more."""
    changeover = problem.goals.changeover
    assert changeover is not None
    if changeover.minutes is not None and minutes:
        most = changeover.minutes.model_copy(update={"max": changeover.minutes.max + minutes})
        changeover = changeover.model_copy(update={"minutes": most})
    return Work.of(problem.space.build(number), problem.parts, changeover, assemblies)


def judged(
    problem: Problem, number: int, duty: str, asked: Asked, at: Positions
) -> dict[str, float] | None:
    """What one setting lacks of each limit asked and gate, in the measures' scales; None: no such height."""
    assembly = problem.assembly(problem.space.build(number), duty)
    if assembly is None:
        return None
    wanted = wanted_by(problem, assembly, duty, asked)
    scene = with_stop(assembly.scene(np.array([at], dtype=np.int64).reshape(1, -1)), wanted)
    return dict(verdict_of(scene, wanted)["shortfalls"])


def _changeover(asked: Asked) -> Wish | None:
    return next((wish for wish in asked if not wish.duty), None)


@dataclass
class Oracle:
    """Answers for all builds of a space, nearest first, and remembers.

    ``order`` is the builds' numbers, all of them for a 'no' to be proven; ``executor`` runs builds in other
    processes, which have the problem; ``until`` is when ``time.monotonic()`` ends the search with TimeUp.
    """

    problem: Problem
    order: Sequence[int]
    until: float
    rows: dict[int, Row] = field(default_factory=dict)
    executor: Executor | None = None
    abreast: int = 1
    tell: Callable[[int], None] = lambda searched: None
    searched: int = 0
    failed: set[int] = field(default_factory=set)
    _none: dict[int, list[Asked]] = field(default_factory=dict)
    _known: dict[Asked, Held | None] = field(default_factory=dict)

    def __call__(self, asked: Iterable[Wish]) -> bool:
        """Whether some build holds all that is asked; each duty named is served."""
        return self.held(frozenset(asked)) is not None

    def held(self, asked: Asked, duties: Sequence[str] | None = None) -> Held | None:
        """A build that holds what is asked; None where it is proven that there is none.

        ``duties`` have to be served even where nothing is asked of them. Raises TimeUp.
        """
        named = {wish.duty for wish in asked} if duties is None else {*duties}
        served = [duty for duty in self.problem.duties if duty in named]
        key = asked | {Wish(duty, "") for duty in served}
        if key not in self._known:
            witness = self._from_known(asked, served)
            self._known[key] = witness or self._search(asked, served, key)
        return self._known[key]

    def _from_known(self, asked: Asked, served: list[str]) -> Held | None:
        """A setting of an earlier answer, or of the run's own rows, that holds this too."""
        earlier = [held for held in self._known.values() if held is not None]
        for held in [*reversed(earlier), *self._near_rows(asked, served)]:
            if set(served) <= set(held.setting) and self._holds(held, asked, served):
                return Held(held.number, {duty: held.setting[duty] for duty in served})
        return None

    def _near_rows(self, asked: Asked, served: list[str]) -> Iterator[Held]:
        """Rows whose setting lacks nothing that is asked outright."""
        if _changeover(asked) is not None:
            return
        strict = {(wish.duty, wish.label) for wish in asked if not wish.eased}
        for number in self.order:
            duties = self.rows.get(number, {}).get("duties", {})
            some = {duty: duties[duty] for duty in served if duty in duties}
            lacks = {(d, label) for d, each in some.items() for label in each["shortfalls"]}
            if len(some) == len(served) and not lacks & strict:
                places = {d: each.get("positions") for d, each in some.items()}
                if None not in places.values():
                    yield Held(number, {d: tuple(at or ()) for d, at in places.items()})

    def _holds(self, held: Held, asked: Asked, served: list[str]) -> bool:
        if _changeover(asked) is not None and not self._swaps(held, asked, served):
            return False
        return all(
            judged(self.problem, held.number, duty, asked, held.setting[duty]) == {}
            for duty in served
        )

    def _swaps(self, held: Held, asked: Asked, served: list[str]) -> bool:
        """Whether an earlier answer's settings go together; known only of those paired no looser."""
        swap = _changeover(asked)
        return any(
            known is held
            and (paired := _changeover(before)) is not None
            and swap is not None
            and paired.eased <= swap.eased
            and set(served) == set(held.setting)
            for before, known in self._known.items()
        )

    def _search(self, asked: Asked, served: list[str], key: Asked) -> Held | None:
        """Go through the builds until one holds."""
        builds = (n for n in self.order if not self._covered(n, key))
        if self.executor is None:
            return self._one_by_one(builds, asked, served, key)
        return self._abreast(builds, asked, served, key)

    def _one_by_one(
        self, builds: Iterator[int], asked: Asked, served: list[str], key: Asked
    ) -> Held | None:
        for number in builds:
            if time.monotonic() > self.until:
                raise TimeUp
            try:
                setting = held_by(self.problem, number, asked, served)
            except Exception:
                self._failed(number)
                setting = None
            held = self._note(number, key, setting)
            if held is not None:
                return held
        return None

    def _abreast(
        self, builds: Iterator[int], asked: Asked, served: list[str], key: Asked
    ) -> Held | None:
        assert self.executor is not None
        under_way: dict[Future[Any], int] = {}
        more = True
        try:
            while more or under_way:
                while more and len(under_way) < 2 * self.abreast:
                    number = next(builds, None)
                    more = number is not None
                    if number is not None:
                        task = self.executor.submit(ask_task, held_by, number, asked, served)
                        under_way[task] = number
                left = self.until - time.monotonic()
                if left <= 0:
                    raise TimeUp
                for task in wait(under_way, left, FIRST_COMPLETED).done:
                    number = under_way.pop(task)
                    held = self._note(number, key, self._result(number, task))
                    if held is not None:
                        return held
        finally:
            for task in under_way:
                task.cancel()
        return None

    def _result(self, number: int, task: Future[Any]) -> Setting | None:
        try:
            found: Setting | None = task.result()
        except BrokenExecutor:
            raise
        except Exception:
            self._failed(number)
            return None
        return found

    def _failed(self, number: int) -> None:
        """A build that cannot be searched is told, and never the end of it; a 'no' leaves it open."""
        self.failed.add(number)

    def _note(self, number: int, key: Asked, setting: Setting | None) -> Held | None:
        self.searched += 1
        self.tell(self.searched)
        if setting is None:
            self._none.setdefault(number, []).append(key)
            return None
        return Held(number, setting)

    def _covered(self, number: int, key: Asked) -> bool:
        """Whether an earlier 'no' of a build says no to this too: with more asked, but the same stop."""
        return any(
            before <= key and not any(_sets_stop(wish, before) for wish in key - before)
            for before in self._none.get(number, [])
        )

    def learn(self, number: int, asked: Asked, duties: Sequence[str]) -> None:
        """Take over that a search found nothing in a build that holds this."""
        key = asked | {Wish(duty, "") for duty in duties}
        self._none.setdefault(number, []).append(key)


def _sets_stop(wish: Wish, before: Asked) -> bool:
    """Whether a limit has a say in a stop that was solved before, so that asking it changes other figures."""
    if not wish.label or wish.duty not in {other.duty for other in before if other.duty}:
        return False
    return MEASURES[measure_of(wish.label)].state is not None

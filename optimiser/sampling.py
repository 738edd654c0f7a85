"""After the search: the ranked candidates that hold every limit are built many times, best first.

Taken up in the order of the ranking and written down in that order too, until so many as the goals keep have
enough yield or none is left: which candidates have yields does not depend on processes or interruptions.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from optimiser.ledger import BUILT, Ledger
from optimiser.problem import Problem
from optimiser.ranking import Row, feasible, key
from optimiser.sound_rows import checked_rows
from optimiser.workers import MOST_DEATHS, revived, sample_task
from optimiser.yields import failed_record

Record = dict[str, Any]
Write = Callable[[], None]

POLL = 0.5  # s between looks at whether to stop


class Sampling:
    """The candidates of one run that are still to be built many times.

    Args:
        ledger: the run's; records are written to its table ``as_built``.
        problem: the run's inputs.
        workers: how many processes work at a time.
        put: does what writes to the ledger.
    """

    def __init__(
        self, ledger: Ledger, problem: Problem, workers: int, put: Callable[[Write], None]
    ) -> None:
        self.ledger = ledger
        self.problem = problem
        self.workers = workers
        self.put = put
        self.known = ledger.built()
        self.before = ledger.known(BUILT)
        ranked = sorted((key(row), int(row["build"])) for row in ledger.each() if feasible(row))
        self.order = deque(number for _, number in ranked)
        self.sampled = 0
        self.enough = 0
        self._settle()
        self._take_over()

    @property
    def complete(self) -> bool:
        """Whether nothing is left to do."""
        return self.enough >= self.problem.goals.search.keep or not self.order

    def run(
        self,
        executor: Executor,
        stop: Callable[[], bool],
        tell: Callable[[], None],
    ) -> Executor:
        """Go on until all is done, or until ``stop`` says so; returns the executor that is left.

        A pool that breaks is made anew, and the first candidate is then built with none beside it; one that
        breaks the pool time and again even so is written down as failed.
        """
        deaths = 0
        alone = False
        while not self.complete and not stop():
            before = self.sampled
            try:
                self._run(executor, stop, tell, 1 if alone else self.workers + 1)
                alone = False
            except BrokenProcessPool:
                executor.shutdown(wait=False, cancel_futures=True)
                executor = revived(self.problem, self.workers)
                deaths = deaths + 1 if alone and self.sampled == before else 0
                alone = True
                if deaths >= MOST_DEATHS:
                    reason = f"the worker process died {MOST_DEATHS} times while building it"
                    self._write(failed_record(self.problem, self.order[0], reason))
                    deaths = 0
        return executor

    def _run(
        self, executor: Executor, stop: Callable[[], bool], tell: Callable[[], None], most: int
    ) -> None:
        """Build candidates, so many at a time; one at a time ends with the first that is built."""
        flying: dict[int, Future[Record]] = {}
        try:
            while not self.complete and not stop():
                for number in list(self.order)[:most]:
                    if number not in flying and number not in {*self.known, *self.before}:
                        flying[number] = executor.submit(sample_task, self._row(number))
                first = flying[self.order[0]]
                wait([first], timeout=POLL)
                if first.done():
                    self._write(first.result())
                    self._take_over()
                    tell()
                    if most == 1:
                        return
        finally:
            for future in flying.values():
                future.cancel()

    def _row(self, number: int) -> Row:
        """A candidate's row, looked at before it is built on."""
        return next(checked_rows(self.problem, [self.ledger.row(number)], self.ledger.path))

    def _take_over(self) -> None:
        """Write down the candidates at the head of the order of which an earlier run's cars are told."""
        while not self.complete and self.order[0] in self.before:
            self._write(self.ledger.known_of(BUILT, self.order[0]))

    def _write(self, record: Record) -> None:
        self.put(lambda: self.ledger.add_built(record["number"], record))
        self.known[record["number"]] = record
        self._settle()

    def _settle(self) -> None:
        """Count the candidates at the head of the order that are written down already."""
        while not self.complete and self.order[0] in self.known:
            self.sampled += 1
            self.enough += bool(self.known[self.order.popleft()]["enough"])

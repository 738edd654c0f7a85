"""The coordinator: one process that owns the run folder, hands out builds and alone writes the ledger."""

from __future__ import annotations

import signal
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import FrameType

from optimiser.builds import Row
from optimiser.cluster import ClusterExecutor
from optimiser.ledger import DONE, FAILED, SWEEPS
from optimiser.problem import Problem
from optimiser.promising import Promising
from optimiser.proposer import LED, MOST_IN_ORDER, PROMISING_THEN_LED, Led, Proposer
from optimiser.ranking import feasible, key
from optimiser.runs import FINISHED, SEARCHING, STOPPED, Run, coverage_now
from optimiser.sampling import Sampling
from optimiser.sound_rows import check_sweeps
from optimiser.workers import (
    MOST_DEATHS,
    SchedulerGone,
    WorkerDied,
    count_workers,
    finish_task,
    make_executor,
    search_task,
    stop_now,
)

# How long builds under way may go on after the time is up, s.
GRACE = 30.0
# Builds searched before their rate is believed.
ENOUGH = 20
SAVE_EVERY = 10.0


@dataclass
class Progress:
    """How far a search is; handed to whoever shows it."""

    builds: int
    done: int = 0
    failed: int = 0
    serving: int = 0
    best: Row | None = None
    started: float = field(default_factory=time.monotonic)
    done_before: int = 0
    hours: float = 0.0
    phase: str = "searching"
    waiting: str | None = None
    notices: list[str] = field(default_factory=list)

    @property
    def rate(self) -> float:
        """Builds finished a second in this stretch."""
        return (self.done - self.done_before) / max(1e-9, time.monotonic() - self.started)

    @property
    def seconds_left(self) -> float | None:
        """Seconds to the end at this rate, at most to the end of the time allowed."""
        to_go = self.seconds_to_all
        return None if to_go is None else max(0.0, min(to_go, self.seconds_allowed))

    @property
    def seconds_to_all(self) -> float | None:
        """Seconds until all builds are searched, at this rate."""
        if self.done == self.done_before:
            return None
        return (self.builds - self.done) / self.rate

    @property
    def seconds_allowed(self) -> float:
        """What is left of the time allowed, s."""
        return self.hours * 3600.0 - (time.monotonic() - self.started)

    @property
    def suffices(self) -> bool:
        """Whether the time seems to suffice for all builds; believed until enough of them have shown."""
        to_go = self.seconds_to_all
        if to_go is None or self.done - self.done_before < ENOUGH:
            return True
        return to_go <= self.seconds_allowed


Show = Callable[[Progress], None]


class Search:
    """One stretch of searching a run, from its start or from where it was left.

    ``grace`` is how long builds under way may go on after the time is up, s; one not done then has no row.
    """

    def __init__(
        self,
        run: Run,
        problem: Problem,
        show: Show,
        cluster: ClusterExecutor | None = None,
        grace: float | None = None,
    ) -> None:
        self.run = run
        self.grace = GRACE if grace is None else grace
        self.order = run.order
        self.problem = problem
        self.show = show
        self.cluster = cluster
        self.cluster_size: tuple[int, int] | None = None
        self.gone = False
        self.sampled = False
        self.workers = count_workers(problem.goals.search.workers)
        self.deadline = time.monotonic() + problem.goals.search.hours * 3600.0
        self.interrupts = 0
        self.deaths: dict[int, int] = {}
        self.again: list[int] = []
        self.known = run.ledger.known(SWEEPS)
        self.flying: dict[Future[Row], int] = {}
        self.saved = time.monotonic()
        self.progress = Progress(problem.space.builds, hours=problem.goals.search.hours)

    def go(self) -> str:
        """Search until all builds are done, the time is up or the user stops it; returns the status."""
        self._start()
        executor = self.cluster or make_executor(self.problem, self.workers)
        try:
            with self._interruptible():
                executor = self._loop(executor, self._proposer())
                executor = self._sample(executor)
        except SchedulerGone:
            self.gone = True
            self._keep_finished()
        finally:
            # what is still under way has no row, and resume searches it again
            if self.flying:
                stop_now(executor)
            executor.shutdown(wait=True, cancel_futures=True)
        return self._finish()

    def _start(self) -> None:
        done, failed, _ = self.run.ledger.counts()
        self.progress.done = self.progress.done_before = done
        self.progress.failed = failed
        for row in self.run.ledger.each():
            self._note_best(row)
        self.run.update(status=SEARCHING)
        if self.cluster is not None:
            self.run.log("started", cluster=True, builds_done=done)
            self._hear(self.cluster)
        else:
            self.run.log("started", workers=self.workers, builds_done=done)

    def _proposer(self) -> Proposer:
        """Who says which build is next at the start of this stretch."""
        # a run that was led once stays led: it was seen that the time would not suffice
        if self.problem.space.builds > MOST_IN_ORDER and self.order != PROMISING_THEN_LED:
            self.order = LED
        ledger = self.run.ledger
        given = ledger.finished()
        if self.order in (LED, PROMISING_THEN_LED):
            return Led(self.problem, ledger.each(), given)
        self.progress.phase = "looking at some of the builds"
        self.show(self.progress)
        proposer = Promising(self.problem, ledger.each(), given)
        self.progress.phase = "searching"
        return proposer

    def _led_where_time_is_short(self, proposer: Proposer) -> Proposer:
        """The same proposer; or one that leads the rest, once it is seen that not all can be searched."""
        if not isinstance(proposer, Promising) or self.progress.suffices:
            return proposer
        self.order = PROMISING_THEN_LED
        self.run.log("the time does not suffice for all builds", builds_done=self.progress.done)
        self.run.update(coverage=coverage_now(self.run, self.problem, self.order))
        out = self.run.ledger.finished() | set(self.flying.values()) | set(self.again)
        return Led(self.problem, self.run.ledger.each(), out)

    def _loop(self, executor: Executor, proposer: Proposer) -> Executor:
        while True:
            try:
                self._hand_out(executor, proposer)
                if not self.flying or self.interrupts > 1:
                    return executor
                if time.monotonic() > self.deadline:
                    self._drop_waiting()
                if time.monotonic() > self.deadline + self.grace:
                    return executor
                if self.interrupts and self.cluster is not None and not self.cluster.workers:
                    return executor
                finished, _ = wait(self.flying, timeout=0.5, return_when=FIRST_COMPLETED)
                for future in finished:
                    row = self._row(future)
                    del self.flying[future]
                    self._write(row)
                    if "failed" not in row:
                        proposer.tell(row)
                proposer = self._led_where_time_is_short(proposer)
            except BrokenProcessPool:
                executor = self._revive(executor)
            if self.cluster is not None:
                self._hear(self.cluster)
            self.show(self.progress)
            self._save_now_and_then()

    def _sample(self, executor: Executor) -> Executor:
        """Build ranked candidates many times, in processes of this machine, unless stopped by the user."""
        sampling = Sampling(self.run.ledger, self.problem, self.workers)
        if sampling.complete or self.interrupts:
            self._note_sampling(sampling)
            return executor
        own = executor
        if self.cluster is not None:
            own = make_executor(self.problem, self.workers)
        elif self.flying:
            # what is still under way has had its time
            stop_now(executor)
            self.flying.clear()
            own = make_executor(self.problem, self.workers)

        def tell() -> None:
            self.progress.phase = f"{sampling.sampled} candidates built many times"
            self.show(self.progress)

        self.progress.phase = "building candidates many times"
        self.show(self.progress)
        own = sampling.run(own, lambda: self.interrupts > 0, tell)
        self._note_sampling(sampling)
        if self.cluster is None:
            return own
        own.shutdown(wait=True, cancel_futures=True)
        return executor

    def _note_sampling(self, sampling: Sampling) -> None:
        self.sampled = sampling.complete
        self.run.update(
            as_built={
                "candidates": sampling.sampled,
                "enough": sampling.enough,
                "cars": self.problem.errors.samples,
                "complete": sampling.complete,
            }
        )
        self.run.log("built many times", candidates=sampling.sampled, complete=sampling.complete)

    def _drop_waiting(self) -> None:
        """Builds that no worker has begun are not begun any more."""
        for future in list(self.flying):
            if future.cancel():
                del self.flying[future]

    def _row(self, future: Future[Row]) -> Row:
        """A build's row; of one that kills its worker time and again, a failed one."""
        try:
            return future.result()
        except WorkerDied as error:
            return {"build": self.flying[future], "failed": str(error)}

    def _keep_finished(self) -> None:
        """Write what came back before the scheduler went."""
        for future, number in self.flying.items():
            if future.done() and not isinstance(future.exception(), SchedulerGone):
                row = self._row(future)
                assert row["build"] == number
                self._write(row)

    def _hear(self, cluster: ClusterExecutor) -> None:
        """What a cluster has to tell: who came, went or was left out, and what it waits for."""
        size = (cluster.workers, cluster.threads)
        if size != self.cluster_size:
            self.cluster_size = size
            self.run.log("cluster", workers=size[0], threads=size[1])
        for notice in cluster.notices():
            self.run.log("cluster", notice=notice)
            self.progress.notices.append(notice)
        self.progress.waiting = cluster.trouble

    def _hand_out(self, executor: Executor, proposer: Proposer) -> None:
        most = self.workers + 1
        if self.cluster is not None:
            # with no room there is still one to wait for, so that a lost cluster is noticed
            most = max(1, self.cluster.room)
        while len(self.flying) < most and not self.interrupts and time.monotonic() < self.deadline:
            number = self.again.pop() if self.again else proposer.next()
            if number is None:
                return
            try:
                self.flying[self._submit(executor, number)] = number
            except BrokenProcessPool:
                self.again.append(number)
                raise

    def _submit(self, executor: Executor, number: int) -> Future[Row]:
        """Queue one build, with what an earlier run found of it; a cluster's workers search it all."""
        if self.cluster is None and number in self.known:
            known = self.run.ledger.known_of(SWEEPS, number)
            check_sweeps(self.problem, number, known, self.run.ledger.path)
            return executor.submit(finish_task, number, known)
        return executor.submit(search_task, number)

    def _revive(self, executor: Executor) -> Executor:
        """A new pool after a worker died; what was under way is searched again.

        A broken pool does not say whose build killed it, so each build under way is counted; one that was
        there every time is written down as failed.
        """
        for future, number in self.flying.items():
            if future.done() and future.exception() is None:
                self._write(future.result())
                continue
            self.deaths[number] = self.deaths.get(number, 0) + 1
            if self.deaths[number] < MOST_DEATHS:
                self.again.append(number)
            else:
                reason = f"the worker process died {MOST_DEATHS} times while searching it"
                self._write({"build": number, "failed": reason})
        self.flying.clear()
        executor.shutdown(wait=False, cancel_futures=True)
        self.run.log("a worker process died")
        return make_executor(self.problem, self.workers)

    def _write(self, row: Row) -> None:
        failed = "failed" in row
        covered = 0 if failed else self.problem.space.combinations(row["build"])
        self.run.ledger.add(row["build"], FAILED if failed else DONE, covered, row)
        self.progress.done += 1
        if failed:
            self.progress.failed += 1
            self.run.log("build failed", build=row["build"], reason=row["failed"])
        else:
            self._note_best(row)

    def _note_best(self, row: Row) -> None:
        self.progress.serving += feasible(row)
        if self.progress.best is None or key(row) < key(self.progress.best):
            self.progress.best = row

    def _save_now_and_then(self) -> None:
        if time.monotonic() - self.saved > SAVE_EVERY:
            self.saved = time.monotonic()
            self.run.update(coverage=coverage_now(self.run, self.problem, self.order))

    def _finish(self) -> str:
        cover = coverage_now(self.run, self.problem, self.order)
        done = self.progress.done == self.problem.space.builds
        status, reason = FINISHED, "all builds searched"
        if not done and self.gone:
            status, reason = STOPPED, "the cluster's scheduler is gone"
        elif self.interrupts and not (done and self.sampled):
            status, reason = STOPPED, "stopped by the user"
        elif not done:
            reason = "time is up"
        self.run.update(status=status, reason=reason, coverage=cover)
        self.run.log("ended", status=status, reason=reason, builds_done=cover["builds_done"])
        self.run.write_ranking(self.problem)
        if done and self.sampled:
            self.run.ledger.forget_known()
        self.run.ledger.settle()
        return status

    @contextmanager
    def _interruptible(self) -> Iterator[None]:
        """Ctrl-C once: no new builds, those under way are finished; twice: now."""

        def note(_signal: int, _frame: FrameType | None) -> None:
            self.interrupts += 1
            self.progress.phase = "finishing the builds under way (Ctrl-C again: stop now)"

        before = signal.signal(signal.SIGINT, note)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before)

"""The coordinator: one process that owns the run folder, hands out builds and alone writes the ledger."""

from __future__ import annotations

import signal
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any

from optimiser.builds import Row
from optimiser.cluster import ClusterExecutor
from optimiser.ledger import DONE, FAILED, SWEEPS
from optimiser.pace import Progress
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
    WorkersKeepDying,
    count_workers,
    finish_task,
    make_executor,
    revived,
    search_task,
    stop_now,
)
from optimiser.writing import WRITE_FAULTS, CannotWrite, fault_words, patiently

# How long builds under way may go on after the time is up, s.
GRACE = 30.0
# How often run.json tells how far it is, and how often the log, s.
SAVE_EVERY = 10.0
LOG_EVERY = 60.0
BY_USER = "stopped by the user"
STOP_SIGNALS = [
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
]


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
        self.sampled = False
        self.as_built: dict[str, Any] | None = None
        self.workers = count_workers(problem.goals.search.workers)
        self.deadline = time.monotonic() + problem.goals.search.hours * 3600.0
        self.interrupts = 0
        self.preparing = True
        self.reason = ""
        self.executor: Executor
        # builds that were under way when a worker died; whether one of them is now under way alone, and how
        # often a worker died that had nothing else to do
        self.suspects: list[int] = []
        self.alone = False
        self.deaths: Counter[int] = Counter()
        self.known = run.ledger.known(SWEEPS)
        self.flying: dict[Future[Row], int] = {}
        self.saved = self.logged = time.monotonic()
        self.progress = Progress(problem.space.builds, hours=problem.goals.search.hours)

    def go(self) -> str:
        """Search until all builds are done, the time is up, the user stops it or it cannot go on.

        Returns the status; ``reason`` then says why it ended. Whatever stops it, what is finished is kept.
        """
        with self._interruptible():
            try:
                self._start()
                self.executor = self.cluster or make_executor(self.problem, self.workers)
                proposer = self._proposer()
            except KeyboardInterrupt:
                return self._finish(BY_USER)
            self.preparing = False
            return self._finish(self._search(proposer))

    def _search(self, proposer: Proposer) -> str | None:
        """Search as far as it goes; returns what halted it, None where nothing did."""
        try:
            self._loop(proposer)
            self._sample()
        except SchedulerGone:
            return self._keep_finished() or "the cluster's scheduler is gone"
        except (WorkersKeepDying, CannotWrite) as error:
            return str(error)
        except WRITE_FAULTS as error:
            return f"the run cannot be read or written: {fault_words(error)}"
        finally:
            # what is still under way has no row, and resume searches it again
            if self.flying or self.interrupts > 1:
                stop_now(self.executor)
            self.executor.shutdown(wait=True, cancel_futures=True)
        return None

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
        self._save()
        out = self.run.ledger.finished() | set(self.flying.values()) | set(self.suspects)
        return Led(self.problem, self.run.ledger.each(), out)

    def _loop(self, proposer: Proposer) -> None:
        while True:
            try:
                self._hand_out(proposer)
                if not self.flying or self.interrupts > 1:
                    return
                if time.monotonic() > self.deadline:
                    self._drop_waiting()
                if time.monotonic() > self.deadline + self.grace:
                    return
                if self.interrupts and self.cluster is not None and not self.cluster.workers:
                    return
                finished, _ = wait(self.flying, timeout=0.5, return_when=FIRST_COMPLETED)
                for future in finished:
                    row = self._row(future)
                    del self.flying[future]
                    self._write(row)
                    if "failed" not in row:
                        proposer.tell(row)
                proposer = self._led_where_time_is_short(proposer)
            except BrokenProcessPool:
                self._revive()
            if self.cluster is not None:
                self._hear(self.cluster)
            self.show(self.progress)
            self._save_now_and_then()

    def _sample(self) -> None:
        """Build ranked candidates many times, in processes of this machine, unless stopped by the user."""
        sampling = Sampling(self.run.ledger, self.problem, self.workers, self._patiently)
        if not sampling.complete and not self.interrupts:
            self.progress.phase = "building candidates many times"
            self.show(self.progress)
            self._save()
            if self.cluster is not None or self.flying:
                # builds still under way have had their time
                stop_now(self.executor)
                self.flying.clear()
                self.executor = make_executor(self.problem, self.workers)

            def tell() -> None:
                self.progress.phase = f"{sampling.sampled} candidates built many times"
                self.show(self.progress)
                self._save_now_and_then()

            self.executor = sampling.run(self.executor, lambda: self.interrupts > 0, tell)
        self._note_sampling(sampling)

    def _note_sampling(self, sampling: Sampling) -> None:
        self.sampled = sampling.complete
        self.as_built = {
            "candidates": sampling.sampled,
            "enough": sampling.enough,
            "cars": self.problem.errors.samples,
            "complete": sampling.complete,
        }
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

    def _keep_finished(self) -> str | None:
        """Write what came back before the scheduler went; returns what kept it from being written."""
        try:
            for future, number in self.flying.items():
                if future.done() and not isinstance(future.exception(), SchedulerGone):
                    row = self._row(future)
                    assert row["build"] == number
                    self._write(row)
        except CannotWrite as error:
            return f"the cluster's scheduler is gone, and {error}"
        return None

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

    def _hand_out(self, proposer: Proposer) -> None:
        if self.alone and self.flying:
            return
        self.alone = bool(self.suspects)
        most = self.workers + 1
        if self.cluster is not None:
            # with no room there is still one to wait for, so that a lost cluster is noticed
            most = max(1, self.cluster.room)
        if self.alone:
            most = 1
        while len(self.flying) < most and self._goes_on:
            number = self.suspects.pop() if self.alone else proposer.next()
            if number is None:
                return
            try:
                self.flying[self._submit(number)] = number
            except BrokenProcessPool:
                self.suspects.append(number)
                raise

    @property
    def _goes_on(self) -> bool:
        """Whether builds are still begun."""
        return not self.interrupts and time.monotonic() < self.deadline

    def _submit(self, number: int) -> Future[Row]:
        """Queue one build, with what an earlier run found of it; a cluster's workers search it all."""
        if self.cluster is None and number in self.known:
            known = self.run.ledger.known_of(SWEEPS, number)
            check_sweeps(self.problem, number, known, self.run.ledger.path)
            return self.executor.submit(finish_task, number, known)
        return self.executor.submit(search_task, number)

    def _revive(self) -> None:
        """A new pool after a worker died; what was under way is searched again.

        A broken pool does not say whose build killed it, so each build that was under way is then searched
        alone; one that kills its worker even so, time and again, is written down as failed.
        """
        for future, number in self.flying.items():
            if future.done() and future.exception() is None:
                self._write(future.result())
                continue
            self.deaths[number] += self.alone
            if self.deaths[number] < MOST_DEATHS:
                self.suspects.append(number)
            else:
                self._write({"build": number, "failed": str(WorkerDied())})
        self.flying.clear()
        self.executor.shutdown(wait=False, cancel_futures=True)
        self.run.log("a worker process died")
        # a shutdown or a closed terminal ends the workers too: nothing is begun any more
        if not self.interrupts:
            self.executor = revived(self.problem, self.workers)

    def _write(self, row: Row) -> None:
        failed = "failed" in row
        number = row["build"]
        covered = 0 if failed else self.problem.space.combinations(number)
        status = FAILED if failed else DONE
        self._patiently(lambda: self.run.ledger.add(number, status, covered, row))
        self.progress.done += 1
        if failed:
            self.progress.failed += 1
            self.run.log("build failed", build=number, reason=row["failed"])
        else:
            self._note_best(row)

    def _patiently(self, write: Callable[[], None]) -> None:
        """Write what the run hangs on, and where the disk refuses wait for it. Raises CannotWrite."""

        def tell(waiting: str | None) -> None:
            self.progress.waiting = waiting
            self.show(self.progress)

        patiently(write, tell, lambda: self.interrupts > 1)

    def _note_best(self, row: Row) -> None:
        self.progress.serving += feasible(row)
        if self.progress.best is None or key(row) < key(self.progress.best):
            self.progress.best = row

    def _save_now_and_then(self) -> None:
        now = time.monotonic()
        if now - self.logged > LOG_EVERY:
            self.logged = now
            self.run.log("progress", builds_done=self.progress.done, **self.progress.facts())
        if now - self.saved > SAVE_EVERY:
            self._save()

    def _save(self) -> None:
        """Tell in run.json how far the search is; a disk that refuses is left to what must be written."""
        self.saved = time.monotonic()
        cover = coverage_now(self.run, self.problem, self.order)
        with suppress(OSError):
            self.run.update(coverage=cover, progress=self.progress.facts())

    def _finish(self, halted: str | None) -> str:
        """Write the ranking and how it ended; returns the status."""
        done = self.progress.done == self.problem.space.builds
        status, self.reason = FINISHED, "all builds searched"
        if halted is not None:
            status, self.reason = STOPPED, halted
        elif self.interrupts and not (done and self.sampled):
            status, self.reason = STOPPED, BY_USER
        elif not done:
            self.reason = "time is up"
        self.progress.phase = status

        def put_down() -> None:
            # the ranking first: a run that says it is finished has one
            self.run.write_ranking(self.problem)
            told = {} if self.as_built is None else {"as_built": self.as_built}
            self.run.update(
                status=status,
                reason=self.reason,
                coverage=coverage_now(self.run, self.problem, self.order),
                progress=self.progress.facts(),
                **told,
            )

        try:
            # a disk that was waited for in vain is not waited for again
            put_down() if halted is not None else self._patiently(put_down)
        except (CannotWrite, *WRITE_FAULTS) as error:
            status, self.reason = STOPPED, halted or str(error)
        self.run.log("ended", status=status, reason=self.reason, builds_done=self.progress.done)
        if done and self.sampled and status == FINISHED:
            self.run.ledger.forget_known()
        self.run.ledger.settle()
        return status

    @contextmanager
    def _interruptible(self) -> Iterator[None]:
        """Ctrl-C once: no new builds, those under way are finished; twice: now.

        A system that shuts down, or a terminal that is closed, is heard like Ctrl-C.
        """

        def note(_signal: int, _frame: FrameType | None) -> None:
            self.interrupts += 1
            self.progress.phase = "finishing the builds under way (Ctrl-C again: stop now)"
            # on a new machine the kernel is compiled first, which knows nothing of us
            if self.preparing and self.interrupts > 1:
                raise KeyboardInterrupt

        # one that is ignored was put off on purpose, as nohup does; a script's shell puts off Ctrl-C unasked
        put_off = {s for s in STOP_SIGNALS if signal.getsignal(s) is signal.SIG_IGN}
        heard = [s for s in STOP_SIGNALS if s == signal.SIGINT or s not in put_off]
        before = {each: signal.signal(each, note) for each in heard}
        try:
            yield
        finally:
            for each, handler in before.items():
                signal.signal(each, handler)

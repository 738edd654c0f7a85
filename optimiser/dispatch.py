"""Hands a run's tasks to the workers of a cluster, each task to a worker that is known to be fit for it.

One coroutine owns all that changes, so nothing here needs a lock. It looks at the cluster's roster twice a
second. A worker that is new there is sent the problem, once; if its answer says that it would compute other
figures it is left out. A worker that is fit has as many tasks as threads under way and one more at hand.
When it leaves the roster, its tasks go to others. We cannot tell which of a dead worker's tasks killed it,
so each of them is tried again alone on a worker: then it is known, and no harmless build is blamed for
long. A worker may also hang and stay on the roster: once nothing else is to do, what takes it far too long
is given to an idle one as well, and the first answer counts. Answers are pure functions of the inputs, so
it is the same one.

The library gets every task as a call of ``eval`` on a fixed text: its scheduler, which reads all tasks,
then needs no shimwright, and a worker that has none answers with an import error of its own.
"""

from __future__ import annotations

import asyncio
import time
import uuid
from collections import deque
from collections.abc import Awaitable, Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any, TypeGuard

from optimiser.errands import HELLO, WORDS, Answer
from optimiser.workers import MOST_DEATHS, SchedulerGone, WorkerDied

# The library's own client: its annotations tell less than they should.
Client = Any

ERRAND = "__import__('optimiser.errands', fromlist=['serve']).serve(errand)"
LOOK_EVERY = 0.5
# A call to the scheduler that takes longer is given up, s.
CALL = 10.0
# A scheduler that has not answered for so long is waited for, and says so, s.
SILENCE = 3.0
# A scheduler that does not answer for so long is gone, s.
LOST_AFTER = 60.0
# A job that is out so long, s, and so many times longer than any before, may hang: an idle worker tries it.
SLOW = 60.0
SLOWER = 5.0
# Errands in a row that may fail for no reason that we know, before a worker is left out.
MOST_TROUBLES = 5


@dataclass(eq=False)
class Job:
    """One task, until it has its result."""

    task: str
    asked: Any
    future: Future[Any]
    # how often a worker was lost that had it, and when it was first given out
    deaths: int = 0
    since: float = 0.0


@dataclass(eq=False)
class Worker:
    """One worker process of the cluster."""

    address: str
    threads: int
    ready: bool = False
    troubles: int = 0
    greeting: asyncio.Task[None] | None = None
    jobs: dict[Job, asyncio.Task[None]] = field(default_factory=dict)

    @property
    def most(self) -> int:
        """How many tasks it may have: its threads' and one at hand."""
        return self.threads + 1

    @property
    def room(self) -> int:
        """How many more tasks it may be given: none beside one that may kill it, or behind one that another
        worker has done meanwhile."""
        if any(job.deaths or job.future.done() for job in self.jobs):
            return 0
        return self.most - len(self.jobs)


class Dispatcher:
    """Keeps the roster and gives out jobs. Everything but :meth:`put` belongs to its event loop."""

    def __init__(
        self,
        connect: Callable[[], Awaitable[Client]],
        order: dict[str, Any],
        problem: dict[str, Any],
        tell: Callable[[str], None],
        lost_after: float,
    ) -> None:
        self.connect = connect
        self.order = order
        self.problem = problem
        self.tell = tell
        self.lost_after = lost_after
        self.workers: dict[str, Worker] = {}
        self.refused: set[str] = set()
        self.told: set[tuple[str, str]] = set()
        self.queue: deque[Job] = deque()
        self.suspects: deque[Job] = deque()
        self.wake = asyncio.Event()
        self.closing = False
        self.heard = time.monotonic()
        self.looked = False
        self.longest = 0.0

    # -- what others may read at any time ---------------------------------------------------------------

    @property
    def fit(self) -> list[Worker]:
        """Workers that may be given builds."""
        return [worker for worker in list(self.workers.values()) if worker.ready]

    @property
    def answering(self) -> bool:
        """Whether the scheduler has answered lately."""
        return time.monotonic() - self.heard < SILENCE

    @property
    def settled(self) -> bool:
        """Whether every worker on the roster has been judged."""
        return self.looked and all(worker.ready for worker in list(self.workers.values()))

    def put(self, job: Job) -> None:
        """Queue a job, from any thread; wake the loop afterwards."""
        self.queue.append(job)

    # -- the loop ---------------------------------------------------------------------------------------

    async def run(self, client: Client) -> None:
        """Work until told to close.

        Raises SchedulerGone where the scheduler does not answer for ``lost_after`` seconds.
        """
        try:
            while not self.closing:
                if await self._look(client):
                    self.heard = time.monotonic()
                elif time.monotonic() - self.heard > self.lost_after:
                    raise SchedulerGone
                elif client.status != "running":
                    client = await self._again(client)
                if client.status == "running":
                    self._assign(client)
                await self._rest(client)
        finally:
            self._lose_all()
            self.drop_queue()
            await closed(client)

    async def _rest(self, client: Client) -> None:
        """Give out jobs as workers become free, until it is time to look at the roster again."""
        until = time.monotonic() + LOOK_EVERY
        while not self.closing and (left := until - time.monotonic()) > 0:
            try:
                await asyncio.wait_for(self.wake.wait(), left)
            except TimeoutError:
                return
            self.wake.clear()
            if client.status == "running":
                self._assign(client)

    async def _again(self, client: Client) -> Client:
        """A new connection for one that has given up; the old one where there is none to be had yet."""
        self._lose_all()
        if client.status not in ("closed", "closing"):
            return client
        try:
            return await self.connect()
        except Exception:
            return client

    async def _look(self, client: Client) -> bool:
        """Compare the roster with what we know of it; False where the scheduler does not answer."""
        try:
            roster = dict(await asyncio.wait_for(client.nthreads(), CALL))
        except Exception:
            return False
        for address in [a for a in self.workers if a not in roster]:
            self._left(self.workers.pop(address))
        self.refused &= set(roster)
        for address, threads in roster.items():
            if address in self.refused:
                continue
            worker = self.workers.setdefault(address, Worker(address, threads))
            worker.threads = threads
            if not worker.ready and worker.greeting is None:
                worker.greeting = asyncio.create_task(self._greet(client, worker))
        self.looked = True
        return True

    def _assign(self, client: Client) -> None:
        """Give waiting jobs to the workers that have the most room, suspects each to an idle one."""
        fit = self.fit
        idle = [worker for worker in fit if not worker.jobs]
        while self.suspects and idle:
            self._give(client, idle.pop(), self.suspects.popleft())
        # for the next suspect one worker is given nothing until it is idle
        kept = min(fit, key=lambda w: len(w.jobs)) if self.suspects and fit else None
        while self.queue:
            free = [worker for worker in fit if worker is not kept and worker.room > 0]
            if not free:
                return
            self._give(client, max(free, key=lambda w: w.room), self.queue.popleft())
        self._try_elsewhere(client, [worker for worker in fit if not worker.jobs])

    def _try_elsewhere(self, client: Client, idle: list[Worker]) -> None:
        """Give jobs that may hang where they are to idle workers too, the longest out first."""
        late = time.monotonic() - max(SLOW, SLOWER * self.longest)
        hanging = [job for job in self._under_way() if job.since < late and self._holders(job) == 1]
        for job in sorted(hanging, key=lambda job: job.since):
            if not idle:
                return
            self._give(client, idle.pop(), job)

    def _under_way(self) -> list[Job]:
        """Jobs that workers have and that nobody has answered."""
        jobs = dict.fromkeys(job for worker in self.workers.values() for job in worker.jobs)
        return [job for job in jobs if not job.future.done()]

    def _holders(self, job: Job) -> int:
        """How many workers have a job."""
        return sum(job in worker.jobs for worker in self.workers.values())

    def _give(self, client: Client, worker: Worker, job: Job) -> None:
        # a future that is not running yet may have been cancelled by who waits for it
        if job.future.running() or job.future.set_running_or_notify_cancel():
            job.since = job.since or time.monotonic()
            worker.jobs[job] = asyncio.create_task(self._do(client, worker, job))

    # -- errands ----------------------------------------------------------------------------------------

    async def _greet(self, client: Client, worker: Worker) -> None:
        """Send the problem to a worker and judge its answer."""
        try:
            answer = await self._send(client, worker, {"task": HELLO, **self.problem})
        except WorkerDied:
            answer = None
        worker.greeting = None
        if answer is not None:
            self._heed(worker, answer)
        self.wake.set()

    async def _do(self, client: Client, worker: Worker, job: Job) -> None:
        """Have a worker do a job: it gets its result, or goes back to the head of the queue."""
        began = time.monotonic()
        try:
            answer = await self._send(client, worker, {"task": job.task, "asked": job.asked})
        except WorkerDied:
            answer = None
            job.deaths += 1
        worker.jobs.pop(job, None)
        if answer is not None and answer[0] == "done":
            worker.troubles = 0
            self.longest = max(self.longest, time.monotonic() - began)
            if not job.future.done():
                job.future.set_result(answer[1])
        else:
            if answer is not None:
                self._heed(worker, answer)
            self._put_back(job)
        self.wake.set()

    async def _send(self, client: Client, worker: Worker, what: dict[str, Any]) -> Answer | None:
        """A worker's answer to an errand; None where it could not give one and nothing is wrong with it.

        Raises WorkerDied where the library says that the errand killed workers.
        """
        from distributed import KilledWorker

        future: Any = None
        try:
            future = client.submit(
                eval,
                ERRAND,
                {"errand": {**self.order, **what}},
                key=f"shimwright-{uuid.uuid4().hex}",
                workers=[worker.address],
                pure=False,
            )
            answer = await future
            if _is_answer(answer):
                return answer
            return "refused", "it answers in a way that this version does not know"
        except KilledWorker:
            raise WorkerDied from None
        except ImportError:
            return "refused", "it has no shimwright, or one without this module"
        except Exception as error:
            if client.status != "running" or (future is not None and future.cancelled()):
                return None
            worker.troubles += 1
            if worker.troubles < MOST_TROUBLES:
                return None
            return "refused", f"it keeps failing: {type(error).__name__}"
        finally:
            if future is not None:
                future.release()

    def _heed(self, worker: Worker, answer: Answer) -> None:
        """Act on what a worker says of itself."""
        word, reason = answer
        # what has left the roster meanwhile is judged anew when it comes back
        here = self.workers.get(worker.address) is worker
        worker.ready = word == "ready"
        if word == "refused" and here:
            del self.workers[worker.address]
            self.refused.add(worker.address)
            # a way that breaks now and then brings the same worker time and again
            if (worker.address, reason) not in self.told:
                self.told.add((worker.address, reason))
                self.tell(f"a worker is left out: {reason}")
            self._take_back(worker)

    # -- workers that go --------------------------------------------------------------------------------

    def _left(self, worker: Worker) -> None:
        """A worker has left the cluster: died, or was sent away, which looks the same from here."""
        for job in worker.jobs:
            job.deaths += 1
        self._take_back(worker)

    def _take_back(self, worker: Worker) -> None:
        """A worker's unfinished jobs go back to the queue."""
        worker.ready = False
        if worker.greeting is not None:
            worker.greeting.cancel()
            worker.greeting = None
        jobs = dict(worker.jobs)
        worker.jobs.clear()
        for job, sent in jobs.items():
            sent.cancel()
            self._put_back(job)

    def _put_back(self, job: Job) -> None:
        """A job that a worker has no more goes to the head of the queue, unless another has it or did it."""
        if job.future.done() or self._holders(job):
            return
        job.since = 0.0
        if job.deaths >= MOST_DEATHS:
            job.future.set_exception(WorkerDied())
        elif job.deaths:
            self.suspects.append(job)
        else:
            self.queue.appendleft(job)

    def _lose_all(self) -> None:
        """The connection is gone, and with it all that was under way: no worker's fault."""
        for worker in self.workers.values():
            self._take_back(worker)
        self.workers.clear()
        self.refused.clear()
        self.looked = False

    def drop_queue(self) -> None:
        """The end: what has no result will have none."""
        while self.queue or self.suspects:
            job = (self.queue or self.suspects).popleft()
            if job.future.running() or job.future.set_running_or_notify_cancel():
                job.future.set_exception(SchedulerGone())


def _is_answer(answer: Any) -> TypeGuard[Answer]:
    """Whether a worker's answer is one of ours: code unlike this may answer with anything."""
    return isinstance(answer, tuple) and len(answer) == 2 and answer[0] in WORDS


async def closed(client: Client) -> None:
    """Close a client, whatever state it is in."""
    try:
        await asyncio.wait_for(client.close(), CALL)
    except Exception:
        return

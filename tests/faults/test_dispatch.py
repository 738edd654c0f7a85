"""The dispatcher against a cluster made up here, whose workers die, hang, come, go and answer late.

No process and no library: one event loop with a clock that the test turns, so that thousands of whole lives
of a cluster take seconds and go the same way each time.
"""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, TypeVar

import numpy as np
import pytest

import optimiser.dispatch as dispatch
from optimiser.dispatch import Dispatcher, Job
from optimiser.workers import MOST_DEATHS, SchedulerGone, WorkerDied

T = TypeVar("T")


class Turned(asyncio.SelectorEventLoop):
    """An event loop whose waits take no time: its clock jumps to what is waited for next."""

    ahead = 1.0

    def time(self) -> float:
        return self.ahead

    def _run_once(self) -> None:
        if not self._ready and self._scheduled:  # type: ignore[attr-defined]
            first = self._scheduled[0].when()  # type: ignore[attr-defined]
            self.ahead += max(0.0, first - self.time())
        super()._run_once()  # type: ignore[misc]


class Sent:
    """A task at a worker, as the library's client hands it out."""

    def __init__(self, made_up: MadeUp, worker: str, errand: dict[str, Any]) -> None:
        self.made_up = made_up
        self.answer: asyncio.Future[Any] = asyncio.get_running_loop().create_future()
        self.errand = errand
        self.worker = worker

    def __await__(self) -> Any:
        return self.answer.__await__()

    def cancelled(self) -> bool:
        return self.answer.cancelled()

    def release(self) -> None:
        self.made_up.sent.discard(self)


class MadeUp:
    """A client of a cluster that is not there: a roster, and tasks that the test answers."""

    def __init__(self, chance: np.random.Generator) -> None:
        self.chance = chance
        self.status = "running"
        self.workers: dict[str, int] = {}
        self.hung: set[str] = set()
        self.sent: set[Sent] = set()
        self.silent = False
        self.named = 0
        # how often a job was given to a worker while another still had it
        self.twice = 0

    async def nthreads(self) -> dict[str, int]:
        if self.silent or self.status != "running":
            raise OSError("nobody answers")
        return dict(self.workers)

    def submit(self, _fn: Any, _text: str, told: dict[str, Any], **how: Any) -> Sent:
        (worker,) = how["workers"]
        task = Sent(self, worker, told["errand"])
        asked = task.errand.get("asked")
        self.twice += asked is not None and any(t.errand.get("asked") == asked for t in self.sent)
        self.sent.add(task)
        asyncio.get_running_loop().create_task(self._work(task))
        return task

    async def close(self) -> None:
        self.status = "closed"

    async def _work(self, task: Sent) -> None:
        """A worker's work: some tenths of a second, or for ever where it hangs."""
        await asyncio.sleep(float(self.chance.uniform(0.05, 0.4)))
        while task.worker in self.hung:
            await asyncio.sleep(1.0)
        if task.answer.done() or task.worker not in self.workers or self.status != "running":
            return
        if task.errand["task"] == "hello":
            task.answer.set_result(("ready", None))
        else:
            task.answer.set_result(("done", ("row", task.errand["asked"])))

    def join(self) -> None:
        self.named += 1
        self.workers[f"w{self.named}"] = int(self.chance.integers(1, 3))

    def lose(self) -> None:
        if self.workers:
            gone = str(self.chance.choice(sorted(self.workers)))
            del self.workers[gone]
            self.hung.discard(gone)

    def hang(self) -> None:
        if self.workers:
            self.hung.add(str(self.chance.choice(sorted(self.workers))))

    def wake(self) -> None:
        self.hung.clear()


def lived(loop: Turned, life: Coroutine[Any, Any, T]) -> T:
    """What a life comes to. In a thread of its own: other tests may have left a loop in this one."""

    def live() -> T:
        try:
            return loop.run_until_complete(life)
        finally:
            for task in asyncio.all_tasks(loop):
                task.cancel()
            loop.run_until_complete(asyncio.sleep(0))
            loop.close()

    with ThreadPoolExecutor(1) as thread:
        return thread.submit(live).result()


def life(seed: int, monkeypatch: pytest.MonkeyPatch) -> tuple[list[Future[Any]], bool, MadeUp]:
    """A cluster's life under strikes: the futures of its jobs, whether it was lost for good, its client."""
    chance = np.random.default_rng(seed)
    loop = Turned()
    client = MadeUp(chance)
    futures: list[Future[Any]] = []
    lost = False

    async def connect() -> MadeUp:
        if client.silent:
            raise OSError("nobody there")
        client.status = "running"
        return client

    async def live() -> None:
        nonlocal lost
        dispatcher = Dispatcher(connect, {}, {}, lambda _: None, lost_after=60.0)
        for _ in range(int(chance.integers(1, 4))):
            client.join()
        running = loop.create_task(dispatcher.run(client))
        jobs = int(chance.integers(3, 30))
        for number in range(jobs):
            future: Future[Any] = Future()
            futures.append(future)
            dispatcher.put(Job("search_task", number, future))
        dispatcher.wake.set()
        for _ in range(int(chance.integers(0, 25))):
            await asyncio.sleep(float(chance.uniform(0.0, 2.0)))
            await strike(client, chance)
        if chance.integers(8) == 0:
            client.silent, client.status = True, "closed"
            lost = True
        else:
            # in the end there is a sound worker, and what hangs hangs for good
            client.silent, client.status = False, "running"
            client.join()
        until = loop.time() + 3600.0
        while not all(f.done() for f in futures) and loop.time() < until:
            await asyncio.sleep(0.5)
        dispatcher.closing = True
        dispatcher.wake.set()
        try:
            await running
        except SchedulerGone:
            assert lost
        assert not dispatcher.queue and not dispatcher.suspects and not dispatcher.workers

    monkeypatch.setattr(dispatch.time, "monotonic", loop.time)
    lived(loop, live())
    monkeypatch.undo()
    return futures, lost, client


async def strike(client: MadeUp, chance: np.random.Generator) -> None:
    kind = int(chance.integers(7))
    if kind <= 1:
        client.join()
    elif kind == 2:
        client.lose()
    elif kind == 3:
        client.hang()
    elif kind == 4:
        client.wake()
    else:
        # the scheduler goes for a while, and its workers with it
        client.status = "closed" if kind == 5 else client.status
        client.silent = True
        client.workers.clear()
        client.hung.clear()
        await asyncio.sleep(float(chance.uniform(0.0, 20.0)))
        client.silent = False
        for _ in range(int(chance.integers(1, 4))):
            client.join()


def test_every_job_ends_once_with_its_own_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    ends = {"done": 0, "died": 0, "gone": 0}
    twice = 0
    for seed in range(400):
        futures, lost, client = life(seed, monkeypatch)
        twice += client.twice
        for number, future in enumerate(futures):
            assert future.done(), (seed, number)
            error = future.exception()
            if error is None:
                assert future.result() == ("row", number)
                ends["done"] += 1
            elif isinstance(error, WorkerDied):
                ends["died"] += 1
            else:
                assert isinstance(error, SchedulerGone) and lost, (seed, number)
                ends["gone"] += 1
    # a test in which nothing is lost, and nothing done twice by one that hung, would prove little
    assert ends["done"] > 4000 and ends["gone"] > 50 and twice > 5, (ends, twice)
    assert ends["died"] < 0.01 * ends["done"], ends


def test_a_worker_that_hangs_keeps_no_job_for_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """It stays on the roster and says nothing; another does its jobs, once nothing else is to do."""
    loop = Turned()
    client = MadeUp(np.random.default_rng(1))
    client.workers = {"w1": 1, "w2": 1}
    futures: list[Future[Any]] = [Future() for _ in range(6)]
    monkeypatch.setattr(dispatch.time, "monotonic", loop.time)

    async def live() -> float:
        dispatcher = Dispatcher(lambda: asyncio.sleep(0, client), {}, {}, lambda _: None, 60.0)
        running = loop.create_task(dispatcher.run(client))
        while len(dispatcher.fit) < 2:
            await asyncio.sleep(0.1)
        client.hung.add("w1")
        began = loop.time()
        for number, future in enumerate(futures):
            dispatcher.put(Job("search_task", number, future))
        dispatcher.wake.set()
        while not all(f.done() for f in futures):
            await asyncio.sleep(0.5)
        took = loop.time() - began
        # it is not given anything more while it sits on what another has done
        late: Future[Any] = Future()
        dispatcher.put(Job("search_task", 9, late))
        dispatcher.wake.set()
        await asyncio.sleep(2.0)
        assert late.result(0) == ("row", 9)
        dispatcher.closing = True
        dispatcher.wake.set()
        await running
        return took

    took = lived(loop, live())
    assert [f.result(0) for f in futures] == [("row", n) for n in range(6)]
    assert dispatch.SLOW < took < 4 * dispatch.SLOW


def test_a_job_that_kills_every_worker_ends_as_died(monkeypatch: pytest.MonkeyPatch) -> None:
    loop = Turned()
    client = MadeUp(np.random.default_rng(2))
    plain = client._work

    async def deadly(task: Sent) -> None:
        if task.errand.get("asked") == 3:
            await asyncio.sleep(0.1)
            client.workers.pop(task.worker, None)
            client.join()
        else:
            await plain(task)

    client._work = deadly  # type: ignore[method-assign]
    client.workers = {"w0": 1, "v0": 1}
    futures: list[Future[Any]] = [Future() for _ in range(8)]
    monkeypatch.setattr(dispatch.time, "monotonic", loop.time)

    async def live() -> None:
        dispatcher = Dispatcher(lambda: asyncio.sleep(0, client), {}, {}, lambda _: None, 60.0)
        running = loop.create_task(dispatcher.run(client))
        for number, future in enumerate(futures):
            dispatcher.put(Job("search_task", number, future))
        dispatcher.wake.set()
        while not all(f.done() for f in futures):
            await asyncio.sleep(0.5)
        dispatcher.closing = True
        dispatcher.wake.set()
        await running

    lived(loop, live())
    assert MOST_DEATHS > 1
    for number, future in enumerate(futures):
        if number == 3:
            assert isinstance(future.exception(0), WorkerDied)
        else:
            assert future.result(0) == ("row", number)

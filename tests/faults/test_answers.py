"""What workers answer, and how often at a time one process searches."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

import pytest

import optimiser.errands as errands
from optimiser.dispatch import Dispatcher, Job
from optimiser.errands import HELLO, passport, serve


class Task:
    """A task at a worker, as the library hands it out."""

    def __init__(self, answer: Any) -> None:
        self._answer = answer

    def __await__(self) -> Any:
        yield from asyncio.sleep(0).__await__()
        return self._answer

    def cancelled(self) -> bool:
        return False

    def release(self) -> None:
        """Nothing is kept."""


class Client:
    """A cluster whose workers answer as the test says."""

    def __init__(self, answers: Callable[[str, dict[str, Any]], Any], *workers: str) -> None:
        self.status = "running"
        self.answers = answers
        self.workers = dict.fromkeys(workers, 1)

    async def nthreads(self) -> dict[str, int]:
        return dict(self.workers)

    def submit(self, _call: Any, _text: str, told: dict[str, Any], **how: Any) -> Task:
        return Task(self.answers(how["workers"][0], told["errand"]))

    async def close(self) -> None:
        self.status = "closed"


def plain(errand: dict[str, Any]) -> tuple[str, Any]:
    """A sound worker's answer."""
    return ("ready", None) if errand["task"] == HELLO else ("done", errand["asked"])


def served(client: Client, jobs: int) -> list[str]:
    """Have a cluster do some jobs, each of which must get its own answer; what was told meanwhile."""
    told: list[str] = []
    futures: list[Future[int]] = [Future() for _ in range(jobs)]

    async def connect() -> Client:
        client.status = "running"
        return client

    async def live() -> None:
        dispatcher = Dispatcher(connect, {}, {}, told.append, 60.0)
        for number, future in enumerate(futures):
            dispatcher.put(Job("search_task", number, future))
        running = asyncio.create_task(dispatcher.run(client))
        until = time.monotonic() + 5.0
        while not all(future.done() for future in futures) and time.monotonic() < until:
            await asyncio.sleep(0.01)
        dispatcher.closing = True
        dispatcher.wake.set()
        await running

    asyncio.run(live())
    assert [future.result(0) for future in futures] == list(range(jobs))
    return told


@pytest.mark.parametrize("odd", [None, 5, "done", ("done",), ("made", 1), ["done", 1]])
@pytest.mark.parametrize("when", ["greeted", "at work"])
def test_a_worker_that_answers_oddly_is_left_out_and_loses_no_job(odd: Any, when: str) -> None:
    def answers(worker: str, errand: dict[str, Any]) -> Any:
        strange = errand["task"] == HELLO if when == "greeted" else errand["task"] != HELLO
        return odd if worker == "w1" and strange else plain(errand)

    told = served(Client(answers, "w1", "w2"), 6)
    assert told == ["a worker is left out: it answers in a way that this version does not know"]


def test_a_worker_that_differs_is_told_once_however_often_the_way_to_it_breaks() -> None:
    def answers(worker: str, errand: dict[str, Any]) -> Any:
        return ("refused", "numba 0.1 there") if worker == "w1" else plain(errand)

    client = Client(answers, "w1", "w2")
    told: list[str] = []
    dispatchers: list[Dispatcher] = []

    async def live() -> None:
        dispatcher = Dispatcher(lambda: asyncio.sleep(0, client), {}, {}, told.append, 60.0)
        dispatchers.append(dispatcher)
        for _ in range(3):
            assert await dispatcher._look(client)
            await asyncio.sleep(0.05)
            assert dispatcher.refused == {"w1"} and len(dispatcher.fit) == 1
            assert dispatcher.settled
            dispatcher._lose_all()
            # who is there now is not known before the next look
            assert not dispatcher.settled

    asyncio.run(live())
    assert told == ["a worker is left out: numba 0.1 there"]


def test_one_process_searches_one_build_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many threads its worker was started with."""
    at_once, most = 0, 0
    counting = threading.Lock()

    def search(_problem: Any, number: int) -> int:
        nonlocal at_once, most
        with counting:
            at_once += 1
            most = max(most, at_once)
        time.sleep(0.02)
        with counting:
            at_once -= 1
        return number

    monkeypatch.setitem(errands.TASKS, "search_task", search)
    monkeypatch.setitem(errands._problems, "some digest", object())
    asks = [
        {"passport": passport(), "digest": "some digest", "task": "search_task", "asked": n}
        for n in range(8)
    ]
    with ThreadPoolExecutor(4) as threads:
        assert list(threads.map(serve, asks)) == [("done", n) for n in range(8)]
    assert most == 1

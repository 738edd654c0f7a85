"""What runs in a worker process, and the executors that run it.

A worker gets the problem once, when it starts, and then only build numbers. It ignores Ctrl-C: the
coordinator decides when to stop.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import wait
from typing import Any

from kinematics.states import warm_up
from optimiser.builds import Row, search_build
from optimiser.problem import Problem
from optimiser.yields import failed_record, sample_row

# A build that was under way this often when a worker died is written down as failed.
MOST_DEATHS = 4

_problem: Problem | None = None


class WorkerDied(Exception):
    """The worker died each of the MOST_DEATHS times that a task was tried."""

    def __init__(self) -> None:
        super().__init__(f"the worker process died {MOST_DEATHS} times while searching it")


class WorkersKeepDying(Exception):
    """Worker processes die with nothing to do."""

    def __init__(self) -> None:
        super().__init__("worker processes die as soon as they start; is there memory left?")


class SchedulerGone(Exception):
    """The cluster's scheduler does not answer any more."""


def start_worker(problem: Problem) -> None:
    """Make a process ready: keep the problem, leave Ctrl-C to the coordinator, and end when it does."""
    global _problem
    _problem = problem
    parent = multiprocessing.parent_process()
    if parent is not None:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    """End this process when the coordinator's has ended: a killed one leaves no workers behind."""
    wait([sentinel])
    os._exit(1)


def search_task(number: int) -> Row:
    """Search one build of this process's problem."""
    assert _problem is not None
    return row_of(_problem, number)


def finish_task(number: int, known: dict[str, Row]) -> Row:
    """Search one build of which sweeps of some duties are known."""
    assert _problem is not None
    return row_of(_problem, number, known)


def ask_task(work: Callable[..., Any], *asked: Any) -> Any:
    """What a function makes of this process's problem and what is asked of it."""
    assert _problem is not None
    return work(_problem, *asked)


def row_of(problem: Problem, number: int, known: dict[str, Row] | None = None) -> Row:
    """Search one build. A build that fails is a row with its reason, never the end of the night."""
    try:
        return search_build(problem, number, known)
    except Exception as error:
        return {"build": number, "failed": f"{type(error).__name__}: {error}"}


def sample_task(row: Row) -> Row:
    """Build one candidate of this process's problem many times.

    One that fails is a record with its reason, and has no yield.
    """
    assert _problem is not None
    try:
        return sample_row(_problem, row)
    except Exception as error:
        return failed_record(_problem, row["build"], f"{type(error).__name__}: {error}")


def count_workers(asked: Any) -> int:
    """How many processes to use: a number, or 'auto' for all cores this process may use."""
    if asked != "auto":
        return int(asked)
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return max(1, os.cpu_count() or 1)


def make_executor(problem: Problem, workers: int) -> Executor:
    """An executor of so many processes.

    Never this process itself, not even for one: a build under way can only be ended from outside.
    """
    warm_up()
    return ProcessPoolExecutor(
        workers,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=start_worker,
        initargs=(problem,),
    )


def revived(problem: Problem, workers: int) -> Executor:
    """A new executor in place of one that broke, whose processes were seen to live.

    Raises WorkersKeepDying where they die with nothing to do: then no build is to blame.
    """
    for _ in range(MOST_DEATHS):
        executor = make_executor(problem, workers)
        try:
            executor.submit(os.getpid).result()
        except BrokenProcessPool:
            executor.shutdown(wait=False, cancel_futures=True)
        else:
            return executor
    raise WorkersKeepDying


def stop_now(executor: Executor) -> None:
    """End an executor's processes without waiting for what they do."""
    # taken first: a pool that is shut down does not tell its processes any more
    processes = list((getattr(executor, "_processes", None) or {}).values())
    executor.shutdown(wait=False, cancel_futures=True)
    for process in processes:
        process.kill()
    for process in processes:
        process.join()

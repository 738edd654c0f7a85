"""A real cluster on this machine: a scheduler and workers, each a process of its own, on free ports."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType

import yaml

from tests.journeys.garage import Outcome, write_garage

HOUSE = Path(__file__).parents[2]
CLI = "from optimiser.entry import main; main()"


def environment(first: Path | None = None) -> dict[str, str]:
    """An environment in which this checkout is imported, or what stands in ``first`` before it."""
    path = [str(first)] if first else []
    path.append(str(HOUSE))
    return {**os.environ, "PYTHONPATH": os.pathsep.join(path)}


def begin(
    *args: str, cwd: Path, before: str = "", first: Path | None = None
) -> subprocess.Popen[str]:
    """Start the command; ``before`` is Python that runs first."""
    return subprocess.Popen(
        [sys.executable, "-c", f"{before}\n{CLI}", *args],
        cwd=cwd,
        env=environment(first),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def ended(process: subprocess.Popen[str], seconds: float = 120) -> Outcome:
    """Wait for a command; its own end, never a traceback."""
    try:
        out, err = process.communicate(timeout=seconds)
    except subprocess.TimeoutExpired:
        process.kill()
        out, err = process.communicate()
        raise AssertionError(f"not ended after {seconds} s: {err}") from None
    assert "Traceback" not in err, err
    return Outcome(process.returncode, out, err)


def command(*args: str, cwd: Path, before: str = "", first: Path | None = None) -> Outcome:
    """Run a command to its end."""
    return ended(begin(*args, cwd=cwd, before=before, first=first))


class Farm:
    """A scheduler and its workers. ``tls`` are the options that name the certificates."""

    def __init__(self, folder: Path, tls: tuple[str, ...] = ()) -> None:
        self.folder = folder
        self.tls = tls
        # what its workers are started with
        self.words: tuple[str, ...] = ("--no-nanny",)
        self.processes: list[subprocess.Popen[bytes]] = []
        self.workers: list[subprocess.Popen[bytes]] = []
        folder.mkdir(parents=True, exist_ok=True)
        self.scheduler = self._start_scheduler("0")

    def _start_scheduler(self, port: str) -> subprocess.Popen[bytes]:
        note = self.folder / "scheduler.json"
        note.unlink(missing_ok=True)
        scheme = "tls" if self.tls else "tcp"
        scheduler = self._start(
            "dask_scheduler",
            *("--host", f"{scheme}://127.0.0.1", "--port", port),
            *("--scheduler-file", str(note)),
        )
        wait_for(note.exists)
        time.sleep(0.1)
        self.address = yaml.safe_load(note.read_text())["address"]
        return scheduler

    def restart_scheduler(self, away: float = 0.0) -> None:
        """Kill the scheduler and start it again at its place, after so many seconds."""
        self.scheduler.kill()
        self.scheduler.wait()
        time.sleep(away)
        self.scheduler = self._start_scheduler(self.address.rpartition(":")[2])

    def keep(self, count: int) -> None:
        """What watches over the workers does now and then: see that so many are there."""
        self.workers = [worker for worker in self.workers if worker.poll() is None]
        while len(self.workers) < count:
            self.workers.append(self.worker())

    def worker(self, *args: str, first: Path | None = None) -> subprocess.Popen[bytes]:
        """One more worker process."""
        place = self.folder / f"worker{len(self.processes)}"
        place.mkdir()
        return self._start(
            "dask_worker",
            self.address,
            *("--nthreads", "1", "--local-directory", str(place), "--host", "127.0.0.1"),
            *(args or self.words),
            first=first,
        )

    def _start(self, what: str, *args: str, first: Path | None = None) -> subprocess.Popen[bytes]:
        log = (self.folder / f"{what}{len(self.processes)}.log").open("wb")
        with log:
            process = subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    f"distributed.cli.{what}",
                    *args,
                    "--no-dashboard",
                    *self.tls,
                ],
                cwd=self.folder,
                env=environment(first),
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        self.processes.append(process)
        return process

    def __enter__(self) -> Farm:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        tb: TracebackType | None,
    ) -> None:
        # asked to end, a worker would first finish its build
        for process in self.processes:
            process.kill()
        for process in self.processes:
            process.wait()


@contextmanager
def farm_of(folder: Path, workers: int, tls: tuple[str, ...] = ()) -> Iterator[Farm]:
    """A cluster of some workers."""
    with Farm(folder, tls) as farm:
        for _ in range(workers):
            farm.worker()
        yield farm


def wait_for(condition: object, seconds: float = 60.0) -> None:
    """Wait until a condition holds."""
    assert callable(condition)
    until = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.05)


def write_small_garage(folder: Path) -> None:
    """The small garage, to be searched in one process where it is searched without a cluster."""
    write_garage(folder)
    path = folder / "goals.yaml"
    path.write_text(path.read_text().replace("workers: 2", "workers: 1"))


def write_large_garage(folder: Path, knuckles: int) -> None:
    """The small garage with so many knuckles in its box, each a little unlike the others.

    Few builds are ranked, for each of them is built many times, by one machine alone.
    """
    write_small_garage(folder)
    goals = folder / "goals.yaml"
    goals.write_text(goals.read_text().replace("keep: 10", "keep: 3"))
    path = folder / "parts.yaml"
    parts = yaml.safe_load(path.read_text())
    knuckle = parts["stations"]["knuckle"][0]
    parts["stations"]["knuckle"] = [
        {
            **knuckle,
            "id": f"k{n}",
            "price": 10 * n,
            "moves": {
                "ball_joint": [0, 0, -10 - n],
                "tie_rod_outer": [0.5 * n, 0, -10 - n],
            },
        }
        for n in range(knuckles)
    ]
    path.write_text(yaml.safe_dump(parts, sort_keys=False))

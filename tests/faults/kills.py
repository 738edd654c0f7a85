"""Searches that are killed, stopped, put to sleep and cut off at random moments, over and over.

    python -m tests.faults.kills --kills 200 --seed 1

Each of many short runs is begun by the command, as a user begins it, and struck time and again: a kill that
nothing can catch, of the coordinator, of one worker, of all, of everything at once; a power cut, after which the
end of the write-ahead log is lost, the log's last line torn and a file left half written; Ctrl-C once and
twice; a shutdown; a laptop's sleep. After each strike the run is asked for its ranking and gone on with. What it comes
to must be, byte for byte, what the same search finds that nobody disturbs: its ranking, its ledger's rows and its
records of cars as built. Prints a line of JSON with what was done, and fails where anything differs.

Processes are forked from this one, which has loaded all that they need; so a strike costs a second, not ten. With
``--spawn`` workers are started as users' machines start them.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import psutil

import optimiser.coordinator as coordinator
import optimiser.workers as workers
from kinematics.states import warm_up
from optimiser.entry import STOPPED_EARLY, main
from optimiser.ledger import Ledger
from optimiser.problem import Problem
from tests.rerun.bench import files_of, write
from tests.search.catalogues import random_problem

MOST_STRIKES = 6
# A command that takes longer hangs, s.
PATIENCE = 120.0
KINDS = (
    *("coordinator", "worker", "all workers", "everything", "power"),
    *("ctrl-c", "ctrl-c twice", "shutdown", "sleep"),
)
ENDED_ITSELF = "ended before the strike"

Chance = np.random.Generator


class Differs(AssertionError):
    """A run that came to something else than one that nobody disturbed."""


def forked(problem: Problem, count: int) -> Executor:
    """The workers' executor, its processes forked from the coordinator's."""
    return ProcessPoolExecutor(
        count,
        mp_context=multiprocessing.get_context("fork"),
        initializer=workers.start_worker,
        initargs=(problem,),
    )


def begin(folder: Path, *words: str) -> int:
    """Start a command in a process group of its own, in a folder; returns its process's number."""
    pid = os.fork()
    if pid:
        return pid
    code = 70
    try:
        os.setsid()
        os.chdir(folder)
        out = os.open("said.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND)
        os.dup2(out, 1)
        os.dup2(out, 2)
        sys.argv = ["shimwright", *words]
        main()
    except SystemExit as end:
        code = int(end.code or 0)
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        with suppress(OSError):
            sys.stdout.flush()
        os._exit(code)


def ended(pid: int, seconds: float = PATIENCE) -> int | None:
    """How a process ended: its exit code, the signal with a minus sign; None where it goes on."""
    until = time.monotonic() + seconds
    while True:
        found, status = os.waitpid(pid, os.WNOHANG)
        if found:
            return os.waitstatus_to_exitcode(status)
        if time.monotonic() > until:
            return None
        time.sleep(0.002)


def whole(folder: Path, *words: str) -> int:
    """Run a command to its end; fails where it hangs or where it ends in a traceback."""
    pid = begin(folder, *words)
    code = ended(pid)
    if code is None:
        os.killpg(pid, signal.SIGKILL)
        raise Differs(f"{words} hangs")
    said = (folder / "said.txt").read_text(errors="replace")
    if "Traceback" in said or code not in (0, 1, 2, STOPPED_EARLY):
        raise Differs(f"{words} ended with {code}:\n{said[-3000:]}")
    return code


def helpers(pid: int) -> list[int]:
    """The processes that a coordinator has started."""
    with suppress(psutil.NoSuchProcess):
        return [child.pid for child in psutil.Process(pid).children(recursive=True)]
    return []


def kill(pids: list[int]) -> None:
    for pid in pids:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


def strike(kind: str, pid: int, chance: Chance) -> bool:
    """Strike a coordinator or its workers; whether its process is to end by it."""
    if kind in ("worker", "all workers"):
        found = helpers(pid)
        kill(found if kind == "all workers" else found[: int(chance.integers(1, 3))])
        return False
    if kind == "sleep":
        os.killpg(pid, signal.SIGSTOP)
        time.sleep(float(chance.uniform(0.05, 0.6)))
        os.killpg(pid, signal.SIGCONT)
        return False
    if kind in ("everything", "power"):
        os.killpg(pid, signal.SIGKILL)
    elif kind == "coordinator":
        os.kill(pid, signal.SIGKILL)
    else:
        os.kill(pid, signal.SIGTERM if kind == "shutdown" else signal.SIGINT)
        if kind == "ctrl-c twice":
            time.sleep(float(chance.uniform(0.0, 0.3)))
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGINT)
    return True


def cut_power(run: Path, chance: Chance) -> None:
    """What a power cut may take of a run: the end of what was written last."""
    for name in ("ledger.sqlite-wal", "log.jsonl"):
        path = run / name
        if path.is_file() and (size := path.stat().st_size):
            os.truncate(path, size - int(chance.integers(0, min(size, 20_000))))
    with suppress(FileNotFoundError):
        (run / "ledger.sqlite-shm").unlink()
    if run.is_dir():
        (run / ".run.json.x1").write_text('{"format": 1, "na')
        (run / ".ranked.json.x2").write_text("")


def settled(run: Path) -> dict[str, Any]:
    """All that a finished run found."""
    ledger = Ledger(run / "ledger.sqlite")
    return {
        "ranked.json": (run / "ranked.json").read_bytes(),
        "ranked.csv": (run / "ranked.csv").read_bytes(),
        "rows": [json.dumps(row, sort_keys=True) for row in ledger.rows()],
        "failed": ledger.rows("failed"),
        "built": json.dumps(ledger.built(), sort_keys=True),
    }


class Workshop:
    """One small problem, what an undisturbed search of it finds, and how long that takes."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder = folder
        files = files_of(random_problem(seed, small=True))
        # many builds that cost little each
        knuckle = files["parts"]["stations"]["knuckle"][0]
        files["parts"]["stations"]["knuckle"] = [
            {**knuckle, "id": f"k{n}", "price": 10 * n} for n in range(8)
        ]
        files["goals"]["search"] = {"hours": 0.2, "workers": 2, "keep": 3, "seed": seed}
        write(folder, files)
        began = time.monotonic()
        self.code = whole(folder, "search", "goals.yaml", "--name", "calm")
        self.seconds = time.monotonic() - began
        self.found = settled(folder / "runs" / "calm")
        self.builds = json.loads((folder / "runs/calm/run.json").read_text())["coverage"]["builds"]

    def disturbed(self, name: str, chance: Chance, most: int) -> Counter[str]:
        """Search it once more under at most so many strikes, and hold what came of it against the calm one."""
        run = self.folder / "runs" / name
        struck: Counter[str] = Counter()
        code: int | None = None
        for _ in range(most):
            kind = str(chance.choice(KINDS))
            moment = float(chance.uniform(0.0, 1.1 * self.seconds))
            pid = begin(self.folder, *self._words(run))
            code = ended(pid, moment)
            if code is not None:
                struck[ENDED_ITSELF] += 1
                break
            ends = strike(kind, pid, chance)
            struck[kind] += 1
            code = ended(pid)
            if code is None:
                kill([pid, *helpers(pid)])
                raise Differs(f"{name}: hangs after {kind}")
            if kind == "power":
                cut_power(run, chance)
            self._looked_at(run, kind, code, ends)
            if code in (0, 1):
                break
        for _ in range(3):
            if code in (0, 1):
                break
            code = whole(self.folder, *self._words(run))
        if code != self.code:
            raise Differs(f"{name}: ended with {code}, the calm one with {self.code}")
        for what, wanted in self.found.items():
            if (found := settled(run)[what]) != wanted:
                raise Differs(f"{name}: {what} differs:\n{found!r}\n{wanted!r}"[:4000])
        left = [path.name for path in run.iterdir() if path.name.startswith(".")]
        if left:
            raise Differs(f"{name}: left behind {left}")
        return struck

    def _words(self, run: Path) -> tuple[str, ...]:
        """Go on with a run; begin it where it never came to be."""
        if run.exists():
            return ("resume", run.name)
        return ("search", "goals.yaml", "--name", run.name)

    def _looked_at(self, run: Path, kind: str, code: int, ends: bool) -> None:
        """What a strike leaves can be read at once, and says that it goes on from here."""
        said = (self.folder / "said.txt").read_text(errors="replace")
        if "Traceback" in said:
            raise Differs(f"{run.name}: {kind}:\n{said[-3000:]}")
        if not run.exists():
            return
        if not ends and code not in (0, 1):
            raise Differs(f"{run.name}: {kind} ended it with {code}:\n{said[-2000:]}")
        if whole(self.folder, "rank", run.name, "--json") != 0:
            raise Differs(f"{run.name}: cannot be ranked after {kind}")
        state = json.loads((run / "run.json").read_text())
        if state["status"] == "searching":
            pid = begin(self.folder, "rank", run.name)
            if ended(pid) != 0 or "cut off" not in (self.folder / "said.txt").read_text():
                raise Differs(f"{run.name}: is not told as cut off after {kind}")


def campaign(kills: int, seed: int, tell: Callable[[str], None]) -> dict[str, Any]:
    """Strike until so many strikes are done; what was done, by kind."""
    warm_up()
    chance = np.random.default_rng(seed)
    struck: Counter[str] = Counter()
    runs = shops = 0
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        while _strikes(struck) < kills:
            shop = Workshop(Path(folder) / f"shop{shops}", int(chance.integers(1, 10_000)))
            shops += 1
            for _ in range(min(8, max(2, kills // 8))):
                if _strikes(struck) >= kills:
                    break
                runs += 1
                struck += shop.disturbed(f"run{runs}", chance, MOST_STRIKES)
            tell(
                f"{_strikes(struck)} strikes, {runs} runs, {shop.builds} builds in {shop.seconds:.1f} s"
            )
    return {
        "strikes": _strikes(struck),
        "by_kind": dict(sorted(struck.items())),
        "runs": runs,
        "problems": shops,
        "seconds": round(time.monotonic() - began, 1),
    }


def _strikes(struck: Counter[str]) -> int:
    return struck.total() - struck[ENDED_ITSELF]


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kills", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--spawn", action="store_true")
    given = asked.parse_args()
    if not given.spawn:
        coordinator.make_executor = workers.make_executor = forked
    print(json.dumps(campaign(given.kills, given.seed, lambda t: print(t, file=sys.stderr))))

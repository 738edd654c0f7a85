"""A small problem that is searched by the command in forked processes, and what an undisturbed search finds.

Processes are forked from one that has loaded all that they need, so that a search costs a second, not ten.
Only for scripts of one thread: whoever forks has to be alone.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any

import optimiser.coordinator as coordinator
import optimiser.workers as workers
from kinematics.states import warm_up
from optimiser.entry import STOPPED_EARLY, main
from optimiser.ledger import Ledger
from optimiser.problem import Problem
from tests.rerun.bench import files_of, write
from tests.search.catalogues import random_problem

# A command that takes longer hangs, s.
PATIENCE = 120.0
SAID = "said.txt"


class Differs(AssertionError):
    """A run that came to something else than one that nobody disturbed, or did not end as it should."""


def make_ready() -> None:
    """Have all that is forked from here ready at once, its workers too."""
    warm_up()
    coordinator.make_executor = workers.make_executor = forked


def forked(problem: Problem, count: int) -> Executor:
    """The workers' executor, its processes forked from the coordinator's."""
    return ProcessPoolExecutor(
        count,
        mp_context=multiprocessing.get_context("fork"),
        initializer=workers.start_worker,
        initargs=(problem,),
    )


def begin(
    folder: Path, *words: str, before: Callable[[], None] | None = None, said: str = SAID
) -> int:
    """Start a command in a process group of its own, in a folder; returns its process's number.

    ``before`` is called in the new process first; what it says goes to the file ``said`` there.
    """
    pid = os.fork()
    if pid:
        return pid
    code = 70
    try:
        os.setsid()
        os.chdir(folder)
        out = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND)
        os.dup2(out, 1)
        os.dup2(out, 2)
        sys.argv = ["shimwright", *words]
        if before is not None:
            before()
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


def whole(
    folder: Path, *words: str, before: Callable[[], None] | None = None, said: str = SAID
) -> int:
    """Run a command to its end; fails where it hangs or where it ends in a traceback."""
    pid = begin(folder, *words, before=before, said=said)
    code = ended(pid)
    if code is None:
        os.killpg(pid, signal.SIGKILL)
        raise Differs(f"{words} hangs")
    heard = (folder / said).read_text(errors="replace")
    if "Traceback" in heard or code not in (0, 1, 2, STOPPED_EARLY):
        raise Differs(f"{words} ended with {code}:\n{heard[-3000:]}")
    return code


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

    def words(self, run: Path) -> tuple[str, ...]:
        """The command that goes on with a run, or begins it where it never came to be."""
        if run.exists():
            return ("resume", run.name, "--runs", str(run.parent))
        return ("search", "goals.yaml", "--name", run.name, "--runs", str(run.parent))

    def end(self, run: Path) -> None:
        """Let a run come to its end."""
        for _ in range(3):
            code = whole(self.folder, *self.words(run))
            if code in (0, 1):
                break
        if code != self.code:
            raise Differs(f"{run.name}: ended with {code}, the calm one with {self.code}")

    def compare(self, run: Path) -> None:
        """Hold a finished run against the calm one."""
        found = settled(run)
        for what, wanted in self.found.items():
            if found[what] != wanted:
                raise Differs(f"{run.name}: {what} differs:\n{found[what]!r}\n{wanted!r}"[:4000])
        left = [path.name for path in run.iterdir() if path.name.startswith(".")]
        if left:
            raise Differs(f"{run.name}: left behind {left}")

    def said(self) -> str:
        """What the last command said; fails where that is a traceback."""
        said = (self.folder / SAID).read_text(errors="replace")
        if "Traceback" in said:
            raise Differs(said[-3000:])
        return said

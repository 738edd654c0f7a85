"""Searches on real clusters whose parts die, hang, come and go at random moments.

    python -m tests.faults.clusters --minutes 10 --seed 1

A scheduler and some workers on this machine, watched over as people's clusters are: a worker that ended is
started again. While the command searches, workers are killed, put to sleep (they neither answer nor send a
sign of life, until the scheduler gives them up or they wake), sent away and added, and the scheduler is
killed and started again at the same place. In the end the run must be, byte for byte, that of a search on
one machine. Prints a line of JSON.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from optimiser.ledger import FAILED, Ledger
from tests.faults.slow import slow
from tests.search.farm import Farm, begin, command, ended, write_large_garage

KNUCKLES = 8
WORKERS = 2
KINDS = ("kill", "sleep", "send away", "one more", "scheduler")
# A scheduler gives up a worker that has sent no sign of life for so long.
GIVEN_UP = "3s"

Chance = np.random.Generator


def finished(run: Path) -> int:
    """Builds in a run's ledger so far."""
    try:
        return Ledger(run / "ledger.sqlite").counts()[0]
    except Exception:
        return 0


def found(run: Path) -> dict[str, Any]:
    """All that a search found."""
    ledger = Ledger(run / "ledger.sqlite")
    return {
        "ranked.json": (run / "ranked.json").read_bytes(),
        "ranked.csv": (run / "ranked.csv").read_bytes(),
        "rows": ledger.rows(),
        "failed": ledger.rows(FAILED),
        "built": ledger.built(),
    }


def strike(farm: Farm, kind: str, chance: Chance, asleep: dict[int, float]) -> None:
    """One thing that happens to a cluster; ``asleep`` is who sleeps and until when."""
    there = [worker for worker in farm.workers if worker.poll() is None]
    if kind == "one more":
        farm.workers.append(farm.worker())
    elif kind == "scheduler":
        farm.restart_scheduler(float(chance.uniform(0.0, 3.0)))
    elif there:
        worker = there[int(chance.integers(len(there)))]
        if kind == "kill":
            worker.kill()
        elif kind == "send away":
            worker.terminate()
        else:
            worker.send_signal(signal.SIGSTOP)
            asleep[worker.pid] = time.monotonic() + float(chance.uniform(0.5, 8.0))


def wake(asleep: dict[int, float], everyone: bool = False) -> None:
    """Wake workers whose time has come."""
    for pid in [pid for pid, until in asleep.items() if everyone or time.monotonic() > until]:
        del asleep[pid]
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGCONT)


def watched(farm: Farm, search: subprocess.Popen[str], chance: Chance) -> Counter[str]:
    """Strike a cluster time and again while a command searches on it."""
    struck: Counter[str] = Counter()
    asleep: dict[int, float] = {}
    pause = time.monotonic() + float(chance.uniform(0.5, 4.0))
    until = time.monotonic() + 300.0
    while search.poll() is None:
        assert time.monotonic() < until, "hangs"
        time.sleep(0.1)
        wake(asleep)
        farm.keep(WORKERS)
        if time.monotonic() > pause:
            kind = str(chance.choice(KINDS))
            if kind != "one more" or len(farm.workers) < WORKERS + 2:
                strike(farm, kind, chance, asleep)
                struck[kind] += 1
            pause = time.monotonic() + float(chance.uniform(0.5, 6.0))
    wake(asleep, everyone=True)
    return struck


def _one_run(
    farm: Farm, folder: Path, name: str, calm: dict[str, Any], chance: Chance
) -> Counter[str]:
    """Search once more on a cluster that is struck from the first finished build on."""
    run = folder / "runs" / name
    asks = ("search", "goals.yaml", "--name", name, "--cluster", farm.address)
    search, until = begin(*asks, cwd=folder), time.monotonic() + 120.0
    while not finished(run) and search.poll() is None:
        # the last worker may have been struck as the run before ended
        farm.keep(WORKERS)
        assert time.monotonic() < until, "no build is ever finished"
        time.sleep(0.1)
    struck = watched(farm, search, chance)
    outcome = ended(search)
    if outcome.code != 0 or found(run) != calm:
        raise AssertionError(f"{name} after {struck}: {outcome}")
    return struck


def campaign(minutes: float, seed: int) -> dict[str, Any]:
    """Strike clusters for so long; what was done, by kind."""
    os.environ["DASK_DISTRIBUTED__SCHEDULER__WORKER_TTL"] = GIVEN_UP
    chance = np.random.default_rng(seed)
    struck: Counter[str] = Counter()
    runs = 0
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_large_garage(folder, KNUCKLES)
        assert command("search", "goals.yaml", "--name", "calm", cwd=folder).code == 0
        calm = found(folder / "runs" / "calm")
        with Farm(folder / "farm") as farm:
            farm.words = slow(farm.folder)
            farm.keep(WORKERS)
            while time.monotonic() - began < 60.0 * minutes:
                runs += 1
                struck += _one_run(farm, folder, f"run{runs}", calm, chance)
                print(f"{runs} runs, {struck.total()} strikes", file=sys.stderr, flush=True)
    return {
        "runs": runs,
        "strikes": struck.total(),
        "by_kind": dict(sorted(struck.items())),
        "seconds": round(time.monotonic() - began),
    }


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--minutes", type=float, default=10.0)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    print(json.dumps(campaign(given.minutes, given.seed)))

"""Searches that are killed, stopped, put to sleep and cut off at random moments, over and over.

    python -m tests.faults.kills --kills 200 --seed 1

Each of many short runs is begun by the command, as a user begins it, and struck time and again: a kill that
nothing can catch, of the coordinator, of one worker, of all, of everything at once; a power cut, after
which the end of the write-ahead log is lost, the log's last line torn and a file left half written; Ctrl-C
once and twice; a shutdown; a closed terminal; a laptop's sleep; and people who look on meanwhile. After
each strike the run is asked for its ranking and gone on with. What it comes to must be, byte for byte, what
the same search finds that nobody disturbs: its ranking, its ledger's rows and its records of cars as built.
Prints a line of JSON with what was done, and fails where anything differs.

With ``--spawn`` workers are started as on users' machines, which takes seconds.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import psutil

from kinematics.states import warm_up
from tests.faults.workshop import Differs, Workshop, begin, ended, make_ready, whole

MOST_STRIKES = 6
RUNS_OF_ONE = 8
KINDS = (
    *("coordinator", "worker", "all workers", "everything", "power"),
    *("ctrl-c", "ctrl-c twice", "shutdown", "terminal", "sleep", "onlookers"),
)
TOO_LATE = "ended before the strike"

Chance = np.random.Generator


def helpers(pid: int) -> list[int]:
    """The workers that a coordinator has started; Python's own helper is not one of them."""
    found = []
    with suppress(psutil.NoSuchProcess):
        for child in psutil.Process(pid).children(recursive=True):
            with suppress(psutil.NoSuchProcess):
                if not any("resource_tracker" in word for word in child.cmdline()):
                    found.append(child.pid)
    return found


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
    if kind == "onlookers":
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
    elif kind == "terminal":
        os.killpg(pid, signal.SIGHUP)
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


def disturbed(shop: Workshop, run: Path, chance: Chance) -> Counter[str]:
    """Search a shop's problem once more under strikes, and hold what came of it against the calm run."""
    struck: Counter[str] = Counter()
    for _ in range(MOST_STRIKES):
        kind = str(chance.choice(KINDS))
        moment = float(chance.uniform(0.0, shop.seconds))
        pid = begin(shop.folder, *shop.words(run))
        if ended(pid, moment) is not None:
            struck[TOO_LATE] += 1
            break
        if kind == "onlookers":
            look_on(shop, run, pid)
        ends = strike(kind, pid, chance)
        struck[kind] += 1
        code = ended(pid)
        if code is None:
            kill([pid, *helpers(pid)])
            raise Differs(f"{run.name}: hangs after {kind}")
        if kind == "power":
            cut_power(run, chance)
        if not ends and code not in (0, 1):
            raise Differs(f"{run.name}: {kind} ended it with {code}:\n{shop.said()[-2000:]}")
        look_at(shop, run, kind)
        if code in (0, 1):
            break
    shop.end(run)
    shop.compare(run)
    return struck


def look_on(shop: Workshop, run: Path, pid: int) -> None:
    """Ask a run that is being searched how it stands, and for its ranking, best candidate and report."""
    if not run.exists():
        return
    for words in (("rank", run.name, "--json"), ("show", run.name, "1"), ("report", run.name)):
        over = psutil.Process(pid).status() == psutil.STATUS_ZOMBIE
        code = whole(shop.folder, *words, said="onlooker.txt")
        said = (shop.folder / "onlooker.txt").read_text()
        # of a run of which nothing is finished there is no first candidate
        if code != 0 and not (words[0] == "show" and "0 ranked candidates" in said):
            raise Differs(f"{run.name}: {words} while it is searched: {code}\n{said}")
        if words[0] == "rank" and over and json.loads(said)["status"] == "searching":
            raise Differs(f"{run.name}: is told as searched by nobody")


def look_at(shop: Workshop, run: Path, kind: str) -> None:
    """What a strike leaves can be read at once, and says that it can be gone on with."""
    shop.said()
    if not run.exists():
        return
    if whole(shop.folder, "rank", run.name) != 0:
        raise Differs(f"{run.name}: cannot be ranked after {kind}:\n{shop.said()}")
    cut_off = json.loads((run / "run.json").read_text())["status"] == "searching"
    if cut_off and "cut off" not in shop.said():
        raise Differs(f"{run.name}: is not told as cut off after {kind}")


def campaign(kills: int, seed: int, tell: Callable[[str], None]) -> dict[str, Any]:
    """Strike until so many strikes are done; what was done, by kind."""
    chance = np.random.default_rng(seed)
    struck: Counter[str] = Counter()
    runs = shops = 0
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        while _strikes(struck) < kills:
            shop = Workshop(Path(folder) / f"shop{shops}", int(chance.integers(1, 10_000)))
            shops += 1
            until = runs + RUNS_OF_ONE
            while runs < until and _strikes(struck) < kills:
                runs += 1
                struck += disturbed(shop, shop.folder / "runs" / f"run{runs}", chance)
            tell(f"{_strikes(struck)} strikes in {runs} runs of {shops} problems")
    return {
        "strikes": _strikes(struck),
        "by_kind": dict(sorted(struck.items())),
        "runs": runs,
        "problems": shops,
        "seconds": round(time.monotonic() - began, 1),
    }


def _strikes(struck: Counter[str]) -> int:
    return struck.total() - struck[TOO_LATE]


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kills", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--spawn", action="store_true")
    given = asked.parse_args()
    if given.spawn:
        warm_up()
    else:
        make_ready()
    print(json.dumps(campaign(given.kills, given.seed, lambda t: print(t, file=sys.stderr))))

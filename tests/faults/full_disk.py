"""Searches on a disk that is full: of so much room, or of files that may be only so long.

    python -m tests.faults.full_disk --runs 40 --seed 1

Each run is begun where there is room for some of it only: on a small file system in memory, where this user
may mount one, else and besides under a limit on the length of any file, at which the system refuses a write
as it does on a full disk. It must end in words, as a run that cannot be made (exit code 2) or as one that
is stopped with what was finished kept (3), be readable, and once there is room come to the bytes of a run
that nobody disturbs. Some get their room while they wait for it, and must not have to be gone on with.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

import optimiser.writing as writing
from tests.faults.workshop import SAID, Differs, Workshop, begin, ended, make_ready, whole

KiB = 1024
RUNS_OF_ONE = 5

Chance = np.random.Generator


@contextmanager
def small_disk(folder: Path, size: int) -> Iterator[Path | None]:
    """A file system in memory of so many bytes; None where this user may not mount one."""
    folder.mkdir(parents=True, exist_ok=True)
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    try:
        done = subprocess.run(mount, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        done = False
    try:
        yield folder if done else None
    finally:
        if done:
            subprocess.run(["umount", str(folder)], check=True)


def impatient(seconds: float) -> None:
    """In the command's process: wait for room no longer than so."""
    writing.PATIENCE = seconds
    writing.LOOK_AGAIN = 0.05


def short_files(size: int) -> None:
    """In the command's process: no file may be longer."""
    impatient(0.2)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


def told(shop: Workshop, run: Path, code: int) -> str:
    """How a search without room ended, which must have been in words."""
    said = shop.said()
    if code in (0, 1):
        return "had room"
    if code == 2:
        if run.exists() and not (run / "run.json").exists():
            raise Differs(f"{run.name}: half a run folder")
        if len([line for line in said.splitlines() if line.startswith("shimwright:")]) != 1:
            raise Differs(f"{run.name}: not one message:\n{said}")
        return "not begun"
    if code != 3 or "cannot be" not in said or "resume" not in said:
        raise Differs(f"{run.name}: ended with {code}:\n{said}")
    return "stopped"


def read(shop: Workshop, run: Path) -> None:
    """A run on a full disk can be looked at."""
    if run.exists() and whole(shop.folder, "rank", run.name, "--runs", str(run.parent)) != 0:
        raise Differs(f"{run.name}: cannot be ranked on a full disk:\n{shop.said()}")


def with_short_files(shop: Workshop, run: Path, chance: Chance) -> str:
    """A run whose files may be only so long, then any length."""
    limit = int(chance.integers(1 * KiB, 200 * KiB))
    code = whole(shop.folder, *shop.words(run), before=partial(short_files, limit))
    how = told(shop, run, code)
    read(shop, run)
    shop.end(run)
    shop.compare(run)
    return f"short files, {how}"


def on_small_disk(shop: Workshop, run: Path, disk: Path, chance: Chance) -> str:
    """A run on a disk with so much room, which it gets more of, at the latest once it has stopped."""
    ballast = disk / "ballast"
    room = int(chance.integers(4 * KiB, 400 * KiB))
    free = os.statvfs(disk)
    ballast.write_bytes(b"x" * max(0, free.f_bavail * free.f_frsize - room))
    waits = bool(chance.integers(2))
    pid = begin(shop.folder, *shop.words(run), before=partial(impatient, 20.0 if waits else 0.2))
    if waits:
        seen = _waits(shop, pid)
        ballast.unlink()
        code = ended(pid)
        if seen and code != shop.code:
            raise Differs(f"{run.name}: got room and ended with {code}:\n{shop.said()}")
    else:
        code = ended(pid)
    if code is None:
        raise Differs(f"{run.name}: hangs on a full disk")
    how = told(shop, run, code)
    read(shop, run)
    ballast.unlink(missing_ok=True)
    shop.end(run)
    shop.compare(run)
    return f"small disk, {'got room while it waited' if waits and seen else how}"


def _waits(shop: Workshop, pid: int) -> bool:
    """Whether a search is seen to wait for room before it ends."""
    until = time.monotonic() + 15.0
    while time.monotonic() < until and Path(f"/proc/{pid}/stat").read_text().split()[2] != "Z":
        if "cannot write" in (shop.folder / SAID).read_text(errors="replace"):
            return True
        time.sleep(0.02)
    return False


def campaign(runs: int, seed: int) -> dict[str, Any]:
    """So many runs without room; how each ended."""
    chance = np.random.default_rng(seed)
    ends: Counter[str] = Counter()
    began = time.monotonic()
    shop: Workshop
    with tempfile.TemporaryDirectory() as folder:
        for each in range(runs):
            if each % RUNS_OF_ONE == 0:
                shop = Workshop(Path(folder) / f"shop{each}", int(chance.integers(1, 10_000)))
            with small_disk(shop.folder / f"disk{each}", 2048 * KiB) as disk:
                if disk is not None and each % 3:
                    ends[on_small_disk(shop, disk / f"run{each}", disk, chance)] += 1
                else:
                    run = shop.folder / "runs" / f"run{each}"
                    ends[with_short_files(shop, run, chance)] += 1
    return {"runs": runs, "ends": dict(ends), "seconds": round(time.monotonic() - began, 1)}


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--runs", type=int, default=40)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    make_ready()
    print(json.dumps(campaign(given.runs, given.seed)), file=sys.stdout)

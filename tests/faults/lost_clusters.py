"""Searches whose cluster goes for good at random moments: what is finished is kept, and resume ends the same.

    python -m tests.faults.lost_clusters --minutes 10 --seed 1

In each round the command searches on a scheduler and two workers of this machine; some workers take a while
to be ready, as on a machine that compiles first. At a random moment the scheduler is killed, or stopped so
that it holds its connections and never answers. Before the run is made that is bad input and no run; after
the last build it changes nothing; in between the run stops. Then it is resumed, on this machine alone or on
another cluster, and must be, byte for byte, a search on one machine. Prints a line of JSON.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from optimiser.ledger import Ledger
from tests.faults.clusters import found
from tests.faults.slow import slow
from tests.journeys.garage import Outcome
from tests.search.farm import Farm, begin, command, ended, wait_for, write_large_garage

KNUCKLES = 8
# How long some workers take to be ready, s.
READY = 4.0
# A scheduler that is gone is given up soon, s.
HASTY = """
import optimiser.cluster as c, optimiser.dispatch as d
c.CONNECT, d.CALL, d.LOST_AFTER = 1.0, 2.0, 2.0
"""
# How long after the command was begun, or after its run was, s.
WITHIN = 12.0

Chance = np.random.Generator


@dataclass(frozen=True)
class Strike:
    """What befalls the scheduler, and so many seconds after what: the command's beginning or the run's."""

    signal: signal.Signals
    after: float
    begun: bool


def a_strike(chance: Chance) -> Strike:
    """One strike, twice as often in the run as from the command's beginning."""
    how = signal.SIGKILL if chance.integers(2) else signal.SIGSTOP
    return Strike(how, float(chance.uniform(0.0, WITHIN)), bool(chance.integers(3)))


def begun(run: Path) -> bool:
    """Whether a run is made and its search has begun."""
    log = run / "log.jsonl"
    return log.exists() and "started" in log.read_text()


def lost(farm: Farm, folder: Path, name: str, strike: Strike) -> Outcome:
    """Search until the scheduler is struck for good."""
    asks = ("search", "goals.yaml", "--name", name, "--cluster", farm.address)
    search = begin(*asks, cwd=folder, before=HASTY)
    if strike.begun:
        wait_for(lambda: begun(folder / "runs" / name) or search.poll() is not None)
    until = time.monotonic() + strike.after
    while search.poll() is None and time.monotonic() < until:
        time.sleep(0.05)
    if search.poll() is None:
        farm.scheduler.send_signal(strike.signal)
    return ended(search)


def one_round(folder: Path, name: str, calm: dict[str, Any], chance: Chance) -> str:
    """Lose a cluster and go on without it; returns how the first stretch ended."""
    run = folder / "runs" / name
    strike = a_strike(chance)
    with Farm(folder / f"farm-{name}") as farm:
        for ready in (0.0, READY * float(chance.integers(2))):
            farm.worker(*slow(farm.folder, ready))
        outcome = lost(farm, folder, name, strike)
    what = f"{name}, {strike}"
    if outcome.code == 2:
        assert not run.exists(), f"{what}: {outcome}"
        return "before the run"
    if outcome.code == 0:
        assert found(run) == calm, what
        return "finished"
    kept = {row["build"]: row for row in Ledger(run / "ledger.sqlite").rows()}
    assert outcome.code == 3 and "scheduler is gone" in outcome.err, f"{what}: {outcome}"
    goes_on(folder, name, alone=bool(chance.integers(3)))
    after_all = found(run)
    assert after_all == calm, what
    again = {row["build"]: row for row in after_all["rows"]}
    assert {number: again[number] for number in kept} == kept, what
    return "stopped with none" if not kept else "stopped with some"


def goes_on(folder: Path, name: str, alone: bool) -> None:
    """Resume a run on this machine alone, or on another cluster."""
    if alone:
        outcome = command("resume", name, cwd=folder)
    else:
        with Farm(folder / f"other-{name}") as farm:
            farm.worker(*slow(farm.folder))
            outcome = command("resume", name, "--cluster", farm.address, cwd=folder)
    assert outcome.code == 0, outcome


def campaign(minutes: float, seed: int) -> dict[str, Any]:
    """Lose clusters for so long; how the first stretches ended."""
    chance = np.random.default_rng(seed)
    ends: Counter[str] = Counter()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        write_large_garage(folder, KNUCKLES)
        assert command("search", "goals.yaml", "--name", "calm", cwd=folder).code == 0
        calm = found(folder / "runs" / "calm")
        while time.monotonic() - began < 60.0 * minutes:
            ends[one_round(folder, f"run{ends.total() + 1}", calm, chance)] += 1
            print(dict(ends), file=sys.stderr, flush=True)
    seconds = round(time.monotonic() - began)
    return {"runs": ends.total(), "ends": dict(sorted(ends.items())), "seconds": seconds}


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--minutes", type=float, default=10.0)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    print(json.dumps(campaign(given.minutes, given.seed)))

"""A cluster whose scheduler is stopped and started three times over one run; and what is told of it."""

from __future__ import annotations

import json
import time
from pathlib import Path

from optimiser.ledger import FAILED, Ledger
from tests.faults.clusters import finished, found
from tests.faults.slow import slow
from tests.search.farm import Farm, begin, command, ended, write_large_garage


def test_a_scheduler_stopped_and_started_three_times_over_one_run(tmp_path: Path) -> None:
    """Its workers end with it, and what watches over them starts others: no build is lost or done twice."""
    write_large_garage(tmp_path, 8)
    calm = command("search", "goals.yaml", "--name", "calm", cwd=tmp_path)
    assert calm.code == 0, calm.err
    run = tmp_path / "runs" / "struck"
    with Farm(tmp_path / "farm") as farm:
        farm.words = slow(farm.folder)
        farm.keep(2)
        search = begin(
            *("search", "goals.yaml", "--name", "struck", "--cluster", farm.address), cwd=tmp_path
        )
        restarts, until = 0, time.monotonic() + 200.0
        while search.poll() is None and time.monotonic() < until:
            time.sleep(0.1)
            farm.keep(2)
            if restarts < 3 and finished(run) >= 3 + 6 * restarts:
                farm.restart_scheduler()
                restarts += 1
        outcome = ended(search)
    assert restarts == 3
    assert outcome.code == 0, outcome.err
    assert found(run) == found(tmp_path / "runs" / "calm")
    assert Ledger(run / "ledger.sqlite").rows(FAILED) == []
    state = json.loads((run / "run.json").read_text())
    assert state["coverage"]["proven"] is True
    kept = "\n".join(
        p.read_text() for p in run.iterdir() if p.suffix in (".json", ".jsonl", ".csv")
    )
    assert "127.0.0.1" not in kept + outcome.err

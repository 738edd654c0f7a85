"""A cluster that goes for good while its first worker compiles."""

from __future__ import annotations

import json
from pathlib import Path

from optimiser.ledger import Ledger
from tests.faults.lost_clusters import HASTY, KNUCKLES, begun
from tests.faults.slow import slow
from tests.search.farm import Farm, begin, ended, wait_for, write_large_garage

SAYS_WHEN_IT_SEES_WORKERS = """
import sys, time
look = c.ClusterExecutor._first_look
def look_aloud(self):
    self._open.wait()
    while not self._dispatcher.workers:
        time.sleep(0.05)
    print("sees them", file=sys.stderr, flush=True)
    look(self)
c.ClusterExecutor._first_look = look_aloud
"""


def test_gone_before_any_worker_is_ready(tmp_path: Path) -> None:
    """The first worker still compiles: a run that was made stops, one that was not is not made."""
    write_large_garage(tmp_path, KNUCKLES)
    compiling = tmp_path / "compiling"
    with Farm(tmp_path / "farm") as farm:
        asks = ("search", "goals.yaml", "--cluster", farm.address, "--name")
        late = begin(*asks, "late", cwd=tmp_path, before=HASTY)
        wait_for(lambda: begun(tmp_path / "runs" / "late"))
        farm.worker(*slow(farm.folder, 300.0, compiling))
        wait_for(compiling.exists)
        early = begin(*asks, "early", cwd=tmp_path, before=HASTY + SAYS_WHEN_IT_SEES_WORKERS)
        assert early.stderr is not None
        assert "sees them\n" in iter(early.stderr.readline, "")
        farm.scheduler.kill()
        outcomes = ended(late), ended(early)
    assert outcomes[0].code == 3 and "scheduler is gone" in outcomes[0].err, outcomes[0]
    assert "shimwright resume late" in outcomes[0].err
    state = json.loads((tmp_path / "runs" / "late" / "run.json").read_text())
    assert state["status"] == "stopped"
    assert Ledger(tmp_path / "runs" / "late" / "ledger.sqlite").counts() == (0, 0, 0)
    assert outcomes[1].code == 2 and "went away" in outcomes[1].err, outcomes[1]
    assert not (tmp_path / "runs" / "early").exists()

"""The ledger: exact counts, rows that are on the disk at once, and readers beside the one writer."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

from optimiser.ledger import DONE, FAILED, Ledger
from optimiser.ranking import rank
from tests.search.farm import environment

WRITE_AND_DIE = """
import os, signal, sys
from pathlib import Path
from optimiser.ledger import DONE, Ledger

ledger = Ledger(Path(sys.argv[1]))
ledger.create()
for number in range(20):
    duties = {"hill": {"feasible": True, "merit": 1.0, "shortfalls": {}}}
    ledger.add(number, DONE, 1, {"build": number, "price": 0.0, "duties": duties})
os.kill(os.getpid(), signal.SIGKILL)
"""


def row_of(number: int, merit: float = 1.0) -> dict[str, Any]:
    """A row with no more than ranking reads."""
    duties = {"hill": {"feasible": True, "merit": merit, "shortfalls": {}}}
    return {"build": number, "price": 0.0, "duties": duties}


def test_combinations_are_counted_to_the_last_one_however_many(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "ledger.sqlite")
    ledger.create()
    many = (2**62 + 1, 2**62 + 3, 2**53 + 1, 7)
    for number, covered in enumerate(many):
        ledger.add(number, DONE, covered, {"build": number})
    ledger.add(9, FAILED, 0, {"build": 9, "failed": "no reason"})
    assert ledger.counts() == (5, 1, sum(many))


def test_every_row_survives_a_kill_right_after_it(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite"
    words = [sys.executable, "-c", WRITE_AND_DIE, str(path)]
    assert subprocess.run(words, env=environment(), check=False).returncode == -9
    ledger = Ledger(path)
    assert ledger.finished() == set(range(20))
    assert [row["build"] for row in ledger.rows()] == list(range(20))


def test_others_read_while_one_writes_and_a_row_stays_as_it_was_first(tmp_path: Path) -> None:
    writer, reader = Ledger(tmp_path / "ledger.sqlite"), Ledger(tmp_path / "ledger.sqlite")
    writer.create()
    for number in range(5):
        writer.add(number, DONE, 10, row_of(number))
        assert reader.counts() == (number + 1, 0, 10 * (number + 1))
    writer.add(3, DONE, 99, row_of(3, merit=0.0))
    assert reader.counts() == (5, 0, 50)
    writer.settle()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["ledger.sqlite"]
    # settled is no end: a resumed run writes on
    writer.add(5, DONE, 10, row_of(5))
    assert reader.counts()[0] == 6
    assert [row["build"] for row in rank(reader.each(), 3)] == [0, 1, 2]

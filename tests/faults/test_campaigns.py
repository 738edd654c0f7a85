"""A slice of each campaign of faults; how many were survived in full is told in DEVELOPERS.md."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import numpy as np
import pytest

from tests.faults.fuzz import KINDS
from tests.faults.fuzz import campaign as spoil
from tests.faults.mutations import OTHERS, as_yaml, spoil_data
from tests.search.farm import HOUSE, environment

WORDS = {
    "kills": ("--kills", "8", "--seed", "11"),
    "full_disk": ("--runs", "4", "--seed", "12"),
}


@pytest.mark.parametrize("name", WORDS)
def test_a_slice_of(name: str) -> None:
    """A process of its own, for it forks."""
    words = [sys.executable, "-m", f"tests.faults.{name}", *WORDS[name]]
    done = subprocess.run(
        words, cwd=HOUSE, env=environment(), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-4000:]
    told: dict[str, Any] = json.loads(done.stdout)
    assert told.get("strikes", 0) >= 8 or told["runs"] == 4


@pytest.mark.parametrize("kind", KINDS)
def test_a_slice_of_the_spoilt_files(kind: str) -> None:
    told = spoil(kind, files=25, seed=31)
    assert told["failures"] == {}, told
    assert sum(told["became"].values()) == 25 and told["became"]["refused"] > 5


def test_what_is_put_into_files_stays_as_it_is() -> None:
    """Else files of a long campaign would hold ever more, and in the end themselves."""
    before, chance = repr(OTHERS), np.random.default_rng(5)
    data = {"a": {"b": [1, 2, {"c": "d"}]}}
    for _ in range(2000):
        as_yaml(spoil_data(chance, data))
    assert repr(OTHERS) == before

"""The command line as a user calls it: a process of its own, its output and its exit code."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from tests.cars import CARS
from tests.search.catalogues import car_mapping, random_parts


@dataclass(frozen=True)
class Outcome:
    """What a command did."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """Its one JSON document."""
        return json.loads(self.out)


def start(*args: str, cwd: Path) -> subprocess.Popen[str]:
    """Start the command."""
    words = [sys.executable, "-c", "from optimiser.entry import main; main()", *args]
    return subprocess.Popen(
        words, cwd=cwd, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def run(*args: str, cwd: Path) -> Outcome:
    """Run the command to its end."""
    process = start(*args, cwd=cwd)
    out, err = process.communicate(timeout=300)
    assert "Traceback" not in err
    return Outcome(process.returncode, out, err)


def write_garage(folder: Path, **duty_changes: Any) -> None:
    """Lay small sound files into a folder; ``duty_changes`` go into the first duty's limits."""
    duty: dict[str, Any] = {
        "lowered_by": 20,
        "limits": {"toggle_margin": {"min": 5}, "bump_steer": {"max": 2.0}, **duty_changes},
        "targets": {
            "roll_centre_height": {"value": 60, "tolerance": 10},
            "bump_steer": {"value": 0, "tolerance": 0.1, "over": [-30, 30]},
        },
    }
    pad = {
        "lowered_by": {"min": 0, "max": 20, "step": 10},
        "counter_steers": True,
        "targets": {"toe_out_on_turns": {"points": [[10, 1], [20, 2]], "tolerance": 1}},
    }
    goals = {
        "format": 1,
        "name": "Small garage (invented)",
        "car": "car.yaml",
        "parts": "parts.yaml",
        "duties": {"hill": duty, "pad": pad},
        "search": {"hours": 0.1, "workers": 2, "keep": 10, "seed": 3},
    }
    files = {
        "goals.yaml": goals,
        "car.yaml": car_mapping(CARS[0]),
        "parts.yaml": random_parts(np.random.default_rng(5)),
    }
    for name, content in files.items():
        (folder / name).write_text(yaml.safe_dump(content, sort_keys=False))

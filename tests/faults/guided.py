"""Spoilt files found by following which lines of the readers they reach, with the library atheris.

    python -m tests.faults.guided --kind car --seconds 300

Run by hand where atheris can be installed; it is no part of the project's test extra, for it is not built
for every machine. Begins from the sound files of tests.faults.fuzz. Whatever reading ends in but sound
inputs or faults in words is told with its bytes, and ends the run. Prints how many files there were.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import atheris

with atheris.instrument_imports(include=["goals", "yaml"]):
    import goals.reading as reading
    from goals.faults import InputError

from tests.faults.fuzz import KINDS, NAMES, neighbours, sound_files
from tests.faults.mutations import as_yaml


def run(kind: str, seconds: float) -> None:
    """Follow the lines for so long; ends the process."""
    sound = sound_files()
    beside = neighbours(sound[2], kind)
    spoilt = NAMES.get(kind, f"{kind}.yaml")
    files = 0
    began = time.monotonic()

    def read_bytes(path: Path) -> bytes:
        return now if path.name == spoilt else beside[path.name]

    now = b""
    reading.read_bytes = read_bytes

    def one(data: bytes) -> None:
        nonlocal now, files
        now, files = data, files + 1
        try:
            reading.load_goals(Path("goals.yaml"))
        except InputError as error:
            assert error.faults
            assert all(str(fault).isprintable() for fault in error.faults)
        if time.monotonic() - began > seconds:
            told: dict[str, Any] = {"kind": kind, "files": files, "seconds": round(seconds)}
            print(json.dumps(told), flush=True)
            os._exit(0)

    with tempfile.TemporaryDirectory() as folder:
        for number, files_of_one in enumerate(sound):
            good = files_of_one[kind]
            raw = good.encode() if isinstance(good, str) else as_yaml(good)
            (Path(folder) / str(number)).write_bytes(raw)
        atheris.Setup([sys.argv[0], folder, "-max_len=20000", "-verbosity=0"], one)
        atheris.Fuzz()


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kind", choices=KINDS, required=True)
    asked.add_argument("--seconds", type=float, default=300.0)
    given = asked.parse_args()
    run(given.kind, given.seconds)

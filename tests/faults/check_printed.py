"""All hostile inputs through every command: run by hand as ``python -m tests.faults.check_printed``."""

from __future__ import annotations

import tempfile
import time
import traceback
from pathlib import Path

from tests.faults.told import assert_check_told, assert_run_told, made_run
from tests.faults.wards import HOSTILE, files


def main() -> None:
    """Print each of the hostile inputs with how many limits were told, or with what went wrong."""
    for name, change in {"as shipped": lambda told: None, **HOSTILE}.items():
        told, began = files(), time.monotonic()
        change(told)
        with tempfile.TemporaryDirectory() as folder:
            try:
                run = made_run(Path(folder), told)
                limits = assert_check_told(Path(folder) / "goals.yaml") + assert_run_told(run)
                print(f"{name}: {limits} limits told, {time.monotonic() - began:.1f} s")
            except Exception:  # what went wrong is the finding: told, and on to the next
                print(f"{name}: FAILED")
                traceback.print_exc(limit=-4)


if __name__ == "__main__":
    main()

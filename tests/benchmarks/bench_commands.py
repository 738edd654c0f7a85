"""How long a new user waits: ``--help``, and the demo with nothing compiled yet.

Run by hand: python tests/benchmarks/bench_commands.py
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

COMMAND = [sys.executable, "-c", "from optimiser.entry import main; main()"]
HELPS = 9


def help_seconds() -> float:
    """Median time of --help."""
    times = []
    for _ in range(HELPS):
        began = time.perf_counter()
        subprocess.run([*COMMAND, "--help"], check=True, capture_output=True)
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def demo_seconds() -> tuple[float, float | None, int]:
    """Time of the whole demo, time to its first build that serves every duty, and its exit code."""
    with tempfile.TemporaryDirectory() as folder:
        env = {**os.environ, "NUMBA_CACHE_DIR": str(Path(folder) / "cache")}
        began = time.perf_counter()
        process = subprocess.Popen(
            [*COMMAND, "demo"],
            cwd=folder,
            env=env,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        first = None
        assert process.stderr is not None
        for line in process.stderr:
            if first is None and "best merit" in line:
                first = time.perf_counter() - began
        return time.perf_counter() - began, first, process.wait()


def main() -> None:
    """Measure and print."""
    print(f"--help          {help_seconds():6.2f} s (median of {HELPS})")
    whole, first, code = demo_seconds()
    told = "none" if first is None else f"{first:6.1f} s"
    print(f"demo            {whole:6.1f} s, compilation included, exit code {code}")
    print(f"first feasible  {told}")


if __name__ == "__main__":
    main()

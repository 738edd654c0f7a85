"""How much of a run a rerun takes over, by kind of edit, and its time beside a search of all from nothing.

    python -m tests.benchmarks.bench_rerun              # the shipped example: a quarter of an hour and more
    python -m tests.benchmarks.bench_rerun --box small  # its box cut down to 64 builds, as in runs/sample

Times are wall seconds of begin and search, cars as built included, both of one sitting; ledgers are compared.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from importlib.resources import files as resources
from pathlib import Path
from typing import Any

from goals.reading import load_goals
from optimiser.coordinator import Search
from optimiser.rerun import Rerun, note_searched
from optimiser.runs import Run
from tests.rerun.bench import Files, files_of, problem_of, tables, write
from tests.rerun.edits import part

SAMPLE = Path("runs/sample/inputs")


def shipped() -> Files:
    """The shipped example's files."""
    return _files(Path(str(resources("goals.examples"))))


def small() -> Files:
    """The sample run's own."""
    return _files(SAMPLE)


def _files(folder: Path) -> Files:
    """The files of a folder as mappings, without the readings, which no search reads."""
    found = files_of(problem_of(load_goals(folder / "goals.yaml")))
    del found["goals"]["readings"]
    return found


def _price(files: Files) -> None:
    part(files, "kit")["price"] = 120


def _note(files: Files) -> None:
    files["goals"]["note"] = "second thoughts"


def _part_added(files: Files) -> None:
    kit = part(files, "kit")
    files["parts"]["stations"]["tie_rod"].append({**kit, "id": "kit_short", "price": 99})
    files["parts"]["stations"]["tie_rod"][-1]["rod"] = {
        **kit["rod"],
        "inner": kit["rod"]["inner"] - 3,
    }


def _part_removed(files: Files) -> None:
    listed = files["parts"]["stations"]["rack_mount"]
    listed.remove(next(one for one in listed if one["id"] == "offset"))


def _part_changed(files: Files) -> None:
    part(files, "short_arm")["points"]["tie_rod_outer"][0] += 1.0


def _range(files: Files) -> None:
    out = part(files, "slider")["adjusts"]["in_out"]
    out["range"] = [out["range"][0], out["range"][1] + 2]


def _hard_point(files: Files) -> None:
    files["car"]["points"]["ball_joint"][2] += 1.0


def _limit(files: Files) -> None:
    files["goals"]["duties"]["pad"]["limits"]["lock_inner"] = {"min": 42}


def _weight(files: Files) -> None:
    files["goals"]["duties"]["hill"]["targets"]["camber"]["weight"] = 2


def _swap(files: Files) -> None:
    files["goals"]["changeover"]["minutes"]["max"] = 70


def _minutes(files: Files) -> None:
    part(files, "washers")["minutes"] = 25


def _tolerance(files: Files) -> None:
    files["goals"]["tolerances"]["hard_points"] = 0.8


def _least_yield(files: Files) -> None:
    files["goals"]["tolerances"]["least_yield"] = 0.3


EDITS: dict[str, Callable[[Files], None]] = {
    "price": _price,
    "note": _note,
    "part added to a station": _part_added,
    "part removed": _part_removed,
    "one part measured anew": _part_changed,
    "adjuster's range": _range,
    "limit of one duty": _limit,
    "target's weight in one duty": _weight,
    "swap's minutes allowed": _swap,
    "a part's minutes": _minutes,
    "tolerance of hard points": _tolerance,
    "least yield": _least_yield,
    "hard point of the car": _hard_point,
}


def _quiet(_: Any) -> None:
    """Progress that nobody watches."""


def searched(run: Run, problem: Any) -> Run:
    """Search a run to its end, in processes."""
    Search(run, problem, _quiet).go()
    note_searched(run)
    return run


def main() -> None:
    """Print the table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--box", choices=("shipped", "small"), default="shipped")
    words.add_argument("--only", nargs="*", default=list(EDITS), help="edits, by their names")
    asked = words.parse_args()
    base = shipped if asked.box == "shipped" else small
    with tempfile.TemporaryDirectory() as folder:
        _table(Path(folder), base, asked.only)


def _table(folder: Path, base: Callable[[], Files], names: list[str]) -> None:
    goals = write(folder, base())
    loaded = load_goals(goals)
    start = time.perf_counter()
    old = searched(Run.create(folder / "runs", "old", loaded, goals), problem_of(loaded))
    print(f"first search: {time.perf_counter() - start:.1f} s", flush=True)
    print("| edit | builds whole | in part | cars as built | rerun s | fresh s | same |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name in names:
        files = base()
        EDITS[name](files)
        loaded = load_goals(write(folder, files))
        start = time.perf_counter()
        again = Rerun.of(old, loaded, goals.name).begin(folder / "runs", name, loaded, goals)
        searched(again, problem_of(loaded))
        middle = time.perf_counter()
        fresh = Run.create(folder / "runs", f"{name} fresh", loaded, goals)
        searched(fresh, problem_of(loaded))
        end = time.perf_counter()
        state = again.state()
        builds, kept = state["coverage"]["builds"], state["rerun"]
        shares = [f"{100 * kept[what] / builds:.0f} %" for what in ("reused", "in_part")]
        cars = f"{kept['as_built']} of {state['as_built']['candidates']}"
        same = "yes" if tables(again) == tables(fresh) else "NO"
        times = f"{middle - start:.1f} | {end - middle:.1f}"
        print(f"| {name} | {shares[0]} | {shares[1]} | {cars} | {times} | {same} |", flush=True)


if __name__ == "__main__":
    main()

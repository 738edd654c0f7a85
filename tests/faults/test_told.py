"""No figure that is none, and no limit without its state, in anything that is told of hostile inputs."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimiser.bench import DutyBench
from optimiser.evaluate import candidate
from optimiser.runs import Run
from tests.faults.told import assert_check_told, assert_run_told, made_run
from tests.faults.wards import HOSTILE, files
from tests.rerun.bench import write

# Several at once; each by itself, and all of it told, in tests/faults/check_printed.py.
TOGETHER = (
    ("far windows", "tiny tolerance", "straight ahead", "never so far", "heavy weights"),
    ("nothing to touch", "feathers", "no errors", "turned"),
    ("huge errors", "no rack"),
)


@pytest.mark.parametrize("names", TOGETHER, ids=", ".join)
def test_the_car_as_it_stands_is_told_in_figures(names: tuple[str, ...], tmp_path: Path) -> None:
    told = files()
    for name in names:
        HOSTILE[name](told)
    assert assert_check_told(write(tmp_path, told)) >= 40


def _walled(folder: Path, *duties: str) -> Run:
    """One duty does not reach the ends of its travel, and in both the tyre stands in a wall."""
    told = files()
    HOSTILE["a wall"](told)
    HOSTILE["far travel"](told)
    told["goals"]["duties"] = {name: told["goals"]["duties"][name] for name in duties}
    return made_run(folder, told)


def test_a_ranking_and_a_sheet_are_told_in_figures(tmp_path: Path) -> None:
    assert assert_run_told(_walled(tmp_path, "hill", "pad"), ("rank", "sheet")) >= 40


def test_a_comparison_and_a_page_are_told_in_figures(tmp_path: Path) -> None:
    assert assert_run_told(_walled(tmp_path, "hill"), ("show", "compare", "report")) >= 20


def test_where_there_is_nothing_to_touch_no_gap_is_judged_and_the_rack_is_free(
    tmp_path: Path,
) -> None:
    told = files()
    HOSTILE["nothing to touch"](told)
    run = made_run(tmp_path, told)
    problem, row = run.load(), run.ranked(9)[0]
    record = row["duties"]["hill"]
    gap = record["measures"]["tyre_clearance"]
    assert gap["value"] is None and gap["limit"] is None and "bounds" not in gap
    # the stop is where linkage and joints put it, as with no obstacles at all
    build = problem.space.build(row["build"])
    assembly = problem.assembly(build, "hill")
    assert assembly is not None
    other = [d for d in problem.demands(assembly, "hill") if d.measure.name != "tyre_clearance"]
    free = candidate(assembly, other, tuple(record["positions"]))
    assert record["solved"]["stop"] == free["solved"]["stop"] > 0.0
    # and nothing of it stands among the limits with least in hand
    bench = DutyBench.of(problem, build, "hill", record)
    assert all("tyre" not in margin.key for margin in bench.margins)


def test_weights_of_any_size_stand_to_each_other_as_written(tmp_path: Path) -> None:
    merits = []
    for scale in (1.0, 2.0**30, 2.0**-30):
        told = files()
        for weight, target in enumerate(
            told["goals"]["duties"]["hill"]["targets"].values(), start=1
        ):
            target["weight"] = weight * scale
        run = made_run(tmp_path / f"{scale:g}", told)
        merits.append(run.ranked(9)[0]["duties"]["hill"]["merit"])
    assert merits[0] > 0.0
    assert merits[1] == merits[2] == merits[0]

"""A rerun's ledger and ranking are those of a fresh search, whatever was edited; and it saves the work."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from goals.reading import load_goals
from optimiser.ledger import DONE, FAILED, SWEEPS
from optimiser.rerun import Rerun, note_searched
from optimiser.runs import FINISHED, STOPPED, Run
from tests.rerun.bench import Files, assert_same_run, fresh, go, problem_of, tables, write
from tests.rerun.edits import BASES, EDITS, Edit

pytestmark = pytest.mark.usefixtures("one_process")


@pytest.fixture(scope="module")
def searched(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Run]:
    """Each base searched once."""
    found = {}
    for name in BASES:
        folder = tmp_path_factory.mktemp(name)
        found[name] = fresh(folder / "runs", "old", write(folder, edited(name)))
        assert found[name].state()["as_built"]["candidates"] >= 1, name
    return found


def edited(base: str, *edits: Edit) -> Files:
    files = BASES[base]()
    # one candidate that is built many times tells as much as two, in half the time
    files["goals"]["search"]["keep"] = 1
    for edit in edits:
        edit.change(files)
    return files


def rerun(old: Run, goals: Path, name: str) -> Run:
    """A rerun with the goals as they are, in the folder of the goals' runs."""
    loaded = load_goals(goals)
    again = Rerun.of(old, loaded, goals.name)
    assert again.changes
    run = again.begin(goals.parent / "runs", name, loaded, goals)
    go(run, problem_of(loaded))
    note_searched(run)
    return run


@pytest.mark.parametrize("edit", EDITS, ids=lambda edit: f"{edit.name}, {edit.base}")
def test_a_rerun_is_what_a_fresh_search_finds(
    edit: Edit, searched: dict[str, Run], tmp_path: Path
) -> None:
    goals = write(tmp_path, edited(edit.base, edit))
    run = rerun(searched[edit.base], goals, "again")
    assert_same_run(run, fresh(tmp_path / "runs", "fresh", goals))
    state = run.state()
    counts, builds = state["rerun"], state["coverage"]["builds"]
    assert state["rerun_of"] == "old" and state["coverage"]["proven"]
    assert counts["searched"] == builds - counts["reused"]
    assert counts["reused"] >= edit.whole * builds and counts["in_part"] >= edit.some * builds
    assert bool(counts["as_built"]) == edit.cars


@pytest.mark.parametrize(("seed", "base"), [(0, "paired"), (1, "alone"), (2, "paired")])
def test_reruns_of_reruns_are_what_a_fresh_search_finds(
    seed: int, base: str, searched: dict[str, Run], tmp_path: Path
) -> None:
    """Edits one after the other, each rerun from the one before."""
    usable = [edit for edit in EDITS if edit.base == base and "removed" not in edit.name]
    chance = np.random.default_rng((seed, 41))
    order = [usable[i] for i in chance.permutation(len(usable))[:3]]
    run = searched[base]
    for count in range(1, len(order) + 1):
        goals = write(tmp_path, edited(base, *order[:count]))
        run = rerun(run, goals, f"again{count}")
    assert_same_run(run, fresh(tmp_path / "runs", "fresh", goals))
    assert run.state()["rerun_of"] == "again2"


@pytest.mark.parametrize("rows", [1, 4])
def test_an_interrupted_rerun_goes_on_where_it_was(
    rows: int, searched: dict[str, Run], tmp_path: Path
) -> None:
    part_edit = next(edit for edit in EDITS if edit.name == "limit of one duty")
    goals = write(tmp_path, edited("paired", part_edit))
    loaded = load_goals(goals)
    again = Rerun.of(searched["paired"], loaded, goals.name)
    run = again.begin(tmp_path / "runs", "again", loaded, goals)
    assert go(run, problem_of(loaded), rows) == STOPPED
    assert rows <= run.ledger.counts()[0] < 6
    found = Run.find(tmp_path / "runs", "again")
    # what the earlier run found of single duties is still at hand
    assert len(found.ledger.known(SWEEPS)) == 6
    assert go(found, found.load()) == FINISHED
    assert_same_run(found, fresh(tmp_path / "runs", "fresh", goals))
    # and is dropped once it is used
    assert not found.ledger.known(SWEEPS)


def test_an_unfinished_run_gives_what_it_has(tmp_path: Path) -> None:
    files = edited("paired")
    goals = write(tmp_path, files)
    loaded = load_goals(goals)
    old = Run.create(tmp_path / "runs", "old", loaded, goals)
    assert go(old, problem_of(loaded), rows=2) == STOPPED
    done = old.ledger.counts()[0]
    before = tables(old)
    edit = next(edit for edit in EDITS if edit.name == "price")
    edit.change(files)
    run = rerun(old, write(tmp_path, files), "again")
    assert 2 <= run.state()["rerun"]["reused"] == done < 6
    assert run.state()["rerun"]["searched"] == 6 - done
    assert_same_run(run, fresh(tmp_path / "runs", "fresh", goals))
    # the earlier run is only read
    assert tables(old) == before


def test_a_build_that_failed_is_searched_again(searched: dict[str, Run], tmp_path: Path) -> None:
    files = edited("paired")
    goals = write(tmp_path, files)
    loaded = load_goals(goals)
    old = Run.create(tmp_path / "runs", "old", loaded, goals)
    rows = searched["paired"].ledger.rows()
    old.ledger.add(0, FAILED, 0, {"build": 0, "failed": "the worker process died"})
    for row in rows[1:]:
        old.ledger.add(row["build"], DONE, 16, row)
    next(edit for edit in EDITS if edit.name == "price").change(files)
    run = rerun(old, write(tmp_path, files), "again")
    assert run.state()["rerun"] == {"reused": 5, "in_part": 0, "as_built": 0, "searched": 1}
    assert_same_run(run, fresh(tmp_path / "runs", "fresh", goals))


def test_figures_of_another_version_are_not_taken_over(
    searched: dict[str, Run], tmp_path: Path
) -> None:
    files = edited("paired")
    goals = write(tmp_path, files)
    loaded = load_goals(goals)
    old = Run.create(tmp_path / "runs", "old", loaded, goals)
    for row in searched["paired"].ledger.rows():
        old.ledger.add(row["build"], DONE, 16, row)
    old.update(version="0.0.1")
    again = Rerun.of(old, loaded, goals.name)
    assert not again.changes and not again.idle
    run = again.begin(tmp_path / "runs", "again", loaded, goals)
    assert run.ledger.counts()[0] == 0
    assert run.state()["rerun"] == {"reused": 0, "in_part": 0, "as_built": 0}

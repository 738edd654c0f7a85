"""A rerun's ledger and ranking are those of a fresh search, whatever was edited; and it saves the work."""

from __future__ import annotations

from pathlib import Path

import pytest

from goals.reading import load_goals
from optimiser.rerun import Rerun, note_searched
from optimiser.runs import Run
from tests.rerun.bench import Files, assert_same_run, fresh, go, problem_of, write
from tests.rerun.edits import BASES, EDITS, Edit

pytestmark = pytest.mark.usefixtures("one_process")


@pytest.fixture(scope="module")
def searched(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Run]:
    """Each base searched once."""
    found = {}
    for name, base in BASES.items():
        folder = tmp_path_factory.mktemp(name)
        found[name] = fresh(folder / "runs", "old", write(folder, base()))
        assert found[name].state()["as_built"]["candidates"] >= 2, name
    return found


def edited(base: str, *edits: Edit) -> Files:
    files = BASES[base]()
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

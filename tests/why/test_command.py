"""The command, on a small garage in which nothing is feasible and on one in which much is."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journeys.garage import Outcome, run, write_garage


def explained(folder: Path, *words: str) -> Outcome:
    return run("why", "night", "--minutes", "0.5", "--workers", "2", *words, cwd=folder)


@pytest.fixture(scope="module")
def clashing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A garage with a limit that nothing holds, searched."""
    folder = tmp_path_factory.mktemp("clashing")
    write_garage(folder, camber={"max": -30})
    assert run("search", "goals.yaml", "--name", "night", cwd=folder).code == 1
    return folder


def test_nothing_feasible_ends_with_1_and_names_the_limit(clashing: Path) -> None:
    outcome = explained(clashing, "--json")
    assert outcome.code == 1
    told = outcome.document
    assert told["feasible"] is False
    (clash,) = told["clashes"]
    assert clash["sets"] == [[{"duty": "hill", "limit": "camber"}]]
    assert clash["complete"] is True
    assert clash["give_up"] == [[{"duty": "hill", "limit": "camber"}]]
    (ease,) = clash["eases"]
    assert ease["was"] == [None, -30]
    assert ease["bounds"][1] == pytest.approx(-30 + ease["eased"])
    assert ease["eased"] > 0
    assert ease["found"]["parts"]


def test_as_text_within_80_columns(clashing: Path) -> None:
    outcome = explained(clashing)
    assert outcome.code == 1
    assert "hill's camber: cannot be held by any build" in outcome.out
    assert "licensed engineer" in outcome.out
    assert max(len(line) for line in outcome.out.splitlines()) <= 80
    assert all(line.startswith("[") for line in outcome.err.splitlines())


def test_no_time_proves_nothing_and_says_so(clashing: Path) -> None:
    outcome = run("why", "night", "--minutes", "0", "--workers", "1", cwd=clashing)
    assert outcome.code == 1
    assert "the time was up" in outcome.out


def test_what_is_feasible_ends_with_0(tmp_path: Path) -> None:
    write_garage(tmp_path)
    assert run("search", "goals.yaml", "--name", "night", cwd=tmp_path).code == 0
    outcome = explained(tmp_path, "--json")
    assert outcome.code == 0
    told = outcome.document
    assert told["clashes"] == []
    assert told["pulls"]
    assert told["next_part"]["every_duty"] is not None


def test_a_run_that_is_not_there(tmp_path: Path) -> None:
    outcome = run("why", "nothing", cwd=tmp_path)
    assert outcome.code == 2
    assert "no run 'nothing'" in outcome.err

"""A builder's way through the commands, with files that are sound and files that are not."""

from __future__ import annotations

import json
import os
import signal
import time
from pathlib import Path

import pytest
import yaml

from tests.journeys.garage import run, start, write_garage


class NoAliases(yaml.SafeDumper):
    """Writes what is shared twice, as people do."""

    def ignore_aliases(self, data: object) -> bool:
        return True


@pytest.fixture(scope="module")
def searched(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the small goals were searched as run 'one'."""
    folder = tmp_path_factory.mktemp("garage")
    write_garage(folder)
    outcome = run("search", "goals.yaml", "--name", "one", cwd=folder)
    assert outcome.code == 0, outcome.err
    assert "of " in outcome.err and "builds" in outcome.err
    return folder


def test_search_leaves_a_whole_run_folder(searched: Path) -> None:
    folder = searched / "runs" / "one"
    names = {p.name for p in folder.iterdir()}
    assert {
        "inputs",
        "run.json",
        "ledger.sqlite",
        "ranked.csv",
        "ranked.json",
        "log.jsonl",
    } <= names
    for name in ("goals.yaml", "car.yaml", "parts.yaml"):
        assert (folder / "inputs" / name).read_bytes() == (searched / name).read_bytes()
    state = json.loads((folder / "run.json").read_text())
    assert state["status"] == "finished"
    assert state["coverage"]["proven"] is True
    assert state["coverage"]["covered"] == state["coverage"]["combinations"]


def test_rank_json_keeps_the_contract(searched: Path) -> None:
    document = run("rank", "one", "--json", cwd=searched).document
    assert set(document) == {
        *("run", "status", "reason", "progress", "updated"),
        *("coverage", "candidates", "model_check"),
    }
    assert set(document["coverage"]) == {
        "builds",
        "builds_done",
        "combinations",
        "covered",
        "proven",
        "order",
    }
    merits = [c["merit"] for c in document["candidates"] if c["feasible"]]
    assert merits == sorted(merits) and merits
    best = document["candidates"][0]
    assert best["rank"] == 1
    assert {"merit", "yield", "price", "build", "duties"} <= set(best)
    assert set(best["duties"]) == {"hill", "pad"}
    assert {"settings", "measures"} <= set(best["duties"]["hill"])
    assert best["merit"] == max(d["merit"] for d in best["duties"].values())


def test_show_json_adds_the_curves(searched: Path) -> None:
    document = run("show", "one", "1", "--json", cwd=searched).document
    curves = document["duties"]["hill"]["curves"]
    assert curves["travel"]["travel"] == [float(t) for t in range(-60, 61, 5)]
    steer = curves["steer"]
    assert steer["rack"][0] == -steer["rack"][-1]
    assert 0.0 in steer["rack"]
    assert len(steer["left"]) == len(steer["rack"]) == len(steer["toggle_margin"])


def test_check_json_keeps_the_contract_and_the_car_as_measured(searched: Path) -> None:
    document = run("check", "goals.yaml", "--json", cwd=searched).document
    assert set(document) == {"car", "space", "as_measured", "duties", "model_check"}
    measured = document["as_measured"]["measures"]
    static = yaml.safe_load((searched / "car.yaml").read_text())["static"]
    assert measured["toe"]["value"] == pytest.approx(static["toe"], abs=1e-9)
    assert measured["camber"]["value"] == pytest.approx(static["camber"], abs=1e-9)
    for entry in document["duties"]["hill"]["measures"].values():
        assert {"value", "unit", "limit", "miss"} <= set(entry)
    assert document["duties"]["hill"]["measures"]["toggle_margin"]["limit"] in (True, False)
    assert document["duties"]["pad"]["measures"]["camber"]["limit"] is None


@pytest.mark.parametrize("command", [("rank", "one"), ("show", "one", "1"), ("sheet", "one", "1")])
def test_tables_fit_a_terminal_and_carry_no_colour_when_piped(
    searched: Path, command: tuple[str, ...]
) -> None:
    outcome = run(*command, cwd=searched)
    assert outcome.code == 0
    assert "\x1b[" not in outcome.out
    assert max(len(line) for line in outcome.out.splitlines()) <= 80


def test_check_prints_for_people(searched: Path) -> None:
    outcome = run("check", "goals.yaml", cwd=searched)
    assert outcome.code == 0
    assert "hill" in outcome.out and "pad" in outcome.out
    assert max(len(line) for line in outcome.out.splitlines()) <= 80


def test_the_sheet_is_kept_as_text_page_and_pdf(searched: Path) -> None:
    outcome = run("sheet", "one", "1", cwd=searched)
    kept = sorted(p.suffix for p in (searched / "runs" / "one" / "sheets").iterdir())
    assert kept == [".html", ".pdf", ".pdf", ".txt"]
    assert "lock to lock" in outcome.out


def test_one_process_or_two_rank_the_same(searched: Path, tmp_path: Path) -> None:
    write_garage(tmp_path)
    goals = (tmp_path / "goals.yaml").read_text().replace("workers: 2", "workers: 1")
    (tmp_path / "goals.yaml").write_text(goals)
    assert run("search", "goals.yaml", "--name", "one", cwd=tmp_path).code == 0
    for name in ("ranked.json", "ranked.csv"):
        alone = (tmp_path / "runs" / "one" / name).read_bytes()
        assert alone == (searched / "runs" / "one" / name).read_bytes()


@pytest.mark.parametrize("wait", [0.5, 2.5])
def test_killed_and_resumed_ranks_as_if_never_interrupted(
    searched: Path, tmp_path: Path, wait: float
) -> None:
    write_garage(tmp_path)
    process = start("search", "goals.yaml", "--name", "one", cwd=tmp_path)
    folder = tmp_path / "runs" / "one"
    for _ in range(600):
        if (folder / "run.json").exists():
            break
        time.sleep(0.05)
    time.sleep(wait)
    os.kill(process.pid, signal.SIGKILL)
    # returns only when every worker has let go of the pipe: none may outlive the coordinator
    process.communicate(timeout=30)
    outcome = run("resume", "one", cwd=tmp_path)
    assert outcome.code == 0, outcome.err
    for name in ("ranked.json", "ranked.csv"):
        assert (folder / name).read_bytes() == (searched / "runs" / "one" / name).read_bytes()


def test_ctrl_c_stops_cleanly_and_resume_goes_on(searched: Path, tmp_path: Path) -> None:
    write_garage(tmp_path)
    # a box of many knuckles, so that the search is still at work when it is stopped
    parts = yaml.safe_load((tmp_path / "parts.yaml").read_text())
    knuckle = parts["stations"]["knuckle"][0]
    parts["stations"]["knuckle"] = [{**knuckle, "id": f"k{n}", "price": n} for n in range(60)]
    (tmp_path / "parts.yaml").write_text(yaml.dump(parts, Dumper=NoAliases))
    process = start("search", "goals.yaml", "--name", "long", cwd=tmp_path)
    assert process.stderr is not None
    for line in process.stderr:
        if " of " in line and "builds," in line and "a second" in line:
            break
    process.send_signal(signal.SIGINT)
    _, rest = process.communicate(timeout=120)
    assert process.returncode == 3, rest
    state = json.loads((tmp_path / "runs" / "long" / "run.json").read_text())
    assert state["status"] == "stopped"
    assert 0 < state["coverage"]["builds_done"] < state["coverage"]["builds"]
    assert run("rank", "long", cwd=tmp_path).code == 0
    assert run("resume", "long", cwd=tmp_path).code == 0
    state = json.loads((tmp_path / "runs" / "long" / "run.json").read_text())
    assert state["coverage"]["proven"] is True


def test_nothing_feasible_is_a_proper_answer(tmp_path: Path) -> None:
    write_garage(tmp_path, lock_inner={"min": 80})
    outcome = run("search", "goals.yaml", "--name", "none", "--json", cwd=tmp_path)
    assert outcome.code == 1
    best = outcome.document["candidates"][0]
    assert best["merit"] is None and best["feasible"] is False
    assert "lock_inner" in best["duties"]["hill"]["shortfalls"]
    assert best["duties"]["hill"]["settings"]
    assert best["duties"]["pad"]["feasible"] is True
    assert run("rank", "none", cwd=tmp_path).code == 0


def test_two_searches_of_one_run_are_refused(searched: Path) -> None:
    outcome = run("search", "goals.yaml", "--name", "one", cwd=searched)
    assert outcome.code == 2
    assert "already" in outcome.err


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("rank", "nowhere"), "no run 'nowhere'"),
        (("show", "one", "99"), "ranked candidates"),
        (("show", "one", "0"), ""),
        (("check", "missing.yaml"), "missing.yaml"),
        (("check", "."), ""),
        (("frobnicate",), ""),
        (("search", "goals.yaml", "--name", "../up"), "no name for a run"),
    ],
)
def test_bad_use_ends_with_words_and_code_2(
    searched: Path, args: tuple[str, ...], says: str
) -> None:
    outcome = run(*args, cwd=searched)
    assert outcome.code == 2
    assert says in outcome.err
    assert outcome.out == ""


def test_a_fault_is_told_with_its_place(searched: Path, tmp_path: Path) -> None:
    write_garage(tmp_path)
    goals = (tmp_path / "goals.yaml").read_text().replace("toggle_margin", "togle_margin")
    (tmp_path / "goals.yaml").write_text(goals)
    outcome = run("check", "goals.yaml", cwd=tmp_path)
    assert outcome.code == 2
    line = next(n for n, text in enumerate(goals.splitlines(), 1) if "togle_margin" in text)
    assert f"goals.yaml:{line}:" in outcome.err
    assert "toggle_margin" in outcome.err


@pytest.mark.parametrize("what", ["goals", "car", "parts"])
def test_schema_prints_json(tmp_path: Path, what: str) -> None:
    document = run("schema", what, cwd=tmp_path).document
    assert "$schema" in document

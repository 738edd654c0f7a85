"""rerun and compare as a user calls them, in the test's own process."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from optimiser.better import OPPOSITE
from optimiser.commands import app
from optimiser.runs import Run
from tests.rerun.bench import Files, assert_same_run, fresh, write
from tests.rerun.edits import BASES, duties, part

pytestmark = pytest.mark.usefixtures("one_process")


@dataclass(frozen=True)
class Outcome:
    """What a command did."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        return json.loads(self.out, parse_constant=_no_constant)


def _no_constant(word: str) -> Any:
    raise AssertionError(f"{word} in JSON")


Call = Callable[..., Outcome]


@pytest.fixture(scope="module")
def searched(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the paired box searched as runs/old, and runs/tight, whose pad asks for more."""
    folder = tmp_path_factory.mktemp("shop")
    fresh(folder / "runs", "old", write(folder, BASES["paired"]()))
    files = _tight()
    fresh(folder / "runs", "tight", write(folder / "tight", files))
    return folder


def _tight() -> Files:
    files = BASES["paired"]()
    _, second = duties(files)
    second.setdefault("limits", {})["toggle_margin"] = {"min": 10.0}
    part(files, "slim")["price"] = 200.0
    return files


@pytest.fixture
def shop(searched: Path, tmp_path: Path) -> Path:
    """A copy of it to work in."""
    return Path(shutil.copytree(searched, tmp_path / "shop"))


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    def run(*args: str, runs: Path) -> Outcome:
        capsys.readouterr()
        code = app([*args, "--runs", str(runs)], standalone_mode=False)
        out, err = capsys.readouterr()
        return Outcome(code or 0, out, err)

    return run


def test_nothing_changed_makes_no_run(shop: Path, call: Call) -> None:
    outcome = call("rerun", "old", runs=shop / "runs")
    assert outcome.code == 0 and "nothing was changed" in outcome.out
    told = call("rerun", "old", "--json", runs=shop / "runs").document
    assert told["run"] is None and told["changes"] == []
    assert sorted(p.name for p in (shop / "runs").iterdir()) == ["old", "tight"]


def test_a_price_is_told_and_nothing_searched(shop: Path, call: Call) -> None:
    files = BASES["paired"]()
    part(files, "slim")["price"] = 20.0
    goals = write(shop, files)
    outcome = call("rerun", "old", "--name", "new", "--json", runs=shop / "runs")
    assert outcome.code == 0
    told = outcome.document
    assert told["run"] == "new" and told["rerun_of"] == "old" and told["status"] == "finished"
    assert [c["words"] for c in told["changes"]] == ["parts.yaml: knuckle slim: price 180 → 20"]
    assert told["reuse"]["reused"] == told["coverage"]["builds"] == 6
    assert told["reuse"]["searched"] == 0 and told["coverage"]["proven"]
    assert told["built"]["rank"] == 1 and told["built"]["holds"]
    for candidate in told["candidates"]:
        saved = 160.0 if candidate["build"]["knuckle"] == "slim" else 0.0
        assert candidate["before"]["price"] - candidate["after"]["price"] == saved
        assert candidate["before"]["merit"] == candidate["after"]["merit"]
    for sides in told["today"].values():
        assert sides["before"] == sides["after"]
    assert_same_run(Run.find(shop / "runs", "new"), fresh(shop / "runs", "fresh", goals))


def test_a_tighter_limit_fells_candidates_and_says_which(shop: Path, call: Call) -> None:
    files = BASES["paired"]()
    old = Run.find(shop / "runs", "old")
    best = old.ranked(1)[0]
    name = next(iter(files["goals"]["duties"]))
    track = best["duties"][name]["measures"]["track_width"]["value"]
    duties(files)[0]["limits"] = {"track_width": {"max": track - 0.5}}
    write(shop, files)
    outcome = call("rerun", "old", "--json", "--name", "new", runs=shop / "runs")
    told = outcome.document
    assert not told["built"]["holds"]
    (limit,) = [x for x in told["built"]["duties"][name]["limits"] if x["key"] == "track_width"]
    assert limit["in_hand"] == pytest.approx(-0.5)
    moves = {c["move"] for c in told["candidates"]}
    assert moves <= {"rose", "fell", "same", "appeared", "died", "left the list"}
    for candidate in told["candidates"]:
        if candidate["move"] == "died":
            assert f"{name}: track width" in candidate["why"]
    after = {c["after"]["rank"] for c in told["candidates"] if c["after"] and c["move"] != "died"}
    assert all(rank <= len(told["candidates"]) for rank in after)


def test_a_part_that_is_gone_takes_its_candidates_along(shop: Path, call: Call) -> None:
    files = BASES["paired"]()
    best = Run.find(shop / "runs", "old").ranked(1)[0]["parts"]["knuckle"]
    listed = files["parts"]["stations"]["knuckle"]
    gone = best if best != "as_is" else "slim"
    files["parts"]["stations"]["knuckle"] = [one for one in listed if one["id"] != gone]
    write(shop, files)
    told = call("rerun", "old", "--json", "--name", "new", runs=shop / "runs").document
    died = [c for c in told["candidates"] if c["build"]["knuckle"] == gone]
    assert died and {c["move"] for c in died} == {"died"}
    assert {c["why"] for c in died} == {f"knuckle {gone} is no longer in the parts file"}


@pytest.mark.parametrize("how", ["nothing", "limit", "gone", "duty"])
def test_tables_fit_80_columns(how: str, shop: Path, call: Call) -> None:
    files = BASES["paired"]()
    if how == "limit":
        duties(files)[0]["limits"] = {"track_width": {"max": 1200}}
    elif how == "gone":
        files["parts"]["stations"]["knuckle"].pop(0)
    elif how == "duty":
        files["goals"]["duties"]["wet"] = {"targets": {"camber": {"value": -1, "tolerance": 1}}}
    else:
        part(files, "slim")["note"] = "a note " * 40
    write(shop, files)
    outcome = call("rerun", "old", "--name", "new", "--built", "2", runs=shop / "runs")
    assert outcome.code == (1 if how == "limit" else 0)
    assert max(len(line) for line in outcome.out.splitlines()) <= 80
    assert "rigid and ideal" in " ".join(outcome.out.split()) and "\x1b[" not in outcome.out
    assert ("nothing holds every limit any more" in outcome.out) == (how == "limit")
    # no state is cut off, whatever stands beside it
    told = r"track width [^\n]*\n +straight ahead at ride height|straight ahead at ride\n +height"
    assert re.search(told, outcome.out)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("rerun", "none"), "no run 'none'"),
        (("rerun", "old", "--goals", "nowhere.yaml"), "there is no file"),
        (("rerun", "old", "--built", "99", "--goals", "GOALS"), "ranked candidates, not 99"),
        (("rerun", "old", "--name", "tight", "--goals", "GOALS"), "run of the name 'tight'"),
        (("rerun", "old", "--name", "a/b", "--goals", "GOALS"), "no name for a run"),
        (("compare", "old#1", "old#99"), "ranked candidates, not 99"),
        (("compare", "old#0", "today"), "ranked candidates, not 0"),
        (("compare", "old", "today"), "'old' is no candidate"),
        (("compare", "today", "today"), "both are today's car"),
        (("compare", "none#1", "today"), "no run 'none'"),
        (("compare", "old#one", "today"), "is no candidate"),
    ],
    ids=lambda at: " ".join(at) if isinstance(at, tuple) else "",
)
def test_bad_use_is_told_in_words(
    args: tuple[str, ...], words: str, searched: Path, call: Call
) -> None:
    there = str(searched / "tight" / "goals.yaml")
    outcome = call(*(there if a == "GOALS" else a for a in args), runs=searched / "runs")
    assert outcome.code == 2 and outcome.out == "" and words in outcome.err
    assert sorted(p.name for p in (searched / "runs").iterdir()) == ["old", "tight"]


def test_goals_that_a_run_does_not_tell_have_to_be_named(shop: Path, call: Call) -> None:
    old = Run.find(shop / "runs", "old")
    assert old.state()["goals_file"] == "../../goals.yaml"
    (shop / "goals.yaml").rename(shop / "other.yaml")
    outcome = call("rerun", "old", runs=shop / "runs")
    assert outcome.code == 2 and "--goals" in outcome.err
    old.update(goals_file=None)
    outcome = call("rerun", "old", runs=shop / "runs")
    assert outcome.code == 2 and "does not tell where its goals file stands" in outcome.err
    named = call("rerun", "old", "--goals", str(shop / "other.yaml"), runs=shop / "runs")
    assert named.code == 0 and "nothing was changed" in named.out


# compare


def _swapped(document: dict[str, Any]) -> dict[str, Any]:
    """What a comparison says, as the other way round would say it: heads, figures and verdicts."""

    def turned(verdict: Any) -> Any:
        return None if verdict is None else OPPOSITE[verdict]

    duties = {}
    for name, both in document["duties"].items():
        merit = both["merit"]
        duties[name] = {
            "merit": (merit["b"], merit["a"], turned(merit["judged"])),
            "settings": [
                (s["station"], s["name"], s["b"], s["a"], s["difference"] and -s["difference"])
                for s in both["settings"]
            ],
            "measures": [(m["key"], m["b"], m["a"], turned(m["judged"])) for m in both["measures"]],
        }
    parts = [(p["station"], p["b"], p["a"]) for p in document["parts"]]
    return {
        "a": document["b"],
        "b": document["a"],
        "merit": turned(document["merit"]),
        "parts": parts,
        "duties": duties,
    }


def _said(document: dict[str, Any]) -> dict[str, Any]:
    duties = {
        name: {
            "merit": (both["merit"]["a"], both["merit"]["b"], both["merit"]["judged"]),
            "settings": [
                (s["station"], s["name"], s["a"], s["b"], s["difference"]) for s in both["settings"]
            ],
            "measures": [(m["key"], m["a"], m["b"], m["judged"]) for m in both["measures"]],
        }
        for name, both in document["duties"].items()
    }
    parts = [(p["station"], p["a"], p["b"]) for p in document["parts"]]
    head = {name: document[name] for name in ("a", "b", "merit")}
    return {**head, "parts": parts, "duties": duties}


@pytest.mark.parametrize(
    ("one", "other"),
    [("old#1", "old#2"), ("old#1", "today"), ("old#2", "tight#1"), ("tight#2", "today")],
)
def test_a_comparison_is_the_mirror_of_its_reverse(
    one: str, other: str, searched: Path, call: Call
) -> None:
    runs = searched / "runs"
    forth = call("compare", one, other, "--json", runs=runs)
    back = call("compare", other, one, "--json", runs=runs)
    assert forth.code == back.code == 0
    assert _swapped(forth.document) == _said(back.document)


def test_a_candidate_is_like_itself(searched: Path, call: Call) -> None:
    told = call("compare", "old#1", "old#1", "--json", runs=searched / "runs").document
    assert told["merit"] == "alike" and told["tie"] is True and not told["inputs_differ"]
    for both in told["duties"].values():
        assert all(s["a"] == s["b"] for s in both["settings"])
        assert {m["judged"] for m in both["measures"]} <= {"alike", None}
        assert all((m["judged"] is None) == (not m["asked"]) for m in both["measures"])
        assert all(abs(rod["longer"]) == 0.0 for rod in both["rods"])


def test_two_runs_are_each_judged_by_their_own_goals(searched: Path, call: Call) -> None:
    told = call("compare", "old#1", "tight#1", "--json", runs=searched / "runs").document
    where = {c["where"] for c in told["inputs_differ"]}
    assert "knuckle slim: price" in where and any("toggle_margin" in w for w in where)
    first, second = told["duties"].values()
    assert first["asks_alike"] and not second["asks_alike"]
    assert told["merit"] is None and second["merit"]["judged"] is None
    (toggle,) = [m for m in second["measures"] if m["key"] == "toggle_margin"]
    assert not toggle["asks_alike"] and toggle["judged"] is None
    assert toggle["asked_a"] != toggle["asked_b"]
    out = call("compare", "old#1", "tight#1", runs=searched / "runs").out
    assert "the runs' inputs differ, each is judged by its own" in out
    assert "price 180 → 200" in out


@pytest.mark.parametrize("pair", [("old#1", "old#2"), ("today", "old#1"), ("old#1", "tight#2")])
def test_comparisons_fit_80_columns(pair: tuple[str, str], searched: Path, call: Call) -> None:
    outcome = call("compare", *pair, runs=searched / "runs")
    assert outcome.code == 0
    assert max(len(line) for line in outcome.out.splitlines()) <= 80
    for words in ("A: ", "B: ", "B is", "rigid, ideal model"):
        assert words in " ".join(outcome.out.split())

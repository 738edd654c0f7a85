"""A run folder given by someone else is harmless: commands end in words and touch nothing else."""

from __future__ import annotations

import io
import json
import os
import shutil
import sqlite3
import struct
import tracemalloc
import zlib
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from optimiser.builds import search_build
from optimiser.command_line import printable, runs_there
from optimiser.entry import BAD_INPUT
from optimiser.ledger import Ledger
from optimiser.problem import Problem
from optimiser.row_shape import AS_BUILT, ROW, misfit
from optimiser.runs import Run
from optimiser.sound_folder import Unsound
from optimiser.sound_rows import checked_rows
from tests.faults import hostile
from tests.faults.called import Called, call
from tests.faults.named import HARMS, named
from tests.pages.browser import opened
from tests.search.catalogues import random_problem
from tests.search.pairs import pairing_problem

# Ways out of a folder: where a known name leads when it is a link.
LINKED = ("run.json", "ledger.sqlite", "ledger.sqlite-wal", "ledger.sqlite-shm", "inputs", "sheets")
LINKED += (
    "inputs/car.yaml",
    "report.html",
    "log.jsonl",
    "search.lock",
    "ranked.csv",
    "ranked.json",
)

# Elements that only a text that was not escaped could have added.
ADDED = "document.querySelectorAll('img, a[href*=passwd], [onload], [onerror]').length"


@pytest.fixture
def top(tmp_path: Path) -> Path:
    """A folder with a run, ``runs/sample``, and a canary beside ``runs``."""
    hostile.lay_canary(tmp_path)
    shutil.copytree(hostile.SAMPLE, tmp_path / "runs" / "sample")
    return tmp_path


def run_of(top: Path) -> Path:
    return top / "runs" / "sample"


def on_it(top: Path, *words: str) -> Called:
    """A command called on the run; nothing outside its folder may be changed by it."""
    before = hostile.tree(top / "canary")
    called = hostile.patiently(*words, "--runs", str(top / "runs"))
    assert called.faults() == []
    assert hostile.tree(top / "canary") == before
    assert [path.name for path in (top / "runs").iterdir()] == ["sample"]
    return called


def refused(called: Called, *words: str) -> None:
    """Ended with the exit code of bad input and one message that has such words."""
    assert called.code == BAD_INPUT and called.out == ""
    assert len(called.err.splitlines()) == 1
    for word in words:
        assert word in called.err


@pytest.mark.parametrize("name", LINKED)
def test_links_that_lead_out_of_the_folder_are_refused(top: Path, name: str) -> None:
    path = run_of(top) / name
    if path.is_dir():
        shutil.move(path, top / "canary" / name)
        path.symlink_to(top / "canary" / name)
    else:
        target = top / "canary" / "text"
        if path.exists():
            shutil.copy(path, target)
        path.unlink(missing_ok=True)
        path.symlink_to(target)
    refused(on_it(top, "sheet", "sample", "1"), "is a link")
    refused(on_it(top, "resume", "sample"), "is a link")


@pytest.mark.parametrize("name", hostile.FILES)
def test_pipes_and_folders_in_the_place_of_files_are_not_waited_for(top: Path, name: str) -> None:
    path = run_of(top) / name
    shutil.rmtree(path) if path.is_dir() else path.unlink(missing_ok=True)
    os.mkfifo(path)
    # without run.json there is no run
    refused(on_it(top, "rank", "sample"), "no run" if name == "run.json" else "has a")


def test_a_run_folder_may_itself_be_a_link(top: Path) -> None:
    shutil.move(run_of(top), top / "elsewhere")
    run_of(top).symlink_to(top / "elsewhere")
    run = call("rank", "sample", "--runs", str(top / "runs"))
    assert run.code == 0 and run.faults() == []


@pytest.mark.parametrize("name", ["log.jsonl", "ledger.sqlite", "search.lock"])
def test_a_file_that_stands_elsewhere_too_is_not_written_in_place(top: Path, name: str) -> None:
    path = run_of(top) / name
    other = top / "canary" / "other"
    path.rename(other) if path.exists() else other.touch()
    path.hardlink_to(other)
    refused(on_it(top, "resume", "sample"), "has a second name elsewhere")


@pytest.mark.parametrize("name", ["ledger.sqlite", "search.lock"])
def test_a_journal_that_names_another_file_does_not_have_it_deleted(top: Path, name: str) -> None:
    canary = top / "canary" / "text"
    path = run_of(top) / name
    if name == "search.lock":
        shutil.copy(run_of(top) / "ledger.sqlite", path)
    path.with_name(f"{name}-journal").write_bytes(hostile.hot_journal(path, canary))
    refused(on_it(top, "resume", "sample"), "names files elsewhere")
    assert canary.is_file()


@pytest.mark.parametrize("script", hostile.SCHEMAS)
def test_tables_that_are_not_ours_are_not_asked(top: Path, script: str) -> None:
    with sqlite3.connect(run_of(top) / "ledger.sqlite") as ledger:
        ledger.executescript(script)
    refused(on_it(top, "rank", "sample"), "ledger")


def endless(path: Path) -> None:
    """A ledger whose table's inner pages all lead to the next one many times, to one leaf in the end."""
    path.unlink()
    made = Ledger(path)
    made.create()
    made.settle()
    ledger = sqlite3.connect(path)
    row = {
        "build": 0,
        "price": 0.0,
        "duties": {"hill": {"feasible": False, "merit": None, "shortfalls": {}}},
    }
    packed = zlib.compress(json.dumps(row).encode())
    with ledger:
        ledger.execute("INSERT INTO builds VALUES (0, 'done', 1, ?)", (packed,))
        root = ledger.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'builds'"
        ).fetchone()[0]
    ledger.close()
    data = bytearray(path.read_bytes())
    size = struct.unpack_from(">H", data, 16)[0]
    leaf = bytes(data[(root - 1) * size : root * size])
    first = len(data) // size + 1
    depth, cells = 12, 300
    for level in range(depth):
        child = first + level
        page = bytearray(size)
        start = size - 5 * cells
        struct.pack_into(">BHHHBI", page, 0, 5, 0, cells, start, 0, child)
        for cell in range(cells):
            struct.pack_into(">H", page, 12 + 2 * cell, start + 5 * cell)
            # each cell: the child, and a key that no row of it has passed
            struct.pack_into(">IB", page, start + 5 * cell, child, 0)
        if level == 0:
            data[(root - 1) * size : root * size] = page
        else:
            data += page
    data += leaf
    struct.pack_into(">I", data, 28, len(data) // size)
    path.write_bytes(data)


def test_a_ledger_whose_pages_lead_back_to_each_other_is_not_read_for_ever(top: Path) -> None:
    endless(run_of(top) / "ledger.sqlite")
    refused(on_it(top, "rank", "sample"), "build 0 is followed by '0'")


def set_row(top: Path, packed: bytes) -> None:
    with sqlite3.connect(run_of(top) / "ledger.sqlite") as ledger:
        ledger.execute("UPDATE builds SET row = ? WHERE number = 47", (packed,))


def test_what_unpacks_without_end_is_not_unpacked(top: Path) -> None:
    packing = zlib.compressobj(9)
    packed = b"".join(packing.compress(b" " * 10_000_000) for _ in range(50)) + packing.flush()
    assert len(packed) < 1_000_000
    set_row(top, packed)
    tracemalloc.start()
    refused(on_it(top, "rank", "sample"), "build 47 is far too large")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 250_000_000  # of 500,000,000 bytes


def test_a_state_without_end_is_not_read(top: Path) -> None:
    os.truncate(run_of(top) / "run.json", 10**10)
    refused(on_it(top, "rank", "sample"), "far too large")


@pytest.mark.parametrize(
    "told",
    ["../../../canary/goals.yaml", "/etc/passwd", "../../runs/../../canary/goals.yaml"],
)
def test_a_run_cannot_have_a_goals_file_elsewhere_searched(top: Path, told: str) -> None:
    for each in (hostile.SAMPLE / "inputs").iterdir():
        shutil.copy(each, top / "canary")
    run = Run.find(top / "runs", "sample")
    folder = top / "within"
    folder.mkdir()
    shutil.move(top / "runs", folder / "runs")
    run = Run.find(folder / "runs", "sample")
    run.update(goals_file=told)
    called = call("rerun", "sample", "--runs", str(folder / "runs"))
    assert called.faults() == []
    refused(called, "name it with --goals")


def test_names_of_folders_steer_nothing(top: Path) -> None:
    bad = top / "runs" / "a\x1b[31mb"
    run_of(top).rename(bad)
    runs = str(top / "runs")
    context: Any = SimpleNamespace(params={"runs": runs})
    assert runs_there(context, "") == []
    for words in (("rank", bad.name), ("rank", "other"), ("sheet", str(bad), "1")):
        called = call(*words, "--runs", runs)
        assert called.faults() == []
        assert called.code == BAD_INPUT
    assert printable("a\x1b\x9b\u202eb\nc") == r"a\x1b\x9b\u202eb" + "\nc"


@pytest.mark.parametrize("name", ["a#b", "a?mode=rwc", "a%2fb", "a b"])
def test_signs_in_a_folders_name_lead_to_no_other_file(top: Path, name: str) -> None:
    run_of(top).rename(top / "runs" / name)
    called = call("rank", name, "--runs", str(top / "runs"))
    assert called.code == 0 and called.faults() == []


def altered(row: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Rows that are well formed and not of the inputs, by what is other."""

    def other(*path: Any, value: Any) -> dict[str, Any]:
        told: dict[str, Any] = json.loads(json.dumps(row))
        holder: Any = told
        for key in path[:-1]:
            holder = holder[key]
        holder[path[-1]] = value
        return told

    hill = ("duties", "hill")
    renamed = json.loads(json.dumps(row))
    renamed["duties"]["other"] = renamed["duties"].pop("hill")
    return {
        "parts": other("parts", "knuckle", value="standard"),
        "to buy": other("to_buy", value=["gold"]),
        "price": other("price", value=1.0),
        "duties": renamed,
        "positions": other(*hill, "positions", 0, value=10_000),
        "kept": other(*hill, "kept", 0, 1, 0, value=10_000),
        "settings": other(*hill, "settings", "lower_arm", "length", value=7.0),
        "refined": other(*hill, "settings", "top_mount", "in_out", value=1e6),
        "stop": other(*hill, "solved", "stop", value=1e9),
        "rod": other(*hill, "solved", "tie_rod", "flats", value=0),
        "bounds": other(*hill, "measures", "camber", "bounds", value=[[None, 1e9]]),
        "measure": other(*hill, "shortfalls", value={"charm": 1.0}),
        "pairing": other("pairing", "front", 0, "positions", "pad", 0, value=10_000),
    }


def test_a_row_that_is_not_of_the_inputs_is_refused_and_says_where(top: Path) -> None:
    run = Run(run_of(top))
    problem, path = run.load(), run.ledger.path
    row = run.ledger.row(47)
    assert list(checked_rows(problem, [row], path)) == [row]
    for what, told in altered(row).items():
        with pytest.raises(Unsound, match="build 47: ") as caught:
            list(checked_rows(problem, [told], path))
        assert "\n" not in str(caught.value), what


@pytest.mark.parametrize("band", [[], [[0.0, 1.0]], [None]])
def test_a_band_that_is_not_of_its_figure_is_refused(top: Path, band: list[Any]) -> None:
    run = Run(run_of(top))
    problem, path = run.load(), run.ledger.path
    row = {**run.ledger.row(47), "as_built": run.ledger.built()[47]}
    assert list(checked_rows(problem, [row], path)) == [row]
    row["as_built"]["duties"]["hill"]["bands"]["camber"] = band
    with pytest.raises(Unsound, match="the band of camber"):
        list(checked_rows(problem, [row], path))


@pytest.mark.parametrize("make", [random_problem, pairing_problem])
@pytest.mark.parametrize("seed", range(4))
def test_rows_of_searches_have_the_shape_that_is_looked_for(
    seed: int, make: Callable[[int], Problem], tmp_path: Path
) -> None:
    problem = make(seed)
    for number in range(min(2, problem.space.builds)):
        row = json.loads(json.dumps(search_build(problem, number)))
        assert misfit(ROW, row) is None
        assert list(checked_rows(problem, [row], tmp_path)) == [row]


def test_every_row_and_record_of_the_sample_has_its_shape() -> None:
    run = Run(hostile.SAMPLE)
    problem = run.load()
    assert len(list(checked_rows(problem, run.ledger.each(), run.ledger.path))) == 64
    assert [misfit(AS_BUILT, record) for record in run.ledger.built().values()] == [None, None]


def test_names_do_no_harm_on_pages_and_paper(tmp_path: Path, browser: Browser) -> None:
    folder = named(tmp_path)
    for words in (("report", "named", "--top", "2"), ("sheet", "named", "1")):
        called = call(*words, "--runs", str(tmp_path))
        assert called.code == 0 and called.faults() == []
    pages = [folder / "report.html", *(folder / "sheets").glob("*.html")]
    assert len(pages) == 2
    for page in pages:
        with opened(browser, page) as seen:
            assert seen.evaluate("typeof HARM") == "undefined"
            assert seen.evaluate(ADDED) == 0
            text = seen.evaluate("document.body.textContent")
            assert "<script>HARM=1</script>" in text and "onerror=HARM=1" in text
            assert seen.complaints == []
    for paper in (folder / "sheets").glob("*.pdf"):
        reader = PdfReader(io.BytesIO(paper.read_bytes()))
        assert not any("/Annots" in page or page.images for page in reader.pages)
        text = "".join("".join(page.extract_text().split()) for page in reader.pages)
        assert "".join(HARMS[2].replace("'", "’").split())[:40] in text


def test_names_are_printed_as_they_are_written(tmp_path: Path) -> None:
    named(tmp_path)
    for words in (("show", "named", "1"), ("sheet", "named", "1"), ("rank", "named")):
        called = call(*words, "--runs", str(tmp_path))
        assert called.code == 0 and called.faults() == []
    told = call("show", "named", "1", "--runs", str(tmp_path)).out
    # the first words of the car's name, which is no mark of the console's
    assert "</script></style></title></svg>" in told
    assert "[red]r[/red]" in "".join(told.split())


def test_spoilt_folders_end_in_words(tmp_path: Path) -> None:
    hostile.lay_canary(tmp_path)
    for seed in range(8):
        wrong, _ = hostile.one(tmp_path, seed)
        assert wrong == []

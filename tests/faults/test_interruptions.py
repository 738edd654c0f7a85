"""What may befall a search in the night, each by itself: what is finished is kept, what is told is true."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest

import optimiser.coordinator as coordinator
import optimiser.runs as runs
import optimiser.workers as workers
import optimiser.writing as writing
from goals.reading import load_goals
from optimiser.coordinator import Search
from optimiser.ledger import Ledger
from optimiser.names import RunError, names_of
from optimiser.pace import Progress
from optimiser.problem import Problem
from optimiser.runs import CUT_OFF, Run
from tests.journeys.garage import run as command
from tests.journeys.garage import start, write_garage
from tests.search.farm import CLI
from tests.search.test_hours import Stand, new_run, quiet, searched


@pytest.fixture
def garage(tmp_path: Path) -> Path:
    write_garage(tmp_path)
    return tmp_path


def ranking(run: Run) -> tuple[bytes, bytes]:
    """A run's ranking as it is kept."""
    return (run.folder / "ranked.json").read_bytes(), (run.folder / "ranked.csv").read_bytes()


# -- one search a run -------------------------------------------------------------------------------------


def test_a_run_that_is_searched_is_refused_to_another_and_told_as_searched(garage: Path) -> None:
    run, _ = new_run(garage)
    assert run.progress()["reason"] == CUT_OFF and run.status() == "stopped"
    with run.held():
        assert run.status() == "searching"
        outcome = command("resume", "one", cwd=garage)
        assert outcome.code == 2 and outcome.out == ""
        assert outcome.err.splitlines()[-1] == (
            "shimwright: run 'one' is being searched by another process"
        )
        # who only looks is not kept off
        assert command("rank", "one", cwd=garage).code == 0
    assert run.status() == "stopped"
    with run.held():
        pass


def test_the_hold_of_a_killed_process_is_no_hold(garage: Path) -> None:
    run, _ = new_run(garage)
    holder = start("resume", "one", cwd=garage)
    while not run.is_held():
        time.sleep(0.02)
    holder.kill()
    holder.wait()
    assert not run.is_held()
    with run.held():
        pass
    holder.communicate()


def test_a_run_is_there_whole_or_not_at_all(garage: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path, text: str) -> None:
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr(runs, "write_file", refuse)
    loaded = load_goals(garage / "goals.yaml")
    with pytest.raises(RunError, match="cannot be made: no space left on device"):
        Run.create(garage / "runs", "one", loaded)
    assert list((garage / "runs").iterdir()) == []


def test_what_is_hidden_is_no_run(garage: Path) -> None:
    new_run(garage)
    (garage / "runs" / ".new-1").mkdir()
    (garage / "runs" / ".new-1" / "run.json").write_text("{}")
    assert names_of(garage / "runs") == ["one"]


# -- workers that die -------------------------------------------------------------------------------------


def start_deadly(problem: Problem, deadly: int | None) -> None:
    """A worker that one build kills, or that dies as it starts."""
    if deadly is None:
        os._exit(1)
    plain = workers.search_build

    def search(problem: Problem, number: int, known: dict[str, Any] | None = None) -> Any:
        if number == deadly:
            os._exit(1)
        # those beside it are under way when it strikes
        time.sleep(0.05)
        return plain(problem, number, known)

    workers.search_build = search
    workers.start_worker(problem)


def deadly_pool(deadly: int | None) -> Callable[[Problem, int], Executor]:
    def make(problem: Problem, count: int) -> Executor:
        return ProcessPoolExecutor(
            count,
            mp_context=multiprocessing.get_context("fork"),
            initializer=start_deadly,
            initargs=(problem, deadly),
        )

    return make


@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
def test_a_build_that_kills_its_worker_is_a_failed_row_and_the_only_one(
    garage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run, problem = new_run(garage)
    for module in (coordinator, workers):
        monkeypatch.setattr(module, "make_executor", deadly_pool(3))
    assert Search(run, problem, quiet).go() == "finished"
    failed = run.ledger.rows("failed")
    assert [row["build"] for row in failed] == [3]
    assert "died 4 times" in failed[0]["failed"]
    assert run.ledger.finished() == set(range(problem.space.builds))
    assert not run.state()["coverage"]["proven"]


@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
def test_where_workers_cannot_live_the_run_stops_and_no_build_is_blamed(
    garage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run, problem = new_run(garage)
    for module in (coordinator, workers):
        monkeypatch.setattr(module, "make_executor", deadly_pool(None))
    search = Search(run, problem, quiet)
    assert search.go() == "stopped"
    assert "die as soon as they start" in search.reason == run.state()["reason"]
    assert run.ledger.finished() == set()
    # and is gone on with, once they can
    monkeypatch.undo()
    stand = Stand(monkeypatch)
    assert searched(run, problem) == "finished"
    assert stand.asked.total() == problem.space.builds


# -- clocks and signals -----------------------------------------------------------------------------------


def test_a_clock_that_jumps_changes_nothing(garage: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calm, problem = new_run(garage, "calm")
    Stand(monkeypatch)
    assert searched(calm, problem) == "finished"
    jumps = iter(range(10**6))

    def wild() -> float:
        return 1e9 + (-1) ** next(jumps) * 86400.0 * 400

    class Clock(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return datetime(2026, 3, 29, 2, 30, tzinfo=tz or UTC) - timedelta(days=next(jumps) % 7)

    monkeypatch.setattr(time, "time", wild)
    monkeypatch.setattr(runs, "datetime", Clock)
    run, problem = new_run(garage, "wild")
    assert searched(run, problem, stop_at=3) == "stopped"
    assert searched(run, problem) == "finished"
    assert ranking(run) == ranking(calm)


@contextmanager
def heard_as(which: signal.Signals, how: signal.Handlers) -> Iterator[None]:
    """What a signal does to this process for a while."""
    before = signal.signal(which, how)
    try:
        yield
    finally:
        signal.signal(which, before)


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_a_shutdown_or_a_closed_terminal_stops_it_as_ctrl_c_does(
    garage: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    Stand(monkeypatch)
    run, problem = new_run(garage)

    def show(progress: Progress) -> None:
        if progress.done >= 2:
            signal.raise_signal(signal.Signals[name])

    # whoever started these tests may have put it off, and then it stays so
    with heard_as(signal.Signals[name], signal.SIG_DFL):
        search = Search(run, problem, show)
        assert search.go() == "stopped" and search.reason == "stopped by the user"
    assert searched(run, problem) == "finished"


def test_a_signal_that_was_put_off_on_purpose_stays_so(
    garage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As nohup does, for whoever goes home and closes the terminal."""
    Stand(monkeypatch)
    run, problem = new_run(garage)
    with heard_as(signal.SIGHUP, signal.SIG_IGN):
        search = Search(run, problem, lambda _: signal.raise_signal(signal.SIGHUP))
        assert search.go() == "finished"
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN


def test_ctrl_c_twice_before_the_first_build_ends_it_at_once(
    garage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def compiling(_problem: Problem, _count: int) -> Executor:
        for _ in range(2):
            signal.raise_signal(signal.SIGINT)
        raise AssertionError("went on")

    monkeypatch.setattr(coordinator, "make_executor", compiling)
    run, problem = new_run(garage)
    search = Search(run, problem, quiet)
    assert search.go() == "stopped" and search.reason == "stopped by the user"


# -- a terminal or a pipe that is gone --------------------------------------------------------------------


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_search_does_not_need_anyone_to_hear_it(garage: Path) -> None:
    begin = [sys.executable, "-c", CLI, "search", "goals.yaml", "--name"]
    with Path("/dev/full").open("w") as full:
        deaf = subprocess.run([*begin, "one"], cwd=garage, stderr=full, stdout=full, check=False)
        mute = subprocess.run(
            [*begin, "two"], cwd=garage, stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert deaf.returncode == 2
    assert mute.returncode == 2
    last = mute.stderr.splitlines()[-1]
    assert last.startswith("shimwright: ") and last.endswith("No space left on device")
    for name in ("one", "two"):
        state = json.loads((garage / "runs" / name / "run.json").read_text())
        assert state["status"] == "finished" and state["coverage"]["proven"]


# -- what is told while it goes on ------------------------------------------------------------------------


def test_run_json_and_the_log_tell_how_far_it_is(
    garage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(coordinator, "SAVE_EVERY", 0.0)
    monkeypatch.setattr(coordinator, "LOG_EVERY", 0.0)
    Stand(monkeypatch)
    run, problem = new_run(garage)
    seen: list[dict[str, Any]] = []
    expected: list[int] = []
    words: list[str] = []
    # builds may be done in twos or threes: how many there were at each look
    looks: list[int] = []

    def show(progress: Progress) -> None:
        if progress.done >= 4 and not seen:
            seen.append(run.state())
            words.append(command("rank", "one", cwd=garage).out)
            expected.append(looks[-1])
        looks.append(progress.done)

    with run.held():
        assert Search(run, problem, show).go() == "finished"
    state = seen[0]
    assert state["status"] == "searching" and state["coverage"]["builds_done"] == expected[0]
    assert set(state["progress"]) == {
        *("phase", "seconds", "builds_a_second", "seconds_left"),
        *("failed", "serving", "best_merit", "waiting"),
    }
    assert state["progress"]["serving"] == expected[0] and state["progress"]["best_merit"] >= 1.0
    assert (
        words[0].startswith("run one, still searching: ")
        and " left (as of " in words[0].splitlines()[0]
    )
    lines = [json.loads(line) for line in (run.folder / "log.jsonl").read_text().splitlines()]
    told = [line["builds_done"] for line in lines if line["event"] == "progress"]
    assert told == sorted(told) and set(looks) - {0} <= set(told)
    assert lines[-1]["event"] == "ended"


def test_the_log_goes_on_on_a_line_of_its_own_after_half_a_line(garage: Path) -> None:
    run, _ = new_run(garage)
    (run.folder / "log.jsonl").write_text('{"event": "started"}\n{"event": "prog')
    run.log("ended")
    run.log("started")
    lines = (run.folder / "log.jsonl").read_text().splitlines()
    assert lines[1] == '{"event": "prog'
    assert [json.loads(line)["event"] for line in lines[2:]] == ["ended", "started"]


# -- disks ------------------------------------------------------------------------------------------------


def test_room_that_comes_in_time_is_waited_for_and_told(
    garage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calm, problem = new_run(garage, "calm")
    Stand(monkeypatch)
    searched(calm, problem)
    monkeypatch.setattr(writing, "LOOK_AGAIN", 0.0)
    full = [OSError(28, "No space left on device")] * 3
    plain = Ledger.add

    def add(ledger: Ledger, number: int, *rest: Any) -> None:
        if number == 5 and full:
            raise full.pop()
        plain(ledger, number, *rest)

    monkeypatch.setattr(Ledger, "add", add)
    told: list[str | None] = []
    run, problem = new_run(garage)
    search = Search(run, problem, lambda progress: told.append(progress.waiting))
    assert search.go() == "finished"
    assert told.count("cannot write (no space left on device): trying again") == 3
    assert told[-1] is None
    assert ranking(run) == ranking(calm)


@pytest.fixture
def read_only(tmp_path: Path) -> Any:
    """Makes a folder one in which nothing can be written; skips where this user writes everywhere."""
    mounted: list[Path] = []
    closed: list[Path] = []

    def make(folder: Path) -> None:
        if os.geteuid():
            for path in (*folder.rglob("*"), folder):
                if path.is_dir():
                    closed.append(path)
                    path.chmod(0o555)
            return
        words = ["mount", "--bind", "-o", "ro", str(folder), str(folder)]
        for each in (words, ["mount", "-o", "remount,bind,ro", str(folder)]):
            if subprocess.run(each, capture_output=True, check=False).returncode:
                pytest.skip("this user writes everywhere and may not mount")
            mounted or mounted.append(folder)

    yield make
    for path in closed:
        path.chmod(0o755)
    for path in mounted:
        subprocess.run(["umount", str(path)], check=True)


def test_where_nothing_can_be_written_runs_are_read_and_searches_refused_in_words(
    garage: Path, monkeypatch: pytest.MonkeyPatch, read_only: Callable[[Path], None]
) -> None:
    run, problem = new_run(garage, "whole")
    cut, _ = new_run(garage, "cut")
    for each in (run, cut):
        with monkeypatch.context() as patch:
            Stand(patch)
            if each is cut:
                # as a kill leaves it: with its newest rows in the write-ahead log
                patch.setattr(Ledger, "settle", lambda ledger: None)
            searched(each, problem)
    kept = {p.name: p.read_bytes() for p in cut.folder.iterdir() if p.is_file()}
    cut.ledger.settle()
    for name, data in kept.items():
        if not name.endswith("-shm"):
            (cut.folder / name).write_bytes(data)
    assert (cut.folder / "ledger.sqlite-wal").stat().st_size > 0
    wanted = command("rank", "whole", "--json", cwd=garage).document["candidates"]
    read_only(garage / "runs")
    for name in ("whole", "cut"):
        document = command("rank", name, "--json", cwd=garage).document
        assert document["candidates"] == wanted
    for words in (
        ("resume", "whole"),
        ("report", "whole"),
        ("search", "goals.yaml", "--name", "new"),
    ):
        outcome = command(*words, cwd=garage)
        assert outcome.code == 2, (words, outcome)
        (line,) = [line for line in outcome.err.splitlines() if line.startswith("shimwright:")]
        assert "runs/" in line and ("ead-only" in line or "denied" in line or "open" in line), line


def test_a_copy_of_what_cannot_be_written_takes_no_part_in_it(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "ledger.sqlite")
    ledger.create()
    ledger.add(1, "done", 5, {"build": 1})
    copied = partial(Ledger(tmp_path / "ledger.sqlite")._open_copy)
    connection = copied()
    assert connection.execute("SELECT number FROM builds").fetchall() == [(1,)]
    connection.execute("DELETE FROM builds")
    connection.close()
    assert ledger.finished() == {1}
    ledger.settle()

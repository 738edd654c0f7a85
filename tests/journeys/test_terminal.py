"""What a person sees in a terminal: widths, colour, completion, and progress in words."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from rich.cells import cell_len

from optimiser.pace import Progress
from optimiser.progress import line

ROOT = Path(__file__).resolve().parents[2]
# by its own name, which is what a shell completes
NAMED = "import sys; sys.argv[0] = 'shimwright'; from optimiser.entry import main; main()"
SHIMWRIGHT = [sys.executable, "-c", NAMED]
COLOUR = re.compile(r"\x1b\[[0-9;]*(?:3[0-7]|9[0-7])[0-9;]*m")
STYLE = re.compile(r"\x1b\[[0-9;]*m")
SAMPLE = (["rank", "sample"], ["show", "sample", "1"], ["check", "runs/sample/inputs/goals.yaml"])


def in_terminal(args: list[str], columns: int, **environment: str) -> str:
    """Everything a command writes to a terminal of so many columns."""
    parent, child = pty.openpty()
    own = {**os.environ, "TERM": "xterm-256color", "COLUMNS": str(columns), **environment}
    if "NO_COLOR" not in environment:
        own.pop("NO_COLOR", None)
    process = subprocess.Popen(
        [*SHIMWRIGHT, *args], cwd=ROOT, env=own, stdin=child, stdout=child, stderr=child
    )
    os.close(child)
    written = b""
    while True:
        try:
            some = os.read(parent, 65536)
        except OSError:  # the other end is closed
            break
        if not some:
            break
        written += some
    os.close(parent)
    assert process.wait(timeout=120) == 0
    return written.decode().replace("\r\n", "\n")


def piped(args: list[str], **environment: str) -> subprocess.CompletedProcess[str]:
    """The same into a pipe."""
    own = {**os.environ, **environment}
    return subprocess.run(
        [*SHIMWRIGHT, *args], cwd=ROOT, env=own, capture_output=True, text=True, timeout=120
    )


@pytest.mark.parametrize("args", SAMPLE, ids=lambda args: args[0])
def test_what_is_piped_is_plain(args: list[str]) -> None:
    text = piped(args).stdout
    lines = text.splitlines()
    assert len(lines) > 20
    assert "\x1b" not in text
    assert max(map(cell_len, lines)) <= 80
    assert [each for each in lines if each != each.rstrip()] == []


def test_a_terminal_gets_colour_but_for_no_color() -> None:
    args = ["check", "runs/sample/inputs/goals.yaml"]
    coloured = in_terminal(args, 80)
    assert COLOUR.search(coloured)
    bare = in_terminal(args, 80, NO_COLOR="1")
    assert not COLOUR.search(bare)
    words = [STYLE.sub("", text).split() for text in (coloured, bare)]
    assert words[0] == words[1]
    assert max(cell_len(each) for each in STYLE.sub("", bare).splitlines()) <= 80


def test_prose_does_not_run_across_a_very_wide_screen() -> None:
    text = STYLE.sub("", in_terminal(["rank", "sample"], 300))
    assert max(map(cell_len, text.splitlines())) <= 120


@pytest.mark.parametrize(
    ("words", "place", "offered"),
    [
        ("shimwright rank sam", 2, ["sample"]),
        ("shimwright show x", 2, []),
        ("shimwright re", 1, ["resume", "report", "rerun"]),
        ("shimwright compare s", 2, ["sample#1"]),
        ("shimwright compare sample#1 t", 3, ["today"]),
        ("shimwright schema pa", 2, ["parts"]),
    ],
)
def test_the_shell_completes(words: str, place: int, offered: list[str]) -> None:
    asked = {"COMP_WORDS": words, "COMP_CWORD": str(place)}
    found = piped([], _SHIMWRIGHT_COMPLETE="complete_bash", **asked).stdout.split()
    assert set(offered) <= set(found) if offered else found == []


def test_progress_says_only_what_it_knows() -> None:
    fresh = Progress(builds=1200, hours=1.0)
    assert line(fresh) == "0 of 1,200 builds, the first are under way"
    going = Progress(builds=1200, done=300, failed=2, serving=1, hours=10.0)
    going.best = {"build": 3, "duties": {"hill": {"feasible": True, "merit": 0.5}}}
    going.started = time.monotonic() - 100.0
    assert line(going) == (
        "300 of 1,200 builds, 2 failed, 1 serves every duty, best merit 0.500, "
        "3.00 a second, about 5 min left"
    )
    going.done = 1200
    going.phase = "7 candidates built many times"
    assert line(going).endswith("best merit 0.500, 7 candidates built many times")
    going.best["duties"]["hill"] = {"feasible": False, "merit": None}
    assert "nothing feasible yet" in line(going)


@pytest.mark.parametrize(
    ("args", "first", "then"),
    [
        (["rank"], "shimwright: missing argument 'RUN'", "see: shimwright rank --help"),
        (["frobnicate"], "shimwright: no such command 'frobnicate'", "see: shimwright --help"),
        (["show", "sample", "0"], "shimwright: invalid value for 'N'", "shimwright show --help"),
        (["rank", "sample", "--tap"], "shimwright: no such option", "see: shimwright rank --help"),
        (["rank", "nosuch"], "shimwright: no run 'nosuch' in runs; runs there: sample", ""),
    ],
)
def test_bad_use_is_told_in_one_voice(args: list[str], first: str, then: str) -> None:
    done = piped(args)
    assert (done.returncode, done.stdout) == (2, "")
    lines = done.stderr.splitlines()
    assert lines[0].startswith(first)
    assert lines[-1].endswith(then)
    assert len(lines) <= 2

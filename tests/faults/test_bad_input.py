"""What no one should hand to a command, and what comes back: a clear message, code 2, soon, little memory."""

from __future__ import annotations

import os
import resource
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import yaml

from goals.reading import load_goals
from optimiser.builds import search_build
from optimiser.entry import main
from optimiser.problem import Problem
from tests.files.inputs import CAR, GOALS, PARTS, lay, spoil
from tests.journeys.garage import write_garage

Says = tuple[int, str, str]
Command = Callable[..., Says]
# Far more than any of these needs; a file that is read whole, or an alias written out, would need more.
SECONDS, MIB = 15.0, 150


@pytest.fixture
def command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Command:
    """Calls a command in this process, in the test's folder; watches over time and memory."""
    monkeypatch.chdir(tmp_path)

    def call(*words: str) -> Says:
        monkeypatch.setattr("sys.argv", ["shimwright", *words])
        began, before = time.monotonic(), _mib()
        with pytest.raises(SystemExit) as end:
            main()
        assert time.monotonic() - began < SECONDS
        assert _mib() - before < MIB
        out, err = capsys.readouterr()
        return int(end.value.code or 0), out, err

    return call


def _mib() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def _bomb(levels: int) -> str:
    """Aliases of aliases: a few hundred letters that stand for 9 to the power of ``levels`` values."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, levels)]
    return "\n".join(lines) + "\n"


TEXTS: dict[str, tuple[bytes, str]] = {
    "nothing": (b"", "is empty"),
    "a remark": (b"# later\n", "is empty"),
    "zeros": (bytes(1000), ""),
    "UTF-16": (GOALS.encode("utf-16"), "not UTF-8"),
    "UTF-32": (GOALS.encode("utf-32"), "not UTF-8"),
    "Latin-1": (GOALS.replace("hill", "hügel").encode("latin-1"), "not UTF-8"),
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "not UTF-8"),
    "aliases of aliases": (_bomb(12).encode(), "more than"),
    "an alias of itself": (b"a: &a [*a]\n", "deep"),
    "brackets without end": (b"[" * 100_000, "deep"),
    "braces without end": (b"{a: " * 50_000, "deep"),
    "indents without end": ("".join(" " * n + "a:\n" for n in range(1000)).encode(), "deep"),
    "a million dashes": (b"- \n" * 300_000, "more than"),
    "one long word": (b"a: " + b"x" * 900_000, ""),
    "an object": (b"!!python/object/apply:os.system ['touch /tmp/never']\n", "the tag"),
    "an object in a value": (b"name: !!python/object/new:os._exit [9]\n", "the tag"),
    "a list": (b"- 1\n- 2\n", "a list"),
    "a word": (b"hello\n", "'hello'"),
}


@pytest.mark.parametrize("what", TEXTS)
def test_a_text_that_is_no_goals_file(command: Command, tmp_path: Path, what: str) -> None:
    raw, says = TEXTS[what]
    (tmp_path / "goals.yaml").write_bytes(raw)
    code, out, err = command("check", "goals.yaml")
    assert code == 2 and out == ""
    lines = err.splitlines()
    assert lines and all(line.startswith("goals.yaml") and len(line) < 400 for line in lines), err
    assert says in err, err


def _huge(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(100 * 1024 * 1024)


def _huge_text(path: Path) -> None:
    path.write_text("# " + "x" * 80 + "\n")
    path.write_text(path.read_text() * 1_250_000)


def _fifo(path: Path) -> None:
    os.mkfifo(path)


def _loop(path: Path) -> None:
    path.symlink_to(path.name)


def _folder(path: Path) -> None:
    path.mkdir()


PLACES: dict[str, tuple[Callable[[Path], None], str]] = {
    "100 MB of nothing": (_huge, "more than 1000000 bytes"),
    "100 MB of remarks": (_huge_text, "more than 1000000 bytes"),
    "a pipe that nobody fills": (_fifo, "is not a plain file"),
    "a link to itself": (_loop, "cannot be read"),
    "a folder": (_folder, "is a folder"),
    "an endless device": (lambda path: path.symlink_to("/dev/zero"), "is not a plain file"),
    "a link to nothing": (lambda path: path.symlink_to("nowhere"), "there is no file"),
}


@pytest.mark.parametrize("name", ["goals", "car", "parts", "readings"])
@pytest.mark.parametrize("what", PLACES)
def test_what_stands_in_a_files_place(
    command: Command, tmp_path: Path, what: str, name: str
) -> None:
    lay(tmp_path, goals=GOALS + "readings: readings.yaml\n")
    (tmp_path / f"{name}.yaml").unlink(missing_ok=True)
    make, says = PLACES[what]
    make(tmp_path / f"{name}.yaml")
    if name != "readings":
        (tmp_path / "readings.yaml").write_text("format: 1\nstatic: {left: {toe: 0.1}}\n")
    code, out, err = command("check", "goals.yaml")
    assert code == 2 and out == ""
    (line,) = err.splitlines()
    assert says in line and f"{name}.yaml" in line


CIRCLES = {
    "the car is the goals": ("car: car.yaml", "car: goals.yaml"),
    "the parts are the goals": ("parts: parts.yaml", "parts: goals.yaml"),
    "the parts are the car": ("parts: parts.yaml", "parts: car.yaml"),
    "the readings are the goals": ("format: 1\n", "format: 1\nreadings: goals.yaml\n"),
}


@pytest.mark.parametrize("what", CIRCLES)
def test_files_that_name_each_other_in_a_circle(
    command: Command, tmp_path: Path, what: str
) -> None:
    old, new = CIRCLES[what]
    lay(tmp_path, goals=spoil(GOALS, old, new))
    code, out, err = command("check", "goals.yaml")
    assert code == 2 and out == "" and "unknown key" in err
    assert len(err.splitlines()) < 60


# what of the car or the parts is put wrong, and what is said of it
DEGENERATE = {
    "all points in one": (
        "car",
        spoil(CAR, "arm_rear: [-170, 330, 195]", "arm_rear: [180, 320, 190]"),
        "arm_front and arm_rear",
    ),
    "the arm along its own axis": (
        "car",
        spoil(CAR, "ball_joint: [5, 690, 185]", "ball_joint: [530, 310, 185]"),
        "",
    ),
    "no stations": ("parts", "format: 1\nstations: {}\n", ""),
    "a station without parts": ("parts", "format: 1\nstations: {knuckle: []}\n", ""),
    "a stack without pieces": (
        "parts",
        PARTS.replace("{1: 4, 2.5: 4, 5 mm: 8}", "{}"),
        "",
    ),
    "a step of nothing": ("parts", spoil(PARTS, "step: 2", "step: 0"), "more than 0"),
    "a step that is next to nothing": (
        "parts",
        spoil(PARTS, "step: 2", "step: 1e-300"),
        "more than 0",
    ),
    "a point a light-year off": (
        "car",
        spoil(CAR, "[0, 740, 290]", "[0, 9.46e18, 290]"),
        "too much",
    ),
    "a weight of nothing": ("car", spoil(CAR, "total: 1180", "total: 0"), "more than 0"),
}


@pytest.mark.parametrize("what", DEGENERATE)
def test_what_is_no_car_or_no_box(command: Command, tmp_path: Path, what: str) -> None:
    name, text, says = DEGENERATE[what]
    lay(tmp_path, **{name: text})
    code, out, err = command("check", "goals.yaml")
    if code == 0:
        # sound, if strange: then the figures are there, and none of them is no number
        assert what in ("no stations", "a station without parts", "a stack without pieces"), what
        assert " nan" not in out and " inf" not in out
        return
    assert code == 2 and out == ""
    assert 1 <= len(err.splitlines()) <= 4 and says in err, err


UNREACHABLE = {
    "a ball joint beyond the arm's reach": {"ball_joint": [0, 900, 0]},
    "a ball joint in the top mount": {"top_mount": [40, 130, -605]},
    "a rod that cannot reach": {"tie_rod_inner": [0, -300, 900]},
    "a steering arm of no length": {"tie_rod_outer": [135, 30, -25]},
}


@pytest.mark.parametrize("what", UNREACHABLE)
def test_a_part_that_no_linkage_can_take_is_a_row_that_says_so(tmp_path: Path, what: str) -> None:
    """It is the search's affair, for only some settings of some builds may be so."""
    write_garage(tmp_path)
    parts = yaml.safe_load((tmp_path / "parts.yaml").read_text())
    parts["stations"] = {"knuckle": [{"id": "odd", "moves": UNREACHABLE[what]}]}
    (tmp_path / "parts.yaml").write_text(yaml.safe_dump(parts))
    loaded = load_goals(tmp_path / "goals.yaml")
    problem = Problem(loaded.goals, loaded.car, loaded.parts)
    rows = [search_build(problem, number) for number in range(problem.space.builds)]
    odd = next(row for row in rows if row["parts"]["knuckle"] == "odd")
    for duty in odd["duties"].values():
        assert not duty["feasible"] or duty["merit"] is not None


ODD_WORDS = [
    ("search", "goals.yaml", "cars.yaml"),
    ("search",),
    ("search", "goals.yaml", "--name", ""),
    ("search", "goals.yaml", "--name", " "),
    ("search", "goals.yaml", "--name=-x"),
    ("search", "goals.yaml", "--name", "."),
    ("search", "goals.yaml", "--name", ".."),
    ("search", "goals.yaml", "--name", "a/b"),
    ("search", "goals.yaml", "--name", "x" * 300),
    ("search", "goals.yaml", "--name", "a\x1b[31mb"),
    ("search", "goals.yaml", "--runs", "goals.yaml"),
    ("search", "goals.yaml", "--cluster", "nowhere"),
    ("rank", ""),
    ("rank", "."),
    ("rank", ".."),
    ("rank", "goals.yaml"),
    ("rank", "\x1b[31m"),
    ("rank", "none", "--top", "0"),
    ("rank", "none", "--top", "many"),
    ("show", "none", "-1"),
    ("show", "none", "99999999999999999999"),
    ("compare", "none", "today"),
    ("compare", "#", "#"),
    ("compare", "none#x", "today"),
    ("compare", "today", "today"),
    ("why", "none", "--minutes", "nan"),
    ("why", "none", "--minutes", "-1"),
    ("why", "none", "--workers", "0"),
    ("rerun", "none"),
    ("fit", "goals.yaml", "none.yaml"),
    ("fit", "goals.yaml", "goals.yaml"),
    ("fit", "goals.yaml", "."),
    ("schema", "everything"),
    ("demo", "--suspension", "wings"),
    ("demo", "--runs", "goals.yaml"),
    ("--nonsense",),
]


@pytest.mark.parametrize("words", ODD_WORDS, ids=[" ".join(w)[:40] for w in ODD_WORDS])
def test_odd_words_after_a_command(
    command: Command, tmp_path: Path, words: tuple[str, ...]
) -> None:
    lay(tmp_path)
    before = sorted(tmp_path.rglob("*"))
    code, out, err = command(*words)
    assert code == 2 and out == "", (out, err)
    told = [line for line in err.splitlines() if not line.startswith("see: ")]
    assert told and len(told) <= 12 and sum(map(len, told)) < 3000, err
    assert all(sign.isprintable() or sign == "\n" for sign in err), err
    assert sorted(tmp_path.rglob("*")) == before

"""Run folders that someone spoilt, at random, and every command that reads a run called on them.

``python -m tests.faults.hostile --folders N --seed S`` spoils the sample run N times, each time in one to
three ways, and calls commands on it. Each has to end as commands do, print nothing that steers a terminal,
and leave everything outside the folder as it was. Says what did not, with the seed that makes it again.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import shutil
import signal
import sqlite3
import struct
import sys
import tempfile
import time
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any

from optimiser.entry import BAD_INPUT
from tests.faults.called import Called, call

SAMPLE = Path(__file__).resolve().parents[2] / "runs" / "sample"
PATIENCE = 60  # s
DEEP = "<deep>"
ESCAPE = "\x1b]0;owned\x07\x1b[31m"
MARKUP = "</script><img src=x onerror=alert(1)>[red]x[/red]"
VALUES: tuple[Any, ...] = (
    *(None, True, False, -1, 0, 1, 2, 0.5, 10**30, -(10**400), 1e308, float("nan"), float("inf")),
    *("", "x", "2", "hill", "../../x", ESCAPE, MARKUP, "\ud800", "x" * 5000, DEEP),
    *([], {}, [1], [[1, [0]]], {"a": 1}, [None, None], ["hill"], {"hill": 1}, [0.0] * 100),
)
# Files that commands look for, and those that SQLite does.
FILES = (
    *(
        "run.json",
        "ledger.sqlite",
        "ledger.sqlite-wal",
        "ledger.sqlite-shm",
        "ledger.sqlite-journal",
    ),
    *(
        "inputs",
        "inputs/goals.yaml",
        "inputs/car.yaml",
        "inputs/parts.yaml",
        "inputs/readings.yaml",
    ),
    *("sheets", "report.html", "log.jsonl", "search.lock", "search.lock-journal", "ranked.json"),
)

Spoil = Callable[[Path, random.Random], str]


def commands(folder: Path, some: random.Random | None = None) -> Iterator[Called]:
    """Every command that reads a run, called on one; or a few of them, by chance."""
    name, runs = folder.name, str(folder.parent)
    goals = str(folder / "inputs" / "goals.yaml")
    readings = str(SAMPLE / "inputs" / "readings.yaml")
    every = [
        ("rank", name),
        ("rank", name, "--json"),
        ("show", name, "1"),
        ("show", name, "2", "--json"),
        ("sheet", name, "1"),
        ("report", name, "--top", "2"),
        ("compare", f"{name}#1", f"{name}#2"),
        ("compare", f"{name}#1", "today", "--json"),
        ("setdown", name, "1", readings, "--duty", "hill"),
        ("why", name, "--minutes", "0", "--workers", "1"),
        ("rerun", name),
        ("resume", name),
        ("check", goals),
    ]
    chosen = every if some is None else some.sample(every, 4)
    for words in sorted(chosen, key=every.index):
        yield patiently(*words, *(() if words[0] == "check" else ("--runs", runs)))


def patiently(*words: str) -> Called:
    """Call a command; one that takes too long broke."""

    def enough(_signal: int, _frame: FrameType | None) -> None:
        raise TimeoutError(f"longer than {PATIENCE} s")

    before = signal.signal(signal.SIGALRM, enough)
    signal.alarm(PATIENCE)
    try:
        return call(*words)
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def tree(folder: Path) -> dict[str, tuple[int, int, str]]:
    """Everything in a folder, not through links: mode, time of change and what it holds."""
    found = {}
    for path in sorted(folder.rglob("*")):
        told = path.lstat()
        data = str(path.readlink()).encode() if path.is_symlink() else b""
        if path.is_file() and not path.is_symlink():
            data = path.read_bytes()
        kept = (told.st_mode, told.st_mtime_ns, hashlib.sha256(data).hexdigest())
        found[str(path.relative_to(folder))] = kept
    return found


# -- what is spoilt -----------------------------------------------------------------------------------------


def dumped(told: Any) -> bytes:
    """JSON as no honest program writes it: not-a-number, half letters and nesting without end too."""
    text = json.dumps(told)
    return text.replace(json.dumps(DEEP), "[" * 100_000 + "]" * 100_000).encode()


def places(told: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Paths to every value of a document."""
    inner: Any = ()
    if isinstance(told, dict):
        inner = told.items()
    elif isinstance(told, list):
        inner = enumerate(told)
    for key, value in inner:
        yield (*path, key)
        yield from places(value, (*path, key))


def spoilt(told: Any, by: random.Random) -> tuple[Any, str]:
    """A document with one value taken away, renamed, or another in its place; and what was done."""
    path = by.choice(list(places(told)))
    holder = told
    for key in path[:-1]:
        holder = holder[key]
    last = path[-1]
    where = ".".join(map(str, path))
    way = by.random()
    if way < 0.15:
        del holder[last]
        return told, f"{where} gone"
    if way < 0.25 and isinstance(holder, dict):
        name = by.choice([ESCAPE, MARKUP, "x", "hill", "yield", "reason"])
        holder[name] = holder.pop(last)
        return told, f"{where} called {name!r}"
    if way < 0.35 and isinstance(holder, list):
        holder.append(holder[last])
        return told, f"{where} twice"
    if way < 0.45 and isinstance(holder[last], (int, float)):
        holder[last] = -holder[last] * by.choice([1, 1e6, 1e50])
        return told, f"{where} turned about"
    value = by.choice(VALUES)
    holder[last] = value
    return told, f"{where} = {value!r:.40}"


def spoil_row(folder: Path, by: random.Random) -> str:
    """A field of a row that is ranked, or of any other."""
    with _opened(folder) as ledger:
        ranked = [
            c["number"] for c in json.loads((SAMPLE / "ranked.json").read_bytes())["candidates"]
        ]
        number = by.choice(ranked[:2] if by.random() < 0.8 else range(64))
        (text,) = ledger.execute("SELECT row FROM builds WHERE number = ?", (number,)).fetchone()
        row, words = spoilt(json.loads(zlib.decompress(text)), by)
        packed = zlib.compress(dumped(row))
        ledger.execute("UPDATE builds SET row = ? WHERE number = ?", (packed, number))
    return f"row {number}: {words}"


def spoil_record(folder: Path, by: random.Random) -> str:
    """A field of a record of cars as built."""
    with _opened(folder) as ledger:
        rows = ledger.execute("SELECT number, record FROM as_built").fetchall()
        if not rows:
            return "no record"
        number, text = by.choice(rows)
        record, words = spoilt(json.loads(zlib.decompress(text)), by)
        packed = zlib.compress(dumped(record))
        ledger.execute("UPDATE as_built SET record = ? WHERE number = ?", (packed, number))
    return f"as built {number}: {words}"


def spoil_state(folder: Path, by: random.Random) -> str:
    """A field of run.json."""
    state, words = spoilt(json.loads((folder / "run.json").read_bytes()), by)
    (folder / "run.json").write_bytes(dumped(state))
    return f"run.json: {words}"


def spoil_bytes(folder: Path, by: random.Random) -> str:
    """Bytes of the ledger: one, some, a page in another's place, or the end cut off."""
    path = folder / "ledger.sqlite"
    data = bytearray(path.read_bytes())
    pages = len(data) // 4096
    way = by.choice(["byte", "head", "page", "twice", "end", "pointer"])
    if way == "byte":
        for _ in range(by.choice([1, 10, 100])):
            data[by.randrange(len(data))] = by.randrange(256)
    elif way == "head":
        data[by.randrange(100)] = by.randrange(256)
    elif way == "page":
        at = 4096 * by.randrange(pages)
        data[at : at + 4096] = by.randbytes(4096)
    elif way == "twice":
        one, other = 4096 * by.randrange(pages), 4096 * by.randrange(1, pages)
        data[other : other + 4096] = data[one : one + 4096]
    elif way == "end":
        del data[by.randrange(len(data)) :]
    else:
        # a root or inner page whose cells lead to pages of chance
        at = 4096 * by.randrange(1, min(pages, 4))
        struct.pack_into(">I", data, at + by.choice([8, 12, 200, 4092]), by.randrange(pages + 2))
    path.write_bytes(data)
    return f"bytes: {way}"


def spoil_file(folder: Path, by: random.Random) -> str:
    """A file or folder that is something else: a link out of the folder, a pipe, a folder, nothing, much."""
    name = by.choice(FILES)
    path, canary = folder / name, folder.parent.parent / "canary"
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    path.unlink(missing_ok=True)
    if not path.parent.is_dir() or path.parent.is_symlink():
        return f"{name} has no place"
    way = by.choice(
        ["link", "link to nothing", "pipe", "folder", "empty", "noise", "gone", "device"]
    )
    if way == "link":
        path.symlink_to(by.choice([canary, canary / "text", canary / "ledger.sqlite"]))
    elif way == "link to nothing":
        path.symlink_to(canary / "new")
    elif way == "pipe":
        os.mkfifo(path)
    elif way == "folder":
        path.mkdir()
    elif way == "device":
        path.symlink_to("/dev/zero")
    elif way != "gone":
        path.write_bytes(b"" if way == "empty" else by.randbytes(5000))
    return f"{name} is {way}"


SCHEMAS = (
    "CREATE VIEW more AS SELECT 1",
    "CREATE TRIGGER after_it AFTER INSERT ON builds BEGIN DELETE FROM builds; END",
    "CREATE INDEX quick ON builds (status)",
    "CREATE VIRTUAL TABLE texts USING fts5(words)",
    "DROP TABLE as_built; CREATE VIEW as_built AS WITH RECURSIVE n(number, record) AS "
    "(SELECT 1, x'00' UNION ALL SELECT number + 1, record FROM n) SELECT * FROM n",
    "DROP TABLE builds; CREATE VIEW builds AS WITH RECURSIVE n(number, status, covered, row) AS "
    "(SELECT 1, 'done', 0, x'00' UNION ALL SELECT number + 1, status, 0, row FROM n) SELECT * FROM n",
    "CREATE TABLE known (kind TEXT, number INTEGER, record BLOB)",
    "ALTER TABLE builds ADD COLUMN more INT AS (number + 1)",
    'CREATE TABLE "a\x1b[31mb" (number INTEGER)',
    "DROP TABLE builds",
)


def spoil_schema(folder: Path, by: random.Random) -> str:
    """Tables that are not ours."""
    script = by.choice(SCHEMAS)
    with _opened(folder) as ledger:
        ledger.executescript(script)
    return script[:60]


def spoil_cell(folder: Path, by: random.Random) -> str:
    """Cells of the tables: of another kind than they say, packed without end, or not packed."""
    table, column = by.choice(
        [("builds", "row"), ("builds", "status"), ("builds", "covered"), ("as_built", "record")]
    )
    good = zlib.compress(b'{"build": 47, "number": 47}')
    value = by.choice(
        [None, 1, 2.5, "text", b"", b"no zlib", bomb(), good, good[:-3], good + b"x", -(2**63)]
    )
    with _opened(folder) as ledger:
        _as_if_not_strict(ledger)
        ledger.execute(f"UPDATE {table} SET {column} = ? WHERE number >= 40", (value,))
        _as_if_not_strict(ledger, back=True)
    return f"{table}.{column} = {value!r:.30}"


@cache
def bomb() -> bytes:
    """A hundred million bytes in a hundred thousand."""
    return zlib.compress(b"[" + b"0," * 50_000_000 + b"0]", 9)


def _as_if_not_strict(ledger: sqlite3.Connection, back: bool = False) -> None:
    """Have SQLite believe that our tables take anything, or say what they said."""
    ledger.commit()
    ledger.execute("PRAGMA writable_schema=ON")
    pairs = [
        (") STRICT", ")        "),
        ("NOT NULL", "        "),
        ("CHECK (status IN ('done', 'failed'))", " " * 36),
    ]
    if not back:
        ledger.execute("CREATE TEMP TABLE said AS SELECT name, sql FROM sqlite_master")
        for old, new in pairs:
            ledger.execute("UPDATE sqlite_master SET sql = replace(sql, ?, ?)", (old, new))
    else:
        told = "(SELECT sql FROM temp.said WHERE said.name = sqlite_master.name)"
        ledger.execute(f"UPDATE main.sqlite_master SET sql = {told} WHERE sql IS NOT NULL")
    ledger.commit()
    version = ledger.execute("PRAGMA schema_version").fetchone()[0]
    ledger.execute(f"PRAGMA schema_version={version + 1}")
    ledger.execute("PRAGMA writable_schema=RESET")


def spoil_journal(folder: Path, by: random.Random) -> str:
    """A journal that waits to be rolled back and names a file elsewhere as that of several."""
    name = by.choice(["ledger.sqlite", "search.lock"])
    canary = folder.parent.parent / "canary" / "text"
    (folder / f"{name}-journal").write_bytes(hot_journal(folder / name, canary))
    return f"{name}-journal names the canary"


def hot_journal(database: Path, of_several: Path) -> bytes:
    """A rollback journal of a database's own first page that names another journal (file format, 3)."""
    page = database.read_bytes()[:4096].ljust(4096, b"\0") if database.is_file() else bytes(4096)
    pages = max(1, database.stat().st_size // 4096) if database.is_file() else 1
    nonce = 7
    head = bytes.fromhex("d9d505f920a163d7") + struct.pack(">IIIII", 1, nonce, pages, 512, 4096)
    check = (nonce + sum(page[at] for at in range(4096 - 200, 0, -200))) & 0xFFFFFFFF
    record = struct.pack(">I", 1) + page + struct.pack(">I", check)
    name = str(of_several).encode()
    lock_page = 2**30 // 4096 + 1
    tail = struct.pack(">I", lock_page) + name + struct.pack(">II", len(name), sum(name))
    return head.ljust(512, b"\0") + record + tail + bytes.fromhex("d9d505f920a163d7")


def spoil_inputs(folder: Path, by: random.Random) -> str:
    """A line of an input with a hostile text in it, its digest in run.json put right."""
    name = by.choice(["goals.yaml", "car.yaml", "parts.yaml", "readings.yaml"])
    path = folder / "inputs" / name
    lines = path.read_text().splitlines()
    texts = [i for i, line in enumerate(lines) if " name: " in f" {line}" or " note: " in line]
    at = by.choice(texts or range(len(lines)))
    key = lines[at].split(":")[0]
    value = by.choice([MARKUP, ESCAPE, "x" * 3000, "=1+1", "", "<img src='file:///etc/passwd'/>"])
    lines[at] = f"{key}: {json.dumps(value)}"
    path.write_text("\n".join(lines) + "\n")
    state = json.loads((folder / "run.json").read_bytes())
    state["inputs"][name] = hashlib.sha256(path.read_bytes()).hexdigest()
    (folder / "run.json").write_text(json.dumps(state))
    return f"{name}:{at + 1}: {lines[at]:.60}"


def _opened(folder: Path) -> sqlite3.Connection:
    return sqlite3.connect(folder / "ledger.sqlite")


WAYS: dict[Spoil, int] = {
    spoil_row: 8,
    spoil_record: 4,
    spoil_state: 4,
    spoil_bytes: 4,
    spoil_file: 4,
    spoil_schema: 1,
    spoil_cell: 2,
    spoil_journal: 1,
    spoil_inputs: 2,
}


# -- the campaign -------------------------------------------------------------------------------------------


def lay_canary(top: Path) -> Path:
    """A folder that nothing may touch."""
    canary = top / "canary"
    canary.mkdir()
    (canary / "text").write_text("not to be touched\n")
    shutil.copy(SAMPLE / "ledger.sqlite", canary)
    return canary


def one(top: Path, seed: int) -> tuple[list[str], Counter[int]]:
    """Spoil the sample once and call commands on it; what is wrong, and how the commands ended."""
    by = random.Random(seed)
    folder = top / "runs" / "sample"
    shutil.rmtree(folder.parent, ignore_errors=True)
    shutil.copytree(SAMPLE, folder)
    done = []
    for spoil in by.choices(list(WAYS), list(WAYS.values()), k=by.choice([1, 1, 1, 2, 3])):
        try:
            done.append(spoil(folder, by))
        except (OSError, sqlite3.Error, zlib.error, ValueError, LookupError, TypeError):
            done.append(f"{spoil.__name__} found nothing to spoil")
    before = tree(top / "canary")
    codes: Counter[int] = Counter()
    wrong = []
    reran = False
    for called in commands(folder, by):
        codes[called.code] += 1
        reran = reran or (called.words[0] == "rerun" and called.code != BAD_INPUT)
        wrong += [f"{called.words}: {fault}" for fault in called.faults()]
    if tree(top / "canary") != before:
        wrong.append("something outside the folder was changed")
        shutil.rmtree(top / "canary")
        lay_canary(top)
    if not reran and sorted(p.name for p in (top / "runs").iterdir()) != ["sample"]:
        wrong.append("something was made beside the folder")
    return [f"seed {seed} ({'; '.join(done)}): {words}" for words in wrong], codes


def campaign(folders: int, seed: int) -> list[str]:
    """Spoil so many folders, the first by a seed; says how it goes and returns what was wrong."""
    wrong: list[str] = []
    codes: Counter[int] = Counter()
    start = time.monotonic()
    with tempfile.TemporaryDirectory() as top:
        lay_canary(Path(top))
        for number in range(folders):
            found, ended = one(Path(top), seed + number)
            codes += ended
            wrong += found
            for words in found:
                print(words, flush=True)
    told = ", ".join(f"{count} with {code}" for code, count in sorted(codes.items()))
    seconds = time.monotonic() - start
    print(f"{folders} folders, {codes.total()} commands ended, {told}; {seconds:.0f} s")
    return wrong


def main() -> None:
    """The command line of the campaign."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folders", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    sys.exit(1 if campaign(asked.folders, asked.seed) else 0)


if __name__ == "__main__":
    main()

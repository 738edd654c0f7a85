"""All that a run tells, command by command in this process, held against what must never be told.

No text, page, picture, table or document holds a figure that is none; every limit tells its state.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator, Sequence
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

from pypdf import PdfReader

from optimiser.commands import app
from optimiser.runs import FINISHED, Run
from tests.rerun.bench import Files, problem_of, write
from tests.search.workshop import row_of

Record = dict[str, Any]

NO_FIGURE = re.compile(r"(?<![A-Za-z_])[-+]?(nan|inf|infinity)(?![A-Za-z_])", re.IGNORECASE)
SCRIPT = re.compile(r"<(script|style)\b.*?</\1>", re.DOTALL | re.IGNORECASE)
NEGATIVE_ZERO = re.compile(r"(?<![\w.])[-\N{MINUS SIGN}]0(\.0+)?(?![\d.])")


def call(*args: str) -> tuple[int, str]:
    """A command's exit code and what it printed."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = app([*args], standalone_mode=False)
    assert "Traceback" not in err.getvalue()
    return code or 0, out.getvalue()


def document_of(*args: str) -> Any:
    """The JSON document of a command."""
    return json.loads(call(*args, "--json")[1], parse_constant=_refused)


def _refused(word: str) -> Any:
    raise AssertionError(f"{word} in JSON")


def assert_plain(text: str, what: str) -> None:
    """No figure that is none, and no negative zero, in a text or a page."""
    found = NO_FIGURE.search(SCRIPT.sub("", text))
    assert found is None, (what, text[max(0, found.start() - 60) : found.end() + 60])
    zero = NEGATIVE_ZERO.search(SCRIPT.sub("", text))
    assert zero is None, (what, text[max(0, zero.start() - 60) : zero.end() + 60])


def entries_of(value: Any) -> Iterator[tuple[str, Record]]:
    """Every measure's entry anywhere in a document, with its key."""
    if isinstance(value, dict):
        for key, one in value.items():
            if isinstance(one, dict) and "limit" in one and "value" in one:
                yield key, one
            yield from entries_of(one)
    elif isinstance(value, list):
        for one in value:
            yield from entries_of(one)


def assert_states(document: Any, what: str) -> int:
    """Every judged limit tells its state, and none that holds is without a figure; how many there are."""
    count = 0
    for key, entry in entries_of(document):
        if entry["limit"] is None:
            assert not entry.get("bounds"), (what, key)
            continue
        count += 1
        state = entry["state"]
        assert state.get("basis") or {"wheel", "travel", "rack"} <= set(state), (what, key, state)
        assert entry["value"] is not None or entry["limit"] is False, (what, key)
    return count


def made_run(folder: Path, files: Files) -> Run:
    """A run of files with one row that is set by hand, nothing searched."""
    from goals.reading import load_goals

    loaded = load_goals(write(folder, files))
    run = Run.create(folder / "runs", "night", loaded)
    row = row_of(problem_of(loaded))
    for record in row["duties"].values():
        record.update(settings_swept=1, refused_by={}, kept=[])
    run.ledger.add(row["build"], "done", 1, row)
    run.ledger.settle()
    run.update(status=FINISHED)
    return run


EVERY = ("rank", "show", "compare", "sheet", "report")


def assert_run_told(run: Run, commands: Sequence[str] = EVERY) -> int:
    """All that is told of a run's ranking and its first candidate; how many limits were told."""
    runs = ("--runs", str(run.folder.parent))
    first = f"{run.name}#1"
    asked = (
        ("rank", run.name),
        ("show", run.name, "1"),
        ("compare", first, "today"),
        ("sheet", run.name, "1"),
    )
    count = 0
    for words in asked:
        if words[0] not in commands:
            continue
        document = document_of(*words, *runs)
        count += assert_states(document, words[0])
        # a sheet's document holds its text
        text = document["text"] if words[0] == "sheet" else call(*words, *runs)[1]
        assert text.strip()
        assert_plain(text, words[0])
    if "report" in commands:
        call("report", run.name, *runs)
    for path in sorted(run.folder.rglob("*")):
        if path.suffix in (".html", ".csv", ".txt"):
            assert_plain(path.read_text(), path.name)
        elif path.suffix == ".json":
            json.loads(path.read_text(), parse_constant=_refused)
        elif path.suffix == ".pdf":
            assert_plain(" ".join(page.extract_text() for page in PdfReader(path).pages), path.name)
    return count


def assert_check_told(goals: Path) -> int:
    """The car as it stands; how many limits were told."""
    count = assert_states(document_of("check", str(goals)), "check")
    assert_plain(call("check", str(goals))[1], "check")
    return count

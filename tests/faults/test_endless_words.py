"""Words of a command that ask for more than any machine has or anyone waits for."""

from __future__ import annotations

from pathlib import Path

import pytest

from goals import duties
from optimiser import entry, review_commands

BOUNDS = [
    ("--minutes", "inf", "10080"),
    ("--minutes", "1e300", "10080"),
    ("--workers", "1000000", "256"),
]


@pytest.mark.parametrize(("option", "value", "most"), BOUNDS)
def test_why_is_not_asked_for_ever_nor_by_a_crowd(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    option: str,
    value: str,
    most: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", ["shimwright", "why", "none", option, value])
    with pytest.raises(SystemExit) as end:
        entry.main()
    out, err = capsys.readouterr()
    assert end.value.code == entry.BAD_INPUT and out == ""
    assert option in err and most in err and "none" not in err


def test_workers_are_bounded_alike_in_files_and_words() -> None:
    assert review_commands.MOST_WORKERS == duties.MOST_WORKERS

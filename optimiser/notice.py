"""The verdict on the model as a line for people, wherever a ranking, a candidate or the car is shown."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from optimiser.wording import clean

Record = dict[str, Any]


def model_notice(check: Record | None) -> str:
    """Whether the model reproduces its car, in words; empty where nothing is known of it."""
    return "" if check is None else clean(check["words"])


def fails(check: Record | None) -> bool:
    """Whether the car file was held against readings of its car and does not reproduce them."""
    return check is not None and check["reproduces"] is False


def print_model_notice(console: Console, check: Record | None) -> None:
    """Print the verdict; one that speaks against the model cannot be missed."""
    words = model_notice(check)
    if words:
        console.print(Text(words, "bold red" if fails(check) else "dim"))

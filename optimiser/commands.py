"""The command line: every command, in the order in which --help lists them."""

from __future__ import annotations

from optimiser import (
    bench_commands,  # noqa: F401
    review_commands,  # noqa: F401
    search_commands,  # noqa: F401
)
from optimiser.command_line import app

__all__ = ["app"]

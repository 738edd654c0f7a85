"""The command's way in: bad input and bad use end in words and an exit code, never in a traceback."""

from __future__ import annotations

import os
import sys

BAD_INPUT = 2
STOPPED_EARLY = 3


def main() -> None:
    """Run the command line."""
    from optimiser.commands import app

    try:
        app()
    except BrokenPipeError:
        # whoever read our output has gone, as `head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(0) from None

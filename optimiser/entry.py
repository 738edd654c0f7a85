"""The command's way in: bad input and bad use end in words and an exit code, never in a traceback."""

from __future__ import annotations

import os
import sys
from typing import Any

NOTHING_FEASIBLE = 1
BAD_INPUT = 2
STOPPED_EARLY = 3


def main() -> None:
    """Run the command line."""
    from typer import BadParameter

    from optimiser.commands import app

    # of whatever library typer brings its usage errors from
    usage_error: type[Exception] = BadParameter.__mro__[1]
    try:
        raise SystemExit(app(standalone_mode=False) or 0)
    except usage_error as error:
        _tell(error)
        raise SystemExit(BAD_INPUT) from None
    except BrokenPipeError:
        # whoever read our output has gone, as `head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(0) from None


def _tell(error: Any) -> None:
    """What is wrong with the words of a command, in the voice of every other message."""
    if len(sys.argv) == 1:
        error.show()
        return
    words = _discreet(error.format_message().strip().rstrip("."), sys.argv[1:])
    print(f"shimwright: {words[:1].lower()}{words[1:]}", file=sys.stderr)
    asked = error.ctx.info_name if error.ctx is not None and error.ctx.parent is not None else ""
    command = f"shimwright {asked} --help" if asked else "shimwright --help"
    print(f"see: {command}", file=sys.stderr)


def _discreet(words: str, given: list[str]) -> str:
    """A message without what the command was given that may open a cluster: addresses, places of keys."""
    joins = any(word.startswith("--cluster") for word in given)
    for word in given:
        path = joins and not word.startswith("-") and any(sign in word for sign in "/.:")
        if path or "://" in word or "@" in word:
            words = words.replace(word, "…")
    return words

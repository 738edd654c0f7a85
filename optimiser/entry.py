"""The command's way in: bad input and bad use end in words and an exit code, never in a traceback."""

from __future__ import annotations

import os
import sys
from typing import Any

NOTHING_FEASIBLE = 1
BAD_INPUT = 2
STOPPED_EARLY = 3
# what a shell tells of a command that Ctrl-C ended; a search ends with STOPPED_EARLY
INTERRUPTED = 130


def main() -> None:
    """Run the command line."""
    try:
        code = _run()
        # here, where a full disk can still be told of
        sys.stdout.flush()
    except KeyboardInterrupt:
        print("shimwright: stopped", file=sys.stderr)
        code = INTERRUPTED
    except BrokenPipeError:
        # whoever read our output has gone, as `head` does
        _hear_no_more()
        code = 0
    except OSError as error:
        _hear_no_more()
        print(f"shimwright: cannot print: {error.strerror or error}", file=sys.stderr)
        code = BAD_INPUT
    raise SystemExit(code)


def _run() -> int:
    """Run the command that is asked for; returns its exit code."""
    from typer import Abort, BadParameter

    from optimiser.commands import app

    # of whatever library typer brings its usage errors from
    usage_error: type[Exception] = BadParameter.__mro__[1]
    try:
        return int(app(standalone_mode=False) or 0)
    except usage_error as error:
        _tell(error)
        return BAD_INPUT
    except Abort:
        raise KeyboardInterrupt from None


def _hear_no_more() -> None:
    """Let what is still to be printed go nowhere: printing it at the end would fail again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _tell(error: Any) -> None:
    """What is wrong with the words of a command, in the voice of every other message."""
    if len(sys.argv) == 1:
        error.show()
        return
    from optimiser.command_line import printable

    words = error.format_message().strip().rstrip(".")
    words = printable(_discreet(words, sys.argv[1:]))
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

"""Workers of a real cluster that take their time, so that there is a middle to be struck in."""

from __future__ import annotations

from pathlib import Path

# For each build, s.
A_BUILD = 0.3


def slow(folder: Path, ready: float = 0.0, marker: Path | None = None) -> tuple[str, ...]:
    """What a worker is started with, so that it takes its time for each build and, in s, to be ready.

    ``marker`` is a file that it makes when it begins to get ready.
    """
    script = folder / f"slow{ready:g}.py"
    script.write_text(
        "import pathlib, time\n"
        "from optimiser import errands\n"
        # the library loads it twice
        "plain = getattr(errands, 'plain', (errands.TASKS['search_task'], errands.warm_up))\n"
        "errands.plain = plain\n"
        "def search(problem, number):\n"
        f"    time.sleep({A_BUILD})\n"
        "    return plain[0](problem, number)\n"
        "def warm_up():\n"
        f"    {f'pathlib.Path({str(marker)!r}).touch()' if marker else 'pass'}\n"
        f"    time.sleep({ready})\n"
        "    plain[1]()\n"
        "errands.TASKS['search_task'] = search\n"
        "errands.warm_up = warm_up\n"
    )
    return ("--no-nanny", "--preload", str(script))

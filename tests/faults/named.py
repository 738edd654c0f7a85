"""A copy of the sample run in whose inputs every free text would do harm where it is not escaped."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from itertools import cycle
from pathlib import Path

from tests.faults.hostile import SAMPLE

# Ends of scripts, styles and attributes; marks of consoles and templates; marks of paper and of tables.
HARMS = (
    "</script></style></title></svg><script>HARM=1</script>\"' onload=HARM=1",
    "<img src=x onerror=HARM=1> [red]r[/red] [link=file:///x]l[/link] [/] &amp; ]]> {{ 7*7 }}",
    "<b>b</b> <a href='file:///etc/passwd'>a</a> <img src='file:///etc/passwd'/> </para> =1+1",
)
SHORT = "<script>HARM=1<"
# Keys of texts that people write as they like.
FREE = ("name", "note", "reads", "currency")
_LINE = re.compile(rf"^(\s*(?:- )?(?:{'|'.join(FREE)}): )(.*)$")
_WITHIN = re.compile(rf"\b({'|'.join(FREE)}): ([^,}}]*)")
# Names that other lines refer to, or that have to be words.
KEPT = ("obstacles",)


def named(runs: Path) -> Path:
    """The run's folder below ``runs``."""
    folder = runs / "named"
    shutil.copytree(SAMPLE, folder)
    state = json.loads((folder / "run.json").read_bytes())
    for path in sorted((folder / "inputs").iterdir()):
        path.write_text(_harmful(path.read_text()))
        state["inputs"][path.name] = hashlib.sha256(path.read_bytes()).hexdigest()
    (folder / "run.json").write_text(json.dumps(state))
    return folder


def _harmful(text: str) -> str:
    harms = cycle(HARMS)
    lines = []
    section = ""
    for line in text.splitlines():
        if line and not line[0].isspace():
            section = line.split(":")[0]
        found = _LINE.match(line)
        if section in KEPT:
            lines.append(line)
        elif found:
            lines.append(found[1] + _harm(found[1], next(harms)))
        else:
            lines.append(
                _WITHIN.sub(lambda each: f"{each[1]}: {_harm(each[1], next(harms))}", line)
                if "{" in line
                else line
            )
    return "\n".join(lines) + "\n"


def _harm(key: str, harm: str) -> str:
    return json.dumps(SHORT if "currency" in key else harm)

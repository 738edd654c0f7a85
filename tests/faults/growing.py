"""Files of which one list or mapping has grown very long: refused in words or worked through, and soon.

    python -m tests.faults.growing --kind parts --times 1000

Every list and mapping of sound files that have every field (tests.faults.every_field) is grown in turn to so
many entries, each like one that is there but for its name and its first number; 0 grows it to what the
parser still reads. What comes of it is looked at in a process of its own: read, checked, one build searched,
readings fitted. It fails where that takes more than ``SECONDS``, or more memory than ``MIB``, or ends in
anything but faults in words or sound documents. Prints a line of JSON; ends with 1 where any failed.
"""

from __future__ import annotations

import argparse
import copy
import json
import os
import signal
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import yaml

from goals.document import MAX_NODES
from goals.faults import InputError
from goals.reading import load_goals
from kinematics.states import warm_up
from optimiser.builds import search_build
from optimiser.checking import check_document
from optimiser.fit_document import fit_document, fit_readings
from optimiser.problem import Problem
from tests.faults import every_field

KINDS = ("goals", "car", "parts", "readings")
# Of one processor, for all that is made of one file; MiB beside what the compiled code takes.
SECONDS = 60.0
MIB = 1000
# A build with more combinations is not searched here.
MOST_COMBINATIONS = 20_000
REFUSED, SOUND, BROKE, SLOW = 10, 11, 12, 13

Trail = tuple[Any, ...]


def holders(data: Any, trail: Trail = ()) -> Iterator[Trail]:
    """Where lists and mappings stand that have something in them."""
    if isinstance(data, dict | list) and data:
        yield trail
        for key in data if isinstance(data, dict) else range(len(data)):
            yield from holders(data[key], (*trail, key))


def grown(data: Any, trail: Trail, times: int) -> Any:
    """The data with the list or mapping at the trail grown to so many entries, or to what is still read."""
    data = copy.deepcopy(data)
    holder = data
    for key in trail:
        holder = holder[key]
    entry = holder[-1] if isinstance(holder, list) else holder[list(holder)[-1]]
    room = (MAX_NODES - _nodes(data)) // (_nodes(entry) + isinstance(holder, dict))
    for number in range(min(times or room, room)):
        another = _another(entry, number)
        if isinstance(holder, list):
            holder.append(another)
        elif isinstance(list(holder)[-1], int):
            holder[number + 100] = another
        else:
            holder[f"n{number}"] = another
    return data


def _nodes(data: Any) -> int:
    if isinstance(data, dict):
        return 1 + sum(1 + _nodes(each) for each in data.values())
    return 1 + sum(map(_nodes, data)) if isinstance(data, list) else 1


def _another(entry: Any, number: int) -> Any:
    """An entry like another, by its own name, or with its first number a little more."""
    if isinstance(entry, dict):
        for key in ("id", "name"):
            if key in entry:
                return {**copy.deepcopy(entry), key: f"n{number}"}
        return copy.deepcopy(entry)
    if isinstance(entry, list) and entry:
        return [_another(entry[0], number), *copy.deepcopy(entry[1:])]
    if isinstance(entry, int | float) and not isinstance(entry, bool):
        return round(entry + (number + 1) * 1e-3, 6)
    return entry


def taken(folder: Path) -> int:
    """What becomes of the files in a folder; raises whatever goes wrong."""
    try:
        loaded = load_goals(folder / "goals.yaml")
    except InputError as error:
        assert all("\n" not in str(fault) for fault in error.faults)
        return REFUSED
    problem = Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)
    try:
        _ = problem.space.builds
    except ValueError:
        return REFUSED  # in words, by the command
    json.dumps(check_document(problem), allow_nan=False)
    if problem.space.combinations(0) * len(problem.duties) < MOST_COMBINATIONS:
        json.dumps(search_build(problem, 0), allow_nan=False)
    if (folder / "fit").exists() and loaded.readings is not None:
        found = fit_readings(problem, loaded.readings)
        json.dumps(fit_document(problem, loaded.readings, found), allow_nan=False)
    return SOUND


def outcome(folder: Path) -> tuple[int, float, int]:
    """What became of the files in a folder, s and MiB; in a process of its own, ended where it takes long."""
    child = os.fork()
    if child == 0:
        # by the processor: what else the machine does is nothing to it
        signal.setitimer(signal.ITIMER_PROF, SECONDS)
        code = BROKE
        try:
            code = taken(folder)
        except BaseException as error:
            print(f"{type(error).__name__}: {error}"[:300], file=sys.stderr, flush=True)
        os._exit(code)
    _, status, used = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status)
    seconds = used.ru_utime + used.ru_stime
    return (SLOW if code == -signal.SIGPROF else code), seconds, used.ru_maxrss // 1024


def lay(folder: Path, files: dict[str, Any]) -> None:
    """The files of every kind, as YAML."""
    for kind in KINDS:
        text = yaml.dump(files[kind], Dumper=_Quick, sort_keys=False, allow_unicode=True)
        (folder / f"{kind}.yaml").write_text(text)


class _Quick(getattr(yaml, "CSafeDumper", yaml.SafeDumper)):  # type: ignore[misc]
    """Writes what is shared twice, as people do."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def campaign(kind: str, times: int, only: str = "") -> dict[str, Any]:
    """Every list and mapping of a kind's files grown; what became of them."""
    warm_up()
    warnings.simplefilter("error")
    became: Counter[str] = Counter()
    failures: list[str] = []
    worst = [0.0, 0.0]
    words = {REFUSED: "refused", SOUND: "sound", SLOW: "too slow"}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if kind == "readings":
            (folder / "fit").touch()
        for files in every_field.plain():
            files["goals"]["readings"] = "readings.yaml"
            lay(folder, files)
            _, _, usual = outcome(folder)
            for trail in holders(files[kind]):
                at = ".".join(map(str, trail))
                if only not in at:
                    continue
                lay(folder, {**files, kind: grown(files[kind], trail, times)})
                code, seconds, most = outcome(folder)
                became[words.get(code, "broke")] += 1
                worst = [max(worst[0], seconds), max(worst[1], most - usual)]
                if code not in (REFUSED, SOUND) or most - usual > MIB:
                    told = words.get(code, f"broke ({code})")
                    failures.append(f"{at}: {told}, {seconds:.1f} s, {most - usual} MiB more")
                    print(failures[-1], file=sys.stderr, flush=True)
    return {
        "kind": kind,
        "times": times,
        "became": dict(became),
        "failures": failures,
        "longest": round(worst[0], 1),
        "most_mib": worst[1],
    }


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kind", choices=KINDS, required=True)
    asked.add_argument("--times", type=int, default=0)
    asked.add_argument("--only", default="", help="of places that have this in their name")
    given = asked.parse_args()
    told = campaign(given.kind, given.times, given.only)
    print(json.dumps(told))
    sys.exit(bool(told["failures"]))

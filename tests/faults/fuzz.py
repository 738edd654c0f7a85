"""Spoilt files put through all that reads them: an answer in words or a sound document, and soon.

    python -m tests.faults.fuzz --kind car --files 10000 --seed 1

Each file is one of several unlike sound ones with a few places put wrong (tests.faults.mutations), laid
beside its sound neighbours and taken the way of the commands: read, checked, shown; where it is still
sound, one small build is searched and set up, and some readings are fitted. Answers that will do: faults in
words, one line each, or documents without NaN or infinity and tables without those words. All else is told:
another exception, a warning, more than ``SECONDS`` for a file, more memory than ``MIB`` in all. What failed
is kept in a folder for each kind of failure. Prints a line of JSON with how many files there were and what
became of them; ends with 1 where any failed.
"""

from __future__ import annotations

import argparse
import copy
import io
import json
import re
import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import Any
from unittest.mock import patch

import numpy as np
import yaml
from rich.console import Console

from goals import examples
from goals.document import Document, read_document
from goals.faults import InputError
from goals.reading import _Reader, load_goals
from goals.readings import Readings
from kinematics.states import warm_up
from optimiser.builds import search_build
from optimiser.check_table import print_check
from optimiser.checking import check_document
from optimiser.fit_document import fit_document, fit_readings
from optimiser.fit_table import print_fit
from optimiser.model_check import model_check
from optimiser.problem import Problem
from optimiser.yields import sample_row
from tests.faults import every_field
from tests.faults.mutations import (
    Chance,
    as_yaml,
    places,
    spoil_bytes,
    spoil_data,
    spoil_text,
)
from tests.files import inputs
from tests.journeys.garage import write_garage
from tests.rerun.bench import files_of
from tests.search.catalogues import random_problem

KINDS = ("goals", "car", "parts", "readings", "table")
NAMES = {"readings": "readings.yaml", "table": "readings.csv"}
# For one file, processor s: hundredths are usual, a fit takes seconds. For all, MiB beyond the start.
SECONDS = 60
MIB = 600
# A build with more combinations is not searched here.
MOST_COMBINATIONS = 20_000
# What people must never read. As words of their own: 'finance' and 'information' may be anyone's part.
NO_NUMBER = re.compile(r"(?<![\w'])[-+]?(nan|inf|NaN|Infinity)(?![\w'])")

Files = dict[str, Any]


class TooLong(BaseException):
    """A file that was not answered in time."""


def sound_files() -> list[Files]:
    """Unlike sound inputs: shipped examples, small cars, and some in which no field is left out."""
    shipped = Path(examples.__file__).parent
    found: list[Files] = []
    for first in ("", "wishbone_"):
        files = {k: (shipped / f"{first}{k}.yaml").read_bytes() for k in ("goals", "car", "parts")}
        found.append({name: read_document(name, raw).data for name, raw in files.items()})
        found[-1]["goals"].update(car="car.yaml", parts="parts.yaml")
    found[0]["readings"] = read_document("", (shipped / "readings.yaml").read_bytes()).data
    small = {
        k: read_document("", getattr(inputs, k.upper()).encode()).data
        for k in ("goals", "car", "parts")
    }
    found.append(small)
    found.append({**small, "car": read_document("", inputs.WISHBONE_CAR.encode()).data})
    with tempfile.TemporaryDirectory() as folder:
        write_garage(Path(folder))
        found.append({k: yaml.safe_load((Path(folder) / f"{k}.yaml").read_text()) for k in small})
    found += [files_of(random_problem(seed, small=True)) for seed in (1, 2, 3)]
    found += every_field.plain()
    for each in found:
        each.setdefault("readings", READINGS)
        each.setdefault("table", TABLE)
    return found


READINGS = {
    "format": 1,
    "lowered_by": 0,
    "gauge": [
        {
            "wheel": "left",
            "toe": [[-40, 0.1], [-20, 0.05], [20, -0.1], [40, -0.2]],
            "camber": [[0, -0.5], [30, -0.9]],
        }
    ],
    "turn_plates": [{"turn": "left", "readings": [[10, 9.5], [20, 18]]}],
    "static": {"left": {"toe": 0.0, "camber": -0.5, "caster": 4}, "right": {"rod_length": 330}},
    "uncertainty": {"camber": 0.2, "turn_plates": 0.5},
}
TABLE = """\
kind,wheel,turn,at,value,rack,unit,base
lowered_by,,,,0,,,
toe_change,left,,-40,0.3,,mm,300
toe_change,left,,40,-0.6,,mm,300
camber,left,,0,-0.5,,,
camber,left,,30,-0.9,,,
turn_plate,,left,10,9.5,,,
turn_plate,,left,20,18,,,
toe,left,,,0.02,,,
caster,left,,,4.0,,,
rod_length,right,,,330,,,
uncertainty,,,camber,0.2,,,
"""


def spoilt(chance: Chance, kind: str, sound: Files, aimed: int | None) -> bytes:
    """One file of a kind put wrong."""
    good = sound[kind]
    raw = good.encode() if isinstance(good, str) else as_yaml(good)
    way = int(chance.integers(10))
    if way == 0:
        return spoil_bytes(chance, raw)
    if way <= 2:
        return spoil_text(chance, raw)
    if kind == "table":
        return _spoilt_table(chance, good)
    return as_yaml(spoil_data(chance, good, aimed))


def _spoilt_table(chance: Chance, text: str) -> bytes:
    """A table with a few cells put wrong."""
    rows = [line.split(",") for line in text.splitlines()]
    rows = spoil_data(chance, rows)
    return "\n".join(_line(row) for row in rows).encode("utf-8", "surrogatepass")


def _line(row: Any) -> str:
    return ",".join(str(cell) for cell in row) if isinstance(row, list) else str(row)


def neighbours(sound: Files, kind: str) -> dict[str, bytes]:
    """The sound files beside a spoilt one of a kind."""
    goals = dict(sound["goals"])
    if kind in NAMES:
        goals["readings"] = NAMES[kind]
    files = {"goals.yaml": goals, "car.yaml": sound["car"], "parts.yaml": sound["parts"]}
    return {name: as_yaml(data) for name, data in files.items()}


def answered(folder: Path, chance: Chance) -> str:
    """What becomes of the files in a folder: 'refused' or 'sound'. Raises whatever goes wrong."""
    try:
        loaded = load_goals(folder / "goals.yaml")
    except InputError as error:
        assert error.faults
        for fault in error.faults:
            line = str(fault)
            assert fault.found and "\n" not in line and len(line) < 2000, line
            assert line.isprintable(), line
        return "refused"
    problem = Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)
    try:
        builds = problem.space.builds
    except ValueError as error:
        # told by the command as it stands
        assert "\n" not in str(error) and str(error).isprintable(), error
        return "refused"
    if loaded.readings is not None:
        _read(problem, loaded.readings, fitted=chance.integers(12) == 0)
        return "sound"
    document = check_document(problem)
    sound_document(document)
    names = b"".join(loaded.files.values()).lower()
    named_so = b"nan" in names or b"inf" in names
    sound_text(lambda console: print_check(console, document, problem), named_so)
    number = int(chance.integers(builds))
    if problem.space.combinations(number) * len(problem.duties) < MOST_COMBINATIONS:
        row = search_build(problem, number)
        sound_document(row)
        serves = all(duty["feasible"] for duty in row["duties"].values())
        if serves and chance.integers(6) == 0:
            sound_document(sample_row(problem, row))
    return "sound"


def _read(problem: Problem, readings: Readings, fitted: bool) -> None:
    """What readings are read for: the verdict on the car file, and the fit of its points."""
    sound_document(model_check(problem.goals, problem.car, readings))
    if fitted:
        found = fit_readings(problem, readings)
        told = fit_document(problem, readings, found)
        sound_document(told)
        told.update(readings_file="r", readings_digest="0", car_file=None)
        sound_text(lambda console: print_fit(console, told))


def sound_document(document: Any) -> None:
    """No NaN or infinity in it: JSON that everyone reads."""
    json.dumps(document, allow_nan=False)


def sound_text(show: Any, named_so: bool = False) -> None:
    """No such word on the screen, unless the files may name things so, and no sign that a terminal obeys."""
    text = io.StringIO()
    show(Console(file=text, highlight=False, width=80))
    said = text.getvalue()
    if not named_so and (found := NO_NUMBER.search(said)):
        raise AssertionError(
            f"{found.group()} on the screen: …{said[max(0, found.start() - 60) :][:120]!r}"
        )
    bad = [sign for sign in said if not (sign.isprintable() or sign == "\n")]
    assert not bad, f"signs {bad!r} on the screen"


@contextmanager
def in_time() -> Iterator[None]:
    """Raise TooLong after ``SECONDS`` of the processor's time, or ten times so long by the wall clock."""

    def ring(_signal: int, _frame: FrameType | None) -> None:
        raise TooLong(f"more than {SECONDS} s")

    signals = (signal.SIGPROF, signal.SIGALRM)
    before = [signal.signal(each, ring) for each in signals]
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    signal.alarm(10 * SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.alarm(0)
        for each, handler in zip(signals, before, strict=True):
            signal.signal(each, handler)


def mib() -> int:
    """The most memory that this process has had, MiB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def remembering(sound: list[dict[str, bytes]]) -> Callable[[str, bytes], Document]:
    """Reads documents, sound neighbours once only: most of the time would go into reading them again."""
    known = {raw: read_document("", raw) for files in sound for raw in files.values()}

    def read(file: str, raw: bytes) -> Document:
        found = known.get(raw)
        if found is None:
            return read_document(file, raw)
        # later checks put quantities into the data and add to what is broken
        return replace(found, file=file, data=copy.deepcopy(found.data), broken=set(found.broken))

    return read


def campaign(kind: str, files: int, seed: int, kept: Path | None = None) -> dict[str, Any]:
    """So many spoilt files of a kind; what became of them."""
    warm_up()
    warnings.simplefilter("error")
    found = sound_files()
    beside = [neighbours(sound, kind) for sound in found]
    read = remembering(beside)
    chance = np.random.default_rng([seed, KINDS.index(kind)])
    became: Counter[str] = Counter()
    failures: dict[str, str] = {}
    began, at_first, longest = time.monotonic(), 0, 0.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for each in range(files):
            sound = found[each % len(found)]
            # every place of every sound file in turn
            aimed = each // len(found) if kind != "table" else None
            raw = spoilt(chance, kind, sound, aimed)
            spoilt_file = {NAMES.get(kind, f"{kind}.yaml"): raw}
            for file, content in {**beside[each % len(found)], **spoilt_file}.items():
                (folder / file).write_bytes(content)
            start = time.process_time()
            try:
                with in_time(), patch.object(_Reader.document, "__defaults__", (read,)):
                    became[answered(folder, chance)] += 1
            except (Exception, TooLong) as error:
                became["failed"] += 1
                _note(failures, error, folder, kept, f"{kind}-{seed}-{each}")
            longest = max(longest, time.process_time() - start)
            if each == 200:
                at_first = mib()
    grown = mib() - at_first if at_first else 0
    if grown > MIB:
        failures["memory"] = f"{grown} MiB more than after 200 files"
    return {
        "kind": kind,
        "files": files,
        "places": sum(len(list(places(s[kind]))) for s in found if kind != "table"),
        "became": dict(became),
        "failures": failures,
        "seconds": round(time.monotonic() - began, 1),
        "longest": round(longest, 2),
        "mib_grown": grown,
    }


def _note(
    failures: dict[str, str], error: BaseException, folder: Path, kept: Path | None, name: str
) -> None:
    """Keep the first of each kind of failure."""
    where = traceback.extract_tb(error.__traceback__)[-1]
    kind = f"{type(error).__name__} at {Path(where.filename).name}:{where.lineno}"
    if kind in failures:
        return
    failures[kind] = f"{name}: {error}"[:600]
    print(f"{kind}: {failures[kind]}", file=sys.stderr, flush=True)
    if kept is not None:
        there = kept / name
        there.mkdir(parents=True, exist_ok=True)
        for path in folder.iterdir():
            (there / path.name).write_bytes(path.read_bytes())
        (there / "why.txt").write_text("".join(traceback.format_exception(error)))


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kind", choices=KINDS, required=True)
    asked.add_argument("--files", type=int, default=10_000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--keep", type=Path, help="a folder for what failed")
    given = asked.parse_args()
    told = campaign(given.kind, given.files, given.seed, given.keep)
    print(json.dumps(told))
    sys.exit(bool(told["failures"]))

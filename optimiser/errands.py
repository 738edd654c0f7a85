"""What runs in a worker of a cluster: it is vetted, takes up the problem once, then searches builds.

An errand is a plain dictionary. Each carries the sender's passport and the digest of the problem, so that no
worker ever adds a figure that the coordinator itself would not have found to the last bit. The answer is a
plain pair, a word and what belongs to it:

========== ============================================================
done       the task's result
ready      the problem is taken up
unprepared the problem is not here (a new process in an old one's place)
refused    what differs, in words
========== ============================================================

Nothing here knows the cluster's library: the module runs wherever it is called.
"""

from __future__ import annotations

import hashlib
import json
import pickle
import sys
import threading
from collections.abc import Callable
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from kinematics.states import warm_up
from optimiser import VERSION
from optimiser.evaluate import candidate
from optimiser.problem import Problem
from optimiser.workers import row_of, search_task

Answer = tuple[str, Any]
Passport = dict[str, str]

# Libraries whose major and minor version must be the coordinator's: those that compute, and the one that
# reads the problem. Another compiler or another sine may round the last bit of a figure the other way.
ALIKE = ("numpy", "scipy", "numba", "llvmlite", "pydantic")
# Problems that one process keeps: several runs may share a cluster.
MOST_KEPT = 4

WORDS = ("done", "ready", "unprepared", "refused")
HELLO = "hello"
TASKS: dict[str, Callable[[Problem, Any], Any]] = {
    search_task.__name__: row_of,
}

_problems: dict[str, Problem] = {}
# Searches of one process follow each other: they share what they found, and threads would gain nothing, for
# compiled code lets no other run beside it.
_searching = threading.Lock()


@cache
def passport() -> Passport:
    """What must be the same on every machine of a run: our own code, and what computes its figures."""
    return {
        "shimwright": VERSION,
        "shimwright's own files": _code_digest(),
        "Python": f"{sys.version_info.major}.{sys.version_info.minor}",
        **{name: _major_minor(name) for name in ALIKE},
    }


def differences(wanted: Passport, found: Passport) -> str:
    """What differs between two passports, in words; empty where nothing does."""
    return ", ".join(
        f"{name} {found.get(name, 'none')} there, {value} here"
        for name, value in wanted.items()
        if found.get(name) != value
    )


def _major_minor(name: str) -> str:
    try:
        return ".".join(version(name).split(".")[:2])
    except PackageNotFoundError:
        return "none"


def _code_digest() -> str:
    """A digest of our own modules, whatever their line ends: a version's number alone may lag behind."""
    house = Path(__file__).parent.parent
    digest = hashlib.sha256()
    for package in ("kinematics", "goals", "optimiser"):
        for path in sorted((house / package).rglob("*.py")):
            digest.update(path.relative_to(house).as_posix().encode() + b"\0")
            digest.update(path.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return digest.hexdigest()[:12]


def packed(problem: Problem) -> bytes:
    """A problem as it travels to a worker: goals, car and parts, as read."""
    # without what a problem has worked out for itself meanwhile
    return pickle.dumps(Problem(problem.goals, problem.car, problem.parts))


def digest_of(data: bytes) -> str:
    """SHA-256 of a packed problem: by this name a worker knows it."""
    return hashlib.sha256(data).hexdigest()


def trial(problem: Problem) -> str:
    """A digest of every figure of some candidates: another on a machine that computes other last bits.

    Libraries of one version still choose other instructions on another processor, so that only trying
    tells. First, middle and last build, each adjuster in the middle, in every duty.
    """
    space = problem.space
    records: list[Any] = []
    for number in sorted({0, space.builds // 2, space.builds - 1}):
        build = space.build(number)
        for duty in problem.duties:
            assembly = problem.assembly(build, duty)
            if assembly is None:
                continue
            positions = tuple(d.size // 2 for d in assembly.dimensions)
            try:
                records.append(candidate(assembly, problem.demands(assembly, duty), positions))
            except Exception as error:
                # a build that fails must fail there as it fails here
                records.append(type(error).__name__)
    return hashlib.sha256(json.dumps(records, sort_keys=True).encode()).hexdigest()


def serve(errand: dict[str, Any]) -> Answer:
    """Do one errand. Called in a worker, by name and with nothing but the errand."""
    differs = differences(errand["passport"], passport())
    if differs:
        return "refused", differs
    if errand["task"] == HELLO:
        return _take_up(errand)
    problem = _problems.get(errand["digest"])
    if problem is None:
        return "unprepared", None
    with _searching:
        return "done", TASKS[errand["task"]](problem, errand["asked"])


def _take_up(errand: dict[str, Any]) -> Answer:
    """Keep a problem and be ready for it, unless this machine computes it otherwise."""
    data, digest = errand["problem"], errand["digest"]
    if digest_of(data) != digest:
        return "refused", "the problem's files did not arrive as they were sent"
    if digest not in _problems:
        warm_up()
        problem: Problem = pickle.loads(data)
        if trial(problem) != errand["trial"]:
            return "refused", "it computes other last digits (another kind of processor?)"
        while len(_problems) >= MOST_KEPT:
            _problems.pop(next(iter(_problems)), None)
        _problems[digest] = problem
    return "ready", None

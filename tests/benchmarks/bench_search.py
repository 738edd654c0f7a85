"""shimwright's search against general-purpose optimisers, at equal time over the same kernel.

    python -m tests.benchmarks.bench_search [--quick] [--seconds 10] [--seeds 3] [--proof 900] [--jobs 1]

Every method runs in one process on one core for the same seconds, on the shipped example and on catalogues
made from a seed (``made.py``). Seconds are the process's own processor time, so that what else runs on the
machine takes nothing from one method and gives it to another; ``--clock wall`` counts them on the wall.
The optimum is what shimwright finds once it has searched every build, where it does within ``--proof`` s.

General-purpose optimisers get the whole problem at once, the parts and both duties' settings, and each half
of their candidates counts for itself: this serves them better than their own value of a candidate, or than a
search for each duty, whose builds would seldom agree. Prints a table in Markdown.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import time
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from statistics import median

from kinematics.states import warm_up
from optimiser.problem import Problem
from tests.benchmarks import made, own
from tests.benchmarks.flat import Flat
from tests.benchmarks.rivals import RIVALS, Budget

EXAMPLE = "example"
OWN = "shimwright"
CHANCE = "drawn by chance"
CLOCKS: dict[str, Callable[[], float]] = {"cpu": time.process_time, "wall": time.perf_counter}


@dataclass(frozen=True)
class Shot:
    """One method's go at a catalogue. ``shares`` are the duties' shares of candidates that hold."""

    best: float
    builds: int
    judged: int
    seconds: float
    shares: tuple[float, ...] = ()


@lru_cache
def problem_of(name: str) -> Problem:
    """A catalogue by its name."""
    if name == EXAMPLE:
        return made.shipped()
    return made.make(next(one for one in made.CATALOGUES if one.name == name))


def shot(name: str, method: str, seed: int, seconds: float, clock: str) -> Shot:
    """One go of one method."""
    problem = problem_of(name)
    warm_up()
    budget = Budget(seconds, CLOCKS[clock])
    if method == OWN:
        found = own.search(problem, budget, seed)
        least = min(found.merits.values(), default=float("inf"))
        return Shot(least, len(found.merits), found.covered, budget.used)
    flat = Flat(problem)
    RIVALS[method](flat, budget, seed)
    used, archive = budget.used, flat.archive
    merits = archive.builds()
    shares = tuple(archive.held.get(duty, 0) / max(archive.judged, 1) for duty in flat.duties)
    least = min(merits.values(), default=float("inf"))
    return Shot(least, len(merits), archive.judged, used, shares)


def proof(name: str, seconds: float, clock: str) -> own.Found:
    """shimwright until every build is searched, at most so long."""
    problem = problem_of(name)
    warm_up()
    return own.search(problem, Budget(seconds, CLOCKS[clock]), 1)


def spread(values: list[float], form: str = ".3f") -> str:
    """Median and, where they differ, least and most; infinite is none."""
    said = ["none" if v == float("inf") else format(v, form) for v in sorted(values)]
    middle = median(values)
    told = "none" if middle == float("inf") else format(middle, form)
    return told if said[0] == said[-1] else f"{told} ({said[0]} to {said[-1]})"


def _rows(shots: dict[str, list[Shot]], whole: own.Found) -> list[str]:
    optimum = min(whole.merits.values(), default=float("inf"))
    rows = []
    for method, goes in shots.items():
        best = [go.best for go in goes]
        builds = [float(go.builds) for go in goes]
        share = "?"
        of_all = ""
        if whole.proven:
            share = f"{100 * median(optimum / b for b in best):.0f} %"
            of_all = f" of {len(whole.merits)}"
        judged = median(go.judged for go in goes)
        rows.append(
            f"| {method} | {spread(best)} | {share} | {spread(builds, '.0f')}{of_all} "
            f"| {judged:,.0f} | {spread([go.seconds for go in goes], '.1f')} |"
        )
    return rows


def _head(name: str, problem: Problem, shots: dict[str, list[Shot]], whole: own.Found) -> list[str]:
    space = problem.space
    by_chance = shots[CHANCE][0].shares
    shares = ", ".join(
        f"{duty} {share:.1e}" for duty, share in zip(problem.duties, by_chance, strict=True)
    )
    covered = f"{100 * whole.covered / space.all_combinations:.0f} % of the combinations covered"
    said = f"optimum {min(whole.merits.values(), default=float('nan')):.4f}, proven"
    proven = said if whole.proven else f"not proven ({covered})"
    return [
        "",
        f"**{name}**: {space.builds} builds, {space.all_combinations:.2g} combinations; share of random "
        f"settings that hold every limit: {shares}; {proven} after {whole.seconds:.0f} s on one core.",
        "",
        "| method | best merit | share of the optimum | builds serving both duties | judged | s |",
        "| --- | --- | --- | --- | --- | --- |",
    ]


def _ratios(shots: dict[str, list[Shot]], whole: own.Found) -> list[str]:
    """shimwright beside the best of the others, in this run."""
    others = {method: goes for method, goes in shots.items() if method != OWN}
    builds = max(median(go.builds for go in goes) for goes in others.values())
    best = min(median(go.best for go in goes) for goes in others.values())
    ours = median(go.builds for go in shots[OWN])
    ratio = (
        f"{ours / builds:.1f} times as many builds as" if builds else f"{ours:.0f} builds, none by"
    )
    as_good = next((s for s, value in whole.steps if value <= best), None)
    when = "never" if as_good is None else f"after {as_good:.1f} s"
    if best == float("inf"):
        return ["", f"shimwright found {ratio} the best of the others; its first {when}."]
    merit = median(go.best for go in shots[OWN])
    return [
        "",
        f"shimwright found {ratio} the best of the others, a merit {merit / best:.2f} times theirs, and one "
        f"as good as theirs {when}.",
    ]


def _measure(options: argparse.Namespace) -> None:
    methods = [OWN, *RIVALS]
    seeds = range(1, options.seeds + 1)
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(options.jobs, mp_context=spawn) as pool:
        goes: dict[tuple[str, str], list[Future[Shot]]] = {}
        proofs: dict[str, Future[own.Found]] = {}
        for name in options.only:
            # seed by seed, so that what a machine does over minutes touches all methods alike
            for seed in seeds:
                for method in methods:
                    task = pool.submit(shot, name, method, seed, options.seconds, options.clock)
                    goes.setdefault((name, method), []).append(task)
            proofs[name] = pool.submit(proof, name, options.proof, options.clock)
        for name in options.only:
            shots = {m: [future.result() for future in goes[name, m]] for m in methods}
            whole = proofs[name].result()
            lines = _head(name, problem_of(name), shots, whole) + _rows(shots, whole)
            print("\n".join(lines + _ratios(shots, whole)), flush=True)


def options_of(arguments: list[str] | None = None) -> argparse.Namespace:
    """What was asked for on the command line."""
    names = [EXAMPLE, *(one.name for one in made.CATALOGUES)]
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="seconds: one seed of the smallest")
    parser.add_argument("--seconds", type=float, default=10.0, help="time of each go")
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--proof", type=float, default=900.0, help="longest proof, s")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side, a core each")
    parser.add_argument("--clock", choices=CLOCKS, default="cpu")
    parser.add_argument("--only", nargs="+", choices=names, default=names)
    options = parser.parse_args(arguments)
    if options.quick:
        options.seconds, options.seeds, options.proof, options.only = 1.0, 1, 5.0, [names[1]]
    return options


def main() -> None:
    """Measure and print."""
    options = options_of()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
        os.environ[name] = "1"
    print(
        f"Every method {options.seconds:g} s of {options.clock} time on one core, {options.seeds} seeds: "
        "median (least to most). Merit: 0 is perfect; judged: candidates, or combinations covered."
    )
    _measure(options)


if __name__ == "__main__":
    main()

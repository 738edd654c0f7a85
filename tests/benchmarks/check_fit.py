"""Measure the fit: do its 90 % intervals hold nine in ten, and are slips of the tape found?

python -m tests.benchmarks.check_fit [--fits 300] [--slips 200]

Cars are those of the tests; errors are drawn as the files tell them, seeds are fixed.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from optimiser.fit import fit
from tests.cars import CARS
from tests.fit.garage import SIGMA, space_of
from tests.fit.slipped import cases, found
from tests.fit.test_fit import read
from tests.wishbones import WISHBONES

EVERY = (*CARS, *WISHBONES)


def coverage(fits: int) -> None:
    """Shares of true coordinates inside the fits' 90 % intervals, and the mean chi-square."""
    rng = np.random.default_rng(1)
    inside, told, count, told_count, sums, readings = 0, 0, 0, 0, 0.0, 0
    for number in range(fits):
        space = space_of(EVERY[number % len(EVERY)])
        truth = SIGMA * rng.normal(size=space.points)
        result = fit(read(space, truth, rng))
        hit = np.abs(truth - result.shift[: space.points]) < 1.6449 * result.deviation
        # coordinates of which the readings tell something are those that could go wrong
        sharp = result.deviation < 0.9 * SIGMA
        inside, count = inside + int(hit.sum()), count + hit.size
        told, told_count = told + int(hit[sharp].sum()), told_count + int(sharp.sum())
        sums, readings = sums + result.chi_square, readings + result.count
    print(f"{fits} fits on {len(EVERY)} cars, intervals of 90 %:")
    print(f"  all coordinates    {100.0 * inside / count:.1f} % of {count} inside")
    print(f"  told by readings   {100.0 * told / told_count:.1f} % of {told_count} inside")
    print(f"  chi-square         {sums / readings:.3f} of its degrees of freedom")


def slips(most: int) -> None:
    """Share of planted 5 mm slips that are found, of those that the readings can see."""
    rng = np.random.default_rng(2)
    every = [case for car in EVERY for case in cases(car)]
    some = [every[i] for i in rng.permutation(len(every))[:most]]
    hits = sum(found(case, rng) for case in some)
    share = 100.0 * hits / len(some)
    print(f"slips of 5 mm: {hits} of {len(some)} found ({share:.1f} %), of {len(every)} to be seen")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fits", type=int, default=300)
    parser.add_argument("--slips", type=int, default=200)
    args = parser.parse_args()
    start = time.perf_counter()
    coverage(args.fits)
    slips(args.slips)
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()

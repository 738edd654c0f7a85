"""Promising builds first: an order of searching that learns from what was found.

A build is taken to come to the sum of what its parts do, one figure for each option of each station and for
each duty, fitted by ridge least squares to the builds already searched. Before there are any, and as one more
figure beside them, the same sum is fitted to quick looks at a few builds drawn by chance. This is a guess
that orders builds and drops none: parts do not simply add up, and every build is handed out in the end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import log1p

import numpy as np

from kinematics.arrays import Floats, Ints
from optimiser.looks import WORST, scout
from optimiser.problem import Problem
from optimiser.ranking import Row, lack_of

# Builds looked at before the first is searched.
FIRST_LOOKS = 16
# What holds the parts' figures down, in builds: as if so many had shown that a part does nothing.
RIDGE = 1.0
# All builds are scored anew after one more result for so many builds in all.
PATIENCE = 4000
# Lacking more than this is no worse: a few hopeless builds would outweigh all that is told apart by little.
MOST_LACK = 30.0
# One build in so many is drawn by chance, lest a wrong guess lead in circles.
BY_CHANCE = 8
DRAWS = 32
# Builds in store from one scoring to the next, so many times the results till then, and some more.
STORE = 4
SPARE = 64
CHUNK = 1 << 18

Look = Callable[[Problem, int], float]


class Promising:
    """Hands out every build once, the most promising first.

    ``done`` are the rows of an earlier stretch of the same run, ``given`` the builds not to hand out.
    ``look`` tells how promising a build looks. The same results told in the same order give the same order
    of builds.
    """

    def __init__(
        self,
        problem: Problem,
        done: Iterable[Row] = (),
        given: Iterable[int] = (),
        look: Look = scout,
    ) -> None:
        self.numbering = problem.space.numbering
        self.duties = problem.duties
        # a station with one option says nothing
        self.stations = [s for s, size in enumerate(self.numbering.sizes) if size > 1]
        sizes = [self.numbering.sizes[s] for s in self.stations]
        self.starts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
        self.given = np.zeros(self.numbering.count, dtype=bool)
        self.given[list(given)] = True
        self.left = int(self.given.size - np.count_nonzero(self.given))
        self.looks = self._look_over(problem, look)
        # sums over the builds told, from which the figures are fitted: the last column is the looks' guess
        width = int(self.starts[-1]) + 1
        self.told = 0
        self.gram = np.zeros((width, width))
        self.once = np.zeros(width)
        self.moments = np.zeros((width, len(self.duties)))
        self.total = np.zeros(len(self.duties))
        self.store: list[int] = []
        self.handed = 0
        self.rng = np.random.default_rng([problem.goals.search.seed, self.left])
        self.scored_at = 0
        for row in done:
            self.tell(row)

    def next(self) -> int | None:
        """The most promising build that is left, or None when all are handed out."""
        if self.left == 0:
            return None
        self.handed += 1
        if self.handed % BY_CHANCE == 0:
            for number in self.rng.integers(self.given.size, size=DRAWS):
                if self.take(int(number)):
                    return int(number)
        results = 1 + self.numbering.count // PATIENCE
        if self.told - self.scored_at >= results:
            self.store.clear()
        while True:
            if not self.store:
                self.scored_at = self.told
                self.store = self._best(STORE * results + SPARE)[::-1]
            number = self.store.pop()
            if self.take(number):
                return number

    def take(self, number: int) -> bool:
        """Count a build as handed out; False where it was before."""
        if self.given[number]:
            return False
        self.given[number] = True
        self.left -= 1
        return True

    def tell(self, row: Row) -> None:
        """Learn from a build's result."""
        number = row["build"]
        features = self._features(number)
        values = np.array([_worth(row, duty) for duty in self.duties])
        self.told += 1
        self.gram += np.outer(features, features)
        self.once += features
        self.moments += np.outer(features, values)
        self.total += values

    # -- the guess --------------------------------------------------------------------------------------

    def _columns(self, number: int) -> Ints:
        picks = self.numbering.picks(number)
        return np.array(
            [start + picks[s] for start, s in zip(self.starts[:-1], self.stations, strict=True)],
            dtype=np.int64,
        )

    def _features(self, number: int) -> Floats:
        """Which options a build has, and what the looks say of it."""
        features = np.zeros(int(self.starts[-1]) + 1)
        columns = self._columns(number)
        features[columns] = 1.0
        features[-1] = self.looks[columns].sum()
        return features

    def _look_over(self, problem: Problem, look: Look) -> Floats:
        """A figure for each option, so that their sum tells how a build looks, in even units."""
        count = self.numbering.count
        width = int(self.starts[-1])
        if count == 0 or self.left == 0:
            return np.zeros(width)
        rng = np.random.default_rng(problem.goals.search.seed)
        numbers = np.sort(rng.choice(count, min(FIRST_LOOKS, count), replace=False))
        features = np.zeros((numbers.size, width))
        seen = np.empty(numbers.size)
        for place, number in enumerate(numbers):
            features[place, self._columns(int(number))] = 1.0
            seen[place] = log1p(_looked(problem, int(number), look))
        gram = features.T @ features + RIDGE * np.eye(width)
        fitted = np.linalg.solve(gram, features.T @ (seen - seen.mean()))
        spread = float((features @ fitted).std())
        return np.asarray(fitted / spread if spread > 1e-12 else fitted)

    def _figures(self) -> tuple[Floats, Floats]:
        """What each duty comes to at least and what each option adds to it: (duties,), (options, duties)."""
        if self.told == 0:
            return np.zeros(1), self.looks[:, None]
        mean = self.total / self.told
        gram = self.gram + RIDGE * np.eye(len(self.once))
        solved = np.linalg.solve(gram, self.moments - np.outer(self.once, mean))
        fitted: Floats = np.asarray(solved, dtype=np.float64)
        return mean, np.asarray(fitted[:-1] + np.outer(self.looks, fitted[-1]))

    def _best(self, most: int) -> list[int]:
        """The builds left that are guessed to be best, best first."""
        base, figures = self._figures()
        best_numbers = np.empty(0, dtype=np.int64)
        best_scores = np.empty(0)
        for start in range(0, self.given.size, CHUNK):
            stop = min(start + CHUNK, self.given.size)
            scores = np.tile(base[:, None], (1, stop - start))
            for place, station in enumerate(self.stations):
                columns = self.starts[place] + self.numbering.column(station, start, stop)
                scores += figures[columns].T
            # a build is worth what its worst duty is
            worst = scores.max(axis=0)
            left = np.flatnonzero(~self.given[start:stop])
            best_numbers = np.concatenate([best_numbers, left + start])
            best_scores = np.concatenate([best_scores, worst[left]])
            order = np.lexsort((best_numbers, best_scores))[:most]
            best_numbers, best_scores = best_numbers[order], best_scores[order]
        return [int(number) for number in best_numbers]


def _looked(problem: Problem, number: int, look: Look) -> float:
    """A look that cannot fail: what cannot be looked at looks worst."""
    try:
        return max(0.0, look(problem, number))
    except Exception:
        return WORST


def _worth(row: Row, duty: str) -> float:
    """What a build came to in a duty, least is best: its merit, or more than that by what it lacks."""
    result = row["duties"][duty]
    if result["feasible"]:
        return log1p(float(result["merit"]))
    return log1p(10.0 + min(MOST_LACK, lack_of(result)))

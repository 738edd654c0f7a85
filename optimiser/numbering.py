"""Numbers of builds: every way to choose one option a station, less what cannot be combined.

Choices are numbered in the order in which the last station turns fastest. Where nothing excludes anything
the number is the choice itself, written in mixed radix, and nothing is held; else the codes of what is
allowed are held, four bytes each.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property
from math import prod
from typing import Any

import numpy as np

from kinematics.arrays import Ints

# Two of these exclude each other: (station, option). One that excludes itself fits nothing.
Pair = tuple[tuple[int, int], tuple[int, int]]
CHUNK = 1 << 20


@dataclass(frozen=True)
class Numbering:
    """Choices of one option a station by number.

    ``sizes`` are the numbers of options, ``apart`` the pairs that exclude each other. Everything that is held
    grows with the product of the sizes (at most 2^31), and only where there are such pairs: 4 bytes a choice.
    """

    sizes: tuple[int, ...]
    apart: Collection[Pair] = ()

    @cached_property
    def total(self) -> int:
        """Choices, allowed or not."""
        return prod(self.sizes)

    @cached_property
    def strides(self) -> tuple[int, ...]:
        """What one option more at a station adds to a choice's code."""
        return tuple(prod(self.sizes[s + 1 :]) for s in range(len(self.sizes)))

    def _allowed(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Whether each choice is allowed, one axis a station."""
        allowed = np.ones(self.sizes, dtype=bool)
        for (s, i), (t, j) in self.apart:
            place: list[int | slice] = [slice(None)] * len(self.sizes)
            place[s], place[t] = i, j
            allowed[tuple(place)] = False
        return allowed

    @cached_property
    def _codes(self) -> np.ndarray[tuple[int], np.dtype[np.int32]] | None:
        """Codes of the allowed choices in order; None where all are."""
        if not self.apart:
            return None
        flat = self._allowed().reshape(-1)
        # in chunks: positions come eight bytes each
        chunks = [
            (start + np.flatnonzero(flat[start : start + CHUNK])).astype(np.int32)
            for start in range(0, flat.size, CHUNK)
        ]
        return np.concatenate(chunks)

    @cached_property
    def count(self) -> int:
        """Allowed choices."""
        return self.total if self._codes is None else int(self._codes.size)

    def picks(self, number: int) -> tuple[int, ...]:
        """The option of each station in a choice. Raises IndexError where there is no such number."""
        if not 0 <= number < self.count:
            raise IndexError(f"no choice {number}: there are {self.count}")
        code = number if self._codes is None else int(self._codes[number])
        return tuple(
            code // stride % size for stride, size in zip(self.strides, self.sizes, strict=True)
        )

    def column(self, station: int, start: int, stop: int) -> Ints:
        """The options that one station has in the choices of a range of numbers."""
        if self._codes is None:
            codes = np.arange(start, min(stop, self.count), dtype=np.int64)
        else:
            codes = self._codes[start:stop].astype(np.int64)
        return np.asarray(codes // self.strides[station] % self.sizes[station])

    def number_of(self, picks: tuple[int, ...]) -> int | None:
        """A choice's number, or None where its options exclude each other."""
        code = sum(pick * stride for pick, stride in zip(picks, self.strides, strict=True))
        if self._codes is None:
            return code
        place = int(np.searchsorted(self._codes, code))
        return place if place < self.count and self._codes[place] == code else None

    def sum_of_products(self, weights: tuple[tuple[int, ...], ...]) -> int:
        """The sum, over all allowed choices, of the product of their options' weights; exact.

        ``weights`` are whole numbers, one for each option of each station.
        """
        if not self.apart:
            return prod(sum(of_station) for of_station in weights)
        sums: Any = self._allowed().astype(np.int64)
        bound = 1
        for of_station in reversed(weights):
            bound *= sum(of_station)
            # what does not fit into 64 bits is summed in Python's own whole numbers, from then on
            if bound >= 2**62:
                sums = sums.astype(object)
            sums = np.asarray(sums @ np.array(of_station, dtype=sums.dtype))
            bound = max(bound, 1)
        return int(sums[()])

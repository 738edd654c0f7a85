"""An order of builds that stands beforehand, to hold proposers against."""

from __future__ import annotations

from collections.abc import Iterable

from optimiser.ranking import Row


class InOrder:
    """Every build once, in a given order."""

    def __init__(self, order: Iterable[int]) -> None:
        self._left = iter(list(order))

    def next(self) -> int | None:
        """The next build in order."""
        return next(self._left, None)

    def tell(self, row: Row) -> None:
        """Nothing is learned: the order stands."""

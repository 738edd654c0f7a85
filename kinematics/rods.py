"""How a threaded tie rod makes its length.

Two rod ends screw into the two ends of an adjuster. Eye to eye is inner + adjuster + outer less the
engagement at both ends, which are kept equal. All lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinematics.arrays import Floats, Ints


@dataclass(frozen=True)
class RodKit:
    """What a tie rod is made of.

    Attributes:
        inner, outer: joint centre to the end of the thread.
        thread: length of thread on each end.
        pitch: of the thread.
        flats: of the adjuster, for turning it by counted flats.
        engagement: least thread engagement at each end.
        adjusters: lengths of the adjusters in the box, one for each rod at least.
    """

    inner: float
    outer: float
    thread: float
    pitch: float
    flats: int
    engagement: float
    adjusters: tuple[float, ...]

    def fit(self, length: Floats) -> tuple[Ints, Floats]:
        """Best adjuster for each eye-to-eye length (n,), and the engagement at each end (n,), mm.

        Best is the adjuster with the most room to turn both ways: down to the least engagement, and up to
        where the ends meet in its middle or fewer than two threads are left to show. Where none fits the
        number is -1 and the engagement is less than the least: what the nearest adjuster gives, or the
        least less the room that is missing.
        """
        tubes = np.asarray(self.adjusters)
        engaged = 0.5 * (self.inner + self.outer + tubes[:, None] - length[None, :])
        room = np.minimum(self.thread - 2.0 * self.pitch, 0.5 * tubes)[:, None]
        fits = (engaged >= self.engagement) & (engaged <= room)
        score = np.where(fits, np.minimum(engaged - self.engagement, room - engaged), -np.inf)
        best = score.argmax(axis=0)
        any_fit = fits.any(axis=0)
        short = np.where(engaged > room, self.engagement - (engaged - room), engaged)
        nearest = short.argmax(axis=0)
        lanes = np.arange(length.shape[0])
        engagement = np.where(any_fit, engaged[best, lanes], short[nearest, lanes])
        return np.where(any_fit, best, -1), engagement

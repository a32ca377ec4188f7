"""Amounts by posterior draw and week, of which weeks next to each other are often the same: each is held once.

In the off-season nothing runs and no price changes, so that half of all weeks cost what the week before does. A fleet
of thousands is weighed with every option of every unit in memory, where that half counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class ByWeek:
    """Amounts of w weeks: `different` (d, r), those that differ from the week before; `place` (w,): which each has."""

    different: np.ndarray
    place: np.ndarray

    @classmethod
    def of(cls, amounts: np.ndarray) -> ByWeek:
        """`amounts` (d, w), held to the last bit, and in their order of memory, which decides the last bit of means."""
        first = np.ones(amounts.shape[1], dtype=bool)
        first[1:] = (amounts[:, 1:] != amounts[:, :-1]).any(axis=0)
        return cls(_weeks(amounts, np.flatnonzero(first)), (np.cumsum(first) - 1).astype(np.int16))

    @property
    def whole(self) -> np.ndarray:
        """All of them, (d, w)."""
        return _weeks(self.different, self.place)

    @property
    def mean(self) -> np.ndarray:
        """Their means over the draws, (w,)."""
        means: np.ndarray = self.different.mean(axis=0)[self.place]
        return means

    def week(self, week: int) -> np.ndarray:
        """Those of one week, (d,)."""
        amounts: np.ndarray = self.different[:, self.place[week]]
        return amounts


class ActingByWeek:
    """What has the costs of a rebuild and of a check in each week: of a unit that waits, or of an off-season ahead."""

    rebuild_weeks: ByWeek
    check_weeks: ByWeek

    @property
    def rebuild(self) -> np.ndarray:
        """Cost of a rebuild in each week, (d, w)."""
        return self.rebuild_weeks.whole

    @property
    def check(self) -> np.ndarray:
        """Cost of a check in each week, (d, w)."""
        return self.check_weeks.whole


def _weeks(amounts: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """Some weeks of amounts (d, w), in the same order of memory."""
    if amounts.flags.c_contiguous:
        return np.take(amounts, chosen, axis=1)
    return np.take(amounts.T, chosen, axis=0).T

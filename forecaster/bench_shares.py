"""One bench and one budget dealt out among the owners of a fleet's craft, so that their plans together stay within.

Every place of the bench belongs to one craft, in the order of their ids, and with it to whoever owns that craft: round
after round each craft is dealt one. The order spreads craft that stand together, as one owner's mostly do, evenly over
the weeks. So what an owner gets follows from where the own craft stand and how many craft there are, and from nothing
else of the others; what is dealt adds up to the bench in every week. A budget is dealt by the number of craft.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gcd

import numpy as np

GOLDEN = (5**0.5 - 1) / 2  # steps of this share of a round spread its points evenly (Weyl's sequence)


@dataclass(frozen=True)
class BenchShare:
    """One owner's part: `rows`, where the own craft stand among all, by id, from 0; `of`: how many there are."""

    rows: tuple[int, ...]
    of: int

    def places(self, bench: np.ndarray) -> np.ndarray:
        """The own places of each week, (W,), out of the whole bench's whole places (W,)."""
        week = np.repeat(np.arange(len(bench)), bench.astype(int))
        own = np.isin(np.arange(len(week)) * _stride(self.of) % self.of, self.rows)
        dealt: np.ndarray = np.bincount(week[own], minlength=len(bench)).astype(float)
        return dealt

    def budget(self, whole: float | None) -> float | None:
        """The own part of a budget; None: no limit."""
        return None if whole is None else whole * len(self.rows) / self.of


def _stride(rows: int) -> int:
    """From one dealt row to the next: near the golden share of all, and such that a round leaves none out."""
    wanted = GOLDEN * rows
    return min((step for step in range(1, rows + 1) if gcd(step, rows) == 1), key=lambda step: abs(step - wanted))

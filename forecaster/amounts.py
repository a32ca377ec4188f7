"""An amount of money that is not known for certain: its mean over the posterior draws, and their central 90 %."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.forecast import INTERVAL
from forecaster.told_numbers import told_numbers


@dataclass(frozen=True)
class Amount:
    """The mean and the central 90 %."""

    mean: float
    low: float
    high: float

    @property
    def is_nothing(self) -> bool:
        """Whether it comes to less than half a unit of money, its interval too."""
        return max(abs(self.mean), abs(self.low), abs(self.high)) < 0.5

    @property
    def opposite(self) -> Amount:
        """What is saved, told as what it costs more, and the other way round."""
        return Amount(-self.mean, -self.high, -self.low)


def amount_of(draws: np.ndarray) -> Amount:
    """The amount of posterior draws, (draws,). Raises ModelError where one is no number."""
    low, high = np.quantile(told_numbers(draws, "An amount"), INTERVAL)
    return Amount(float(draws.mean()), float(low), float(high))

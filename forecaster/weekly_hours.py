"""Engine hours of every craft in the weeks that decisions look ahead: what is expected, and how it may come."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from forecaster.craft_weeks import HORIZON_WEEKS
from forecaster.usage_forecast import UsageForecast

LEAST_FOUND = 1e-3  # of a week's mean hours: what its draws come to on average where they tell how it may come


@dataclass(frozen=True)
class WeeklyHours:
    """Engine hours of each craft in each week from the forecast's day to the horizon; worked out when first asked."""

    usage: UsageForecast

    @cached_property
    def means(self) -> dict[str, np.ndarray]:
        """Expected hours by craft_id, (HORIZON_WEEKS,): exact."""
        craft_ids = list(self.usage.craft.index)
        means = self.usage.weekly_means(craft_ids, self.usage.as_of, HORIZON_WEEKS)
        return dict(zip(craft_ids, means, strict=True))

    def draws(self, n: int, craft_ids: Sequence[str] | None = None) -> dict[str, np.ndarray]:
        """n draws by craft_id, (n, HORIZON_WEEKS), joint over craft; in every week their mean is `means` exactly.

        Of these craft (None: of all), whose draws are the same whichever others are asked about. Not kept: of thousands
        they would fill the memory.
        """
        asked = list(dict.fromkeys(self.means if craft_ids is None else craft_ids))
        drawn = self.usage.draws(asked, self.usage.as_of, HORIZON_WEEKS, n)
        return {craft_id: _with_mean(drawn[:, place], self.means[craft_id]) for place, craft_id in enumerate(asked)}


def _with_mean(drawn: np.ndarray, mean: np.ndarray) -> np.ndarray:
    """Draws (n, weeks) scaled so that each week's mean over them is `mean` (weeks,).

    A week in which hardly a draw ran at all, as in winter, has its mean in every draw: scaled up, one would run it all.
    """
    found = drawn.mean(axis=0)
    tells = found > LEAST_FOUND * mean
    return np.where(tells, drawn * np.divide(mean, found, out=np.ones_like(mean), where=tells), mean)

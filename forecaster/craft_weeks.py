"""The weeks ahead of one craft: how many hours each is expected to run, which are in season, what follows a fresh unit.

Weeks begin on the day asked about; a week is in season where its first day is. Hours wear a unit only in weeks that
run any; `step` counts those.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from forecaster.policy import Upkeep
from forecaster.settings import Season

HORIZON_WEEKS = 104
LEAST_HOURS_A_WEEK = 0.05  # less is a craft moved at the dock


@dataclass(frozen=True)
class CraftWeeks:
    """Weeks (w,) of one craft from a day to the horizon.

    `first_day`; `in_season` (w,) bool; `step_of_week` (w + 1,): steps of use done before each week, and before the
    horizon; `step_hours` (n,); `week_of_step` (n,). `stage` (w + 1,): the upkeep's stage at each week's start;
    `year` (w + 1,): seasons that have opened since the first day.
    """

    first_day: tuple[date, ...]
    in_season: np.ndarray
    step_of_week: np.ndarray
    step_hours: np.ndarray
    week_of_step: np.ndarray
    stage: np.ndarray
    year: np.ndarray

    @property
    def n(self) -> int:
        """How many weeks."""
        return len(self.first_day)


def craft_weeks(hours: np.ndarray, as_of: date, season: Season, upkeep: Upkeep) -> CraftWeeks:
    """Lay out `hours` (w,), the engine hours expected in each week from `as_of`, for an upkeep's stages.

    A day's stage is its share of the season's days: near enough, since what a fresh unit is worth changes slowly.
    """
    days = [as_of + timedelta(weeks=i) for i in range(len(hours) + 1)]
    inside = np.array([season.contains(day) for day in days])
    runs = hours > LEAST_HOURS_A_WEEK
    stage = np.full(len(days), upkeep.steps)
    for i in np.flatnonzero(inside):
        opening, close = season.current_or_next(days[i])
        share = (days[i] - opening).days / max((close - opening).days, 1)
        stage[i] = min(int(share * upkeep.steps), upkeep.steps - 1)
    opened = np.concatenate([[0], inside[1:] & ~inside[:-1]])
    return CraftWeeks(
        first_day=tuple(days[:-1]),
        in_season=inside[:-1],
        step_of_week=np.concatenate([[0], np.cumsum(runs)]),
        step_hours=hours[runs],
        week_of_step=np.flatnonzero(runs),
        stage=stage,
        year=np.cumsum(opened).astype(int),
    )

"""The weeks ahead of one craft: how many hours each is expected to run, which are in season, what follows a fresh unit.

Weeks begin on the day asked about; a week is in season where its first day is. Hours wear a unit only in weeks that
run any; `step` counts those.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import NamedTuple

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
    `year` (w + 1,): seasons that have opened since the first day. `next_off` (w,): the first off-season week after the
    season that follows a week, or that it is in; w where none does.
    """

    first_day: tuple[date, ...]
    in_season: np.ndarray
    step_of_week: np.ndarray
    step_hours: np.ndarray
    week_of_step: np.ndarray
    stage: np.ndarray
    year: np.ndarray
    next_off: np.ndarray

    @property
    def n(self) -> int:
        """How many weeks."""
        return len(self.first_day)


def craft_weeks(hours: np.ndarray, as_of: date, season: Season, upkeep: Upkeep) -> CraftWeeks:
    """Lay out `hours` (w,), the engine hours expected in each week from `as_of`, for an upkeep's stages.

    A day's stage is its share of the season's days: near enough, since what a fresh unit is worth changes slowly.
    """
    calendar = _calendar(as_of, season, len(hours))
    runs = hours > LEAST_HOURS_A_WEEK
    by_share = np.minimum((calendar.share * upkeep.steps).astype(int), upkeep.steps - 1)
    return CraftWeeks(
        first_day=calendar.first_day,
        in_season=calendar.inside[:-1],
        step_of_week=np.concatenate([[0], np.cumsum(runs)]),
        step_hours=hours[runs],
        week_of_step=np.flatnonzero(runs),
        stage=np.where(calendar.inside, by_share, upkeep.steps),
        year=calendar.year,
        next_off=calendar.next_off,
    )


class _Calendar(NamedTuple):
    """What the weeks of all craft share; `inside`, `share` (w + 1,): in season, and how much of the season is over."""

    first_day: tuple[date, ...]
    inside: np.ndarray
    share: np.ndarray
    year: np.ndarray
    next_off: np.ndarray


@lru_cache(maxsize=8)  # a fleet asks hundreds of times for the same weeks
def _calendar(as_of: date, season: Season, weeks: int) -> _Calendar:
    days = [as_of + timedelta(weeks=i) for i in range(weeks + 1)]
    inside = np.array([season.contains(day) for day in days])
    share = np.zeros(len(days))
    for i in np.flatnonzero(inside):
        opening, close = season.current_or_next(days[i])
        share[i] = (days[i] - opening).days / max((close - opening).days, 1)
    opened = np.concatenate([[0], inside[1:] & ~inside[:-1]])
    found = _Calendar(tuple(days[:-1]), inside, share, np.cumsum(opened).astype(int), _next_off(inside[:-1]))
    for part in found[1:]:
        part.flags.writeable = False  # shared
    return found


def _next_off(inside: np.ndarray) -> np.ndarray:
    """See ``CraftWeeks.next_off``; `inside` (w,): whether each week is in season."""
    n = len(inside)
    next_off, close = np.full(n, n), n
    for week in range(n - 1, -1, -1):
        if inside[week]:
            if week + 1 < n and not inside[week + 1]:
                close = week + 1
            next_off[week] = close
        else:
            next_off[week] = next_off[week + 1] if week + 1 < n else n
    return next_off

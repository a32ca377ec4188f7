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
    horizon; `step_hours` (n,); `week_of_step` (n,). `stage` (w + 1,): the upkeep's stage at each week's start, not
    whole as a rule. `to_close_h` (w + 1,): hours from each week's start to the close of the season that it is in or
    that comes. `year`, `closed` (w + 1,): seasons that have opened, and closed, since the first day. `next_off` (w,):
    the first off-season week after the season that follows a week, or that it is in; w where none does.
    """

    first_day: tuple[date, ...]
    in_season: np.ndarray
    step_of_week: np.ndarray
    step_hours: np.ndarray
    week_of_step: np.ndarray
    stage: np.ndarray
    to_close_h: np.ndarray
    year: np.ndarray
    closed: np.ndarray
    next_off: np.ndarray

    @property
    def n(self) -> int:
        """How many weeks."""
        return len(self.first_day)


def craft_weeks(hours: np.ndarray, as_of: date, season: Season, upkeep: Upkeep) -> CraftWeeks:
    """Lay out `hours` (w,), the engine hours expected in each week from `as_of`, for an upkeep's stages.

    How far a season has come is told by the hours still to run in it. One that the horizon cuts goes on to run, in all,
    what the upkeep's seasons do.
    """
    calendar = _calendar(as_of, season, len(hours))
    runs = hours > LEAST_HOURS_A_WEEK
    to_close = _to_close(np.where(runs, hours, 0.0), calendar, upkeep.season_hours)
    return CraftWeeks(
        first_day=calendar.first_day,
        in_season=calendar.inside[:-1],
        step_of_week=np.concatenate([[0], np.cumsum(runs)]),
        step_hours=hours[runs],
        week_of_step=np.flatnonzero(runs),
        stage=np.where(calendar.inside, np.maximum(upkeep.stage(to_close), 0.0), upkeep.steps),
        to_close_h=to_close,
        year=calendar.year,
        closed=calendar.closed,
        next_off=calendar.next_off,
    )


def _to_close(hours: np.ndarray, calendar: _Calendar, season_hours: float) -> np.ndarray:
    """See ``CraftWeeks.to_close_h``; `hours` (w,) of each week, `season_hours` of a season that the horizon cuts."""
    run = np.concatenate([[0.0], np.cumsum(hours)])
    closes = np.flatnonzero(np.diff(calendar.closed)) + 1  # the weeks with which a season is over
    before = run[closes[-1]] if len(closes) else -calendar.share * season_hours
    cut = before + season_hours  # hours from the first day to the close beyond the horizon
    at_close = np.append(run[closes], max(cut, run[-1]))
    left: np.ndarray = at_close[calendar.closed] - run
    return left


class _Calendar(NamedTuple):
    """What the weeks of all craft share; `inside` (w + 1,): in season; `share` of a season over on the first day."""

    first_day: tuple[date, ...]
    inside: np.ndarray
    share: float
    year: np.ndarray
    closed: np.ndarray
    next_off: np.ndarray


@lru_cache(maxsize=8)  # a fleet asks hundreds of times for the same weeks
def _calendar(as_of: date, season: Season, weeks: int) -> _Calendar:
    days = [as_of + timedelta(weeks=i) for i in range(weeks + 1)]
    inside = np.array([season.contains(day) for day in days])
    close_on = np.array([season.current_or_next(day)[1] for day in days])
    opening, close = season.current_or_next(as_of)
    share = max((as_of - opening).days, 0) / ((close - opening).days + 1)
    closes = close_on[1:] != close_on[:-1]
    opens = inside[1:] & (closes | ~inside[:-1])
    year, closed = (np.concatenate([[0], np.cumsum(one)]).astype(int) for one in (opens, closes))
    found = _Calendar(tuple(days[:-1]), inside, share, year, closed, _next_off(inside[:-1]))
    for part in (found.inside, found.year, found.closed, found.next_off):
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

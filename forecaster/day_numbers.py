"""Days as whole numbers, days since 1970-01-01, so that they can be reckoned with by the million."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from forecaster.settings import Season

FIRST_YEAR = 1900  # no record is older
EPOCH = date(1970, 1, 1)


def days_of(column: pd.Series) -> np.ndarray:
    """Days since 1970-01-01 of a column of dates without blanks, (n,) whole numbers."""
    days: np.ndarray = column.to_numpy().astype("datetime64[D]").astype(np.int64)
    return days


def day_of(day: date) -> int:
    """Days since 1970-01-01 of one day."""
    return (day - EPOCH).days


def date_of(day: int | np.integer) -> date:
    """The date of a day number."""
    return date.fromordinal(EPOCH.toordinal() + int(day))


class SeasonDays:
    """How many in-season days there are between two days."""

    def __init__(self, season: Season, last_day: date) -> None:
        """For days from FIRST_YEAR to `last_day`."""
        openings = [season.opening_in(year) for year in range(FIRST_YEAR, last_day.year + 1)]
        self._opens = np.array([day_of(opening) for opening in openings], dtype=np.int64)
        closes = np.array([day_of(season.close_of(opening)) for opening in openings], dtype=np.int64)
        self._length = closes - self._opens + 1
        self._before = np.cumsum(self._length) - self._length

    def between(self, after: np.ndarray, until: np.ndarray) -> np.ndarray:
        """In-season days d with after < d <= until, (n,); 0 where until is not after."""
        days: np.ndarray = np.maximum(self._so_far(until) - self._so_far(after), 0)
        return days

    def _so_far(self, day: np.ndarray) -> np.ndarray:
        season = np.maximum(np.searchsorted(self._opens, day, side="right") - 1, 0)
        passed: np.ndarray = self._before[season] + np.clip(day - self._opens[season] + 1, 0, self._length[season])
        return passed

"""Engine hours by craft and season beside what the shape of the season expects of the same days.

What the pooling of levels (``forecaster.usage_levels``) starts from. Only in-season hours count: off-season a craft
stands on land, and how often it is run up there tells nothing about its rentals.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecaster.season_shape import Calendar, SeasonShape
from forecaster.summed_rates import integral

POWER = 1.5  # of the variance of a day's hours by chance; the reason is in forecaster.usage_levels
BLOCK_DAYS = 28


@dataclass(frozen=True)
class SeasonTotals:
    """In-season hours of each craft by season, (craft, seasons): as read, and as the shape expects of the same days.

    ``seasons``: opening years, without gaps. ``powers``: sums over the days of (expected hours)^POWER.
    ``irregularity`` (of ``freedom`` degrees): how unevenly hours fall on the blocks of a craft's season, the sum of
    (hours - its share of the season)² / what a dispersion of 1 lets expect.
    """

    seasons: np.ndarray
    hours: np.ndarray
    expected: np.ndarray
    powers: np.ndarray
    irregularity: float
    freedom: float


def season_totals(
    stretches: pd.DataFrame, which: np.ndarray, n_craft: int, shape: SeasonShape, as_of: date
) -> SeasonTotals:
    """Hours and expected hours by craft and season; a stretch over a season's opening is split as the shape expects."""
    last = as_of.toordinal()
    first = min(int(stretches["after"].min()) + 1, last) if len(stretches) else last
    calendar = Calendar.of(shape.season, first, last)
    daily = shape.intensity(calendar)
    begins, ends = stretches["after"].to_numpy(int) + 1 - first, stretches["until"].to_numpy(int) + 1 - first
    seasons = np.arange(calendar.season_of[0], calendar.season_of[-1] + 1)
    ran, mass = stretches["hours"].to_numpy(float), integral(daily, begins, ends)
    table = np.zeros((3, n_craft, len(seasons)))  # hours, expected, powers
    for k, season in enumerate(seasons):
        days = calendar.in_season & (calendar.season_of == season)
        part, powers = (integral(np.where(days, moment, 0.0), begins, ends) for moment in (daily, daily**POWER))
        for row, values in zip(table, (ran * part / mass, part, powers), strict=True):
            row[:, k] = np.bincount(which, values, minlength=n_craft)
    in_season = integral(np.where(calendar.in_season, daily, 0.0), begins, ends)
    blocks = pd.DataFrame(
        {
            "craft": which,
            "season": calendar.season_of[begins],
            "block": _in_season_day(calendar, begins, ends) // BLOCK_DAYS,
            "hours": ran * in_season / mass,
            "expected": in_season,
            "powers": integral(np.where(calendar.in_season, daily**POWER, 0.0), begins, ends),
        }
    )
    within = (calendar.season_of[begins] == calendar.season_of[ends - 1]) & (in_season > 0)
    hours, expected, powers = table
    return SeasonTotals(seasons, hours, expected, powers, *_irregularity(blocks[within]))


def _in_season_day(calendar: Calendar, begins: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """In-season days between the season's opening and the middle of each stretch's own in-season days."""
    upto = np.concatenate([[0], np.cumsum(calendar.in_season)])
    opening = np.searchsorted(calendar.season_of, calendar.season_of[begins])
    return np.asarray((upto[begins] + upto[ends]) // 2 - upto[opening])


def _irregularity(stretches: pd.DataFrame) -> tuple[float, float]:
    """How unevenly hours fall on blocks of about four weeks within a craft's season, and the degrees of freedom.

    Blocks, not single stretches: neighbouring stretches are alike (weather, a week's bookings), and what is to be
    forecast is weeks and months. A block's share is of the hours that the craft ran in that season, so that levels do
    not matter; that the block is part of that sum takes from its freedom what the formula for the variance says.
    """
    blocks = stretches.groupby(["craft", "season", "block"], as_index=False).sum()
    season = blocks.groupby(["craft", "season"])[["hours", "expected", "powers"]].transform("sum")
    level, share = season["hours"] / season["expected"], blocks["expected"] / season["expected"]
    variance = blocks["powers"] * level**POWER
    used = (variance > 0) & (share < 1)
    squares = (blocks["hours"] - share * season["hours"])[used] ** 2 / variance[used]
    freedom = (1.0 - 2.0 * share + share**2 * season["powers"] / blocks["powers"])[used]
    return float(squares.sum()), float(freedom.sum())

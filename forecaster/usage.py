"""Engine hours ahead, by a simple rule: what a craft ran per in-season day lately, it goes on running.

The rule, all of it:

1. The stretch looked at begins on the eve of the latest season that was at least `SETTLED_DAYS` old on the day asked
   about, and ends on that day: a season that has only just opened is too short to tell, so the one before it counts
   too. Where no craft has readings that tell in that stretch, it begins a season earlier, and so on.
2. A craft's own rate is the hours between its first and its last reading in the stretch, divided by the in-season days
   between them.
3. Few readings tell little: the rate is drawn towards the fleet's by as much as `READINGS_WORTH` readings weigh,
   (n·own + k·fleet) / (n + k) with n the days with a reading after the first. The fleet's rate is all hours divided by
   all in-season days.
4. Hours ahead = rate x in-season days from the day after the day asked about to the season's close.

Left out: how use swells and fades within a season, off-season running, and an interval (``forecaster.usage_forecast``
has them).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecaster.day_numbers import SeasonDays, day_of, days_of
from forecaster.engine_hours import follow_meters
from forecaster.records import FleetRecords

SETTLED_DAYS = 30  # common practice, no source: the first month tells more about the weather than about the craft
READINGS_WORTH = 4.0  # common practice, no source: about a month of weekly readings weighs as much as the fleet


@dataclass(frozen=True)
class SeasonUse:
    """Engine hours expected of each craft until a season's close.

    ``craft``: indexed by craft_id, one row for every craft of the records: ``readings`` in the stretch looked at after
    the first, ``own_hours_per_day`` (NaN where they do not tell), ``hours_per_day`` after drawing it towards the
    fleet's, ``hours`` until the close. ``days``: in-season days left. ``fleet_hours_per_day``: NaN where no readings
    tell; then all hours are 0 and ``remark`` says so.
    """

    opens: date
    closes: date
    days: int
    fleet_hours_per_day: float
    craft: pd.DataFrame
    remark: str = ""


def expected_use(records: FleetRecords, as_of: date) -> SeasonUse:
    """How many engine hours will each craft run from `as_of` to the close of the current or next season?

    Uses only readings up to `as_of`. See the module's docstring for the rule.
    """
    season = records.settings.season
    opens, closes = season.current_or_next(as_of)
    season_days = SeasonDays(season, closes)
    readings = records.hours[records.hours["read_on"] <= pd.Timestamp(as_of)]
    told = _told_lately(records, readings, season_days, as_of)
    craft = told.reindex(pd.Index(records.craft["craft_id"], name="craft_id"))
    in_season = craft["days"].sum()
    fleet = float(craft["ran"].sum() / in_season) if in_season > 0 else float("nan")
    own = craft["ran"] / craft["days"]
    n = craft["readings"].fillna(0).astype(int)
    rate = ((n * own + READINGS_WORTH * fleet) / (n + READINGS_WORTH)).where(own.notna(), fleet)
    remark = ""
    if not np.isfinite(fleet):
        rate = rate.fillna(0.0)
        remark = (
            "No craft has two meter readings with in-season days between them, so no hours are expected this season: "
            "the season's risk is understated. Enter meter readings in hours.csv."
        )
    days = int(season_days.between(np.array([day_of(as_of)]), np.array([day_of(closes)]))[0])
    table = pd.DataFrame({"readings": n, "own_hours_per_day": own, "hours_per_day": rate, "hours": rate * days})
    return SeasonUse(opens, closes, days, fleet, table, remark)


def _told_lately(records: FleetRecords, readings: pd.DataFrame, season_days: SeasonDays, as_of: date) -> pd.DataFrame:
    """Readings after the first, hours ran and in-season days of each craft in the stretch, where they tell."""
    season = records.settings.season
    year = as_of.year
    while season.opening_in(year) > as_of - timedelta(days=SETTLED_DAYS):
        year -= 1
    first_year = readings["read_on"].min().year - 1 if len(readings) else year + 1
    meters = follow_meters(readings, season, as_of)
    while year >= first_year:
        eve = pd.Timestamp(season.opening_in(year)) - pd.Timedelta(days=1)
        stretch = readings[readings["read_on"] >= eve].groupby("craft_id")["read_on"].agg(["min", "max", "nunique"])
        first, last = days_of(stretch["min"]), days_of(stretch["max"])
        ran = meters.between(stretch.index.to_numpy(), first, last).best
        days = season_days.between(first, last)
        told = pd.DataFrame({"readings": stretch["nunique"] - 1, "ran": ran, "days": days}, index=stretch.index)
        if (days > 0).any():
            return told[days > 0]
        year -= 1
    return pd.DataFrame({"readings": [], "ran": [], "days": []}, dtype=float)

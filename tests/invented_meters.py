"""Meter readings of invented fleets with a known rhythm, for the tests of the usage forecast."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from forecaster.records import FleetRecords, empty_frame
from forecaster.settings import FleetSettings, Season


def meter_records(
    readings: Sequence[tuple[str, str, float] | tuple[str, str, float, str]],
    craft: Sequence[str] = ("A",),
    season: Season | None = None,
    retired: dict[str, str] | None = None,
) -> FleetRecords:
    """Records of only craft and meter readings: (craft_id, read_on, meter[, new_meter])."""
    rows = [(*row, "no")[:4] for row in readings]
    hours = pd.DataFrame(rows, columns=["craft_id", "read_on", "meter", "new_meter"])
    hours.index = pd.RangeIndex(2, len(hours) + 2, name="row")
    hours = hours.astype({"read_on": "datetime64[ns]", "meter": float})
    table = empty_frame("craft").reindex(pd.RangeIndex(2, len(craft) + 2, name="row"))
    table["craft_id"] = list(craft)
    table["retired_on"] = pd.to_datetime([(retired or {}).get(one) for one in craft])
    others = {name: empty_frame(name) for name in ("fittings", "water", "rebuilds", "checks")}
    return FleetRecords(craft=table, hours=hours, settings=FleetSettings(season=season or Season()), **others)


def true_intensity(season: Season, first: date, last: date, season_hours: float = 140.0) -> pd.Series:
    """Hours of an average craft on each day, by ordinal: twice as many in mid-season as at its edges, few outside."""
    days = np.arange(first.toordinal(), last.toordinal() + 1)
    hours = np.full(len(days), 0.004)
    for year in range(first.year - 1, last.year + 1):
        opening = season.opening_in(year)
        opens, closes = opening.toordinal(), season.close_of(opening).toordinal()
        phase = (days - opens) / (closes - opens)
        inside = (phase >= 0) & (phase <= 1)
        hump = 0.5 + np.exp(-(((phase - 0.45) / 0.3) ** 2))
        whole = 0.5 + np.exp(-(((np.linspace(0, 1, closes - opens + 1) - 0.45) / 0.3) ** 2))
        hours[inside] = hump[inside] / whole.sum() * season_hours
    return pd.Series(hours, index=days)


def irregular_fleet(
    n_craft: int,
    n_seasons: int,
    seed: int,
    days_between: float,
    craft_sd: float = 0.2,
    season_sd: float = 0.0,
    chance: float = 1.0,
    first_year: int = 2021,
) -> FleetRecords:
    """A fleet read at irregular days, about `days_between` apart, in and out of season.

    Levels of craft and seasons are lognormal; hours of a day gamma of mean x variance `chance`. 0: no chance at all.
    """
    rng = np.random.default_rng(seed)
    season = Season()
    first, last = date(first_year, 3, 1), date(first_year + n_seasons - 1, 12, 31)
    intensity = true_intensity(season, first, last)
    years = np.array([date.fromordinal(int(day)).year for day in intensity.index])
    level_of = dict(zip(np.unique(years), np.exp(season_sd * rng.standard_normal(n_seasons)), strict=True))
    seasonal = intensity.to_numpy() * np.array([level_of[year] for year in years])
    rows = []
    for number in range(n_craft):
        mean = seasonal * np.exp(craft_sd * rng.standard_normal())
        run = np.cumsum(rng.standard_gamma(mean / chance) * chance if chance else mean)
        gaps = np.maximum(1, rng.uniform(0.4, 1.6, 4 * len(run) // max(1, int(days_between))) * days_between)
        for day in np.cumsum(gaps.astype(int)):
            if day < len(run):
                read_on = date.fromordinal(int(intensity.index[day]))
                rows.append((f"C{number:03d}", str(read_on), round(100 + run[day], 4)))
    return meter_records(rows, [f"C{number:03d}" for number in range(n_craft)])

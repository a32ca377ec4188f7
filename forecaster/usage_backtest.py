"""How good would past forecasts of engine hours have been? Rolling origin, beside "the same as last year".

At each origin, usually a season's opening, the forecast knows only what was read by then. Each craft with readings on
both ends is then asked about the rest of that season and about stretches of about four weeks in it, always from one
meter reading to a later one, so that the outcome is a difference of readings and nothing is interpolated.

The rival, "the same as last year": the hours that the craft ran between the same two dates one year before, as its
readings tell by then (in proportion to in-season days between readings); where they do not tell, the mean of the
craft that do; where none does, none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecaster.errors import DataStopsAnswer
from forecaster.records import FleetRecords
from forecaster.season_shape import Calendar, engine_hours_between_readings
from forecaster.settings import Season
from forecaster.usage_forecast import forecast_usage

WINDOW_DAYS = (24, 34)  # of a stretch of about four weeks
LEAST_OF_SEASON = 0.7  # share of a season's days, from the origin to its close, that its readings must cover


@dataclass(frozen=True)
class UsageBacktest:
    """Past forecasts beside what then happened.

    ``forecasts``: one row each: ``origin``, ``craft_id``, ``kind`` ("season", "four weeks"), ``after``, ``until``,
    ``actual``, ``mean``, ``low``, ``high`` (h), ``last_year`` (h; NaN where nobody's readings tell). ``summary``,
    indexed by kind: ``forecasts``, ``coverage`` of the 90 % intervals, ``mean_absolute_error`` (h), and over those
    with a last year ``compared``, ``error_beside_last_year`` and ``error_of_last_year`` (h).
    """

    forecasts: pd.DataFrame
    summary: pd.DataFrame


def season_openings(records: FleetRecords) -> list[date]:
    """Openings of the seasons that follow one with readings: the origins at which a forecast can be tried."""
    days = records.hours["read_on"]
    if days.empty:
        return []
    season, first, last = records.settings.season, days.min().date(), days.max().date()
    openings = [season.opening_in(year) for year in range(first.year, last.year + 1)]
    return [day for day in openings if first + timedelta(days=60) <= day < last]


def backtest_usage(records: FleetRecords, origins: Sequence[date] | None = None) -> UsageBacktest:
    """How good forecasts of engine hours made on each of `origins` would have been.

    `origins`: days; all openings that follow a season with readings unless given. Raises DataStopsAnswer where no
    forecast can be compared with readings.
    """
    origins = season_openings(records) if origins is None else origins
    rows = [row for origin in origins for row in _at_origin(records, origin)]
    if not rows:
        raise DataStopsAnswer(
            "Forecasts of engine hours cannot be compared with what happened: that takes meter readings over a season "
            "and from the opening to the close of the next one. Enter more readings in hours.csv."
        )
    forecasts = pd.DataFrame(rows)
    kinds = {str(kind): _summary(of_kind) for kind, of_kind in forecasts.groupby("kind")}
    return UsageBacktest(forecasts, pd.DataFrame.from_dict(kinds, orient="index").rename_axis("kind"))


def _summary(forecasts: pd.DataFrame) -> dict[str, float]:
    error = (forecasts["mean"] - forecasts["actual"]).abs()
    compared = forecasts["last_year"].notna()
    inside = forecasts["actual"].between(forecasts["low"], forecasts["high"])
    return {
        "forecasts": len(forecasts),
        "coverage": float(inside.mean()),
        "mean_absolute_error": float(error.mean()),
        "compared": int(compared.sum()),
        "error_beside_last_year": float(error[compared].mean()),
        "error_of_last_year": float((forecasts["last_year"] - forecasts["actual"]).abs()[compared].mean()),
    }


def _at_origin(records: FleetRecords, origin: date) -> list[dict[str, object]]:
    season = records.settings.season
    close = season.current_or_next(origin)[1]
    known, _ = engine_hours_between_readings(records, origin)
    forecast = forecast_usage(records, origin)
    last_year = _LastYear(season, known, origin)
    rows: list[dict[str, object]] = []
    seen, _ = engine_hours_between_readings(records, close + timedelta(days=WINDOW_DAYS[1]))
    after_origin = seen[seen["after"] >= origin.toordinal()]
    for craft_id, own in after_origin.groupby("craft_id"):
        if craft_id not in forecast.craft.index:
            continue
        for kind, first, last, actual in _windows(own, origin, close):
            ahead = forecast.hours_between(str(craft_id), first, last)
            rows.append(
                {
                    "origin": pd.Timestamp(origin),
                    "craft_id": craft_id,
                    "kind": kind,
                    "after": pd.Timestamp(first),
                    "until": pd.Timestamp(last),
                    "actual": actual,
                    "mean": ahead.mean,
                    "low": ahead.low,
                    "high": ahead.high,
                    "last_year": last_year.hours(str(craft_id), first, last),
                }
            )
    return rows


def _windows(own: pd.DataFrame, origin: date, close: date) -> list[tuple[str, date, date, float]]:
    """Kind, first and last reading, and hours between, of what one craft's readings let us compare."""
    after, until = own["after"].to_numpy(), own["until"].to_numpy()
    whole = np.append(after[1:] == until[:-1], False)  # a changed meter breaks the chain
    windows: list[tuple[str, date, date, float]] = []
    begin = 0
    total = 0.0
    for i, (ran, goes_on) in enumerate(zip(own["hours"], whole, strict=True)):
        total += ran
        days = until[i] - after[begin]
        if not goes_on or days >= WINDOW_DAYS[0]:
            if WINDOW_DAYS[0] <= days <= WINDOW_DAYS[1] and until[i] <= close.toordinal() + 7:
                windows.append(("four weeks", date.fromordinal(after[begin]), date.fromordinal(until[i]), total))
            begin, total = i + 1, 0.0
    reach = np.flatnonzero(~whole)[0] if len(whole) else 0
    covered = min(until[reach], close.toordinal()) - after[0]
    if covered >= LEAST_OF_SEASON * (close - origin).days:
        hours = float(own["hours"].iloc[: reach + 1].sum())
        windows.append(("season", date.fromordinal(after[0]), date.fromordinal(until[reach]), hours))
    return windows


class _LastYear:
    """What craft ran between two dates of the year before, from readings known on a day."""

    def __init__(self, season: Season, known: pd.DataFrame, origin: date) -> None:
        first = int(known["after"].min()) if len(known) else origin.toordinal()
        self._first = first
        in_season = Calendar.of(season, first, origin.toordinal() + 1).in_season
        self._days = np.concatenate([[0.0], np.cumsum(in_season + 1e-6)])  # a stretch off-season still has a length
        self._of = {str(craft_id): own for craft_id, own in known.groupby("craft_id")}

    def hours(self, craft_id: str, first: date, last: date) -> float:
        own = self._own(craft_id, first, last)
        if np.isfinite(own):
            return own
        others = [hours for other in self._of if np.isfinite(hours := self._own(other, first, last))]
        return float(np.mean(others)) if others else float("nan")

    def _own(self, craft_id: str, first: date, last: date) -> float:
        if craft_id not in self._of:
            return float("nan")
        stretches = self._of[craft_id]
        begin, end = (self._days_by(_a_year_before(day).toordinal()) for day in (first, last))
        after, until = self._days_by(stretches["after"].to_numpy()), self._days_by(stretches["until"].to_numpy())
        overlap = np.clip(np.minimum(until, end) - np.maximum(after, begin), 0.0, None)
        if overlap.sum() < 0.95 * (end - begin):
            return float("nan")
        return float((stretches["hours"].to_numpy() * overlap / (until - after)).sum() * (end - begin) / overlap.sum())

    def _days_by(self, day: int | np.ndarray) -> np.ndarray:
        return np.asarray(self._days[np.clip(np.asarray(day) + 1 - self._first, 0, len(self._days) - 1)])


def _a_year_before(day: date) -> date:
    return day - timedelta(days=364)  # the same day of the week

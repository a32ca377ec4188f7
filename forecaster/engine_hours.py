"""Meter readings -> engine hours that a craft ran between two days, and the least and most that the readings allow.

A meter counts up until it is changed; here each craft's meter goes on for ever, through every change. Between two
readings the hours are taken to run evenly, and for a day between them the two readings are the bounds. Where no
reading tells, no hours are added, and the upper bound allows twice the craft's usual use (``meter_gaps``):

- before its first and after its last reading;
- in the days between the last reading of an old meter and the first of the new one, except that here the mean daily
  rate of the intervals either side is the estimate, if there is one, and twice that the upper bound.

Days are whole numbers, days since 1970-01-01 (``day_numbers``); all hours are engine hours.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecaster.day_numbers import SeasonDays, date_of, days_of
from forecaster.lives import Remark
from forecaster.meter_gaps import MeterChanges, UsualUse, first_of_run, last_of_run
from forecaster.settings import Season
from forecaster.written_days import DatedText


@dataclass(frozen=True)
class HoursRun:
    """Engine hours, (n,) each: best estimate, and the least and most that the readings allow."""

    best: np.ndarray
    low: np.ndarray
    high: np.ndarray


class EngineHours:
    """Every craft's engine hours over time. Made by ``follow_meters``; ask it for hours between days.

    Its knots are the readings that count, sorted by craft, then day, one a craft and day.
    """

    def __init__(self, knots: _Knots, usual: UsualUse, remarks: tuple[Remark, ...]) -> None:
        """As ``follow_meters`` makes them."""
        self.craft_ids = knots.craft_ids
        self.season_days = usual.season_days
        self.remarks = remarks
        self._usual = usual
        self._day, self._best, self._low, self._high = knots.day, knots.best, knots.low, knots.high
        places = np.arange(len(self.craft_ids))
        self._first = np.searchsorted(knots.craft, places)
        self._last = np.searchsorted(knots.craft, places, side="right") - 1
        self._origin = int(self._day.min()) - 1 if len(self._day) else 0
        self._span = int(self._day.max()) - self._origin + 2 if len(self._day) else 1
        self._key = knots.craft * self._span + (self._day - self._origin)

    def between(self, craft_ids: np.ndarray, after: np.ndarray, until: np.ndarray) -> HoursRun:
        """Engine hours that each craft ran from the evening of `after` to the evening of `until`.

        `craft_ids` (n,) names, `after` and `until` (n,) day numbers, until >= after. A craft without readings has 0
        hours, and as upper bound what the fleet's usual use allows. Returns (n,) each, low <= best <= high.
        """
        craft = self._place(craft_ids)
        read = craft >= 0
        best, low, high = np.zeros(len(craft)), np.zeros(len(craft)), np.zeros(len(craft))
        at, a, b = craft[read], after[read], until[read]
        a_below, a_above = self._around(at, a)
        b_below, b_above = self._around(at, b)
        best[read] = np.maximum(self._run_by(b, b_below, b_above) - self._run_by(a, a_below, a_above), 0.0)
        low[read] = np.maximum(self._low[b_below] - self._low[a_above], 0.0)
        first, last = self._day[self._first[at]], self._day[self._last[at]]
        high[read] = self._high[b_above] - self._high[a_below]
        high[read] += self._usual.most(at, np.minimum(a, first), np.minimum(b, first))
        high[read] += self._usual.most(at, np.maximum(a, last), np.maximum(b, last))
        high[~read] = self._usual.most(craft[~read], after[~read], until[~read])
        # the three are reckoned apart, so that rounding could put them out of order by 1e-13 h
        return HoursRun(best, np.minimum(low, best), np.maximum(high, best))

    def covered_days(self, craft_ids: np.ndarray, after: np.ndarray, until: np.ndarray) -> np.ndarray:
        """How many of the days between lie between the craft's first and last reading, (n,); 0 without readings."""
        first, last = self.first_and_last(craft_ids)
        within = np.minimum(until, last) - np.maximum(after, first)
        return np.where(first <= last, np.maximum(within, 0), 0)

    def first_and_last(self, craft_ids: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Days of each craft's first and last reading, (n,) each; 1 and 0 for a craft without readings."""
        craft = self._place(craft_ids)
        first, last = np.ones(len(craft), dtype=np.int64), np.zeros(len(craft), dtype=np.int64)
        read = craft >= 0
        first[read] = self._day[self._first[craft[read]]]
        last[read] = self._day[self._last[craft[read]]]
        return first, last

    def _place(self, craft_ids: np.ndarray) -> np.ndarray:
        """Places in ``craft_ids``, -1 for a craft without readings."""
        return self.craft_ids.get_indexer(pd.Index(craft_ids, dtype=object))

    def _around(self, craft: np.ndarray, day: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Knots at or before and at or after each day; the first or last where there is none."""
        key = craft * self._span + np.clip(day - self._origin, 0, self._span - 1)
        first, last = self._first[craft], self._last[craft]
        below = np.clip(np.searchsorted(self._key, key, side="right") - 1, first, last)
        above = np.clip(np.searchsorted(self._key, key, side="left"), first, last)
        return below, above

    def _run_by(self, day: np.ndarray, below: np.ndarray, above: np.ndarray) -> np.ndarray:
        """Hours by each day, interpolated evenly between the knots around it."""
        gap = self._day[above] - self._day[below]
        share = np.where(gap > 0, (day - self._day[below]) / np.maximum(gap, 1), 0.0)
        run: np.ndarray = self._best[below] + share * (self._best[above] - self._best[below])
        return run


def follow_meters(readings: pd.DataFrame, season: Season, last_day: date) -> EngineHours:
    """Follow every craft's meter through its changes, from accepted rows of hours.csv in any order.

    `readings`: the contract's columns; `last_day`: no day after it will be asked about. Of several readings on a day
    the highest counts. A reading below an earlier one of the same meter is left out, with a remark.
    """
    craft, names = pd.factorize(readings["craft_id"].to_numpy(dtype=object), sort=True)
    craft_ids = pd.Index(names, dtype=object)
    order, segment, backwards = _in_order(readings, craft.astype(np.int64))
    craft, day = craft.astype(np.int64)[order], days_of(readings["read_on"])[order]
    meter = readings["meter"].to_numpy(dtype=float)[order]
    remarks = _backwards_remarks(craft_ids, craft, day, meter, backwards)
    keep = ~backwards & last_of_run(segment, day)  # of one meter's readings on one day the highest, which is last
    craft, day, meter, segment = craft[keep], day[keep], meter[keep], segment[keep]
    changes = MeterChanges.of(craft, segment, day, meter)
    low = meter + changes.offset(np.zeros(len(changes.craft)))[segment]
    since_last = np.where(first_of_run(segment), np.nan, np.diff(meter, prepend=0.0))
    usual = UsualUse.of(craft, day, since_last, SeasonDays(season, last_day), len(craft_ids))
    best, high = changes.estimates(usual)
    last = last_of_run(craft, day)
    knots = _Knots(
        craft_ids=craft_ids,
        craft=craft[last],
        day=day[last],
        low=low[last],
        best=(meter + changes.offset(best)[segment])[last],
        high=(meter + changes.offset(high)[segment])[last],
    )
    return EngineHours(knots, usual, (*remarks, *changes.remarks(craft_ids, best, high)))


@dataclass(frozen=True)
class _Knots:
    """The readings that count, as of one meter that goes on for ever."""

    craft_ids: pd.Index
    craft: np.ndarray  # place in craft_ids
    day: np.ndarray
    best: np.ndarray  # h
    low: np.ndarray  # h, if nothing ran while a meter was changed
    high: np.ndarray  # h, if as much as allowed ran then


def _in_order(readings: pd.DataFrame, craft: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row order by craft, day, old meter before new, meter; the number of each row's meter; which run backwards."""
    day = days_of(readings["read_on"])
    new = (readings["new_meter"] == "yes").to_numpy()
    meter = readings["meter"].to_numpy(dtype=float)
    order = np.lexsort((meter, new, day, craft))
    segment = np.cumsum(first_of_run(craft[order]) | new[order]) - 1
    highest = pd.Series(meter[order]).groupby(segment).cummax().to_numpy()
    return order, segment, meter[order] < highest


def _backwards_remarks(
    craft_ids: pd.Index, craft: np.ndarray, day: np.ndarray, meter: np.ndarray, backwards: np.ndarray
) -> list[Remark]:
    return [
        Remark(
            str(craft_ids[craft[row]]),
            DatedText(
                f"The meter of {craft_ids[craft[row]]} reads {meter[row]:g} h on ",
                date_of(day[row]),
                ", less than before: that reading is left out. If the meter was changed, enter new_meter = yes.",
            ),
        )
        for row in np.flatnonzero(backwards)
    ]

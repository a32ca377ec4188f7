"""What may have run where no meter reading tells: while a meter was changed, before the first reading, after the last.

Usual use is hours an in-season day times in-season days, plus hours an off-season day times the other days. The latter
rate comes from the craft's intervals without in-season days, the former from what that leaves of all its hours; a craft
with less than `SETTLED_DAYS` of either is given the fleet's rate. Where nobody read a meter twice in an off-season,
off-season days count like any day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.day_numbers import SeasonDays, date_of
from forecaster.lives import Remark
from forecaster.written_days import DatedText

SETTLED_DAYS = 14  # shorter logs do not tell a craft's usual use; common practice, no source
# In 20 simulated fleets of 12 craft asked in mid-season, what had run since the last reading was no more than once the
# usual use for 38 % of the running units (the peak is above the season's mean, and weeks differ), twice for 71 %.
MOST_TIMES_USUAL = 2.0


def first_of_run(*columns: np.ndarray) -> np.ndarray:
    """Where any of the sorted columns changes: True at the first row of each run."""
    first = np.zeros(len(columns[0]), dtype=bool)
    first[:1] = True
    for column in columns:
        first[1:] |= column[1:] != column[:-1]
    return first


def last_of_run(*columns: np.ndarray) -> np.ndarray:
    """The same with True at the last row of each run."""
    return np.append(first_of_run(*columns)[1:], True)[: len(columns[0])]


@dataclass(frozen=True)
class UsualUse:
    """Hours an in-season day and an off-season day of each craft, (n_craft + 1): the last is the fleet's."""

    a_season_day: np.ndarray
    an_off_day: np.ndarray
    season_days: SeasonDays

    @classmethod
    def of(cls, craft: np.ndarray, day: np.ndarray, run: np.ndarray, season_days: SeasonDays, n: int) -> UsualUse:
        """From readings of `n` craft in order of `craft` and `day`; `run`: hours since the reading before, h.

        NaN in `run` at the first reading of each meter.
        """
        told = np.flatnonzero(np.isfinite(run))
        craft, hours, days = craft[told], run[told], (day[told] - day[told - 1]).astype(float)
        in_season = season_days.between(day[told - 1], day[told]).astype(float)

        def total(of: np.ndarray, where: np.ndarray) -> np.ndarray:
            by_craft = np.bincount(craft[where], of[where], n)
            with_fleet: np.ndarray = np.append(by_craft, by_craft.sum())
            return with_fleet

        everywhere, off = np.ones(len(told), dtype=bool), in_season == 0
        all_hours, all_days, season = (total(of, everywhere) for of in (hours, days, in_season))
        off_days = total(days, off)
        an_off_day = _rate(total(hours, off), off_days, off_days >= SETTLED_DAYS)
        if off_days[-1] == 0:  # nothing is known of off-season running: as much as on any day
            an_off_day = _rate(all_hours, all_days, all_days >= SETTLED_DAYS)
        left = np.maximum(all_hours - an_off_day * (all_days - season), 0.0)
        return cls(_rate(left, season, season >= SETTLED_DAYS), an_off_day, season_days)

    def most(self, craft: np.ndarray, after: np.ndarray, until: np.ndarray) -> np.ndarray:
        """Hours that each craft runs at most between two days without a reading, (n,); `craft` -1: the fleet's rate."""
        in_season = self.season_days.between(after, until)
        usual = self.a_season_day[craft] * in_season + self.an_off_day[craft] * (until - after - in_season)
        most: np.ndarray = MOST_TIMES_USUAL * usual
        return most


def _rate(hours: np.ndarray, days: np.ndarray, settled: np.ndarray) -> np.ndarray:
    """Hours a day; the last one's, which is the fleet's, where there are not enough days; 0 where there are none."""
    rate = np.where(days > 0, hours / np.where(days > 0, days, 1.0), 0.0)
    settled_rate: np.ndarray = np.where(settled, rate, rate[-1])
    return settled_rate


@dataclass(frozen=True)
class MeterChanges:
    """Each time that a craft got a new meter, (m,) in order of craft and day; segments are the meters, numbered."""

    craft: np.ndarray
    segment: np.ndarray  # the new meter's
    from_day: np.ndarray  # last reading of the old meter
    to_day: np.ndarray  # first reading of the new one
    step: np.ndarray  # what to add to the new meter's readings so that they go on from the old one's, h
    rate: np.ndarray  # mean of the daily rates of the intervals either side, h a day; NaN where there is none
    craft_of_segment: np.ndarray

    @property
    def days(self) -> np.ndarray:
        """Days between the two readings."""
        days: np.ndarray = self.to_day - self.from_day
        return days

    @classmethod
    def of(cls, craft: np.ndarray, segment: np.ndarray, day: np.ndarray, meter: np.ndarray) -> MeterChanges:
        """From readings in order, one a segment and day."""
        starts = np.flatnonzero(first_of_run(segment))
        ends = np.append(starts[1:], len(segment)) - 1
        change = np.flatnonzero(~first_of_run(craft[starts]))
        old_start, old_end, new_start, new_end = starts[change - 1], ends[change - 1], starts[change], ends[change]

        def slope(first: np.ndarray, second: np.ndarray) -> np.ndarray:
            """Hours a day from one reading to the next; NaN where they are the same reading."""
            gap = np.where(second > first, day[second] - day[first], 1)
            return np.where(second > first, (meter[second] - meter[first]) / gap, np.nan)

        before = slope(np.maximum(old_end - 1, old_start), old_end)
        after = slope(new_start, np.minimum(new_start + 1, new_end))
        return cls(
            craft=craft[new_start],
            segment=change,
            from_day=day[old_end],
            to_day=day[new_start],
            step=meter[old_end] - meter[new_start],
            rate=np.where(np.isnan(before), after, np.where(np.isnan(after), before, (before + after) / 2)),
            craft_of_segment=craft[starts],
        )

    def offset(self, ran_between: np.ndarray) -> np.ndarray:
        """What to add to each segment's readings, (n_segments), if `ran_between` (m,) hours ran at each change."""
        steps = np.zeros(len(self.craft_of_segment))
        steps[self.segment] = self.step + ran_between
        offsets: np.ndarray = pd.Series(steps).groupby(self.craft_of_segment).cumsum().to_numpy()
        return offsets

    def estimates(self, usual: UsualUse) -> tuple[np.ndarray, np.ndarray]:
        """Hours that ran at each change: best estimate and most, (m,) each; the least is 0."""
        known = np.isfinite(self.rate)
        best = np.where(known, self.rate, 0.0) * self.days
        return best, np.where(known, MOST_TIMES_USUAL * best, usual.most(self.craft, self.from_day, self.to_day))

    def remarks(self, craft_ids: pd.Index, best: np.ndarray, high: np.ndarray) -> list[Remark]:
        """One for each change with days between the readings."""
        return [
            Remark(
                str(craft_ids[self.craft[i]]),
                DatedText(
                    f"The meter of {craft_ids[self.craft[i]]} was changed between ",
                    date_of(self.from_day[i]),
                    " and ",
                    date_of(self.to_day[i]),
                    f": what ran in {_in_days(int(self.days[i]))} is not recorded and taken as {best[i]:.1f} h (0 to "
                    f"{high[i]:.1f} h).",
                ),
            )
            for i in np.flatnonzero(self.days > 0)
        ]


def _in_days(days: int) -> str:
    return "that day" if days == 1 else f"those {days} days"

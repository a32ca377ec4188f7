"""Where each unit sat, and where its lives begin and end: fittings and openings joined in time, before any hours.

A unit's fittings are its periods on craft, its rebuild rows its openings. Of one day's events removal comes first, then
opening, then fitting. What an opening does:

- closed: nothing; the life goes on (``findings.ends_life`` has the one exception);
- rebuilt: the life ends. On the shelf, the next life begins at the next fitting: a renewed unit that was never fitted
  has no life yet. On a craft (people seldom write two fitting rows for a trip to the bench), the next life begins on
  that craft on the day of the opening;
- replaced or scrapped: the unit ends.

An opening some days after the removal belongs to the life that ended at the removal.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

import numpy as np
import pandas as pd

from forecaster.day_numbers import date_of, days_of
from forecaster.findings import ends_life, seen_at_opening
from forecaster.lives import Remark
from forecaster.records import FleetRecords
from forecaster.written_days import DatedText

ENDS_UNIT = ("replaced", "scrapped")
NEVER = np.iinfo(np.int64).max
PAPERWORK_DAYS = 7  # a scrapped unit whose removal is dated so much later is a slip of the pen, not a unit that ran


class Period(NamedTuple):
    """One row of fittings.csv."""

    unit_id: str
    craft_id: str
    fitted: int
    removed: int  # NEVER: still fitted
    hours_at_fitting: float  # NaN: not stated
    parts: str


class Opening(NamedTuple):
    """One row of rebuilds.csv, as far as it bears on lives."""

    unit_id: str
    day: int
    reason: str
    bearing: str
    outcome: str
    parts: str
    hours: float  # hours in the life as stated; NaN: not stated


@dataclass
class Stretch:
    """A life's time on one craft: from the evening of one day to the evening of another."""

    craft_id: str
    begin: int
    end: int
    still_on: bool = False  # it sits there on the last day, and the craft is not retired
    hours_at_fitting: float = np.nan  # as stated where the stretch begins with a fitting
    parts: str = "unknown"  # as stated there


@dataclass
class Life:
    """One life of a unit, in days; hours come later."""

    unit_id: str
    hours_at_entry: float
    parts: str
    renewed_on: int | None  # day of the opening that began it; None: begun by a first fitting
    stretches: list[Stretch]
    ended_on: int | None = None
    ended_by: str = ""
    seen: str = "alive"
    stated_hours: float = np.nan  # age at its end as stated by the opening


def follow_units(records: FleetRecords, as_of: int) -> tuple[list[Life], list[Remark]]:
    """The lives of all units by `as_of` (a day number), in order of unit_id, then time.

    `records` hold nothing later than that day (``hindsight``). Overlapping periods of a unit, which reading refuses,
    are cut at the next fitting.
    """
    retired = records.craft.dropna(subset=["retired_on"])
    retirement = dict(zip(retired["craft_id"], days_of(retired["retired_on"]).tolist(), strict=True))
    openings = {unit: list(rows) for unit, rows in groupby(_openings(records.rebuilds), attrgetter("unit_id"))}
    lives: list[Life] = []
    remarks: list[Remark] = []
    fitted_units = set()
    for unit_id, periods in groupby(_periods(records.fittings), attrgetter("unit_id")):
        path = _UnitPath(unit_id, retirement, as_of)
        path.follow(list(periods), openings.get(unit_id, []))
        lives.extend(path.lives)
        remarks.extend(path.remarks)
        fitted_units.add(unit_id)
    for unit_id in openings.keys() - fitted_units:
        first = openings[unit_id][0].day
        text = " but never fitted in the record: it teaches nothing. Add the rows of where it sat to fittings.csv."
        remarks.append(Remark(unit_id, DatedText(f"{unit_id} was opened on ", date_of(first), text)))
    return lives, remarks


def _periods(fittings: pd.DataFrame) -> Iterator[Period]:
    rows = fittings.sort_values(["unit_id", "fitted_on", "removed_on", "craft_id"], kind="stable")
    removed = np.where(rows["removed_on"].isna(), NEVER, days_of(rows["removed_on"].fillna(rows["fitted_on"])))
    columns: list[Iterable[object]] = [rows["unit_id"], rows["craft_id"], days_of(rows["fitted_on"]).tolist()]
    columns += [removed.tolist(), rows["hours_at_fitting"].tolist(), rows["parts"]]
    return (Period(*cells) for cells in zip(*columns, strict=True))


def _openings(rebuilds: pd.DataFrame) -> Iterator[Opening]:
    """Rows by unit and day; on one day a unit that was closed again comes before one whose life ended."""
    columns = ["reason", "bearing", "outcome", "parts", "hours"]
    rows = rebuilds.assign(ends=rebuilds["outcome"] != "closed")
    rows = rows.sort_values(["unit_id", "opened_on", "ends", *columns], kind="stable")
    days = days_of(rows["opened_on"]).tolist()
    cells = zip(rows["unit_id"], days, *(rows[name].tolist() for name in columns), strict=True)
    return (Opening(*row) for row in cells)


class _UnitPath:
    """One unit followed through its periods and openings."""

    def __init__(self, unit_id: str, retirement: dict[str, int], as_of: int) -> None:
        self.unit_id, self.retirement, self.as_of = unit_id, retirement, as_of
        self.lives: list[Life] = []
        self.remarks: list[Remark] = []
        self._life: Life | None = None  # the one that goes on
        self._renewal: Opening | None = None  # the opening since which no life has begun
        self._gone: Opening | None = None  # the opening at which the unit ended

    def follow(self, periods: list[Period], openings: list[Opening]) -> None:
        """Take all events in order of time."""
        waiting = list(reversed(openings))
        for number, period in enumerate(periods):
            following = periods[number + 1].fitted if number + 1 < len(periods) else NEVER
            if following < period.removed:
                self._remark(
                    f"was fitted to {periods[number + 1].craft_id} on ",
                    date_of(following),
                    f" while its period on {period.craft_id} had not ended: that period is taken to end there. Enter "
                    "removed_on.",
                )
                period = period._replace(removed=following)
            while waiting and waiting[-1].day <= period.fitted:
                self._open_on_shelf(waiting.pop())
            if self._gone is not None:
                self._remark(
                    f"is entered as {self._gone.outcome} on ",
                    date_of(self._gone.day),
                    f", yet fitted to {period.craft_id} on ",
                    date_of(period.fitted),
                    ": that fitting counts for no life. If it is another unit, give it a unit_id of its own.",
                )
                continue
            leaves, still_on = self._leaves(period)
            self._fit(period, leaves, still_on)
            while waiting and (still_on or waiting[-1].day < leaves):
                self._open_on_craft(waiting.pop(), period, leaves, still_on)
        for opening in reversed(waiting):
            self._open_on_shelf(opening)

    def _leaves(self, period: Period) -> tuple[int, bool]:
        """The day that the unit stops running on this craft, and whether it still sits on it, in service."""
        retired = self.retirement.get(period.craft_id, NEVER)
        if retired < period.fitted:
            self._remark(
                f"was fitted to {period.craft_id} on ",
                date_of(period.fitted),
                ", after that craft was retired on ",
                date_of(retired),
                ". Correct one of the dates.",
            )
        end = min(period.removed, max(retired, period.fitted))
        return min(end, self.as_of), end == NEVER

    def _fit(self, period: Period, leaves: int, still_on: bool) -> None:
        stated = period.hours_at_fitting
        stretch = Stretch(period.craft_id, period.fitted, leaves, still_on, stated, period.parts)
        if self._life is None:
            self._begin(stretch, stated if np.isfinite(stated) or self._renewal is None else _age_after(self._renewal))
            return
        last = self._life.stretches[-1]
        goes_on = last.craft_id == period.craft_id and last.end == period.fitted
        if goes_on and np.isnan(stated):  # one stretch that was written in two rows
            last.end, last.still_on = leaves, still_on
            last.parts = period.parts if last.parts == "unknown" else last.parts
        else:
            last.still_on = False
            self._life.stretches.append(stretch)

    def _begin(self, stretch: Stretch, hours_at_entry: float) -> None:
        renewal, self._renewal = self._renewal, None
        parts = "unknown"
        if renewal is not None and renewal.outcome == "rebuilt":
            parts = renewal.parts
            if hours_at_entry > 0:
                self._remark(
                    "was rebuilt on ",
                    date_of(renewal.day),
                    f", yet fitted to {stretch.craft_id} on ",
                    date_of(stretch.begin),
                    f" with {hours_at_entry:g} h: taken to have run elsewhere.",
                )
        renewed_on = None if renewal is None else renewal.day
        self._life = Life(self.unit_id, hours_at_entry, parts, renewed_on, [stretch])
        self.lives.append(self._life)

    def _open_on_shelf(self, opening: Opening) -> None:
        if not ends_life(opening.outcome, opening.bearing):
            return  # a look, not an end
        if self._gone is not None:
            self._remark(
                f"is entered as {self._gone.outcome} on ",
                date_of(self._gone.day),
                ", yet opened on ",
                date_of(opening.day),
                ": that row counts for no life.",
            )
            return
        if self._life is None:
            since = "before its first fitting" if not self.lives else "without having been fitted again"
            self._remark(
                "was opened on ",
                date_of(opening.day),
                f" {since}: where it had run is not recorded, so the finding teaches nothing.",
            )
        else:
            self._end(opening)
        self._life, self._renewal = None, opening
        self._gone = opening if opening.outcome in ENDS_UNIT else None

    def _open_on_craft(self, opening: Opening, period: Period, leaves: int, still_on: bool) -> None:
        if not ends_life(opening.outcome, opening.bearing):
            return  # a look, not an end
        if self._life is None:
            self._open_on_shelf(opening)
            return
        stretch = self._life.stretches[-1]
        stretch.end, stretch.still_on = opening.day, False
        self._end(opening)
        self._life, self._renewal = None, opening
        if opening.outcome in ENDS_UNIT:
            self._gone = opening
            if still_on or leaves - opening.day > PAPERWORK_DAYS:
                self._remark(
                    f"is entered as {opening.outcome} on ",
                    date_of(opening.day),
                    f", yet sat on {period.craft_id} after that day: what that craft ran since counts for no life. "
                    "Enter removed_on, and the unit that took its place.",
                )
            return
        self._begin(Stretch(period.craft_id, opening.day, leaves, still_on), _age_after(opening))

    def _end(self, opening: Opening) -> None:
        assert self._life is not None
        life = self._life
        life.ended_on, life.ended_by = opening.day, opening.reason
        life.seen = seen_at_opening(opening.reason, opening.bearing)
        life.stated_hours = opening.hours
        when = date_of(opening.day)
        if opening.reason == "failure" and opening.bearing == "sound":
            self._remark(
                "was opened on ",
                when,
                " after a failure, but its bearing was sound: it failed for some other cause, and counts as sound.",
            )
        if opening.outcome == "closed":
            self._remark(
                "was found failed on ",
                when,
                ", yet entered as closed: a failed bearing cannot run on. Its life is taken to end there, and what ran "
                "afterwards is a life of unknown starting age. Mend bearing or outcome.",
            )

    def _remark(self, *told: str | date) -> None:
        self.remarks.append(Remark(self.unit_id, DatedText(f"{self.unit_id} ", *told)))


def _age_after(opening: Opening) -> float:
    return 0.0 if opening.outcome == "rebuilt" else np.nan

"""The days of an off-season's work: when it may begin, by when it must be done, in which weeks the bench is open."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from forecaster.craft_weeks import HORIZON_WEEKS
from forecaster.errors import WrongUsage
from forecaster.plan_problem import WEEK
from forecaster.ranges import refuse_day
from forecaster.settings import Season
from forecaster.written_days import DatedText

LATER_WEEKS = 4  # after the day to be ready: shown so that work put too late can be said what it costs


@dataclass(frozen=True)
class OffSeason:
    """The days of one off-season's work: from a day, to be ready by another, before the season opens."""

    begins: date
    ready_by: date
    season_opens: date

    @property
    def weeks(self) -> tuple[date, ...]:
        """The Mondays of its whole weeks. Raises WrongUsage where there is none."""
        return tuple(mondays(self))


def off_season_days(season: Season, as_of: date, begins: date | None = None, ready_by: date | None = None) -> OffSeason:
    """The off-season to plan: the one we are in, or else the next. Raises WrongUsage for days out of order."""
    refuse_day(as_of)
    for day in (begins, ready_by):
        if day is not None:
            refuse_day(day, "A day of the plan")
    start = begins or as_of
    if begins is None and season.contains(as_of):
        start = season.current_or_next(as_of)[1] + timedelta(days=1)
    opens = season.current_or_next(start)[0]
    if opens <= start:
        opens = season.current_or_next(season.current_or_next(start)[1] + timedelta(days=1))[0]
    ready = ready_by or opens
    last = as_of + timedelta(weeks=HORIZON_WEEKS - 1)
    if not as_of <= start < ready <= last:
        raise WrongUsage(
            DatedText(
                "The work must begin on or after ",
                as_of,
                ", be ready later than it begins and by ",
                last,
                "; it is to begin on ",
                start,
                " and be ready by ",
                ready,
                ".",
            )
        )
    return OffSeason(start, ready, opens)


def monday_of(day: date) -> date:
    """The Monday that names a day's week."""
    return day - timedelta(days=day.weekday())


def mondays(days: OffSeason) -> list[date]:
    """Mondays from the first one on or after the beginning, whose week is over by the day to be ready.

    Raises WrongUsage where there is none.
    """
    first = days.begins + timedelta(days=(-days.begins.weekday()) % 7)
    found = []
    while first + WEEK <= days.ready_by:
        found.append(first)
        first += WEEK
    if not found:
        raise WrongUsage(
            DatedText("No whole week lies between ", days.begins, " and ", days.ready_by, ": give the work more time.")
        )
    return found


def season_weeks(opens: date, season: Season) -> list[date]:
    """The Mondays of all weeks that hold a day of the season that opens on a day."""
    first, last = monday_of(opens), monday_of(season.close_of(opens))
    return [first + k * WEEK for k in range((last - first).days // 7 + 1)]


def open_weeks(weeks: Collection[date], closed: Collection[date]) -> list[bool]:
    """For each week whether the bench is open: not those that hold a day of `closed`.

    Raises WrongUsage where none is.
    """
    shut = {monday_of(day) for day in closed}
    if shut.issuperset(weeks):
        raise WrongUsage("The bench is closed in every week of the plan: open one, or give the work more time.")
    return [monday not in shut for monday in weeks]


def later_weeks(weeks: list[date], as_of: date) -> tuple[date, ...]:
    """The Mondays after the last week of the plan, at most `LATER_WEEKS`, before the horizon."""
    last = as_of + timedelta(weeks=HORIZON_WEEKS - 1)
    return tuple(day for k in range(1, LATER_WEEKS + 1) if (day := weeks[-1] + k * WEEK) <= last)


def week_ahead(as_of: date, day: date) -> int:
    """Which week from `as_of` holds a day: the first is 0; kept within the horizon."""
    return min(max((day - as_of).days // 7, 0), HORIZON_WEEKS - 1)

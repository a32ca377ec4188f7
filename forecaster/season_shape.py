"""How a rental fleet's engine hours are spread over the year: one shape for all craft, from irregular readings.

The intensity of a day d, in engine hours of an average craft, is exp(x(d)'β). In season x(d) is a constant and two
harmonics of the year, off-season a constant of its own; the season's days are those of fleet.toml. What is seen are
not days but meter readings, whose differences are *sums* of daily intensities over irregular stretches that may
span a season's edge. Their mean is therefore the integral of the intensity over the stretch,

    mean of stretch i = e_i ∫ exp(x(d)'β) dd,     e_i the level of the craft times that of the season,

fitted as quasi-Poisson (``forecaster.summed_rates``). Putting each stretch at its middle day instead smears the
season's edges. Measured without chance, mean error of a week's hours (5.8 h in season):
0.02 h however far apart the readings are, beside 0.05, 0.2, 0.4 and 0.9 h for readings every 7, 30, 60 and 120 days.

Stretches between the same two days are summed over craft first, which loses nothing in this model, so that thousands
of craft cost little more than a few.

Few readings, or a season not yet seen to its end, cannot tell the whole shape. A weak prior stands behind it as data
(Bedrick, Christensen & Johnson 1996, JASA 91, 1450-1460): `PRIOR_CRAFT_YEARS` craft-years of the default shape, at the
level of the fleet's own readings.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np
import pandas as pd

from forecaster.lives import Remark
from forecaster.meters import HOURS_OF_A_DAY
from forecaster.records import FleetRecords
from forecaster.settings import Season
from forecaster.summed_rates import Observed, fit_rates, integral
from forecaster.written_days import DatedText

# The default, where a fleet has no readings. Common practice, no source: round figures for a rental craft.
DEFAULT_SEASON_HOURS = 120.0  # engine hours of a craft in a whole season
DEFAULT_PEAK = 2.0  # a day in mid-season has so many times the hours of a day at its edges
DEFAULT_OFF_SEASON = 0.01  # hours of an off-season day, as a share of an average in-season day's
PRIOR_CRAFT_YEARS = 1.0  # how much the default shape weighs

HARMONICS = 2
DAYS_A_HARMONIC = 40  # a season needs so many days for each: in a shorter one a constant and a curve look alike
DAYS_A_YEAR = 365.25
DAYS_OF_FOUR_YEARS = 1461


def engine_hours_between_readings(records: FleetRecords, as_of: date) -> tuple[pd.DataFrame, list[Remark]]:
    """What each craft ran between neighbouring readings of one meter, and remarks about what could not be used.

    Columns: ``craft_id``; ``after``, ``until`` (ordinals of days; the hours were run after the one and up to and
    including the other, since a reading comes at the end of its day); ``hours``. Readings dated after `as_of` are not
    looked at. Hours between an old meter's last and a new meter's first reading are unknown: no stretch. Of several
    readings on one day the highest counts.
    """
    known = records.hours[records.hours["read_on"] <= pd.Timestamp(as_of)]
    sorted_ = known.assign(new=known["new_meter"] == "yes").sort_values(["craft_id", "read_on", "new", "meter"])
    craft = pd.factorize(sorted_["craft_id"])[0]
    day = sorted_["read_on"].to_numpy().astype("datetime64[D]").astype(np.int64) + date(1970, 1, 1).toordinal()
    run = np.cumsum((np.diff(craft, prepend=-1) != 0) | sorted_["new"].to_numpy())
    last_of_day = np.append((np.diff(day) != 0) | (np.diff(run) != 0), True)[: len(day)]
    kept = sorted_[last_of_day]
    same_meter = np.diff(run[last_of_day]) == 0 if len(kept) else np.zeros(0, dtype=bool)
    days, meters = day[last_of_day], kept["meter"].to_numpy(dtype=float)
    stretches = pd.DataFrame(
        {
            "craft_id": kept["craft_id"].to_numpy()[1:][same_meter],
            "after": days[:-1][same_meter],
            "until": days[1:][same_meter],
            "hours": np.round(np.diff(meters)[same_meter], 6),
        }
    )
    impossible = (stretches["hours"] < 0) | (
        stretches["hours"] > HOURS_OF_A_DAY * (stretches["until"] - stretches["after"] + 1)
    )
    left_out = stretches[impossible]
    remarks = [
        Remark(
            craft_id,
            DatedText(
                f"{craft_id}: {hours:g} h between the readings of ",
                date.fromordinal(after),
                " and ",
                date.fromordinal(until),
                " cannot be; that stretch is left out of the hours ahead. Mend the readings in hours.csv.",
            ),
        )
        for craft_id, after, until, hours in zip(*(left_out[name].tolist() for name in stretches), strict=True)
    ]
    return stretches[~impossible].reset_index(drop=True), remarks


@dataclass(frozen=True)
class Calendar:
    """Days in a row from ``first`` (an ordinal): whether each is in season, and which season it belongs to.

    ``season_of`` is the year in which the latest season opened: an off-season belongs to the season before it.
    """

    first: int
    in_season: np.ndarray  # (days,)
    season_of: np.ndarray  # (days,)
    design: np.ndarray  # (days, terms): in-season constant and harmonics, off-season constant

    @classmethod
    def of(cls, season: Season, first: int, last: int) -> Calendar:
        """The days from `first` to `last`, both included."""
        days = np.arange(first, last + 1)
        in_season = np.zeros(len(days), dtype=bool)
        season_of = np.zeros(len(days), dtype=np.int64)
        for year in range(date.fromordinal(first).year - 2, date.fromordinal(last).year + 1):
            opening = season.opening_in(year)
            opens, closes = opening.toordinal(), season.close_of(opening).toordinal()
            in_season[max(opens - first, 0) : max(closes + 1 - first, 0)] = True
            season_of[max(opens - first, 0) :] = year
        angle = 2.0 * np.pi * (days % DAYS_OF_FOUR_YEARS) / DAYS_A_YEAR  # the same to the last bit in other centuries
        columns = [np.ones(len(days))]
        opening = season.opening_in(2025)
        length = (season.close_of(opening) - opening).days + 1
        for k in range(1, HARMONICS + 1):
            tells = float(length >= k * DAYS_A_HARMONIC)
            columns += [tells * np.cos(k * angle), tells * np.sin(k * angle)]
        design = np.column_stack([*(column * in_season for column in columns), 1.0 - in_season])
        return cls(first, in_season, season_of, design)


@dataclass(frozen=True)
class SeasonShape:
    """The fitted spread of engine hours over the year.

    ``coefficients`` (terms,) of `Calendar.design` on the log scale; ``covariance`` (terms, terms) of them for a
    dispersion of 1 h: times the dispersion it is theirs. ``stretches``: how many stand behind it; 0 is the default.
    ``settled``: False where the search for them did not come to rest.
    """

    season: Season
    coefficients: np.ndarray
    covariance: np.ndarray
    stretches: int = 0
    settled: bool = True

    def intensity(self, calendar: Calendar, coefficients: np.ndarray | None = None) -> np.ndarray:
        """Engine hours of an average craft on each day, (days,); for coefficients (n, terms) it is (n, days)."""
        beta = self.coefficients if coefficients is None else coefficients
        return np.asarray(np.exp(beta @ calendar.design.T))

    def year_hours(self) -> float:
        """Engine hours of an average craft over one year, at the shape's own level."""
        return float(self.intensity(_reference_year(self.season)).sum())


@lru_cache(maxsize=8)
def default_shape(season: Season) -> SeasonShape:
    """The documented default: `DEFAULT_SEASON_HOURS` a season, most in its middle, next to none off-season."""
    year = _reference_year(season)
    hours = _default_intensity(season, year)
    start = np.zeros(year.design.shape[1])
    start[[0, -1]] = np.log([hours[year.in_season].mean(), DEFAULT_OFF_SEASON])
    fitted = fit_rates([_by_day(year, 1.0, hours)], start)
    return SeasonShape(season, fitted.coefficients, fitted.covariance)


def fit_shape(
    start: SeasonShape, stretches: pd.DataFrame, level: np.ndarray, season_level: dict[int, float]
) -> SeasonShape:
    """The shape behind `stretches` (as `engine_hours_between_readings` gives them), given levels.

    `level` (n,): of each stretch's craft, 1 the average; `season_level`: of each season, by its opening year. `start`
    is where the search begins.
    """
    season = start.season
    calendar = Calendar.of(season, int(stretches["after"].min()) + 1, int(stretches["until"].max()))
    of_season = np.array([season_level.get(int(year), 1.0) for year in calendar.season_of])
    begins, ends, exposure, hours = _summed_over_craft(stretches, level, calendar.first)
    year = _reference_year(season)
    default = _default_intensity(season, year)
    supposed = integral(_flat(default, year, calendar) * of_season, begins, ends) * exposure
    prior = PRIOR_CRAFT_YEARS * default * _drawn_to_1(hours.sum(), supposed.sum())
    read = Observed(calendar.design, of_season, begins, ends, exposure, hours)
    fitted = fit_rates([read, _by_day(year, PRIOR_CRAFT_YEARS, prior)], start.coefficients)
    return SeasonShape(season, fitted.coefficients, fitted.covariance, len(stretches), fitted.settled)


def _by_day(year: Calendar, craft_years: float, hours: np.ndarray) -> Observed:
    """`hours` (days,) as if read every day, from so many craft."""
    days = np.arange(len(hours))
    return Observed(year.design, np.ones(len(hours)), days, days + 1, np.full(len(hours), craft_years), hours)


def _reference_year(season: Season) -> Calendar:
    opening = season.opening_in(2025).toordinal()  # any year: the shape is the same in all
    return Calendar.of(season, opening, opening + 364)


def _default_intensity(season: Season, year: Calendar) -> np.ndarray:
    """The default's hours on each day of the reference year, which begins with an opening."""
    n_days = int(year.in_season.sum())
    phase = (np.arange(len(year.in_season)) + 0.5) / n_days
    hump = DEFAULT_PEAK ** (0.5 * (1.0 - np.cos(2.0 * np.pi * phase)))
    share = np.where(year.in_season, hump / hump[year.in_season].mean(), DEFAULT_OFF_SEASON)
    return np.asarray(share * DEFAULT_SEASON_HOURS / n_days)


def _flat(default: np.ndarray, year: Calendar, calendar: Calendar) -> np.ndarray:
    """The default's average in-season or off-season hours on each day of another calendar."""
    off_season = default[~year.in_season]
    return np.where(calendar.in_season, default[year.in_season].mean(), off_season.mean() if len(off_season) else 0.0)


def _drawn_to_1(hours: float, supposed: float) -> float:
    """What the fleet ran beside what the default supposes, drawn to 1 by the prior's craft-years."""
    weight = PRIOR_CRAFT_YEARS * DEFAULT_SEASON_HOURS
    return (hours + weight) / (supposed + weight)


def _summed_over_craft(
    stretches: pd.DataFrame, level: np.ndarray, first: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Stretches between the same two days added up: days (counted from `first`), summed levels, summed hours."""
    begins, ends = stretches["after"].to_numpy() + 1 - first, stretches["until"].to_numpy() + 1 - first
    pairs, which = np.unique(begins * (ends.max() + 1) + ends, return_inverse=True)
    summed = np.bincount(which, level), np.bincount(which, stretches["hours"].to_numpy())
    return pairs // (ends.max() + 1), pairs % (ends.max() + 1), *summed

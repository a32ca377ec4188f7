"""What an invented rental fleet does whatever its bearings do: craft, engine hours a day, water, meter days.

All of it is drawn before the seasons are played, from streams of its own, so that two policies for the same seed meet
the same customers and the same swampings. Names, places and figures are invented; common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from forecaster.settings import Season
from forecaster.worlds import Treatment

HOURS_A_SEASON = 176.0  # engine hours a craft-season before time off the water
CRAFT_SPREAD = 0.16  # sd of the log of a craft's level
WEEK_SHAPE = 4.0  # gamma shape of a craft's week: overdispersed, about half its mean
MOST_HOURS_A_DAY = 9.0
INCIDENTS_A_SEASON = 0.55  # a craft-season; some fall on days off the water and then do not happen
DAY_WEIGHTS = np.array([0.7, 0.6, 0.7, 0.8, 1.1, 1.8, 1.6])  # Monday to Sunday
PREPARES_DAYS = 45  # units are fitted, and the record begins, in the weeks before the first opening

# name, share of the fleet, water, owner. Invented; owners are not real firms.
BASES = (
    ("North Pier", 0.50, "salt", "Quillfeather Water Hire"),
    ("Lagoon", 0.30, "brackish", "Pellan Reach Boats"),
    ("Upper Lake", 0.20, "fresh", "Old Mole Boathouse"),
)
KINDS = ("swamped", "capsized", "submerged", "leak", "ingestion")
KIND_SHARES = np.array([0.34, 0.26, 0.08, 0.14, 0.18])
TREATMENT_SHARES = {"prompt": 0.53, "late": 0.18, "none": 0.29}
MILKY_SHARE = {"prompt": 0.45, "late": 0.40, "none": 0.25}  # milky oil gets noticed and treated more often
OIL_WATER_PPM = (20.0, 500.0)  # log-uniform about 100 ppm, whatever the treatment: what got into the oil


@dataclass(frozen=True)
class InventedCraft:
    """One craft as it truly is; what people wrote down of it is another matter."""

    craft_id: str
    name: str
    base: str
    owner: str
    water: str
    tuned: bool
    model_year: int
    cooling: str
    catch_can: str
    day_rate: float
    in_service_on: int  # ordinals of days
    retired_on: int | None
    first_meter: float
    meter_changed_on: int | None

    @property
    def salt(self) -> float:
        """Share of salt in its water: brackish counts half."""
        return {"salt": 1.0, "brackish": 0.5}.get(self.water, 0.0)


@dataclass(frozen=True)
class WaterIncident:
    """Water got in, at the end of that day's ride."""

    kind: str
    treatment: Treatment
    treated_within_h: float  # clock hours; NaN not treated
    oil: str
    oil_water_ppm: float  # what a laboratory would find


@dataclass(frozen=True)
class Operations:
    """All that is fixed before a policy decides anything. Days are ordinals, arrays (n_craft, n_days)."""

    craft: tuple[InventedCraft, ...]
    seasons: tuple[tuple[int, int], ...]  # opening and last day
    first_day: int
    last_day: int
    wanted_hours: np.ndarray  # engine hours customers would run, h a day
    incidents: dict[tuple[int, int], WaterIncident] = field(default_factory=dict)  # by craft number and day
    reading_days: tuple[frozenset[int], ...] = ()  # by craft number: days on which the meter gets read anyway

    def in_season(self, day: int) -> bool:
        """Whether that day is in season."""
        return any(opening <= day <= close for opening, close in self.seasons)


def draw_operations(
    n_craft: int,
    n_seasons: int,
    first_year: int,
    season: Season,
    rngs: tuple[np.random.Generator, ...],
    hours_a_season: float = HOURS_A_SEASON,
    season_spread: float = 0.0,
) -> Operations:
    """Operations of an invented fleet; `rngs`: streams for craft, usage, water, meter days.

    `season_spread`: sd of the log of what customers want of all craft in one season, beside the usual.
    """
    openings = [season.opening_in(first_year + i) for i in range(n_seasons)]
    seasons = tuple((opening.toordinal(), season.close_of(opening).toordinal()) for opening in openings)
    first_day = seasons[0][0] - PREPARES_DAYS
    last_day = _end_of_month_after(seasons[-1][1])
    craft = _draw_craft(n_craft, seasons, first_day, rngs[0])
    hours = _draw_hours(craft, seasons, first_day, last_day, rngs[1], hours_a_season)
    levels = np.exp(season_spread * rngs[1].standard_normal(len(seasons)) - season_spread**2 / 2)
    for (opening, close), level in zip(seasons, levels, strict=True):
        days = slice(opening - first_day, close + 1 - first_day)
        hours[:, days] = np.minimum(hours[:, days] * level, MOST_HOURS_A_DAY)
    return Operations(
        craft=craft,
        seasons=seasons,
        first_day=first_day,
        last_day=last_day,
        wanted_hours=hours,
        incidents=_draw_incidents(craft, seasons, first_day, hours, rngs[2]),
        reading_days=_draw_reading_days(craft, seasons, last_day, rngs[3]),
    )


def _end_of_month_after(close: int) -> int:
    """The last day of the month of the close, but leave the bench at least two weeks."""
    day = date.fromordinal(close + 14)
    following = date(day.year + day.month // 12, day.month % 12 + 1, 1)
    return following.toordinal() - 1


def _draw_craft(
    n_craft: int, seasons: tuple[tuple[int, int], ...], first_day: int, rng: np.random.Generator
) -> tuple[InventedCraft, ...]:
    """Bases in blocks; in a fleet of several seasons the last craft joins in season 2 and one retires after it."""
    ends = np.cumsum([share for _, share, _, _ in BASES]) * n_craft
    base_of = [int(np.searchsorted(ends, i + 0.5)) for i in range(n_craft)]
    several = n_craft >= 4 and len(seasons) >= 2
    joins = n_craft - 1 if several else None
    retires = n_craft // 3 if several else None
    changed = {n_craft // 2, n_craft // 5} if n_craft >= 12 else {n_craft // 2} if n_craft >= 3 else set()
    draws = rng.random((n_craft, 8))
    craft = []
    for i, draw in enumerate(draws):
        name, _, water, owner = BASES[min(base_of[i], len(BASES) - 1)]
        changes_in = seasons[1 if i == n_craft // 2 and len(seasons) > 1 else 0]
        craft.append(
            InventedCraft(
                craft_id=f"C{i + 1:03d}",
                name=f"{name} {1 + sum(b == base_of[i] for b in base_of[:i])}",
                base=name,
                owner=owner,
                water=water,
                tuned=bool(draw[0] < 0.18),
                model_year=date.fromordinal(first_day).year - 1 - int(5 * draw[1]),
                cooling="closed" if draw[2] < 0.4 else "open",
                catch_can="yes" if draw[3] < 0.35 else "no",
                day_rate=float(5 * round(62 + 16 * draw[4])),
                in_service_on=seasons[1][0] - 20 if i == joins else first_day + int(12 * draw[5]),
                retired_on=seasons[1][1] + 12 if i == retires else None,
                first_meter=0.0 if i == joins else round(40 + 360 * float(draw[6]), 1),
                meter_changed_on=changes_in[0] + 40 + int(70 * draw[7]) if i in changed and i != joins else None,
            )
        )
    return tuple(craft)


def _draw_hours(
    craft: tuple[InventedCraft, ...],
    seasons: tuple[tuple[int, int], ...],
    first_day: int,
    last_day: int,
    rng: np.random.Generator,
    hours_a_season: float,
) -> np.ndarray:
    """Engine hours a day: a seasonal hump, a level per craft, gamma weeks, busy week-ends, none off-season."""
    hours = np.zeros((len(craft), last_day - first_day + 1))
    level = np.exp(CRAFT_SPREAD * rng.standard_normal(len(craft)) - CRAFT_SPREAD**2 / 2)
    for opening, close in seasons:
        days = np.arange(opening, close + 1)
        n_weeks = -(-len(days) // 7)
        week = (days - opening) // 7
        middle = 0.52 * n_weeks  # late July
        hump = 0.35 + np.exp(-(((np.arange(n_weeks) - middle) / (0.27 * n_weeks)) ** 2))
        weekly = rng.standard_gamma(WEEK_SHAPE, (len(craft), n_weeks)) / WEEK_SHAPE * (hump / hump.mean())
        daily = rng.standard_gamma(1.2, (len(craft), len(days))) * DAY_WEIGHTS[(days - 1) % 7]
        in_week = np.add.reduceat(daily, np.arange(0, len(days), 7), axis=1)
        wanted = weekly[:, week] * daily / in_week[:, week] * level[:, None] * hours_a_season / n_weeks
        wanted[wanted < 0.15] = 0.0
        hours[:, days - first_day] = np.minimum(wanted, MOST_HOURS_A_DAY)
    for i, one in enumerate(craft):
        hours[i, : max(0, one.in_service_on - first_day + 1)] = 0.0
        if one.retired_on is not None:
            hours[i, one.retired_on - first_day :] = 0.0
        if one.meter_changed_on is not None:
            hours[i, one.meter_changed_on + 1 - first_day] = 0.0  # the day the new meter goes in
    return hours


def _draw_incidents(
    craft: tuple[InventedCraft, ...],
    seasons: tuple[tuple[int, int], ...],
    first_day: int,
    hours: np.ndarray,
    rng: np.random.Generator,
) -> dict[tuple[int, int], WaterIncident]:
    """Water incidents on days that were ridden, the likelier the more was ridden; at most one a craft and day."""
    counts = rng.poisson(INCIDENTS_A_SEASON, (len(craft), len(seasons)))
    incidents: dict[tuple[int, int], WaterIncident] = {}
    treatments = tuple(TREATMENT_SHARES)
    least, most = OIL_WATER_PPM
    for number, season in zip(*np.nonzero(counts), strict=True):
        opening, close = seasons[season]
        ridden = np.cumsum(hours[number, opening - first_day : close + 1 - first_day])
        for draw in rng.random((counts[number, season], 6)):
            if ridden[-1] <= 0:
                continue
            day = opening + int(np.searchsorted(ridden, draw[0] * ridden[-1], side="right"))
            treatment = treatments[_which(np.array(list(TREATMENT_SHARES.values())), draw[2])]
            within = {"prompt": 1 + 17 * draw[4] ** 2, "late": 30 + 130 * draw[4] ** 2, "none": np.nan}[treatment]
            incidents[int(number), day] = WaterIncident(
                kind=KINDS[_which(KIND_SHARES, draw[1])],
                treatment=treatment,  # type: ignore[arg-type]
                treated_within_h=float(np.round(within)),
                oil="milky" if draw[3] < MILKY_SHARE[treatment] else "clear",
                oil_water_ppm=float(5 * np.round(least * (most / least) ** draw[5] / 5)),
            )
    return incidents


def _which(shares: np.ndarray, draw: float) -> int:
    return min(int(np.searchsorted(np.cumsum(shares), draw * shares.sum(), side="right")), len(shares) - 1)


def _draw_reading_days(
    craft: tuple[InventedCraft, ...],
    seasons: tuple[tuple[int, int], ...],
    last_day: int,
    rng: np.random.Generator,
) -> tuple[frozenset[int], ...]:
    """Days of meter readings: about weekly in season with gaps, one before the opening, one after the close."""
    days: list[frozenset[int]] = []
    weekday = {base: int(7 * draw) for (base, *_), draw in zip(BASES, rng.random(len(BASES)), strict=True)}
    for one in craft:
        chosen: set[int] = set()
        for opening, close in seasons:
            n_weeks = -(-(close - opening) // 7)
            draws = rng.random((n_weeks + 1, 2))
            before, after = draws[-1]
            chosen |= {opening - 1 - int(12 * before), close + 1 + int(11 * after)}
            for i, (skips, late) in enumerate(draws[:-1]):
                if skips > 0.13:
                    chosen.add(opening + 7 * i + weekday[one.base] + (int(3 * late) if late < 0.9 else 0))
        if one.meter_changed_on is not None:
            chosen |= {one.meter_changed_on, one.meter_changed_on + 1}
        end = one.retired_on if one.retired_on is not None else last_day
        days.append(frozenset(day for day in chosen if one.in_service_on <= day <= end))
    return tuple(days)

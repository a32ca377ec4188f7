"""No fleet is refused for its meter readings: hours ahead of drawn fleets of every kind that reading accepts.

Each fleet has 1 to 60 craft, 1 to 6 seasons and a season of its own: the usual, short, of a few days, the whole year,
or over the year's turn; its craft are read weekly, at odd days, daily, once a year, or once and never again. Some
fleets never ran an hour, some ran only out of season or day and night, some have a reading a hundred times too large
or as large as reading lets pass, changed meters, readings of craft that nobody knows, craft that came late or went.
Asked on a drawn day, every number must be finite, no expected week below 0, and every interval in order.

    python -m tests.usage_study --fleets 2000
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecaster.craft_weeks import HORIZON_WEEKS
from forecaster.meters import HOURS_OF_A_DAY
from forecaster.records import FleetRecords, empty_frame
from forecaster.season_shape import Calendar
from forecaster.settings import FleetSettings, Season
from forecaster.usage_forecast import forecast_usage

SEASONS = {
    "usual": Season(),
    "short": Season(opens="07-01", closes="08-20"),
    "a few days": Season(opens="06-10", closes="06-14"),
    "one day": Season(opens="08-01", closes="08-01"),
    "whole year": Season(opens="01-01", closes="12-31"),
    "whole year from May": Season(opens="05-01", closes="04-30"),
    "over the year's turn": Season(opens="11-15", closes="03-20"),
    "to a leap day": Season(opens="12-01", closes="02-29"),
}
READ = ("weekly", "odd days", "daily", "once a year", "one reading", "mixed")
AT_THE_LIMIT = ("outlier within the limit", "always at the limit")
ODD = ("", "", "", "no hours", "off-season only", "outlier", *AT_THE_LIMIT, "strangers", "unlike")
FIRST_YEAR = 2018
DRAWS = 48


@dataclass(frozen=True)
class DrawnFleet:
    """What was drawn: the records, the day asked about, and in words what kind of fleet it is."""

    records: FleetRecords
    as_of: date
    kind: tuple[str, str, str]


def drawn_kind(rng: np.random.Generator) -> tuple[str, str, str]:
    """Which season, how its craft are read, and what is odd about it."""
    return str(rng.choice(list(SEASONS))), str(rng.choice(READ)), str(rng.choice(ODD))


def drawn_fleet(seed: int) -> DrawnFleet:
    """A fleet of any kind."""
    rng = np.random.default_rng([5, seed])
    name, how, odd = drawn_kind(rng)
    n_craft, n_seasons = int(rng.integers(1, 61)), int(rng.integers(1, 7))
    season = SEASONS[name]
    first = season.opening_in(FIRST_YEAR) - timedelta(days=int(rng.integers(0, 60)))
    last = first + timedelta(days=int(365.25 * n_seasons - rng.integers(0, 300)))
    calendar = Calendar.of(season, first.toordinal(), last.toordinal())
    daily = _daily_hours(rng, calendar, n_craft, odd)
    craft = [f"C{i:02d}" for i in range(n_craft)]
    rows: list[tuple[str, date, float, str]] = []
    for place, one in enumerate(craft):
        rows += _readings(rng, one, daily[place], first, str(rng.choice(READ[:-1])) if how == "mixed" else how)
    if odd == "outlier":
        at = int(rng.integers(0, len(rows)))
        one, day, meter, new = rows[at]
        rows[at] = (one, day, meter + 100.0 * (1.0 + meter), new)
    if odd == "outlier within the limit":
        one = craft[int(rng.integers(0, n_craft))]
        own = [place for place, row in enumerate(rows) if row[0] == one]
        begins = int(rng.integers(0, len(own)))
        since = (rows[own[begins]][1] - rows[own[max(begins - 1, 0)]][1]).days
        for place in own[begins:]:
            _, day, meter, new = rows[place]
            rows[place] = (one, day, round(meter + 0.9 * HOURS_OF_A_DAY * since, 1), new)
    if odd == "strangers":
        rows += [("nobody's", first, 1.0, "no"), ("nobody's", last, 50.0, "no")]
    hours = pd.DataFrame(rows, columns=["craft_id", "read_on", "meter", "new_meter"])
    hours = hours.astype({"read_on": "datetime64[ns]", "meter": float})
    table = empty_frame("craft").reindex(pd.RangeIndex(2, n_craft + 2, name="row"))
    table["craft_id"] = craft
    gone = rng.random(n_craft) < 0.1
    table["retired_on"] = [pd.Timestamp(last) if out else pd.NaT for out in gone]
    others = {empty: empty_frame(empty) for empty in ("fittings", "water", "rebuilds", "checks")}
    records = FleetRecords(craft=table, hours=hours, settings=FleetSettings(season=season), **others)
    as_of = first + timedelta(days=int(rng.integers(0, (last - first).days + 200)))
    return DrawnFleet(records, as_of, (name, how, odd))


def _daily_hours(rng: np.random.Generator, calendar: Calendar, n_craft: int, odd: str) -> np.ndarray:
    """Engine hours of each craft on each day, (craft, days)."""
    days = len(calendar.in_season)
    runs = ~calendar.in_season if odd == "off-season only" else calendar.in_season
    spread = 2.0 if odd == "unlike" else 0.3
    level = rng.uniform(0.2, 3.0) * np.exp(spread * rng.standard_normal(n_craft))
    years, which = np.unique(calendar.season_of, return_inverse=True)
    of_season = np.exp(rng.choice([0.0, 0.1, 0.6]) * rng.standard_normal(len(years)))[which]
    mean = np.where(runs, 1.0, 0.003) * of_season * level[:, None]
    hours = rng.standard_gamma(0.5, (n_craft, days)) * mean / 0.5
    if odd == "no hours":
        return np.zeros((n_craft, days))
    if odd == "always at the limit":
        return np.full((n_craft, days), HOURS_OF_A_DAY)
    return np.minimum(hours, HOURS_OF_A_DAY)


def _readings(
    rng: np.random.Generator, craft: str, daily: np.ndarray, first: date, how: str
) -> list[tuple[str, date, float, str]]:
    """Rows of hours.csv of one craft, its meter changed once in a while."""
    days = len(daily)
    begins = int(rng.integers(0, max(days // 2, 1))) if rng.random() < 0.2 else 0
    if how == "one reading":
        chosen = [begins]
    elif how == "odd days":
        few = max(int((days - begins) / rng.uniform(3.0, 90.0)), 1)
        chosen = sorted({begins, *rng.integers(begins, days, few).tolist()})
    else:
        chosen = list(range(begins, days, {"weekly": 7, "daily": 1, "once a year": 365}[how]))
    changed = int(rng.choice(chosen)) if rng.random() < 0.1 else -1
    upto = float(rng.uniform(0.0, 800.0)) + np.cumsum(daily)
    rows, offset = [], 0.0
    for day in chosen:
        new = day == changed
        offset = upto[day] - 3.0 if new else offset
        rows.append((craft, first + timedelta(days=day), round(float(upto[day] - offset), 1), "yes" if new else "no"))
    return rows


def what_is_wrong(fleet: DrawnFleet) -> list[str]:
    """What a fleet's hours ahead break, in words; [] where all is well."""
    usage = forecast_usage(fleet.records, fleet.as_of)
    craft = list(usage.craft.index)
    means = usage.weekly_means(craft, fleet.as_of, HORIZON_WEEKS)
    draws = usage.draws(craft, fleet.as_of, HORIZON_WEEKS, DRAWS)
    _, close = usage.season.current_or_next(fleet.as_of)
    totals = usage.totals(craft, fleet.as_of, close, DRAWS)
    one = usage.hours_between(craft[0], fleet.as_of, close)
    exact = [usage.hours_between(craft[0], fleet.as_of, fleet.as_of + timedelta(weeks=weeks)).mean for weeks in (3, 60)]
    laws = {
        "means are not finite": np.isfinite(means).all(),
        "a mean is below 0": (means >= 0).all(),
        "draws are not finite": np.isfinite(draws).all(),
        "a draw is below 0": (draws >= 0).all(),
        "totals are not finite": np.isfinite(totals).all(),
        "weeks do not add up": np.allclose([means[0, :3].sum(), means[0, :60].sum()], exact),
        "an interval is out of order": 0.0 <= one.low <= one.high < np.inf,
        "a mean lies outside of all draws": one.mean == 0 or totals[:, 0].min() <= one.mean <= totals[:, 0].max(),
        "a retired craft runs": (means[usage.craft["retired"].to_numpy()] == 0).all(),
    }
    return [words for words, holds in laws.items() if not holds]


def one_fleet(seed: int) -> tuple[int, tuple[str, str, str], list[str], bool]:
    """The fleet's kind, what is wrong, and whether its rhythm could not be told exactly."""
    fleet = drawn_fleet(seed)
    try:
        settled = forecast_usage(fleet.records, fleet.as_of).shape.settled
        return seed, fleet.kind, what_is_wrong(fleet), not settled
    except Exception as error:  # noqa: BLE001 - a refusal of any kind is what is counted
        return seed, fleet.kind, [f"{type(error).__name__}: {error}"], False


def main() -> None:
    """Print how many were refused, and what was wrong with which."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleets", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    wrongs: Counter[str] = Counter()
    unsure = 0
    with ProcessPoolExecutor(given.processes) as pool:
        seeds = range(given.seed, given.seed + given.fleets)
        for done, (seed, kind, wrong, unsettled) in enumerate(pool.map(one_fleet, seeds, chunksize=8), 1):
            unsure += unsettled
            wrongs.update(words.split(":")[0] for words in wrong)
            if wrong:
                print(f"\nfleet {seed}, {', '.join(kind)}: {'; '.join(wrong)}")
            print(f"\r{done}/{given.fleets}", end="", file=sys.stderr, flush=True)
    told = ", ".join(f"{words}: {count}" for words, count in wrongs.items()) or "nothing was wrong"
    print(f"\n{given.fleets} fleets: {told}; the season's rhythm could not be told exactly in {unsure}")


if __name__ == "__main__":
    main()

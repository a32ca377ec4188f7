"""Do the 90 % intervals of "fails this season" hold the true chance, where seasons differ? On invented fleets.

Season by season what customers want of all craft differs by `SPREAD`. On four days of the last season each unit in
service is asked about. The truth is its true chance of failing within the engine hours that its craft then really ran
to the close (``forecaster.truth``). Beside the forecast: the same with the expected hours for certain, and with the
hours that were really run, which is what the life model alone is good for; and how often the hours' own 90 % held.

    python -m tests.season_chances --fleets 150         the table that DEVELOPERS.md shows
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecaster.histories import build_histories
from forecaster.learning import fit_two_stage
from forecaster.season_risk import failing_within_drawn, hours_to_close
from forecaster.simulate import simulate_fleet
from forecaster.truth import running_units
from forecaster.usage_forecast import forecast_usage

SPREAD = 0.12
CRAFT = 28
SEASONS = 3
FIRST_YEAR = 2024
DAYS = ("eve", "05-15", "06-15", "07-15")
WORLDS = ("rust_at_incident", "lasting_rise")


def one_fleet(task: tuple[str, int, float, int, int]) -> pd.DataFrame:
    """One row a unit and day: the true chance, and each forecast's mean and central 90 %."""
    world, seed, spread, craft, seasons = task
    fleet = simulate_fleet(craft, seasons, seed, world, first_year=FIRST_YEAR, season_spread=spread)
    year = FIRST_YEAR + seasons - 1
    opening = fleet.records.settings.season.opening_in(year)
    close = fleet.records.settings.season.close_of(opening)
    tables = []
    for name in DAYS:
        day = opening - timedelta(days=1) if name == "eve" else date.fromisoformat(f"{year}-{name}")
        histories = build_histories(fleet.records, day)
        units, fit = histories.in_service(), fit_two_stage(histories)
        usage = forecast_usage(fleet.records, day)
        ran = np.array([fleet.truth.hours_run(craft_id, day, close) for craft_id in units.lives["craft_id"]])
        known = running_units(fleet.truth, units)
        true = [one.chances_of_failing(fleet.world, np.array([h]))[0] for one, h in zip(known, ran, strict=True)]
        standing = fit.standing(units)
        hours = hours_to_close(usage, units.lives["craft_id"], standing)
        asked = {
            "drawn": failing_within_drawn(standing, hours),
            "expected": standing.failing(hours.mean(axis=0)[:, None])[:, :, 0],
            "really run": standing.failing(ran[:, None])[:, :, 0],
        }
        table = pd.DataFrame({"world": world, "seed": seed, "day": name, "true": true, "ran": ran})
        table["hours"] = hours.mean(axis=0)
        table["hours held"] = (ran >= np.quantile(hours, 0.05, axis=0)) & (ran <= np.quantile(hours, 0.95, axis=0))
        for which, draws in asked.items():
            low, high = np.quantile(draws, [0.05, 0.95], axis=0)
            table[f"{which} mean"] = draws.mean(axis=0)
            table[f"{which} held"] = (low <= table["true"]) & (table["true"] <= high)
            table[f"{which} width"] = high - low
        tables.append(table)
    return pd.concat(tables, ignore_index=True)


def study(
    fleets: int,
    first_seed: int = 400,
    spread: float = SPREAD,
    craft: int = CRAFT,
    seasons: int = SEASONS,
    worlds: Sequence[str] = WORLDS,
    processes: int = 1,
    tell: bool = False,
) -> pd.DataFrame:
    """All units of `fleets` fleets, taking turns with the worlds."""
    tasks = [(worlds[i % len(worlds)], first_seed + i, spread, craft, seasons) for i in range(fleets)]
    tables = []
    with ProcessPoolExecutor(processes) as pool:
        answers = pool.map(one_fleet, tasks) if processes > 1 else map(one_fleet, tasks)
        for done, table in enumerate(answers, 1):
            tables.append(table)
            if tell:
                print(f"\r{done}/{fleets}", end="", file=sys.stderr, flush=True)
    return pd.concat(tables, ignore_index=True)


def summary(table: pd.DataFrame) -> pd.DataFrame:
    """By day and over all: how often intervals held the truth, with the spread between fleets, and mean chances."""
    rows = {}
    for name in [*dict.fromkeys(table["day"]), "all"]:
        own = table if name == "all" else table[table["day"] == name]
        by_fleet = own.groupby("seed")["drawn held"].mean()
        rows[name] = {
            "units": len(own),
            "held": own["drawn held"].mean(),
            "± (90 %)": 1.645 * by_fleet.std() / np.sqrt(len(by_fleet)) if len(by_fleet) > 1 else np.nan,
            "held, hours certain": own["expected held"].mean(),
            "held, hours known": own["really run held"].mean(),
            "hours held": own["hours held"].mean(),
            "hours ran": own["ran"].mean(),
            "expected": own["hours"].mean(),
            "true chance": own["true"].mean(),
            "forecast": own["drawn mean"].mean(),
            "width": own["drawn width"].mean(),
            "width known": own["really run width"].mean(),
        }
    return pd.DataFrame(rows).T


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleets", type=int, default=100)
    parser.add_argument("--spread", type=float, default=SPREAD)
    parser.add_argument("--craft", type=int, default=CRAFT)
    parser.add_argument("--seasons", type=int, default=SEASONS)
    parser.add_argument("--seed", type=int, default=400)
    parser.add_argument("--processes", type=int, default=1)
    given = parser.parse_args()
    table = study(
        given.fleets, given.seed, given.spread, given.craft, given.seasons, processes=given.processes, tell=True
    )
    print(f"\n{given.fleets} fleets of {given.craft} craft and {given.seasons} seasons, sd {given.spread}")
    print(summary(table).round(3).to_string())


if __name__ == "__main__":
    main()

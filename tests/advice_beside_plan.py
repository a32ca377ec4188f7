"""The forecast's advice beside what the decisions would do with each unit alone, on invented fleets of four worlds.

For each unit in service: the option of least cost by the decision core's own account (rebuild now, check now, or leave
it and do the best later), without budget or bench, and what an advice costs beyond it by that same account. Beside the
advice: a rule of thumb (rebuild where the season's chance of failing times a new unit exceeds a rebuild; check where
the greater of that chance and the chance of a defect, times what a rebuild costs less than a new unit, exceeds a
check), and leaving every unit alone. The advice is asked of both life models; the core is the two-stage model's.

    python -m tests.advice_beside_plan --fleets 4       the table that DEVELOPERS.md shows
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from datetime import date

import numpy as np
import pandas as pd

from forecaster.advice import weigh
from forecaster.decisions import Decisions, decisions_for
from forecaster.fleet_prices import prices_by_craft
from forecaster.histories import build_histories
from forecaster.learning import fit_two_stage
from forecaster.life_model import FittedLifeModel
from forecaster.lives import Histories
from forecaster.records import FleetRecords
from forecaster.settings import Costs
from forecaster.simulate import simulate_fleet
from forecaster.unsafe import found_unsafe
from forecaster.usage_forecast import UsageForecast, forecast_usage
from forecaster.waiting import Waiting, waiting
from forecaster.weibull import fit_weibull

WORLDS = ("rust_at_incident", "lasting_rise", "dry", "long_noise")
HOURS_A_SEASON = (176.0, 80.0)
SEASONS = 3
LAST_YEAR = 2026  # of three seasons from the simulator's first year on
DAYS = (date(LAST_YEAR, 10, 31), date(LAST_YEAR, 7, 15))  # off season and in the middle of one
RULES = ("advice", "advice weibull", "rule of thumb", "leave all")
ACTS = ("rebuild", "check", "leave")


def weighed_alone(decisions: Decisions, unit_id: str) -> Waiting:
    """``Decisions.waiting`` for its means alone: without the scatter of later lives, which widens intervals."""
    craft_id = str(decisions.unit(unit_id).lives["craft_id"].iloc[0])
    upkeep = decisions.upkeep(craft_id)
    return waiting(decisions.ahead(unit_id), decisions.weeks(craft_id, upkeep), upkeep, decisions.prices(craft_id))


def costs_by_core(one: Waiting, opens: date | None) -> dict[str, float]:
    """What each act costs by the decision core's account; `opens`: the season's opening, None where it is on.

    Leaving is the best that can be done later: off season, what the plan weighs; in season, the best fixed day after
    the unit has run, or acting at the triggers where those do not ask for work now.
    """
    costs = {act: float(getattr(one, act)[:, 0].mean()) for act in ("rebuild", "check")}
    if opens is not None:
        later = min(o.expected_cost for o in one.options if o.on is None or o.on >= opens)
        return costs | {"leave": min(later, one.left)}
    runs = one.weeks.step_of_week
    later = min(o.expected_cost for o in one.options if o.on is None or runs[o.week] > 0)
    return costs | {"leave": min(later, one.left) if one.left < min(costs.values()) else later}


def by_rule_of_thumb(defective: float, season: float, costs: Costs, in_season: bool) -> str:
    """What a rule says that knows no fresh unit's risk, no lost days, no engine damage and no spin check's limits."""
    rebuild = costs.rebuild + (costs.rebuild_in_season_extra if in_season else 0.0)
    if season * costs.new_unit >= min(rebuild, costs.new_unit):
        return "rebuild"
    return "check" if max(defective, season) * max(costs.new_unit - rebuild, 0.0) > costs.check else "leave"


def hours_to_close(usage: UsageForecast, craft: list[str]) -> np.ndarray:
    """Engine hours expected to the close of the season, (n,)."""
    _, close = usage.season.current_or_next(usage.as_of)
    return usage.totals(craft, usage.as_of, close, 1)[0]


def advised(model: FittedLifeModel, units: Histories, records: FleetRecords, day: date) -> list[str]:
    """What the advice says of each unit, for its cost alone."""
    usage = forecast_usage(records, day)
    prices = prices_by_craft(records, day)
    craft = list(units.lives["craft_id"])
    hours = hours_to_close(usage, craft)
    season = usage.weekly_means(craft, day, 52).sum(axis=1)
    knows_defects = model.chance_of_defect(units, np.array([0.0]), draws=1) is not None
    in_season = usage.season.contains(day)
    return weigh(model, units, hours, season, [prices[c] for c in craft], in_season, knows_defects).best


def one_day(world: str, seed: int, hours_a_season: float, day: date, craft: int) -> pd.DataFrame:
    """Every unit in service on a day: what each act costs, what costs least, and what each rule says."""
    records = simulate_fleet(craft, SEASONS, seed, world, hours_a_season=hours_a_season).records
    histories = build_histories(records, day)
    fit, units = fit_two_stage(histories), histories.in_service()
    opening, close = records.settings.season.current_or_next(day)
    in_season = opening <= day <= close
    season_hours = hours_to_close(forecast_usage(records, day), list(units.lives["craft_id"]))
    fails = fit.chance_of_failing(units, season_hours[:, None])[:, :, 0].mean(axis=0)
    defective = fit.chance_of_defect(units, np.array([0.0]))[:, :, 0].mean(axis=0)
    decisions: Decisions = decisions_for(records, histories, fit)
    opens = None if in_season else opening
    weighed = [costs_by_core(weighed_alone(decisions, unit), opens) for unit in units.lives["unit_id"]]
    table = pd.DataFrame(weighed)
    unsafe = found_unsafe(units)
    return table.assign(
        world=world,
        seed=seed,
        hours=hours_a_season,
        in_season=in_season,
        unsafe=[life_id in unsafe for life_id in units.lives["life_id"]],
        best=table[list(ACTS)].idxmin(axis=1),
        **{
            "advice": advised(fit, units, records, day),
            "advice weibull": advised(fit_weibull(histories), units, records, day),
            "rule of thumb": [
                by_rule_of_thumb(d, f, records.settings.costs, in_season) for d, f in zip(defective, fails, strict=True)
            ],
            "leave all": "leave",
        },
    )


def one_fleet(task: tuple[str, int, float, int]) -> pd.DataFrame:
    """One invented fleet, off season and in season."""
    world, seed, hours, craft = task
    return pd.concat([one_day(world, seed, hours, day, craft) for day in DAYS], ignore_index=True)


def study(fleets: int, first_seed: int = 700, craft: int = 16, processes: int = 1, tell: bool = False) -> pd.DataFrame:
    """One row a unit, of `fleets` fleets in each world and for each use."""
    tasks = [
        (world, first_seed + i, hours, craft) for hours in HOURS_A_SEASON for world in WORLDS for i in range(fleets)
    ]
    tables = []
    with ProcessPoolExecutor(processes) as pool:
        for done, table in enumerate(pool.map(one_fleet, tasks) if processes > 1 else map(one_fleet, tasks), 1):
            tables.append(table)
            if tell:
                print(f"\r{done}/{len(tasks)}", end="", file=sys.stderr, flush=True)
    return pd.concat(tables, ignore_index=True)


def lost(table: pd.DataFrame, rule: str) -> np.ndarray:
    """Money lost by following a rule rather than the least cost, a unit, (n,)."""
    costs = table[list(ACTS)].to_numpy()
    said = costs[np.arange(len(table)), [ACTS.index(act) for act in table[rule]]]
    answer: np.ndarray = said - costs.min(axis=1)
    return answer


def summary(table: pd.DataFrame) -> pd.DataFrame:
    """By use and season, by world, and over all: agreement and mean money lost a unit, of each rule."""
    groups = {
        f"{hours:g} h a season, {'mid-season' if inside else 'off season'}": part
        for (hours, inside), part in table.groupby(["hours", "in_season"], sort=False)
    }
    groups |= {str(world): part for world, part in table.groupby("world", sort=False)}
    groups["all"] = table
    return pd.DataFrame(
        {
            name: {"units": len(part)}
            | {f"{rule} agrees": float((part[rule] == part["best"]).mean()) for rule in RULES}
            | {f"{rule} loses": float(lost(part, rule).mean()) for rule in RULES}
            for name, part in groups.items()
        }
    ).T


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleets", type=int, default=4, help="in each of four worlds and for each of two uses")
    parser.add_argument("--craft", type=int, default=16)
    parser.add_argument("--seed", type=int, default=700)
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    table = study(given.fleets, given.seed, given.craft, given.processes, tell=True)
    told = summary(table)
    fleets = given.fleets * len(WORLDS) * len(HOURS_A_SEASON)
    print(f"\n{fleets} fleets of {given.craft} craft, first seed {given.seed}; money a unit")
    print(told.to_string(float_format=lambda x: f"{x:.2f}" if x < 1.005 else f"{x:.0f}"))
    print("\nby cost (rows) and by the advice (columns)")
    for inside, part in table.groupby("in_season"):
        print("in season" if inside else "off season")
        print(pd.crosstab(part["best"], part["advice"]).to_string())
    print(f"\nunsafe as found, whatever it costs: {table['unsafe'].mean():.1%} of units")


if __name__ == "__main__":
    main()

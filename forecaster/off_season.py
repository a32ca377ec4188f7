"""The off-season plan of a fleet: each unit's costs laid out for the program, and the whole answer gathered."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from forecaster.craft_weeks import HORIZON_WEEKS
from forecaster.decisions import Decisions
from forecaster.errors import WrongUsage
from forecaster.parts_order import parts_order
from forecaster.plan import solve_plan
from forecaster.plan_answer import PlanAnswer, saving_of
from forecaster.plan_problem import PlanProblem, bench_places_by_week, cost_of_plan
from forecaster.plan_rules import best_every_n_hours
from forecaster.spares import lead_time_demand, spare_units
from forecaster.waiting import Option, Triggers, Waiting

# Weeks from sending a unit to having it back: common practice, no source.
TURNAROUND_WEEKS = 2.0


@dataclass(frozen=True)
class OffSeason:
    """The days of one off-season's work: from a day, to be ready by another, before the season opens."""

    begins: date
    ready_by: date
    season_opens: date


def off_season(decisions: Decisions, begins: date | None = None, ready_by: date | None = None) -> OffSeason:
    """The off-season to plan: the one we are in, or else the next. Raises WrongUsage for days out of order."""
    season, as_of = decisions.records.settings.season, decisions.as_of
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
            f"The work must begin on or after {as_of}, be ready later than it begins and by {last}; it is to begin on "
            f"{start} and be ready by {ready}."
        )
    return OffSeason(start, ready, opens)


def plan_off_season(
    decisions: Decisions,
    budget: float | None = None,
    begins: date | None = None,
    ready_by: date | None = None,
    bench_per_week: float | None = None,
    gap: float = 0.01,
    progress: Callable[[str], None] | None = None,
) -> PlanAnswer:
    """The plan of least expected cost within budget and bench, the season's triggers, parts and spares.

    `budget`, `bench_per_week`: in place of fleet.toml's. Raises WrongUsage for days or amounts that make no plan.
    """
    tell = progress or (lambda _: None)
    settings = decisions.records.settings
    days = off_season(decisions, begins, ready_by)
    units = decisions.histories.in_service().lives
    unit_ids = list(units["unit_id"])
    weighed: dict[str, Waiting] = {}
    for number, unit_id in enumerate(unit_ids, 1):
        tell(f"Weighing unit {number} of {len(unit_ids)} ...")
        weighed[unit_id] = decisions.waiting(unit_id)
    mondays = _mondays(days)
    at = np.array([_week(decisions.as_of, monday) for monday in mondays])
    ones = list(weighed.values())
    leave = [_leave(one, days.season_opens) for one in ones]
    price = np.array([one.prices.planned(in_season=False) for one in ones])
    rattles = np.array([one.rattles[at[0]] for one in ones])
    problem = PlanProblem(
        unit_ids=unit_ids,
        craft_ids=list(units["craft_id"]),
        weeks=mondays,
        rebuild_cost=np.stack([one.rebuild.mean(axis=0)[at] for one in ones]),
        check_cost=np.stack([one.check.mean(axis=0)[at] for one in ones]),
        leave_cost=np.array([mean for mean, _ in leave]),
        rebuild_spend=price,
        check_spend=np.array([one.prices.looked_at(in_season=False) for one in ones]) + rattles * price,
        check_bench=np.clip(rattles, 0.0, 1.0),
        bench_places=bench_places_by_week(
            settings.bench.rebuilds_per_week if bench_per_week is None else bench_per_week, [True] * len(mondays)
        ),
        craft_needed=np.array([settings.season.contains(monday) for monday in mondays]),
        budget=settings.bench.budget if budget is None else budget,
    )
    tell("Choosing the plan ...")
    hours = (units["hours_at_entry"] + units["hours_observed"]).to_numpy(dtype=float)
    rule = best_every_n_hours(problem, hours)
    plan = solve_plan(problem, gap=gap, rivals=[rule.plan])
    leave_draws = np.stack([draws for _, draws in leave], axis=1)
    plan_draws = cost_of_plan(
        plan,
        mondays,
        np.stack([one.rebuild[:, at] for one in ones], axis=1),
        np.stack([one.check[:, at] for one in ones], axis=1),
        leave_draws,
    )
    acted: dict[str, str] = {action.unit_id: action.action for action in plan.actions}
    demand = _weekly_demand(decisions, weighed, acted)
    return PlanAnswer(
        as_of=decisions.as_of,
        plan=plan,
        rule=rule,
        saving=saving_of(plan_draws, leave_draws),
        triggers={unit: _triggers_after(decisions, weighed[unit], unit, acted[unit]) for unit in unit_ids},
        spares=spare_units(lead_time_demand(demand, TURNAROUND_WEEKS), TURNAROUND_WEEKS),
        parts=parts_order(plan, decisions.as_of),
        ready_by=days.ready_by,
        season_opens=days.season_opens,
        horizon_on=decisions.as_of + timedelta(weeks=HORIZON_WEEKS),
        seasons=int(ones[0].weeks.year[-1]) if ones else 0,
        currency=settings.currency,
        evidence=decisions.fit.evidence,
    )


def _mondays(days: OffSeason) -> list[date]:
    """Mondays from the first one on or after the beginning, whose week is over by the day to be ready."""
    first = days.begins + timedelta(days=(-days.begins.weekday()) % 7)
    found = []
    while first + timedelta(days=7) <= days.ready_by:
        found.append(first)
        first += timedelta(days=7)
    if not found:
        raise WrongUsage(f"No whole week lies between {days.begins} and {days.ready_by}: give the work more time.")
    return found


def _week(as_of: date, day: date) -> int:
    return min(max((day - as_of).days // 7, 0), HORIZON_WEEKS - 1)


def _leave(one: Waiting, season_opens: date) -> tuple[float, np.ndarray]:
    """Expected cost of leaving a unit this off-season, and its draws: the best that can be done from the opening on.

    That is acting at the season's triggers, or the best fixed week from then on, whichever costs less; the draws are
    the fixed option's, moved to the mean that counts.
    """
    options: list[Option] = [o for o in one.options if o.on is None or o.on >= season_opens]
    best = min(options, key=lambda option: option.expected_cost)
    draws = one.draws_of(best)
    mean = min(best.expected_cost, one.left)
    return mean, draws - best.expected_cost + mean


def _triggers_after(decisions: Decisions, one: Waiting, unit_id: str, action: str) -> Triggers:
    """The coming season's triggers: the unit's own where it is left, those of a fresh unit where it is rebuilt.

    After a check that was quiet the unit's own stand, on the safe side: what it showed is in the next day's answer.
    """
    if action != "rebuild":
        return one.triggers
    craft_id = str(decisions.unit(unit_id).lives["craft_id"].iloc[0])
    upkeep = decisions.upkeep(craft_id)
    reached = upkeep.steps * upkeep.life.step_h

    def first(action: str) -> float | None:
        for stage in range(upkeep.steps):
            age = min(stage, upkeep.life.n - 1)
            if upkeep.does(stage, age) == action:
                return float(age * upkeep.life.step_h)
        return None

    found = {name: first(name) for name in ("check", "rebuild")}
    within = {name: at if at is not None and at <= reached else None for name, at in found.items()}
    return Triggers(within["check"], within["rebuild"])


def _weekly_demand(decisions: Decisions, weighed: dict[str, Waiting], acted: dict[str, str]) -> np.ndarray:
    """Units expected to come off in each in-season week of the coming season, (draws, weeks): failed or noticed."""
    total: np.ndarray | None = None
    for unit_id, one in weighed.items():
        ahead, weeks = decisions.ahead(unit_id), one.weeks
        lost = ahead.fails + ahead.noticed
        if acted[unit_id] == "rebuild":  # a fresh unit seldom fails in its first season; its demand is small
            lost = lost * 0.0
        by_week = np.zeros((len(lost), weeks.n))
        by_week[:, weeks.week_of_step] = lost
        total = by_week if total is None else total + by_week
    if total is None:
        return np.zeros((1, 1))
    first = next(iter(weighed.values())).weeks
    season = np.flatnonzero(first.in_season & (first.year[:-1] <= max(first.year[0], 1)))
    return total[:, season] if len(season) and math.isfinite(total.sum()) else np.zeros((1, 1))

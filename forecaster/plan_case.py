"""A fleet's off-season laid out for the program: what each unit's options cost, week by week, and the limits."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from forecaster.decisions import Decisions
from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.off_season_ahead import OffSeasonAhead, first_opening
from forecaster.plan import must_be_done
from forecaster.plan_days import OffSeason, monday_of, mondays, off_season_days, season_weeks, week_ahead
from forecaster.plan_limits import PlanLimits
from forecaster.plan_problem import Action, Plan, PlanProblem
from forecaster.prices import Prices
from forecaster.unsafe import Unsafe, check_first, found_unsafe
from forecaster.waiting import Waiting
from forecaster.written_days import DatedText, joined

Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class PlanCase:
    """One off-season laid out: `problem`, and behind it each unit's options under every posterior draw.

    `weighed`: by unit in the problem's order, and `ahead` its off-season, once the season at hand is over. `hours`
    (n,): since rebuild, NaN: not known, and `hours_then`: when the off-season begins, if it runs on. What each costs
    if it is left, (draws, n): `leave_draws` closed through the season after, `trigger_draws` acted on in it at its
    triggers, `never_draws` if nobody ever acts. `unsafe`: by unit, what is unsafe about it as its record stands.
    `remarks`: what the problem leaves out, and what comes before it, in words.
    """

    decisions: Decisions
    limits: PlanLimits
    days: OffSeason
    problem: PlanProblem
    weighed: Mapping[str, Waiting]
    ahead: Mapping[str, OffSeasonAhead]
    hours: np.ndarray
    hours_then: np.ndarray
    leave_draws: np.ndarray
    trigger_draws: np.ndarray
    never_draws: np.ndarray
    unsafe: Mapping[str, tuple[Unsafe, ...]]
    remarks: tuple[str, ...] = ()

    def cost_draws(self, unit: int, action: Action, week_of: date | None, in_season: bool = False) -> np.ndarray:
        """What a unit costs from today to the horizon under each posterior draw if this is done, (draws,).

        `unit`: its place in the problem. Also in a week that is not one of the plan's. `in_season`: left, and acted on
        at its triggers in the season after.
        """
        draws: np.ndarray
        if week_of is None:
            draws = (self.trigger_draws if in_season else self.leave_draws)[:, unit]
            return draws
        one = self.ahead[self.problem.unit_ids[unit]]
        week = _week_of(week_of, one, self.decisions)
        return (one.rebuild_weeks if action == "rebuild" else one.check_weeks).week(week)

    def saved_by(self, unit: int, action: Action, week_of: date | None, in_season: bool = False) -> np.ndarray:
        """The same as a saving beside leaving the unit closed through the season after, (draws,)."""
        saved: np.ndarray = self.leave_draws[:, unit] - self.cost_draws(unit, action, week_of, in_season)
        return saved

    def unit_costs(self, plan: Plan) -> np.ndarray:
        """What each unit of a plan costs from today to the horizon, (draws, n)."""
        by_unit = [self.cost_draws(i, one.action, one.week_of, one.in_season) for i, one in enumerate(plan.actions)]
        costs: np.ndarray = np.stack(by_unit, axis=1)
        return costs


def lay_out(decisions: Decisions, limits: PlanLimits, progress: Progress | None = None) -> PlanCase:
    """Weigh every unit in service for each week of the off-season.

    Units with a rattle on record must be rebuilt; a remark says where the limits do not allow for it, and which units
    to check before their next ride. Raises DataStopsAnswer where no unit is in service, WrongUsage for days or amounts
    that make no plan.
    """
    tell = progress or (lambda _: None)
    settings, as_of = decisions.records.settings, decisions.as_of
    days = off_season_days(settings.season, as_of, limits.begins, limits.ready_by)
    weeks = mondays(days)
    in_service = decisions.histories.in_service()
    units = in_service.lives
    if units.empty:
        raise DataStopsAnswer(
            DatedText(
                "No unit is in service on ",
                as_of,
                ", so there is nothing to plan. Ask for another day, or add what is fitted now to fittings.csv.",
            )
        )
    weighed = decisions.weigh(lambda number, of: tell(f"Weighing unit {number:,} of {of:,} ..."))
    ones, ahead = list(weighed.values()), _off_seasons(decisions, weighed, days)
    offs = list(ahead.values())
    at = np.array([_week_of(monday, offs[0], decisions) for monday in weeks])
    unsafe = _unsafe_by_unit(decisions)
    price = np.array([one.prices.planned(in_season=False) for one in ones])
    by_draw = np.stack([_given(off.rattles, off.running) for off in offs])
    rattles = np.array([_given(off.rattles.mean(), off.running.mean()) for off in offs])
    closed, triggers, never = (
        np.stack(some, axis=1)
        for some in (
            [off.closed for off in offs],
            [off.at_triggers for off in offs],
            [one.none for one in ones],
        )
    )
    season = season_weeks(days.season_opens, settings.season)
    problem = PlanProblem(
        unit_ids=list(units["unit_id"]),
        craft_ids=list(units["craft_id"]),
        weeks=weeks,
        rebuild_cost=np.stack([off.rebuild_weeks.mean[at] for off in offs]),
        check_cost=np.stack([off.check_weeks.mean[at] for off in offs]),
        leave_cost=closed.mean(axis=0),
        never_cost=never.mean(axis=0),
        rebuild_spend=price,
        check_spend=np.array([one.prices.looked_at(in_season=False) for one in ones]) + rattles * price,
        check_bench=rattles,
        rattle_draws=by_draw,
        craft_needed=np.array([settings.season.contains(monday) for monday in weeks]),
        must=frozenset(unit for unit, reasons in unsafe.items() if _must_be_rebuilt(reasons, ahead[unit])),
        season_cost=triggers.mean(axis=0),
        season_spend=np.array([_season_spend(one.prices, off) for one, off in zip(ones, offs, strict=True)]),
        season_chance=np.clip([off.act_runs for off in offs], 0.0, 1.0),
        season_week=np.array([_season_week(one, off, season) for one, off in zip(ones, offs, strict=True)]),
        season_bench=np.clip([off.act_bench for off in offs], 0.0, 1.0),
        **limits.of_problem(weeks, len(season), as_of, settings),
    )
    problem, remarks = _as_far_as_limits_allow(problem)
    remarks += decisions.hours.usage.fleet_remarks
    remarks += tuple(
        check_first_remark(unit, found) for unit, reasons in unsafe.items() if (found := check_first(reasons))
    )
    hours = (units["hours_at_entry"] + units["hours_observed"]).to_numpy(dtype=float)
    run = [decisions.weekly_hours[craft][: offs[0].begins].sum() for craft in units["craft_id"]]
    at_hours = (hours, hours + run)
    left = (closed, triggers, never)
    return PlanCase(decisions, limits, days, problem, weighed, ahead, *at_hours, *left, unsafe, remarks)


def _off_seasons(decisions: Decisions, weighed: Mapping[str, Waiting], days: OffSeason) -> dict[str, OffSeasonAhead]:
    """Each unit's off-season before the season that opens on a day, by unit."""
    weeks = next(iter(weighed.values())).weeks
    opens = bisect_left(weeks.first_day, days.season_opens)
    if opens == first_opening(weeks):
        return {unit: one.off_season for unit, one in weighed.items()}
    return {unit: decisions.off_season_before(unit, opens) for unit in weighed}


def _week_of(monday: date, ahead: OffSeasonAhead, decisions: Decisions) -> int:
    """Which week ahead holds a Monday; the days between a season's close and the next week ahead count as that week."""
    week = week_ahead(decisions.as_of, monday)
    return week if decisions.records.settings.season.contains(monday) else max(week, ahead.begins)


def _must_be_rebuilt(reasons: Collection[Unsafe], ahead: OffSeasonAhead) -> bool:
    """Whether it must not run as it is, and is not opened in the season at hand anyway."""
    opened_before = ahead.before is not None and ahead.before.action == "rebuild"
    return not opened_before and any(one.act == "rebuild" for one in reasons)


def _given(part: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """One chance given another, of which it is a part; 0 where that never comes."""
    share: np.ndarray = np.clip(part / np.where(whole > 0, whole, 1.0), 0.0, 1.0)
    return share


def _season_spend(prices: Prices, ahead: OffSeasonAhead) -> float:
    """Expected money of acting at the season's triggers: what is paid, not the rental days that are lost."""
    if ahead.act is None:
        return 0.0
    rebuilds = ahead.act_bench * prices.out_of_pocket(in_season=True)
    return rebuilds + (ahead.act_runs * prices.check if ahead.act.action == "check" else 0.0)


def _season_week(one: Waiting, ahead: OffSeasonAhead, season: list[date]) -> int:
    """In which of the season's weeks, by their Mondays, it is acted on first; -1: in none."""
    return -1 if ahead.act is None else season.index(monday_of(one.weeks.first_day[ahead.act.week]))


def check_first_remark(unit_id: str, found: tuple[str, ...]) -> str:
    """That a unit is to be checked before its next ride, and why: `found`, as ``unsafe.check_first`` says."""
    return DatedText(f"Check {unit_id} before its next ride, whatever is planned: ", joined("; ", found), ".")


def _unsafe_by_unit(decisions: Decisions) -> dict[str, tuple[Unsafe, ...]]:
    units = decisions.histories.in_service()
    by_life = found_unsafe(units)
    pairs: Collection[tuple[str, str]] = list(zip(units.lives["unit_id"], units.lives["life_id"], strict=True))
    return {unit_id: by_life[life_id] for unit_id, life_id in pairs if life_id in by_life}


def _as_far_as_limits_allow(problem: PlanProblem) -> tuple[PlanProblem, tuple[str, ...]]:
    """The problem without its rebuilds that must be where the limits do not allow for them, and why not.

    Such a unit need not be on the water: a plan within the limits, told what it leaves undone, is worth more than none.
    """
    try:
        must_be_done(problem)
    except WrongUsage as refusal:
        told = f"{refusal} Planned as if none had to be: a unit that is left so stays off the water."
        return replace(problem, must=frozenset()), (told,)
    return problem, ()

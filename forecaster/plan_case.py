"""A fleet's off-season laid out for the program: what each unit's options cost, week by week, and the limits."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from forecaster.decisions import Decisions
from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.plan import must_be_done
from forecaster.plan_days import OffSeason, mondays, off_season_days, week_ahead
from forecaster.plan_limits import PlanLimits
from forecaster.plan_problem import Action, Plan, PlanProblem
from forecaster.unsafe import Unsafe, check_first, found_unsafe
from forecaster.waiting import Waiting
from forecaster.written_days import DatedText, joined

Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class PlanCase:
    """One off-season laid out: `problem`, and behind it each unit's options under every posterior draw.

    `weighed`: by unit in the problem's order. `hours` (n,): since rebuild, NaN: not known. `leave_draws`: (draws, n).
    `unsafe`: by unit, what is unsafe about it as its record stands. `remarks`: what the problem leaves out, and what
    comes before it, in words.
    """

    decisions: Decisions
    limits: PlanLimits
    days: OffSeason
    problem: PlanProblem
    weighed: Mapping[str, Waiting]
    hours: np.ndarray
    leave_draws: np.ndarray
    unsafe: Mapping[str, tuple[Unsafe, ...]]
    remarks: tuple[str, ...] = ()

    def cost_draws(self, unit: int, action: Action, week_of: date | None) -> np.ndarray:
        """What a unit costs from today to the horizon under each posterior draw if this is done, (draws,).

        `unit`: its place in the problem. Also in a week that is not one of the plan's.
        """
        draws: np.ndarray
        if week_of is None:
            draws = self.leave_draws[:, unit]
            return draws
        one, week = self.weighed[self.problem.unit_ids[unit]], week_ahead(self.decisions.as_of, week_of)
        draws = (one.rebuild if action == "rebuild" else one.check)[:, week]
        return draws

    def saved_by(self, unit: int, action: Action, week_of: date | None) -> np.ndarray:
        """The same as a saving beside leaving the unit, (draws,)."""
        saved: np.ndarray = self.leave_draws[:, unit] - self.cost_draws(unit, action, week_of)
        return saved

    def unit_costs(self, plan: Plan) -> np.ndarray:
        """What each unit of a plan costs from today to the horizon, (draws, n)."""
        by_unit = [self.cost_draws(i, one.action, one.week_of) for i, one in enumerate(plan.actions)]
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
    ones, at = list(weighed.values()), np.array([week_ahead(as_of, monday) for monday in weeks])
    leave = [_leave(one, days.season_opens) for one in ones]
    unsafe = _unsafe_by_unit(decisions)
    price = np.array([one.prices.planned(in_season=False) for one in ones])
    rattles = np.array([one.rattles[at[0]] for one in ones])
    problem = PlanProblem(
        unit_ids=list(units["unit_id"]),
        craft_ids=list(units["craft_id"]),
        weeks=weeks,
        rebuild_cost=np.stack([one.rebuild.mean(axis=0)[at] for one in ones]),
        check_cost=np.stack([one.check.mean(axis=0)[at] for one in ones]),
        leave_cost=np.array([mean for mean, _ in leave]),
        rebuild_spend=price,
        check_spend=np.array([one.prices.looked_at(in_season=False) for one in ones]) + rattles * price,
        check_bench=np.clip(rattles, 0.0, 1.0),
        craft_needed=np.array([settings.season.contains(monday) for monday in weeks]),
        must=frozenset(unit for unit, reasons in unsafe.items() if any(one.act == "rebuild" for one in reasons)),
        **limits.of_problem(weeks, 0, as_of, settings),
    )
    problem, remarks = _as_far_as_limits_allow(problem)
    remarks += tuple(
        check_first_remark(unit, found) for unit, reasons in unsafe.items() if (found := check_first(reasons))
    )
    hours = (units["hours_at_entry"] + units["hours_observed"]).to_numpy(dtype=float)
    draws = np.stack([one for _, one in leave], axis=1)
    return PlanCase(decisions, limits, days, problem, weighed, hours, draws, unsafe, remarks)


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


def _leave(one: Waiting, season_opens: date) -> tuple[float, np.ndarray]:
    """Expected cost of leaving a unit this off-season, and its draws: the best that can be done from the opening on.

    That is acting at the season's triggers, or the best fixed week from then on, whichever costs less; the draws are
    the fixed option's, moved to the mean that counts.
    """
    from_then = bisect_left(one.weeks.first_day, season_opens)
    options = np.column_stack([one.rebuild[:, from_then:], one.check[:, from_then:], one.none])
    expected = options.mean(axis=0)
    best = int(expected.argmin())
    mean = min(float(expected[best]), one.left)
    return mean, options[:, best] - expected[best] + mean

"""The off-season plan of a fleet: laid out, solved, and the whole answer gathered; and the same changed by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Unpack

import numpy as np

from forecaster import spares
from forecaster.amounts import amount_of
from forecaster.broken_limits import broken_limits
from forecaster.causes import REASON_HOURS, Causes
from forecaster.craft_weeks import HORIZON_WEEKS
from forecaster.decisions import Decisions
from forecaster.off_season_ahead import OffSeasonAhead
from forecaster.parts_order import PartsOrder, parts_order
from forecaster.plan import solve_plan
from forecaster.plan_answer import (
    BenchWeek,
    PlanAnswer,
    RuleBeside,
    Saving,
    saving_of,
    savings_by_unit,
)
from forecaster.plan_by_hand import edited
from forecaster.plan_case import PlanCase, Progress, lay_out
from forecaster.plan_days import later_weeks, open_weeks
from forecaster.plan_limits import PlanLimits, PlanWishes, limits_of
from forecaster.plan_problem import Plan, PlanEdit, PlannedAction
from forecaster.plan_rules import EveryNHours, RuleStep, best_every_n_hours, rule_steps
from forecaster.rebuilds_to_come import rebuilds_to_come
from forecaster.season_demand import weekly_demand
from forecaster.season_triggers import Due, Triggers
from forecaster.unsafe import check_first, not_to_run
from forecaster.waiting import Waiting

# Weeks from sending a unit to having it back: common practice, no source.
TURNAROUND_WEEKS = 2.0
REASONED_AT_ONCE = 500  # units whose reasons are found together: all draws of so many take some 40 MB


@dataclass(frozen=True)
class PlanByHand:
    """A plan changed by hand: its whole answer, what it costs more than the best plan, and the limits that it breaks.

    `edits`: those that change something.
    """

    answer: PlanAnswer
    edits: Mapping[str, PlanEdit]
    costs_more: Saving
    broken: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class PlannedSeason:
    """One off-season with its best plan, which can be changed by hand without solving anew."""

    case: PlanCase
    answer: PlanAnswer
    steps: tuple[RuleStep, ...] = field(repr=False)

    def with_edits(self, edits: Mapping[str, PlanEdit]) -> PlanByHand:
        """The best plan with some units' work changed; see ``plan_by_hand.edited``. With none it is the best plan."""
        best = self.answer
        plan = edited(self.case, best.plan, edits)
        pairs = zip(best.plan.actions, plan.actions, strict=True)
        changed = {
            new.unit_id: PlanEdit(new.action, new.week_of, edits[new.unit_id].note) for old, new in pairs if old != new
        }
        if not changed:
            return PlanByHand(best, {}, Saving(0.0, 0.0, 0.0), ())
        answer = _answer(self.case, plan, best.rule, self.steps, best.because)
        answer = replace(answer, doubtful=best.doubtful)
        more = _whole(best.saved_draws) - _whole(answer.saved_draws)
        return PlanByHand(answer, changed, amount_of(more), broken_limits(self.case, plan))


def plan_off_season(
    decisions: Decisions, gap: float = 0.01, progress: Progress | None = None, **wish: Unpack[PlanWishes]
) -> PlanAnswer:
    """The plan of least expected cost within budget and bench, the season's triggers, parts and spares.

    `wish`: the limits, as for ``PlanLimits``. Raises WrongUsage for days or amounts that make no plan, DataStopsAnswer
    where no unit is in service.
    """
    return planned_season(decisions, limits_of(wish), gap, progress).answer


def planned_season(
    decisions: Decisions,
    limits: PlanLimits,
    gap: float = 0.01,
    progress: Progress | None = None,
    reasons: Mapping[str, tuple[str, ...]] | None = None,
) -> PlannedSeason:
    """The same, with what it was made of; `reasons`: what drives each unit's risk within `REASON_HOURS`, if known."""
    tell = progress or (lambda _: None)
    case = lay_out(decisions, limits, tell)
    tell("Choosing the plan ...")
    steps = rule_steps(case.problem, case.hours_then)
    rule = best_every_n_hours(case.problem, case.hours_then, steps)
    plan = solve_plan(case.problem, gap=gap, progress=tell, rivals=[rule.plan])
    tell("Gathering the answer ...")
    answer = _answer(case, plan, rule, steps, _reasons(case) if reasons is None else reasons)
    return PlannedSeason(case, answer, steps)


def _answer(
    case: PlanCase,
    plan: Plan,
    rule: EveryNHours,
    steps: tuple[RuleStep, ...],
    reasons: Mapping[str, tuple[str, ...]],
) -> PlanAnswer:
    """The whole answer about one plan of a case, best or changed by hand."""
    decisions, days = case.decisions, case.days
    unit_cost = case.unit_costs(plan)
    saved = case.leave_draws - unit_cost
    work = {planned.unit_id: planned for planned in plan.actions}
    to_come = rebuilds_to_come(case, plan)
    demand = weekly_demand(decisions, case.weighed, work)
    known = [None if np.isnan(h) else float(h) for h in case.hours]
    return PlanAnswer(
        as_of=decisions.as_of,
        plan=plan,
        rule=rule,
        saving=saving_of(unit_cost.sum(axis=1), case.never_draws),
        saving_beside_triggers=saving_of(unit_cost.sum(axis=1), case.trigger_draws),
        to_come=to_come,
        savings=savings_by_unit(plan, unit_cost, case.leave_draws),
        saved_draws=dict(zip(work, saved.T, strict=True)),
        saving_beside_rule=amount_of(case.unit_costs(rule.plan).sum(axis=1) - unit_cost.sum(axis=1)),
        rules=_rules_beside(case, steps, saved.sum(axis=1)),
        triggers={unit: _triggers_after(decisions, off, work[unit]) for unit, off in case.ahead.items()},
        triggers_now={unit: one.triggers for unit, one in case.weighed.items()} if _in_season(case) else {},
        spares=spares.spare_units(spares.lead_time_demand(demand, TURNAROUND_WEEKS), TURNAROUND_WEEKS),
        parts=_parts(case, plan, to_come.to_order),
        begins=days.begins,
        ready_by=days.ready_by,
        season_opens=days.season_opens,
        bench=_bench(case),
        later_weeks=later_weeks(list(case.problem.weeks), decisions.as_of),
        spare_units=case.problem.spare_units,
        horizon_on=decisions.as_of + timedelta(weeks=HORIZON_WEEKS),
        seasons=int(next(iter(case.weighed.values())).weeks.year[-1]),
        currency=decisions.records.settings.currency,
        evidence=decisions.fit.evidence,
        because=reasons,
        stop={unit: found for unit, reasons in case.unsafe.items() if (found := not_to_run(reasons))},
        check_first={unit: found for unit, reasons in case.unsafe.items() if (found := check_first(reasons))},
        due=_due(case),
        due_at_opening=_due_at_opening(case, plan),
        hours=dict(zip(work, known, strict=True)),
        remarks=case.remarks,
    )


def _parts(case: PlanCase, plan: Plan, to_come: int | None) -> PartsOrder:
    limits, settings = case.limits, case.decisions.records.settings
    lead_time, kits = limits.lead_time(settings.bench), limits.kits_here(settings.stock)
    return parts_order(plan, case.decisions.as_of, lead_time, kits=kits, to_come=to_come)


def _whole(by_unit: Mapping[str, np.ndarray]) -> np.ndarray:
    whole: np.ndarray = np.sum(list(by_unit.values()), axis=0)
    return whole


def _bench(case: PlanCase) -> tuple[BenchWeek, ...]:
    weeks, places = case.problem.weeks, case.problem.bench_places
    opened = open_weeks(weeks, case.limits.closed)
    return tuple(
        BenchWeek(monday, float(free), not is_open) for monday, free, is_open in zip(weeks, places, opened, strict=True)
    )


def _in_season(case: PlanCase) -> bool:
    return case.decisions.records.settings.season.contains(case.decisions.as_of)


def _due(case: PlanCase) -> dict[str, Due]:
    """What the units' own triggers ask for today: in season, of units that have reached them."""
    if not _in_season(case):
        return {}
    found = {unit: one.triggers.reached(one.age_h, case.decisions.as_of) for unit, one in case.weighed.items()}
    return {unit: due for unit, due in found.items() if due is not None}


def _due_at_opening(case: PlanCase, plan: Plan) -> dict[str, Due]:
    """What the season after will ask for as soon as it opens, of units that are left."""
    left = {one.unit_id for one in plan.actions if one.action == "leave"}
    found = {unit: _asked_at_opening(off, case.weighed[unit]) for unit, off in case.ahead.items() if unit in left}
    return {unit: due for unit, due in found.items() if due is not None}


def _asked_at_opening(off: OffSeasonAhead, one: Waiting) -> Due | None:
    if off.act is None:
        return None
    steps = one.weeks.step_of_week
    return off.act.action if steps[off.act.week] <= steps[off.opens] else None


def _rules_beside(case: PlanCase, steps: tuple[RuleStep, ...], plan_saves: np.ndarray) -> tuple[RuleBeside, ...]:
    """Each N of the rule that adds a rebuild, beside a plan that saves `plan_saves` (draws,)."""
    problem = case.problem
    saves, rebuilds, spent, cost = np.zeros(len(plan_saves)), 0, 0.0, problem.leave_all
    found = []
    for step in steps:
        for unit, week in step.placed:
            saves = saves + case.saved_by(unit, "rebuild", problem.weeks[week])
            rebuilds, spent = rebuilds + 1, spent + float(problem.rebuild_spend[unit])
            cost -= float(problem.leave_cost[unit] - problem.rebuild_cost[unit, week])
        if step.placed or step.n_hours is None:
            left = list(step.in_season)
            later = sum((case.saved_by(unit, "leave", None, in_season=True) for unit in left), np.zeros(len(saves)))
            whole = cost - float((problem.leave_cost - problem.season_cost)[left].sum())
            found.append(RuleBeside(step.n_hours, rebuilds, spent, whole, amount_of(plan_saves - saves - later)))
    return tuple(found)


def _reasons(case: PlanCase) -> dict[str, tuple[str, ...]]:
    """What drives each unit's risk, in the words of the forecast."""
    units = case.decisions.histories.in_service()
    unit_ids = [str(unit_id) for unit_id in units.lives["unit_id"]]
    found: dict[str, tuple[str, ...]] = {}
    for begun in range(0, len(unit_ids), REASONED_AT_ONCE):
        some = unit_ids[begun : begun + REASONED_AT_ONCE]
        theirs = units.select(np.arange(len(unit_ids)) // REASONED_AT_ONCE == begun // REASONED_AT_ONCE)
        unsafe = [case.unsafe.get(unit_id, ()) for unit_id in some]
        found |= zip(some, Causes(case.decisions.fit, theirs).because(REASON_HOURS, unsafe), strict=True)
    return found


def _triggers_after(decisions: Decisions, off: OffSeasonAhead, planned: PlannedAction) -> Triggers:
    """The triggers of the season after: the unit's own where it is left, those of a fresh unit where it is rebuilt.

    After a check that was quiet the unit's own stand, on the safe side: what it showed is in the next day's answer.
    """
    begun = 0.0
    if off.before is not None and off.before.action == "rebuild":
        begun = float(decisions.weekly_hours[planned.craft_id][off.before.week : off.begins].sum())
    elif planned.action != "rebuild":
        return off.triggers
    upkeep = decisions.upkeep(planned.craft_id)
    return Triggers(upkeep.first_season_h("check", begun), upkeep.first_season_h("rebuild", begun))

"""A plan changed by hand: what each unit's work then comes to, within the limits or not.

Nothing else of the plan moves: what was changed is what is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, get_args

import numpy as np

from forecaster.errors import WrongUsage
from forecaster.plan_case import PlanCase
from forecaster.plan_days import later_weeks, monday_of
from forecaster.plan_overspend import chance_of_overspending
from forecaster.plan_places import NO_WEEK, Schedule
from forecaster.plan_problem import (
    ACTIONS,
    CHECK,
    LEAST_SAVING,
    SAME_COST,
    SEASON,
    Action,
    Plan,
    PlanEdit,
    PlannedAction,
    act_of,
)
from forecaster.written_days import DatedText

CLOSED: dict[str, Any] = {"in_season": False, "season_spend": 0.0}


def edited(case: PlanCase, plan: Plan, edits: Mapping[str, PlanEdit]) -> Plan:
    """The plan with these units' work instead, within the limits or not; see ``broken_limits.broken_limits``.

    What a little more of a limit would save is that of the best plan and no longer told. Raises WrongUsage for a unit
    that is not in the plan, an action that is none, or a week before the work begins or beyond ``later_weeks``.
    """
    _refuse_unknown(case, plan, edits)
    asked = _with_weeks(case, plan, edits)
    actions = [_edited(case, i, one, asked.get(one.unit_id)) for i, one in enumerate(plan.actions)]
    left = [i for i, one in enumerate(plan.actions) if one.unit_id in asked and actions[i].action == "leave"]
    actions = _season_of_left(case, actions, left)
    spent = float(np.sum([one.cost for one in actions]))
    cost = case.problem.leave_all - float(np.sum([one.saves for one in actions]))
    return Plan(
        tuple(actions),
        spent,
        plan.budget,
        cost,
        plan.expected_cost_do_nothing,
        plan.expected_cost_at_triggers,
        overspend_chance=chance_of_overspending(case.problem, enumerate(map(act_of, actions))),
    )


def _season_of_left(case: PlanCase, actions: list[PlannedAction], left: list[int]) -> list[PlannedAction]:
    """The work with the units that were left by hand acted on in season, as far as that season's limits allow it."""
    problem, schedule = case.problem, Schedule(case.problem)
    week = {monday: number for number, monday in enumerate(problem.weeks)}
    for i, one in enumerate(actions):
        if one.week_of in week:
            schedule.take(i, act_of(one), week[one.week_of])
        elif one.week_of:
            schedule.money -= one.cost
        elif one.in_season:
            schedule.take(i, SEASON)
    told = list(actions)
    for i in left:
        if problem.worth(SEASON)[i] >= LEAST_SAVING and schedule.fits(i, SEASON, NO_WEEK):
            schedule.take(i, SEASON)
            saves, spend = schedule.saving(i), schedule.spending(i)
            told[i] = replace(told[i], in_season=True, saves=saves, season_spend=spend)
    return told


def _refuse_unknown(case: PlanCase, plan: Plan, edits: Mapping[str, PlanEdit]) -> None:
    known = [planned.unit_id for planned in plan.actions]
    unknown = [unit for unit in edits if unit not in known]
    if unknown:
        told = ", ".join(known[:12]) + (" ..." if len(known) > 12 else "")
        raise WrongUsage(f"{', '.join(unknown[:10])} is not in the plan, whose units are {told}.")
    weeks = list(case.problem.weeks)
    last = [*weeks, *later_weeks(weeks, case.decisions.as_of)][-1]
    for unit, edit in edits.items():
        if edit.action not in get_args(Action):
            raise WrongUsage(
                f"{unit}: {edit.action!r} is nothing that can be done; choose {', '.join(get_args(Action))}."
            )
        if edit.action != "leave" and edit.week_of and not weeks[0] <= monday_of(edit.week_of) <= last:
            raise WrongUsage(
                DatedText(
                    f"{unit}: the week of ",
                    monday_of(edit.week_of),
                    " is outside of what can be said here: choose one from ",
                    weeks[0],
                    " to ",
                    last,
                    ", or plan for other days.",
                )
            )


def _with_weeks(case: PlanCase, plan: Plan, edits: Mapping[str, PlanEdit]) -> dict[str, PlanEdit]:
    """The edits with a Monday each: work that names no week goes one after another where it costs least.

    That is the earliest week of least cost with a place free beside all other work, else of all open ones; what saves
    most comes first.
    """
    problem = case.problem
    schedule = Schedule(replace(problem, budget=None, overspend_chance=1.0))
    week = {monday: number for number, monday in enumerate(problem.weeks)}
    asked = {
        unit: replace(edit, week_of=monday_of(edit.week_of) if edit.week_of and edit.action != "leave" else None)
        for unit, edit in edits.items()
    }
    open_yet = []
    for i, planned in enumerate(plan.actions):
        now = asked.get(planned.unit_id, PlanEdit(planned.action, planned.week_of))
        if now.action == "leave":
            continue
        if now.week_of is None:
            open_yet.append(i)
        elif now.week_of in week:
            schedule.take(i, ACTIONS.index(now.action), week[now.week_of])
    work = {i: ACTIONS.index(asked[problem.unit_ids[i]].action) for i in open_yet}
    saves = {i: float(problem.worth(act)[i].max()) for i, act in work.items()}
    for i in sorted(open_yet, key=lambda i: (-round(saves[i], 2), problem.unit_ids[i])):
        unit = problem.unit_ids[i]
        first = _cheapest_week(schedule, i, work[i])
        schedule.take(i, work[i], first)
        asked[unit] = replace(asked[unit], week_of=problem.weeks[first])
    return asked


def _cheapest_week(schedule: Schedule, unit: int, act: int) -> int:
    problem, room = schedule.problem, schedule.room(unit, act)
    allowed = room if room.any() else problem.bench_places > 0
    if not allowed.any():
        return 0
    cost = np.where(allowed, (problem.check_cost if act == CHECK else problem.rebuild_cost)[unit], np.inf)
    return int(np.argmax(cost <= cost.min() + max(SAME_COST, problem.least_wait)))


def _edited(case: PlanCase, unit: int, planned: PlannedAction, edit: PlanEdit | None) -> PlannedAction:
    """What is done with the unit, in that place of the problem, now."""
    if edit is None or (edit.action, edit.week_of) == (planned.action, planned.week_of):
        return planned
    if edit.action == "leave":
        return replace(planned, action="leave", week_of=None, cost=0.0, saves=0.0, rattle=0.0, **CLOSED)
    checks = edit.action == "check"
    return replace(
        planned,
        action=edit.action,
        week_of=edit.week_of,
        cost=float((case.problem.check_spend if checks else case.problem.rebuild_spend)[unit]),
        saves=float(case.saved_by(unit, edit.action, edit.week_of).mean()),
        rattle=float(case.problem.check_bench[unit]) if checks else 0.0,
        **CLOSED,
    )

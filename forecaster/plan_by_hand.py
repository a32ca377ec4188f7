"""A plan changed by hand: what each unit's work then comes to, and which limits it breaks, in words.

Nothing else of the plan moves: what was changed is what is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import get_args

import numpy as np

from forecaster.errors import WrongUsage
from forecaster.plan_case import PlanCase
from forecaster.plan_days import later_weeks, monday_of, open_weeks
from forecaster.plan_places import ACTIONS, CHECK, Schedule
from forecaster.plan_problem import SAME_COST, TOLERANCE, WEEK, Action, Plan, PlannedAction
from forecaster.written_days import DatedText

CHECKS_COUNT = " (a check counts as its chance of a rattle)"


@dataclass(frozen=True)
class PlanEdit:
    """What is to be done with a unit instead: any day of the week meant; None for work: its cheapest free week.

    `note`: why, in the words of whoever changed it; on one line.
    """

    action: Action
    week_of: date | None = None
    note: str = ""


def edited(case: PlanCase, plan: Plan, edits: Mapping[str, PlanEdit]) -> Plan:
    """The plan with these units' work instead, within the limits or not; see ``broken_limits``.

    What a little more of a limit would save is that of the best plan and no longer told. Raises WrongUsage for a unit
    that is not in the plan, an action that is none, or a week before the work begins or beyond ``later_weeks``.
    """
    _refuse_unknown(case, plan, edits)
    asked = _with_weeks(case, plan, edits)
    actions = [_edited(case, i, one, asked.get(one.unit_id)) for i, one in enumerate(plan.actions)]
    spent = float(np.sum([one.cost for one in actions]))
    saves = float(np.sum([one.saves for one in actions]))
    return Plan(
        tuple(actions), spent, plan.budget, plan.expected_cost_do_nothing - saves, plan.expected_cost_do_nothing
    )


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
            raise WrongUsage(f"{unit}: {edit.action!r} is nothing that can be done; choose {', '.join(ACTIONS)}.")
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

    That is the earliest week of least cost with a place free beside all other work, else of all open ones.
    """
    problem = case.problem
    schedule = Schedule(replace(problem, budget=None))
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
    for i in open_yet:
        unit = problem.unit_ids[i]
        first = _cheapest_week(schedule, i, ACTIONS.index(asked[unit].action))
        schedule.take(i, ACTIONS.index(asked[unit].action), first)
        asked[unit] = replace(asked[unit], week_of=problem.weeks[first])
    return asked


def _cheapest_week(schedule: Schedule, unit: int, act: int) -> int:
    problem, room = schedule.problem, schedule.room(unit, act)
    allowed = room if room.any() else problem.bench_places > 0
    if not allowed.any():
        return 0
    cost = np.where(allowed, (problem.check_cost if act == CHECK else problem.rebuild_cost)[unit], np.inf)
    return int(np.argmax(cost <= cost.min() + SAME_COST))


def _edited(case: PlanCase, unit: int, planned: PlannedAction, edit: PlanEdit | None) -> PlannedAction:
    """What is done with the unit, in that place of the problem, now."""
    if edit is None or (edit.action, edit.week_of) == (planned.action, planned.week_of):
        return planned
    if edit.action == "leave":
        return replace(planned, action="leave", week_of=None, cost=0.0, saves=0.0, rattle=0.0)
    checks = edit.action == "check"
    return replace(
        planned,
        action=edit.action,
        week_of=edit.week_of,
        cost=float((case.problem.check_spend if checks else case.problem.rebuild_spend)[unit]),
        saves=float(case.saved_by(unit, edit.action, edit.week_of).mean()),
        rattle=float(case.problem.check_bench[unit]) if checks else 0.0,
    )


def broken_limits(case: PlanCase, plan: Plan) -> tuple[str, ...]:
    """Which limits a plan breaks, each in a sentence; none: it keeps within all of them."""
    return (
        *_over_budget(plan),
        *_too_late(case, plan),
        *_bench_overfull(case, plan),
        *_spares_short(case, plan),
        *_must_left(case, plan),
    )


def _over_budget(plan: Plan) -> list[str]:
    if plan.budget is None or plan.spent <= plan.budget + TOLERANCE:
        return []
    return [
        f"The budget: the work costs {plan.spent:,.0f}, which is {plan.spent - plan.budget:,.0f} above "
        f"{plan.budget:,.0f}."
    ]


def _too_late(case: PlanCase, plan: Plan) -> list[str]:
    late: dict[date, list[str]] = {}
    for one in plan.actions:
        if one.week_of is not None and one.week_of not in case.problem.weeks:
            late.setdefault(one.week_of, []).append(one.unit_id)
    opens = case.days.season_opens
    return [
        DatedText(
            "Ready by ",
            case.days.ready_by,
            f": {_named(units)} in the week of ",
            monday,
            " would be done too late",
            *((", after the opening on ", opens, ".") if monday + WEEK > opens else (".",)),
        )
        for monday, units in sorted(late.items())
    ]


def _bench_overfull(case: PlanCase, plan: Plan) -> list[str]:
    told: list[str] = []
    opened = open_weeks(case.problem.weeks, case.limits.closed)
    for monday, places, is_open in zip(case.problem.weeks, case.problem.bench_places, opened, strict=True):
        work = [one for one in plan.actions if one.week_of == monday]
        taken = sum(1.0 if one.action == "rebuild" else one.rattle for one in work)
        if work and places <= 0:
            why = "finishes nothing in" if is_open else "is closed in"
            units = _named([one.unit_id for one in work])
            told.append(DatedText(f"The bench {why} the week of ", monday, f", and {units} is in it."))
        elif taken > places + TOLERANCE:
            counted = CHECKS_COUNT if any(one.action == "check" for one in work) else ""
            more = f" takes {taken:.3g} places{counted}, and there are {places:g}."
            told.append(DatedText("The bench: the work in the week of ", monday, more))
    return told


def _spares_short(case: PlanCase, plan: Plan) -> list[str]:
    problem = case.problem
    away = np.zeros(len(problem.spares_by_week))
    first = {monday: k for k, monday in enumerate(problem.weeks)}
    for one in plan.actions:
        if one.week_of in first:
            k = first[one.week_of]
            away[k : k + problem.out_weeks] += 1.0 if one.action == "rebuild" else one.rattle
    return [
        DatedText(
            "Spare units: in the week of ",
            monday,
            f" craft earn, {gone:.3g} units are away, and {problem.spare_units} can stand in.",
        )
        for monday, gone, most in zip(problem.weeks, away, problem.spares_by_week, strict=False)
        if gone > most + TOLERANCE
    ]


def _must_left(case: PlanCase, plan: Plan) -> list[str]:
    left = [one.unit_id for one in plan.actions if one.unit_id in case.problem.must and one.action != "rebuild"]
    return [f"{_named(left)} must be rebuilt: see why it must not run as it is."] if left else []


def _named(units: list[str]) -> str:
    return ", ".join(units[:10]) + (" ..." if len(units) > 10 else "")

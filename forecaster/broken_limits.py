"""Which limits a plan breaks that was changed by hand, each in a sentence."""

from __future__ import annotations

from datetime import date

import numpy as np

from forecaster.plan_case import PlanCase
from forecaster.plan_days import open_weeks
from forecaster.plan_overspend import SAME_CHANCE
from forecaster.plan_problem import TOLERANCE, WEEK, Plan
from forecaster.written_chances import percent
from forecaster.written_days import DatedText

CHECKS_COUNT = " (a check counts as its chance of a rattle)"


def broken_limits(case: PlanCase, plan: Plan) -> tuple[str, ...]:
    """Which limits a plan breaks, each in a sentence; none: it keeps within all of them."""
    return (
        *_over_budget(case, plan),
        *_overspends(case, plan),
        *_too_late(case, plan),
        *_bench_overfull(case, plan),
        *_parts_short(case, plan),
        *_season_short(case, plan),
        *_spares_short(case, plan),
        *_must_left(case, plan),
    )


def _over_budget(case: PlanCase, plan: Plan) -> list[str]:
    shared = plan.season_spent if case.problem.season_budget is None else 0.0
    spent = plan.spent + shared
    if plan.budget is None or spent <= plan.budget + TOLERANCE:
        return []
    of_season = f", {shared:,.0f} of it in season," if shared >= 0.5 else ""
    return [
        f"The budget: the work costs {spent:,.0f}{of_season or ','} which is {spent - plan.budget:,.0f} above "
        f"{plan.budget:,.0f}."
    ]


def _overspends(case: PlanCase, plan: Plan) -> list[str]:
    limit = case.problem.overspend_chance
    if plan.overspend_chance <= limit + SAME_CHANCE or _over_budget(case, plan):  # what is expected comes first
        return []
    return [
        f"Overspending: the work costs more than there is with a chance of {percent(plan.overspend_chance)}, and "
        f"{percent(limit)} is allowed."
    ]


def _parts_short(case: PlanCase, plan: Plan) -> list[str]:
    problem = case.problem
    early = problem.weeks[: problem.parts_week]
    work = [one for one in plan.actions if one.week_of in early]
    taken = sum(1.0 if one.action == "rebuild" else one.rattle for one in work)
    if taken <= problem.kits + TOLERANCE:
        return []
    counted = CHECKS_COUNT if any(one.action == "check" for one in work) else ""
    here_on = case.limits.here_on(case.decisions.as_of, case.decisions.records.settings.bench)
    return [
        DatedText(
            f"Parts: {_named([one.unit_id for one in work])} would take {taken:.3g} sets{counted} before parts ordered "
            "today are here on ",
            here_on,
            f", and {problem.kits:g} are on the shelf.",
        )
    ]


def _season_short(case: PlanCase, plan: Plan) -> list[str]:
    """What the units that are left to the season's triggers take of its bench and of its own budget."""
    problem, told = case.problem, []
    at = {unit: number for number, unit in enumerate(problem.unit_ids)}
    units = [at[one.unit_id] for one in plan.actions if one.in_season]
    if problem.season_budget is not None:
        spent = float(problem.season_spend[units].sum())
        if spent > problem.season_budget + TOLERANCE:
            told.append(f"The season's budget: its work costs {spent:,.0f}, and it is {problem.season_budget:,.0f}.")
    if len(problem.season_places):
        placed = [unit for unit in units if problem.season_week[unit] >= 0]
        taken = np.zeros(len(problem.season_places))
        np.add.at(taken, problem.season_week[placed], problem.season_bench[placed])
        over = np.flatnonzero(taken > problem.season_places + TOLERANCE)
        if len(over):
            week = int(over[0])
            told.append(
                f"The season's bench: in week {week + 1} of the season {taken[week]:.3g} places are expected to be "
                f"taken, and there are {problem.season_places[week]:g}."
            )
    return told


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

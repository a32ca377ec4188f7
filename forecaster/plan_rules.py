"""The rule that fleets live by, "rebuild every unit past N hours", as a plan under the same limits: the one to beat.

Units that it leaves are acted on in season at their triggers, as those are that a plan leaves, within the same limits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.errors import WrongUsage
from forecaster.plan import must_be_done
from forecaster.plan_early import earliest
from forecaster.plan_places import Schedule, fill
from forecaster.plan_problem import LEAST_SAVING, LEAVE, REBUILD, SAME_COST, SEASON, Plan, PlanProblem


@dataclass(frozen=True)
class EveryNHours:
    """The rule's plan, and its N; None: by the model's account it is best never to rebuild by hours alone."""

    n_hours: float | None
    plan: Plan


@dataclass(frozen=True)
class RuleStep:
    """The rebuilds, (unit, week) in places of the problem, that a lower N adds to those of the N before it.

    `n_hours` None: what must be rebuilt whatever the rule says, which comes before all. `in_season`: all units that are
    then acted on in season, as far as its limits allow.
    """

    n_hours: float | None
    placed: tuple[tuple[int, int], ...]
    in_season: tuple[int, ...] = ()


def every_n_hours(problem: PlanProblem, hours: np.ndarray, n_hours: float) -> Plan:
    """Rebuild every unit with `n_hours` or more since its rebuild, the oldest first, within the same limits.

    `hours` (n,): hours since rebuild; NaN where not known, and then the rule never reaches it. Each unit gets the week
    in which its rebuild costs least of those with room left, the earliest of equals; one for which there is none is
    left. Units that must be rebuilt come before all. WrongUsage as in ``solve_plan``.
    """
    schedule = must_be_done(problem)
    for unit in _oldest_first(problem, hours):
        if hours[unit] >= n_hours:
            _place(schedule, unit)
    return _with_season(schedule).plan()


def _with_season(schedule: Schedule) -> Schedule:
    """The rule's rebuilds, what saves most first, with the season's work of the units that it leaves."""
    return fill(earliest(schedule), (SEASON,))


def rule_steps(problem: PlanProblem, hours: np.ndarray) -> tuple[RuleStep, ...]:
    """The rule for every N that makes a difference, highest first; see ``every_n_hours``.

    Since the oldest come first, a lower N only adds units to the plan of a higher one: one pass tries every N.
    """
    order = _oldest_first(problem, hours)
    schedule = must_be_done(problem)
    musts = tuple((int(i), int(schedule.week[i])) for i in np.flatnonzero(schedule.act != LEAVE))
    steps, added = [RuleStep(None, musts, _in_season(schedule))], []
    for number, unit in enumerate(order):
        if _place(schedule, unit):
            added.append((unit, int(schedule.week[unit])))
        same_age_follows = number + 1 < len(order) and hours[order[number + 1]] == hours[unit]
        if not same_age_follows:
            left = _in_season(schedule) if added else steps[-1].in_season
            steps.append(RuleStep(float(hours[unit]), tuple(added), left))
            added = []
    return tuple(steps)


def best_every_n_hours(
    problem: PlanProblem, hours: np.ndarray, steps: tuple[RuleStep, ...] | None = None
) -> EveryNHours:
    """The rule with the N that costs least by the model's own account: the strongest form of the rule.

    `steps`: those of ``rule_steps``, where they are known already.
    """
    schedule = Schedule(problem)
    best_n, best, worth = None, None, 0.0
    in_season = problem.worth(SEASON)
    for step in rule_steps(problem, hours) if steps is None else steps:
        for unit, week in step.placed:
            schedule.take(unit, REBUILD, week)
        later = float(in_season[list(step.in_season)].sum())
        if best is None or schedule.worth + later >= worth + LEAST_SAVING:
            best_n, best, worth = step.n_hours, schedule.copy(), schedule.worth + later
    if best is None:
        raise WrongUsage("The rule was given no step at all.")
    return EveryNHours(best_n, _with_season(best).plan())


def _in_season(schedule: Schedule) -> tuple[int, ...]:
    """The units that are acted on in season where these rebuilds are done."""
    return tuple(unit for unit, act in fill(schedule.copy(), (SEASON,)).work if act == SEASON)


def _oldest_first(problem: PlanProblem, hours: np.ndarray) -> list[int]:
    hours = np.asarray(hours, dtype=float)
    if hours.shape != (problem.n,):
        raise WrongUsage(f"The rule needs the hours of each of {problem.n} units, not shape {hours.shape}.")
    known = np.flatnonzero(~np.isnan(hours))
    return sorted((int(i) for i in known), key=lambda i: (-hours[i], problem.unit_ids[i]))


def _place(schedule: Schedule, unit: int) -> bool:
    """Put a unit's rebuild where it costs least, the earliest of equals; whether there was room."""
    room = schedule.room(unit, REBUILD)
    if not room.any():
        return False
    cost = np.where(room, schedule.problem.rebuild_cost[unit], np.inf)
    schedule.take(unit, REBUILD, int(np.argmax(cost <= cost.min() + max(SAME_COST, schedule.problem.least_wait))))
    return True

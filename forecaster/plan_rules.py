"""The rule that fleets live by, "rebuild every unit past N hours", as a plan under the same limits: the one to beat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.errors import WrongUsage
from forecaster.plan import must_be_done
from forecaster.plan_places import REBUILD, Schedule
from forecaster.plan_problem import LEAST_SAVING, Plan, PlanProblem


@dataclass(frozen=True)
class EveryNHours:
    """The rule's plan, and its N; None: by the model's account it is best never to rebuild by hours alone."""

    n_hours: float | None
    plan: Plan


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
    return schedule.plan()


def best_every_n_hours(problem: PlanProblem, hours: np.ndarray) -> EveryNHours:
    """The rule with the N that costs least by the model's own account: the strongest form of the rule.

    Since the oldest come first, a lower N only adds units to the plan of a higher one: one pass tries every N.
    """
    order = _oldest_first(problem, hours)
    schedule = must_be_done(problem)
    best_n, best = None, schedule.plan()
    for number, unit in enumerate(order):
        _place(schedule, unit)
        same_age_follows = number + 1 < len(order) and hours[order[number + 1]] == hours[unit]
        if not same_age_follows and schedule.saves >= best.saves + LEAST_SAVING:
            best_n, best = float(hours[unit]), schedule.plan()
    return EveryNHours(best_n, best)


def _oldest_first(problem: PlanProblem, hours: np.ndarray) -> list[int]:
    hours = np.asarray(hours, dtype=float)
    if hours.shape != (problem.n,):
        raise WrongUsage(f"The rule needs the hours of each of {problem.n} units, not shape {hours.shape}.")
    known = np.flatnonzero(~np.isnan(hours))
    return sorted((int(i) for i in known), key=lambda i: (-hours[i], problem.unit_ids[i]))


def _place(schedule: Schedule, unit: int) -> bool:
    room = schedule.room(unit, REBUILD)
    if not room.any():
        return False
    cost = np.where(room, schedule.problem.rebuild_cost[unit], np.inf)
    schedule.take(unit, REBUILD, int(np.argmin(cost)))
    return True

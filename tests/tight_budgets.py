"""The sample fleet's plan at budgets from nothing to enough for all: is the most dangerous unit worked first?

    python -m tests.tight_budgets [AS_OF]

One row a budget, in steps of half a rebuild, with the chance of overspending limited as fleet.toml says, and without a
limit: what the plan saves, what is worked, and whether the unit with the highest chance of failing within its next 50
engine hours is among it. The last line counts budgets that pay for some work on that unit and at which it is left.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from forecaster import Fleet, open_fleet
from forecaster.installed import sample_fleet_folder
from forecaster.plan import solve_plan
from forecaster.plan_case import PlanCase, lay_out
from forecaster.plan_limits import PlanLimits
from forecaster.plan_overspend import chance_of_overspending
from forecaster.plan_problem import CHECK, REBUILD, Plan, PlanProblem


@dataclass(frozen=True)
class AtBudget:
    """The plan at one budget, and whether that pays for some work on the most dangerous unit and works it."""

    budget: float
    plan: Plan
    saves: float
    pays: bool
    worked: bool


def sample_case(as_of: date) -> tuple[Fleet, PlanCase]:
    """The sample fleet's off-season after a day."""
    fleet = open_fleet(sample_fleet_folder(), as_of)
    return fleet, lay_out(fleet.decisions(as_of), PlanLimits())


def most_dangerous(fleet: Fleet, as_of: date) -> str:
    """The unit with the highest chance of failing within its next 50 engine hours."""
    return max(fleet.forecast(as_of, 50.0).units, key=lambda unit: unit.fails_within.mean).unit_id


def at_budgets(problem: PlanProblem, unit_id: str, step: float, overspend_chance: float) -> Iterator[AtBudget]:
    """The plan at every budget from 0 to what a plan without a limit spends, and one step beyond."""
    unit = list(problem.unit_ids).index(unit_id)
    free = replace(problem, budget=None, overspend_chance=1.0)
    most = solve_plan(free).spent
    for budget in np.arange(0.0, most + 2 * step, step):
        p = replace(problem, budget=float(budget), overspend_chance=overspend_chance)
        plan = solve_plan(p)
        work = plan.actions[unit]
        pays = any(
            spend <= budget and chance_of_overspending(p, [(unit, act)]) <= overspend_chance
            for act, spend in ((REBUILD, p.rebuild_spend[unit]), (CHECK, p.check_spend[unit]))
        )
        yield AtBudget(float(budget), plan, p.leave_all - plan.expected_cost, bool(pays), work.action != "leave")


def main(as_of: date) -> None:
    """Print both tables."""
    fleet, case = sample_case(as_of)
    unit = most_dangerous(fleet, as_of)
    step = float(case.problem.rebuild_spend.min()) / 2
    for limit in (case.problem.overspend_chance, 1.0):
        print(f"{unit} is the most dangerous; chance of overspending at most {limit:g}")
        heads = ("budget", "spent", "season", "saves", "overspent", "rebuilt", "checked")
        print(" ".join(f"{head:>9}" for head in heads), f" {unit}")
        left = 0
        for one in at_budgets(case.problem, unit, step, limit):
            left += one.pays and not one.worked
            plan = one.plan
            print(
                f"{one.budget:>9,.0f} {plan.spent:>9,.0f} {plan.season_spent:>9,.0f} {one.saves:>9,.0f} "
                f"{plan.overspend_chance:>9.3f} {plan.count('rebuild'):>9} {plan.count('check'):>9}  "
                f"{'worked' if one.worked else 'left' if one.pays else 'cannot be paid for'}"
            )
        print(f"left although it could be paid for, at so many budgets: {left}\n")


if __name__ == "__main__":
    main(date.fromisoformat(sys.argv[1]) if sys.argv[1:] else date(2026, 10, 31))

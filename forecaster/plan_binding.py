"""Which limits keep a plan from saving more, in words: only those of which a little more would save something."""

from __future__ import annotations

import numpy as np

from forecaster.plan_places import Schedule
from forecaster.plan_problem import TOLERANCE, Plan, PlanProblem
from forecaster.written_chances import percent


def limits_in_words(problem: PlanProblem, best: Schedule, plan: Plan, risk: float) -> tuple[str, ...]:
    """A sentence for each limit that binds. `risk`: the chance of overspending where that were not limited."""
    told = []
    if problem.budget is not None and plan.next_1000 > 0:
        told.append(f"The budget binds: the next 1,000 would save a further {plan.next_1000:,.0f}.")
    if plan.next_season_1000 > 0:
        told.append(f"The season's budget binds: the next 1,000 would save a further {plan.next_season_1000:,.0f}.")
    if plan.no_overspend_limit > 0:
        told.append(
            f"The chance of overspending binds, at most {percent(problem.overspend_chance)}: without that limit the "
            f"plan would save a further {plan.no_overspend_limit:,.0f}, and cost more than there is with a chance of "
            f"{percent(risk)}."
        )
    if plan.next_bench_place > 0:
        full = [w for w in np.flatnonzero(problem.bench_places > 0) if best.places[w] < 1.0 - TOLERANCE]
        weeks = ", ".join(problem.weeks[int(w)].isoformat() for w in full)
        told.append(
            f"The bench binds{f' in weeks {weeks}' if full else ''}: one more place in the week of "
            f"{plan.next_bench_week} would save a further {plan.next_bench_place:,.0f}."
        )
    if plan.next_season_place > 0:
        told.append(
            "The season's bench binds: one more rebuild in each of its weeks would save a further "
            f"{plan.next_season_place:,.0f}."
        )
    if plan.next_kit > 0:
        told.append(
            "Parts bind until ordered ones are here: one more set on the shelf would save a further "
            f"{plan.next_kit:,.0f}."
        )
    if plan.next_spare_unit > 0:
        told.append(
            f"Spare units bind in the weeks in which craft earn: one more would save a further "
            f"{plan.next_spare_unit:,.0f}."
        )
    return tuple(told)

"""Weeks that are alike: every unit's work costs the same in each of them, so that the program may take them as one.

Off season nothing runs and no rental day is lost, so that most weeks are. Without it a solver tries the same plan over
and over with its weeks changed about.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from forecaster.plan_places import CHECK, REBUILD
from forecaster.plan_problem import SAME_COST, TOLERANCE, PlanProblem

Work = tuple[int, int, int]  # unit, act, week


def alike_weeks(problem: PlanProblem) -> np.ndarray:
    """For each week the first one that is alike, itself where none is, (W,).

    Only open weeks with whole bench places in which, and for as long as a unit is away, no spare has to stand in.
    """
    free = np.isinf(sliding_window_view(problem.spares_by_week, problem.out_weeks).min(axis=1))
    places = problem.bench_places
    free &= (places > 0) & (np.abs(places - np.round(places)) <= TOLERANCE)
    costs = np.concatenate([problem.rebuild_cost, problem.check_cost])
    first = np.arange(len(places))
    for week in np.flatnonzero(free):
        known = [k for k in np.flatnonzero(free[:week]) if first[k] == k]
        same = (k for k in known if (np.abs(costs[:, k] - costs[:, week]) <= SAME_COST).all())
        first[week] = next(same, week)
    return first


def laid_out(problem: PlanProblem, work: Sequence[Work], first: np.ndarray) -> list[Work] | None:
    """Work put into the first of weeks that are alike, spread over all of them; None where it does not fit so.

    Rebuilds take whole places, earliest first; checks, largest first, what is left of one. Taken together they may fit
    while one by one they do not.
    """
    left = problem.bench_places.astype(float).copy()
    spread: list[Work] = []
    for unit, act, week in sorted(work, key=lambda one: (one[1] != REBUILD, -problem.check_bench[one[0]])):
        takes = float(problem.check_bench[unit]) if act == CHECK else 1.0
        free = np.flatnonzero((first == first[week]) & (left >= takes - TOLERANCE))
        if not len(free):
            return None
        left[free[0]] -= takes
        spread.append((unit, act, int(free[0])))
    return spread

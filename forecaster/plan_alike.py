"""Weeks that are alike: every unit's work costs the same in each of them, so that the program may take them as one.

Off season nothing runs and no rental day is lost, so that most weeks are. Without it a solver tries the same plan over
and over with its weeks changed about. Weeks whose costs differ by less than waiting must save count as alike too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from forecaster.plan_problem import CHECK, REBUILD, SAME_COST, TOLERANCE, PlanProblem

Work = tuple[int, int, int]  # unit, act, week


def alike_weeks(problem: PlanProblem) -> np.ndarray:
    """For each week the first one that is alike, itself where none is, (W,).

    Only open weeks with whole bench places in which, and for as long as a unit is away, no spare has to stand in;
    a week before ordered parts are here is unlike one from then on.
    """
    free = np.isinf(sliding_window_view(problem.spares_by_week, problem.out_weeks).min(axis=1))
    places = problem.bench_places
    free &= (places > 0) & (np.abs(places - np.round(places)) <= TOLERANCE)
    costs = np.concatenate([problem.rebuild_cost, problem.check_cost])
    least = max(SAME_COST, problem.least_wait)
    first = np.arange(len(places))
    waits = np.isfinite(problem.kits) & (first < problem.parts_week)
    for week in np.flatnonzero(free):
        known = [k for k in np.flatnonzero(free[:week]) if first[k] == k and waits[k] == waits[week]]
        same = (k for k in known if (np.abs(costs[:, k] - costs[:, week]) <= least).all())
        first[week] = next(same, week)
    return first


def with_alike_costs(problem: PlanProblem, first: np.ndarray) -> PlanProblem:
    """The problem with each work's cost in weeks of the same `first`, (W,), the least of them: a bound on all."""
    if problem.least_wait <= 0:
        return problem

    def least(cost: np.ndarray) -> np.ndarray:
        lowest = np.full(cost.shape, np.inf)
        np.minimum.at(lowest.T, first, cost.T)
        alike: np.ndarray = lowest[:, first]
        return alike

    return replace(problem, rebuild_cost=least(problem.rebuild_cost), check_cost=least(problem.check_cost))


def laid_out(problem: PlanProblem, work: Sequence[Work], first: np.ndarray) -> tuple[list[Work], list[Work]]:
    """Work put into the first of weeks that are alike, spread over all of them; and what finds no place there.

    Rebuilds take whole places, earliest first; checks, largest first, what is left, where most is: so each week gets
    large ones and small ones, and can exchange some. Taken together checks may fit while one by one they do not;
    rebuilds always do.
    """
    bench = _Bench(problem, first)
    left_out = []
    for unit, act, week in sorted(work, key=lambda one: (one[1] != REBUILD, -problem.check_bench[one[0]])):
        takes = float(problem.check_bench[unit]) if act == CHECK else 1.0
        free = bench.free(week, takes)
        if free is None:
            left_out.append((unit, act, week))
        else:
            bench.put(unit, act, free, takes)
    return bench.work, left_out


class _Bench:
    """What lies in each week so far, and the places `left` there, (W,)."""

    def __init__(self, problem: PlanProblem, first: np.ndarray) -> None:
        self.first, self.left = first, problem.bench_places.astype(float).copy()
        self.work: list[Work] = []
        self.takes: list[float] = []

    def put(self, unit: int, act: int, week: int, takes: float) -> None:
        self.left[week] -= takes
        self.work.append((unit, act, week))
        self.takes.append(takes)

    def free(self, week: int, takes: float) -> int | None:
        """A week like that one with so many places left, or made free by exchanges; None: there is none."""
        alike = np.flatnonzero(self.first == self.first[week])
        free = alike[self.left[alike] >= takes - TOLERANCE]
        if len(free):
            return int(free[self.left[free].argmax()])
        return self._made_free(alike, takes) if self.left[alike].sum() >= takes - TOLERANCE else None

    def _made_free(self, alike: np.ndarray, takes: float) -> int | None:
        """The week, of those `alike`, in which so many places are free after exchanges; None: they did not bring it.

        What is left here and there is gathered in one week: one of its checks changes places with a smaller one, whose
        own week has enough left for it. Of all such pairs the one after which least is left over, else after which
        most is left in one week.
        """
        checks = [k for k, (_, act, at) in enumerate(self.work) if act == CHECK and at in alike]
        if not checks:
            return None
        size = np.array([self.takes[k] for k in checks])
        gained = size - size[:, None]  # by the larger one's week: [smaller, larger]
        for _ in alike:
            at = np.array([self.work[k][2] for k in checks])
            over = np.where(gained <= self.left[at][:, None], self.left[at] + gained - takes, -np.inf)
            over[at[:, None] == at] = -np.inf
            enough = over >= -TOLERANCE
            pair = np.where(enough, -over, -np.inf).argmax() if enough.any() else over.argmax()
            smaller, larger = np.unravel_index(pair, over.shape)
            if over[smaller, larger] <= self.left[alike].max() - takes + TOLERANCE:
                return None
            self._change_places(checks[int(smaller)], checks[int(larger)])
            if enough.any():
                return self.work[checks[int(smaller)]][2]
        return None

    def _change_places(self, one: int, other: int) -> None:
        weeks = self.work[one][2], self.work[other][2]
        for k, was, now in ((one, *weeks), (other, *reversed(weeks))):
            self.work[k] = (*self.work[k][:2], now)
            self.left[was] += self.takes[k]
            self.left[now] -= self.takes[k]

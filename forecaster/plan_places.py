"""Placing work one unit at a time within the limits: what a shop does by hand, and how every plan is accounted for."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from forecaster.plan_problem import LEAST_SAVING, TOLERANCE, Action, Plan, PlannedAction, PlanProblem

LEAVE, CHECK, REBUILD = 0, 1, 2
ACTIONS: tuple[Action, ...] = ("leave", "check", "rebuild")


class Schedule:
    """A plan in the making: the work of each unit, and what is left of the budget, the bench and the spare units."""

    def __init__(self, problem: PlanProblem) -> None:
        """An empty one: every unit left."""
        self.problem = problem
        self.act: np.ndarray = np.full(problem.n, LEAVE)
        self.week: np.ndarray = np.full(problem.n, -1)
        self.money = math.inf if problem.budget is None else problem.budget
        self.places: np.ndarray = problem.bench_places.copy()
        self.spares: np.ndarray = problem.spares_by_week

    def room(self, unit: int, act: int) -> np.ndarray:
        """The weeks, (W,) bool, in which this work still fits: an open week, money, a bench place, a spare to stand in.

        False everywhere for a unit that has its work already.
        """
        spend, places = self._takes(unit, act)
        if self.act[unit] != LEAVE or spend > self.money + TOLERANCE:
            return np.zeros(len(self.places), dtype=bool)
        least_spare = sliding_window_view(self.spares, self.problem.out_weeks).min(axis=1)
        fits: np.ndarray = (places <= self.places + TOLERANCE) & (places <= least_spare + TOLERANCE)
        return fits & (self.problem.bench_places > 0)

    def fits(self, unit: int, act: int, week: int) -> bool:
        """Whether this work still fits into that week: ``room`` of one week alone, in a fraction of the time."""
        spend, places = self._takes(unit, act)
        return (
            self.act[unit] == LEAVE
            and spend <= self.money + TOLERANCE
            and self.problem.bench_places[week] > 0
            and places <= self.places[week] + TOLERANCE
            and places <= self.spares[week : week + self.problem.out_weeks].min() + TOLERANCE
        )

    def take(self, unit: int, act: int, week: int) -> None:
        """Put this work into a week."""
        spend, places = self._takes(unit, act)
        self.act[unit], self.week[unit] = act, week
        self.money -= spend
        self.places[week] -= places
        self.spares[week : week + self.problem.out_weeks] -= places

    def give_back(self, unit: int) -> None:
        """Take a unit's work out of its week again: it is left."""
        act, week = int(self.act[unit]), int(self.week[unit])
        spend, places = self._takes(unit, act)
        self.act[unit], self.week[unit] = LEAVE, -1
        self.money += spend
        self.places[week] += places
        self.spares[week : week + self.problem.out_weeks] += places

    def copy(self) -> Schedule:
        """The same work, to be changed apart from this one."""
        other = Schedule(self.problem)
        other.act, other.week, other.money = self.act.copy(), self.week.copy(), self.money
        other.places, other.spares = self.places.copy(), self.spares.copy()
        return other

    def _takes(self, unit: int, act: int) -> tuple[float, float]:
        p = self.problem
        if act == REBUILD:
            return float(p.rebuild_spend[unit]), 1.0
        return float(p.check_spend[unit]), float(p.check_bench[unit])

    @property
    def saves(self) -> float:
        """Expected saving beside leaving every unit."""
        return math.fsum(self.saving(unit) for unit in range(self.problem.n))

    def saving(self, unit: int) -> float:
        """What a unit's work is expected to save beside leaving it; 0 where it is left."""
        if self.act[unit] == LEAVE:
            return 0.0
        cost = self.problem.rebuild_cost if self.act[unit] == REBUILD else self.problem.check_cost
        return float(self.problem.leave_cost[unit] - cost[unit, self.week[unit]])

    def plan(self) -> Plan:
        """The schedule as a plan, with its account."""
        p = self.problem
        actions = []
        for unit in range(p.n):
            act, worked = int(self.act[unit]), self.act[unit] != LEAVE
            actions.append(
                PlannedAction(
                    p.unit_ids[unit],
                    p.craft_ids[unit],
                    ACTIONS[act],
                    p.weeks[self.week[unit]] if worked else None,
                    self._takes(unit, act)[0] if worked else 0.0,
                    self.saving(unit),
                    float(p.check_bench[unit]) if act == CHECK else 0.0,
                )
            )
        spent = math.fsum(planned.cost for planned in actions)
        return Plan(tuple(actions), spent, p.budget, p.leave_all - self.saves, p.never_all, p.triggers_all)


def schedule_of(problem: PlanProblem, work: Sequence[tuple[int, int, int]]) -> Schedule | None:
    """The schedule of this work, each (unit, act, week); None where it does not keep within the limits."""
    schedule = Schedule(problem)
    for unit, act, week in work:
        if not schedule.fits(unit, act, week):
            return None
        schedule.take(unit, act, week)
    return schedule


def fill(schedule: Schedule, acts: Sequence[int] = (CHECK, REBUILD)) -> Schedule:
    """Fill a schedule up with what saves most for its money, as long as it saves and fits; returns the same schedule.

    Greedy: each choice stands, so that it may miss the best plan. A check, cheap for what it saves, stands in the way
    of the unit's rebuild: try it with `acts` (REBUILD,) too.
    """
    p = schedule.problem
    saving = np.stack([p.leave_cost[:, None] - p.check_cost, p.leave_cost[:, None] - p.rebuild_cost])
    spend = np.stack([p.check_spend, p.rebuild_spend])[:, :, None]
    worth = np.where(spend > 0, saving / np.where(spend > 0, spend, 1.0), np.inf)  # what costs nothing comes first
    order = np.lexsort((-saving.ravel(), -worth.ravel()))
    wanted = order[saving.ravel()[order] >= LEAST_SAVING]
    for kind, unit, week in zip(*(part.tolist() for part in np.unravel_index(wanted, saving.shape)), strict=True):
        if kind + 1 in acts and schedule.fits(unit, kind + 1, week):
            schedule.take(unit, kind + 1, week)
    return schedule

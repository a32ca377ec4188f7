"""Placing work one unit at a time within the limits: what a shop does by hand, and how every plan is accounted for."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from forecaster.plan_overspend import SAME_CHANCE, Outlay, chance_of_overspending, has_money_limit
from forecaster.plan_problem import (
    ACTIONS,
    CHECK,
    LEAST_SAVING,
    LEAVE,
    REBUILD,
    SEASON,
    TOLERANCE,
    Plan,
    PlannedAction,
    PlanProblem,
)

NO_WEEK = -1  # of what is not done in a week of the plan
LOOKED_AT_ONCE = 2_000  # pieces of work, after which it is looked again which of the rest may still find a place


class _Takes(NamedTuple):
    """What work takes: money with what is set aside for it, and places of the bench (of the season's, if then)."""

    money: float
    places: float


class Schedule:
    """A plan in the making: the work of each unit, and what is left of budgets, benches, parts and spare units."""

    def __init__(self, problem: PlanProblem) -> None:
        """An empty one: every unit left."""
        p = self.problem = problem
        self.act: np.ndarray = np.full(p.n, LEAVE)
        self.week: np.ndarray = np.full(p.n, NO_WEEK)
        self.money = math.inf if p.budget is None else p.budget
        self.season_money = math.inf if p.season_budget is None else p.season_budget  # not used where it is shared
        self.places: np.ndarray = p.bench_places.copy()
        self.season_places: np.ndarray = p.season_places.copy()
        self.spares: np.ndarray = p.spares_by_week
        self.kits = p.kits
        self._limited = has_money_limit(p)
        self._outlay: Outlay | None = None  # of the work so far, once it was asked for

    def room(self, unit: int, act: int) -> np.ndarray:
        """The weeks, (W,) bool, in which this work still fits: open, with money, bench place, parts and a spare.

        False everywhere for a unit that has its work already.
        """
        takes = self._takes(unit, act)
        if self.act[unit] != LEAVE or not self.affords(unit, act):
            return np.zeros(len(self.places), dtype=bool)
        return self._free_weeks(takes)

    def _free_weeks(self, takes: _Takes) -> np.ndarray:
        least_spare = sliding_window_view(self.spares, self.problem.out_weeks).min(axis=1)
        free: np.ndarray = (takes.places <= self.places + TOLERANCE) & (takes.places <= least_spare + TOLERANCE)
        if takes.places > self.kits + TOLERANCE:
            free[: self.problem.parts_week] = False
        return free & (self.problem.bench_places > 0)

    def fits(self, unit: int, act: int, week: int) -> bool:
        """Whether this work still fits into that week: ``room`` of one week alone, in a fraction of the time."""
        takes = self._takes(unit, act)
        if self.act[unit] != LEAVE or not self._has_money(act, takes):
            return False
        if act == SEASON:
            at = self.problem.season_week[unit]
            has_place = at < 0 or not len(self.season_places) or takes.places <= self.season_places[at] + TOLERANCE
        else:
            has_place = (
                self.problem.bench_places[week] > 0
                and takes.places <= self.places[week] + TOLERANCE
                and takes.places <= self.spares[week : week + self.problem.out_weeks].min() + TOLERANCE
                and (week >= self.problem.parts_week or takes.places <= self.kits + TOLERANCE)
            )
        return bool(has_place) and self._seldom_overspends(unit, act)

    def may_fit(self, unit: np.ndarray, act: np.ndarray, week: np.ndarray) -> np.ndarray:
        """Of many pieces of work, (m,) each, those of units that are left and in weeks with a place; as ``fits``.

        Money is not looked at.
        """
        p = self.problem
        may: np.ndarray = self.act[unit] == LEAVE
        now = act != SEASON
        places = np.where(act == REBUILD, 1.0, p.check_bench[unit])
        may[now] &= (places <= self.places[week] + TOLERANCE)[now]
        if len(self.season_places):
            at = p.season_week[unit]
            may[~now] &= ((at < 0) | (p.season_bench[unit] <= self.season_places[at] + TOLERANCE))[~now]
        return may

    def affords(self, unit: int, act: int) -> bool:
        """Whether there is money for this work, and the chance that all costs more than there is stays small enough."""
        return self._has_money(act, self._takes(unit, act)) and self._seldom_overspends(unit, act)

    def _has_money(self, act: int, takes: _Takes) -> bool:
        apart = act == SEASON and self.problem.season_budget is not None
        return takes.money <= (self.season_money if apart else self.money) + TOLERANCE

    def _seldom_overspends(self, unit: int, act: int) -> bool:
        limit = self.problem.overspend_chance
        if limit >= 1 or not self._limited:
            return True
        if self._outlay is None:
            self._outlay = Outlay(self.problem, self.work)
        return self._outlay.chance_with(unit, act) <= limit + SAME_CHANCE

    def take(self, unit: int, act: int, week: int = NO_WEEK) -> None:
        """Put this work into a week; acting in season has none."""
        self._move(unit, act, week, 1.0)
        self.act[unit], self.week[unit] = act, week
        if self._outlay is not None:
            self._outlay.add(unit, act)

    def give_back(self, unit: int) -> None:
        """Take a unit's work out of its week again: it is left."""
        self._move(unit, int(self.act[unit]), int(self.week[unit]), -1.0)
        self.act[unit], self.week[unit] = LEAVE, NO_WEEK
        self._outlay = None

    def move(self, unit: int, week: int) -> None:
        """Put a unit's work into another week."""
        act = int(self.act[unit])
        self._move(unit, act, int(self.week[unit]), -1.0)
        self._move(unit, act, week, 1.0)
        self.week[unit] = week

    def _move(self, unit: int, act: int, week: int, share: float) -> None:
        """Take so many times what the work takes from what is left."""
        p, takes = self.problem, self._takes(unit, act)
        if act == SEASON and p.season_budget is not None:
            self.season_money -= share * takes.money
        else:
            self.money -= share * takes.money
        if act == SEASON:
            if p.season_week[unit] >= 0 and len(self.season_places):
                self.season_places[p.season_week[unit]] -= share * takes.places
            return
        self.places[week] -= share * takes.places
        self.spares[week : week + p.out_weeks] -= share * takes.places
        if week < p.parts_week:
            self.kits -= share * takes.places

    def other_weeks(self, unit: int) -> np.ndarray:
        """The weeks, (W,) bool, in which a unit's work would fit instead of its own; its own among them."""
        act, week = int(self.act[unit]), int(self.week[unit])
        self._move(unit, act, week, -1.0)
        free = self._free_weeks(self._takes(unit, act))
        self._move(unit, act, week, 1.0)
        return free

    def copy(self) -> Schedule:
        """The same work, to be changed apart from this one."""
        other = Schedule(self.problem)
        other.act, other.week, other.kits = self.act.copy(), self.week.copy(), self.kits
        other.money, other.season_money = self.money, self.season_money
        other.places, other.season_places = self.places.copy(), self.season_places.copy()
        other.spares = self.spares.copy()
        return other

    @property
    def work(self) -> list[tuple[int, int]]:
        """Each unit with work, and which, as (unit, act)."""
        return [(int(i), int(self.act[i])) for i in np.flatnonzero(self.act != LEAVE)]

    def _takes(self, unit: int, act: int) -> _Takes:
        p = self.problem
        if act == REBUILD:
            return _Takes(float(p.rebuild_spend[unit]), 1.0)
        if act == CHECK:
            return _Takes(float(p.check_spend[unit] + p.check_reserve[unit]), float(p.check_bench[unit]))
        return _Takes(float(p.season_spend[unit] + p.season_reserve[unit]), float(p.season_bench[unit]))

    @property
    def saves(self) -> float:
        """Expected saving beside leaving every unit closed."""
        return math.fsum(self.saving(unit) for unit in range(self.problem.n))

    @property
    def worth(self) -> float:
        """The same less what its money must bring at least: what the best plan has most of."""
        return math.fsum([self.saves, *(-self.problem.least_gain * self.spending(unit) for unit, _ in self.work)])

    def saving(self, unit: int) -> float:
        """What a unit's work is expected to save beside leaving it closed; 0 where it is left."""
        act, p = self.act[unit], self.problem
        if act == LEAVE:
            return 0.0
        if act == SEASON:
            return float(p.leave_cost[unit] - p.season_cost[unit])
        cost = p.rebuild_cost if act == REBUILD else p.check_cost
        return float(p.leave_cost[unit] - cost[unit, self.week[unit]])

    def spending(self, unit: int) -> float:
        """The money that a unit's work is expected to cost."""
        p = self.problem
        by_act = {CHECK: p.check_spend, REBUILD: p.rebuild_spend, SEASON: p.season_spend}
        act = int(self.act[unit])
        return float(by_act[act][unit]) if act in by_act else 0.0

    def plan(self) -> Plan:
        """The schedule as a plan, with its account."""
        p = self.problem
        actions = []
        for unit in range(p.n):
            act = int(self.act[unit])
            now = act in (CHECK, REBUILD)
            actions.append(
                PlannedAction(
                    p.unit_ids[unit],
                    p.craft_ids[unit],
                    ACTIONS[act],
                    p.weeks[self.week[unit]] if now else None,
                    self.spending(unit) if now else 0.0,
                    self.saving(unit),
                    float(p.check_bench[unit]) if act == CHECK else 0.0,
                    act == SEASON,
                    self.spending(unit) if act == SEASON else 0.0,
                )
            )
        spent = math.fsum(planned.cost for planned in actions)
        chance = chance_of_overspending(p, self.work)
        cost = p.leave_all - self.saves
        return Plan(tuple(actions), spent, p.budget, cost, p.never_all, p.triggers_all, overspend_chance=chance)


def schedule_of(problem: PlanProblem, work: Iterable[tuple[int, int, int]]) -> Schedule | None:
    """The schedule of this work, each (unit, act, week); None where it does not keep within the limits."""
    schedule = Schedule(problem)
    for unit, act, week in work:
        if not schedule.fits(unit, act, week):
            return None
        schedule.take(unit, act, week)
    return schedule


def fill(schedule: Schedule, acts: Sequence[int] = (CHECK, REBUILD, SEASON)) -> Schedule:
    """Fill a schedule up with what is worth most for its money, as long as it saves and fits; the same schedule.

    Greedy: each choice stands, so that it may miss the best plan. A check, cheap for what it saves, stands in the way
    of the unit's rebuild: try it with other `acts` too.
    """
    p = schedule.problem
    weeks = np.arange(len(p.weeks))
    kinds, units, at, worth, money = [], [], [], [], []
    spends = {CHECK: p.check_spend, REBUILD: p.rebuild_spend, SEASON: p.season_spend}
    for act in sorted(acts):
        by_week = p.worth(act) if act != SEASON else p.worth(act)[:, None]
        when = weeks if act != SEASON else np.array([NO_WEEK])
        unit, week = np.nonzero(by_week >= LEAST_SAVING)
        kinds.append(np.full(len(unit), act))
        units.append(unit)
        at.append(when[week])
        worth.append(by_week[unit, week])
        money.append(spends[act][unit])
    kind, unit, week, gain, spend = (np.concatenate(part) for part in (kinds, units, at, worth, money))
    for_money = np.divide(gain, spend, out=np.full(len(gain), np.inf), where=spend > 0)  # what costs nothing is first
    order = np.lexsort((-gain, -for_money))
    too_dear: set[tuple[int, int]] = set()  # what was, stays so: a schedule only fills up
    while len(order):
        # Of thousands of units most find no place: what a look at all of them shows is not asked one by one.
        order = order[schedule.may_fit(unit[order], kind[order], week[order])]
        some, order = order[:LOOKED_AT_ONCE], order[LOOKED_AT_ONCE:]
        for j in some.tolist():
            i, act = int(unit[j]), int(kind[j])
            if schedule.act[i] != LEAVE or (i, act) in too_dear:
                continue
            if schedule.fits(i, act, int(week[j])):
                schedule.take(i, act, int(week[j]))
            elif not schedule.affords(i, act):
                too_dear.add((i, act))
    return schedule

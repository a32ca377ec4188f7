"""Of plans that cost the same, the one whose work is done earliest, what saves most first: an order anybody can follow.

Off season most weeks cost the same for a unit, and a solver spreads the work over them as it happens to. A place later
in the off-season is worth more left free: for what a check finds, for a part that comes late, for one more customer.
"""

from __future__ import annotations

import numpy as np

from forecaster.plan_places import Schedule
from forecaster.plan_problem import CHECK, REBUILD, SAME_COST


def earliest(schedule: Schedule) -> Schedule:
    """The same work for the same money, each in the earliest free week in which it costs no more; a new schedule.

    Where places are short, the rebuild that saves more comes first, of equal ones the unit named first, as long as
    neither costs more than where it was. No unit ends in a week that costs more than its own in `schedule`, but for
    what waiting must save at least (``PlanProblem.least_wait``, beside the unit's cheapest week).
    """
    order = _Order(schedule)
    while order.move_up() or order.change_places():
        pass
    return order.schedule


class _Order:
    """A schedule whose work is moved about at no cost."""

    def __init__(self, schedule: Schedule) -> None:
        self.schedule = schedule.copy()
        p = schedule.problem
        worked = [i for i, act in schedule.work if act in (CHECK, REBUILD)]
        # Most saving first; a cent apart is apart, less is rounding.
        self.units = sorted(worked, key=lambda i: (-round(schedule.saving(i), 2), p.unit_ids[i]))
        is_open = p.bench_places > 0
        self.cheap: dict[int, np.ndarray] = {}  # by unit: weeks (W,) that it may be moved to
        for i in worked:
            cost = (p.rebuild_cost if schedule.act[i] == REBUILD else p.check_cost)[i]
            self.cheap[i] = cost <= max(cost[schedule.week[i]] + SAME_COST, float(cost[is_open].min()) + p.least_wait)

    def move_up(self) -> bool:
        """Move each unit, what saves most first, to the earliest free week that costs no more; whether any moved."""
        moved = False
        for unit in self.units:
            week = int(self.schedule.week[unit])
            free = np.flatnonzero(self.schedule.other_weeks(unit) & self.cheap[unit])
            if len(free) and free[0] < week:
                self.schedule.move(unit, int(free[0]))
                moved = True
        return moved

    def change_places(self) -> bool:
        """Let each rebuild change places with a lesser one that has an earlier week; whether any did."""
        rebuilds = [i for i in self.units if self.schedule.act[i] == REBUILD]
        rank = {unit: number for number, unit in enumerate(rebuilds)}
        by_week: dict[int, list[int]] = {}
        for unit in rebuilds:
            by_week.setdefault(int(self.schedule.week[unit]), []).append(unit)
        changed = False
        for unit in rebuilds:
            week = int(self.schedule.week[unit])
            for earlier in sorted(w for w in by_week if w < week and self.cheap[unit][w]):
                lesser = [i for i in by_week[earlier] if rank[i] > rank[unit] and self.cheap[i][week]]
                if lesser:
                    last = max(lesser, key=lambda i: rank[i])
                    self._swap(unit, last)
                    by_week[earlier].remove(last)
                    by_week[week].remove(unit)
                    by_week[earlier].append(unit)
                    by_week[week].append(last)
                    changed = True
                    break
        return changed

    def _swap(self, one: int, other: int) -> None:
        """Each takes one place of the bench and is away as long, so that all limits hold as before."""
        week = self.schedule.week
        week[one], week[other] = int(week[other]), int(week[one])

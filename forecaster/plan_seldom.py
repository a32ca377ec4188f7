"""The best plan that seldom costs more than there is money for: the program, solved again with money set aside.

The chance of overspending is no straight limit, as a program wants them. So checks and the season's work are charged
with a reserve beyond what they are expected to cost, in proportion to their variance: what a chance constraint comes to
where many small risks add up (a normal sum). How much is found by a few solves. Rebuilds are sure, and charged as they
are. For few units sets of work that would cost too much too often are then ruled out one by one ("covers"), as long as
the program still prefers one, so that nothing better is missed.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from forecaster.plan_overspend import (
    SAME_CHANCE,
    Amounts,
    Piece,
    chance_of_overspending,
    check_amounts,
    has_money_limit,
    season_amounts,
)
from forecaster.plan_places import Schedule, fill
from forecaster.plan_problem import CHECK, REBUILD, SEASON, PlanProblem
from forecaster.plan_program import Covers, Solved, gap_left, solve, with_place

CARE_STEPS = 4  # solves to find how much is set aside
# For so few units sets are ruled out, in so many solves. With 26 units of the sample and 40 solves it took 1 to 2 s
# instead of 0.03 s, and found the plan that was found before.
VERY_FEW_UNITS, COVER_STEPS = 8, 60
MOST_CARE = 64.0
# Of the time that is left: for a solve without regard to overspending, and for each of those after it.
FREE_SHARE, SEARCH_SHARE = 0.4, 0.4


def solve_seldom(problem: PlanProblem, gap: float, time_limit_s: float, extra_place: bool = False) -> Solved:
    """As ``solve``, with no greater chance of overspending than the problem's; the schedule is filled.

    `bound` is that of all plans, so that it may lie well above the best one where the chance of overspending limits it
    (``Solved.seldom``).
    """
    if problem.overspend_chance >= 1 or not has_money_limit(problem):
        return _filled(problem, solve(problem, gap, time_limit_s, extra_place))
    until = time.monotonic() + time_limit_s
    free = solve(problem, gap, FREE_SHARE * time_limit_s, extra_place)
    if free.schedule is None or not _too_often(problem, free.schedule.work):
        return _filled(problem, free)
    if alone := _too_often_alone(problem):
        free = solve(problem, gap, FREE_SHARE * max(until - time.monotonic(), 0.0), extra_place, covers=alone)
        if free.schedule is None or not _too_often(problem, free.schedule.work):
            return replace(_filled(problem, free), seldom=True)
    return replace(_Search(problem, gap, until, extra_place, free, alone).found(), seldom=True)


def _filled(problem: PlanProblem, solved: Solved) -> Solved:
    return solved if solved.schedule is None else replace(solved, schedule=_kept(problem, solved))


def _too_often_alone(problem: PlanProblem) -> Covers:
    """Work that overspends too often all by itself: as one set, of which none may be done."""
    pieces = [(unit, act) for unit in range(problem.n) for act in (CHECK, SEASON)]
    found = frozenset(piece for piece in pieces if _too_often(problem, [piece]))
    return [(found, 0)] if found else []


def _too_often(problem: PlanProblem, work: Iterable[Piece]) -> bool:
    limit = problem.overspend_chance
    return limit < 1 and chance_of_overspending(problem, work) > limit + SAME_CHANCE


def _kept(problem: PlanProblem, solved: Solved) -> Schedule:
    """An answer's work that keeps within all limits of the problem, what is worth most for its money first; filled."""
    wider, schedule = with_place(problem, solved.extra_week), solved.schedule
    assert schedule is not None
    kept = Schedule(wider)

    def order(piece: Piece) -> tuple[bool, float, str]:
        unit, act = piece
        by_week = wider.worth(act)[unit]
        worth = float(by_week if act == SEASON else by_week[schedule.week[unit]])
        return wider.unit_ids[unit] not in wider.must, -worth / max(schedule.spending(unit), 1.0), wider.unit_ids[unit]

    for unit, act in sorted(schedule.work, key=order):
        if kept.fits(unit, act, int(schedule.week[unit])):
            kept.take(unit, act, int(schedule.week[unit]))
    return fill(kept)


@dataclass
class _Search:
    problem: PlanProblem
    gap: float
    until: float
    extra_place: bool
    free: Solved
    alone: Covers

    def found(self) -> Solved:
        """The best that any of the solves led to."""
        best = _filled(self.problem, self.free)
        for solved in self._with_reserves():
            best = self._better(best, solved)
        if self.problem.n <= VERY_FEW_UNITS:
            for solved in self._with_covers():
                best = replace(self._better(best, solved), bound=min(best.bound, solved.bound))
                if gap_left(_worth(best), best.bound) <= self.gap:
                    break
        return replace(best, bound=max(best.bound, _worth(best)))

    def _better(self, best: Solved, solved: Solved) -> Solved:
        if solved.schedule is None:
            return best
        kept = replace(_filled(self.problem, solved), bound=best.bound)
        return kept if _worth(kept) > _worth(best) else best

    def _solve(self, problem: PlanProblem, covers: Covers = ()) -> Solved:
        left = max(self.until - time.monotonic(), 0.0) * SEARCH_SHARE
        return solve(problem, self.gap, left, self.extra_place, covers=[*self.alone, *covers])

    def _with_reserves(self) -> Iterator[Solved]:
        """From a guess on, more and less set aside by turns, until the least that is enough is known well."""
        assert self.free.schedule is not None
        too_little, enough = 0.0, math.inf
        care = _care_of(self.problem, self.free.schedule.work)
        for _ in range(CARE_STEPS):
            if time.monotonic() >= self.until:
                return
            solved = self._solve(with_reserves(self.problem, care))
            yield solved
            if solved.schedule is not None and _too_often(self.problem, solved.schedule.work):
                too_little = care
                care = MOST_CARE if math.isinf(enough) and care * 2 > MOST_CARE else care * 2
            else:
                enough = care
                care /= 2
            if too_little and math.isfinite(enough):
                care = math.sqrt(too_little * enough)
            if too_little >= MOST_CARE:
                return

    def _with_covers(self) -> Iterator[Solved]:
        covers: list[tuple[frozenset[Piece], int]] = []
        solved = self.free
        for _ in range(COVER_STEPS):
            if solved.schedule is None or time.monotonic() >= self.until:
                return
            if not _too_often(self.problem, solved.schedule.work):
                return
            covers.append(_cover(self.problem, solved.schedule.work))
            solved = self._solve(self.problem, covers)
            yield solved


def _worth(solved: Solved) -> float:
    return -math.inf if solved.schedule is None else solved.schedule.worth


def _care_of(problem: PlanProblem, work: Iterable[Piece]) -> float:
    """What this work's reserve would be per unit of variance, were its money a normal sum."""
    amounts = {CHECK: check_amounts(problem), SEASON: season_amounts(problem)}
    unsure = [
        (float(amounts[act].more[unit]), float(amounts[act].chance[unit])) for unit, act in work if act != REBUILD
    ]
    variance = sum(money**2 * p * (1 - p) for money, p in unsure)
    mean_amount = max(float(np.mean([money for money, _ in unsure] or [0.0])), 1.0)
    tail = float(ndtri(1.0 - max(problem.overspend_chance, 1e-6)))
    return min(max(tail, 0.1) * mean_amount / max(math.sqrt(variance), 1.0), MOST_CARE)


def with_reserves(problem: PlanProblem, care: float) -> PlanProblem:
    """The problem with money set aside for checks and the season's work: `care` times p (1 - p) of what they may add.

    At most all that they may add: then nothing can be overspent.
    """

    def reserve(amounts: Amounts) -> np.ndarray:
        held: np.ndarray = amounts.more * np.minimum(care * amounts.chance, 1.0) * (1.0 - amounts.chance)
        return held

    return replace(
        problem, check_reserve=reserve(check_amounts(problem)), season_reserve=reserve(season_amounts(problem))
    )


def _cover(problem: PlanProblem, work: Iterable[Piece]) -> tuple[frozenset[Piece], int]:
    """Of work that overspends too often, a set that does so by itself, as small as leaving out one by one makes it.

    With it all work that is no less risky than any of the set: as many of both as the set has are too many too.
    """
    amounts = {CHECK: check_amounts(problem), SEASON: season_amounts(problem)}

    def money(piece: Piece) -> tuple[float, float, float]:
        """Sure money, what may come on top, and its chance."""
        unit, act = piece
        if act == REBUILD:
            return float(problem.rebuild_spend[unit]), 0.0, 0.0
        found = amounts[act]
        return float(found.sure[unit]), float(found.more[unit]), float(found.chance[unit])

    def expected(piece: Piece) -> float:
        sure, more, chance = money(piece)
        return sure + more * chance

    cover = sorted(work, key=lambda piece: (expected(piece), piece))
    for piece in list(cover):
        without = [other for other in cover if other != piece]
        if _too_often(problem, without):
            cover = without
    kinds = {act for _, act in cover}
    wider = set(cover)
    if len(kinds) == 1:
        (kind,) = kinds
        most = np.max([money(piece) for piece in cover], axis=0)
        draws = problem.rattle_draws[[unit for unit, _ in cover]].max(axis=0)
        for unit in range(problem.n):
            riskier = (np.array(money((unit, kind))) >= most).all()
            if kind == CHECK:
                riskier &= bool((problem.rattle_draws[unit] >= draws).all())
            if riskier:
                wider.add((unit, kind))
    return frozenset(wider), len(cover) - 1

"""The chance that work costs more than there is money for: checks bring rebuilds, and the season's work is by chance.

What units cost is independent given what is not known of the fleet. So the money of a set of work is a sum of sure
amounts and of two-point ones, a Poisson binomial over amounts, summed up exactly in whole cents where that is a lattice
of few points, else on a fine one. Chances of a rattle come by posterior draw and are mixed: what is not known of the
fleet makes all checks dear together.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from forecaster.plan_problem import CHECK, REBUILD, SEASON, TOLERANCE, PlanProblem

POINTS = 2_000  # of a lattice: amounts are then off by at most one part in so many of the budget
SAME_CHANCE = 1e-9

Piece = tuple[int, int]  # a unit, by its place in the problem, and what is done with it


@dataclass(frozen=True)
class _Lattice:
    """Multiples of `step` cents, from 0 up to `points` - 1 of them."""

    step: float
    points: int

    @classmethod
    def of(cls, amounts: np.ndarray, most: float) -> _Lattice:
        """One that holds these amounts of money, up to `most`."""
        cents = np.unique(np.round(amounts[amounts > 0] * 100).astype(int))
        step = float(np.gcd.reduce(cents)) if len(cents) else 1.0
        most_cents = most * 100
        if most_cents / step > POINTS:
            step = most_cents / POINTS
        return cls(step, int(most_cents / step + TOLERANCE) + 1)

    def at(self, amount: float) -> int:
        """The point of an amount."""
        return round(amount * 100 / self.step)

    def up_to(self, amounts: np.ndarray) -> np.ndarray:
        """How many points lie at or below each amount."""
        found: np.ndarray = np.clip(np.floor((amounts * 100 + TOLERANCE) / self.step) + 1, 0, self.points)
        return found.astype(int)


class _Sum:
    """The distribution of a sum of two-point amounts on a lattice, (draws, points); what lies beyond is dropped."""

    def __init__(self, lattice: _Lattice, draws: int) -> None:
        self.lattice = lattice
        self.mass = np.zeros((draws, lattice.points))
        self.mass[:, 0] = 1.0

    def with_one(self, amount: float, chance: np.ndarray) -> _Sum:
        """With one more amount, that falls due with this chance, (draws,)."""
        more, shift = _Sum.__new__(_Sum), self.lattice.at(amount)
        more.lattice = self.lattice
        more.mass = self.mass * (1.0 - chance)[:, None]
        if shift < self.lattice.points:
            more.mass[:, shift:] += self.mass[:, : self.lattice.points - shift] * chance[:, None]
        return more


class Outlay:
    """The money of some work, as a distribution, grown piece by piece."""

    def __init__(self, problem: PlanProblem, work: Iterable[Piece] = ()) -> None:
        """Of this work: each (unit, act)."""
        p = self.problem = problem
        self.shared = p.season_budget is None
        self.sure, self.season_sure = 0.0, 0.0
        self.check_sure, self.check_more = check_amounts(p)
        self.season_more = season_amounts(p)
        budget = math.inf if p.budget is None else p.budget
        season = budget if p.season_budget is None else p.season_budget
        self.budget, self.season_budget = budget, season
        most_checks = min(budget, float(self.check_more.sum()))
        most_season = min(season, float(self.season_more.sum()))
        self.checks = _Sum(_Lattice.of(self.check_more, most_checks), p.rattle_draws.shape[1])
        self.season = _Sum(_Lattice.of(self.season_more, most_season), 1)
        for unit, act in sorted(work, key=self._order):
            self.add(unit, act)

    def _order(self, piece: Piece) -> tuple[int, float, str]:
        unit, act = piece
        return act, float(self.problem.check_bench[unit]), self.problem.unit_ids[unit]

    def add(self, unit: int, act: int) -> None:
        """One more piece of work."""
        self.sure, self.checks, self.season = self._grown(unit, act)

    def _grown(self, unit: int, act: int) -> tuple[float, _Sum, _Sum]:
        p = self.problem
        if act == REBUILD:
            return self.sure + float(p.rebuild_spend[unit]), self.checks, self.season
        if act == CHECK:
            checks = self.checks.with_one(float(self.check_more[unit]), p.rattle_draws[unit])
            return self.sure + float(self.check_sure[unit]), checks, self.season
        if act == SEASON:
            chance = p.season_chance[unit : unit + 1]
            return self.sure, self.checks, self.season.with_one(float(self.season_more[unit]), chance)
        return self.sure, self.checks, self.season

    def copy(self) -> Outlay:
        """The same, to be grown apart."""
        other = Outlay.__new__(Outlay)
        other.__dict__.update(self.__dict__)
        return other

    @property
    def chance(self) -> float:
        """That it is more than there is."""
        return self._chance(self.sure, self.checks, self.season)

    def chance_with(self, unit: int, act: int) -> float:
        """The same with one more piece of work."""
        return self._chance(*self._grown(unit, act))

    def _chance(self, sure: float, checks: _Sum, season: _Sum) -> float:
        """Kept to only where each budget is: the season's work and the checks are of different units."""
        mass = checks.mass.mean(axis=0)
        left = np.full(len(mass), np.inf)
        if math.isfinite(self.budget):
            left = self.budget + TOLERANCE - sure - np.arange(len(mass)) * checks.lattice.step / 100
        by_season = np.concatenate([[0.0], np.cumsum(season.mass[0])])
        enough = by_season[-1] if math.isfinite(self.season_budget) else 1.0
        if self.shared and math.isfinite(self.budget):
            within = float((mass * by_season[season.lattice.up_to(np.maximum(left, -1.0))] * (left >= 0)).sum())
        elif math.isfinite(self.budget):
            within = float(mass[left >= 0].sum()) * float(enough)
        else:
            within = float(enough)
        return min(max(1.0 - within, 0.0), 1.0)


def check_amounts(problem: PlanProblem) -> tuple[np.ndarray, np.ndarray]:
    """Money of a check that is quiet, and what a rattle adds, both (n,): together as expected `check_spend`."""
    p = problem
    sure = np.maximum(p.check_spend - p.check_bench * p.rebuild_spend, 0.0)
    more = np.divide(p.check_spend - sure, p.check_bench, out=np.zeros(p.n), where=p.check_bench > 0)
    return np.where(p.check_bench > 0, sure, p.check_spend), more


def season_amounts(problem: PlanProblem) -> np.ndarray:
    """Money of acting in season where it comes to that, (n,)."""
    p = problem
    more: np.ndarray = np.divide(p.season_spend, p.season_chance, out=np.zeros(p.n), where=p.season_chance > 0)
    return more


def chance_of_overspending(problem: PlanProblem, work: Iterable[Piece]) -> float:
    """The chance that this work, each (unit, act), costs more than the budget, or the season's more than its own."""
    own_limit = problem.season_budget is not None and math.isfinite(problem.season_budget)
    return Outlay(problem, work).chance if problem.budget is not None or own_limit else 0.0

"""The chance that work costs more than there is money for: checks bring rebuilds, and the season's work is by chance.

What units cost is independent given what is not known of the fleet. So the money of a set of work is a sum of sure
amounts and of two-point ones, a Poisson binomial over amounts, summed up exactly in whole cents where that is a lattice
of few points, else on a fine one. Chances of a rattle come by posterior draw and are mixed: what is not known of the
fleet makes all checks dear together.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

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


@dataclass(frozen=True)
class _Money:
    """The money of some work so far: what is sure, of it the season's own, and what checks and the season may add."""

    sure: float
    season_sure: float
    checks: _Sum
    season: _Sum


class Outlay:
    """The money of some work, as a distribution, grown piece by piece."""

    def __init__(self, problem: PlanProblem, work: Iterable[Piece] = ()) -> None:
        """Of this work: each (unit, act)."""
        p = self.problem = problem
        self.checks, self.season = check_amounts(p), season_amounts(p)
        self.budget = math.inf if p.budget is None else p.budget
        self.season_budget = self.budget if p.season_budget is None else p.season_budget
        most_checks = min(self.budget, float(self.checks.more.sum()))
        most_season = min(self.season_budget, float(self.season.more.sum()))
        checks = _Sum(_Lattice.of(self.checks.more, most_checks), p.rattle_draws.shape[1])
        self.money = _Money(0.0, 0.0, checks, _Sum(_Lattice.of(self.season.more, most_season), 1))
        for unit, act in sorted(work, key=lambda piece: (piece[1], p.unit_ids[piece[0]])):
            self.add(unit, act)

    def add(self, unit: int, act: int) -> None:
        """One more piece of work."""
        self.money = self._grown(unit, act)

    def _grown(self, unit: int, act: int) -> _Money:
        p, money = self.problem, self.money
        if act == REBUILD:
            return replace(money, sure=money.sure + float(p.rebuild_spend[unit]))
        if act == CHECK:
            checks = money.checks.with_one(float(self.checks.more[unit]), p.rattle_draws[unit])
            return replace(money, sure=money.sure + float(self.checks.sure[unit]), checks=checks)
        if act == SEASON:
            season = money.season.with_one(float(self.season.more[unit]), self.season.chance[unit : unit + 1])
            return replace(money, season_sure=money.season_sure + float(self.season.sure[unit]), season=season)
        return money

    @property
    def chance(self) -> float:
        """That it is more than there is."""
        return self._chance(self.money)

    def chance_with(self, unit: int, act: int) -> float:
        """The same with one more piece of work."""
        return self._chance(self._grown(unit, act))

    def _chance(self, money: _Money) -> float:
        """One less the chance that each budget is kept to: the season's work and the checks are of different units."""
        shared = self.problem.season_budget is None
        checks, season = money.checks, money.season
        by_season = np.concatenate([[0.0], np.cumsum(season.mass[0])])
        mass = checks.mass.mean(axis=0)
        of_season = money.season_sure if shared else 0.0
        left = np.full(len(mass), np.inf)
        if math.isfinite(self.budget):
            left = self.budget + TOLERANCE - money.sure - of_season - np.arange(len(mass)) * checks.lattice.step / 100
        within = mass * (left >= 0) if math.isfinite(self.budget) else np.ones(1)
        if shared and math.isfinite(self.budget):
            within = within * by_season[season.lattice.up_to(np.maximum(left, -1.0))]
        if not shared and math.isfinite(self.season_budget):
            rest = np.array([self.season_budget + TOLERANCE - money.season_sure])
            within = within * by_season[season.lattice.up_to(np.maximum(rest, -1.0))]
        return min(max(1.0 - float(within.sum()), 0.0), 1.0)


@dataclass(frozen=True)
class Amounts:
    """Money of one kind of work, (n,) each: what is sure, what comes on top, and the chance that it does."""

    sure: np.ndarray
    more: np.ndarray
    chance: np.ndarray


def _amounts(spend: np.ndarray, sure: np.ndarray, chance: np.ndarray) -> Amounts:
    """As expected `spend`: where nothing can come on top, all of it is sure."""
    sure = np.where(chance > 0, np.minimum(sure, spend), spend)
    more = np.divide(spend - sure, chance, out=np.zeros(len(spend)), where=chance > 0)
    return Amounts(sure, more, chance)


def check_amounts(problem: PlanProblem) -> Amounts:
    """A quiet check's money, and what a rattle adds: a rebuild."""
    p = problem
    return _amounts(p.check_spend, np.maximum(p.check_spend - p.check_bench * p.rebuild_spend, 0.0), p.check_bench)


def season_amounts(problem: PlanProblem) -> Amounts:
    """The same of acting in season: a rebuild, or a check, where it ends on the bench less often than it is acted on.

    Whether a check is come to at all counts as expected, since it is cheap; what a rattle adds, as by chance.
    """
    p = problem
    is_check = p.season_bench < p.season_chance
    sure = np.where(is_check, p.season_chance * check_amounts(p).sure, 0.0)
    return _amounts(p.season_spend, sure, np.where(is_check, p.season_bench, p.season_chance))


def chance_of_overspending(problem: PlanProblem, work: Iterable[Piece]) -> float:
    """The chance that this work, each (unit, act), costs more than the budget, or the season's more than its own."""
    return Outlay(problem, work).chance if has_money_limit(problem) else 0.0


def has_money_limit(problem: PlanProblem) -> bool:
    """Whether there is any budget that could be overspent."""
    season = problem.season_budget
    return problem.budget is not None or (season is not None and math.isfinite(season))

"""The best upkeep of one fresh unit after another, by state and season: an average-cost dynamic programme.

Puterman 1994, Markov Decision Processes, ch. 8. A year is a season of equal steps of engine hours, at whose start one
may rebuild, check or go on, then the off-season, in which nothing wears, work costs no rental days, and one may do the
same. The state is the unit's age and its age at the last quiet check. Costs are solved backwards through a year, and
the year repeated until the differences between states settle. That gives what a fresh unit is worth at any moment (what
comes after this life, and what hours left at a horizon are worth), the service interval, and the season's triggers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from forecaster.fresh_life import FreshLife
from forecaster.prices import Prices

Action = Literal["none", "check", "rebuild"]
ACTIONS: tuple[Action, ...] = ("none", "check", "rebuild")
MOST_YEARS = 2000
# All states move by the same amount, but for this share of what a failure costs, from one year to the next. Half of
# that is the error of the yearly cost (Puterman 1994, sec. 8.5.5). A policy may keep states that a fresh unit never
# comes to for ever apart; then MOST_YEARS end it, long after the fresh unit's own cost stands still.
SETTLED = 4e-5
# Where hardly anything fails, work comes round every so many years and the differences would swing for ever: each year
# moves them by half (Puterman 1994, sec. 8.5.4: the same policy and cost, without the period).
DAMPING = 0.5


@dataclass(frozen=True)
class Upkeep:
    """The best policy and its costs.

    `cost_per_year`: long-run mean. `ahead` (stages + 1, n, n): cost from a stage's start to the year's end and what the
    state is worth there, relative to a fresh unit after the off-season's work; stages 0 .. steps-1 are the season's
    steps, stage `steps` is the off-season that follows. `action` (stages + 1, n, n): index into ACTIONS.
    """

    life: FreshLife
    prices: Prices
    steps: int
    cost_per_year: float
    ahead: np.ndarray
    action: np.ndarray

    def fresh(self, stage: int) -> float:
        """What comes after the work: cost ahead of a fresh unit at a stage."""
        return float(self.ahead[stage, 0, 0])

    def does(self, stage: int, age: int, checked: int = 0) -> Action:
        """What the best policy does at a stage with a unit of that age and last quiet check, both in steps."""
        return ACTIONS[int(self.action[stage, age, checked])]

    def trigger_h(self, stage: int, action: Action, checked_h: float = 0.0) -> float | None:
        """The least age at which the best policy does that (or more) at a stage, h; None: never before the grid's end.

        `checked_h`: age at the last quiet check, h; 0: none.
        """
        j = min(round(checked_h / self.life.step_h), self.life.n - 1)
        wanted = self.action[stage, j:, j] >= ACTIONS.index(action)
        if not wanted.any():
            return None
        return float((j + int(np.argmax(wanted))) * self.life.step_h)


def cost_scatter(upkeep: Upkeep, lives: Sequence[FreshLife], season_hours: float) -> np.ndarray:
    """How the yearly cost of an upkeep's policy scatters over other lives, for example one a posterior draw, (d,).

    As ratios to their mean; each life on the upkeep's own grid.
    """
    costs = np.array([_solve(life, upkeep.prices, season_hours, upkeep.action, upkeep).cost_per_year for life in lives])
    return costs / costs.mean() if costs.mean() > 0 else np.ones(len(costs))


def best_upkeep(life: FreshLife, prices: Prices, season_hours: float, near: Upkeep | None = None) -> Upkeep:
    """The upkeep of least long-run cost for a craft that runs `season_hours` engine hours a season.

    `near`: the upkeep of a craft or of prices much like these, from which the search then starts: the answer is the
    same but for what it may be off by anyway, and comes sooner.
    """
    return _solve(life, prices, season_hours, None, near)


def upkeep_at(life: FreshLife, prices: Prices, season_hours: float, action: np.ndarray) -> Upkeep:
    """The cost of following a given policy, `action` (stages + 1, n, n), under perhaps another life."""
    return _solve(life, prices, season_hours, action, None)


def _solve(
    life: FreshLife, prices: Prices, season_hours: float, fixed: np.ndarray | None, near: Upkeep | None
) -> Upkeep:
    steps = max(round(season_hours / life.step_h), 1)
    n = life.n
    worth = np.zeros((n, n))  # at the start of a season
    if near is not None and near.ahead[0].shape == worth.shape:
        worth = near.ahead[0] - near.fresh(0)
    settled = SETTLED * max(prices.failure(), prices.planned(in_season=True))
    ahead = np.empty((steps + 1, n, n))
    action = np.zeros((steps + 1, n, n), dtype=np.int8)
    year = 0.0
    for _ in range(MOST_YEARS):
        ahead[steps], action[steps] = _act(life, prices, worth, in_season=False, fixed=_part(fixed, steps))
        for t in range(steps - 1, -1, -1):
            going_on = _run_a_step(life, prices, ahead[t + 1])
            ahead[t], action[t] = _act(life, prices, going_on, in_season=True, fixed=_part(fixed, t))
        moved = ahead[0] - worth
        year = float(moved[0, 0])
        worth = worth + DAMPING * (moved - year)
        if np.nanmax(moved) - np.nanmin(moved) <= settled:
            break
    return Upkeep(life, prices, steps, year, ahead, action)


def _part(fixed: np.ndarray | None, stage: int) -> np.ndarray | None:
    return None if fixed is None else fixed[stage]


def _run_a_step(life: FreshLife, prices: Prices, then: np.ndarray) -> np.ndarray:
    """Cost of running one step from each state, given the cost `then` after it, (n, n)."""
    older = np.empty_like(then)
    older[:-1] = then[1:]
    older[-1] = then[-1]  # as old as the grid goes
    fails, noticed = life.fails, life.noticed
    fresh = then[0, 0]
    ended = fails * (prices.failure() + fresh) + noticed * (prices.noticed() + fresh)
    cost: np.ndarray = ended + (1 - fails - noticed) * older
    return cost


def _act(
    life: FreshLife, prices: Prices, going_on: np.ndarray, in_season: bool, fixed: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray]:
    """The least cost of going on, checking or rebuilding in each state, and which it is, (n, n) each."""
    rebuild = prices.planned(in_season) + going_on[0, 0]
    rattles = life.sensitivity * life.defective + (1 - life.specificity) * (1 - life.defective)
    quiet = np.diagonal(going_on)[:, None]  # checked at this age
    check = prices.looked_at(in_season) + rattles * rebuild + (1 - rattles) * quiet
    if fixed is not None:
        return np.where(fixed == 0, going_on, np.where(fixed == 1, check, rebuild)), fixed
    # NaN marks states that cannot be: comparisons with it are false, so they go on.
    chosen = np.zeros(going_on.shape, dtype=np.int8)
    cost = going_on
    for number, option in ((1, check), (2, np.float64(rebuild))):
        better = option < cost
        chosen[better] = number
        cost = np.where(better, option, cost)
    return cost, chosen

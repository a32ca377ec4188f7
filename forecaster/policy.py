"""The best upkeep of one fresh unit after another, by state and season: an average-cost dynamic programme.

Puterman 1994, Markov Decision Processes, ch. 8. A year is a season of equal steps of engine hours, at whose start one
may rebuild, check or go on, then the off-season, in which nothing wears, work costs no rental days, and one may do the
same. The state is the unit's age and its age at the last quiet check. Costs are solved backwards through a year, and
the year repeated until the differences between states settle. That gives what a fresh unit is worth at any moment (what
comes after this life, and what hours left at a horizon are worth), the service interval, and the season's triggers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from forecaster.fresh_life import FreshLife
from forecaster.prices import Prices
from forecaster.upkeep_year import ACTIONS, Action, Fixed, States, Year, states_of

MOST_YEARS = 2000
# All states move by the same amount, but for this share of what a failure costs, from one year to the next. Half of
# that is the error of the yearly cost (Puterman 1994, sec. 8.5.5). A policy may keep states that a fresh unit never
# comes to for ever apart; then MOST_YEARS end it, long after the fresh unit's own cost stands still.
SETTLED = 4e-5
# Where hardly anything fails, work comes round every so many years and the differences would swing for ever: each year
# moves them by half (Puterman 1994, sec. 8.5.4: the same policy and cost, without the period).
DAMPING = 0.5
# Upkeeps worked on at once: as many as keep the arrays of a step in the processor's cache.
AT_ONCE = 16


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
    asked = [Asked(life, upkeep.prices, season_hours, upkeep) for life in lives]
    costs = np.array([one.cost_per_year for one in _solved(asked, upkeep.action)])
    return costs / costs.mean() if costs.mean() > 0 else np.ones(len(costs))


class Asked(NamedTuple):
    """An upkeep to be found: for a craft that runs `season_hours` engine hours a season.

    `near`: the upkeep of a craft or of prices much like these, from which the search then starts: the answer is the
    same but for what it may be off by anyway, and comes sooner.
    """

    life: FreshLife
    prices: Prices
    season_hours: float
    near: Upkeep | None = None

    @property
    def steps(self) -> int:
        """Steps of the grid in a season."""
        return max(round(self.season_hours / self.life.step_h), 1)


def best_upkeep(life: FreshLife, prices: Prices, season_hours: float, near: Upkeep | None = None) -> Upkeep:
    """The upkeep of least long-run cost for a craft that runs `season_hours` engine hours a season; see ``Asked``."""
    (found,) = _solved([Asked(life, prices, season_hours, near)], None)
    return found


def best_upkeeps(asked: Sequence[Asked]) -> list[Upkeep]:
    """The same for many at once, in less time; what each comes to does not depend on the others."""
    alike: dict[tuple[int, int], list[int]] = {}
    for number, one in enumerate(asked):
        alike.setdefault((one.steps, one.life.n), []).append(number)
    found: dict[int, Upkeep] = {}
    for numbers in alike.values():
        found |= zip(numbers, _solved([asked[number] for number in numbers], None), strict=True)
    return [found[number] for number in range(len(asked))]


def upkeep_at(life: FreshLife, prices: Prices, season_hours: float, action: np.ndarray) -> Upkeep:
    """The cost of following a given policy, `action` (stages + 1, n, n), under perhaps another life."""
    (found,) = _solved([Asked(life, prices, season_hours)], action)
    return found


def _solved(asked: Sequence[Asked], action: np.ndarray | None) -> list[Upkeep]:
    """Upkeeps on the same grid and with seasons as long; `action` (stages + 1, n, n): the policy, None for the best."""
    parts = (asked[i : i + AT_ONCE] for i in range(0, len(asked), AT_ONCE))
    return [upkeep for part in parts for upkeep in _solve(part, action)]


def _solve(asked: Sequence[Asked], action: np.ndarray | None) -> Iterable[Upkeep]:
    """The same for a few, all at once: each is done when its own year settles."""
    states, steps = states_of(asked[0].life.n), asked[0].steps
    fixed = None if action is None else [Fixed.of(states.row(stage)) for stage in action]
    year = Year.of([one.life for one in asked], [one.prices for one in asked], steps, fixed)
    worth = np.stack([_worth_near(one.near, states) for one in asked])  # at the start of a season
    settled = SETTLED * np.array([max(one.prices.failure(), one.prices.planned(in_season=True)) for one in asked])
    going = np.arange(len(asked))  # those that have not settled yet
    found: dict[int, Upkeep] = {}
    for years in range(1, MOST_YEARS + 1):
        cost, fresh = year.cost(worth)
        moved = cost - worth
        done = (np.ptp(moved, axis=1) <= settled) | (years == MOST_YEARS)
        if done.any():
            ahead, act = year.of_these(done).laid_out(worth[done])
            for k, number in enumerate(going[done]):
                life, prices = asked[number].life, asked[number].prices
                found[int(number)] = Upkeep(life, prices, steps, float(fresh[done][k]), ahead[k], act[k])
            left = ~done
            going, settled, year = going[left], settled[left], year.of_these(left)
            worth, moved = worth[left], moved[left]
            if not len(going):
                break
        worth = worth + DAMPING * moved
    return (found[number] for number in range(len(asked)))


def _worth_near(near: Upkeep | None, states: States) -> np.ndarray:
    """What each state is worth at the start of a season beside a fresh unit by an upkeep much like it, (s,); else 0."""
    if near is None or near.life.n != states.n:
        return np.zeros(len(states.age))
    return states.row(near.ahead[0]) - near.fresh(0)

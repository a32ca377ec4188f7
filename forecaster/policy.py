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
from forecaster.settling import Settling
from forecaster.upkeep_year import ACTIONS, Action, Fixed, States, Year, states_of

MOST_YEARS = 2000
# All states move by the same amount, but for this share of what a failure costs, from one year to the next. Half of
# that is the error of the yearly cost (Puterman 1994, sec. 8.5.5). A policy may keep states that a fresh unit never
# comes to for ever apart; then MOST_YEARS end it, long after the fresh unit's own cost stands still.
SETTLED = 4e-5
# Where hardly anything fails, work comes round every so many years and the differences would swing for ever: each year
# moves them by half (Puterman 1994, sec. 8.5.4: the same policy and cost, without the period).
DAMPING = 0.5
LONGEST_SEASONS = 1.5  # a year may run so many times a season's hours, for which a fresh unit's cost is worked out too
# Upkeeps worked on at once: as many as keep the arrays of a step in the processor's cache.
AT_ONCE = 16


@dataclass(frozen=True)
class Upkeep:
    """The best policy and its costs.

    `season_hours` > 0. `cost_per_year`: long-run mean. `ahead` (stages + 1, n, n): cost from a stage's start to the
    year's end and what the state is worth there, relative to a fresh unit after the off-season's work; stages 0 ..
    steps-1 are the season's steps, counted back from its close, stage `steps` is the off-season that follows. The
    season opens at `opening`, in stage 0 or at its start. `action` (stages + 1, n, n): index into ACTIONS.
    `fresh_to_close` (m,): cost ahead of a fresh unit by whole steps to the close, up to LONGEST_SEASONS.
    """

    life: FreshLife
    prices: Prices
    season_hours: float
    cost_per_year: float
    ahead: np.ndarray
    action: np.ndarray
    fresh_to_close: np.ndarray

    @property
    def steps(self) -> int:
        """Steps of the grid in a season, the first as a rule but a part."""
        return len(self.ahead) - 1

    @property
    def opening(self) -> float:
        """The stage at which the season opens, from 0 to less than 1."""
        return self.steps - self.season_hours / self.life.step_h

    def stage(self, hours_to_close: np.ndarray) -> np.ndarray:
        """The stages, not whole as a rule, of moments in season with so many hours to its close."""
        at: np.ndarray = self.steps - hours_to_close / self.life.step_h
        return at

    def fresh_ahead(self, hours_to_close: np.ndarray) -> np.ndarray:
        """Cost ahead of a fresh unit with so many engine hours to the season's close, beside the off-season's.

        More hours than a season's: in a single year that runs more than the others.
        """
        last = len(self.fresh_to_close) - 1
        at = hours_to_close / self.life.step_h
        value = np.interp(at, np.arange(last + 1), self.fresh_to_close) - self.fresh_to_close[0]
        beyond = np.maximum(at - last, 0.0) * self.life.step_h / self.season_hours * self.cost_per_year
        answer: np.ndarray = value + beyond
        return answer

    def worn_beside_fresh(self, stage: np.ndarray, age_h: np.ndarray, checked_h: np.ndarray) -> np.ndarray:
        """Cost ahead of units of some ages and ages at the last quiet check (0: none) beside a fresh one's, (m,) each.

        In between linearly: by stage, by age at the last check, and by the hours since. Stage `steps`: the off-season.
        Older than the grid goes counts as its end, as long since the last check.
        """
        last = self.life.n - 1
        age, checked = age_h / self.life.step_h, checked_h / self.life.step_h
        checked = np.maximum(checked - np.maximum(age - last, 0.0), np.minimum(checked, 1.0))
        age = np.clip(age, 0.0, last)
        checked = np.minimum(checked, age)
        found: np.ndarray = np.zeros(np.broadcast_shapes(np.shape(stage), age.shape))
        for k, of_stage in _about(np.clip(stage, 0.0, self.steps), self.steps):
            for j, of_check in _about(checked, last):
                for since, of_hours in _about(age - checked, last):
                    i = np.minimum(j + since, last)
                    found += of_stage * of_check * of_hours * self.ahead[k, i, np.minimum(j, i)]
            found -= of_stage * self.ahead[k, 0, 0]
        return found

    def does(self, stage: int, age: int, checked: int = 0) -> Action:
        """What the best policy does at a stage with a unit of that age and last quiet check, both in steps."""
        return ACTIONS[int(self.action[stage, age, checked])]

    def rebuilt_at_close(self, age_h: float) -> float:
        """Chance that a fresh unit runs to an age unopened and is then rebuilt in the off-season."""
        life = self.life
        age = min(round(age_h / life.step_h), life.n - 1)
        ill, act = float(life.defective[age, 0]), self.does(self.steps, age)
        rattles = life.sensitivity * ill + (1 - life.specificity) * (1 - ill)
        return float(life.alive[age, 0]) * {"rebuild": 1.0, "check": rattles, "none": 0.0}[act]

    def trigger_h(self, stage: int, action: Action, checked_h: float = 0.0) -> float | None:
        """The least age at which the best policy does that (or more) at a stage, h; None: never before the grid's end.

        Where it costs as much as going on: between two ages of the grid as a rule. `checked_h`: age at the last quiet
        check, h; 0: none.
        """
        j = min(round(checked_h / self.life.step_h), self.life.n - 1)
        margin = self._margins(action, or_more=True)[self.steps - stage][j:, j]
        return _crosses(np.arange(j, self.life.n) * self.life.step_h, margin)

    def first_season_h(self, action: Action, begun_h: float = 0.0) -> float | None:
        """The age at which a unit of `begun_h` at the opening comes to that in the season, h; None: not in it."""
        ages, margins = [], []
        grid, by_stage = np.arange(self.life.n) * self.life.step_h, self._margins(action, or_more=False)
        for to_close in range(self.steps, 0, -1):
            age = begun_h + self.season_hours - to_close * self.life.step_h
            if age >= begun_h:
                margins.append(float(np.interp(age, grid, by_stage[to_close][:, 0])))
                ages.append(age)
        return _crosses(np.array(ages), np.array(margins))

    def _margins(self, action: Action, or_more: bool) -> list[np.ndarray]:
        """By how much an action (or a greater one) costs less than all others, (n, n), by steps to the close."""
        wanted = ACTIONS.index(action)
        meant = slice(wanted, None) if or_more else slice(wanted, wanted + 1)
        states = states_of(self.life.n)
        year = Year.of([self.life], [self.prices], np.array([self.season_hours / self.life.step_h]), None)
        found = []
        for stage in year.stages(_worth_near(self, states)[None]):
            costs = [stage.going_on[0], stage.check[0], np.broadcast_to(stage.rebuild[0], stage.check[0].shape)]
            least = np.min(costs[meant], axis=0)
            others = np.min(costs[:wanted] + ([] if or_more else costs[wanted + 1 :]), axis=0)
            found.append(states.tables(others - least, np.nan))
        return found


def _crosses(ages: np.ndarray, margin: np.ndarray) -> float | None:
    """The least of rising `ages` (m,) from which a `margin` (m,) is above 0, linear in between; None: nowhere."""
    above = np.flatnonzero(margin > 0)
    if not len(above):
        return None
    i = int(above[0])
    if i == 0:
        return float(ages[0])
    return float(np.interp(0.0, margin[i - 1 : i + 1], ages[i - 1 : i + 1]))


def _about(at: np.ndarray, last: int) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """The whole numbers, 0 to `last`, about each of `at`, and how much each of the two counts in between."""
    below = np.minimum(np.floor(at).astype(int), last)
    share = at - below
    return (below, 1 - share), (np.minimum(below + 1, last), share)


class Asked(NamedTuple):
    """An upkeep to be found: for a craft that runs `season_hours` engine hours a season, > 0.

    `near`: the upkeep of a craft or of prices much like these, from which the search then starts: the answer is the
    same but for what it may be off by anyway, and comes sooner.
    """

    life: FreshLife
    prices: Prices
    season_hours: float
    near: Upkeep | None = None

    @property
    def season(self) -> float:
        """Steps of the grid in a season, not whole as a rule."""
        return self.season_hours / self.life.step_h


def best_upkeep(life: FreshLife, prices: Prices, season_hours: float, near: Upkeep | None = None) -> Upkeep:
    """The upkeep of least long-run cost for a craft that runs `season_hours` engine hours a season; see ``Asked``."""
    (found,) = _solved([Asked(life, prices, season_hours, near)], None)
    return found


def best_upkeeps(asked: Sequence[Asked]) -> list[Upkeep]:
    """The same for many at once, in less time; what each comes to does not depend on the others."""
    alike: dict[int, list[int]] = {}
    for number in sorted(range(len(asked)), key=lambda number: asked[number].season):
        alike.setdefault(asked[number].life.n, []).append(number)
    found: dict[int, Upkeep] = {}
    for numbers in alike.values():
        found |= zip(numbers, _solved([asked[number] for number in numbers], None), strict=True)
    return [found[number] for number in range(len(asked))]


def upkeep_at(life: FreshLife, prices: Prices, season_hours: float, action: np.ndarray) -> Upkeep:
    """The cost of following a given policy, `action` (stages + 1, n, n), under perhaps another life."""
    (found,) = upkeeps_at([Asked(life, prices, season_hours)], action)
    return found


def upkeeps_at(asked: Sequence[Asked], action: np.ndarray) -> list[Upkeep]:
    """The same for many at once, all of which have seasons of as many stages."""
    return _solved(asked, action)


def _solved(asked: Sequence[Asked], action: np.ndarray | None) -> list[Upkeep]:
    """Upkeeps on the same grid; `action` (stages + 1, n, n): the policy in a season of all, None for the best.

    Those with seasons about as long should stand together: a few at once take as long as the longest of them.
    """
    parts = (asked[i : i + AT_ONCE] for i in range(0, len(asked), AT_ONCE))
    return [upkeep for part in parts for upkeep in _solve(part, action)]


def _solve(asked: Sequence[Asked], action: np.ndarray | None) -> Iterable[Upkeep]:
    """The same for a few, all at once: each is done when its own year settles."""
    states, season = states_of(asked[0].life.n), np.array([one.season for one in asked])
    fixed = None if action is None else [Fixed.of(states.row(stage)) for stage in action[::-1]]
    year = Year.of([one.life for one in asked], [one.prices for one in asked], season, fixed)
    worth = Settling(np.stack([_worth_near(one.near, states) for one in asked]))  # at the year's end
    settled = SETTLED * np.array([max(one.prices.failure(), one.prices.planned(in_season=True)) for one in asked])
    going = np.arange(len(asked))  # those that have not settled yet
    found: dict[int, Upkeep] = {}
    for years in range(1, MOST_YEARS + 1):
        cost, fresh = year.cost(worth.answers)
        moved = cost - worth.answers
        done = (np.ptp(moved, axis=1) <= settled) | (years == MOST_YEARS)
        if done.any():
            settled_ones, their_worth = year.of_these(done), worth.answers[done]
            # A given policy says nothing of longer seasons than its own.
            laid_out = settled_ones.laid_out(their_worth, LONGEST_SEASONS if action is None else 1.0)
            for k, (ahead, act, to_close) in zip(np.flatnonzero(done), laid_out, strict=True):
                life, prices, hours, _ = asked[going[k]]
                found[int(going[k])] = Upkeep(life, prices, hours, float(fresh[k]), ahead, act, to_close)
            left = ~done
            going, settled, year = going[left], settled[left], year.of_these(left)
            worth.keep(left)
            moved = moved[left]
            if not len(going):
                break
        worth.turn(DAMPING * moved)
    return (found[number] for number in range(len(asked)))


def _worth_near(near: Upkeep | None, states: States) -> np.ndarray:
    """What each state is worth at the season's opening beside a fresh unit by an upkeep much like it, (s,); else 0."""
    if near is None or near.life.n != states.n:
        return np.zeros(len(states.age))
    first, then = (states.row(stage) - stage[0, 0] for stage in near.ahead[:2])
    worth: np.ndarray = first + near.opening * (then - first)
    return worth

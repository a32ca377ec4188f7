"""Rebuild now or later: what each option costs from today to the horizon, for one unit.

The options: rebuild in a week, unless it fails or is noticed first; check in a week, rebuild if it rattles, else go on
to the next off-season; never, until it fails. Counted in each: the planned job at that day's price, being noticed,
failing, and the lives after this one under their best upkeep (``forecaster.policy``), so that "later" is not cheaper
merely because the horizon ends. The unit's own incidents and checks are followed exactly up to its first opening.
Costs are per posterior draw.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from forecaster.craft_weeks import CraftWeeks
from forecaster.policy import Upkeep
from forecaster.prices import Prices
from forecaster.unit_ahead import UnitAhead

WEEKS_A_YEAR = 52
WEEKS_A_MONTH = WEEKS_A_YEAR / 12


@dataclass(frozen=True)
class Option:
    """One thing to do: "rebuild", "check" or "none" (never, until it fails), its day and its expected cost."""

    action: str
    on: date | None
    week: int
    expected_cost: float
    low: float  # central 90 % of the posterior
    high: float


@dataclass(frozen=True)
class Triggers:
    """Hours since rebuild at which to act in the coming season, if it still runs then; None: not this season.

    `..._until`: the last day on which that pays; a unit that gets to those hours later waits for the season's close.
    """

    check_at_hours: float | None
    rebuild_at_hours: float | None
    check_until: date | None = None
    rebuild_until: date | None = None


@dataclass(frozen=True)
class Waiting:
    """Every option of one unit, per draw and on average, money from today to the horizon.

    `rebuild`, `check` (d, w): cost of acting in each week; `none` (d,). `running` (w,): chance that it still runs,
    unopened, at each week's start; `rattles` (w,) the chance that it would then rattle when spun. `left`: expected cost
    of leaving it to the coming season and acting at its triggers.
    """

    weeks: CraftWeeks
    prices: Prices
    rebuild: np.ndarray
    check: np.ndarray
    none: np.ndarray
    running: np.ndarray
    rattles: np.ndarray
    triggers: Triggers
    left: float

    def option(self, action: str, week: int = 0) -> Option:
        """One option with its interval."""
        return self.options[{"rebuild": week, "check": self.weeks.n + week, "none": -1}[action]]

    @cached_property
    def options(self) -> tuple[Option, ...]:
        """All of them: rebuild by week, check by week, none."""
        found: list[Option] = []
        for action, draws in (("rebuild", self.rebuild), ("check", self.check), ("none", self.none[:, None])):
            mean, (low, high) = draws.mean(axis=0), np.quantile(draws, [0.05, 0.95], axis=0)
            days = self.weeks.first_day if action != "none" else (None,)
            found += [
                Option(action, day, week, float(mean[week]), float(low[week]), float(high[week]))
                for week, day in enumerate(days)
            ]
        return tuple(found)

    @property
    def best(self) -> Option:
        """The option of least expected cost."""
        return min(self.options, key=lambda option: option.expected_cost)

    @property
    def best_later(self) -> Option:
        """The best of all else than rebuilding now; another week before the unit runs again is still "now"."""
        runs = self.weeks.step_of_week
        others = [o for o in self.options if not (o.action == "rebuild" and runs[o.week] == 0)]
        return min(others, key=lambda option: option.expected_cost)

    def draws_of(self, option: Option) -> np.ndarray:
        """An option's cost under each posterior draw, (d,)."""
        if option.action == "none":
            return self.none
        draws: np.ndarray = (self.rebuild if option.action == "rebuild" else self.check)[:, option.week]
        return draws

    @property
    def chance_now_is_cheaper(self) -> float:
        """How probable it is, by the posterior, that rebuilding now costs no more than the best of all else."""
        return float((self.rebuild[:, 0] <= self.draws_of(self.best_later)).mean())

    @property
    def break_even_rebuild_price(self) -> float:
        """The price of this rebuild now at which it costs as much as the best of all else (may be below 0)."""
        return self.prices.rebuild + self.best_later.expected_cost - float(self.rebuild[:, 0].mean())

    @property
    def value_of_check(self) -> float:
        """What the best check saves beside the best option without one; 0 where none does."""
        without = min(float(self.rebuild.mean(axis=0).min()), float(self.none.mean()))
        return max(without - float(self.check.mean(axis=0).min()), 0.0)

    @property
    def cost_of_waiting(self) -> tuple[tuple[date, float], ...]:
        """What each month of putting the rebuild off costs beside rebuilding now: (day, extra cost)."""
        mean = self.rebuild.mean(axis=0)
        weeks = np.unique(np.floor(np.arange(0, self.weeks.n / WEEKS_A_MONTH) * WEEKS_A_MONTH).astype(int))
        return tuple((self.weeks.first_day[w], float(mean[w] - mean[0])) for w in weeks[1:])

    @property
    def cost_of_waiting_per_month(self) -> float:
        """The dearest of the first twelve months of putting the rebuild off: what one such month costs."""
        extra = np.array([0.0, *(cost for _, cost in self.cost_of_waiting[:12])])
        return float(np.diff(extra).max())


def waiting(
    ahead: UnitAhead, weeks: CraftWeeks, upkeep: Upkeep, prices: Prices, scatter: np.ndarray | None = None
) -> Waiting:
    """Cost every option of one unit. `ahead` must have been followed over ``weeks.step_hours``.

    `scatter` (d,): yearly cost of the lives to come under each draw of `ahead`, as a ratio to the mean, so that they
    add to the interval; the posterior's mean stands for all draws when None.
    """
    mean_fresh = _fresh_ahead(weeks, upkeep)
    scatter = np.ones(len(ahead.sound)) if scatter is None else scatter
    # Lives to come cost by the hours that they run: none in the off-season.
    years = weeks.n / WEEKS_A_YEAR
    years_left = years * (1 - ahead.hours[weeks.step_of_week] / ahead.hours[-1]) if len(ahead.hours) > 1 else 0.0
    fresh = mean_fresh + (scatter[:, None] - 1) * upkeep.cost_per_year * years_left
    case = _Case(ahead, weeks, upkeep, prices)
    running, done = ahead.running, weeks.step_of_week[:-1]
    ended = case.ended(ahead.fails, ahead.noticed, fresh)
    spent = np.concatenate([np.zeros((len(ended), 1)), np.cumsum(ended, axis=1)], axis=1)
    rebuild = spent[:, done] + running[:, done] * (case.planned + fresh[:, :-1])
    none = spent[:, -1] + running[:, -1] * case.worn(weeks.n)
    check = _checks(case, spent, fresh)
    triggers, left = _stopped(case, mean_fresh, (check - spent[:, done]).mean(axis=0))
    rattles = np.array([ahead.rattles(int(k)).mean() for k in done])
    return Waiting(weeks, prices, rebuild, check, none, running.mean(axis=0)[done], rattles, triggers, left)


def _fresh_ahead(weeks: CraftWeeks, upkeep: Upkeep) -> np.ndarray:
    """Cost of a fresh unit from each week's start to the horizon, where a fresh unit is worth 0, (w + 1,)."""
    by_stage = upkeep.ahead[:, 0, 0]
    value = by_stage[weeks.stage] + upkeep.cost_per_year * (weeks.year[-1] - weeks.year)
    answer: np.ndarray = value - by_stage[weeks.stage[-1]]
    return answer


@dataclass(frozen=True)
class _Case:
    """One unit as followed ahead, the weeks of its craft, the upkeep of the lives after it, and the prices."""

    ahead: UnitAhead
    weeks: CraftWeeks
    upkeep: Upkeep
    prices: Prices

    @cached_property
    def planned(self) -> np.ndarray:
        """Price of a planned rebuild in each week, (w,)."""
        return np.array([self.prices.planned(bool(inside)) for inside in self.weeks.in_season])

    def ended(self, fails: np.ndarray, noticed: np.ndarray, fresh: np.ndarray) -> np.ndarray:
        """Cost of what ends the life in each step, (..., n), given its chances and a fresh unit's cost by week.

        The fresh unit that follows is valued at the step's end.
        """
        after = fresh[..., self.weeks.week_of_step + 1]
        cost: np.ndarray = fails * (self.prices.failure() + after) + noticed * (self.prices.noticed() + after)
        return cost

    def worn(self, week: int, checked_step: int | None = None) -> float:
        """Cost from a week's start to the horizon of the unit still running then, by age and last quiet check."""
        step_h, last = self.upkeep.life.step_h, self.upkeep.life.n - 1
        age = self.ahead.age_h + self.ahead.hours[self.weeks.step_of_week[week]]
        i = min(round(age / step_h), last)
        checked = 0.0 if checked_step is None else self.ahead.age_h + self.ahead.hours[checked_step]
        j = min(round(checked / step_h), i)
        stages, years = self.weeks.stage, self.weeks.year
        value = self.upkeep.ahead[stages[week], i, j] + self.upkeep.cost_per_year * (years[-1] - years[week])
        return float(value - self.upkeep.ahead[stages[-1], 0, 0])


def _checks(case: _Case, spent: np.ndarray, fresh: np.ndarray) -> np.ndarray:
    """The cost of a check in each week, (d, w); weeks between which nothing runs and no price changes share theirs."""
    weeks = case.weeks
    columns: list[np.ndarray] = []
    for week in range(weeks.n):
        same_step = week > 0 and weeks.step_of_week[week] == weeks.step_of_week[week - 1]
        if same_step and weeks.in_season[week] == weeks.in_season[week - 1]:
            columns.append(columns[-1])
        else:
            columns.append(_check(case, week, spent, fresh))
    return np.stack(columns, axis=1)


def _check(case: _Case, week: int, spent: np.ndarray, fresh: np.ndarray) -> np.ndarray:
    """Check in a week: rebuild if it rattles, else go on to the next off-season, (d,)."""
    ahead, weeks = case.ahead, case.weeks
    k = int(weeks.step_of_week[week])
    before = spent[:, k] + ahead.running[:, k] * case.prices.looked_at(bool(weeks.in_season[week]))
    rattles = ahead.rattles(k) * (case.planned[week] + fresh[:, week])
    fails, noticed, running = ahead.after_quiet_check(k)
    off = _next_off_season(weeks, week)
    stop = int(weeks.step_of_week[off])
    on = case.ended(fails, noticed, fresh)[:, k:stop].sum(axis=1) + running[:, stop] * case.worn(off, k)
    total: np.ndarray = before + rattles + on
    return total


def _next_off_season(weeks: CraftWeeks, week: int) -> int:
    """The first off-season week after the season that follows a week; the horizon where none does."""
    inside = weeks.in_season
    season = np.flatnonzero(inside[week:])
    if not len(season):
        return weeks.n
    after = np.flatnonzero(~inside[week + season[0] :])
    return int(week + season[0] + after[0]) if len(after) else weeks.n


def _stopped(case: _Case, fresh: np.ndarray, check_from: np.ndarray) -> tuple[Triggers, float]:
    """Hours at which acting beats going on in the coming season, by optimal stopping backwards from its close.

    On the unit's own path, at each in-season week: rebuild, check, or run the week and decide again; at the close it
    is worth the lesser of a rebuild then and going on. Also the expected cost of doing so.
    `fresh` (w + 1,) is the posterior's mean; `check_from` (w,): cost from a week on of checking in it.
    """
    ahead, weeks = case.ahead, case.weeks
    season = np.flatnonzero(weeks.in_season)
    if not len(season):
        return Triggers(None, None), float(ahead.running[:, 0].mean() * case.worn(weeks.n))
    first = int(season[0])
    close = _next_off_season(weeks, first)
    running, fails, noticed = (part.mean(axis=0) for part in (ahead.running, ahead.fails, ahead.noticed))
    stop = int(weeks.step_of_week[close])
    at_close = case.worn(close)
    if close < weeks.n:
        at_close = min(at_close, case.planned[close] + fresh[close])
    value = float(running[stop] * at_close)
    acts: dict[int, str] = {}
    ended = case.ended(fails, noticed, fresh)
    for k in range(stop - 1, int(weeks.step_of_week[first]) - 1, -1):
        week = int(weeks.week_of_step[k])
        go_on = ended[k] + value
        rebuild = running[k] * (case.planned[week] + fresh[week])
        check = float(check_from[week])
        value = min(go_on, rebuild, check)
        if value < go_on:
            acts[k] = "rebuild" if rebuild <= check else "check"

    def when(action: str) -> tuple[float, date] | tuple[None, None]:
        steps = [k for k, act in acts.items() if act == action]
        if not steps:
            return None, None
        return float(ahead.age_h + ahead.hours[min(steps)]), weeks.first_day[int(weeks.week_of_step[max(steps)])]

    begun = int(weeks.step_of_week[first])
    before = float(ended[:begun].sum())
    (look, look_until), (open_it, open_until) = when("check"), when("rebuild")
    if look is not None and open_it is not None and look > open_it:
        look = look_until = None  # a check after the hours at which it would be opened anyway is none
    return Triggers(look, open_it, look_until, open_until), before + value

"""Rebuild now or later: what each option costs from today to the horizon, for one unit.

The options: rebuild in a week, unless it fails or is noticed first; check in a week, rebuild if it rattles, else go on
to the next off-season; never, until it fails. Counted in each: the planned job at that day's price, being noticed,
failing, and the lives after this one under their best upkeep (``forecaster.policy``), so that "later" is not cheaper
merely because the horizon ends. The unit's own incidents and checks are followed exactly up to its first opening.
Costs are per posterior draw.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from forecaster.by_week import ActingByWeek, ByWeek
from forecaster.counted_looks import QUIET
from forecaster.craft_weeks import CraftWeeks
from forecaster.off_season_ahead import OffSeasonAhead, UnitPath, off_season_ahead
from forecaster.policy import Upkeep
from forecaster.prices import Prices
from forecaster.season_triggers import Triggers
from forecaster.told_numbers import told_numbers
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
class Waiting(ActingByWeek):
    """Every option of one unit, per draw and on average, money from today to the horizon.

    `rebuild_weeks`, `check_weeks`: cost of acting in each week; `none` (d,). `running` (w,): chance that it still runs,
    unopened, at each week's start; `rattles` (w,) the chance that it would then rattle when spun. `comes_off_weeks`:
    chance of failing or being noticed in each week. `age_h`: its mean age now, h. `triggers`: of the season that is on,
    else of the coming one; `left`: expected cost of leaving it now and acting at them. `off_season`: the next one, or
    the one that is on, once the season at hand is over.
    """

    weeks: CraftWeeks
    prices: Prices
    rebuild_weeks: ByWeek
    check_weeks: ByWeek
    none: np.ndarray
    running: np.ndarray
    rattles: np.ndarray
    comes_off_weeks: ByWeek
    age_h: float
    triggers: Triggers
    left: float
    off_season: OffSeasonAhead

    @property
    def comes_off(self) -> np.ndarray:
        """Chance of failing or being noticed in each week, (d, w)."""
        return self.comes_off_weeks.whole

    def option(self, action: str, week: int = 0) -> Option:
        """One option with its interval."""
        return self.options[{"rebuild": week, "check": self.weeks.n + week, "none": -1}[action]]

    @cached_property
    def options(self) -> tuple[Option, ...]:
        """All of them: rebuild by week, check by week, none."""
        found: list[Option] = []
        for action, draws in (("rebuild", self.rebuild), ("check", self.check), ("none", self.none[:, None])):
            mean, (low, high) = draws.mean(axis=0), np.quantile(told_numbers(draws, "A cost"), [0.05, 0.95], axis=0)
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
    def best_now(self) -> Option:
        """The cheapest rebuild before the unit runs again: the first of equals, so as a rule this week's."""
        runs = self.weeks.step_of_week
        now = [o for o in self.options if o.action == "rebuild" and runs[o.week] == 0]
        return min(now, key=lambda option: option.expected_cost)

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
        return (self.rebuild_weeks if option.action == "rebuild" else self.check_weeks).week(option.week)

    @property
    def cost_of_waiting(self) -> tuple[tuple[date, float], ...]:
        """What each month of putting the rebuild off costs beside rebuilding now: (day, extra cost)."""
        mean = self.rebuild_weeks.mean
        weeks = np.unique(np.floor(np.arange(0, self.weeks.n / WEEKS_A_MONTH) * WEEKS_A_MONTH).astype(int))
        return tuple((self.weeks.first_day[w], float(mean[w] - mean[0])) for w in weeks[1:])


def waiting(
    ahead: UnitAhead, weeks: CraftWeeks, upkeep: Upkeep, prices: Prices, scatter: np.ndarray | None = None
) -> Waiting:
    """Cost every option of one unit. `ahead` must have been followed over ``weeks.step_hours``.

    `scatter` (d,): yearly cost of the lives to come under each draw of `ahead`, as a ratio to the mean, so that they
    add to the interval; the posterior's mean stands for all draws when None.
    """
    case = _Case.of(ahead, weeks, upkeep, prices)
    fresh = _fresh_by_draw(case, scatter)
    path = _path(case, fresh)
    now, off_season = off_season_ahead(path, lambda week: _path_after_a_check(case, fresh, week))
    if weeks.in_season[0]:
        triggers, left = now.triggers, now.expected_cost
    else:
        triggers, left = off_season.triggers, float(off_season.at_triggers.mean())
    runs, rattles = (chance.mean(axis=0)[:-1] for chance in (path.running, path.rattles))
    comes_off = path.running[:, :-1] - path.running[:, 1:]
    return Waiting(
        weeks,
        prices,
        path.rebuild_weeks,
        path.check_weeks,
        path.worn[:, -1].copy(),  # so that the rest is not kept with it
        runs,
        rattles,
        ByWeek.of(comes_off),
        ahead.age_h,
        triggers,
        left,
        off_season,
    )


def off_season_before(
    ahead: UnitAhead, weeks: CraftWeeks, upkeep: Upkeep, prices: Prices, scatter: np.ndarray, opens: int
) -> OffSeasonAhead:
    """The off-season before the season that opens in week `opens`, for one that is not the next; see ``waiting``."""
    case = _Case.of(ahead, weeks, upkeep, prices)
    fresh = _fresh_by_draw(case, scatter)
    return off_season_ahead(_path(case, fresh), lambda week: _path_after_a_check(case, fresh, week), opens)[1]


def _fresh_by_draw(case: _Case, scatter: np.ndarray | None) -> np.ndarray:
    """Cost of a fresh unit from each week's start to the horizon under each draw, (d, w + 1)."""
    ahead, weeks = case.ahead, case.weeks
    scatter = np.ones(len(ahead.sound)) if scatter is None else scatter
    by_draw: np.ndarray = _fresh_ahead(weeks, case.upkeep, _drawn_to_close(ahead, weeks)) * scatter[:, None]
    return by_draw


def _path(case: _Case, fresh: np.ndarray, checked_step: int | None = None) -> UnitPath:
    """The costs along a unit's own path; `checked_step`: at the start of which it was last checked and quiet."""
    ahead, weeks = case.ahead, case.weeks
    done, every = weeks.step_of_week, np.arange(weeks.n + 1)
    ended = case.ended(ahead.fails, ahead.noticed, fresh)
    spent = _summed_up(ended)
    running = ahead.running[:, done]
    last_check = None if checked_step is None else np.full(len(every), checked_step)
    return UnitPath(
        weeks=weeks,
        age_h=ahead.age_h + ahead.hours[done],
        running=running,
        rattles=ahead.rattles[:, done],
        failed=_summed_up(ahead.fails)[:, done],
        rebuild=spent[:, done[:-1]] + running[:, :-1] * (case.planned + fresh[:, :-1]),
        check=_checks(case, spent, fresh),
        worn=spent[:, done] + running * case.worn(every, last_check),
    )


def _path_after_a_check(case: _Case, fresh: np.ndarray, week: int) -> UnitPath:
    """The same of a unit that is checked in `week` and rebuilt then if it rattles: what comes of it if it is quiet.

    Costs hold the check, and all that may have come before it and instead of it.
    """
    ahead, k = case.ahead, int(case.weeks.step_of_week[week])
    quiet = _path(replace(case, ahead=ahead.after_a_quiet_check(k)), fresh, k)
    before = case.ended(ahead.fails, ahead.noticed, fresh)[:, :k].sum(axis=1)
    before += ahead.running[:, k] * case.looked_at[week]
    before += ahead.rattles[:, k] * (case.planned[week] + fresh[:, week])
    failed = ahead.fails[:, :k].sum(axis=1)
    added = {name: getattr(quiet, name) + before[:, None] for name in ("rebuild", "check", "worn")}
    return replace(quiet, failed=quiet.failed + failed[:, None], **added)


def _summed_up(by_step: np.ndarray) -> np.ndarray:
    """Of amounts in each step (d, n), what they come to by each step's start, (d, n + 1)."""
    return np.concatenate([np.zeros((len(by_step), 1)), np.cumsum(by_step, axis=1)], axis=1)


def _drawn_to_close(ahead: UnitAhead, weeks: CraftWeeks) -> np.ndarray:
    """``CraftWeeks.to_close_h`` under each draw, (d or 1, w + 1); past the horizon each runs on as it did."""
    run = ahead.drawn_hours[:, weeks.step_of_week]
    share = run[:, -1:] / ahead.hours[-1] if ahead.hours[-1] > 0 else np.ones((1, 1))
    at_close = np.concatenate([run[:, _begins(weeks)], run[:, -1:] + weeks.to_close_h[-1] * share], axis=1)
    left: np.ndarray = at_close[:, weeks.closed] - run
    return left


def _begins(weeks: CraftWeeks) -> np.ndarray:
    """The weeks with which a season has closed and the next one's year begins."""
    begins: np.ndarray = np.flatnonzero(np.diff(weeks.closed)) + 1
    return begins


def _fresh_ahead(weeks: CraftWeeks, upkeep: Upkeep, to_close_h: np.ndarray) -> np.ndarray:
    """Cost of a fresh unit from each week's start to the horizon, where a fresh unit is worth 0, (..., w + 1).

    `to_close_h` (..., w + 1), as `weeks` have it or under each draw.
    """
    value = upkeep.fresh_ahead(to_close_h)
    # What a whole season costs, of each that begins when one has closed: nothing is run between.
    seasons = np.cumsum(value[..., _begins(weeks)[::-1]], axis=-1)[..., ::-1]
    later = np.concatenate([seasons, np.zeros((*value.shape[:-1], 1))], axis=-1)
    answer: np.ndarray = value + later[..., weeks.closed] - value[..., -1:]
    return answer


@dataclass(frozen=True)
class _Case:
    """One unit as followed ahead, the weeks of its craft, the upkeep of the lives after it, and the prices."""

    ahead: UnitAhead
    weeks: CraftWeeks
    upkeep: Upkeep
    prices: Prices
    fresh: np.ndarray  # (w + 1,), as ``_fresh_ahead`` has it

    @classmethod
    def of(cls, ahead: UnitAhead, weeks: CraftWeeks, upkeep: Upkeep, prices: Prices) -> _Case:
        return cls(ahead, weeks, upkeep, prices, _fresh_ahead(weeks, upkeep, weeks.to_close_h))

    @cached_property
    def planned(self) -> np.ndarray:
        """Price of a planned rebuild in each week, (w,)."""
        return np.array([self.prices.planned(bool(inside)) for inside in self.weeks.in_season])

    @cached_property
    def looked_at(self) -> np.ndarray:
        """Price of a check in each week, (w,)."""
        return np.array([self.prices.looked_at(bool(inside)) for inside in self.weeks.in_season])

    def ended(self, fails: np.ndarray, noticed: np.ndarray, fresh: np.ndarray) -> np.ndarray:
        """Cost of what ends the life in each step, (..., n), given its chances and a fresh unit's cost by week.

        It ends amid the step on average, and there the fresh unit that follows begins.
        """
        after = self.amid(fresh)
        cost: np.ndarray = fails * (self.prices.failure() + after) + noticed * (self.prices.noticed() + after)
        return cost

    def amid(self, fresh: np.ndarray) -> np.ndarray:
        """A fresh unit's cost (..., w + 1) from the middle of each step, (..., n)."""
        week = self.weeks.week_of_step
        middle: np.ndarray = (fresh[..., week] + fresh[..., week + 1]) / 2
        return middle

    def worn(self, week: np.ndarray, checked_step: np.ndarray | None = None) -> np.ndarray:
        """Cost from the start of each `week` (m,) to the horizon of the unit still running then, (m,).

        By its age, and its age at the last quiet check, made at the start of `checked_step` (m,); None: of none but one
        just made.
        """
        age = self.ahead.age_h + self.ahead.hours
        unchecked = age[0] if self.ahead.heard == QUIET else 0.0
        checked = np.full(len(week), unchecked) if checked_step is None else age[checked_step]
        beside = self.upkeep.worn_beside_fresh(self.weeks.stage[week], age[self.weeks.step_of_week[week]], checked)
        worn: np.ndarray = beside + self.fresh[week]
        return worn


def _checks(case: _Case, spent: np.ndarray, fresh: np.ndarray) -> np.ndarray:
    """The cost of a check in each week, (d, w): rebuild if it rattles, else go on to the next off-season.

    Weeks between which nothing runs and no price changes share theirs.
    """
    ahead, weeks = case.ahead, case.weeks
    differs = np.diff(weeks.step_of_week[:-1], prepend=-1) != 0
    differs[1:] |= weeks.in_season[1:] != weeks.in_season[:-1]
    week = np.flatnonzero(differs)
    k = weeks.step_of_week[week]
    before = spent[:, k] + ahead.running[:, k] * case.looked_at[week]
    rattles = ahead.rattles[:, k] * (case.planned[week] + fresh[:, week])
    total = before + rattles + _after_a_quiet_check(case, week, spent, fresh)
    by_week: np.ndarray = total[:, np.cumsum(differs) - 1]
    return by_week


def _after_a_quiet_check(case: _Case, week: np.ndarray, spent: np.ndarray, fresh: np.ndarray) -> np.ndarray:
    """What comes of a unit that passes a check in each `week` (m,): to the next off-season, and on from there, (d, m).

    What is defective then passes with 1 - sensitivity, all else with specificity; as it did, where it was spun already
    and has not run since.
    """
    ahead, weeks = case.ahead, case.weeks
    off = weeks.next_off[week]
    k, stop = weeks.step_of_week[week], weeks.step_of_week[off]
    ill_passes, sound_passes = ahead.passes
    passed = sound_passes[:, k]
    less_if_ill = ill_passes[:, k] - passed
    ended = spent[:, stop] - spent[:, k]
    ended_ill = np.empty_like(ended)
    by_stop = _ended_ill(case, fresh, np.unique(stop))
    for end, cost in by_stop.items():
        ended_ill[:, stop == end] = cost[:, k[stop == end]]
    running = passed * ahead.running[:, stop] + less_if_ill * ahead.ill_running[:, k, stop]
    found: np.ndarray = passed * ended + less_if_ill * ended_ill + running * case.worn(off, k)
    return found


def _ended_ill(case: _Case, fresh: np.ndarray, stops: np.ndarray) -> dict[int, np.ndarray]:
    """Cost of what ends lives that are defective at each step's start, before each of a few `stops`: (d, n + 1) each.

    Being noticed and failing differ by the same amount at any time, so that only failing need be told apart.
    """
    ahead, prices = case.ahead, case.prices
    gone, noticed = ahead.ill_gone, (prices.noticed() + case.amid(fresh))[:, :, None]
    failing_adds = prices.failure() - prices.noticed()
    return {
        int(stop): (gone[:, :, :stop] @ noticed[:, :stop])[:, :, 0]
        + failing_adds * ahead.ill_fails[:, :, :stop].sum(axis=2)
        for stop in stops
    }

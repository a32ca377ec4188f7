"""How many rebuilds an off-season brings if nothing changes, and what fails or is opened before it.

A unit meets the work that is planned for it only if it still runs unopened when the season closes. Each is a trial of
its own under each posterior draw; their number is a sum of trials with unlike chances (Poisson binomial), mixed over
the draws. In the place of a unit that comes off before, a fresh one is run on to the close, and is rebuilt then if it
has grown old enough. Where units are left only for want of money or places, they take the place of planned ones that
came off before.

What pays at the close is decided by what is known then. Of the spread of today's posterior the hours to come resolve
about the share that they are of all hours on record by then (preposterior analysis of a mean, Raiffa & Schlaifer 1961,
from memory): under each draw, costs are moved so far towards that draw's, and the work that then costs least is done.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np

from forecaster.decisions import Decisions
from forecaster.off_season_ahead import OffSeasonAhead
from forecaster.plan_case import PlanCase
from forecaster.plan_problem import Action, Plan, PlannedAction

ACTIONS: tuple[Action, ...] = ("rebuild", "check", "leave")
ENDS = (0.05, 0.95)  # of the central 90 %


@dataclass(frozen=True)
class NumberOfUnits:
    """How many units: as expected, and a central 90 % interval, so that `high` are enough with 95 % chance."""

    mean: float
    low: int
    high: int


@dataclass(frozen=True)
class RebuildsToCome:
    """The off-season's rebuilds if nothing changes, with what comes before it.

    `rebuilds`: in the off-season, of checked units that rattle too. Until `season_closes`, the last one before it
    (None: the off-season is on): `failures`, and `openings`, units noticed, found by a check or rebuilt at their
    hours; each unit counts once.
    """

    rebuilds: NumberOfUnits
    failures: NumberOfUnits
    openings: NumberOfUnits
    season_closes: date | None

    @property
    def to_order(self) -> int | None:
        """In season, for how many rebuilds to have parts, enough with 95 % chance; None: for those that are planned."""
        return None if self.season_closes is None else self.rebuilds.high


def rebuilds_to_come(case: PlanCase, plan: Plan) -> RebuildsToCome:
    """How many rebuilds a plan of a case comes to."""
    decisions, season = case.decisions, case.decisions.records.settings.season
    first_day = next(iter(case.weighed.values())).weeks.first_day
    ahead = [case.ahead[one.unit_id] for one in plan.actions]
    learned, chances, wait = _to_be_learned(case), [], False
    for i, (one, off) in enumerate(zip(plan.actions, ahead, strict=True)):
        priced = Priced.of(case, i, one)
        waits = off.begins > 0 and one.action == "leave" and not one.in_season and priced.best == "rebuild"
        wait |= waits
        if off.begins and (waits or priced.best == one.action) and one.unit_id not in case.problem.must:
            own = priced.rebuilt(off, learned)
        else:
            own = _own(one.action, off)
        chances.append(own + _of_those_that_follow(decisions, one, off))
    most = plan.count("rebuild") + round(sum(one.rattle for one in plan.actions)) if wait else None
    return RebuildsToCome(
        number_of_units(np.stack(chances, axis=1), most),
        number_of_units(np.stack([off.fails for off in ahead], axis=1)),
        number_of_units(np.stack([off.opened for off in ahead], axis=1)),
        season.current_or_next(first_day[ahead[0].begins - 1])[1] if ahead[0].begins else None,
    )


def _to_be_learned(case: PlanCase) -> float:
    """How far what is known moves from today's mean towards the truth by the close, as a share of a standard deviation.

    0 off season.
    """
    decisions = case.decisions
    begins = next(iter(case.ahead.values())).begins
    so_far = float(decisions.histories.lives["hours_observed"].sum())
    to_come = sum(float(decisions.weekly_hours[craft][:begins].sum()) for craft in case.problem.craft_ids)
    return math.sqrt(to_come / (so_far + to_come)) if to_come > 0 else 0.0


def number_of_units(chances: np.ndarray, most: int | None = None) -> NumberOfUnits:
    """The number of units of which something comes true, given its chance by draw and unit, (d, n); `most`: no more."""
    draws, n = chances.shape
    number = np.zeros((draws, n + 1))
    number[:, 0] = 1.0
    likely = np.clip(chances, 0.0, 1.0).T
    for tried, chance in enumerate(likely[likely.any(axis=1)], start=1):  # of so many units no more can come true
        some = number[:, : tried + 1]
        some[:, 1:] = some[:, 1:] * (1.0 - chance[:, None]) + some[:, :-1] * chance[:, None]
        some[:, 0] *= 1.0 - chance
    mixed = number.mean(axis=0)
    if most is not None and most < n:
        mixed = np.append(mixed[:most], mixed[most:].sum())
    below = np.cumsum(mixed)
    low, high = (int(np.argmax(below >= share - 1e-12)) for share in ENDS)
    return NumberOfUnits(float(np.arange(len(mixed)) @ mixed), low, high)


def _own(action: Action, off: OffSeasonAhead) -> np.ndarray:
    """Chance by draw that the unit itself is rebuilt in the off-season, if that is done."""
    if action == "rebuild":
        return off.running
    return off.rattles if action == "check" else np.zeros_like(off.running)


@dataclass(frozen=True)
class Priced:
    """What each action costs for one unit, with the least that its money must bring, by action and draw, (3, draws)."""

    costs: np.ndarray

    @classmethod
    def of(cls, case: PlanCase, unit: int, one: PlannedAction) -> Priced:
        """Work in its planned week, else in its cheapest; left as it is planned to be, else acted on in season."""
        problem = case.problem
        season = one.in_season or one.action != "leave"
        works: tuple[tuple[Action, np.ndarray, np.ndarray], ...] = (
            ("rebuild", problem.rebuild_cost, problem.rebuild_spend),
            ("check", problem.check_cost, problem.check_spend),
        )
        by_action = []
        for action, by_week, spend in works:
            week = one.week_of if one.action == action else problem.weeks[int(by_week[unit].argmin())]
            by_action.append(case.cost_draws(unit, action, week) + problem.least_gain * spend[unit])
        left = problem.least_gain * problem.season_spend[unit] if season else 0.0
        by_action.append(case.cost_draws(unit, "leave", None, season) + left)
        return cls(np.stack(by_action))

    @property
    def best(self) -> Action:
        """What costs least as far as is known today."""
        return ACTIONS[int(self.costs.mean(axis=1).argmin())]

    def rebuilt(self, off: OffSeasonAhead, learned: float) -> np.ndarray:
        """Chance by draw of being rebuilt, when more is known."""
        mean = self.costs.mean(axis=1, keepdims=True)
        then = (mean + learned * (self.costs - mean)).argmin(axis=0)
        by_action = np.stack([_own(action, off) for action in ACTIONS])
        chance: np.ndarray = np.take_along_axis(by_action, then[None], axis=0)[0]
        return chance


def _of_those_that_follow(decisions: Decisions, one: PlannedAction, off: OffSeasonAhead) -> np.ndarray:
    """Chance by draw that a fresh unit, put on when this one came off in season, is rebuilt in the off-season."""
    if not off.begins:
        return np.zeros_like(off.running)
    chance: np.ndarray = off.comes_off @ decisions.rebuilt_at_close(one.craft_id, off.begins)
    return chance

"""How many rebuilds an off-season brings if nothing changes, and what fails or is opened before it.

A unit meets the work that is planned for it only if it still runs unopened when the season closes. Each is a trial of
its own under each posterior draw; their number is a sum of trials with unlike chances (Poisson binomial), mixed over
the draws, so that what is not known of the bearings counts as well. In the place of a unit that comes off before, a
fresh one is run on to the close, and is rebuilt then if it has grown old enough. Where units are left only for want of
money or places, they take the place of planned ones that came off before.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from forecaster.decisions import Decisions
from forecaster.off_season_ahead import OffSeasonAhead
from forecaster.plan_case import PlanCase
from forecaster.plan_problem import LEAST_SAVING, Plan, PlannedAction
from forecaster.policy import Upkeep

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
    chances, wait = [], False
    for i, (one, off) in enumerate(zip(plan.actions, ahead, strict=True)):
        waits = off.begins > 0 and one.action == "leave" and _only_left_for_its_limits(case, i, one)
        wait |= waits
        own = off.running if waits else _own(one, off)
        chances.append(own + _of_those_that_follow(decisions, one, off))
    most = plan.count("rebuild") + round(sum(one.rattle for one in plan.actions)) if wait else None
    return RebuildsToCome(
        number_of_units(np.stack(chances, axis=1), most),
        number_of_units(np.stack([off.fails for off in ahead], axis=1)),
        number_of_units(np.stack([off.opened for off in ahead], axis=1)),
        season.current_or_next(first_day[ahead[0].begins - 1])[1] if ahead[0].begins else None,
    )


def number_of_units(chances: np.ndarray, most: int | None = None) -> NumberOfUnits:
    """The number of units of which something comes true, given its chance by draw and unit, (d, n); `most`: no more."""
    draws, n = chances.shape
    number = np.zeros((draws, n + 1))
    number[:, 0] = 1.0
    for chance in np.clip(chances, 0.0, 1.0).T:
        number[:, 1:] = number[:, 1:] * (1.0 - chance[:, None]) + number[:, :-1] * chance[:, None]
        number[:, 0] *= 1.0 - chance
    mixed = number.mean(axis=0)
    if most is not None and most < n:
        mixed = np.append(mixed[:most], mixed[most:].sum())
    below = np.cumsum(mixed)
    low, high = (int(np.argmax(below >= share - 1e-12)) for share in ENDS)
    return NumberOfUnits(float(np.arange(len(mixed)) @ mixed), low, high)


def _own(one: PlannedAction, off: OffSeasonAhead) -> np.ndarray:
    """Chance by draw that the unit itself is rebuilt in the off-season."""
    if one.action == "rebuild":
        return off.running
    return off.rattles if one.action == "check" else np.zeros_like(off.running)


def _only_left_for_its_limits(case: PlanCase, unit: int, one: PlannedAction) -> bool:
    """Whether a rebuild would save enough beside leaving the unit, and no place or money was left for it."""
    problem = case.problem
    saves = float(problem.leave_cost[unit] - problem.rebuild_cost[unit].min()) - one.saves
    return saves >= max(LEAST_SAVING, problem.least_gain * float(problem.rebuild_spend[unit]))


def _of_those_that_follow(decisions: Decisions, one: PlannedAction, off: OffSeasonAhead) -> np.ndarray:
    """Chance by draw that a fresh unit, put on when this one came off in season, is rebuilt in the off-season."""
    if not off.begins:
        return np.zeros_like(off.running)
    upkeep = decisions.upkeep(one.craft_id)
    hours = decisions.weekly_hours[one.craft_id][: off.begins]
    age_h = np.cumsum(hours[::-1])[::-1] - hours / 2  # at the close, put on amid each week
    rebuilt = np.array([_rebuilt_at(upkeep, age) for age in age_h])
    chance: np.ndarray = off.comes_off @ rebuilt
    return chance


def _rebuilt_at(upkeep: Upkeep, age_h: float) -> float:
    """Chance that a fresh unit runs to an age unopened and is then rebuilt in the off-season, by the best upkeep."""
    life = upkeep.life
    age = min(round(age_h / life.step_h), life.n - 1)
    ill, act = float(life.defective[age, 0]), upkeep.does(upkeep.steps, age)
    rattles = life.sensitivity * ill + (1 - life.specificity) * (1 - ill)
    return float(life.alive[age, 0]) * {"rebuild": 1.0, "check": rattles, "none": 0.0}[act]

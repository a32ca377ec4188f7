"""How many units come off in each week of the coming season, after an off-season's work: failed or noticed.

What is counted is each unit's first time; that the unit put on in its place comes off in the same season too is left
out, a few in a hundred.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from forecaster.decisions import Decisions
from forecaster.fresh_life import FreshLife
from forecaster.plan_problem import PlannedAction
from forecaster.waiting import Waiting


def weekly_demand(
    decisions: Decisions, weighed: Mapping[str, Waiting], work: Mapping[str, PlannedAction]
) -> np.ndarray:
    """Units expected to come off in each in-season week of the coming season, (draws, weeks).

    `weighed`: each unit's options; `work`: what is planned for it. A checked unit counts as one that is left: that
    a rattle is found and mended is left out, on the safe side.
    """
    if not weighed:
        return np.zeros((1, 1))
    first = next(iter(weighed.values())).weeks
    season = np.flatnonzero(first.in_season & (first.year[:-1] <= max(first.year[0], 1)))
    total = np.zeros((len(decisions.scatter), first.n))
    for unit, one in weighed.items():  # one after another: those of thousands together would fill the memory
        total += _rebuilt(decisions, one, work[unit]) if work[unit].action == "rebuild" else one.comes_off
    return total[:, season] if len(season) else np.zeros((len(total), 1))


def _rebuilt(decisions: Decisions, one: Waiting, planned: PlannedAction) -> np.ndarray:
    """The same of a unit that is to be rebuilt: its own until its week, those of a fresh one from then on.

    A fresh unit's chances are the posterior's mean; they scatter over the draws as the cost of lives to come does.
    """
    weeks = one.weeks
    before = np.array([planned.week_of is not None and day < planned.week_of for day in weeks.first_day])
    hours = np.zeros(weeks.n)
    hours[weeks.week_of_step] = weeks.step_hours
    ages = np.concatenate([[0.0], np.cumsum(np.where(before, 0.0, hours))])
    off = np.diff(came_off(decisions.fresh_life(planned.craft_id), ages))
    coming: np.ndarray = np.where(before, one.comes_off, decisions.scatter[:, None] * off)
    return coming


def came_off(life: FreshLife, ages: np.ndarray) -> np.ndarray:
    """Chance that a fresh unit which nobody opens or checks has failed or been noticed by these ages, h."""
    unchecked = life.alive[:, 0] * (life.fails[:, 0] + life.noticed[:, 0])
    grid = np.arange(life.n + 1) * life.step_h
    by_age: np.ndarray = np.interp(ages, grid, np.concatenate([[0.0], np.cumsum(unchecked)]))
    return by_age

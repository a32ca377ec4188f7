"""How many units come off in each week of the coming season, after an off-season's work: failed or noticed.

What is counted is each unit's first time; that the unit put on in its place comes off in the same season too is left
out, a few in a hundred.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from forecaster.craft_weeks import CraftWeeks
from forecaster.decisions import Decisions
from forecaster.fresh_life import FreshLife
from forecaster.plan_problem import PlannedAction


def weekly_demand(
    decisions: Decisions, weeks: Mapping[str, CraftWeeks], work: Mapping[str, PlannedAction]
) -> np.ndarray:
    """Units expected to come off in each in-season week of the coming season, (draws, weeks).

    `weeks`: those of each unit's craft; `work`: what is planned for it. A checked unit counts as one that is left: that
    a rattle is found and mended is left out, on the safe side.
    """
    coming = [
        _fresh(decisions, one, work[unit]) if work[unit].action == "rebuild" else _left(decisions, unit, one)
        for unit, one in weeks.items()
    ]
    if not coming:
        return np.zeros((1, 1))
    first = next(iter(weeks.values()))
    season = np.flatnonzero(first.in_season & (first.year[:-1] <= max(first.year[0], 1)))
    total: np.ndarray = np.sum(coming, axis=0)
    return total[:, season] if len(season) else np.zeros((len(total), 1))


def _left(decisions: Decisions, unit_id: str, weeks: CraftWeeks) -> np.ndarray:
    ahead = decisions.ahead(unit_id)
    by_week = np.zeros((len(ahead.fails), weeks.n))
    by_week[:, weeks.week_of_step] = ahead.fails + ahead.noticed
    return by_week


def _fresh(decisions: Decisions, weeks: CraftWeeks, planned: PlannedAction) -> np.ndarray:
    """The same of a unit that is rebuilt, from its week on.

    Its chances are the posterior's mean; they scatter over the draws as the cost of lives to come does.
    """
    hours = np.zeros(weeks.n)
    hours[weeks.week_of_step] = weeks.step_hours
    if planned.week_of is not None:
        hours[[day < planned.week_of for day in weeks.first_day]] = 0.0
    ages = np.concatenate([[0.0], np.cumsum(hours)])
    off = np.diff(came_off(decisions.upkeep(planned.craft_id).life, ages))
    scattered: np.ndarray = decisions.scatter[:, None] * off
    return scattered


def came_off(life: FreshLife, ages: np.ndarray) -> np.ndarray:
    """Chance that a fresh unit which nobody opens or checks has failed or been noticed by these ages, h."""
    unchecked = life.alive[:, 0] * (life.fails[:, 0] + life.noticed[:, 0])
    grid = np.arange(life.n + 1) * life.step_h
    by_age: np.ndarray = np.interp(ages, grid, np.concatenate([[0.0], np.cumsum(unchecked)]))
    return by_age

"""The weeks of a craft: when each week's next off-season begins, and how far the season has come."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from forecaster.craft_weeks import CraftWeeks, craft_weeks
from forecaster.policy import Upkeep
from forecaster.prices import Prices
from forecaster.settings import Season
from tests.test_fresh_life import life_of

PRICES = Prices(650, 120, 1700, 5200, 60, 3, 9, 0.5, day_rate=200, core_lost=0.5, engine_hit=0.1)
SEASON = Season(opens="05-01", closes="10-15")


def weeks_of(hours: list[float], as_of: date, steps: int = 4) -> CraftWeeks:
    life = life_of(100.0)
    upkeep = Upkeep(
        life, PRICES, steps, 0.0, np.zeros((steps + 1, life.n, life.n)), np.zeros((steps + 1, life.n, life.n))
    )
    return craft_weeks(np.array(hours), as_of, SEASON, upkeep)


def test_the_next_off_season_of_a_week_is_that_after_its_own_season_or_the_coming_one() -> None:
    """Two weeks before the opening of 1 May, and 56 in all: the season's 24 weeks are numbers 2 to 25."""
    weeks = weeks_of([1.0] * 56, date(2026, 4, 17))
    assert list(np.flatnonzero(weeks.in_season)) == [*range(2, 26), 55]
    assert list(weeks.next_off[:26]) == [26] * 26
    assert list(weeks.next_off[26:]) == [56] * 30, "the coming season does not close before the horizon"


def test_where_no_season_follows_the_next_off_season_is_the_horizon() -> None:
    assert list(weeks_of([1.0] * 5, date(2026, 11, 1)).next_off) == [5] * 5


@pytest.mark.parametrize(("day", "stage"), [(date(2026, 4, 30), 4), (date(2026, 5, 1), 0), (date(2026, 10, 15), 3)])
def test_the_stage_is_the_share_of_the_season_that_is_over(day: date, stage: int) -> None:
    assert weeks_of([1.0], day).stage[0] == stage


def test_weeks_in_which_nothing_runs_are_no_step() -> None:
    weeks = weeks_of([5.0, 0.0, 0.04, 3.0], date(2026, 6, 1))
    assert list(weeks.step_of_week) == [0, 1, 1, 1, 2]
    assert list(weeks.step_hours) == [5.0, 3.0]
    assert list(weeks.week_of_step) == [0, 3]

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


SEASON_HOURS = 400.0


def weeks_of(hours: list[float], as_of: date) -> CraftWeeks:
    """Laid out for an upkeep in which lives to come cost nothing, in a season of four steps of 100 h."""
    life = life_of(100.0)
    free = np.zeros((5, life.n, life.n))
    return craft_weeks(np.array(hours), as_of, SEASON, Upkeep(life, PRICES, SEASON_HOURS, 0.0, free, free, np.zeros(5)))


def test_the_next_off_season_of_a_week_is_that_after_its_own_season_or_the_coming_one() -> None:
    """Two weeks before the opening of 1 May, and 56 in all: the season's 24 weeks are numbers 2 to 25."""
    weeks = weeks_of([1.0] * 56, date(2026, 4, 17))
    assert list(np.flatnonzero(weeks.in_season)) == [*range(2, 26), 55]
    assert list(weeks.next_off[:26]) == [26] * 26
    assert list(weeks.next_off[26:]) == [56] * 30, "the coming season does not close before the horizon"


def test_where_no_season_follows_the_next_off_season_is_the_horizon() -> None:
    assert list(weeks_of([1.0] * 5, date(2026, 11, 1)).next_off) == [5] * 5


def test_the_stage_is_told_by_the_hours_still_to_run_in_the_season() -> None:
    """Three weeks in season, then off: half of the last 60 h stand a step and a half of 20 h before the close."""
    weeks = weeks_of([60.0, 40.0, 20.0, 0.0, 0.0], date(2026, 9, 28))
    assert list(weeks.to_close_h[:3]) == [120.0, 60.0, 20.0]
    assert weeks.stage[:5] == pytest.approx([2.8, 3.4, 3.8, 4.0, 4.0])


def test_a_season_longer_than_the_upkeeps_begins_at_its_first_stage() -> None:
    assert weeks_of([50.0] * 26, date(2026, 4, 30)).stage[1] == 0.0


@pytest.mark.parametrize(("day", "left"), [(date(2026, 4, 30), 400.0), (date(2026, 7, 24), 200.0)])
def test_a_season_that_the_horizon_cuts_goes_on_to_run_what_seasons_do(day: date, left: float) -> None:
    """By the share of its days where the horizon has not seen its opening: 24 July is in the middle of it."""
    weeks = weeks_of([30.0, 30.0], day)
    assert list(weeks.to_close_h) == [left, left - 30.0, left - 60.0]


def test_a_season_all_year_round_opens_anew_each_year() -> None:
    life = life_of(100.0)
    free = np.zeros((5, life.n, life.n))
    upkeep = Upkeep(life, PRICES, 520.0, 0.0, free, free, np.zeros(5))
    weeks = craft_weeks(np.full(104, 10.0), date(2026, 1, 1), Season(opens="01-01", closes="12-31"), upkeep)
    assert (weeks.year[-1], weeks.closed[-1]) == (1, 1)
    assert weeks.to_close_h[[0, 52, 53]] == pytest.approx([530.0, 10.0, 520.0])


def test_weeks_in_which_nothing_runs_are_no_step() -> None:
    weeks = weeks_of([5.0, 0.0, 0.04, 3.0], date(2026, 6, 1))
    assert list(weeks.step_of_week) == [0, 1, 1, 1, 2]
    assert list(weeks.step_hours) == [5.0, 3.0]
    assert list(weeks.week_of_step) == [0, 3]

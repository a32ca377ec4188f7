"""How many rebuilds an off-season brings: the numbers by hand, and plans on either side of a season's close."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster import open_fleet, sample_fleet_folder
from forecaster.fleet import Fleet
from forecaster.hindsight import without_hindsight
from forecaster.off_season import PlannedSeason, planned_season
from forecaster.plan_case import lay_out
from forecaster.plan_limits import PlanLimits
from forecaster.rebuilds_to_come import Priced, number_of_units

TODAY = date(2026, 12, 15)
CLOSE = date(2026, 10, 15)
AFTER = CLOSE + timedelta(days=1)
NOVEMBER = date(2026, 11, 18)
SUMMER = (date(2026, 7, 1), date(2026, 9, 1))
BUDGET = 6_500.0  # for half of what would pay


def by_hand(chances: list[float]) -> np.ndarray:
    """The chance of each number of units, every way it can come tried."""
    number = np.zeros(len(chances) + 1)
    for came in product((0, 1), repeat=len(chances)):
        number[sum(came)] += np.prod([p if one else 1 - p for p, one in zip(chances, came, strict=True)])
    return number


@given(st.lists(st.floats(0, 1), min_size=1, max_size=7), st.integers(0, 7))
def test_the_number_of_units_is_that_of_trials_with_unlike_chances(chances: list[float], most: int) -> None:
    number = by_hand(chances)
    told, capped = (number_of_units(np.array([chances]), limit) for limit in (None, most))
    counts = np.arange(len(number))
    assert told.mean == pytest.approx(float(counts @ number))
    assert capped.mean == pytest.approx(float(np.minimum(counts, most) @ number))
    assert number[: told.low].sum() <= 0.05 + 1e-9
    assert number[: told.high + 1].sum() >= 0.95 - 1e-9
    assert told.low <= told.high


def test_what_is_not_known_of_the_chances_widens_the_interval() -> None:
    apart, alike = np.array([[0.1] * 20, [0.9] * 20]), np.full((2, 20), 0.5)
    wide, narrow = number_of_units(apart), number_of_units(alike)
    assert wide.mean == pytest.approx(narrow.mean)
    assert (wide.low, wide.high) < (narrow.low, 20)
    assert wide.high > narrow.high


def test_the_more_is_still_learned_the_more_draws_choose_for_themselves(fleet: Fleet) -> None:
    """Rebuild, check and leave under three draws: all agree with the mean until much of their spread is resolved."""
    off = next(iter(lay_out(fleet.decisions(AFTER), PlanLimits()).ahead.values()))
    off = replace(off, running=np.full(3, 0.8), rattles=np.full(3, 0.1))
    priced = Priced(np.array([[100.0, 100, 100], [115, 80, 130], [160, 140, 90]]))
    assert priced.best == "rebuild"
    assert priced.rebuilt(off, 0.0).tolist() == [0.8] * 3
    assert priced.rebuilt(off, 0.5).tolist() == [0.8, 0.1, 0.8]
    assert priced.rebuilt(off, 1.0).tolist() == [0.8, 0.1, 0.0]


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return open_fleet(sample_fleet_folder(), TODAY)


def planned(fleet: Fleet, day: date, budget: float | None) -> PlannedSeason:
    return planned_season(fleet.decisions(day), PlanLimits(budget=budget))


@pytest.fixture(scope="module", params=[None, BUDGET], ids=["no budget", "half the money"])
def over_the_close(fleet: Fleet, request: pytest.FixtureRequest) -> tuple[PlannedSeason, PlannedSeason]:
    """The plans of the last day of the season and of the day after it, when nothing new is on record."""
    known = Fleet(replace(fleet.reading, records=without_hindsight(fleet.records, CLOSE)))
    return planned(known, CLOSE, request.param), planned(known, AFTER, request.param)


def test_over_the_close_no_plan_flips(over_the_close: tuple[PlannedSeason, PlannedSeason]) -> None:
    before, after = (made.answer for made in over_the_close)
    assert after.plan.count("rebuild") >= 5
    assert abs(after.plan.count("rebuild") - before.plan.count("rebuild")) <= 1
    assert abs(after.to_come.rebuilds.mean - before.to_come.rebuilds.mean) <= 1.0
    for cost in ("expected_cost", "expected_cost_do_nothing", "expected_cost_at_triggers"):
        assert getattr(after.plan, cost) == pytest.approx(getattr(before.plan, cost), rel=0.02), cost


def test_over_the_close_each_option_of_each_unit_costs_the_same(
    over_the_close: tuple[PlannedSeason, PlannedSeason],
) -> None:
    """But for a day's wear."""
    before, after = (made.case.problem for made in over_the_close)
    assert list(before.unit_ids) == list(after.unit_ids)
    for cost in ("leave_cost", "season_cost", "never_cost"):
        np.testing.assert_allclose(getattr(after, cost), getattr(before, cost), rtol=0.03, err_msg=cost)
    for cost in ("rebuild_cost", "check_cost"):
        first = [getattr(problem, cost)[:, 0] for problem in (after, before)]
        np.testing.assert_allclose(*first, rtol=0.03, err_msg=cost)


def test_the_intervals_of_summer_hold_the_number_of_november(fleet: Fleet) -> None:
    """On the sample: it goes on much as was expected of it."""
    settled = planned(fleet, NOVEMBER, None).answer.to_come.rebuilds
    assert settled.high - settled.low <= 1  # nothing runs any more
    for day in SUMMER:
        told = planned(fleet, day, None).answer.to_come.rebuilds
        assert told.low - 1 <= settled.mean <= told.high + 1, day
        assert told.mean == pytest.approx(settled.mean, abs=4), day


def test_the_rest_of_the_season_brings_fewer_failures_the_less_of_it_is_left(fleet: Fleet) -> None:
    come = [planned(fleet, day, None).answer.to_come for day in (*SUMMER, CLOSE, AFTER)]
    failures = [one.failures.mean for one in come]
    assert failures == sorted(failures, reverse=True)
    assert failures[0] > 3
    assert failures[-1] == 0
    assert [one.season_closes for one in come] == [CLOSE] * 3 + [None]


def test_kits_are_ordered_for_the_rebuilds_to_come_while_the_season_lasts(fleet: Fleet) -> None:
    answer = planned(fleet, SUMMER[0], None).answer
    first = min(one.week_of for one in answer.plan.actions if one.week_of)
    assert answer.parts.rebuilds == answer.to_come.rebuilds.high
    assert answer.parts.order_by == first - timedelta(weeks=answer.parts.lead_time_weeks)


def test_with_less_money_than_would_pay_another_unit_takes_the_place_of_one_that_fails(fleet: Fleet) -> None:
    answer = planned(fleet, SUMMER[0], BUDGET).answer
    assert answer.to_come.rebuilds.mean > answer.plan.count("rebuild") - 0.2
    assert answer.to_come.rebuilds.high == answer.plan.count("rebuild")


def test_no_work_falls_into_a_season(fleet: Fleet) -> None:
    """Whichever weekday is asked on: also in the days between the close and the next week ahead."""
    for days in range(7):
        case = lay_out(fleet.decisions(CLOSE - timedelta(days=days)), PlanLimits())
        off = next(iter(case.ahead.values()))
        assert case.problem.weeks[0] == date(2026, 10, 19)
        for i, one in enumerate(case.ahead.values()):
            assert case.problem.rebuild_cost[i, 0] == pytest.approx(float(one.rebuild[:, off.begins].mean()))


def test_before_an_off_season_beyond_the_next_two_seasons_are_counted(fleet: Fleet) -> None:
    limits = PlanLimits(begins=date(2027, 10, 20))
    come = [planned_season(fleet.decisions(SUMMER[0]), one).answer.to_come for one in (PlanLimits(), limits)]
    assert [one.season_closes for one in come] == [CLOSE, date(2027, 10, 15)]
    assert come[1].failures.mean > come[0].failures.mean + 3

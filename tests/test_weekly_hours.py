"""Hours in the weeks ahead: means are exact, draws lie around them, and neither knows names, order or century."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from forecaster.craft_weeks import HORIZON_WEEKS
from forecaster.records import FleetRecords
from forecaster.simulate import simulate_fleet
from forecaster.usage_forecast import UsageForecast, forecast_usage
from forecaster.weekly_hours import WeeklyHours, _with_mean
from tests.same_fleet import in_another_order, renamed, years_later

AS_OF = date(2026, 7, 6)


@pytest.fixture(scope="module")
def records() -> FleetRecords:
    return simulate_fleet(craft=7, seasons=3, seed=5, first_year=2024).records


@pytest.fixture(scope="module")
def usage(records: FleetRecords) -> UsageForecast:
    return forecast_usage(records, AS_OF)


@pytest.fixture(scope="module")
def hours(usage: UsageForecast) -> WeeklyHours:
    return WeeklyHours(usage)


def test_weekly_means_are_those_of_the_days(usage: UsageForecast, hours: WeeklyHours) -> None:
    for craft_id in ("C001", "C004"):
        told = usage.weekly(craft_id, AS_OF, 30)["mean"]
        assert hours.means[craft_id][:30] == pytest.approx(told, rel=1e-12)


def test_draws_have_the_exact_mean_in_every_week(hours: WeeklyHours) -> None:
    for craft_id, drawn in hours.draws(48).items():
        assert drawn.shape == (48, HORIZON_WEEKS)
        assert drawn.mean(axis=0) == pytest.approx(hours.means[craft_id], rel=1e-9)
        assert (drawn >= 0).all()


def test_draws_spread_as_told(usage: UsageForecast, hours: WeeklyHours) -> None:
    for craft_id, drawn in hours.draws(400).items():
        told = usage.hours_between(craft_id, AS_OF, date(2026, 10, 12))
        low, high = np.quantile(drawn[:, :14].sum(axis=1), [0.05, 0.95])
        assert (low, high) == pytest.approx((told.low, told.high), rel=0.1)


def test_a_craft_s_draws_do_not_depend_on_who_else_is_asked_about(usage: UsageForecast) -> None:
    every = usage.draws(["C001", "C002", "C003"], AS_OF, 20, 30)
    assert (usage.draws(["C003"], AS_OF, 20, 30)[:, 0] == every[:, 2]).all()


def test_a_longer_look_begins_with_the_same_weeks(usage: UsageForecast) -> None:
    assert usage.draws(["C002"], AS_OF, 90, 30)[:, :, :10] == pytest.approx(usage.draws(["C002"], AS_OF, 10, 30))


def test_row_order_changes_nothing(records: FleetRecords, hours: WeeklyHours) -> None:
    other = WeeklyHours(forecast_usage(in_another_order(records, 3), AS_OF))
    for craft_id in hours.means:
        assert (other.means[craft_id] == hours.means[craft_id]).all()
        assert (other.draws(48)[craft_id] == hours.draws(48)[craft_id]).all()


def test_names_change_nothing(records: FleetRecords, hours: WeeklyHours) -> None:
    names = {craft_id: f"{9 - place} {craft_id}" for place, craft_id in enumerate(hours.means)}
    other = WeeklyHours(forecast_usage(renamed(records, names), AS_OF))
    for craft_id in hours.means:
        assert (other.means[names[craft_id]] == hours.means[craft_id]).all()
        assert (other.draws(48)[names[craft_id]] == hours.draws(48)[craft_id]).all()


def test_a_shift_by_28_years_changes_nothing(records: FleetRecords, hours: WeeklyHours) -> None:
    other = WeeklyHours(forecast_usage(years_later(records, 28), AS_OF.replace(year=AS_OF.year + 28)))
    for craft_id in hours.means:
        assert (other.means[craft_id] == hours.means[craft_id]).all()
        assert (other.draws(48)[craft_id] == hours.draws(48)[craft_id]).all()


def test_only_craft_of_which_nothing_on_record_differs_share_their_draws(records: FleetRecords) -> None:
    blank = {"in_service_on": pd.NaT, "retired_on": pd.NaT, "water": "unknown", "tune": "unknown"}
    like = records.craft.iloc[[0]].assign(**blank)
    new = [like.assign(craft_id="N1"), like.assign(craft_id="N2"), like.assign(craft_id="N3", water="fresh")]
    drawn = WeeklyHours(forecast_usage(replace(records, craft=pd.concat([records.craft, *new])), AS_OF)).draws(48)
    assert (drawn["N1"] == drawn["N2"]).all()
    assert not (drawn["N1"][:, :10] == drawn["N3"][:, :10]).any()


def test_a_week_in_which_hardly_a_draw_ran_has_its_mean_in_every_draw() -> None:
    drawn = np.array([[5.0, 0.0], [3.0, 1e-310]])
    scaled = _with_mean(drawn, np.array([2.0, 0.01]))
    np.testing.assert_allclose(scaled, [[2.5, 0.01], [1.5, 0.01]])

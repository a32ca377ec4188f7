"""Engine hours ahead: what a user asks, laws, and nothing of tomorrow."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import WrongUsage
from forecaster.season_shape import DEFAULT_SEASON_HOURS
from forecaster.settings import Season
from forecaster.simulate import simulate_fleet
from forecaster.usage_forecast import UsageForecast, forecast_usage
from tests.invented_meters import irregular_fleet, meter_records

AS_OF = date(2026, 10, 31)


@pytest.fixture(scope="module")
def fleet() -> UsageForecast:
    return forecast_usage(simulate_fleet(craft=28, seasons=3, seed=5, first_year=2024).records, AS_OF)


def test_a_fleet_without_readings_gets_the_stated_default_and_says_so() -> None:
    forecast = forecast_usage(meter_records([], ["A", "B"]), date(2025, 1, 10))
    year = forecast.hours_between("A", date(2025, 1, 10), date(2026, 1, 10))
    assert year.mean == pytest.approx(DEFAULT_SEASON_HOURS, rel=0.02)
    assert year.low < 0.4 * DEFAULT_SEASON_HOURS
    assert year.high > 2 * DEFAULT_SEASON_HOURS
    (remark,) = forecast.fleet_remarks
    assert "general experience" in remark
    assert "hours.csv" in remark


def test_off_season_weeks_are_near_zero(fleet: UsageForecast) -> None:
    winter = fleet.hours_between("C003", date(2026, 11, 1), date(2027, 4, 25))
    assert winter.mean < 0.5
    assert winter.high < 3.0


def test_weeks_are_busiest_in_mid_season_and_add_up(fleet: UsageForecast) -> None:
    weeks = fleet.weekly("C003", date(2027, 4, 30), 24)
    assert weeks["week_of"].iloc[0] == pd.Timestamp("2027-05-01")
    assert date(2027, 7, 1) < weeks.loc[weeks["mean"].idxmax(), "week_of"].date() < date(2027, 8, 15)
    assert weeks["mean"].max() > 2 * weeks["mean"].iloc[[0, -1]].max()
    whole = fleet.hours_between("C003", date(2027, 4, 30), date(2027, 10, 15))
    assert weeks["mean"].sum() == pytest.approx(whole.mean)
    assert ((weeks["low"] < weeks["mean"]) & (weeks["mean"] < weeks["high"])).all()


def test_a_craft_used_half_as_much_is_forecast_half_as_much() -> None:
    rows = []
    for craft, share in (("A", 1.0), ("B", 1.0), ("C", 0.5), ("D", 1.0), ("E", 0.9)):
        for year in (2023, 2024):
            for month, run in ((5, 0), (6, 20), (7, 50), (8, 90), (9, 120), (10, 140), (12, 145)):
                rows.append((craft, f"{year}-{month:02d}-01", share * (run + 145 * (year - 2023))))
    forecast = forecast_usage(meter_records(rows, list("ABCDE")), date(2025, 1, 1))
    whole, half = (forecast.hours_between(craft, date(2025, 4, 30), date(2025, 10, 15)).mean for craft in ("A", "C"))
    assert whole == pytest.approx(145, rel=0.08)
    assert 0.5 <= half / whole < 0.62


def test_a_new_craft_gets_the_fleet_s_hours_with_a_wider_interval(fleet: UsageForecast) -> None:
    records = simulate_fleet(craft=28, seasons=3, seed=5, first_year=2024).records
    stranger = records.craft.iloc[[0]].assign(craft_id="NEW", retired_on=pd.NaT)
    forecast = forecast_usage(replace(records, craft=pd.concat([records.craft, stranger])), AS_OF)
    season = (date(2027, 4, 30), date(2027, 10, 15))
    new = forecast.hours_between("NEW", *season)
    others = [forecast.hours_between(one, *season) for one in forecast.craft.index if not forecast.craft.retired[one]]
    assert forecast.craft.loc["NEW", ["stretches", "own_share"]].tolist() == [0, 0.0]
    assert new.mean == pytest.approx(np.mean([hours.mean for hours in others]), rel=0.06)
    widths = [(hours.high - hours.low) / hours.mean for hours in others]
    assert (new.high - new.low) / new.mean > np.median(widths)


def test_a_retired_craft_runs_no_more_and_a_retirement_to_come_is_not_looked_at() -> None:
    rows = [("A", "2024-05-01", 0.0), ("A", "2024-08-01", 80.0), ("B", "2024-05-01", 0.0), ("B", "2024-08-01", 80.0)]
    records = meter_records(rows, ["A", "B"], retired={"A": "2024-08-02", "B": "2024-09-30"})
    forecast = forecast_usage(records, date(2024, 8, 10))
    to_close = (date(2024, 8, 10), date(2024, 10, 15))
    assert forecast.hours_between("A", *to_close).high == 0.0
    assert forecast.draws(["A", "B"], date(2024, 8, 10), 4, 50)[:, 0].max() == 0.0
    assert forecast.date_reaching("A", 10.0, date(2024, 8, 10)).p50 is None
    assert forecast.hours_between("B", *to_close).mean > 20.0


def test_draws_agree_with_the_told_intervals(fleet: UsageForecast) -> None:
    start = date(2027, 4, 30)
    drawn = fleet.draws(["C003", "C004"], start, 24, 4000, seed=3)
    assert drawn.shape == (4000, 2, 24)
    for k, craft in enumerate(("C003", "C004")):
        told = fleet.hours_between(craft, start, start + timedelta(weeks=24))
        total = drawn[:, k].sum(axis=1)
        assert total.mean() == pytest.approx(told.mean, rel=0.02)
        assert np.quantile(total, [0.05, 0.95]) == pytest.approx([told.low, told.high], rel=0.05)
        week = fleet.weekly(craft, start, 12).iloc[-1]
        assert np.quantile(drawn[:, k, 11], [0.05, 0.95]) == pytest.approx([week["low"], week["high"]], rel=0.12)


def test_craft_of_one_draw_share_the_fleet_s_season(fleet: UsageForecast) -> None:
    drawn = fleet.draws(["C003", "C004"], date(2027, 4, 30), 24, 4000, seed=3).sum(axis=2)
    assert 0.02 < np.corrcoef(drawn.T)[0, 1] < 0.6


def test_the_same_seed_gives_the_same_draws_and_another_seed_others(fleet: UsageForecast) -> None:
    first, again, other = (fleet.draws(["C003"], date(2027, 6, 1), 2, 20, seed=seed) for seed in (1, 1, 2))
    assert (first == again).all()
    assert (first != other).any()


def test_the_date_at_which_hours_are_reached_agrees_with_the_hours_by_that_date(fleet: UsageForecast) -> None:
    start = date(2027, 4, 30)
    reached = fleet.date_reaching("C003", 60.0, start)
    assert reached.p10 < reached.p50 < reached.p90
    for share, day in ((0.1, reached.p10), (0.5, reached.p50), (0.9, reached.p90)):
        assert fleet.chance_of_running("C003", start, day, 60.0) >= share
        assert fleet.chance_of_running("C003", start, day - timedelta(days=1), 60.0) < share


def test_no_hours_are_reached_at_once_and_a_great_many_not_within_ten_years(fleet: UsageForecast) -> None:
    start = date(2027, 4, 30)
    assert fleet.date_reaching("C003", 0.0, start).p90 == start
    assert fleet.date_reaching("C003", 50_000.0, start).p10 is None


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 300), st.integers(0, 300), st.integers(1, 300))
def test_hours_of_two_stretches_are_those_of_both_and_a_longer_one_has_no_fewer(
    fleet: UsageForecast, wait: int, first: int, second: int
) -> None:
    begin = AS_OF + timedelta(days=wait)
    middle, end = begin + timedelta(days=first), begin + timedelta(days=first + second)
    parts = fleet.hours_between("C007", begin, middle), fleet.hours_between("C007", middle, end)
    whole = fleet.hours_between("C007", begin, end)
    assert whole.mean == pytest.approx(parts[0].mean + parts[1].mean)
    assert whole.high >= parts[0].high - 0.002
    assert whole.low >= parts[0].low - 0.002
    assert whole.low <= whole.high


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 200.0), st.floats(0.0, 200.0))
def test_more_hours_are_not_likelier_and_not_reached_earlier(fleet: UsageForecast, one: float, other: float) -> None:
    few, many = sorted((one, other))
    start, end = date(2027, 4, 30), date(2027, 8, 1)
    assert fleet.chance_of_running("C007", start, end, few) >= fleet.chance_of_running("C007", start, end, many)
    early, late = (fleet.date_reaching("C007", hours, start).p50 for hours in (few, many))
    assert early <= late


def test_a_strange_tomorrow_changes_nothing() -> None:
    records = irregular_fleet(8, 3, seed=6, days_between=20)
    as_of = date(2022, 12, 1)
    past = replace(records, hours=records.hours[records.hours["read_on"] <= pd.Timestamp(as_of)])
    later = records.hours["read_on"] > pd.Timestamp(as_of)
    strange = replace(
        records,
        hours=records.hours.assign(meter=records.hours["meter"].where(~later, 3.0)),
        craft=records.craft.assign(retired_on=pd.Timestamp("2023-06-01")),
    )
    answers = [
        forecast_usage(r, as_of).hours_between("C002", as_of, date(2023, 10, 15)) for r in (records, past, strange)
    ]
    assert answers[0] == answers[1] == answers[2]


def test_renamed_and_shuffled_craft_get_the_same_hours() -> None:
    records = irregular_fleet(8, 2, seed=6, days_between=20)
    as_of, close = date(2022, 12, 1), date(2023, 10, 15)
    plain = forecast_usage(records, as_of)
    shuffled = replace(records, craft=records.craft.iloc[::-1], hours=records.hours.sample(frac=1.0, random_state=1))
    other = forecast_usage(shuffled, as_of)
    for craft in ("C002", "C005"):
        assert other.hours_between(craft, as_of, close).mean == pytest.approx(
            plain.hours_between(craft, as_of, close).mean, rel=1e-4
        )


@pytest.mark.parametrize(
    "season",
    [
        Season(opens="01-01", closes="12-31"),  # the whole year
        Season(opens="11-15", closes="03-20"),  # over the turn of the year, and read as if used in summer
        Season(opens="06-01", closes="06-05"),  # one regatta
    ],
    ids=["whole year", "southern summer", "five days"],
)
def test_any_season_of_the_settings_can_be_fitted(season: Season) -> None:
    rows = [("A", "2024-01-01", 0.0), ("A", "2024-07-10", 20.0), ("A", "2024-12-20", 60.0), ("B", "2024-07-01", 5.0)]
    forecast = forecast_usage(meter_records(rows, ["A", "B"], season=season), date(2025, 1, 15))
    year = forecast.hours_between("A", date(2025, 1, 15), date(2026, 1, 15))
    assert 0 < year.low < year.mean < year.high < 400


def test_readings_of_a_craft_that_is_not_in_craft_csv_are_named() -> None:
    forecast = forecast_usage(meter_records([("X", "2024-06-01", 1.0), ("X", "2024-07-01", 9.0)]), date(2025, 1, 1))
    assert any(remark.text.startswith("X: not in craft.csv") for remark in forecast.remarks)


def test_questions_that_make_no_sense_are_refused(fleet: UsageForecast) -> None:
    with pytest.raises(WrongUsage, match=r"no craft 'c003'. Did you mean C003\?"):
        fleet.hours_between("c003", AS_OF, date(2027, 5, 1))
    with pytest.raises(WrongUsage, match="told from 2026-10-31 on"):
        fleet.hours_between("C003", date(2026, 5, 1), date(2027, 5, 1))
    with pytest.raises(WrongUsage, match="must not be before the start"):
        fleet.hours_between("C003", date(2027, 5, 1), date(2027, 4, 1))
    with pytest.raises(WrongUsage, match="weeks must be at least 0"):
        fleet.weekly("C003", AS_OF, -1)
    with pytest.raises(WrongUsage, match="hours must be a number"):
        fleet.date_reaching("C003", float("nan"), AS_OF)


def test_a_rhythm_that_cannot_be_told_exactly_is_answered_all_the_same_and_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("forecaster.summed_rates.MOST_STEPS", 1)
    records = irregular_fleet(8, 2, seed=6, days_between=20)
    forecast = forecast_usage(records, date(2022, 12, 1))
    assert any("could not be told exactly" in remark for remark in forecast.fleet_remarks)
    assert np.isfinite(forecast.weekly_means(["C002"], date(2022, 12, 1), 60)).all()

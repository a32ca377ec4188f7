"""The shape of the season: stretches between readings by hand, and the shape found again from irregular readings."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.season_shape import (
    DEFAULT_SEASON_HOURS,
    Calendar,
    SeasonShape,
    default_shape,
    engine_hours_between_readings,
    fit_shape,
)
from forecaster.settings import Season
from forecaster.summed_rates import Observed, fit_rates
from tests.invented_meters import irregular_fleet, meter_records, true_intensity

SEASON = Season()  # 1 May to 15 October


def stretches_of(rows: list, as_of: date = date(2025, 12, 31)) -> list[tuple]:
    table, _ = engine_hours_between_readings(meter_records(rows), as_of)
    dates = [(c, str(date.fromordinal(a)), str(date.fromordinal(u)), h) for c, a, u, h in table.itertuples(index=False)]
    return dates


def weekly_error(shape: SeasonShape) -> float:
    """Mean absolute error of a week of 2023 beside the truth of `irregular_fleet`, h, at the shape's own level."""
    true = true_intensity(SEASON, date(2023, 1, 1), date(2023, 12, 30)).to_numpy().reshape(52, 7).sum(axis=1)
    days = Calendar.of(SEASON, date(2023, 1, 1).toordinal(), date(2023, 12, 30).toordinal())
    found = shape.intensity(days).reshape(52, 7).sum(axis=1)
    return float(np.abs(found * true.sum() / found.sum() - true).mean())


def test_hours_between_readings_are_differences_of_the_meter() -> None:
    rows = [("A", "2025-06-10", 112.5), ("A", "2025-06-01", 100.0), ("A", "2025-06-20", 130.0)]
    assert stretches_of(rows) == [("A", "2025-06-01", "2025-06-10", 12.5), ("A", "2025-06-10", "2025-06-20", 17.5)]


def test_a_new_meter_starts_a_new_stretch_and_the_hours_between_are_not_guessed() -> None:
    rows = [
        ("A", "2025-06-01", 700.0),
        ("A", "2025-06-10", 710.0),
        ("A", "2025-06-11", 2.0, "yes"),
        ("A", "2025-06-20", 9.0),
    ]
    assert stretches_of(rows) == [("A", "2025-06-01", "2025-06-10", 10.0), ("A", "2025-06-11", "2025-06-20", 7.0)]


def test_an_old_and_a_new_meter_read_on_one_day() -> None:
    rows = [
        ("A", "2025-06-01", 700.0),
        ("A", "2025-06-10", 710.0),
        ("A", "2025-06-10", 0.0, "yes"),
        ("A", "2025-06-20", 9.0),
    ]
    assert stretches_of(rows) == [("A", "2025-06-01", "2025-06-10", 10.0), ("A", "2025-06-10", "2025-06-20", 9.0)]


def test_of_two_readings_of_one_day_the_last_counts() -> None:
    rows = [("A", "2025-06-01", 10.0), ("A", "2025-06-01", 12.0), ("A", "2025-06-05", 20.0)]
    assert stretches_of(rows) == [("A", "2025-06-01", "2025-06-05", 8.0)]


def test_readings_after_the_day_asked_about_are_not_looked_at() -> None:
    rows = [("A", "2025-06-01", 10.0), ("A", "2025-06-05", 20.0), ("A", "2025-06-09", 5.0)]
    assert stretches_of(rows, date(2025, 6, 5)) == [("A", "2025-06-01", "2025-06-05", 10.0)]


def test_a_stretch_that_cannot_be_is_left_out_and_named() -> None:
    rows = [("A", "2025-06-01", 10.0), ("A", "2025-06-03", 900.0), ("A", "2025-06-09", 5.0), ("A", "2025-06-10", 6.0)]
    table, remarks = engine_hours_between_readings(meter_records(rows), date(2025, 12, 31))
    assert table["hours"].tolist() == [1.0]
    assert len(remarks) == 2
    assert "A: 890 h between the readings of 2025-06-01 and 2025-06-03" in remarks[0].text
    assert remarks[0].about == "A"


def test_the_default_is_the_stated_hours_and_nearly_all_of_them_in_season() -> None:
    shape = default_shape(SEASON)
    year = Calendar.of(SEASON, date(2025, 1, 1).toordinal(), date(2025, 12, 31).toordinal())
    hours = shape.intensity(year)
    assert shape.stretches == 0
    assert hours[year.in_season].sum() == pytest.approx(DEFAULT_SEASON_HOURS, rel=0.005)
    assert hours[~year.in_season].sum() < 0.02 * DEFAULT_SEASON_HOURS


def test_a_season_over_the_turn_of_the_year_belongs_to_the_year_it_opens_in() -> None:
    days = Calendar.of(
        Season(opens="11-15", closes="03-20"), date(2024, 11, 14).toordinal(), date(2025, 3, 21).toordinal()
    )
    assert days.in_season.tolist() == [False] + [True] * 126 + [False]
    assert days.season_of.tolist() == [2023] + [2024] * 127


@pytest.mark.parametrize("days_between", [7, 30, 60, 120])
def test_the_shape_is_found_again_from_readings_however_far_apart(days_between: int) -> None:
    # No chance in it: what is off is what two harmonics and the weak prior cannot follow. A week has 5.8 h on average
    # in season. A regression that puts each stretch at its middle day is off by 0.05, 0.2, 0.4 and 0.9 h.
    records = irregular_fleet(30, 3, seed=1, days_between=days_between, craft_sd=0.0, chance=0.0)
    table, _ = engine_hours_between_readings(records, date(2023, 12, 31))
    shape = fit_shape(default_shape(SEASON), table, np.ones(len(table)), {})
    assert weekly_error(shape) < 0.06


def test_a_spring_alone_leaves_the_rest_of_the_season_to_the_default() -> None:
    records = irregular_fleet(20, 1, seed=2, days_between=7, craft_sd=0.0, chance=0.0)
    spring, _ = engine_hours_between_readings(records, date(2021, 5, 31))
    shape = fit_shape(default_shape(SEASON), spring, np.ones(len(spring)), {})
    days = Calendar.of(SEASON, date(2021, 5, 1).toordinal(), date(2021, 10, 15).toordinal())
    july = shape.intensity(days)[75:80].mean()
    assert 0.4 < july / default_shape(SEASON).intensity(days)[75:80].mean() < 2.5


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10**6))
def test_the_order_of_stretches_does_not_matter(seed: int) -> None:
    records = irregular_fleet(4, 2, seed=3, days_between=25)
    table, _ = engine_hours_between_readings(records, date(2022, 12, 31))
    order = np.random.default_rng(seed).permutation(len(table))
    plain = fit_shape(default_shape(SEASON), table, np.ones(len(table)), {})
    shuffled = fit_shape(default_shape(SEASON), table.iloc[order], np.ones(len(table)), {})
    assert shuffled.coefficients == pytest.approx(plain.coefficients, abs=1e-4)


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_what_levels_explain_the_shape_does_not(factor: float) -> None:
    records = irregular_fleet(30, 2, seed=3, days_between=25)
    table, _ = engine_hours_between_readings(records, date(2022, 12, 31))
    plain = fit_shape(default_shape(SEASON), table, np.ones(len(table)), {})
    levelled = fit_shape(default_shape(SEASON), table, np.full(len(table), factor), {})
    assert levelled.year_hours() == pytest.approx(plain.year_hours() / factor, rel=0.02)  # but for the weak prior
    doubled = fit_shape(default_shape(SEASON), table, np.ones(len(table)), {2021: factor, 2022: factor})
    assert doubled.year_hours() == pytest.approx(plain.year_hours() / factor, rel=0.02)


def test_a_stretch_may_be_cut_in_two_where_the_cut_follows_the_shape() -> None:
    records = irregular_fleet(10, 2, seed=4, days_between=40, craft_sd=0.0, chance=0.0)
    table, _ = engine_hours_between_readings(records, date(2022, 12, 31))
    whole = fit_shape(default_shape(SEASON), table, np.ones(len(table)), {})
    upto = pd.Series(
        np.cumsum(true_intensity(SEASON, date(2021, 1, 1), date(2022, 12, 31)).to_numpy()),
        index=range(date(2021, 1, 1).toordinal(), date(2022, 12, 31).toordinal() + 1),
    )
    middle = (table["after"] + table["until"]) // 2
    parts = [table.assign(until=middle), table.assign(after=middle)]
    cut = pd.concat(part[part["until"] > part["after"]] for part in parts)
    cut["hours"] = upto[cut["until"]].to_numpy() - upto[cut["after"]].to_numpy()
    halves = fit_shape(default_shape(SEASON), cut, np.ones(len(cut)), {})
    assert weekly_error(halves) == pytest.approx(weekly_error(whole), abs=0.05)
    assert halves.year_hours() == pytest.approx(whole.year_hours(), rel=0.01)


@pytest.mark.parametrize("seed", range(4))
def test_of_single_days_the_fit_is_the_regression_that_the_usual_library_makes(seed: int) -> None:
    """Poisson regression of a year's days with exposures, fitted by statsmodels; some days without an hour."""
    rng = np.random.default_rng(seed)
    opening = SEASON.opening_in(2024).toordinal()
    year = Calendar.of(SEASON, opening, opening + 364)
    exposure = rng.uniform(0.5, 20.0, 365)
    hours = rng.poisson(exposure * default_shape(SEASON).intensity(year)) * rng.uniform(0.5, 1.5, 365)
    days = np.arange(365)
    read = Observed(year.design, np.ones(365), days, days + 1, exposure, hours)
    ours = fit_rates([read], default_shape(SEASON).coefficients)
    theirs = sm.GLM(hours, year.design, family=sm.families.Poisson(), offset=np.log(exposure)).fit(scale=1.0, tol=1e-14)
    assert ours.settled
    assert ours.coefficients == pytest.approx(theirs.params, abs=1e-6)
    assert ours.covariance == pytest.approx(theirs.cov_params(), rel=1e-6, abs=1e-9)


def test_the_default_is_the_regression_that_the_usual_library_makes() -> None:
    """Quasi-Poisson on the days of a year, of the default's own hours; covariance for a dispersion of 1."""
    opening = SEASON.opening_in(2025).toordinal()
    year = Calendar.of(SEASON, opening, opening + 364)
    shape = default_shape(SEASON)
    n_days = int(year.in_season.sum())
    hump = 2.0 ** (0.5 * (1.0 - np.cos(2.0 * np.pi * (np.arange(365) + 0.5) / n_days)))
    share = np.where(year.in_season, hump / hump[year.in_season].mean(), 0.01)
    fitted = sm.GLM(share * DEFAULT_SEASON_HOURS / n_days, year.design, family=sm.families.Poisson()).fit(scale=1.0)
    assert shape.coefficients == pytest.approx(fitted.params, abs=1e-6)
    assert shape.covariance == pytest.approx(fitted.cov_params(), rel=1e-4)

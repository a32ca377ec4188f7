"""The Weibull regression: an independent likelihood, laws, few failures, and what it says of units."""

from __future__ import annotations

import subprocess
import sys
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from forecaster.covariates import COVARIATES
from forecaster.episodes import split_episodes
from forecaster.errors import ModelError, WrongUsage
from forecaster.few_failures import least_scale_at_known_shape, scale_at_known_shape
from forecaster.lives import INCIDENTS, Histories, frame, lives_by_hours
from forecaster.weibull import WeibullFit, fit_weibull

HAZARD_RATIOS = {"incidents_not_prompt": 2.2, "aftermarket": 2.0, "salt_share": 1.4, "incidents_prompt": 1.1}


def invented_fleet(n: int, seed: int, shape: float = 1.8, scale: float = 300.0) -> Histories:
    """Lives that follow the model exactly, with part-worn ones, unknown parts and incidents on the way."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < 0.2, rng.uniform(0, 150, n), 0.0)
    parts = rng.choice(["oem", "aftermarket", "unknown"], n, p=[0.6, 0.3, 0.1])
    salt = np.where(rng.random(n) < 0.1, np.nan, rng.integers(0, 2, n).astype(float))
    ends, seen, happened = [], [], []
    for life in range(n):
        steady = (parts[life] == "aftermarket") * np.log(2.0) + np.nan_to_num(salt[life]) * np.log(1.4)
        age, leaves, to_come, risk = entry[life], entry[life] + rng.uniform(30, 250), rng.exponential(), steady
        while True:
            until = min(age + rng.exponential(120.0), leaves)
            fails_at = scale * ((age / scale) ** shape + to_come / np.exp(risk)) ** (1 / shape)
            if min(fails_at, leaves) <= until:
                ends.append(min(fails_at, leaves))
                seen.append("failed" if fails_at <= leaves else "alive")
                break
            to_come -= ((until / scale) ** shape - (age / scale) ** shape) * np.exp(risk)
            age = until
            prompt = bool(rng.random() < 0.4)
            risk += np.log(1.1 if prompt else 2.2)
            happened.append((f"U{life + 1:06d}/1", age - entry[life], "prompt" if prompt else "none"))
    lives = lives_by_hours(np.array(ends), seen, hours_at_entry=entry, parts=parts, salt_share=salt)
    return with_incidents(lives, happened)


def with_incidents(histories: Histories, happened: list[tuple[str, float, str]]) -> Histories:
    same = {"craft_id": "C1", "happened_on": pd.Timestamp("2024-07-01"), "kind": "swamped", "water": "salt"}
    rows = [
        {
            **same,
            "life_id": life_id,
            "observed_hours": hours,
            "observed_hours_low": hours,
            "observed_hours_high": hours,
            "oil": "clear",
            "treatment": treatment,
        }
        for life_id, hours, treatment in happened
    ]
    return Histories(as_of=date(2025, 1, 1), lives=histories.lives, incidents=frame(INCIDENTS, rows))


def written_out_likelihood(numbers: np.ndarray, episodes: pd.DataFrame, names: list[str]) -> float:
    """Minus the log-likelihood of (log scale, log shape, log hazard ratios), written from the formula alone."""
    scale, shape = np.exp(numbers[0]), np.exp(numbers[1])
    total = 0.0
    for row in episodes.itertuples():
        risk = float(np.dot(numbers[2:], [getattr(row, name) for name in names]))
        total -= ((row.stop_hours / scale) ** shape - (row.start_hours / scale) ** shape) * np.exp(risk)
        if row.failed:
            total += np.log(shape / scale) + (shape - 1) * np.log(row.stop_hours / scale) + risk
    return -total


@pytest.fixture(scope="module")
def fleet() -> Histories:
    return invented_fleet(90, seed=4)


@pytest.fixture(scope="module")
def fit(fleet: Histories) -> WeibullFit:
    return fit_weibull(fleet)


def test_the_fit_is_the_maximum_of_the_written_out_likelihood_with_incidents_in_time(
    fleet: Histories, fit: WeibullFit
) -> None:
    names = list(fit.covariates)
    assert "incidents_not_prompt" in names
    episodes = split_episodes(fleet).fillna(fit.filled_in)
    start = np.array([5.0, 0.0, *np.zeros(len(names))])
    best = minimize(written_out_likelihood, start, (episodes, names), "BFGS", options={"gtol": 1e-6})
    ours = np.concatenate([np.log([fit.scale_hours, fit.shape]), fit.log_hazard_ratios])
    assert np.allclose(ours, best.x, rtol=1e-4, atol=1e-5)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-6)


def test_the_covariance_is_the_inverse_of_the_curvature_of_that_likelihood(fleet: Histories, fit: WeibullFit) -> None:
    names = list(fit.covariates)
    episodes = split_episodes(fleet).fillna(fit.filled_in)
    at = np.concatenate([np.log([fit.scale_hours, fit.shape]), fit.log_hazard_ratios])
    step = 1e-3 * np.eye(len(at))
    curvature = np.array(
        [
            [
                sum(
                    si * sj * written_out_likelihood(at + si * step[i] + sj * step[j], episodes, names)
                    for si in (1, -1)
                    for sj in (1, -1)
                )
                / 4e-6
                for j in range(len(at))
            ]
            for i in range(len(at))
        ]
    )
    assert np.allclose(fit.covariance, np.linalg.inv(curvature), rtol=2e-3, atol=1e-5)


def test_a_large_fleet_gives_back_the_truth_within_its_errors() -> None:
    fit = fit_weibull(invented_fleet(600, seed=2))
    truth = np.log([300.0, 1.8, *(HAZARD_RATIOS[name] for name in fit.covariates)])
    ours = np.concatenate([np.log([fit.scale_hours, fit.shape]), fit.log_hazard_ratios])
    assert set(fit.covariates) == set(HAZARD_RATIOS)
    assert (np.abs(ours - truth) < 3 * np.sqrt(np.diag(fit.covariance))).all()


def test_a_failure_in_the_hour_of_its_swamping_is_held_against_the_swamping() -> None:
    fleet = invented_fleet(90, seed=4)
    failed = fleet.lives[fleet.lives["seen"] == "failed"].head(8)
    happened = list(fleet.incidents[["life_id", "observed_hours", "treatment"]].itertuples(index=False, name=None))
    last_hour = [(life, hours, "none") for life, hours in failed[["life_id", "hours_observed"]].to_numpy()]
    more = with_incidents(fleet, happened + last_hour)
    fit = fit_weibull(more)
    names = list(fit.covariates)
    episodes = split_episodes(more).fillna(fit.filled_in)
    assert (episodes["start_hours"] == episodes["stop_hours"]).sum() == 8
    start = np.concatenate([[5.0, 0.0], np.zeros(len(names))])
    best = minimize(written_out_likelihood, start, (episodes, names), "BFGS", options={"gtol": 1e-6})
    assert np.allclose(fit.log_hazard_ratios, best.x[2:], rtol=1e-4, atol=1e-5)
    assert fit.log_hazard_ratios[0] > fit_weibull(fleet).log_hazard_ratios[0]


@settings(max_examples=6, deadline=None)
@given(share=st.floats(0.05, 0.95), which=st.integers(0, 39))
def test_cutting_a_life_in_two_at_any_age_changes_nothing(share: float, which: int) -> None:
    rng = np.random.default_rng(5)
    ages = 200 * rng.weibull(1.7, 40)
    seen = rng.choice(["failed", "alive"], 40, p=[0.3, 0.7])
    cut = ages[which] * share
    entry = np.zeros(40)
    entry[which] = cut
    whole = fit_weibull(lives_by_hours(ages, seen))
    pieces = fit_weibull(lives_by_hours(np.append(ages, cut), [*seen, "alive"], np.append(entry, 0.0)))
    assert pieces.shape == pytest.approx(whole.shape, rel=1e-5)
    assert pieces.scale_hours == pytest.approx(whole.scale_hours, rel=1e-5)
    assert pieces.log_likelihood == pytest.approx(whole.log_likelihood, abs=1e-7)


def test_shuffled_rows_change_nothing(fleet: Histories, fit: WeibullFit) -> None:
    order = np.random.default_rng(8).permutation(fleet.n_lives)
    shuffled = fit_weibull(
        Histories(
            as_of=fleet.as_of,
            lives=fleet.lives.iloc[order].reset_index(drop=True),
            incidents=fleet.incidents.iloc[::-1].reset_index(drop=True),
        )
    )
    assert shuffled.covariates == fit.covariates
    assert np.allclose(shuffled.draws, fit.draws, rtol=1e-5, atol=1e-5)


def test_hours_in_another_unit_scale_the_scale_only(fleet: Histories, fit: WeibullFit) -> None:
    in_minutes = Histories(
        as_of=fleet.as_of,
        lives=fleet.lives.assign(
            hours_at_entry=fleet.lives["hours_at_entry"] * 60, hours_observed=fleet.lives["hours_observed"] * 60
        ),
        incidents=fleet.incidents.assign(observed_hours=fleet.incidents["observed_hours"] * 60),
    )
    other = fit_weibull(in_minutes)
    assert other.scale_hours == pytest.approx(60 * fit.scale_hours, rel=1e-6)
    assert other.shape == pytest.approx(fit.shape, rel=1e-6)
    assert np.allclose(other.log_hazard_ratios, fit.log_hazard_ratios, atol=1e-6)
    assert np.allclose(other.covariance, fit.covariance, rtol=1e-4, atol=1e-8)


def test_at_shape_1_the_known_shape_scale_is_the_exponentials_hours_per_failure() -> None:
    lives = lives_by_hours(np.array([50.0, 80.0, 120.0, 150.0]), ["failed", "alive", "failed", "alive"], 20.0)
    hours = (50 + 80 + 120 + 150) - 4 * 20
    assert scale_at_known_shape(split_episodes(lives), 1.0) == pytest.approx(hours / 2)


def test_lives_made_exponential_give_shape_1_and_a_risk_that_does_not_age() -> None:
    hours = np.concatenate([-100 * np.log1p(-(np.arange(2000) + 0.5) / 2000)])
    fit = fit_weibull(lives_by_hours(hours, ["failed"] * 2000))
    assert fit.shape == pytest.approx(1.0, abs=0.01)
    units = lives_by_hours(np.array([1.0, 150.0]), ["alive", "alive"])
    young, old = fit.chance_of_failing(units, np.array([50.0])).mean(axis=0)[:, 0]
    assert young == pytest.approx(1 - np.exp(-0.5), abs=0.01)
    assert old == pytest.approx(young, abs=0.02)


# ---------------------------------------------------------------- few failures


@pytest.mark.parametrize("failures", [0, 1, 2, 3, 5])
def test_few_failures_give_a_forecast_that_says_what_it_is(failures: int) -> None:
    seen = ["failed"] * failures + ["alive"] * (12 - failures)
    fit = fit_weibull(lives_by_hours(np.linspace(40, 200, 12), seen))
    assert fit.evidence.failures == failures
    assert fit.evidence.mostly_prior == (failures < 3)
    assert any("general experience" in remark for remark in fit.evidence.remarks)
    assert fit.covariates == ()
    chances = fit.chance_of_failing(lives_by_hours(np.array([100.0]), ["alive"]), np.array([50.0]))[:, 0, 0]
    assert 0.0 < chances.mean() < 0.7
    assert np.quantile(chances, 0.95) > 2 * np.quantile(chances, 0.05)  # an interval that admits how little is known


def test_no_failure_says_that_the_records_cannot_tell_a_rate() -> None:
    fit = fit_weibull(lives_by_hours(np.full(4, 100.0), ["alive"] * 4))
    assert any("cannot tell a failure rate" in remark for remark in fit.evidence.remarks)


def test_more_hours_without_a_failure_lower_the_risk() -> None:
    unit = lives_by_hours(np.array([100.0]), ["alive"])
    chances = [
        fit_weibull(lives_by_hours(np.full(n, 150.0), ["alive"] * n)).chance_of_failing(unit, np.array([50.0])).mean()
        for n in (1, 10, 100)
    ]
    assert chances[0] > 1.5 * chances[1] > 2 * chances[2]


def test_no_lives_at_all_give_general_experience() -> None:
    fit = fit_weibull(lives_by_hours(np.zeros(0), []))
    assert fit.evidence.lives == 0
    assert fit.evidence.mostly_prior
    assert fit.shape == pytest.approx(2.0, rel=0.03)
    assert fit.scale_hours == pytest.approx(430.0, rel=0.03)


def test_few_failures_with_many_hours_end_near_the_known_shape_estimate() -> None:
    # 5 failures at the ages that shape 2 and scale 1,000 h expect among 200 lives of up to 160 h
    failed = 1000 * np.sqrt(np.array([0.3, 0.9, 1.5, 2.1, 2.7]) / 100)
    ages = np.append(failed, np.full(195, 160.0))
    lives = lives_by_hours(ages, ["failed"] * 5 + ["alive"] * 195)
    alone = scale_at_known_shape(split_episodes(lives), 2.0)
    fit = fit_weibull(lives)
    assert fit.shape == pytest.approx(2.0, rel=0.25)
    assert abs(np.log(fit.scale_hours / alone)) < np.sqrt(fit.covariance[0, 0])


def test_with_the_shape_known_and_no_failure_the_least_scale_is_weibayes() -> None:
    episodes = split_episodes(lives_by_hours(np.full(10, 200.0), ["alive"] * 10))
    # 10 lives of 200 h, shape 2, 95 %: sqrt(10 · 200² / 2.99573)
    assert least_scale_at_known_shape(episodes, 2.0) == pytest.approx(365.41, abs=0.01)
    with pytest.raises(ModelError, match="no failure"):
        scale_at_known_shape(episodes, 2.0)


def test_failures_that_all_come_at_one_hour_have_no_maximum_and_fall_back() -> None:
    fit = fit_weibull(lives_by_hours(np.full(8, 100.0), ["failed"] * 8))
    assert np.isnan(fit.log_likelihood)
    assert any("no maximum" in remark for remark in fit.evidence.remarks)
    assert 60 < fit.life_hours(0.5)[0] < 160


# ---------------------------------------------------------------- covariates


def varied(failures: int, n: int = 60, **columns: object) -> Histories:
    rng = np.random.default_rng(6)
    ages = 150 * rng.weibull(2.0, n) + 5
    seen = np.array(["failed"] * failures + ["alive"] * (n - failures))
    return lives_by_hours(ages, seen, **columns)


def test_ten_failures_carry_one_covariate_and_the_most_wanted_comes_first() -> None:
    rng = np.random.default_rng(7)
    columns = {"parts": rng.choice(["oem", "aftermarket"], 60), "salt_share": rng.random(60)}
    assert fit_weibull(varied(9, **columns)).covariates == ()
    fit = fit_weibull(varied(19, **columns))
    assert fit.covariates == ("aftermarket",)
    assert any("10 failures" in remark and COVARIATES["salt_share"] in remark for remark in fit.evidence.remarks)
    assert fit_weibull(varied(20, **columns)).covariates == ("aftermarket", "salt_share")


def test_a_covariate_that_never_varies_is_left_out_by_name() -> None:
    fit = fit_weibull(varied(30, salt_share=np.full(60, 0.3), parts=["aftermarket"] * 60))
    assert fit.covariates == ()
    assert any("alike" in remark and COVARIATES["salt_share"] in remark for remark in fit.evidence.remarks)


def test_a_covariate_that_no_failure_has_is_left_out_and_not_called_harmless() -> None:
    tuned = np.array([0.0] * 30 + [1.0] * 30)  # all 30 failures are stock
    fit = fit_weibull(varied(30, tuned_share=tuned))
    assert fit.covariates == ()
    assert any("no failure" in remark and COVARIATES["tuned_share"] in remark for remark in fit.evidence.remarks)


def test_a_covariate_that_goes_with_another_is_left_out() -> None:
    salt = np.tile([0.0, 1.0], 30)
    fit = fit_weibull(varied(40, salt_share=salt, tuned_share=1.0 - salt))
    assert fit.covariates == ("salt_share",)
    assert any("goes with" in remark and COVARIATES["tuned_share"] in remark for remark in fit.evidence.remarks)


def test_an_effect_that_cannot_be_told_is_dropped_with_a_remark() -> None:
    tuned = np.zeros(60)
    tuned[[3, 45]] = 0.001, 0.0005  # so little of it that its hazard ratio could be anything
    fit = fit_weibull(varied(30, tuned_share=tuned))
    assert fit.covariates == ()
    assert any("does not settle" in remark and COVARIATES["tuned_share"] in remark for remark in fit.evidence.remarks)


def test_parts_that_nobody_recorded_count_as_the_fleets_mix() -> None:
    lives = varied(30, parts=["aftermarket"] * 20 + ["oem"] * 30 + ["unknown"] * 10)
    assert fit_weibull(lives).filled_in["aftermarket"] == pytest.approx(0.4)


# ---------------------------------------------------------------- what is left out


def test_lives_of_unknown_age_are_left_out_and_said_so() -> None:
    fit = fit_weibull(varied(20).with_lives(hours_at_entry=np.where(np.arange(60) < 3, np.nan, 0.0)))
    assert fit.evidence.lives == 57
    assert fit.evidence.failures == 17
    assert any(remark.startswith("3 lives (3 failures) left out") for remark in fit.evidence.remarks)


def test_lives_without_hours_are_left_out_and_said_so() -> None:
    lives = lives_by_hours(np.array([0.0, 0.0, 90.0]), ["alive", "sound", "alive"])
    fit = fit_weibull(lives)
    assert fit.evidence.lives == 1
    assert any(remark.startswith("2 lives left out: no engine hours") for remark in fit.evidence.remarks)


def test_a_failure_at_age_0_is_left_out_by_name() -> None:
    fit = fit_weibull(lives_by_hours(np.array([0.0, 90.0, 80.0]), ["failed", "failed", "alive"]))
    assert fit.evidence.failures == 1
    assert any("U000001/1" in remark for remark in fit.evidence.remarks)


def test_a_part_worn_unit_that_fails_in_its_first_hour_counts_as_a_failure() -> None:
    fit = fit_weibull(lives_by_hours(np.array([120.0, 90.0]), ["failed", "alive"], np.array([120.0, 0.0])))
    assert fit.evidence.failures == 1


# ---------------------------------------------------------------- what it says of units


def test_the_chance_is_conditional_on_having_run_so_far(fit: WeibullFit) -> None:
    units = lives_by_hours(np.array([120.0]), ["alive"], parts="oem", salt_share=0.0)
    scale, shape = np.exp(fit.draws[:, 0]), np.exp(fit.draws[:, 1])
    textbook = 1 - np.exp(-((170 / scale) ** shape)) / np.exp(-((120 / scale) ** shape))
    assert np.allclose(fit.chance_of_failing(units, np.array([50.0]))[:, 0, 0], textbook)


def test_an_untreated_incident_multiplies_the_hazard_ahead(fit: WeibullFit) -> None:
    unit = lives_by_hours(np.array([120.0]), ["alive"], parts="oem", salt_share=0.0)
    dry = -np.log1p(-fit.chance_of_failing(unit, np.array([50.0])))
    wet = -np.log1p(-fit.chance_of_failing(with_incidents(unit, [("U000001/1", 119.0, "none")]), np.array([50.0])))
    ratio = np.exp(fit.draws[:, 2 + fit.covariates.index("incidents_not_prompt")])
    assert np.allclose(wet[:, 0, 0] / dry[:, 0, 0], ratio)


def test_how_a_units_life_is_said_to_have_ended_does_not_matter(fit: WeibullFit, fleet: Histories) -> None:
    hours = np.array([10.0, 50.0])
    as_if_alive = fit.chance_of_failing(fleet.with_lives(seen="alive"), hours)
    assert np.array_equal(fit.chance_of_failing(fleet, hours), as_if_alive)


def test_hours_may_differ_by_unit(fit: WeibullFit) -> None:
    units = lives_by_hours(np.array([100.0, 100.0]), ["alive", "alive"])
    chances = fit.chance_of_failing(units, np.array([[10.0, 20.0], [20.0, 40.0]]))
    assert np.allclose(chances[:, 0, 1], chances[:, 1, 0])


@settings(max_examples=50, deadline=None)
@example(age=2e-311, hours=[1.0], unknown=False)
@given(
    age=st.floats(0.0, 5000.0),
    hours=st.lists(st.floats(0.0, 2000.0), min_size=1, max_size=8),
    unknown=st.booleans(),
)
def test_chances_lie_between_0_and_1_and_do_not_fall_with_hours(
    fit: WeibullFit, age: float, hours: list[float], unknown: bool
) -> None:
    unit = lives_by_hours(np.array([age]), ["alive"])
    if unknown:
        unit = unit.with_lives(hours_at_entry=np.nan)
    chances = fit.chance_of_failing(unit, np.sort([0.0, *hours]))
    assert ((chances >= 0.0) & (chances <= 1.0)).all()
    assert (chances[:, :, 0] == 0.0).all()
    assert (np.diff(chances, axis=2) >= -1e-14).all()


def test_an_unknown_starting_age_is_averaged_over_those_seen_given_that_it_ran() -> None:
    fleet = lives_by_hours(
        np.array([200.0, 260.0, *np.linspace(20, 300, 20)]),
        ["alive"] * 2 + ["failed", "alive"] * 10,
        np.array([100.0, 250.0, *np.zeros(20)]),
    )
    fit = fit_weibull(fleet)
    assert fit.entry_hours.tolist() == [100.0, 250.0]
    unit = lives_by_hours(np.array([40.0]), ["alive"]).with_lives(hours_at_entry=np.nan)
    scale, shape = np.exp(fit.draws[:, 0]), np.exp(fit.draws[:, 1])

    def survival(age: float) -> np.ndarray:
        return np.exp(-((age / scale) ** shape))

    ran = survival(140) / survival(100) + survival(290) / survival(250)
    runs_on = survival(170) / survival(100) + survival(320) / survival(250)
    assert np.allclose(fit.chance_of_failing(unit, np.array([30.0]))[:, 0, 0], 1 - runs_on / ran)


def test_starting_ages_are_evenly_spread_to_300_h_where_the_fleet_has_none() -> None:
    fit = fit_weibull(varied(20))
    assert fit.entry_hours.min() == 6.0
    assert fit.entry_hours.max() == 294.0


def test_incidents_on_the_way_make_a_young_start_likelier(fit: WeibullFit) -> None:
    # wear-out and a swamping: having run long under a high risk speaks for a low starting age
    unit = lives_by_hours(np.array([120.0]), ["alive"]).with_lives(hours_at_entry=np.nan)
    swamped = with_incidents(unit, [("U000001/1", 0.0, "none")] * 3)
    dry, wet = (fit._weights_of_entry_hours(units).mean(axis=1)[:, 0] for units in (unit, swamped))
    assert wet @ fit.entry_hours < dry @ fit.entry_hours


def test_the_model_has_no_defective_state(fit: WeibullFit, fleet: Histories) -> None:
    assert fit.chance_of_defect(fleet, np.array([0.0])) is None


def test_the_same_seed_gives_the_same_draws_and_another_does_not(fleet: Histories, fit: WeibullFit) -> None:
    assert np.array_equal(fit_weibull(fleet, seed=1).draws, fit.draws)
    assert not np.allclose(fit_weibull(fleet, seed=2).draws, fit.draws)


def test_asked_for_hours_that_fall_or_are_negative_it_refuses(fit: WeibullFit) -> None:
    unit = lives_by_hours(np.array([120.0]), ["alive"])
    for hours in ([20.0, 10.0], [-1.0], [np.nan]):
        with pytest.raises(WrongUsage, match="hours"):
            fit.chance_of_failing(unit, np.array(hours))
    with pytest.raises(WrongUsage, match=r"\(1, h\)"):
        fit.chance_of_failing(unit, np.ones((2, 3)))


def test_the_reference_curve_marks_ages_older_than_any_life_seen(fit: WeibullFit) -> None:
    curve = fit.chance_failed_by(np.array([0.0, 50.0, 5000.0]))
    assert curve["extrapolated"].tolist() == [False, False, True]
    assert curve["chance"].iloc[0] == 0.0
    assert (curve["low"] <= curve["chance"]).all()
    assert (curve["chance"] <= curve["high"]).all()


def test_b50_of_the_curve_is_the_life_by_which_half_have_failed(fit: WeibullFit) -> None:
    estimate, low, high = fit.life_hours(0.5)
    assert fit.chance_failed_by(np.array([estimate]))["chance"].iloc[0] == pytest.approx(0.5)
    assert low < estimate < high
    with pytest.raises(WrongUsage, match="between 0 and 1"):
        fit.life_hours(50)


def test_estimates_name_each_quantity_with_its_limits(fit: WeibullFit) -> None:
    table = fit.estimates().set_index("quantity")
    assert list(table.index) == ["scale_hours", "shape", *fit.covariates]
    assert table.loc["shape", "estimate"] == fit.shape
    assert (table["low"] < table["estimate"]).all()
    assert (table["estimate"] < table["high"]).all()


def test_draws_have_the_covariance_that_is_reported(fleet: Histories, fit: WeibullFit) -> None:
    many = fit_weibull(fleet, draws=20_000)
    assert np.allclose(np.cov(many.draws.T), fit.covariance, rtol=0.15, atol=0.003)


def profile_limits(failed: np.ndarray, ages: np.ndarray, now: float, ahead: float) -> tuple[float, float]:
    """90 % limits by profile likelihood of the chance to fail within `ahead`, on a grid, from the formula alone."""
    typical = np.exp(np.log(failed).mean())
    shape, hazard = np.meshgrid(np.geomspace(0.3, 9.0, 300), np.geomspace(1e-5, 10.0, 600), indexing="ij")
    built_up = np.array([((ages / typical) ** one).sum() for one in shape[:, 0]])[:, None] * hazard
    likelihood = len(failed) * np.log(shape * hazard) + (shape - 1) * np.log(failed / typical).sum() - built_up
    chance = -np.expm1(-hazard * (((now + ahead) / typical) ** shape - (now / typical) ** shape))
    inside = chance[likelihood > likelihood.max() - 2.705543 / 2]  # chi-square, 1 degree of freedom, 90 %
    return inside.min(), inside.max()


def test_intervals_from_few_failures_are_near_those_of_the_profile_likelihood() -> None:
    failed, ages = np.array([60.0, 110.0, 150.0, 170.0, 260.0, 280.0]), np.repeat([100.0, 200.0, 300.0], [60, 30, 8])
    lives = lives_by_hours(np.append(failed, ages), ["failed"] * 6 + ["alive"] * len(ages))
    fit = fit_weibull(lives, draws=4000)
    chances = fit.chance_of_failing(lives_by_hours(np.array([200.0]), ["alive"]), np.array([100.0]))
    low, high = profile_limits(failed, np.append(failed, ages), 200.0, 100.0)
    assert np.log(np.quantile(chances, 0.05)) == pytest.approx(np.log(low), abs=0.35)
    assert np.log(np.quantile(chances, 0.95)) == pytest.approx(np.log(high), abs=0.35)


def test_lifelines_is_imported_only_to_fit() -> None:
    asked = "import forecaster.weibull, forecaster.curves, sys; print('lifelines' in sys.modules)"
    answer = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "False"

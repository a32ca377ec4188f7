"""Scores of forecasts: by hand, published, and the laws that hold for every fleet."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import WrongUsage
from forecaster.scores import (
    Windows,
    bootstrap_means,
    brier_score,
    brier_scores,
    calibration_table,
    concordance,
    difference,
    ipcw_weights,
    log_score,
    log_scores,
    observed_share,
    weighed_mean,
)


def windows(ran: list[float], failed: list[bool], horizon: float = 50.0) -> Windows:
    return Windows(np.array(ran, dtype=float), np.array(failed, dtype=bool), horizon)


def gbsg2() -> tuple[pd.DataFrame, Windows]:
    """German breast cancer study 2 (Schumacher et al. 1994), as shipped with lifelines, coded as in scikit-survival."""
    from lifelines.datasets import load_gbsg2

    table = load_gbsg2()
    table["tgrade"] = table["tgrade"].map(len).astype(float)
    table["horTh"] = (table["horTh"] == "yes").astype(float)
    table["menostat"] = (table["menostat"] == "Post").astype(float)
    return table, Windows(table["time"].to_numpy(float), (table["cens"] == 1).to_numpy(), 1825.0)


def cox_chances(table: pd.DataFrame, days: np.ndarray) -> np.ndarray:
    from lifelines import CoxPHFitter

    fitter = CoxPHFitter().fit(table, "time", "cens")  # Efron's ties
    return 1.0 - fitter.predict_survival_function(table, times=days).to_numpy()


# By hand: five units asked about 50 h. Failed at 10 h; opened at 20 h; failed at 30 h; two ran through. At 20 h four
# were left, one of them withdrawn: G = 3/4 from then on, so what is known later counts 4/3.
BY_HAND = windows([10, 20, 30, 60, 50], [True, False, True, False, False])
FORECAST = np.array([0.5, 0.9, 0.2, 0.1, 0.4])


def test_outcomes_by_hand() -> None:
    assert BY_HAND.failed_within.tolist() == [True, False, True, False, False]
    assert BY_HAND.ran_through.tolist() == [False, False, False, True, True]
    assert BY_HAND.withdrawn.tolist() == [False, True, False, False, False]


def test_weights_by_hand() -> None:
    assert ipcw_weights(BY_HAND) == pytest.approx([1, 0, 4 / 3, 4 / 3, 4 / 3])


def test_brier_score_by_hand() -> None:
    expected = (0.5**2 + 4 / 3 * (0.8**2 + 0.1**2 + 0.4**2)) / 5
    assert brier_score(FORECAST, BY_HAND) == pytest.approx(expected)


def test_log_score_by_hand() -> None:
    expected = (np.log(0.5) + 4 / 3 * (np.log(0.2) + np.log(0.9) + np.log(0.6))) / 5
    assert log_score(FORECAST, BY_HAND) == pytest.approx(expected)


def test_concordance_by_hand() -> None:
    # Failed at 10 h with 0.5: over 0.2, 0.1 and 0.4, under 0.9. Failed at 30 h with 0.2: over 0.1, under 0.4. The
    # units that ran through tell nothing of each other.
    seen = concordance(FORECAST, BY_HAND)
    assert (seen.concordant, seen.discordant, seen.tied) == (4, 2, 0)
    assert seen.index == pytest.approx(4 / 6)


def test_observed_share_by_hand() -> None:
    # Kaplan-Meier: 1 - 4/5 · 2/3.
    assert observed_share(BY_HAND).share == pytest.approx(1 - 4 / 5 * 2 / 3)


def test_failure_counts_before_a_withdrawal_at_the_same_hours() -> None:
    assert ipcw_weights(windows([20, 20, 60], [False, True, False])) == pytest.approx([0, 1, 2])


def test_failure_at_the_horizon_itself_is_within_it() -> None:
    both = windows([50, 50], [True, False])
    assert both.failed_within.tolist() == [True, False]
    assert both.ran_through.tolist() == [False, True]


def test_failure_after_the_horizon_ran_through() -> None:
    assert windows([51.0], [True]).ran_through.tolist() == [True]


def test_brier_score_published() -> None:
    # scikit-survival's documentation of brier_score: GBSG2, Cox model with Efron's ties, 1825 days: 0.20881843. There
    # a failure is weighed by G on its day, withdrawals of that day included; here by G just before them (Graf et al.
    # 1999), which makes the weights add up. So the score itself is near, and it is the same once each failure is given
    # the weight that a failure just after its day would have.
    table, seen = gbsg2()
    chance = cox_chances(table, np.array([1825.0]))[0]
    assert brier_score(chance, seen) == pytest.approx(0.20881843, abs=1e-4)
    n = len(seen.ran)
    just_after = Windows(np.append(seen.ran, seen.ran + 0.5), np.append(seen.failed, seen.failed), 1825.5)
    copies = np.append(np.ones(n), np.where(seen.failed, 1e-12, 0.0))
    weights = ipcw_weights(just_after, copies)
    weights = np.where(seen.failed_within, weights[n:], weights[:n])
    published = (weights * brier_scores(chance, seen.failed_within)).sum() / n
    assert published == pytest.approx(0.20881843, abs=2e-7)


def test_integrated_brier_score_published() -> None:
    # The same documentation, integrated over 365 to 1825 days: 0.1816.
    table, seen = gbsg2()
    days = np.arange(365.0, 1826.0)
    chances = cox_chances(table, days)
    scores = [brier_score(c, Windows(seen.ran, seen.failed, d)) for c, d in zip(chances, days, strict=True)]
    steps = np.diff(days)
    integrated = ((np.array(scores[1:]) + np.array(scores[:-1])) / 2 * steps).sum() / (days[-1] - days[0])
    assert integrated == pytest.approx(0.1816, abs=1e-4)


def test_concordance_published() -> None:
    # Lung cancer data of the North Central Cancer Treatment Group (Loprinzi et al. 1994), as shipped with lifelines;
    # age alone. 10,717 concordant, 8,706 discordant, 591 tied; 0.55024 (recomputed with R's survival).
    from lifelines.datasets import load_lung

    lung = load_lung()
    seen = concordance(
        lung["age"].to_numpy(float), Windows(lung["time"].to_numpy(float), (lung["status"] == 1).to_numpy(), 1e6)
    )
    assert (seen.concordant, seen.discordant, seen.tied) == (10_717, 8_706, 591)
    assert seen.index == pytest.approx(0.55024, abs=5e-6)


def test_exact_interval_without_censoring_published() -> None:
    # Clopper & Pearson 1934, Biometrika 26, 404-413; 4 of 20 at 90 %: 0.0713 to 0.4010 (recomputed with scipy's beta).
    seen = observed_share(windows([10] * 4 + [50] * 16, [True] * 4 + [False] * 16))
    assert (seen.share, seen.low, seen.high) == pytest.approx((0.2, 0.0713, 0.4010), abs=1e-4)


def test_no_failure_leaves_an_upper_limit() -> None:
    # Nothing in 20: the two-sided 90 % limit is 1 - 0.05^(1/20).
    seen = observed_share(windows([60] * 20, [False] * 20))
    assert (seen.share, seen.low) == (0.0, 0.0)
    assert seen.high == pytest.approx(1 - 0.05 ** (1 / 20))


def test_nothing_known_leaves_the_share_unknown() -> None:
    seen = observed_share(windows([20, 30, 40], [False, True, False]))
    assert np.isnan([seen.share, seen.low, seen.high]).all()


hours = st.integers(0, 60).map(float)
outcomes = st.lists(st.tuples(hours, st.booleans()), min_size=1, max_size=30).map(
    lambda rows: windows([ran for ran, _ in rows], [failed for _, failed in rows])
)


@given(outcomes)
def test_weights_add_up_to_the_number_of_forecasts(seen: Windows) -> None:
    # S(t)·G(t) is the share still at risk: with the right G nothing is lost and nothing counted twice.
    total = ipcw_weights(seen).sum()
    if seen.ran_through.any():
        assert total == pytest.approx(len(seen.ran))
    else:
        assert total <= len(seen.ran) + 1e-9


@given(outcomes)
def test_weighed_failures_are_kaplan_meiers_share(seen: Windows) -> None:
    if seen.ran_through.any():
        share = float(weighed_mean(seen.failed_within.astype(float), ipcw_weights(seen)))
        assert share == pytest.approx(observed_share(seen).share)


@given(outcomes, st.lists(st.integers(0, 3), min_size=30, max_size=30))
def test_copies_are_as_good_as_rows(seen: Windows, copies: list[int]) -> None:
    # Weights of a bootstrap sample given as counts are those of the sample written out.
    counts = np.array(copies[: len(seen.ran)])
    written_out = np.repeat(np.arange(len(counts)), counts)
    if len(written_out):
        assert ipcw_weights(seen, counts)[written_out] == pytest.approx(ipcw_weights(seen.select(written_out)))


@given(outcomes)
def test_order_does_not_matter(seen: Windows) -> None:
    order = np.random.default_rng(3).permutation(len(seen.ran))
    assert ipcw_weights(seen)[order] == pytest.approx(ipcw_weights(seen.select(order)))


@given(outcomes, st.floats(0.01, 0.99))
def test_constant_forecast_has_brier_score_p_1_minus_p_at_best(seen: Windows, constant: float) -> None:
    # Brier = p (1 - p) + (constant - p)²: the observed share p is the best constant, and scores p (1 - p).
    if not seen.ran_through.any():
        return
    p = observed_share(seen).share
    n = len(seen.ran)
    assert brier_score(np.full(n, p), seen) == pytest.approx(p * (1 - p), abs=1e-12)
    assert brier_score(np.full(n, constant), seen) == pytest.approx(p * (1 - p) + (constant - p) ** 2)


@given(outcomes)
def test_perfect_forecasts_score_0(seen: Windows) -> None:
    if not (seen.failed_within | seen.ran_through).any():
        return
    perfect = seen.failed_within.astype(float)
    assert brier_score(perfect, seen) == 0.0
    assert log_score(perfect, seen) == 0.0


def test_impossible_called_and_happened_scores_minus_infinity() -> None:
    assert log_scores(np.array([0.0, 1.0]), np.array([True, False])).tolist() == [-np.inf, -np.inf]


def test_true_chances_score_best_whatever_is_withdrawn() -> None:
    # Propriety, with a third of the outcomes withdrawn at random: nobody beats the true chances in expectation.
    rng = np.random.default_rng(5)
    n = 40_000
    rate = rng.gamma(2.0, 0.004, n)
    fails, withdrawn = rng.exponential(1 / rate), rng.exponential(120.0, n)
    seen = Windows(np.minimum(fails, withdrawn), fails <= withdrawn, 50.0)
    assert 0.25 < seen.withdrawn.mean() < 0.4
    true = -np.expm1(-50.0 * rate)
    rivals = [np.full(n, true.mean()), true**1.3, np.sqrt(true), np.clip(true + 0.05, 0, 1), 0.5 * true + 0.2]
    for rival in rivals:
        assert log_score(true, seen) > log_score(rival, seen)
        assert brier_score(true, seen) < brier_score(rival, seen)
    # and the weights put right what leaving out the withdrawn would get wrong: too many failures among the known
    known = seen.failed_within | seen.ran_through
    assert seen.failed_within[known].mean() > true.mean() + 0.03
    assert observed_share(seen).share == pytest.approx(true.mean(), abs=0.01)


def test_calibration_groups_hold_every_forecast_once_and_split_no_tie() -> None:
    rng = np.random.default_rng(6)
    chance = np.round(rng.random(83), 1)
    seen = Windows(rng.uniform(0, 100, 83), rng.random(83) < chance, 50.0)
    table = calibration_table(chance, seen)
    assert table["n"].sum() == 83
    assert table["failures"].sum() == seen.failed_within.sum()
    assert (table["lowest"].to_numpy()[1:] > table["highest"].to_numpy()[:-1]).all()
    assert table["observed"].between(table["observed_low"], table["observed_high"]).all()


def test_calibration_of_one_forecast_for_all_is_one_group() -> None:
    table = calibration_table(np.full(60, 0.3), windows([60.0] * 60, [False] * 60))
    assert table["n"].tolist() == [60]


def test_calibration_of_few_is_one_group() -> None:
    table = calibration_table(np.linspace(0.1, 0.9, 12), windows([60.0] * 12, [False] * 12))
    assert table["n"].tolist() == [12]


def test_bootstrap_interval_is_the_one_of_statistics() -> None:
    # One forecast a unit, nothing withdrawn: the mean's standard error is sd / root n, the interval 1.645 of it.
    rng = np.random.default_rng(7)
    score = rng.normal(0.1, 1.0, 400)
    seen = Windows(np.full(400, 60.0), np.zeros(400, dtype=bool), 50.0)
    lead = difference(score.mean(), bootstrap_means(score[None], seen, np.arange(400))[:, 0])
    half = 1.645 * score.std() / 20
    assert (lead.value - lead.low, lead.high - lead.value) == pytest.approx((half, half), rel=0.1)


def test_forecasts_of_one_unit_count_as_one_stroke_of_luck() -> None:
    # The same 100 scores, each written down four times for the same unit: no narrower; for four units: half as wide.
    score = np.random.default_rng(8).normal(0.0, 1.0, 100)
    seen = Windows(np.full(400, 60.0), np.zeros(400, dtype=bool), 50.0)

    def width(units: np.ndarray) -> float:
        lead = difference(0.0, bootstrap_means(np.repeat(score, 4)[None], seen, units)[:, 0])
        return lead.high - lead.low

    once = bootstrap_means(score[None], seen.select(np.arange(100)), np.arange(100))[:, 0]
    alone = difference(0.0, once)
    assert width(np.repeat(np.arange(100), 4)) == pytest.approx(alone.high - alone.low, rel=0.05)
    assert width(np.arange(400)) == pytest.approx((alone.high - alone.low) / 2, rel=0.1)


def test_bootstrap_is_the_same_for_the_same_seed() -> None:
    score = np.random.default_rng(9).normal(size=(2, 5))
    again = [bootstrap_means(score, BY_HAND, np.array(list("aabbc")), seed=4) for _ in range(2)]
    assert np.array_equal(again[0], again[1])
    assert not np.array_equal(again[0], bootstrap_means(score, BY_HAND, np.array(list("aabbc")), seed=5))


def test_luck_is_what_the_interval_holds() -> None:
    assert difference(0.1, np.linspace(0.01, 0.2, 100)).more_than_luck
    assert difference(-0.1, np.linspace(-0.2, -0.01, 100)).more_than_luck
    assert not difference(0.05, np.linspace(-0.05, 0.15, 100)).more_than_luck


@pytest.mark.parametrize(
    ("ran", "failed", "horizon"),
    [([1.0, 2.0], [True], 50.0), ([-1.0], [True], 50.0), ([np.nan], [False], 50.0), ([1.0], [True], 0.0)],
)
def test_windows_that_make_no_sense_are_refused(ran: list[float], failed: list[bool], horizon: float) -> None:
    with pytest.raises(WrongUsage):
        windows(ran, failed, horizon)

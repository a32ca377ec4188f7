"""Few failures: the draws are the posterior of the written-out likelihood and the stated general experience."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import gammaln
from scipy.stats import norm

from forecaster.episodes import split_episodes
from forecaster.few_failures import few_failures_remark, posterior_of_few
from forecaster.lives import lives_by_hours

LIVES = {
    "early failures, joined part-worn": ([30.0, 60.0, 80.0, 200.0, 260.0], 3, [10.0, 0.0, 0.0, 50.0, 0.0]),
    "late failures": ([150.0, 155.0, 160.0, 165.0, 150.0, 140.0], 4, [0.0] * 6),
    "none": ([150.0, 155.0, 160.0], 0, [0.0] * 3),
}


@pytest.mark.parametrize("case", LIVES)
def test_draws_have_the_means_and_spreads_of_the_posterior_on_a_fine_grid(case: str) -> None:
    ages, failures, entry = LIVES[case]
    lives = lives_by_hours(np.array(ages), ["failed"] * failures + ["alive"] * (len(ages) - failures), np.array(entry))
    # prior: log shape ~ N(log 2, .35²); (430/scale)^shape ~ Gamma(1, ln 2); a change of variables to log scale
    log_shape, log_scale = np.meshgrid(np.linspace(-1.0, 2.4, 500), np.linspace(1.0, 13.0, 700), indexing="ij")
    shape, scale = np.exp(log_shape), np.exp(log_scale)
    rate = (430.0 / scale) ** shape
    log_density = norm.logpdf(log_shape, np.log(2.0), 0.35) - np.log(2.0) * rate + np.log(rate) + log_shape - gammaln(1)
    for life, (age, start) in enumerate(zip(ages, entry, strict=True)):
        log_density -= (age / scale) ** shape - (start / scale) ** shape
        if life < failures:
            log_density += np.log(shape / scale) + (shape - 1) * np.log(age / scale)
    weight = np.exp(log_density - log_density.max())
    weight /= weight.sum()
    draws = posterior_of_few(split_episodes(lives), 40_000, np.random.default_rng(1))
    for column, values in enumerate((log_scale, log_shape)):
        mean = (weight * values).sum()
        spread = np.sqrt((weight * (values - mean) ** 2).sum())
        assert draws[:, column].mean() == pytest.approx(mean, abs=0.015)
        assert draws[:, column].std() == pytest.approx(spread, rel=0.03)


def test_early_and_late_failures_move_the_shape_apart() -> None:
    early = lives_by_hours(np.array([5.0, 40.0, 200.0]), ["failed", "failed", "alive"])
    late = lives_by_hours(np.array([180.0, 190.0, 170.0]), ["failed", "failed", "alive"])
    shapes = [
        np.median(posterior_of_few(split_episodes(h), 4000, np.random.default_rng(1))[:, 1]) for h in (early, late)
    ]
    assert shapes[0] < np.log(2.0) < shapes[1]


def test_the_remark_counts_hours_and_failures() -> None:
    none = few_failures_remark(split_episodes(lives_by_hours(np.array([100.0, 50.0]), ["alive"] * 2, 20.0)))
    assert "No failure in 110 engine hours" in none
    two = few_failures_remark(split_episodes(lives_by_hours(np.array([100.0, 200.0]), ["failed"] * 2)))
    assert "The failures (2)" in two
    assert "158 h" in two  # sqrt((100² + 200²) / 2)

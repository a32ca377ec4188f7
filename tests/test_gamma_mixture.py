"""Gammas: draws of them beside the exact quantiles, and mixtures beside plain counting."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import gamma

from forecaster.gamma_mixture import LEAST_SHAPE, chance_of_at_least, gamma_of, normal_scores, quantile


@pytest.mark.parametrize("shape", [0.2, 1.0, LEAST_SHAPE, 20.0, 400.0])
def test_a_gamma_of_many_scores_has_the_mean_and_variance_asked_for(shape: float) -> None:
    scores = normal_scores(4000, np.random.default_rng(1))
    drawn = gamma_of(3.0, 9.0 / shape, scores)
    assert drawn.mean() == pytest.approx(3.0, rel=0.01)
    assert drawn.var() == pytest.approx(9.0 / shape, rel=0.03)


@pytest.mark.parametrize("shape", [0.5, 3.0, LEAST_SHAPE, 30.0])
def test_a_gamma_s_quantiles_are_within_a_hundredth_of_its_standard_deviation(shape: float) -> None:
    scores = np.array([-2.326, -1.645, -0.5, 0.0, 1.0, 1.645, 2.326])
    exact = gamma.ppf([0.01, 0.05, 0.30854, 0.5, 0.84134, 0.95, 0.99], shape)
    assert gamma_of(shape, shape, scores) == pytest.approx(exact, abs=0.01 * np.sqrt(shape))


def test_without_variance_a_gamma_is_its_mean() -> None:
    assert gamma_of(2.5, 0.0, np.array([-3.0, 0.0, 3.0])).tolist() == [2.5, 2.5, 2.5]


def test_scores_are_the_same_ones_in_another_order() -> None:
    one, other = (normal_scores(50, np.random.default_rng(seed)) for seed in (1, 2))
    assert (one != other).any()
    assert np.sort(one) == pytest.approx(np.sort(other))
    assert one.std() == pytest.approx(1.0, abs=0.03)


def test_a_mixture_s_quantile_is_reached_with_the_chance_that_it_is_the_quantile_of() -> None:
    means, variances = np.array([2.0, 10.0, 30.0]), np.array([4.0, 9.0, 200.0])
    for share in (0.05, 0.5, 0.95):
        hours = quantile(means, variances, share)
        assert chance_of_at_least(means, variances, hours) == pytest.approx(1.0 - share, abs=1e-3)

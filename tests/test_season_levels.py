"""The fleet's level season by season: by hand, beside a brute-force posterior, and as laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.season_levels import FLEET_SPREAD, SEASON_SPREAD, SPREADS, WALK, SeasonLevels, season_levels

KNOWN = 1e-4  # variance by chance of a season of which nearly everything was read


def levels(*logs: float, noise: float = KNOWN) -> SeasonLevels:
    return season_levels(np.arange(2020, 2020 + len(logs)), np.array(logs), np.full(len(logs), noise), 0.0)


def width(found: SeasonLevels, ahead: int) -> float:
    drawn = np.log(found.draw(4000, ahead, np.random.default_rng(1))[:, ahead])
    return float(np.diff(np.quantile(drawn, [0.05, 0.95]))[0])


def test_of_one_spread_the_posterior_is_that_of_a_normal_by_hand() -> None:
    # one season seen without chance: the walk is drawn between what was supposed, -0.185, and 0.4 as the variances say
    found = levels(0.4, noise=0.0)
    k = int(np.argmin(np.abs(SPREADS - 0.1)))
    supposed = -0.5 * (FLEET_SPREAD**2 + SEASON_SPREAD**2)
    share = FLEET_SPREAD**2 / (FLEET_SPREAD**2 + SPREADS[k] ** 2)
    assert found.last_mean[k] == pytest.approx(0.4)
    assert found.walk_mean[k] == pytest.approx(supposed + share * (0.4 - supposed))
    assert found.covariance[k, 0, 0] == pytest.approx(FLEET_SPREAD**2 * (1.0 - share))
    assert found.covariance[k, 1, 1] == pytest.approx(0.0, abs=1e-12)


def test_the_weights_of_the_spreads_are_those_of_a_plain_enumeration() -> None:
    seen, noise = np.array([0.1, -0.2, 0.15]), np.array([0.001, 0.002, 0.05])
    found = season_levels(np.array([2020, 2021, 2022]), seen, noise, 0.0)
    weights = []
    for spread in SPREADS:
        covariance = np.diag(noise + spread**2) + FLEET_SPREAD**2
        for i in range(3):
            for j in range(3):
                covariance[i, j] += WALK * spread**2 * min(i, j)
        off = seen + 0.5 * (FLEET_SPREAD**2 + SEASON_SPREAD**2)
        likelihood = np.exp(-0.5 * off @ np.linalg.inv(covariance) @ off) / np.sqrt(np.linalg.det(covariance))
        prior = spread**-4.0 * np.exp(-2.0 * (SEASON_SPREAD / spread) ** 2)
        weights.append(prior * likelihood)
    assert found.weight == pytest.approx(np.array(weights) / np.sum(weights), rel=1e-9)


def test_draws_have_the_mean_that_is_told() -> None:
    found = levels(0.1, -0.15, 0.05)
    drawn = found.draw(40_000, 3, np.random.default_rng(2))
    assert drawn.mean(axis=0) == pytest.approx(found.mean(np.arange(4)), rel=0.01)


def test_a_longer_look_begins_with_the_same_draws() -> None:
    found = levels(0.1, -0.15)
    short, long = (found.draw(20, ahead, np.random.default_rng(3)) for ahead in (1, 6))
    assert (long[:, :2] == short).all()


def test_what_is_further_away_is_known_less() -> None:
    found = levels(0.0, 0.02, -0.02)
    assert width(found, 0) < width(found, 1) < width(found, 4) < width(found, 9)


def test_seasons_that_differed_let_the_next_one_differ() -> None:
    assert width(levels(0.25, -0.25, 0.2), 1) > 1.5 * width(levels(0.01, -0.01, 0.0), 1)


def test_the_next_season_is_expected_between_the_last_and_the_seasons_before_it() -> None:
    found = levels(0.0, 0.0, 0.0, 0.3)
    assert 0.03 < np.log(found.mean(np.array([1]))[0]) < 0.27


def test_a_season_of_which_nothing_was_seen_tells_nothing() -> None:
    seen = levels(0.1, 0.2)
    unseen = season_levels(
        np.array([2020, 2021, 2022]), np.array([0.1, 0.2, 5.0]), np.array([KNOWN, KNOWN, np.inf]), 0.0
    )
    assert unseen.weight == pytest.approx(seen.weight)
    assert unseen.mean(np.array([0])) == pytest.approx(seen.mean(np.array([1])))


def test_one_day_of_a_new_season_changes_next_to_nothing() -> None:
    day = season_levels(np.array([2020, 2021, 2022]), np.array([0.1, 0.2, -0.7]), np.array([KNOWN, KNOWN, 2.0]), 0.0)
    assert day.mean(np.array([0])) == pytest.approx(levels(0.1, 0.2).mean(np.array([1])), rel=0.02)


@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(0.0, 0.5))
def test_a_better_season_never_lowers_what_is_expected_of_it(first: float, second: float, more: float) -> None:
    less, greater = levels(first, second), levels(first, second + more)
    assert less.mean(np.array([0]))[0] <= greater.mean(np.array([0]))[0] * (1 + 1e-9)

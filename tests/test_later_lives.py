"""What lives to come may cost under each draw: held against upkeeps worked out for it."""

from __future__ import annotations

import numpy as np
import pytest

from forecaster.fresh_life import fresh_life, fresh_lives
from forecaster.later_lives import cost_scatter, scatter_elsewhere, sooner_worn
from forecaster.policy import best_upkeep, upkeep_at
from forecaster.priors import read_priors
from forecaster.service_life import chance_sound
from tests.bare_lives import theta
from tests.test_policy import PRICES, USUAL, life_of


def test_the_scatter_is_the_policys_cost_under_each_life_beside_its_own() -> None:
    best = best_upkeep(USUAL, PRICES, 60.0)
    lives = [life_of(scale_1=scale) for scale in (150.0, 250.0, 400.0)]
    costs = np.array([upkeep_at(life, PRICES, 60.0, best.action).cost_per_year for life in lives])
    assert cost_scatter(best, lives) == pytest.approx(costs / best.cost_per_year, abs=2e-3)


def test_on_craft_with_other_covariates_the_scatter_is_nearly_that_of_their_own_lives() -> None:
    """Draws that differ in how much salt wears, on fresh water and in salt."""
    draws = np.stack([theta(ratio_salt=ratio) for ratio in (1.0, 1.3, 1.7, 2.2)])
    prior, fresh_water, salt = read_priors(), np.zeros(3), np.array([0.0, 1.0, 0.0])

    def scatter(x: np.ndarray, draws: np.ndarray) -> np.ndarray:
        best = best_upkeep(fresh_life(draws, prior, x, None, 10.0, 300.0), PRICES, 60.0)
        return cost_scatter(best, fresh_lives(draws, prior, x, None, 10.0, 300.0))

    sooner = fresh_life(sooner_worn(draws, 0.2), prior, fresh_water, None, 10.0, 300.0)
    best = best_upkeep(fresh_life(draws, prior, fresh_water, None, 10.0, 300.0), PRICES, 60.0)
    power = float(np.log(cost_scatter(best, [sooner])[0]) / 0.2)
    found = scatter_elsewhere(scatter(fresh_water, draws), draws, salt, power)
    own = scatter(salt, draws)
    assert own.std() > 0.1
    assert found == pytest.approx(own, rel=0.05)


def test_a_bearing_sooner_worn_has_the_hazard_that_many_times() -> None:
    draws = np.stack([theta(), theta(shape_1=0.9, scale_1=150.0)])
    ages = np.array([0.0, 40.0, 170.0])
    sound, sooner = (
        chance_sound(one, read_priors(), np.zeros(3), None, ages) for one in (draws, sooner_worn(draws, np.log(1.5)))
    )
    np.testing.assert_allclose(np.log(sooner[:, 1:]), 1.5 * np.log(sound[:, 1:]), rtol=1e-12)


def test_where_nothing_costs_anything_nothing_scatters() -> None:
    free = PRICES.with_values(
        rebuild=0, rebuild_in_season_extra=0, new_unit=0, engine_damage=0, check=0, day_rate=0
    )  # fmt: skip
    assert (cost_scatter(best_upkeep(USUAL, free, 60.0), [USUAL, USUAL]) == 1.0).all()

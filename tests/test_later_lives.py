"""What lives to come may cost: ratios by draw and by hours, each held against an upkeep worked out for it."""

from __future__ import annotations

import numpy as np
import pytest

from forecaster.later_lives import cost_scatter, costs_by_hours
from forecaster.policy import best_upkeep, upkeep_at
from tests.test_policy import PRICES, USUAL, life_of


def test_the_scatter_is_the_policys_cost_under_each_life_beside_its_own() -> None:
    best = best_upkeep(USUAL, PRICES, 60.0)
    lives = [life_of(scale_1=scale) for scale in (150.0, 250.0, 400.0)]
    costs = np.array([upkeep_at(life, PRICES, 60.0, best.action).cost_per_year for life in lives])
    assert cost_scatter(best, lives) == pytest.approx(costs / best.cost_per_year, abs=2e-3)


def test_an_hour_costs_what_it_does_in_a_season_of_so_many_hours() -> None:
    """At the three seasons worked out as the search settles, in between nearly."""
    usual = best_upkeep(USUAL, PRICES, 90.0)
    (by_hours,) = costs_by_hours([usual])
    for share, error in ((0.8, 1e-4), (1.0, 1e-4), (1.25, 1e-4), (0.9, 0.01), (1.12, 0.01)):
        cost = best_upkeep(USUAL, PRICES, 90.0 * share, usual).cost_per_year / usual.cost_per_year
        assert by_hours.an_hour(np.array([share])) == pytest.approx(cost / share, rel=error)


def test_many_craft_at_once_are_each_what_it_is_alone() -> None:
    upkeeps = [best_upkeep(USUAL, PRICES, hours) for hours in (50.0, 120.0)]
    together, share = costs_by_hours(upkeeps), np.array([0.7, 1.3])
    for one, found in zip(upkeeps, together, strict=True):
        (alone,) = costs_by_hours([one])
        np.testing.assert_allclose(found.an_hour(share), alone.an_hour(share), rtol=1e-9)


def test_where_nothing_costs_anything_an_hour_costs_the_same() -> None:
    free = PRICES.with_values(
        rebuild=0, rebuild_in_season_extra=0, new_unit=0, engine_damage=0, check=0, day_rate=0
    )  # fmt: skip
    (by_hours,) = costs_by_hours([best_upkeep(USUAL, free, 60.0)])
    np.testing.assert_allclose(by_hours.an_hour(np.array([0.0, 0.6, 1.0, 3.0])), 1.0)
    assert (cost_scatter(best_upkeep(USUAL, free, 60.0), [USUAL, USUAL]) == 1.0).all()

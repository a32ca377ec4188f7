"""Partial pooling of levels: against published credibility, by hand, and as laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.season_levels import FLEET_SPREAD, SEASON_SPREAD
from forecaster.season_totals import SeasonTotals
from forecaster.usage_levels import (
    CRAFT_VARIANCE,
    Levels,
    between_variance,
    credibility,
    pooled_levels,
)

# Hachemeister 1975, in Credibility: Theory and Applications (Kahn, ed.), 129-163: average claims of five US states over
# 12 quarters. Each state's weighted mean, its weight, and the variance within states, as quoted in a public file.
MEANS = np.array([2060.921, 1511.224, 1805.843, 1352.976, 1599.829])
WEIGHTS = np.array([100_155.0, 19_895.0, 13_735.0, 4_152.0, 36_110.0])
WITHIN = 139_120_026.0


def one_craft_in_many(hours: list[float], expected: list[float]) -> SeasonTotals:
    """30 craft that ran just what was expected in two seasons, and a last one with these hours."""
    usual = np.tile([[140.0, 140.0]], (30, 1))
    return SeasonTotals(
        seasons=np.array([2023, 2024]),
        hours=np.vstack([usual, [hours]]),
        expected=np.vstack([usual, [expected]]),
        powers=np.vstack([usual, [expected]]) * 0.95,
        irregularity=300.0,
        freedom=150.0,
    )


def drawn_levels(levels: Levels, n: int, seasons: np.ndarray, craft: list[int]) -> np.ndarray:
    streams = [np.random.default_rng([2, row]) for row in craft]
    return levels.draw(n, seasons, np.array(craft), np.random.default_rng(1), streams)


def test_credibility_of_five_states() -> None:
    # Bühlmann & Straub's model on Hachemeister's data: factors and premiums from memory, recomputed here and agreeing.
    between = between_variance(MEANS, WEIGHTS, WITHIN)
    share = credibility(WEIGHTS, WITHIN, between)
    assert share == pytest.approx([0.9847404, 0.9276352, 0.8984754, 0.7279092, 0.9587911], abs=1e-6)
    collective = (share * MEANS).sum() / share.sum()
    assert collective == pytest.approx(1683.713, abs=2e-3)
    premiums = collective + share * (MEANS - collective)
    assert premiums == pytest.approx([2055.165, 1523.706, 1793.444, 1442.967, 1603.285], abs=2e-3)


def test_between_variance_by_hand() -> None:
    # two groups of exposure 10 with means 1 and 3: 10·1 + 10·1 - 1·4 = 16, divided by 20 - 200/20 = 10
    assert between_variance(np.array([1.0, 3.0]), np.array([10.0, 10.0]), 4.0) == pytest.approx(1.6)


def test_groups_that_differ_less_than_chance_do_not_differ() -> None:
    assert between_variance(np.array([1.0, 1.1]), np.array([10.0, 10.0]), 4.0) == 0.0


def test_without_readings_every_level_is_the_prior_s() -> None:
    nothing = SeasonTotals(np.array([2024]), np.zeros((3, 1)), np.zeros((3, 1)), np.zeros((3, 1)), 0.0, 0.0)
    levels = pooled_levels(nothing, base=0.3)
    assert levels.craft_mean.tolist() == [1.0, 1.0, 1.0]
    assert levels.own_share.tolist() == [0.0, 0.0, 0.0]
    assert levels.craft_variance == pytest.approx(CRAFT_VARIANCE[0])
    # how far seasons differ is not certain either, which raises the mean of the exponential by less than a hundredth
    assert levels.mean(np.array([2024]), 0) == pytest.approx(np.exp([0.3]), rel=0.01)
    drawn = np.log(levels.fleet.draw(4000, 0, np.random.default_rng(1)))
    assert drawn.std() == pytest.approx(np.hypot(FLEET_SPREAD, SEASON_SPREAD), rel=0.02)


def test_a_craft_with_few_hours_stays_near_the_fleet_and_one_with_seasons_near_itself() -> None:
    # both ran half as much again as was expected
    few = pooled_levels(one_craft_in_many([0.0, 6.0], [0.0, 4.0]), 0.0)
    many = pooled_levels(one_craft_in_many([210.0, 210.0], [140.0, 140.0]), 0.0)
    assert 1.0 < few.craft_mean[-1] < 1.2
    assert 1.25 < many.craft_mean[-1] < 1.5
    assert few.own_share[-1] < 0.15 < 0.5 < many.own_share[-1]


@given(st.floats(0.0, 400.0), st.floats(0.0, 400.0))
def test_more_hours_never_make_a_lower_level(first: float, second: float) -> None:
    less, more = sorted((first, second))
    low, high = (pooled_levels(one_craft_in_many([140.0, ran], [140.0, 140.0]), 0.0) for ran in (less, more))
    assert low.latest_mean[-1] <= high.latest_mean[-1] * (1 + 1e-9)


def test_a_fleet_used_more_every_season_is_expected_to_stay_there() -> None:
    rising = replace(one_craft_in_many([140.0, 210.0], [140.0, 140.0]))
    rising = replace(rising, hours=np.tile([[140.0, 210.0]], (31, 1)))
    levels = pooled_levels(rising, 0.0)
    assert levels.fleet.season_mean[1] > levels.fleet.season_mean[0] + 0.3
    assert levels.mean(np.array([2024]), 0)[0] > 1.4
    assert levels.mean(np.array([2025]), 0)[0] > 1.1  # half of it may have been that one season


def test_draws_have_the_mean_that_is_told() -> None:
    levels = pooled_levels(one_craft_in_many([140.0, 60.0], [140.0, 70.0]), 0.0)
    seasons = np.array([2024, 2025, 2027])
    drawn = drawn_levels(levels, 40_000, seasons, [0, 30])
    assert drawn.shape == (40_000, 2, 3)
    for k, craft in enumerate((0, 30)):
        assert drawn[:, k].mean(axis=0) == pytest.approx(levels.mean(seasons, craft), rel=0.01)


def test_a_longer_look_begins_with_the_same_draws() -> None:
    levels = pooled_levels(one_craft_in_many([140.0, 60.0], [140.0, 70.0]), 0.0)
    short = drawn_levels(levels, 5, np.array([2024, 2025]), [0])
    long = drawn_levels(levels, 5, np.arange(2024, 2031), [0])
    assert (long[:, :, :2] == short).all()


def test_what_is_further_away_is_known_less() -> None:
    levels = pooled_levels(one_craft_in_many([140.0, 60.0], [140.0, 70.0]), 0.0)
    drawn = drawn_levels(levels, 20_000, np.array([2024, 2025, 2029]), [30])
    spread = np.log(drawn[:, 0]).std(axis=0)
    assert spread[0] < spread[1] < spread[2]

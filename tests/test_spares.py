"""Spare units: the published base stock table, and the laws of Poisson demand in a lead time."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import WrongUsage
from forecaster.spares import covers_all, expected_backorders, fill_rate, lead_time_demand, spare_units

MEANS = st.floats(0.0, 60.0)


# Hopp & Spearman, Factory Physics, the base stock model with Poisson demand of mean 10 in a lead time; the figures are
# recomputed from its formulas P(X < S) and E[max(X - S, 0)].
@pytest.mark.parametrize(("stock", "rate"), [(14, 0.864464), (15, 0.916542), (16, 0.951260)])
def test_published_fill_rates(stock: int, rate: float) -> None:
    assert fill_rate(10.0, stock) == pytest.approx(rate, abs=5e-7)


def test_published_expected_backorders() -> None:
    assert expected_backorders(10.0, 15) == pytest.approx(0.103479, abs=5e-7)


def test_covering_all_demand_is_another_question_than_the_fill_rate() -> None:
    assert spare_units(10.0, 3.0).units == 15  # P(X <= 15) is .951260, where the fill rate asks for 16
    assert covers_all(10.0, 15) == pytest.approx(0.951260, abs=5e-7)


def test_by_hand() -> None:
    """Half a unit in a lead time: P(X <= 0) = .6065, P(X <= 1) = .9098, P(X <= 2) = .9856."""
    held = spare_units(0.5, 2.0)
    assert held.units == 2
    assert held.covers == pytest.approx(math.exp(-0.5) * (1 + 0.5 + 0.125))


def test_without_demand_no_spare_is_held() -> None:
    held = spare_units(0.0, 3.0)
    assert (held.units, held.covers, held.expected_backorders) == (0, 1.0, 0.0)


@given(MEANS, st.floats(0.5, 0.999))
def test_the_least_stock_that_covers(mean: float, cover: float) -> None:
    units = spare_units(mean, 3.0, cover).units
    assert covers_all(mean, units) >= cover
    assert units == 0 or covers_all(mean, units - 1) < cover


@given(MEANS, MEANS)
def test_more_demand_never_needs_fewer_spares(one: float, other: float) -> None:
    low, high = sorted([one, other])
    assert spare_units(low, 3.0).units <= spare_units(high, 3.0).units


def test_backorders_are_the_mean_of_what_exceeds_the_stock() -> None:
    drawn = np.random.default_rng(5).poisson(4.0, 400_000)
    assert expected_backorders(4.0, 5) == pytest.approx(np.maximum(drawn - 5, 0).mean(), abs=0.005)


def test_an_uncertain_rate_asks_for_more_spares_than_its_mean() -> None:
    draws = np.array([1.0, 9.0])
    held = spare_units(draws, 3.0)
    assert held.demand == 5.0
    assert held.units > spare_units(5.0, 3.0).units
    assert held.covers == pytest.approx((covers_all(1.0, held.units) + covers_all(9.0, held.units)) / 2)


def test_demand_is_that_of_the_busiest_stretch_of_a_lead_time() -> None:
    weekly = np.array([0.1, 0.2, 0.9, 1.0, 0.3])
    assert lead_time_demand(weekly, 2.0) == pytest.approx([1.9])
    assert lead_time_demand(weekly, 1.5) == pytest.approx([1.0 + 0.45])
    assert lead_time_demand(weekly, 0.5) == pytest.approx([0.5])
    assert lead_time_demand(weekly, 9.0) == pytest.approx([2.5])  # a season shorter than the lead time


def test_every_draw_is_asked_about_the_same_stretch() -> None:
    weekly = np.array([[0.0, 1.0, 3.0], [5.0, 1.0, 0.0]])
    assert lead_time_demand(weekly, 1.0) == pytest.approx([0.0, 5.0])  # week 1 is the busiest on average


@given(st.lists(st.floats(0.0, 3.0), min_size=1, max_size=20), st.floats(0.2, 25.0), st.floats(0.2, 25.0))
def test_a_longer_lead_time_never_means_less_demand(weekly: list[float], one: float, other: float) -> None:
    short, long = sorted([one, other])
    rates = np.array(weekly)
    assert lead_time_demand(rates, short)[0] <= lead_time_demand(rates, long)[0] + 1e-9


@pytest.mark.parametrize("demand", [-1.0, math.nan, math.inf, 1e9])
def test_impossible_demand_is_refused(demand: float) -> None:
    with pytest.raises(WrongUsage, match="demand"):
        spare_units(demand, 3.0)


@pytest.mark.parametrize("cover", [0.0, 1.0, 95.0])
def test_a_chance_that_is_none_is_refused(cover: float) -> None:
    with pytest.raises(WrongUsage, match="between 0 and 1"):
        spare_units(1.0, 3.0, cover)


def test_an_impossible_lead_time_is_refused() -> None:
    with pytest.raises(WrongUsage, match="above 0 weeks"):
        lead_time_demand(np.ones(3), 0.0)

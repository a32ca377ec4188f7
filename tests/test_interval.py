"""The service interval of least cost: classic age replacement as its limit, prices by hand, laws, the sample fleet."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.age_replacement import cost_rate as classic_cost_rate
from forecaster.age_replacement import weibull_best_age, weibull_survival
from forecaster.fresh_life import fresh_life
from forecaster.interval import (
    DRAWS,
    OLDEST_H,
    STEP_H,
    checked_costs,
    interval_of,
    service_interval,
    service_intervals,
    thinned,
    unchecked_life,
)
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.lives import Histories
from forecaster.prices import Prices
from forecaster.priors import read_priors
from forecaster.service_life import IncidentRate
from tests.bare_lives import histories_of, theta
from tests.calibration import drawn_fleet

PRIOR = read_priors()
NONE = np.zeros(3)
PRICES = Prices(
    rebuild=650, rebuild_in_season_extra=120, new_unit=1700, engine_damage=5200, check=60,
    rebuild_days=3, failure_days=9, check_days=0.5, day_rate=300, core_lost=0.6, engine_hit=0.1,
)  # fmt: skip
# A failure that costs what a planned rebuild costs.
ALL_THE_SAME = PRICES.with_values(rebuild_in_season_extra=0.0, day_rate=0.0, core_lost=0.0, engine_hit=0.0)
# Defective is failed a moment later, and nobody notices in between.
AT_ONCE = {"shape_2": 1.0, "scale_2": 1e-3, "rate_noticed": 1e-12}


def one(**values: float) -> np.ndarray:
    return theta(**values)[None, :]


def dear(ratio: float) -> Prices:
    """A failure costs `ratio` times a planned rebuild of 650."""
    return ALL_THE_SAME.with_values(engine_hit=1.0, engine_damage=650 * (ratio - 1))


@pytest.mark.parametrize("shape", [1.5, 2.0, 2.5, 3.0, 4.0])
@pytest.mark.parametrize("ratio", [2.5, 5.0, 10.0])
def test_with_no_second_stage_it_is_classic_age_replacement(shape: float, ratio: float) -> None:
    """Barlow & Proschan 1965: best age within the grid's step, cost to a thousandth."""
    found = interval_of(one(shape_1=shape, scale_1=200.0, **AT_ONCE), PRIOR, NONE, None, dear(ratio))
    classic = weibull_best_age(shape, 200.0, 650.0, 650.0 * ratio)
    assert classic.age is not None
    assert found.rebuild_h == pytest.approx(classic.age, abs=STEP_H)
    assert found.cost_per_100_h[0] == pytest.approx(100 * classic.cost_rate, rel=1e-3)


def test_the_whole_curve_is_the_classic_one_where_there_is_no_second_stage() -> None:
    found = interval_of(one(shape_1=2.5, scale_1=200.0, **AT_ONCE), PRIOR, NONE, None, dear(5.0))
    classic = 100 * classic_cost_rate(weibull_survival(2.5, 200.0), 650.0, 3250.0, found.curve.ages_h)
    np.testing.assert_allclose(found.curve.mean, classic, rtol=1e-3)


def test_running_until_something_happens_costs_one_end_over_the_mean_life() -> None:
    """Exponential stages, rates .02, .05 and noticing .03: mean 1/.02 + 1/.08; noticed in 3 of 8."""
    found = interval_of(one(shape_1=1, scale_1=50, shape_2=1, scale_2=20, rate_noticed=0.03), PRIOR, NONE, None, PRICES)
    by_hand = (3 / 8 * PRICES.noticed() + 5 / 8 * PRICES.failure()) / (50 + 12.5) * 100
    assert found.cost_never_per_100_h[0] == pytest.approx(by_hand, rel=2e-3)


def test_where_a_failure_costs_no_more_than_a_rebuild_no_interval_pays() -> None:
    found = interval_of(one(shape_1=2.5, scale_1=150.0), PRIOR, NONE, None, ALL_THE_SAME, in_season=True)
    assert found.rebuild_h is None
    assert found.within_5_percent[1] is None
    assert found.chance_never == 1.0
    assert found.cost_per_100_h == found.cost_never_per_100_h


WORLDS = st.fixed_dictionaries(
    {
        "shape_1": st.floats(1.1, 3.0),
        "scale_1": st.floats(60.0, 500.0),
        "shape_2": st.floats(1.0, 2.5),
        "scale_2": st.floats(10.0, 100.0),
        "rate_noticed": st.floats(1e-4, 0.02),
        "lasting": st.floats(1.0, 3.0),
    }
)
RATES = st.floats(0.0005, 0.02)


def water(per_hour: float) -> IncidentRate:
    return IncidentRate(per_hour, {"none": 0.5, "prompt": 0.5}, 9)


def hours_of(rebuild_h: float | None) -> float:
    return np.inf if rebuild_h is None else rebuild_h


@settings(max_examples=15)
@given(WORLDS, RATES, st.floats(1.0, 3.0), st.booleans())
def test_dearer_failure_never_lengthens_the_interval(
    world: dict[str, float], rate: float, dearer: float, in_season: bool
) -> None:
    prices = (PRICES, PRICES.with_values(engine_damage=PRICES.engine_damage * dearer))
    before, after = (interval_of(one(**world), PRIOR, NONE, water(rate), p, in_season) for p in prices)
    assert hours_of(after.rebuild_h) <= hours_of(before.rebuild_h)
    assert after.cost_per_100_h[0] >= before.cost_per_100_h[0] - 1e-9


@settings(max_examples=15)
@given(WORLDS, RATES, st.floats(1.0, 5.0))
def test_more_water_never_makes_the_best_rule_cheaper(world: dict[str, float], rate: float, wetter: float) -> None:
    before, after = (interval_of(one(**world), PRIOR, NONE, water(r), PRICES) for r in (rate, rate * wetter))
    assert after.cost_per_100_h[0] >= before.cost_per_100_h[0] - 1e-9


@pytest.mark.parametrize("shape", [1.5, 2.5])
def test_water_that_fails_a_bearing_at_once_never_shortens_the_interval(shape: float) -> None:
    """It strikes young and old alike, so rebuilding the old prevents none of it (see test_age_replacement).

    With a second stage it may go either way: a rebuild then also removes what earlier water started.
    """
    vector = one(shape_1=shape, scale_1=200.0, lasting=1.0, **AT_ONCE)
    rates = (None, water(0.005), water(0.02), water(0.08))
    found = [hours_of(interval_of(vector, PRIOR, NONE, rate, PRICES).rebuild_h) for rate in rates]
    assert found == sorted(found)


def test_water_that_starts_a_long_rust_shortens_the_interval() -> None:
    slow = one(shape_1=2.0, scale_1=60.0, shape_2=1.0, scale_2=25.0, rate_noticed=0.0156)
    dry, wet = (interval_of(slow, PRIOR, NONE, rate, PRICES).rebuild_h for rate in (water(0.0156), water(0.0625)))
    assert hours_of(wet) < hours_of(dry)


@settings(max_examples=10)
@given(WORLDS, RATES)
def test_a_dearer_planned_rebuild_never_shortens_the_interval(world: dict[str, float], rate: float) -> None:
    """In season it costs more, and lost days besides."""
    off, on = (interval_of(one(**world), PRIOR, NONE, water(rate), PRICES, in_season) for in_season in (False, True))
    assert hours_of(on.rebuild_h) >= hours_of(off.rebuild_h)
    assert on.cost_per_100_h[0] >= off.cost_per_100_h[0]


def test_the_band_holds_the_intervals_within_5_percent_and_no_others_next_to_it() -> None:
    found = interval_of(one(), PRIOR, NONE, water(0.005), PRICES)
    low, high = found.within_5_percent
    assert found.rebuild_h is not None
    assert high is not None
    assert low < found.rebuild_h < high
    limit = 1.05 * found.cost_per_100_h[0]
    ages, cost = found.curve.ages_h, found.curve.mean
    inside = (ages >= low) & (ages <= high)
    assert (cost[inside] <= limit).all()
    assert cost[ages == low - STEP_H] > limit
    assert cost[ages == high + STEP_H] > limit


def test_a_unit_that_nobody_checks_is_the_fresh_life_without_a_check() -> None:
    """Two ways to the same chances: all draws at once, and by age and age at the check."""
    rate = water(0.01)
    found = unchecked_life(one(lasting=2.0), PRIOR, NONE, rate)
    life = fresh_life(one(lasting=2.0), PRIOR, NONE, rate, STEP_H, OLDEST_H)
    np.testing.assert_allclose(found.running[0], life.alive[:, 0], atol=1e-13)
    np.testing.assert_allclose(found.fails[0], life.alive[:, 0] * life.fails[:, 0], atol=1e-13)
    np.testing.assert_allclose(found.noticed[0], life.alive[:, 0] * life.noticed[:, 0], atol=1e-13)


def test_a_check_that_hears_nothing_and_costs_nothing_changes_nothing() -> None:
    """Sensitivity and false alarms next to 0: the rule is the one without a check."""
    deaf = one(sensitivity=1e-9, specificity=1 - 1e-9)
    found = interval_of(deaf, PRIOR, NONE, None, PRICES.with_values(check=0.0), with_check=True)
    assert found.with_check is not None
    assert found.with_check.rebuild_h == found.rebuild_h
    assert found.with_check.cost_per_100_h[0] == pytest.approx(found.cost_per_100_h[0], rel=1e-6)
    assert found.with_check.saves_per_100_h[0] == pytest.approx(0.0, abs=1e-3)


def test_a_rule_with_a_check_is_priced_as_by_hand() -> None:
    """Exponential stages a .01, b .05, r .02; check at 60 h, rebuild at 120 h; closed forms, integrals by fine sums."""
    a, out = 0.01, 0.07
    share, step = a / (out - a), 0.01
    t = np.arange(0.0, 60.0, step) + step / 2

    def ill(age: np.ndarray) -> np.ndarray:
        return np.asarray(share * (np.exp(-a * age) - np.exp(-out * age)))

    ill_60, sound_60 = float(ill(np.array(60.0))), float(np.exp(-0.6))
    first = ill(t)
    missed, passed = 0.1 * ill_60, 0.96 * sound_60
    second = missed * np.exp(-out * t) + passed * ill(t)
    ends = 0.05 * PRICES.failure() + 0.02 * PRICES.noticed()
    left = missed * np.exp(-out * 60) + passed * (ill_60 + sound_60)
    rattling = ill_60 + sound_60 - missed - passed
    money = (
        ends * (first.sum() + second.sum()) * step
        + PRICES.looked_at(False) * (ill_60 + sound_60)
        + PRICES.planned(False) * (rattling + left)
    )
    hours = (np.exp(-a * t) + first + second + passed * np.exp(-a * t)).sum() * step
    exponential = one(shape_1=1, scale_1=100, shape_2=1, scale_2=20, rate_noticed=0.02)
    found = checked_costs(fresh_life(exponential, PRIOR, NONE, None, STEP_H, 300.0), PRICES, False)
    assert found[int(120 / STEP_H), int(60 / STEP_H)] == pytest.approx(100 * money / hours, rel=1e-3)


def test_a_check_of_any_price_is_priced_without_a_warning() -> None:
    """Costs go with the price: where no hour was run, before the first check, nothing is divided."""
    life = fresh_life(one(), PRIOR, NONE, None, STEP_H, 300.0)
    free, dear_check = (checked_costs(life, PRICES.with_values(check=price), False) for price in (0.0, 1e9))
    assert (np.isnan(free) == np.isnan(dear_check)).all()
    assert np.nanmin(dear_check - free) > 0


def test_a_check_pays_where_noise_comes_long_before_failure_and_does_not_where_it_is_short() -> None:
    long, short = (
        interval_of(one(scale_2=scale, shape_2=2.0), PRIOR, NONE, water(0.005), PRICES, with_check=True).with_check
        for scale in (150.0, 2.0)
    )
    assert long is not None
    assert short is not None
    assert long.saves_per_100_h[0] > 0 > short.saves_per_100_h[0]


@settings(max_examples=6)
@given(WORLDS, RATES)
def test_a_dearer_check_never_saves_more(world: dict[str, float], rate: float) -> None:
    saved = []
    for price in (0.0, 60.0, 600.0):
        prices = PRICES.with_values(check=price)
        found = interval_of(one(**world), PRIOR, NONE, water(rate), prices, with_check=True).with_check
        assert found is not None
        saved.append(found.saves_per_100_h[0])
    assert saved == sorted(saved, reverse=True)


def test_the_cost_over_the_posterior_is_the_mean_of_each_draws_cost() -> None:
    vectors = np.stack([theta(scale_1=150.0), theta(scale_1=600.0)])
    found = interval_of(vectors, PRIOR, NONE, None, PRICES)
    single = [interval_of(vectors[[k]], PRIOR, NONE, None, PRICES).curve.mean for k in (0, 1)]
    np.testing.assert_allclose(found.curve.mean, np.mean(single, axis=0), rtol=1e-12)
    assert (found.curve.low <= found.curve.mean).all()
    assert (found.curve.mean <= found.curve.high).all()


def test_thinning_keeps_draws_of_the_whole_posterior() -> None:
    draws = np.arange(400.0)[:, None]
    few = thinned(draws, DRAWS)
    assert len(few) == DRAWS
    assert few[0] == 0
    assert few[-1] == 399
    assert thinned(draws[:10], DRAWS) is not few
    assert len(thinned(draws[:10], DRAWS)) == 10


@cache
def fleet() -> tuple[TwoStageFit, Histories]:
    _, histories = drawn_fleet(np.random.default_rng(2), PRIOR, 60)
    histories = histories.with_lives(water=np.where(histories.lives["salt_share"] > 0.5, "salt", "fresh"))
    return fit_two_stage(histories), histories


def test_every_kind_of_unit_in_the_fleet_has_its_interval() -> None:
    fit, histories = fleet()
    rows = service_intervals(fit, histories, PRICES)
    assert [row.in_season for row in rows] == [False, True, False, False, False, False]
    assert sum(row.lives for row in rows[2:]) == rows[0].lives == histories.n_lives
    for row in rows:
        mean, low, high = row.cost_per_100_h
        assert low < mean < high
        assert row.cost_per_100_h[0] <= row.cost_never_per_100_h[0]
    assert all(row.with_check is not None for row in rows[:2])


def test_the_fleets_interval_alone_is_the_first_row() -> None:
    fit, histories = fleet()
    rows = service_intervals(fit, histories, PRICES)
    alone = service_interval(fit, histories, PRICES)
    assert alone.rebuild_h == rows[0].rebuild_h
    assert alone.with_check == rows[0].with_check
    assert service_interval(fit, histories, PRICES, with_check=False).with_check is None


def test_a_fleet_without_a_record_gets_the_priors_interval() -> None:
    nothing = histories_of()
    found = service_interval(fit_two_stage(nothing), nothing, PRICES, with_check=False)
    assert found.lives == 0
    assert found.cost_per_100_h[1] < found.cost_per_100_h[2]

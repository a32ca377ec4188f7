"""Age replacement, renewals and inspection intervals: published tables, another library, laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from forecaster.age_replacement import (
    balance,
    best_age,
    cost_rate,
    mean_time_used,
    renewals,
    weibull_best_age,
    weibull_hazard,
    weibull_survival,
)
from forecaster.errors import WrongUsage
from forecaster.inspection import chance_of_failing_first, exponential_delay, loss_rate

SHAPES = (1.5, 2.0, 2.5, 3.0, 4.0)
# Condition of Barlow & Proschan 1965 solved with scipy: best age of a Weibull life of scale 1, by cf / cp and shape.
BEST_AGES = {
    2: (2.1746, 1.0908, 0.8836, 0.8103, 0.7661),
    5: (0.6755, 0.5107, 0.4930, 0.5026, 0.5384),
    10: (0.3781, 0.3365, 0.3546, 0.3825, 0.4391),
}
CASES = [(ratio, shape, age) for ratio, ages in BEST_AGES.items() for shape, age in zip(SHAPES, ages, strict=True)]


@pytest.mark.parametrize(("ratio", "shape", "age"), CASES)
def test_the_best_age_of_a_weibull_life_by_the_published_condition(ratio: float, shape: float, age: float) -> None:
    found = weibull_best_age(shape, 1.0, 1.0, ratio)
    assert found.age == pytest.approx(age, abs=5e-5)


@pytest.mark.parametrize(("ratio", "shape", "age"), CASES)
def test_searching_for_the_least_cost_finds_the_same_age(ratio: float, shape: float, age: float) -> None:
    found = best_age(weibull_survival(shape, 1.0), 1.0, ratio, oldest=8.0)
    assert found.age == pytest.approx(age, abs=6e-5)
    assert found.cost_rate == pytest.approx(weibull_best_age(shape, 1.0, 1.0, ratio).cost_rate, rel=1e-12)


def test_the_worked_weibull_case_to_its_last_digit() -> None:
    """Scale 1000, shape 2.5, costs 1 and 5; recomputed from the condition."""
    found = weibull_best_age(2.5, 1000.0, 1.0, 5.0)
    assert found.age == pytest.approx(493.04696, abs=6e-6)
    assert found.cost_rate == pytest.approx(0.003462042739, abs=6e-13)


def test_another_library_finds_the_same_cost_and_nearly_the_same_age() -> None:
    """`reliability`, replaced as good as new (q=0). It takes the best of 10,000 ages; around it the cost is flat."""
    from reliability.Repairable_systems import optimal_replacement_time  # brings a plotting library: only here

    theirs = optimal_replacement_time(
        cost_PM=1, cost_CM=5, weibull_alpha=1000, weibull_beta=2.5, q=0,
        show_time_plot=False, show_ratio_plot=False, print_results=False,
    )  # fmt: skip
    ours = weibull_best_age(2.5, 1000.0, 1.0, 5.0)
    assert ours.age == pytest.approx(theirs.ORT, abs=0.2)
    assert ours.cost_rate == pytest.approx(theirs.min_cost, abs=1e-7)


def test_the_textbook_part_with_a_normal_life() -> None:
    """Life Normal(5, 1) weeks, costs 5 and 10: a textbook example, from memory; recomputed."""

    def survival(ages: np.ndarray) -> np.ndarray:
        return np.asarray(norm.sf(ages, 5.0, 1.0))

    rates = cost_rate(survival, 5.0, 10.0, np.arange(1.0, 7.0))
    np.testing.assert_allclose(rates, [5.000, 2.504, 1.709, 1.479, 1.630, 1.873], atol=6e-4)
    assert best_age(survival, 5.0, 10.0, oldest=12.0).age == pytest.approx(4.02, abs=5e-3)


@pytest.mark.parametrize("shape", [0.7, 1.0])
def test_without_a_rising_hazard_it_is_never_replaced_before_it_fails(shape: float) -> None:
    found = best_age(weibull_survival(shape, 1.0), 1.0, 5.0, oldest=60.0)
    exact = weibull_best_age(shape, 1.0, 1.0, 5.0)
    assert found.age is None
    assert exact.age is None
    assert found.cost_rate == pytest.approx(exact.cost_rate, rel=1e-3)


def test_where_failing_costs_no_more_than_replacing_it_is_never_replaced() -> None:
    assert best_age(weibull_survival(3.0, 1.0), 5.0, 5.0, oldest=6.0).age is None
    assert weibull_best_age(3.0, 1.0, 5.0, 5.0).age is None


@given(st.floats(1.1, 4.0), st.floats(1.5, 20.0), st.floats(1.0, 3.0))
@settings(max_examples=20)
def test_dearer_failure_never_lengthens_the_best_age(shape: float, ratio: float, dearer: float) -> None:
    before, after = (weibull_best_age(shape, 100.0, 1.0, r).age for r in (ratio, ratio * dearer))
    assert before is not None
    assert after is not None
    assert after <= before * (1 + 1e-12)


@given(st.floats(1.2, 4.0), st.floats(2.0, 20.0), st.floats(0.01, 2.0))
@settings(max_examples=20)
def test_failures_at_random_never_shorten_the_best_age(shape: float, ratio: float, at_random: float) -> None:
    """A constant rate on top of the hazard: replacing an old part does not prevent those, and fewer parts grow old.

    The condition is the integral of (h(T) - h(t)) R(t) dt = cp / (cf - cp): a constant falls out of the bracket and
    makes R smaller.
    """
    aging = weibull_survival(shape, 1.0)

    def survival(ages: np.ndarray) -> np.ndarray:
        return np.asarray(aging(ages) * np.exp(-at_random * ages))

    without = weibull_best_age(shape, 1.0, 1.0, ratio).age
    found = best_age(survival, 1.0, ratio, oldest=10.0).age
    assert without is not None
    assert found is None or found >= without * (1 - 1e-5)


@given(st.floats(0.3, 4.0), st.floats(0.5, 900.0))
@settings(max_examples=20)
def test_hours_in_another_unit_scale_the_age_and_the_cost(shape: float, scale: float) -> None:
    one, other = weibull_best_age(shape, 1.0, 1.0, 4.0), weibull_best_age(shape, scale, 1.0, 4.0)
    assert other.cost_rate * scale == pytest.approx(one.cost_rate, rel=1e-9)
    if one.age is None:
        assert other.age is None
    else:
        assert other.age == pytest.approx(one.age * scale, rel=1e-9)


def test_the_balance_is_the_slope_of_the_cost() -> None:
    survival, hazard = weibull_survival(2.0, 50.0), weibull_hazard(2.0, 50.0)
    at = np.array([30.0])
    slope = np.diff(cost_rate(survival, 1.0, 6.0, np.array([29.999, 30.001])))[0] / 0.002
    expected = survival(at) / mean_time_used(survival, at) ** 2 * (5 * balance(survival, hazard, at) - 1)
    assert slope == pytest.approx(expected[0], rel=1e-6)


def test_the_mean_time_used_of_an_exponential_life_is_its_closed_form() -> None:
    ages = np.array([1.0, 50.0, 400.0])
    expected = 50 * -np.expm1(-ages / 50)
    np.testing.assert_allclose(mean_time_used(weibull_survival(1.0, 50.0), ages), expected, rtol=1e-12)


@pytest.mark.parametrize(("planned", "failure", "age"), [(0.0, 5.0, 1.0), (1.0, float("nan"), 1.0), (1.0, 5.0, 0.0)])
def test_costs_and_ages_that_make_no_sense_are_refused(planned: float, failure: float, age: float) -> None:
    with pytest.raises(WrongUsage, match="above 0"):
        cost_rate(weibull_survival(2.0, 1.0), planned, failure, np.array([age]))


# Smith & Leadbetter 1963, Technometrics 5(3), by series: expected renewals of a Weibull life of scale 1.
RENEWALS = {
    3.0: {0.5: 0.118263, 1.0: 0.672329, 1.5: 1.255235, 2.0: 1.801075, 3.0: 2.924775},
    2.0: {0.5: 0.230794, 1.0: 0.753691, 1.5: 1.329491, 2.0: 1.894039, 3.0: 3.021745},
}


@pytest.mark.parametrize("shape", RENEWALS)
def test_renewals_of_a_weibull_life_are_the_published_ones(shape: float) -> None:
    times, expected = renewals(weibull_survival(shape, 1.0), 3.0, steps=3000)
    for time, published in RENEWALS[shape].items():
        assert np.interp(time, times, expected) == pytest.approx(published, abs=1.5e-6)


def test_renewals_of_an_exponential_life_come_at_a_constant_rate() -> None:
    times, expected = renewals(weibull_survival(1.0, 40.0), 200.0)
    np.testing.assert_allclose(expected, times / 40.0, atol=1e-5)


DELAY = exponential_delay(0.05)


@pytest.mark.parametrize(("interval", "chance", "lost"), [(10, 0.2130613, 0.0441092), (20, 0.3678794, 0.0352766)])
def test_inspections_with_an_exponential_delay(interval: float, chance: float, lost: float) -> None:
    """Christer & Waller 1984 (formula from memory), k .1, delay rate .05, df .5, di .35: recomputed."""
    at = np.array([float(interval)])
    assert chance_of_failing_first(DELAY, at)[0] == pytest.approx(chance, abs=6e-8)
    assert loss_rate(0.1, DELAY, 0.5, 0.35, at)[0] == pytest.approx(lost, abs=6e-8)


def test_the_best_inspection_interval_of_that_case() -> None:
    intervals = np.arange(20.0, 30.0, 0.002)
    lost = loss_rate(0.1, DELAY, 0.5, 0.35, intervals)
    assert lost.min() == pytest.approx(0.0349566, abs=6e-8)
    assert intervals[lost.argmin()] == pytest.approx(24.022, abs=3e-3)


@given(st.floats(1e-3, 2.0), st.floats(0.1, 200.0))
def test_a_defect_fails_first_as_the_closed_form_says(rate: float, interval: float) -> None:
    """Exponential delay: 1 - (1 - exp(-rate T)) / (rate T)."""
    found = chance_of_failing_first(exponential_delay(rate), np.array([interval]))[0]
    assert found == pytest.approx(1 + np.expm1(-rate * interval) / (rate * interval), abs=1e-9)


def test_an_interval_of_nothing_is_refused() -> None:
    with pytest.raises(WrongUsage, match="above 0"):
        chance_of_failing_first(DELAY, np.array([0.0]))

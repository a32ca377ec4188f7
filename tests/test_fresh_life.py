"""A fresh unit on a grid of hours: closed forms of exponential stages, chances that add up, what a check leaves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.fresh_life import FreshLife, fresh_life, fresh_lives, stage_2_steps
from forecaster.priors import read_priors
from forecaster.service_life import AGES, IncidentRate, fresh_curves
from tests.bare_lives import theta

PRIOR = read_priors()
NONE = np.zeros(3)
TO_DEFECTIVE, TO_FAILED, NOTICED = 0.01, 0.05, 0.02  # per hour
EXPONENTIAL = {"shape_1": 1.0, "scale_1": 1 / TO_DEFECTIVE, "shape_2": 1.0, "scale_2": 1 / TO_FAILED}


def life_of(
    step_h: float = 5.0, oldest_h: float = 300.0, rate: IncidentRate | None = None, **values: float
) -> FreshLife:
    return fresh_life(theta(**values)[None, :], PRIOR, NONE, rate, step_h, oldest_h)


def sound(age: np.ndarray) -> np.ndarray:
    """Closed form: P(sound) at age t."""
    return np.asarray(np.exp(-TO_DEFECTIVE * age))


def defective(age: np.ndarray, noticed: float = NOTICED) -> np.ndarray:
    """Closed form: P(defective, neither failed nor noticed) at age t; rates a, b and r of noticing."""
    out = TO_FAILED + noticed
    share = TO_DEFECTIVE / (out - TO_DEFECTIVE)
    return np.asarray(share * (np.exp(-TO_DEFECTIVE * age) - np.exp(-out * age)))


@pytest.mark.parametrize(("step_h", "error"), [(5.0, 2e-3), (1.0, 1e-4)])
def test_exponential_stages_are_the_closed_form_to_the_grids_accuracy(step_h: float, error: float) -> None:
    life = life_of(step_h, **EXPONENTIAL, rate_noticed=NOTICED)
    ages = np.arange(life.n) * step_h
    alive = sound(ages) + defective(ages)
    np.testing.assert_allclose(life.alive[:, 0], alive, atol=error)
    np.testing.assert_allclose(life.alive[:, 0] * life.defective[:, 0], defective(ages), atol=error)


def test_failing_and_being_noticed_share_what_leaves_by_their_rates() -> None:
    life = life_of(1.0, **EXPONENTIAL, rate_noticed=NOTICED)
    share = life.noticed[1:, 0] / (life.noticed[1:, 0] + life.fails[1:, 0])
    np.testing.assert_allclose(share, NOTICED / (NOTICED + TO_FAILED), atol=1e-3)


@pytest.mark.parametrize("check_h", [20.0, 60.0, 150.0])
def test_a_quiet_check_leaves_what_bayes_rule_leaves(check_h: float) -> None:
    """Closed form at the check, weighed by sensitivity .9 and specificity .96, and run on for 40 h."""
    life = life_of(1.0, **EXPONENTIAL, rate_noticed=NOTICED, sensitivity=0.9, specificity=0.96)
    j = int(check_h)
    missed, passed = 0.1 * defective(np.array(check_h)), 0.96 * sound(np.array(check_h))
    assert life.alive[j, j] == pytest.approx(missed + passed, abs=2e-4)
    assert life.defective[j, j] == pytest.approx(missed / (missed + passed), abs=2e-4)
    later = missed * np.exp(-(TO_FAILED + NOTICED) * 40) + passed * defective(np.array(40.0))
    assert life.alive[j + 40, j] * life.defective[j + 40, j] == pytest.approx(later, abs=2e-4)


@pytest.mark.parametrize(("age", "failed_by"), [(10, 0.0205859), (50, 0.2623579), (100, 0.5418352), (300, 0.9377662)])
def test_failures_add_up_to_the_hypoexponential_distribution(age: int, failed_by: float) -> None:
    """Rates .01 and .05 per hour, nobody notices: closed form."""
    life = life_of(1.0, **EXPONENTIAL, rate_noticed=1e-12)
    failed = np.cumsum(life.alive[:, 0] * life.fails[:, 0])
    assert failed[age - 1] == pytest.approx(failed_by, abs=1e-4)


WORLDS = st.fixed_dictionaries(
    {
        "shape_1": st.floats(0.8, 3.0),
        "scale_1": st.floats(60.0, 800.0),
        "shape_2": st.floats(0.8, 2.5),
        "scale_2": st.floats(5.0, 120.0),
        "rate_noticed": st.floats(1e-4, 0.05),
        "lasting": st.floats(1.0, 4.0),
        "sensitivity": st.floats(0.5, 0.99),
        "specificity": st.floats(0.8, 0.99),
    }
)
WATER = st.one_of(
    st.none(), st.builds(IncidentRate, st.floats(0.001, 0.03), st.just({"none": 0.5, "prompt": 0.5}), st.just(9))
)


@settings(max_examples=15)
@given(WORLDS, WATER)
def test_whoever_runs_fails_is_noticed_or_runs_on(world: dict[str, float], rate: IncidentRate | None) -> None:
    life = life_of(rate=rate, **world)
    on = life.alive[:-1] * (1 - life.fails[:-1] - life.noticed[:-1])
    reachable = np.tril(np.ones((life.n - 1, life.n), dtype=bool))
    np.testing.assert_allclose(life.alive[1:][reachable], on[reachable], rtol=1e-9, atol=1e-13)


@settings(max_examples=15)
@given(WORLDS, WATER)
def test_all_chances_lie_between_nothing_and_certainty(world: dict[str, float], rate: IncidentRate | None) -> None:
    life = life_of(rate=rate, **world)
    reachable = np.tril(np.ones((life.n, life.n), dtype=bool))
    for chance in (life.alive, life.defective, life.fails, life.noticed):
        assert np.isnan(chance[~reachable]).all()
        assert (chance[reachable] >= -1e-12).all()
        assert (chance[reachable] <= 1 + 1e-12).all()
    assert life.alive[0, 0] == pytest.approx(1.0)


@settings(max_examples=15)
@given(WORLDS, WATER)
def test_a_quiet_check_never_makes_a_defect_likelier(world: dict[str, float], rate: IncidentRate | None) -> None:
    """As long as it tells defective from sound better than a coin: the checked one of two of an age is better."""
    life = life_of(rate=rate, **world)
    for i in (10, 30, 60):
        assert (life.defective[i, 1 : i + 1] <= life.defective[i, 0] + 1e-12).all()


def test_over_the_posterior_the_chances_are_those_of_the_mixture() -> None:
    both = np.stack([theta(scale_1=100.0), theta(scale_1=400.0)])
    mixed = fresh_life(both, PRIOR, NONE, None)
    one, other = (fresh_life(both[[k]], PRIOR, NONE, None) for k in (0, 1))
    np.testing.assert_allclose(mixed.alive[:, 0], (one.alive[:, 0] + other.alive[:, 0]) / 2, rtol=1e-12)
    failing = (one.alive * one.fails + other.alive * other.fails) / 2
    np.testing.assert_allclose((mixed.alive * mixed.fails)[:, 0], failing[:, 0], rtol=1e-12)


def test_it_agrees_with_the_curves_of_the_service_lives() -> None:
    """Two rooms, one account: failed by each age if nobody notices, with water."""
    rate = IncidentRate(0.008, {"none": 1.0}, 9)
    vector = theta(lasting=1.5, rate_noticed=1e-12)
    _, failed = fresh_curves(vector[None, :], PRIOR, NONE, rate, AGES)
    life = fresh_life(vector[None, :], PRIOR, NONE, rate)
    by_then = np.cumsum(life.alive[:, 0] * life.fails[:, 0])
    np.testing.assert_allclose(by_then[:-1], np.interp(np.arange(1, life.n) * 5.0, AGES, failed[0]), atol=2e-3)


def test_stage_2_leaves_nothing_out() -> None:
    steps = stage_2_steps(theta(shape_2=0.8, rate_noticed=0.02)[None, :], 200, 5.0)
    gone = steps.fails_at_once + steps.noticed_at_once + (steps.fails + steps.noticed).sum(axis=1)
    left = steps.running[:, -1] - (steps.fails + steps.noticed)[:, -1]
    np.testing.assert_allclose(gone + left, 1.0, rtol=1e-12)
    assert steps.running[0, 0] == pytest.approx(1 - steps.fails_at_once[0] - steps.noticed_at_once[0])


def test_lives_by_draw_are_each_that_of_its_draw_alone() -> None:
    rate = IncidentRate(0.008, {"none": 0.5, "prompt": 0.5}, 9)
    draws = np.stack([theta(scale_1=100.0), theta(scale_1=400.0, lasting=2.0), theta(shape_2=0.8)])
    for k, found in enumerate(fresh_lives(draws, PRIOR, NONE, rate)):
        alone = fresh_life(draws[[k]], PRIOR, NONE, rate)
        for name in ("alive", "defective", "fails", "noticed"):
            np.testing.assert_allclose(getattr(found, name), getattr(alone, name), rtol=1e-12)
        assert (found.sensitivity, found.specificity) == (alone.sensitivity, alone.specificity)

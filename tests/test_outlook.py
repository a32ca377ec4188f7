"""Forecasts of running units: against an independent account of the risk, closed forms, and laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from forecaster.errors import WrongUsage
from forecaster.outlook import outlook
from forecaster.priors import read_priors
from forecaster.true_risk import RunningUnit, Wetting
from forecaster.worlds import World
from tests.bare_lives import BareLife, histories_of, theta

PRIOR = read_priors()
SHARES = {"aftermarket": 0.25, "salt": 0.5, "tuned": 0.1}
HOURS = np.array([5.0, 10.0, 25.0, 50.0, 100.0])


def failing(vector: np.ndarray, life: BareLife, hours: np.ndarray = HOURS) -> np.ndarray:
    """Chance of failing within each of `hours`, (h,)."""
    return outlook(histories_of(life), PRIOR, SHARES, vector[None, :], hours).failed[0, 0]


def world_of(**values: float) -> tuple[World, np.ndarray]:
    """The same law as an invented world and as a parameter vector."""
    world = World(**values)  # type: ignore[arg-type]
    vector = theta(
        shape_1=world.beta1,
        scale_1=world.eta1,
        shape_2=world.beta2,
        scale_2=world.eta2,
        jump_untreated=world.kappa_none,
        jump_treated=world.kappa_prompt,
        ratio_aftermarket=world.aftermarket_ratio,
        ratio_salt=world.salt_ratio,
        ratio_tuned=world.tuned_ratio,
        rate_noticed=world.rho,
        lasting=np.exp(world.lasting_log_ratio),
        sensitivity=world.sensitivity,
        specificity=world.specificity,
    )
    return world, vector


@pytest.mark.parametrize("law", [{}, {"eta2": 150.0}, {"lasting_log_ratio": 1.2}, {"beta1": 1.2, "beta2": 0.8}])
@pytest.mark.parametrize("seed", range(6))
def test_the_risk_equals_an_independent_account_on_a_fine_grid(law: dict[str, float], seed: int) -> None:
    rng = np.random.default_rng(seed)
    age = float(rng.uniform(5, 250))
    wet = [(float(rng.uniform(0, age)), str(rng.choice(["prompt", "none"]))) for _ in range(rng.integers(0, 4))]
    looks = [(float(rng.uniform(0, age)), str(rng.choice(["quiet", "rattle"]))) for _ in range(rng.integers(0, 3))]
    world, vector = world_of(**law)
    unit = RunningUnit(
        age,
        tuple(Wetting(at, how) for at, how in sorted(wet)),
        ((0.0, world.hazard_ratio("aftermarket", 1.0)),),
        tuple(at for at, spin in looks if spin == "quiet"),
        tuple(at for at, spin in looks if spin == "rattle"),
    )
    own = failing(vector, BareLife(age, incidents=sorted(wet), checks=sorted(looks), parts="aftermarket", salt=1.0))
    np.testing.assert_allclose(own, unit.chances_of_failing(world, HOURS), atol=3e-4)


def test_the_chance_of_a_defect_now_equals_the_independent_account() -> None:
    world, vector = world_of()
    unit = RunningUnit(120.0, (Wetting(100.0, "none"),), ((0.0, 1.0),), (60.0,))
    life = histories_of(BareLife(120.0, incidents=[(100.0, "none")], checks=[(60.0, "quiet")]))
    now = outlook(life, PRIOR, SHARES, vector[None, :], np.array([0.0]))
    assert now.defective[0, 0, 0] == pytest.approx(unit.chance_defective(world), abs=2e-4)


@pytest.mark.parametrize(("hours", "failed"), [(10, 0.0205859), (50, 0.2623579), (100, 0.5418352), (300, 0.9377662)])
def test_a_fresh_unit_of_exponential_stages_is_hypoexponential(hours: float, failed: float) -> None:
    """Rates .01 and .05 per hour: closed form of two exponential stages."""
    vector = theta(shape_1=1.0, scale_1=100, shape_2=1.0, scale_2=20)
    assert failing(vector, BareLife(0.0), np.array([hours]))[0] == pytest.approx(failed, abs=3e-4)


UNIT = st.builds(
    lambda age, wet, looks: BareLife(
        age, incidents=sorted((age * f, how) for f, how in wet), checks=sorted((age * f, spin) for f, spin in looks)
    ),
    age=st.floats(0, 400),
    wet=st.lists(st.tuples(st.floats(0, 1), st.sampled_from(["prompt", "late", "none", "unknown"])), max_size=3),
    looks=st.lists(st.tuples(st.floats(0, 1), st.sampled_from(["quiet", "rattle"])), max_size=2),
)
DRAW = st.integers(0, 5000).map(
    lambda seed: np.random.default_rng(seed).multivariate_normal(PRIOR.mean, 0.5 * PRIOR.covariance)
)


@settings(max_examples=60, deadline=None)
@given(unit=UNIT, vector=DRAW)
def test_the_risk_rises_with_the_hours_ahead_and_stays_a_chance(unit: BareLife, vector: np.ndarray) -> None:
    risk = failing(vector, unit, np.array([0.0, 1.0, 5.0, 20.0, 80.0, 300.0, 1500.0]))
    assert (np.diff(risk) >= -1e-9).all()
    assert risk[0] == pytest.approx(0.0, abs=1e-12)
    assert risk[-1] <= 1.0


@settings(max_examples=60, deadline=None)
@given(age=st.floats(5, 300), when=st.floats(0.5, 1.0), vector=DRAW)
def test_fresh_water_just_now_never_lowers_the_risk(age: float, when: float, vector: np.ndarray) -> None:
    """An untreated incident in the last hours before now raises the chance of failing ahead.

    Long ago it need not: a unit that outlived the water's rust by hundreds of hours shows that it got none.
    """
    assume(vector[10] >= 0)  # a lasting effect that lowers the hazard is not what the law is about
    at = age - min(2.0, age * (1 - when))
    dry = failing(vector, BareLife(age))
    wet = failing(vector, BareLife(age, incidents=[(at, "none")]))
    assert (wet >= dry - 2e-3).all()


@settings(max_examples=60, deadline=None)
@given(age=st.floats(0, 300), vector=DRAW)
def test_untreated_is_never_better_than_treated_where_its_jump_is_greater(age: float, vector: np.ndarray) -> None:
    assume(vector[4] > vector[5] and vector[10] >= 0)
    none = failing(vector, BareLife(age, incidents=[(age, "none")]))
    prompt = failing(vector, BareLife(age, incidents=[(age, "prompt")]))
    assert (none >= prompt - 1e-9).all()


@settings(max_examples=60, deadline=None)
@given(hours=st.floats(1, 300), vector=DRAW)
def test_worse_parts_never_lower_a_fresh_units_risk(hours: float, vector: np.ndarray) -> None:
    assume(vector[6] > 0)
    ahead = np.array([hours])
    worse = failing(vector, BareLife(0.0, parts="aftermarket"), ahead)
    assert worse[0] >= failing(vector, BareLife(0.0), ahead)[0] - 1e-12


@settings(max_examples=40, deadline=None)
@given(unit=UNIT, vector=DRAW)
def test_a_quiet_check_now_never_raises_the_risk(unit: BareLife, vector: np.ndarray) -> None:
    assume(unit.hours > 1 and vector[11] > 0 and vector[12] > 0)  # a check better than a coin
    looked = BareLife(unit.hours, incidents=unit.incidents, checks=[*unit.checks, (unit.hours, "quiet")])
    assert (failing(vector, looked) <= failing(vector, unit) + 1e-9).all()


def test_units_of_unknown_age_are_averaged_by_how_well_each_age_fits() -> None:
    """A unit that ran 300 h quietly is less likely to have started old."""
    vector = theta(shape_1=3.0, scale_1=300.0)
    unit = histories_of(BareLife(300.0)).with_lives(hours_at_entry=np.nan)
    ages = PRIOR.starting_ages_h
    each = [failing(vector, BareLife(300.0 + e, entry=e))[3] for e in ages]
    mean = outlook(unit, PRIOR, SHARES, vector[None, :], HOURS).failed[0, 0, 3]
    assert each[0] < mean < np.mean(each)


def test_each_unit_may_have_hours_of_its_own() -> None:
    both = histories_of(BareLife(50.0), BareLife(150.0))
    own = outlook(both, PRIOR, SHARES, theta()[None, :], np.array([[10.0, 20.0], [30.0, 60.0]])).failed[0]
    assert own[0] == pytest.approx(failing(theta(), BareLife(50.0), np.array([10.0, 20.0])))
    assert own[1] == pytest.approx(failing(theta(), BareLife(150.0), np.array([30.0, 60.0])))


@pytest.mark.parametrize("hours", [[-1.0], [np.nan], [np.inf]])
def test_impossible_hours_are_refused(hours: list[float]) -> None:
    with pytest.raises(WrongUsage, match="at least 0"):
        failing(theta(), BareLife(50.0), np.array(hours))


def test_no_units_give_an_empty_answer() -> None:
    none = histories_of(BareLife(1.0)).select(np.array([False]))
    assert outlook(none, PRIOR, SHARES, theta()[None, :], HOURS).failed.shape == (1, 0, 5)

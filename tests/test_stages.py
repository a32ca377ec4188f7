"""The two-stage likelihood: closed forms, brute force, laws, gradient, and numbers at the edge."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from forecaster.counted_looks import SAME_HOURS
from forecaster.lives import SEEN, TREATMENTS
from forecaster.pieces import cut
from forecaster.priors import PARAMETERS, read_priors
from forecaster.stages import TwoStageLikelihood
from tests.bare_lives import BareLife, histories_of, theta

PRIOR = read_priors()
SHARES = {"aftermarket": 0.25, "salt": 0.5, "tuned": 0.1}


def log_likelihood(vector: np.ndarray, *lives: BareLife, nodes: int = 20) -> np.ndarray:
    """Log likelihood of each life, (n,)."""
    return TwoStageLikelihood(cut(histories_of(*lives), PRIOR, SHARES), nodes).by_life(vector)[0]


def likelihood(vector: np.ndarray, life: BareLife, nodes: int = 20) -> float:
    return float(np.exp(log_likelihood(vector, life, nodes=nodes)[0]))


# Two exponential stages, rates a to defective, b to failed, noticed at rate r: algebra in each docstring.
A, B, R = 0.01, 0.05, 0.004
EXPONENTIAL = theta(shape_1=1.0, scale_1=1 / A, shape_2=1.0, scale_2=1 / B, rate_noticed=R)
HOURS = [0.5, 10.0, 50.0, 100.0, 300.0]


@pytest.mark.parametrize("age", HOURS)
def test_a_sound_opening_has_the_closed_form_of_exponential_stages(age: float) -> None:
    assert likelihood(EXPONENTIAL, BareLife(age, "sound")) == pytest.approx(np.exp(-A * age), abs=1e-8)


@pytest.mark.parametrize("age", HOURS)
def test_a_defective_opening_has_the_closed_form_of_exponential_stages(age: float) -> None:
    """P(defective, unnoticed) = a / (b + r - a) (exp(-a t) - exp(-(b + r) t))."""
    expected = A / (B + R - A) * (np.exp(-A * age) - np.exp(-(B + R) * age))
    assert likelihood(EXPONENTIAL, BareLife(age, "defective")) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("age", HOURS)
def test_a_symptom_opening_is_a_defective_one_times_the_rate_of_noticing(age: float) -> None:
    defective = likelihood(EXPONENTIAL, BareLife(age, "defective"))
    assert likelihood(EXPONENTIAL, BareLife(age, "symptom")) == pytest.approx(R * defective, rel=1e-12)


@pytest.mark.parametrize("age", HOURS)
def test_a_failure_has_the_density_of_exponential_stages(age: float) -> None:
    """Failing is leaving the defective state at rate b."""
    expected = B * A / (B + R - A) * (np.exp(-A * age) - np.exp(-(B + R) * age))
    assert likelihood(EXPONENTIAL, BareLife(age, "failed")) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize(("age", "failed_by"), [(10, 0.0205859), (50, 0.2623579), (100, 0.5418352), (300, 0.9377662)])
def test_running_is_one_minus_the_hypoexponential_distribution(age: float, failed_by: float) -> None:
    """Hypoexponential with rates .01 and .05 per hour, closed form; nobody notices anything."""
    unnoticed = theta(shape_1=1.0, scale_1=100, shape_2=1.0, scale_2=20, rate_noticed=1e-30)
    assert likelihood(unnoticed, BareLife(age, "alive")) == pytest.approx(1 - failed_by, abs=1e-7)


def brute_force(vector: np.ndarray, life: BareLife) -> float:
    """The likelihood of a life without checks by adaptive quadrature, straight from the model's definition."""
    v = dict(zip(PARAMETERS, vector, strict=True))
    shape_1, scale_1 = np.exp(v["log_shape_1"]), np.exp(v["log_scale_1_h"])
    shape_2, scale_2 = np.exp(v["log_shape_2"]), np.exp(v["log_scale_2_h"])
    rate = np.exp(v["log_rate_noticed_per_h"])
    jump = {"none": np.exp(v["log_jump_untreated"]), "prompt": np.exp(v["log_jump_treated"])}
    first_untreated = min((age for age, how in life.incidents if how == "none"), default=np.inf)

    def clock(age: float) -> float:
        return (age / scale_1) ** shape_1

    def hazard(u: float) -> float:
        early, late = min(u, first_untreated), max(u, first_untreated)
        raised = np.exp(v["lasting_log_ratio"]) * (clock(late) - clock(first_untreated)) if u > first_untreated else 0
        return clock(early) + raised + sum(jump[how] for age, how in life.incidents if age <= u)

    def density(u: float) -> float:
        slope = shape_1 / scale_1 * (u / scale_1) ** (shape_1 - 1)
        return slope * np.exp(v["lasting_log_ratio"] if u > first_untreated else 0.0) * np.exp(-hazard(u))

    def ends(delay: float) -> float:
        surviving = np.exp(-((delay / scale_2) ** shape_2) - rate * delay)
        if life.seen == "failed":
            return surviving * shape_2 / scale_2 * (delay / scale_2) ** (shape_2 - 1)
        return surviving * (rate if life.seen == "symptom" else 1.0)

    ages = sorted({0.0, life.hours, *(age for age, _ in life.incidents)})
    total = sum(
        quad(lambda u: density(u) * ends(life.hours - u), low, high, epsabs=1e-13, epsrel=1e-11)[0]
        for low, high in itertools.pairwise(ages)
    )
    for age, how in life.incidents:
        before = hazard(age) - jump[how]
        total += np.exp(-before) * -np.expm1(-jump[how]) * ends(life.hours - age)
    return total + (np.exp(-hazard(life.hours)) if life.seen == "alive" else 0.0)


@pytest.mark.parametrize("seen", ["failed", "defective", "symptom", "alive"])
def test_incidents_and_a_lasting_rise_agree_with_adaptive_quadrature(seen: str) -> None:
    life = BareLife(170.0, seen, incidents=[(40.0, "prompt"), (90.0, "none"), (150.0, "prompt")])
    vector = theta(shape_1=2.2, scale_1=300, lasting=1.9)
    assert likelihood(vector, life) == pytest.approx(brute_force(vector, life), rel=1e-8)


def test_six_nodes_keep_a_life_within_a_hundred_thousandth_at_the_priors() -> None:
    """The quadrature error that the default rule is said to have."""
    lives = [BareLife(h, s, incidents=[(h / 3, "none")]) for h in (5, 40, 150, 400) for s in SEEN]
    coarse = log_likelihood(PRIOR.mean, *lives, nodes=6)
    fine = log_likelihood(PRIOR.mean, *lives, nodes=40)
    assert np.abs(coarse - fine).max() < 1e-5


def test_six_nodes_hold_for_nearly_all_that_the_prior_allows() -> None:
    lives = [BareLife(h, s, incidents=[(h / 3, "none")]) for h in (5, 40, 150, 400) for s in SEEN]
    draws = np.random.default_rng(1).multivariate_normal(PRIOR.mean, PRIOR.covariance, 200)
    copies = cut(histories_of(*lives), PRIOR, SHARES)
    error = np.abs(TwoStageLikelihood(copies, 6).by_life(draws) - TwoStageLikelihood(copies, 40).by_life(draws))
    assert np.quantile(error, 0.99) < 2e-3


def test_densities_and_states_add_up_to_one_with_incidents() -> None:
    """Failed so far + noticed so far + defective + sound = 1, but for delays held at a tenth of an hour."""
    vector = theta(jump_untreated=0.7, lasting=1.5)
    wet = [(30.0, "none"), (80.0, "prompt")]
    end = 140.0
    ages = [0.0, 30.0, 80.0, end]

    def ended(seen: str) -> float:
        total = 0.0
        for low, high in itertools.pairwise(ages):
            # Just after an incident the density goes as delay^(shape-1): put the nodes close there.
            place, weight = np.polynomial.legendre.leggauss(60)
            s = (place + 1) / 2
            at = low + (high - low) * s**3
            lives = [BareLife(age, seen, incidents=[x for x in wet if x[0] <= age]) for age in at]
            density = np.exp(log_likelihood(vector, *lives, nodes=12))
            total += float((density * 3 * s**2 * weight / 2 * (high - low)).sum())
        return total

    running = likelihood(vector, BareLife(end, "alive", incidents=wet))
    assert ended("failed") + ended("symptom") + running == pytest.approx(1.0, abs=1e-4)


def test_a_failure_found_when_opened_is_the_density_integrated_since_it_last_ran() -> None:
    vector = theta()
    life = BareLife(160.0, "found_failed", last_known_running=120.0)
    expected = quad(lambda age: likelihood(vector, BareLife(age, "failed"), nodes=10), 120.0, 160.0)[0]
    assert likelihood(vector, life) == pytest.approx(expected, rel=1e-6)


def test_a_life_that_joined_part_worn_is_divided_by_its_chance_of_running_then() -> None:
    vector = theta()
    whole = likelihood(vector, BareLife(150.0, "failed"))
    running = likelihood(vector, BareLife(60.0, "alive"))
    assert likelihood(vector, BareLife(150.0, "failed", entry=60.0)) == pytest.approx(whole / running, rel=1e-9)


def test_an_unknown_starting_age_is_the_mean_over_the_stated_ages() -> None:
    vector = theta()
    life = histories_of(BareLife(50.0, "failed")).with_lives(hours_at_entry=np.nan)
    expected = np.mean([likelihood(vector, BareLife(e + 50.0, "failed", entry=e)) for e in PRIOR.starting_ages_h])
    value = TwoStageLikelihood(cut(life, PRIOR, SHARES), 20).by_life(vector)[0, 0]
    assert np.exp(value) == pytest.approx(expected, rel=1e-9)


def test_a_quiet_check_weighs_both_states_by_hand() -> None:
    """Exponential stages, running at 100 h, quiet at 60 h: sound there, or defective there and missed."""
    sens, spec, c, t = 0.9, 0.96, 60.0, 100.0
    sound_then = np.exp(-A * c)
    defective_then = A / (B + R - A) * (np.exp(-A * c) - np.exp(-(B + R) * c))
    rest = t - c
    turned_later = A / (B + R - A) * (np.exp(-A * rest) - np.exp(-(B + R) * rest))
    expected = spec * sound_then * (np.exp(-A * rest) + turned_later)
    expected += (1 - sens) * defective_then * np.exp(-(B + R) * rest)
    assert likelihood(EXPONENTIAL, BareLife(t, "alive", checks=[(c, "quiet")])) == pytest.approx(expected, abs=1e-9)


def test_a_rattle_weighs_both_states_by_hand() -> None:
    sens, spec, c = 0.9, 0.96, 60.0
    defective = A / (B + R - A) * (np.exp(-A * c) - np.exp(-(B + R) * c))
    expected = sens * defective + (1 - spec) * np.exp(-A * c)
    assert likelihood(EXPONENTIAL, BareLife(c, "alive", checks=[(c, "rattle")])) == pytest.approx(expected, abs=1e-9)


def test_opened_and_closed_sound_leaves_no_earlier_defect() -> None:
    """Sound at 60 h for certain, failed at 100 h: turned and failed within the last 40 h."""
    rest = 40.0
    expected = np.exp(-A * 60) * B * A / (B + R - A) * (np.exp(-A * rest) - np.exp(-(B + R) * rest))
    life = BareLife(100.0, "failed", checks=[(60.0, "sound")])
    assert likelihood(EXPONENTIAL, life) == pytest.approx(expected, abs=1e-9)


def test_opened_and_closed_defective_rules_out_sound() -> None:
    defective = A / (B + R - A) * (np.exp(-A * 60) - np.exp(-(B + R) * 60))
    life = BareLife(100.0, "alive", checks=[(60.0, "defective")])
    assert likelihood(EXPONENTIAL, life) == pytest.approx(defective * np.exp(-(B + R) * 40), abs=1e-9)


def test_a_laboratory_value_scales_the_jump_by_cantley() -> None:
    """Cantley 1977: 75 % less water (400 to 100 ppm) is a 2.3-fold life, so the jump at 400 ppm is 2.297 times."""
    scale = PRIOR.jump_scale(np.array([25.0, 100.0, 400.0, np.nan]))
    np.testing.assert_allclose(1 / scale, [2.297, 1.0, 0.435, 1.0], atol=5e-4)


def test_no_water_content_beyond_what_was_tested_is_extrapolated() -> None:
    beyond, end = PRIOR.jump_scale(np.array([5000.0, 400.0]))
    assert beyond == end


RANDOM_LIFE = st.builds(
    lambda hours, seen, entry, incidents, checks, parts, salt: BareLife(
        hours,
        seen,
        entry * hours,
        [(entry * hours + (1 - entry) * hours * f, how) for f, how in incidents],
        [(entry * hours + (1 - entry) * hours * f, spin) for f, spin in checks],
        parts,
        salt,
    ),
    hours=st.floats(1, 600),
    seen=st.sampled_from(SEEN),
    entry=st.sampled_from([0.0, 0.0, 0.3]),
    incidents=st.lists(st.tuples(st.floats(0, 1), st.sampled_from(TREATMENTS)), max_size=4),
    checks=st.lists(
        st.tuples(st.floats(0, 0.99), st.sampled_from(["quiet", "slight", "rattle", "not_done"])), max_size=3
    ),
    parts=st.sampled_from(["oem", "aftermarket", "unknown"]),
    salt=st.sampled_from([0.0, 0.5, 1.0]),
)


@settings(max_examples=60, deadline=None)
@given(lives=st.lists(RANDOM_LIFE, min_size=1, max_size=4), seed=st.integers(0, 10_000))
def test_the_gradient_is_that_of_the_value(lives: list[BareLife], seed: int) -> None:
    vector = np.random.default_rng(seed).multivariate_normal(PRIOR.mean, 0.5 * PRIOR.covariance)
    model = TwoStageLikelihood(cut(histories_of(*lives), PRIOR, SHARES))
    value, slope = model.gradient(vector)
    np.testing.assert_allclose(value, model.by_life(vector)[0], rtol=1e-12)
    step = 1e-5 * np.eye(len(vector))
    measured = (model.by_life(vector + step) - model.by_life(vector - step)).T / 2e-5
    np.testing.assert_allclose(slope, measured, rtol=1e-5, atol=1e-5)


@settings(max_examples=40, deadline=None)
@given(lives=st.lists(RANDOM_LIFE, min_size=2, max_size=5), seed=st.randoms(use_true_random=False))
def test_the_order_of_lives_changes_nothing(lives: list[BareLife], seed) -> None:  # type: ignore[no-untyped-def]
    order = list(range(len(lives)))
    seed.shuffle(order)
    one = log_likelihood(PRIOR.mean, *lives, nodes=6)
    other = log_likelihood(PRIOR.mean, *[lives[i] for i in order], nodes=6)
    np.testing.assert_allclose(other, one[order], rtol=1e-10, atol=1e-10)


@settings(max_examples=40, deadline=None)
@given(life=RANDOM_LIFE, factor=st.floats(0.02, 50))
def test_another_unit_of_time_only_rescales(life: BareLife, factor: float) -> None:
    """Hours, scales and the rate in other units: densities change by the unit, chances not at all."""
    shortest = min(life.hours, *(life.hours - age for age, _ in life.incidents), life.hours)
    assume(shortest > 1 and shortest * factor > 1)  # delays are held at a tenth of an hour in any unit
    between = np.diff(sorted(age for age, _ in life.checks))
    assume((between * min(factor, 1.0) > 2 * SAME_HOURS).all())  # spins at the same hours are one look in any unit
    other = BareLife(
        life.hours * factor,
        life.seen,
        life.entry * factor,
        [(a * factor, how) for a, how in life.incidents],
        [(a * factor, spin) for a, spin in life.checks],
        life.parts,
        life.salt,
    )
    base = theta()
    scaled = theta(scale_1=400 * factor, scale_2=40 * factor, rate_noticed=0.003 / factor)
    one, two = log_likelihood(base, life, nodes=30)[0], log_likelihood(scaled, other, nodes=30)[0]
    is_density = life.seen in ("failed", "symptom")
    assert two == pytest.approx(one - np.log(factor) * is_density, abs=1e-3)


@pytest.mark.parametrize("hours", [0.0, 1e-3, 1.0, 1e5])
@pytest.mark.parametrize("seen", SEEN)
def test_extreme_hours_give_finite_numbers(hours: float, seen: str) -> None:
    wet = [(hours * i / 30, "none") for i in range(30)]
    model = TwoStageLikelihood(cut(histories_of(BareLife(hours, seen, incidents=wet)), PRIOR, SHARES))
    value, slope = model.gradient(PRIOR.mean)
    assert np.isfinite(value).all()
    assert np.isfinite(slope).all()


def test_an_incident_and_an_earlier_check_at_the_same_hours_keep_their_order() -> None:
    """Spun quiet in spring at 100 h, swamped before it ran again: the check says nothing about that water."""
    life = histories_of(BareLife(100.0, "alive", incidents=[(100.0, "none")], checks=[(100.0, "quiet")]))
    before = life.checks.assign(checked_on=life.incidents["happened_on"].iloc[0].replace(month=4))
    after = life.checks.assign(checked_on=life.incidents["happened_on"].iloc[0].replace(month=9))
    from dataclasses import replace

    def value(checks) -> float:  # type: ignore[no-untyped-def]
        return float(TwoStageLikelihood(cut(replace(life, checks=checks), PRIOR, SHARES)).by_life(theta())[0, 0])

    assert value(before) > value(after)


def wet_and_spun(spin: str, days_after: int) -> np.ndarray:
    """Log likelihood of a life that got wet at 30 h, was spun at 30 h some days after, and runs on to 80 h."""
    lives = histories_of(BareLife(80.0, incidents=[(30.0, "none")], checks=[(30.0, spin)]))
    wet_on = lives.incidents["happened_on"].iloc[0]
    dated = replace(lives, checks=lives.checks.assign(checked_on=wet_on + pd.Timedelta(days=days_after)))
    return TwoStageLikelihood(cut(dated, PRIOR, SHARES), 20).by_life(EXPONENTIAL)[0]


def test_a_quiet_spin_within_two_days_of_water_counts_as_made_just_before_it() -> None:
    just_before = wet_and_spun("quiet", -1)
    for days in (0, 1, 2):
        assert wet_and_spun("quiet", days) == pytest.approx(just_before)
        assert wet_and_spun("slight", days) == pytest.approx(just_before)
    assert wet_and_spun("quiet", 3) != pytest.approx(just_before)


def test_a_rattle_counts_whenever_it_is_heard() -> None:
    assert wet_and_spun("rattle", 1) == pytest.approx(wet_and_spun("rattle", 30))

"""B10 and B50 of fresh units: closed forms, published ball bearings, incidents at a rate, laws."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from forecaster.learning import fit_two_stage
from forecaster.priors import read_priors
from forecaster.service_life import (
    AGES,
    IncidentRate,
    chance_sound,
    chances_sound,
    fresh_curves,
    incident_rate,
    service_lives,
)
from tests.bare_lives import BareLife, histories_of, theta
from tests.calibration import drawn_fleet

PRIOR = read_priors()
DRY = np.zeros(3)


def curves(
    vector: np.ndarray, rate: IncidentRate | None = None, ages: np.ndarray = AGES
) -> tuple[np.ndarray, np.ndarray]:
    sound, failed = fresh_curves(vector[None, :], PRIOR, DRY, rate, ages)
    return sound[0], failed[0]


def test_the_b_lives_of_ball_bearings_are_the_published_ones() -> None:
    """Lieblein & Zelen 1956: Weibull shape 2.1018, scale 81.875: B10 28.07, B50 68.77 (10^6 revolutions).

    Ages stand 5 h apart and are joined by straight lines.
    """
    sound, _ = curves(theta(shape_1=2.1018, scale_1=81.875))
    assert np.interp(0.1, 1 - sound, AGES) == pytest.approx(28.07, abs=0.15)
    assert np.interp(0.5, 1 - sound, AGES) == pytest.approx(68.77, abs=0.15)


@pytest.mark.parametrize(("age", "failed_by"), [(10, 0.0205859), (50, 0.2623579), (100, 0.5418352), (300, 0.9377662)])
def test_exponential_stages_fail_as_the_hypoexponential_distribution(age: float, failed_by: float) -> None:
    """Closed form of rates .01 and .05 per hour; the steps of the ages cost a thousandth."""
    _, failed = curves(theta(shape_1=1.0, scale_1=100, shape_2=1.0, scale_2=20))
    assert np.interp(age, AGES, failed) == pytest.approx(failed_by, abs=2e-3)


def test_incidents_that_start_rust_add_their_thinned_rate_to_the_hazard() -> None:
    """A Poisson process of 1 in 100 h, each starting rust with chance 1 - exp(-.6): closed form."""
    rate = IncidentRate(0.01, {"none": 1.0}, 10)
    sound, _ = curves(theta(shape_1=1.0, scale_1=500.0, lasting=1.0), rate)
    expected = np.exp(-(1 / 500 + 0.01 * -np.expm1(-0.6)) * AGES)
    np.testing.assert_allclose(sound[AGES < 400], expected[AGES < 400], atol=2e-4)


def test_a_lasting_rise_agrees_with_fates_played_out() -> None:
    rng = np.random.default_rng(1)
    vector = theta(shape_1=1.8, scale_1=300.0, jump_untreated=0.3, jump_treated=0.1, lasting=3.0)
    rate = IncidentRate(1 / 80, {"none": 0.5, "prompt": 0.5}, 10)
    onsets = np.array([_onset(rng) for _ in range(6000)])
    sound, _ = curves(vector, rate)
    for age in (50.0, 100.0, 200.0):
        played = (onsets > age).mean()
        assert np.interp(age, AGES, sound) == pytest.approx(played, abs=3.3 * np.sqrt(0.25 / 6000))


def _onset(rng: np.random.Generator) -> float:
    """Age at which a bearing of the test above becomes defective, by playing its water out."""
    left, age, raised = rng.exponential(), 0.0, 1.0
    while True:
        at = age + rng.exponential(80.0)
        there = 300.0 * ((age / 300) ** 1.8 + left / raised) ** (1 / 1.8)
        if there < at:
            return there
        left -= raised * ((at / 300) ** 1.8 - (age / 300) ** 1.8)
        age, untreated = at, rng.random() < 0.5
        if rng.random() < -np.expm1(-(0.3 if untreated else 0.1)):
            return at
        raised = 3.0 if untreated else raised


def test_more_water_never_lengthens_a_life() -> None:
    mix = {"none": 0.6, "prompt": 0.4}
    sounds = [curves(theta(lasting=1.5), IncidentRate(r, mix, 5))[0] for r in (0.0, 0.005, 0.01, 0.05)]
    for drier, wetter in itertools.pairwise(sounds):
        assert (wetter <= drier + 1e-9).all()


def test_failing_comes_after_becoming_defective() -> None:
    sound, failed = curves(theta(), IncidentRate(0.01, {"unknown": 1.0}, 5))
    assert (failed <= 1 - sound + 1e-12).all()
    assert (np.diff(failed) >= -1e-12).all()


def test_the_rate_of_incidents_is_drawn_towards_the_usual_one_where_little_is_recorded() -> None:
    wet = histories_of(*(BareLife(100.0, incidents=[(50.0, "none")]) for _ in range(50)))
    assert incident_rate(wet).per_hour == pytest.approx(51 / 5200)
    assert incident_rate(histories_of(BareLife(1.0))).per_hour == pytest.approx(1 / 201)


def test_every_kind_of_unit_in_the_fleet_has_its_service_life_with_an_interval() -> None:
    _, histories = drawn_fleet(np.random.default_rng(2), PRIOR, 60)
    histories = histories.with_lives(water=np.where(histories.lives["salt_share"] > 0.5, "salt", "fresh"))
    rows = service_lives(fit_two_stage(histories), histories)
    assert len(rows) == 2 + 4
    for row in rows:
        for level in ("B10", "B50"):
            mid, low, high = row.failed[level]
            assert low < mid < high
            assert row.defective[level][0] < mid


@pytest.mark.parametrize("rate", [None, IncidentRate(0.01, {"none": 0.4, "prompt": 0.6}, 9)])
def test_many_bearings_are_sound_as_each_is_alone(rate: IncidentRate | None) -> None:
    """Of all kinds: fresh and worn, raised hazards and not, and one that stands still from some age on."""
    draws = np.stack([theta(scale_1=100.0, lasting=2.0), theta(scale_1=400.0)])
    x, raised = np.array([[0.0, 1.0, 0.0], [1.0, 0.2, 0.5], [0.3, 0.0, 1.0]]), np.array([0.0, 1.0, 0.6])
    ages = np.array([[0.0, 5, 30, 90], [12.0, 20, 50, 51], [80.0, 95, 95, 95]])
    found = chances_sound(draws, read_priors(), x, rate, ages, raised)
    for i in range(3):
        alone = chance_sound(draws, read_priors(), x[i], rate, ages[i], float(raised[i]))
        np.testing.assert_allclose(found[:, i], alone, rtol=1e-12)
    np.testing.assert_allclose(found[:, :, 0], 1.0)
    assert (found[:, 2, 1] == found[:, 2, 3]).all()

"""The rivals: rules of thumb whose every forecast can be worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import WrongUsage
from forecaster.lives import Histories, lives_by_hours
from forecaster.simple_rules import fit_every_n_hours, fit_fleet_average


def running(ages: list[float], entry: float | np.ndarray = 0.0) -> Histories:
    return lives_by_hours(np.array(ages, dtype=float), ["alive"] * len(ages), entry)


def chance(model: object, ages: list[float], hours: float) -> list[float]:
    return model.chance_of_failing(running(ages), np.array([hours]))[0, :, 0].tolist()  # type: ignore[attr-defined]


def wearing_out(limit: float = 100.0) -> Histories:
    """Eighty lives: none fails before the limit, half of those that pass it fail within the next 20 h."""
    before = np.linspace(20.0, limit, 40)
    after = np.linspace(limit + 1.0, limit + 20.0, 40)
    seen = ["alive"] * 40 + ["failed", "alive"] * 20
    return lives_by_hours(np.concatenate([before, after]), seen)


def test_fleets_average_rate_by_hand() -> None:
    # 2 failures in 600 h, and 1 in 400 h of general experience: 3 in 1,000 h.
    fleet = lives_by_hours(np.array([100.0, 200.0, 300.0]), ["failed", "alive", "found_failed"])
    model = fit_fleet_average(fleet)
    assert model.rate_anywhere == pytest.approx(0.003)
    assert chance(model, [0.0, 500.0], 50.0) == pytest.approx([1 - np.exp(-0.15)] * 2)
    assert (model.evidence.lives, model.evidence.failures, model.evidence.mostly_prior) == (3, 2, True)


def test_no_failure_is_never_called_impossible() -> None:
    assert chance(fit_fleet_average(running([10_000.0])), [10.0], 50.0)[0] > 0


def test_no_lives_give_general_experience() -> None:
    model = fit_fleet_average(running([]))
    assert model.rate_anywhere == pytest.approx(1 / 400)


def test_average_counts_only_hours_in_the_record() -> None:
    # A life that joined at 90 h and failed at 100 h was watched for 10 h.
    fleet = lives_by_hours(np.array([100.0]), ["failed"], 90.0)
    assert fit_fleet_average(fleet).rate_anywhere == pytest.approx(2 / 410)


def test_the_limit_is_found_where_failures_set_in() -> None:
    model = fit_every_n_hours(wearing_out())
    assert model.limit_hours == 100.0
    # Before: 0 failures in 40 · 60 + 40 · 100 h; after: 20 in 420 h; each side drawn towards the average as by one
    # failure. The average is (20 + 1) / (6,820 + 400).
    average = 21 / 7220
    assert model.rate_before == pytest.approx(1 / (6400 + 1 / average))
    assert model.rate_after == pytest.approx(21 / (420 + 1 / average))
    assert "after 100 h" in model.evidence.remarks[0]


def test_chance_jumps_at_the_limit() -> None:
    model = fit_every_n_hours(wearing_out())
    across = -np.expm1(-(20 * model.rate_before + 30 * model.rate_after))
    expected = [-np.expm1(-50 * model.rate_before), across, -np.expm1(-50 * model.rate_after)]
    assert chance(model, [0.0, 80.0, 100.0], 50.0) == pytest.approx(expected)


def test_failures_at_all_ages_alike_tell_no_limit() -> None:
    rng = np.random.default_rng(2)
    fails, ends = rng.exponential(200.0, 200), rng.uniform(50.0, 200.0, 200)
    fleet = lives_by_hours(np.minimum(fails, ends), np.where(fails < ends, "failed", "alive"))
    model = fit_every_n_hours(fleet)
    assert model.limit_hours is None
    assert model.rate_before == model.rate_after == fit_fleet_average(fleet).rate_anywhere
    assert "No number of hours" in model.evidence.remarks[0]


def test_early_failures_tell_no_limit() -> None:
    # A rate that falls is no reason to open units past N hours.
    fleet = lives_by_hours(np.array([5.0] * 20 + [200.0] * 40), ["failed"] * 20 + ["alive"] * 40)
    assert fit_every_n_hours(fleet).limit_hours is None


def test_unknown_age_gets_the_average() -> None:
    model = fit_every_n_hours(wearing_out())
    unknown = running([30.0]).with_lives(hours_at_entry=np.nan)
    given_ = model.chance_of_failing(unknown, np.array([50.0]))[0, 0, 0]
    assert given_ == pytest.approx(-np.expm1(-50 * model.rate_anywhere))


def test_lives_of_unknown_age_tell_no_limit_but_count_in_the_average() -> None:
    fleet = wearing_out().with_lives(hours_at_entry=np.nan)
    assert fit_every_n_hours(fleet).limit_hours is None
    assert fit_fleet_average(fleet) == fit_fleet_average(wearing_out())


@given(st.floats(1.0, 19.0))
def test_a_life_cut_in_two_teaches_the_same(cut: float) -> None:
    whole = wearing_out()
    ages = whole.age.to_numpy()
    halves = lives_by_hours(
        np.concatenate([np.full(len(ages), cut), ages]),
        ["alive"] * len(ages) + whole.lives["seen"].tolist(),
        np.concatenate([np.zeros(len(ages)), np.full(len(ages), cut)]),
    )
    one, two = fit_every_n_hours(whole), fit_every_n_hours(halves)
    assert (two.limit_hours, two.rate_before, two.rate_after) == pytest.approx(
        (one.limit_hours, one.rate_before, one.rate_after)
    )


@given(st.floats(0.0, 300.0), st.floats(0.0, 100.0), st.floats(0.0, 100.0))
def test_running_on_from_a_later_age_is_the_rest_of_the_same_road(age: float, first: float, then: float) -> None:
    model = fit_every_n_hours(wearing_out())
    survive = [1 - chance(model, [a], h)[0] for a, h in ((age, first), (age + first, then), (age, first + then))]
    assert survive[0] * survive[1] == pytest.approx(survive[2])


def test_answers_have_the_shape_of_every_life_model() -> None:
    model = fit_fleet_average(wearing_out())
    units = running([10.0, 20.0, 30.0])
    assert model.chance_of_failing(units, np.array([10.0, 50.0])).shape == (1, 3, 2)
    assert model.chance_of_failing(units, np.array([[10.0], [20.0], [30.0]])).shape == (1, 3, 1)
    assert model.chance_of_defect(units, np.array([0.0])) is None


def test_hours_ahead_that_make_no_sense_are_refused() -> None:
    model = fit_fleet_average(wearing_out())
    for hours in (-1.0, np.nan):
        with pytest.raises(WrongUsage):
            model.chance_of_failing(running([10.0]), np.array([hours]))

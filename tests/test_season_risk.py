"""Fails this season: each draw of the bearing with a draw of the hours, beside asking every draw by itself."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.life_model import AskedAnew
from forecaster.lives import Histories, lives_by_hours
from forecaster.season_risk import ENOUGH, failing_within_drawn, hours_to_close
from forecaster.simple_rules import fit_fleet_average
from forecaster.simulate import simulate_fleet
from forecaster.usage_forecast import forecast_usage
from tests.fake_model import SCALES, FakeModel, rates

AS_OF = date(2026, 7, 1)
AGES = [0.0, 80.0, 400.0, 2_000.0]


def units() -> Histories:
    columns: dict[str, object] = {"parts": "oem", "salt_share": 0.0, "tuned_share": 0.0, "craft_id": "C1"}
    return lives_by_hours(np.array(AGES), ["alive"] * len(AGES), as_of=AS_OF, **columns)


def standing() -> AskedAnew:
    return AskedAnew(FakeModel(), units())


def drawn_hours(seed: int = 1, mean: float = 100.0, shape: float = 8.0) -> np.ndarray:
    return np.random.default_rng(seed).gamma(shape, mean / shape, (len(SCALES), len(AGES)))


@pytest.mark.parametrize(("mean", "shape"), [(100.0, 8.0), (600.0, 3.0), (2.0, 0.5)])
def test_every_draw_s_chance_is_what_the_model_says_of_that_draw_s_hours(mean: float, shape: float) -> None:
    hours = drawn_hours(mean=mean, shape=shape)
    by_hand = -np.expm1(-SCALES[:, None] * rates(units()) * hours)
    found = failing_within_drawn(standing(), hours)
    assert found == pytest.approx(by_hand, abs=0.005)
    assert found.mean(axis=0) == pytest.approx(by_hand.mean(axis=0), abs=0.0005)


def test_hours_that_are_certain_give_the_model_s_own_chance() -> None:
    hours = np.full((len(SCALES), len(AGES)), 70.0)
    assert failing_within_drawn(standing(), hours) == pytest.approx(standing().failing(np.array([70.0]))[:, :, 0])


def test_no_hours_left_are_no_chance_of_failing() -> None:
    assert (failing_within_drawn(standing(), np.zeros((len(SCALES), len(AGES)))) == 0.0).all()


@settings(max_examples=20)
@given(st.integers(0, 10**6), st.floats(0.0, 50.0))
def test_more_hours_in_every_draw_never_lower_a_chance(seed: int, more: float) -> None:
    hours = drawn_hours(seed)
    chances = failing_within_drawn(standing(), hours)
    assert ((chances >= 0.0) & (chances <= 1.0)).all()
    assert (failing_within_drawn(standing(), hours + more) >= chances - 0.002).all()


def test_hours_that_are_not_certain_widen_a_chance_s_interval() -> None:
    hours = drawn_hours(shape=5.0)
    sure = np.broadcast_to(hours.mean(axis=0), hours.shape)
    drawn, certain = (
        np.diff(np.quantile(failing_within_drawn(standing(), h), [0.05, 0.95], axis=0), axis=0) for h in (hours, sure)
    )
    assert (drawn > certain).all()


def test_units_of_one_craft_share_its_hours_and_their_mean_is_exact() -> None:
    records = simulate_fleet(craft=6, seasons=2, seed=4, first_year=2025).records
    usage = forecast_usage(records, AS_OF)
    craft = pd.Series(["C002", "C001", "C002", "C003"])
    hours = hours_to_close(usage, craft, standing())
    assert hours.shape == (len(SCALES), 4)
    assert (hours[:, 0] == hours[:, 2]).all()
    close = date(2026, 10, 15)
    exact = [usage.hours_between(craft_id, AS_OF, close).mean for craft_id in craft]
    assert hours.mean(axis=0) == pytest.approx(exact)


def test_a_rule_of_one_draw_is_asked_of_many_draws_of_the_hours() -> None:
    rule = fit_fleet_average(units())
    usage = forecast_usage(simulate_fleet(craft=6, seasons=2, seed=4, first_year=2025).records, AS_OF)
    hours = hours_to_close(usage, pd.Series(["C001"] * len(AGES)), rule.standing(units()))
    assert hours.shape == (ENOUGH, len(AGES))
    assert failing_within_drawn(rule.standing(units()), hours).shape == (ENOUGH, len(AGES))

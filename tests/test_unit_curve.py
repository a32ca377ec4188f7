"""One unit over its hours, with a model whose answers can be worked out on paper."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from forecaster.errors import WrongUsage
from forecaster.lives import Histories
from forecaster.unit_curve import LEAST_AHEAD, MOST_AHEAD, UnitCurve, cut_lives, unit_curve
from tests.fake_model import FakeModel
from tests.test_forecast import AS_OF, checked, forecast, running, swamped

UNIT = "U000001"


def curve(histories: Histories, hours_ahead: float | None = None, model: FakeModel | None = None) -> UnitCurve:
    return unit_curve(model or FakeModel(), histories, UNIT, hours_ahead)


def test_ahead_begins_now_and_ends_where_asked() -> None:
    ahead = curve(running([100.0]), 80.0).ahead
    assert ahead["hours_ahead"].iloc[[0, -1]].tolist() == [0.0, 80.0]
    assert ahead["age"].iloc[[0, -1]].tolist() == [100.0, 180.0]
    assert ahead["failed_mean"].iloc[0] == 0.0


def test_the_three_states_are_all_there_is() -> None:
    ahead = curve(running([100.0])).ahead
    total = ahead["failed_mean"] + ahead["defective_mean"] + ahead["sound_mean"]
    np.testing.assert_allclose(total, 1.0, atol=1e-12)


def test_the_curve_meets_the_forecast_at_its_horizon() -> None:
    histories = running([100.0])
    end = curve(histories, 50.0).ahead.iloc[-1]
    within = forecast(histories, hours=50.0).units[0].fails_within
    assert (end["failed_mean"], end["failed_low"], end["failed_high"]) == pytest.approx(
        (within.mean, within.low, within.high)
    )


def test_a_model_without_a_defect_state_leaves_it_unknown() -> None:
    answer = curve(running([100.0]), model=FakeModel(name="weibull", knows_defects=False))
    assert answer.ahead[["defective_mean", "sound_mean"]].isna().all(axis=None)
    assert answer.so_far.empty
    assert "defective_mean" in answer.so_far


def test_the_past_jumps_at_an_incident_and_not_before() -> None:
    so_far = curve(swamped(running([100.0]), f"{UNIT}/1", at=60.0)).so_far
    at = so_far[so_far["observed_hours"] == 60.0]["defective_mean"].tolist()
    before = so_far[so_far["observed_hours"] < 60.0]["defective_mean"].max()
    assert len(at) == 2
    assert before < at[0] < at[1]


def test_the_past_ends_with_what_is_thought_now() -> None:
    histories = checked(swamped(running([100.0]), f"{UNIT}/1", at=60.0), f"{UNIT}/1", at=100.0)
    now = forecast(histories).units[0].defective_now
    last = curve(histories).so_far.iloc[-1]
    assert now is not None
    assert (last["observed_hours"], last["defective_mean"]) == pytest.approx((100.0, now.mean))


def test_about_60_cuts_at_most() -> None:
    histories = running([100.0])
    for at in np.linspace(1.0, 99.0, 40):
        histories = swamped(histories, f"{UNIT}/1", at=float(at))
    assert len(curve(histories).so_far) <= 62


def test_a_cut_life_knows_only_its_own_past() -> None:
    unit = checked(swamped(running([100.0]), f"{UNIT}/1", at=60.0), f"{UNIT}/1", at=80.0)
    lives = cut_lives(unit, [(50.0, True), (60.0, False), (60.0, True), (80.0, True)])
    known = lives.lives["life_id"].map(lives.incidents["life_id"].value_counts()).fillna(0).tolist()
    assert lives.lives["hours_observed"].tolist() == [50.0, 60.0, 60.0, 80.0]
    assert known == [0, 0, 1, 1]
    assert lives.checks["life_id"].tolist() == [lives.lives["life_id"].iloc[3]]


def test_incidents_and_checks_are_told_in_plain_words() -> None:
    answer = curve(checked(swamped(running([100.0]), f"{UNIT}/1", at=60.0), f"{UNIT}/1", at=80.0))
    assert answer.incidents[["observed_hours", "label"]].to_numpy().tolist() == [[60.0, "swamped, untreated"]]
    assert answer.checks[["observed_hours", "label"]].to_numpy().tolist() == [[80.0, "spun quiet"]]
    assert answer.incidents["happened_on"].iloc[0] == pd.Timestamp("2026-08-01")


def test_without_a_starting_age_hours_are_told_and_ages_are_not() -> None:
    histories = running([100.0]).with_lives(hours_at_entry=np.nan)
    answer = curve(histories)
    assert answer.now_hours == 100.0
    assert np.isnan(answer.now_age)
    assert answer.ahead["age"].isna().all()


def test_an_event_past_the_record_by_a_rounding_error_counts_as_today() -> None:
    answer = curve(swamped(running([100.0]), f"{UNIT}/1", at=100.0 + 1e-9))
    assert answer.incidents["observed_hours"].tolist() == [100.0]
    assert answer.so_far["defective_mean"].iloc[-1] > answer.so_far["defective_mean"].iloc[-2]


def test_the_default_horizon_is_the_median_within_limits() -> None:
    fresh, old = curve(running([0.0])).ahead, curve(running([200_000.0])).ahead
    assert fresh["failed_mean"].iloc[-1] == pytest.approx(0.5, abs=0.02)
    assert fresh["hours_ahead"].iloc[-1] <= MOST_AHEAD
    assert old["hours_ahead"].iloc[-1] == LEAST_AHEAD


@pytest.mark.parametrize("hours", [0.0, -1.0, float("nan"), float("inf")])
def test_a_horizon_that_is_no_positive_number_is_refused(hours: float) -> None:
    with pytest.raises(WrongUsage, match=r"number of engine hours from 0\.1 to 5,000"):
        curve(running([100.0]), hours)


def test_a_unit_that_is_not_in_service_is_refused_by_name() -> None:
    with pytest.raises(WrongUsage, match=f"'nowhere' is not in service on {AS_OF}. In service: {UNIT}"):
        unit_curve(FakeModel(), running([100.0]), "nowhere")

"""Distribution-free curves: by hand, laws, and against lifelines where it can answer."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from lifelines import AalenJohansenFitter, KaplanMeierFitter, NelsonAalenFitter

from forecaster.curves import (
    ENDS,
    aalen_johansen,
    defective_by_age,
    kaplan_meier,
    mean_cumulative_failures,
    nelson_aalen,
    risk_set_empties_at,
    turnbull,
)
from forecaster.errors import ModelError, WrongUsage
from forecaster.lives import CHECKS, Histories, frame, lives_by_hours


def three_lives() -> Histories:
    """Fails at 10 h; opened sound at 20 h; joins at 12 h and fails at 30 h."""
    return lives_by_hours(
        np.array([10.0, 20.0, 30.0]), ["failed", "sound", "failed"], hours_at_entry=np.array([0.0, 0.0, 12.0])
    )


def many_lives(seed: int = 3, n: int = 60, ties: bool = True) -> Histories:
    rng = np.random.default_rng(seed)
    hours = 200 * rng.weibull(1.7, n)
    seen = rng.choice(["failed", "found_failed", "symptom", "defective", "sound", "alive"], n)
    return lives_by_hours(np.ceil(hours / 10) * 10 if ties else hours, seen)


def looks(rows: list[tuple[str, float, str]]) -> pd.DataFrame:
    known = [{"life_id": i, "observed_hours": h, "known_state": s, "spin": "not_done"} for i, h, s in rows]
    return frame(CHECKS, [{"checked_on": pd.Timestamp("2024-07-01"), "oil": "unknown", **row} for row in known])


def test_kaplan_meier_by_hand_with_a_part_worn_life() -> None:
    curve = kaplan_meier(three_lives())
    assert curve["hours"].tolist() == [0.0, 10.0, 20.0, 30.0]
    assert curve["n_at_risk"].tolist() == [2, 2, 2, 1]  # the third life is not at risk before 12 h
    assert curve["n_failed"].tolist() == [0, 1, 0, 1]
    assert curve["n_withdrawn"].tolist() == [0, 0, 1, 0]
    assert curve["survival"].tolist() == [1.0, 0.5, 0.5, 0.0]


def test_nelson_aalen_by_hand_with_a_part_worn_life() -> None:
    assert nelson_aalen(three_lives())["cumulative_hazard"].tolist() == [0.0, 0.5, 0.5, 1.5]


def test_a_life_that_joins_at_the_hour_of_a_failure_was_not_at_risk_of_it() -> None:
    lives = lives_by_hours(np.array([10.0, 20.0, 30.0]), ["failed", "alive", "alive"], np.array([0.0, 0.0, 10.0]))
    assert kaplan_meier(lives)["n_at_risk"].tolist()[1] == 2


def test_a_failure_at_0_hours_counts_for_fresh_lives() -> None:
    curve = kaplan_meier(lives_by_hours(np.array([0.0, 5.0]), ["failed", "alive"]))
    assert curve["survival"].tolist() == [0.5, 0.5]


def test_a_part_worn_life_that_fails_in_its_first_hour_is_never_at_risk() -> None:
    lives = lives_by_hours(np.array([40.0, 50.0]), ["failed", "failed"], np.array([40.0, 0.0]))
    assert kaplan_meier(lives)["n_at_risk"].tolist() == [1, 1]


def test_lives_of_unknown_age_are_in_no_curve() -> None:
    lives = three_lives().with_lives(hours_at_entry=np.array([0.0, 0.0, np.nan]))
    assert kaplan_meier(lives)["hours"].tolist() == [0.0, 10.0, 20.0]


def test_given_alive_at_asks_only_those_past_that_age() -> None:
    curve = kaplan_meier(three_lives(), given_alive_at=15.0)
    assert curve["hours"].tolist() == [15.0, 20.0, 30.0]
    assert curve["n_at_risk"].tolist() == [2, 2, 1]
    assert curve["survival"].tolist() == [1.0, 1.0, 0.0]


def test_the_age_where_the_risk_set_empties_is_found() -> None:
    lives = lives_by_hours(
        np.array([10.0, 60.0, 90.0]), ["failed", "failed", "alive"], hours_at_entry=np.array([0.0, 20.0, 20.0])
    )
    assert kaplan_meier(lives)["survival"].iloc[-1] == 0.0  # the trap: everybody seen early failed
    assert risk_set_empties_at(lives) == 10.0
    assert kaplan_meier(lives, given_alive_at=10.0)["survival"].iloc[-1] == 0.5


def test_a_curve_that_ends_in_a_failure_has_not_emptied_early() -> None:
    assert risk_set_empties_at(three_lives()) == 0.0


def test_limits_are_not_claimed_where_nothing_has_failed_yet() -> None:
    curve = kaplan_meier(lives_by_hours(np.array([5.0, 9.0, 20.0]), ["alive", "failed", "alive"]))
    assert curve["low"].isna().tolist() == [False, True, False, False]


def test_kaplan_meier_and_its_limits_agree_with_lifelines() -> None:
    lives = many_lives()
    failed = lives.lives["seen"].isin(["failed", "found_failed"])
    theirs = KaplanMeierFitter(alpha=0.1).fit(lives.age, failed)
    ours = kaplan_meier(lives).set_index("hours")
    assert np.allclose(ours["survival"], theirs.survival_function_.iloc[:, 0])
    defined = ours["low"].notna().to_numpy()
    limits = theirs.confidence_interval_.to_numpy()
    assert defined.sum() > 10
    assert np.allclose(ours[["low", "high"]].to_numpy()[defined], limits[defined])


def test_nelson_aalen_agrees_with_lifelines() -> None:
    lives = many_lives()
    failed = lives.lives["seen"].isin(["failed", "found_failed"])
    theirs = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(lives.age, failed)
    assert np.allclose(nelson_aalen(lives)["cumulative_hazard"], theirs.cumulative_hazard_.iloc[:, 0])


def test_nelson_aalen_limits_by_hand() -> None:
    at_10 = nelson_aalen(lives_by_hours(np.array([10.0, 20.0, 30.0, 40.0]), ["failed"] * 4)).iloc[1]
    # H = 1/4, its variance 1/16; limits H exp(±1.644854 · (1/4) / (1/4))
    assert at_10["low"] == pytest.approx(0.25 / np.exp(1.644854), rel=1e-6)
    assert at_10["high"] == pytest.approx(0.25 * np.exp(1.644854), rel=1e-6)


def test_aalen_johansen_by_hand() -> None:
    lives = lives_by_hours(np.array([10.0, 20.0, 30.0, 40.0]), ["failed", "symptom", "failed", "sound"])
    curve = aalen_johansen(lives).pivot_table(index="hours", columns="end", values="chance")
    assert curve["failed"].tolist() == [0.0, 0.25, 0.25, 0.5, 0.5]
    assert curve["noticed"].tolist() == [0.0, 0.0, 0.25, 0.25, 0.25]
    assert curve["opened_sound"].tolist() == [0.0, 0.0, 0.0, 0.0, 0.25]


def test_an_opening_without_a_recorded_finding_is_an_end_of_its_own() -> None:
    lives = lives_by_hours(np.array([10.0, 20.0, 30.0]), ["alive"] * 3, ended_by=["scheduled", "symptom", "running"])
    ends = aalen_johansen(lives).groupby("end")["n_ended"].sum()
    assert ends["opened_unknown"] == 1
    assert ends["noticed"] == 1
    assert ends.sum() == 2


def test_aalen_johansen_and_its_limits_agree_with_lifelines() -> None:
    lives = many_lives(ties=False)
    code = lives.lives["seen"].map(
        {"failed": 1, "found_failed": 1, "symptom": 2, "defective": 3, "sound": 4, "alive": 0}
    )
    with np.errstate(divide="ignore", invalid="ignore"):  # lifelines takes the log of a chance of 0
        theirs = AalenJohansenFitter(alpha=0.1).fit(lives.age, code, event_of_interest=1)
    ours = aalen_johansen(lives)
    ours = ours[ours["end"] == "failed"]
    assert np.allclose(ours["chance"], theirs.cumulative_density_.iloc[:, 0])
    defined = ours["low"].notna().to_numpy()
    defined[0] = False
    limits = np.sort(theirs.confidence_interval_.to_numpy()[defined], axis=1)
    theirs_defined = ~np.isnan(limits).any(axis=1)  # not where the last life ends: 0 by 0 there
    assert theirs_defined.sum() >= defined.sum() - 1 > 20
    assert np.allclose(ours[["low", "high"]].to_numpy()[defined][theirs_defined], limits[theirs_defined])


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), start=st.floats(0.0, 150.0))
def test_the_chances_of_all_ends_and_of_none_add_up_to_1(seed: int, start: float) -> None:
    lives = many_lives(seed, n=25)
    everything = lives.with_lives(seen=lives.lives["seen"].replace({"alive": "failed", "sound": "failed"}).to_numpy())
    all_failed = everything.with_lives(seen="failed")
    ends = aalen_johansen(everything, given_alive_at=start).groupby("hours")["chance"].sum()
    none = kaplan_meier(all_failed, given_alive_at=start).set_index("hours")["survival"]
    assert np.allclose(ends + none, 1.0)


@settings(max_examples=40, deadline=None)
@example(seed=2953, start=0.0)  # the shares of all that ended add up to just below 1
@given(seed=st.integers(0, 10_000), start=st.floats(0.0, 150.0))
def test_with_one_way_to_end_aalen_johansen_is_kaplan_meier_with_greenwoods_error(seed: int, start: float) -> None:
    lives = many_lives(seed, n=25)
    lives = lives.with_lives(seen=np.where(lives.lives["seen"] == "failed", "failed", "alive"), ended_by="running")
    ours = aalen_johansen(lives, given_alive_at=start).query("end == 'failed'")
    survival = kaplan_meier(lives, given_alive_at=start)
    assert np.allclose(ours["chance"], 1.0 - survival["survival"])
    greenwood = np.cumsum(
        survival["n_failed"] / (survival["n_at_risk"] * (survival["n_at_risk"] - survival["n_failed"]))
    )
    inside = ours["chance"].between(0.001, 0.999).to_numpy()
    chance = ours["chance"].to_numpy()[inside]
    reach = 1.644854 * (1 - chance) * np.sqrt(greenwood.to_numpy()[inside]) / (chance * -np.log(chance))
    assert np.allclose(ours["high"].to_numpy()[inside], chance ** np.exp(-reach))


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), share=st.floats(0.05, 0.95))
def test_cutting_a_life_in_two_changes_no_curve(seed: int, share: float) -> None:
    lives = many_lives(seed, n=12)
    ages, seen = lives.age.to_numpy(), lives.lives["seen"].to_numpy()
    cut = ages[0] * share
    halves = lives_by_hours(
        np.concatenate([[cut], ages]), ["alive", *seen], np.concatenate([[0.0, cut], np.zeros(len(ages) - 1)])
    )
    whole = nelson_aalen(lives).set_index("hours")
    pieces = nelson_aalen(halves).set_index("hours").loc[whole.index]
    assert np.allclose(whole["cumulative_hazard"], pieces["cumulative_hazard"])
    assert whole["n_at_risk"].equals(pieces["n_at_risk"])


def test_shuffled_rows_change_nothing() -> None:
    lives = many_lives()
    order = np.random.default_rng(8).permutation(lives.n_lives)
    shuffled = Histories(as_of=lives.as_of, lives=lives.lives.iloc[order].reset_index(drop=True))
    for curve in (kaplan_meier, nelson_aalen, aalen_johansen, defective_by_age, mean_cumulative_failures):
        pd.testing.assert_frame_equal(curve(lives), curve(shuffled))


def test_no_lives_give_empty_frames() -> None:
    nobody = lives_by_hours(np.zeros(0), [])
    for curve in (kaplan_meier, nelson_aalen, aalen_johansen, defective_by_age, mean_cumulative_failures):
        assert len(curve(nobody)) == 0
    assert risk_set_empties_at(nobody) == 0.0


def test_a_negative_start_and_a_confidence_of_95_are_refused() -> None:
    with pytest.raises(WrongUsage, match="given_alive_at"):
        kaplan_meier(three_lives(), given_alive_at=-1.0)
    with pytest.raises(WrongUsage, match="confidence"):
        kaplan_meier(three_lives(), confidence=95)


def test_turnbull_with_known_ages_is_kaplan_meier() -> None:
    lives = many_lives()
    failed = lives.lives["seen"].isin(["failed", "found_failed"]).to_numpy()
    ages = lives.age.to_numpy()
    ours = turnbull(ages, np.where(failed, ages, np.inf))
    theirs = kaplan_meier(lives).query("n_failed > 0")
    exact = ours[ours["from_hours"] == ours["to_hours"]]
    assert exact["to_hours"].tolist() == theirs["hours"].tolist()
    assert np.allclose(exact["survival"], theirs["survival"], atol=1e-5)


def test_turnbull_cannot_say_where_between_two_openings() -> None:
    curve = turnbull(np.array([0.0, 20.0]), np.array([30.0, 50.0]))
    assert curve[["from_hours", "to_hours", "survival"]].to_numpy().tolist() == [[20.0, 30.0, 0.0]]


def test_turnbull_agrees_with_isotonic_regression_on_openings() -> None:
    # one opening each: the estimate is the pooled share found defective (Ayer et al. 1955). By hand: found at
    # 10 sound, 20 defective, 30 sound, 40 sound, 50 defective; pool 20-40: 1/3
    curve = turnbull(np.array([10.0, 0.0, 30.0, 40.0, 0.0]), np.array([np.inf, 20.0, np.inf, np.inf, 50.0]))
    assert curve["to_hours"].tolist() == [20.0, 50.0]
    assert np.allclose(curve["share"], [1 / 3, 2 / 3], atol=1e-6)


def test_turnbull_refuses_an_interval_that_ends_before_it_begins() -> None:
    with pytest.raises(ModelError, match="lower first"):
        turnbull(np.array([30.0]), np.array([20.0]))


def test_openings_tell_when_bearings_become_defective() -> None:
    lives = lives_by_hours(np.array([10.0, 20.0, 30.0, 99.0]), ["sound", "defective", "failed", "alive"])
    curve = defective_by_age(lives)
    assert curve[["from_hours", "to_hours", "survival"]].to_numpy().tolist() == [[10.0, 20.0, 0.0]]


def test_a_unit_opened_and_closed_again_tells_its_state_at_that_age() -> None:
    lives = lives_by_hours(np.array([60.0, 50.0]), ["failed", "alive"], np.array([10.0, 0.0]))
    known = looks([("U000001/1", 20.0, "sound"), ("U000001/1", 40.0, "defective"), ("U000002/1", 45.0, "sound")])
    curve = defective_by_age(Histories(as_of=lives.as_of, lives=lives.lives, checks=known))
    # first life: between 30 and 50 h of age; second: later than 45 h
    assert curve[["from_hours", "to_hours"]].to_numpy().tolist() == [[45.0, 50.0]]


def test_mean_cumulative_failures_by_hand() -> None:
    lives = lives_by_hours(
        np.array([10.0, 15.0, 40.0]), ["failed", "alive", "alive"], unit_id=["S1", "S1", "S2"], life_number=[1, 2, 1]
    )
    curve = mean_cumulative_failures(lives)
    assert curve[["hours", "n_at_risk", "failures_per_unit"]].to_numpy().tolist() == [[10.0, 2.0, 0.5]]


def test_a_unit_that_leaves_at_the_hour_of_a_failure_was_on_record_then() -> None:
    assert mean_cumulative_failures(lives_by_hours(np.full(4, 10.0), ["failed"] + ["alive"] * 3))[
        "n_at_risk"
    ].tolist() == [4]


def test_limits_of_the_mean_cumulative_failures_by_hand() -> None:
    at_10 = mean_cumulative_failures(lives_by_hours(np.array([10.0, 40.0]), ["failed", "alive"])).iloc[0]
    # M = 1/2; its variance ((1 - 1/2) / 2)² + ((0 - 1/2) / 2)² = 1/8
    assert at_10["high"] == pytest.approx(0.5 * np.exp(1.644854 * np.sqrt(1 / 8) / 0.5), rel=1e-6)
    assert at_10["low"] == pytest.approx(0.5 / np.exp(1.644854 * np.sqrt(1 / 8) / 0.5), rel=1e-6)


def test_a_failure_in_a_units_second_life_comes_after_the_hours_of_its_first() -> None:
    lives = lives_by_hours(
        np.array([10.0, 15.0, 40.0]), ["sound", "failed", "alive"], unit_id=["S1", "S1", "S2"], life_number=[1, 2, 1]
    )
    assert mean_cumulative_failures(lives)["hours"].tolist() == [25.0]


def test_every_end_has_a_meaning_and_a_place() -> None:
    assert set(aalen_johansen(many_lives())["end"]) == set(ENDS)

"""Lives cut at their incidents: by hand, and what cutting must not change."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.episodes import EPISODES, incidents_so_far, split_episodes
from forecaster.errors import ModelError
from forecaster.lives import INCIDENTS, Histories, frame, lives_by_hours


def with_incidents(histories: Histories, happened: list[tuple[str, float, str]]) -> Histories:
    rows = [
        {
            "life_id": life_id,
            "craft_id": "C1",
            "happened_on": pd.Timestamp("2024-07-01"),
            "observed_hours": hours,
            "observed_hours_low": hours,
            "observed_hours_high": hours,
            "kind": "swamped",
            "water": "salt",
            "oil": "clear",
            "treatment": treatment,
            "oil_water_ppm": np.nan,
        }
        for life_id, hours, treatment in happened
    ]
    return Histories(as_of=date(2025, 1, 1), lives=histories.lives, incidents=frame(INCIDENTS, rows))


def test_a_life_without_incidents_is_one_episode_from_entry_to_end() -> None:
    episodes = split_episodes(lives_by_hours(np.array([90.0]), ["failed"], hours_at_entry=40.0))
    assert episodes[["start_hours", "stop_hours", "failed"]].to_numpy().tolist() == [[40.0, 90.0, True]]
    assert episodes["to_observed_hours"].tolist() == [50.0]


def test_an_incident_counts_from_its_hour_on_and_the_failure_belongs_to_the_last_episode() -> None:
    life = lives_by_hours(np.array([120.0]), ["failed"], hours_at_entry=20.0)
    episodes = split_episodes(
        with_incidents(life, [("U000001/1", 30.0, "none"), ("U000001/1", 70.0, "prompt"), ("U000001/1", 80.0, "late")])
    )
    assert episodes["start_hours"].tolist() == [20.0, 50.0, 90.0, 100.0]
    assert episodes["stop_hours"].tolist() == [50.0, 90.0, 100.0, 120.0]
    assert episodes["incidents_not_prompt"].tolist() == [0.0, 1.0, 1.0, 2.0]
    assert episodes["incidents_prompt"].tolist() == [0.0, 0.0, 1.0, 1.0]
    assert episodes["failed"].tolist() == [False, False, False, True]


def test_two_incidents_at_one_hour_make_one_cut_and_an_unknown_treatment_is_not_prompt() -> None:
    life = lives_by_hours(np.array([50.0]), ["alive"])
    episodes = split_episodes(with_incidents(life, [("U000001/1", 10.0, "unknown"), ("U000001/1", 10.0, "prompt")]))
    assert episodes["stop_hours"].tolist() == [10.0, 50.0]
    assert episodes.loc[1, ["incidents_not_prompt", "incidents_prompt"]].tolist() == [1.0, 1.0]


def test_an_incident_before_the_first_recorded_hour_counts_from_the_start() -> None:
    life = lives_by_hours(np.array([50.0]), ["alive"])
    episodes = split_episodes(with_incidents(life, [("U000001/1", 0.0, "none")]))
    assert episodes["incidents_not_prompt"].tolist() == [1.0]


def test_a_failure_in_the_hour_of_an_incident_counts_that_incident_without_adding_hours() -> None:
    life = lives_by_hours(np.array([50.0]), ["failed"])
    episodes = split_episodes(with_incidents(life, [("U000001/1", 50.0, "none")]))
    assert episodes["start_hours"].tolist() == [0.0, 50.0]
    assert episodes["stop_hours"].tolist() == [50.0, 50.0]
    assert episodes["failed"].tolist() == [False, True]
    assert episodes["incidents_not_prompt"].tolist() == [0.0, 1.0]


def test_an_incident_in_the_last_hour_of_a_life_that_goes_on_adds_no_episode_but_is_counted_so_far() -> None:
    histories = with_incidents(lives_by_hours(np.array([50.0]), ["alive"]), [("U000001/1", 50.0, "none")])
    assert len(split_episodes(histories)) == 1
    assert incidents_so_far(histories)["incidents_not_prompt"].tolist() == [1.0]


def test_parts_are_coded_and_unknown_stays_unknown() -> None:
    lives = lives_by_hours(np.full(3, 9.0), ["alive"] * 3, parts=["oem", "aftermarket", "unknown"])
    assert split_episodes(lives)["aftermarket"].fillna(-1.0).tolist() == [0.0, 1.0, -1.0]


def test_found_failed_is_a_failure_and_the_other_findings_are_not() -> None:
    seen = ["found_failed", "symptom", "defective", "sound", "alive"]
    assert split_episodes(lives_by_hours(np.full(5, 9.0), seen))["failed"].tolist() == [True] + [False] * 4


def test_lives_without_hours_have_no_episode_unless_they_failed() -> None:
    lives = lives_by_hours(np.array([0.0, 30.0]), ["alive", "failed"], hours_at_entry=np.array([0.0, 30.0]))
    assert split_episodes(lives)["life_id"].tolist() == ["U000002/1"]


def test_an_unknown_starting_age_leaves_only_observed_hours() -> None:
    lives = lives_by_hours(np.array([30.0]), ["alive"]).with_lives(hours_at_entry=np.nan)
    episodes = split_episodes(lives)
    assert episodes["start_hours"].isna().all()
    assert episodes["to_observed_hours"].tolist() == [30.0]


def test_no_lives_give_no_episodes_with_the_columns_of_the_contract() -> None:
    episodes = split_episodes(lives_by_hours(np.zeros(0), []))
    assert list(episodes.columns) == list(EPISODES)
    assert len(episodes) == 0


def test_an_incident_without_hours_is_refused_by_name() -> None:
    histories = with_incidents(lives_by_hours(np.array([50.0]), ["alive"]), [("U000001/1", np.nan, "none")])
    with pytest.raises(ModelError, match="U000001/1"):
        split_episodes(histories)


@settings(max_examples=60, deadline=None)
@given(
    ends=st.lists(st.floats(1.0, 500.0), min_size=1, max_size=6),
    shares=st.lists(st.tuples(st.integers(0, 5), st.floats(0.0, 1.0), st.sampled_from(["prompt", "none"])), max_size=9),
)
def test_episodes_of_a_life_meet_and_add_up_to_its_hours(
    ends: list[float], shares: list[tuple[int, float, str]]
) -> None:
    lives = lives_by_hours(np.array(ends), ["failed"] * len(ends))
    happened = sorted((f"U{i % len(ends) + 1:06d}/1", share * ends[i % len(ends)], t) for i, share, t in shares)
    episodes = split_episodes(with_incidents(lives, happened))
    by_life = episodes.groupby("life_id", sort=False)
    hours = episodes["stop_hours"] - episodes["start_hours"]
    assert np.allclose(hours.groupby(episodes["life_id"], sort=False).sum(), ends)
    assert (by_life["failed"].sum() == 1).all()
    assert episodes["failed"].equals(~episodes["life_id"].duplicated(keep="last"))
    meets = episodes["start_hours"].eq(by_life["stop_hours"].shift())
    assert (meets | ~episodes["life_id"].duplicated()).all()
    counted = by_life[["incidents_not_prompt", "incidents_prompt"]].last().to_numpy().sum()
    assert counted == len(happened)

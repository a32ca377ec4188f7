"""A small round of the known-truth study; its full table stands in DEVELOPERS.md."""

from __future__ import annotations

import pandas as pd
import pytest

from tests.known_truth import experience_study, study, summary


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return summary(study(fleets=3, first_seed=100))


def test_the_two_stages_come_much_nearer_to_the_true_risk_than_a_weibull_on_failures_alone(table: pd.DataFrame) -> None:
    assert table.loc["all", "to plain"] < 0.7
    assert table.loc["all", "ratio to own"] < 0.9


def test_in_no_world_is_the_log_score_worse_beyond_luck(table: pd.DataFrame) -> None:
    assert (table["high"] > 0).all()
    assert table.loc["all", "log score gain"] > 0


def test_the_true_risk_lies_in_most_of_the_intervals(table: pd.DataFrame) -> None:
    assert table.loc["all", "held by 90 %"] > 0.78


def test_another_shops_experience_takes_a_third_off_a_small_fleets_error() -> None:
    errors = experience_study(fleets=10, teachers=10)
    assert errors["experienced"] < errors["general"] * 2 / 3

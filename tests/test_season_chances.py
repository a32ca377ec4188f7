"""The study of season chances, on a fleet as small as can be: what it asks, and what its table holds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.season_chances import DAYS, study, summary


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return study(fleets=2, craft=6, seasons=2, worlds=("rust_at_incident",))


def test_every_unit_is_asked_about_on_every_day(table: pd.DataFrame) -> None:
    assert set(table["day"]) == set(DAYS)
    assert (table.groupby(["seed", "day"]).size() >= 4).all()


def test_chances_are_chances_and_fewer_hours_are_left_day_by_day(table: pd.DataFrame) -> None:
    assert table["true"].between(0.0, 1.0).all()
    assert table["drawn mean"].between(0.0, 1.0).all()
    left = table.groupby("day")["ran"].mean().reindex(list(DAYS))
    assert (np.diff(left) < 0).all()


def test_hours_that_are_not_certain_widen_intervals_on_average(table: pd.DataFrame) -> None:
    assert table["drawn width"].mean() > table["expected width"].mean()


def test_the_summary_has_a_row_a_day_and_one_for_all(table: pd.DataFrame) -> None:
    told = summary(table)
    assert list(told.index) == [*DAYS, "all"]
    assert told.loc["all", "units"] == len(table)
    assert told["held"].between(0.0, 1.0).all()

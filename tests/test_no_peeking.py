"""A strange tomorrow changes nothing: histories as of a day do not depend on anything dated or filled in later."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import lru_cache

import numpy as np
import pandas as pd
import pytest

from forecaster.caretaking import FixedHours, FleetView, Work
from forecaster.hindsight import without_hindsight
from forecaster.histories import build_histories
from forecaster.records import FleetRecords
from forecaster.simulate import SimulatedFleet, simulate_fleet
from tests.paper_fleet import Row, day, fitted, opened, paper_fleet, same

DATED = {
    "fittings": "fitted_on",
    "hours": "read_on",
    "water": "happened_on",
    "rebuilds": "opened_on",
    "checks": "checked_on",
}


@lru_cache
def fleet() -> SimulatedFleet:
    return simulate_fleet(craft=8, seasons=2, seed=7)


# In season, off-season, on an event's day, the first and the last day.
DAYS = [
    date(2024, 5, 1),
    date(2024, 7, 19),
    date(2024, 8, 30),
    date(2024, 12, 24),
    date(2025, 6, 21),
    date(2025, 10, 2),
]


def later_rows(records: FleetRecords, as_of: date, change: Callable[[str, pd.DataFrame], pd.DataFrame]) -> FleetRecords:
    """The records with `change` applied to the rows of each table that are dated after `as_of`."""
    tables = {}
    for name, column in DATED.items():
        table = records.table(name)
        later = table[column] > pd.Timestamp(as_of)
        changed = pd.concat([table[~later], change(name, table[later])]) if later.any() else table
        tables[name] = changed.astype(table.dtypes)
    return replace(records, **tables)


def later_cells(records: FleetRecords, as_of: date, days_later: int | None) -> FleetRecords:
    """The records with every removal and retirement after `as_of` moved by so many days, or blanked."""

    def moved(dates: pd.Series) -> pd.Series:
        later = dates > pd.Timestamp(as_of)
        return dates.mask(later, pd.NaT if days_later is None else dates + pd.Timedelta(days_later, "D"))

    return replace(
        records,
        fittings=records.fittings.assign(removed_on=moved(records.fittings["removed_on"])),
        craft=records.craft.assign(retired_on=moved(records.craft["retired_on"])),
    )


def strange(name: str, rows: pd.DataFrame) -> pd.DataFrame:
    """The same later rows with everything else in them turned upside down."""
    rows = rows.assign(**{DATED[name]: rows[DATED[name]] + pd.Timedelta(400, "D")})
    if name == "hours":
        return rows.assign(meter=9e5 - rows["meter"], new_meter="yes", craft_id=rows["craft_id"].to_numpy()[::-1])
    if name == "fittings":
        return rows.assign(hours_at_fitting=77.0, parts="aftermarket", craft_id="C001", removed_on=pd.NaT)
    if name == "water":
        return rows.assign(kind="submerged", treated="no", treated_within_h=np.nan, water="salt")
    if name == "rebuilds":
        return rows.assign(bearing="failed", reason="failure", outcome="scrapped", hours=1e4)
    return rows.assign(spin="rattle", oil_water_ppm=9e4)


@pytest.mark.parametrize("as_of", DAYS)
def test_rows_dated_later_change_nothing(as_of: date) -> None:
    records = fleet().records
    known = build_histories(records, as_of)
    same(build_histories(later_rows(records, as_of, lambda name, rows: rows.iloc[:0]), as_of), known)
    same(build_histories(later_rows(records, as_of, strange), as_of), known)


@pytest.mark.parametrize("as_of", DAYS)
@pytest.mark.parametrize("days_later", [None, 3, 3000])
def test_removals_and_retirements_still_to_come_change_nothing(as_of: date, days_later: int | None) -> None:
    records = fleet().records
    same(build_histories(later_cells(records, as_of, days_later), as_of), build_histories(records, as_of))


@pytest.mark.parametrize("as_of", DAYS)
def test_the_days_asked_about_have_a_tomorrow_that_differs(as_of: date) -> None:
    records = fleet().records
    assert not build_histories(records, as_of).lives.equals(build_histories(records, as_of + timedelta(days=60)).lives)
    assert any((records.table(name)[column] > pd.Timestamp(as_of)).any() for name, column in DATED.items())
    assert (records.fittings["removed_on"] > pd.Timestamp(as_of)).any() or as_of > date(2025, 10, 1)


@dataclass(frozen=True)
class KeepsCopies(FixedHours):
    """The usual policy, with a copy of the books as they stood on every tenth Monday morning."""

    copies: dict[date, FleetRecords] = field(default_factory=dict, compare=False)

    def plan(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
        if fleet.day.isocalendar().week % 10 == 0:
            self.copies[fleet.day - timedelta(days=1)] = fleet.records()
        return super().plan(fleet, rng)


@pytest.mark.parametrize("seed", range(3))
def test_the_later_books_give_the_histories_that_the_books_of_the_day_gave(seed: int) -> None:
    keeps = KeepsCopies()
    records = simulate_fleet(craft=5, seasons=2, seed=seed, policy=keeps).records
    assert len(keeps.copies) >= 5
    for as_of, books in keeps.copies.items():
        assert books.hours["read_on"].max() <= pd.Timestamp(as_of)
        same(build_histories(records, as_of), build_histories(books, as_of))


def test_taking_away_hindsight_twice_is_taking_it_away_once() -> None:
    once = without_hindsight(fleet().records, DAYS[1])
    twice = without_hindsight(once, DAYS[1])
    for name in ("craft", *DATED):
        pd.testing.assert_frame_equal(once.table(name), twice.table(name))


# -- one craft on paper, one leak at a time ---------------------------------------------------------------------------

HOURS = {"C1": [("2025-05-01", 0.0), ("2025-05-21", 20.0), ("2025-06-10", 80.0)]}


def as_of(text: str, **rows: list[Row]):  # type: ignore[no-untyped-def]
    return build_histories(paper_fleet(["C1"], [fitted("S1", "C1", "2025-05-01", hours=0)], HOURS, **rows), day(text))


def test_a_reading_after_the_day_does_not_pull_the_interpolation() -> None:
    # 05-31 lies between 20 h on 05-21 and 80 h on 06-10, but the latter is not known yet: the last reading stands
    assert as_of("2025-05-31").lives["hours_observed"].tolist() == [20.0]
    assert as_of("2025-06-10").lives["hours_observed"].tolist() == [80.0]


def test_an_opening_after_the_day_is_not_known() -> None:
    rebuilds = [opened("S1", "2025-06-10", "failure", "failed", "scrapped")]
    assert as_of("2025-06-09", rebuilds=rebuilds).lives["seen"].tolist() == ["alive"]
    assert as_of("2025-06-10", rebuilds=rebuilds).lives["seen"].tolist() == ["failed"]


@pytest.mark.parametrize(
    ("text", "within", "treatment"),
    [
        ("2025-06-01", 2.0, "prompt"),  # the same day
        ("2025-06-01", 24.0, "prompt"),  # by its end
        ("2025-06-01", 30.0, "unknown"),  # tomorrow
        ("2025-06-02", 30.0, "late"),
        ("2025-06-03", 100.0, "unknown"),
        ("2025-06-05", 100.0, "late"),
    ],
)
def test_a_treatment_still_to_come_is_not_known(text: str, within: float, treatment: str) -> None:
    wet = {
        "craft_id": "C1",
        "happened_on": "2025-06-01",
        "kind": "swamped",
        "treated": "yes",
        "treated_within_h": within,
    }
    assert as_of(text, water=[wet]).incidents["treatment"].tolist() == [treatment]


def test_a_laboratory_report_of_a_later_day_is_not_known() -> None:
    wet = {"craft_id": "C1", "happened_on": "2025-06-01", "kind": "swamped"}
    lab = {"unit_id": "S1", "checked_on": "2025-06-05", "oil_water_ppm": 300.0}
    assert as_of("2025-06-04", water=[wet], checks=[lab]).incidents["oil_water_ppm"].isna().all()
    assert as_of("2025-06-05", water=[wet], checks=[lab]).incidents["oil_water_ppm"].tolist() == [300.0]


def test_hours_stated_at_a_later_fitting_do_not_tell_the_starting_age_yet() -> None:
    fittings = [fitted("S1", "C1", "2025-05-01", "2025-05-21"), fitted("S1", "C1", "2025-06-01", hours=50)]
    records = paper_fleet(["C1"], fittings, HOURS)
    assert build_histories(records, day("2025-05-31")).lives["hours_at_entry"].isna().all()
    assert build_histories(records, day("2025-06-01")).lives["hours_at_entry"].tolist() == [30.0]


def test_a_fresh_fitting_without_a_rebuild_row_is_known_from_its_day_on() -> None:
    fittings = [fitted("S1", "C1", "2025-05-01", "2025-05-21", hours=0), fitted("S1", "C1", "2025-06-01", hours=0)]
    records = paper_fleet(["C1"], fittings, HOURS)
    assert build_histories(records, day("2025-05-31")).lives["ended_by"].tolist() == ["stored"]
    assert build_histories(records, day("2025-06-01")).lives["ended_by"].tolist() == ["other", "running"]

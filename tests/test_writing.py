"""Records and refused rows back into files."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import SourceError
from forecaster.number_cells import plain_number
from forecaster.reading import read_fleet
from forecaster.records import TABLES
from forecaster.settings import FleetSettings, read_settings
from forecaster.writing import settings_toml, write_fleet, write_refused
from tests.small_fleet import TODAY, add_row, rows_of, set_cell, small_fleet, small_fleet_folder


def test_a_fleet_reads_as_it_was_written(tmp_path: Path) -> None:
    written = small_fleet()
    write_fleet(written, tmp_path / "small_fleet")
    reading = read_fleet(tmp_path / "small_fleet", TODAY)
    assert reading.problems == ()
    for table in TABLES:
        pd.testing.assert_frame_equal(reading.records.table(table), written.table(table))
    assert reading.records.settings == written.settings
    assert reading.records.name == "small_fleet"


def test_written_again_the_files_are_the_same_to_the_byte(tmp_path: Path) -> None:
    first = write_fleet(small_fleet(), tmp_path / "first")
    write_fleet(read_fleet(tmp_path / "first", TODAY).records, tmp_path / "second")
    assert len(first) == 7
    for file in first:
        assert (tmp_path / "second" / file.name).read_bytes() == file.read_bytes()


def test_a_place_may_be_named_in_words(tmp_path: Path) -> None:
    write_fleet(small_fleet(), str(tmp_path / "in_words"))
    reading = read_fleet(str(tmp_path / "in_words"), TODAY)
    assert reading.problems == ()
    assert write_refused(reading, str(tmp_path / "refused.xlsx")) == []


def test_cells_are_written_as_the_contract_asks(tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    header, first, second, *_ = rows_of(folder / "craft.csv")
    assert header == list(TABLES["craft"].columns)
    assert first[:5] == ["C001", "Otter", "North", "Ødegård Boats", "2022"]
    assert first[-3:] == ["2025-04-01", "", "310.5"]
    assert second[1:4] == ["Heron, the old one", "", ""]
    assert rows_of(folder / "hours.csv")[1] == ["C001", "2025-05-05", "120.3", "no"]


def test_a_table_without_rows_is_written_with_its_header(tmp_path: Path) -> None:
    records = read_fleet(small_fleet_folder(tmp_path / "fleet"), TODAY).records
    bare = type(records)(**{name: records.table(name).iloc[:0] for name in TABLES})
    write_fleet(bare, tmp_path / "bare")
    assert (tmp_path / "bare" / "checks.csv").read_text() == ",".join(TABLES["checks"].columns) + "\n"


@given(st.floats(min_value=0, allow_nan=False, allow_infinity=False))
def test_a_number_is_written_plainly_and_reads_as_the_same(number: float) -> None:
    text = plain_number(number)
    assert float(text) == number
    assert "e" not in text
    assert not text.endswith(".")


def test_settings_read_as_they_were_written() -> None:
    given_ = {
        "currency": "NOK",
        "season": {"opens": "11-01", "closes": "04-15"},
        "costs": {"rebuild": 650.75, "check": 0},
        "bench": {"rebuilds_per_week": 2.5, "budget": 14000},
    }
    settings = FleetSettings.model_validate(given_)
    assert read_settings(settings_toml(settings)) == settings
    assert read_settings(settings_toml(FleetSettings())) == FleetSettings()


def damaged(folder: Path) -> Path:
    """The small fleet with a reading, a craft's twin and an opening that are refused."""
    small_fleet_folder(folder)
    set_cell(folder / "hours.csv", 5, "meter", "=120 h")
    add_row(folder / "craft.csv", craft_id="C001", name="Otter again")
    set_cell(folder / "rebuilds.csv", 3, "bearing", "sond")
    return folder


def test_refused_rows_are_written_as_they_were_given(tmp_path: Path) -> None:
    reading = read_fleet(damaged(tmp_path / "fleet"), TODAY)
    written = write_refused(reading, tmp_path / "out")
    assert sorted(file.name for file in written) == [
        "refused_craft.csv",
        "refused_hours.csv",
        "refused_rebuilds.csv",
    ]
    hours = pd.read_csv(tmp_path / "out" / "refused_hours.csv", dtype=str, keep_default_na=False)
    assert list(hours.columns) == [
        "refused in",
        "refused row",
        "refused because",
        "craft_id",
        "read_on",
        "meter",
        "new_meter",
    ]
    assert hours.iloc[0].to_dict() == {
        "refused in": "hours.csv",
        "refused row": "5",
        "refused because": "there is more than a number in the cell",
        "craft_id": "C001",
        "read_on": "2025-05-26",
        "meter": "'=120 h",  # no formula to a spreadsheet; reading takes the mark away
        "new_meter": "no",
    }


def test_refused_rows_of_a_workbook_are_texts_and_never_formulas(tmp_path: Path) -> None:
    reading = read_fleet(damaged(tmp_path / "fleet"), TODAY)
    (file,) = write_refused(reading, tmp_path / "refused.xlsx")
    book = openpyxl.load_workbook(file)
    assert book.sheetnames == ["craft", "hours", "rebuilds"]
    sheet = book["hours"]
    cells = {header.value: value for header, value in zip(sheet[1], sheet[2], strict=True)}
    assert cells["meter"].value == "=120 h"
    assert cells["meter"].data_type == "s"
    assert cells["refused row"].value == 5


def test_refused_rows_stand_under_their_own_headers(tmp_path: Path) -> None:
    folder = damaged(tmp_path / "fleet")
    reading = read_fleet(folder, TODAY)
    write_refused(reading, tmp_path / "out")
    header, refused = rows_of(tmp_path / "out" / "refused_rebuilds.csv")
    assert header[3:] == rows_of(folder / "rebuilds.csv")[0]
    assert refused[3:] == rows_of(folder / "rebuilds.csv")[2]


def test_nothing_is_written_where_nothing_was_refused(tmp_path: Path) -> None:
    reading = read_fleet(small_fleet_folder(tmp_path / "fleet"), TODAY)
    assert write_refused(reading, tmp_path / "out") == []
    assert not (tmp_path / "out").exists()


def test_a_place_that_cannot_be_written_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file where the folder should be")
    with pytest.raises(SourceError, match="cannot be written"):
        write_fleet(small_fleet(), tmp_path / "taken")


def test_refused_rows_too_long_for_a_workbook_are_refused_in_words(tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    set_cell(folder / "hours.csv", 5, "craft_id", "x" * 40_000)
    reading = read_fleet(folder, TODAY)
    with pytest.raises(SourceError, match="Name a folder"):
        write_refused(reading, tmp_path / "refused.xlsx")
    write_refused(reading, tmp_path / "out")
    assert "x" * 40_000 in (tmp_path / "out" / "refused_hours.csv").read_text(encoding="utf-8-sig")


def test_dates_are_written_as_days(tmp_path: Path) -> None:
    records = small_fleet()
    records.checks["checked_on"] = pd.to_datetime([date(2025, 8, 2), np.nan])
    write_fleet(records, tmp_path / "fleet")
    assert [row[1] for row in rows_of(tmp_path / "fleet" / "checks.csv")] == ["checked_on", "2025-08-02", ""]

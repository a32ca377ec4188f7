"""Templates: they hold the contract's columns, read back without a problem, and are plainly invented."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import openpyxl
import pytest

from forecaster import TABLES, open_fleet, read_fleet, template_folder, template_table, template_workbook
from forecaster.received_files import receive
from forecaster.settings import FleetSettings
from forecaster.templates import CRAFT, EXAMPLES, UNIT
from forecaster.zip_folders import ReceivedFile

TODAY = date(2026, 11, 1)
KINDS = {"my_fleet.zip": template_folder, "my_fleet.xlsx": template_workbook}


@pytest.mark.parametrize("file", KINDS)
def test_a_template_reads_back_without_a_problem(file: str, tmp_path: Path) -> None:
    reading = read_fleet(receive([ReceivedFile(file, KINDS[file]())]).lay_out(tmp_path), TODAY)
    assert reading.problems == ()
    assert reading.kept_aside == {}
    assert reading.read == dict.fromkeys(TABLES, 1)
    assert reading.records.settings == FleetSettings()


@pytest.mark.parametrize("file", KINDS)
def test_a_template_can_be_asked_as_it_is(file: str, tmp_path: Path) -> None:
    fleet = open_fleet(receive([ReceivedFile(file, KINDS[file]())]).lay_out(tmp_path), TODAY)
    assert [unit.unit_id for unit in fleet.forecast(TODAY).units] == [UNIT]


@pytest.mark.parametrize("name", TABLES)
def test_a_csv_template_has_every_column_of_the_contract_in_its_order(name: str) -> None:
    header, row = csv.reader(io.StringIO(template_table(name).decode("utf-8-sig")))
    assert header == list(TABLES[name].columns)
    assert len(row) == len(header)


@pytest.mark.parametrize("name", TABLES)
def test_every_column_has_an_example_but_the_days_on_which_something_ended(name: str) -> None:
    without = set(TABLES[name].columns) - set(EXAMPLES[name])
    assert without <= {"retired_on", "removed_on"}
    assert set(EXAMPLES[name]) <= set(TABLES[name].columns)


def test_the_example_is_plainly_invented() -> None:
    for rows in EXAMPLES.values():
        assert {rows.get("craft_id", CRAFT), rows.get("unit_id", UNIT)} == {CRAFT, UNIT}
    assert "delete this row" in str(EXAMPLES["craft"]["name"])


def test_the_workbook_explains_every_header() -> None:
    book = openpyxl.load_workbook(io.BytesIO(template_workbook()))
    for name, table in TABLES.items():
        headers = next(iter(book[name].iter_rows(min_row=1, max_row=1)))
        for cell, column in zip(headers, table.columns.values(), strict=True):
            assert column.meaning in cell.comment.text
            assert ("Needed." in cell.comment.text) == column.required


def test_the_workbook_holds_every_setting_with_its_default() -> None:
    rows = list(openpyxl.load_workbook(io.BytesIO(template_workbook()))["fleet"].values)[1:]
    told = {key: value for key, value, _ in rows}
    assert told["currency"] == "USD"
    assert told["costs.rebuild"] == FleetSettings().costs.rebuild
    assert told["season.opens"] == FleetSettings().season.opens
    assert "bench.budget" in told
    assert all(meaning for _, _, meaning in rows)


def test_the_same_contract_gives_the_same_folder() -> None:
    assert template_folder() == template_folder()

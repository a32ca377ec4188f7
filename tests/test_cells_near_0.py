"""Cells that hold 0 in an odd way, in every number column: 0 is never -0, and what is too small is told."""

from __future__ import annotations

import math
from pathlib import Path

import openpyxl
import pytest

from forecaster.commands import main
from forecaster.number_cells import plain_number
from forecaster.problems import Reading
from forecaster.reading import read_fleet
from forecaster.records import TABLES
from tests.small_fleet import TODAY, rows_of, small_fleet_folder, write_rows

COLUMNS = [(t.name, c.name) for t in TABLES.values() for c in t.columns.values() if c.kind in ("number", "whole")]
ZEROS = ("-0", "-0.0", "+0", "-.0", "-0e5", "0")
TOO_SMALL = ("1e-320", "-1e-320", "1e-7", "5e-324", "0.0000001")


def numbers_below_the_header(folder: Path, table: str, column: str, text: str) -> None:
    """Type `text` into every cell of a column that holds a number."""
    rows = rows_of(folder / f"{table}.csv")
    place = rows[0].index(column)
    write_rows(folder / f"{table}.csv", [rows[0], *([*r[:place], text, *r[place + 1 :]] for r in rows[1:])])


def as_workbook(folder: Path, path: Path, table: str, column: str, number: float) -> Path:
    """The folder as a workbook of texts, with a cell of this number in one column of every row."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name in TABLES:
        sheet = book.create_sheet(name)
        for at, row in enumerate(rows_of(folder / f"{name}.csv"), 1):
            sheet.append([text or None for text in row])
            if name == table and at > 1:
                sheet.cell(at, 1 + list(TABLES[table].columns).index(column)).value = number
    book.save(path)
    return path


def read_as_0_or_told(reading: Reading, table: str, column: str) -> None:
    """No number is -0 or nearly 0; a cell that was not used is told with its column."""
    values = [float(value) for value in reading.records.table(table)[column].dropna()]
    assert all(value == 0 and math.copysign(1.0, value) == 1.0 for value in values)
    if not values:
        assert any(problem.column == column for problem in reading.problems)


@pytest.mark.parametrize(("table", "column"), COLUMNS)
@pytest.mark.parametrize("text", [*ZEROS, *TOO_SMALL])
def test_a_cell_of_a_csv_file_is_0_or_told(tmp_path: Path, table: str, column: str, text: str) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    numbers_below_the_header(folder, table, column, text)
    read_as_0_or_told(read_fleet(folder, TODAY), table, column)


@pytest.mark.parametrize(("table", "column"), COLUMNS)
@pytest.mark.parametrize("number", [-0.0, 0.0, 1e-320, 1e-7])
def test_a_cell_of_a_workbook_is_0_or_told(tmp_path: Path, table: str, column: str, number: float) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    read_as_0_or_told(
        read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", table, column, number), TODAY), table, column
    )


@pytest.mark.parametrize("text", TOO_SMALL)
def test_what_is_too_small_is_told_with_its_row_and_what_to_type(tmp_path: Path, text: str) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    rows = rows_of(folder / "hours.csv")
    rows[4][rows[0].index("meter")] = text
    write_rows(folder / "hours.csv", rows)
    (problem,) = [p for p in read_fleet(folder, TODAY).problems if p.refused]
    assert (problem.file, problem.row, problem.column, problem.value) == ("hours.csv", 5, "meter", text)
    assert "must be 0 or more" in problem.reason or "nearer to 0 than anything" in problem.reason


@pytest.mark.parametrize("place", ["first", "middle", "last"])
@pytest.mark.parametrize("command", ["validate", "forecast", "slip", "flooded"])
def test_a_meter_that_reads_minus_0_stops_no_command(
    tmp_path: Path, command: str, place: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    rows = rows_of(folder / "hours.csv")
    of_one = [n for n, row in enumerate(rows) if row[0] == "C001"]
    rows[{"first": of_one[0], "middle": of_one[9], "last": of_one[-1]}[place]][2] = "-0"
    write_rows(folder / "hours.csv", rows)
    craft = ["C002"] if command == "flooded" else []
    assert main([command, str(folder), *craft, "--as-of", TODAY.isoformat()]) == 0
    assert "-0 h" not in capsys.readouterr().out


def test_no_number_is_written_as_minus_0() -> None:
    assert [plain_number(value) for value in (-0.0, 0.0, -0.5)] == ["0", "0", "-0.5"]

"""Opening a fleet: folders and workbooks, encodings, what parts the columns, headers, and what is nowhere."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Callable
from contextlib import suppress
from datetime import date, datetime, timedelta
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from openpyxl.worksheet.worksheet import Worksheet

from forecaster import reading as reading_room
from forecaster import text_files, workbook_xml, workbooks
from forecaster.errors import ForecasterError, SourceError
from forecaster.problems import Problem, Reading
from forecaster.reading import read_fleet
from forecaster.records import TABLES, FleetRecords
from forecaster.row_checks import check_table
from forecaster.text_files import read_text_table
from tests.fuzzed_workbooks import good_workbook, packed
from tests.small_fleet import TODAY, cell, rows_of, set_cell, small_fleet, small_fleet_folder, write_rows


@pytest.fixture(scope="module")
def undamaged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_fleet_folder(tmp_path_factory.mktemp("good") / "fleet")


@pytest.fixture
def folder(undamaged: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(undamaged, tmp_path / "fleet"))


def assert_same_records(reading: Reading, expected: FleetRecords | None = None) -> None:
    """The same cells in the same rows as the small fleet."""
    expected = expected or small_fleet()
    for table in TABLES:
        pd.testing.assert_frame_equal(reading.records.table(table), expected.table(table))


def the_notice(reading: Reading, about: str) -> Problem:
    (notice,) = [problem for problem in reading.problems if about in problem.reason]
    assert not notice.refused
    assert not notice.stops_answer
    return notice


def rewrite(file: Path, encoding: str, change: Callable[[str], str] = str) -> None:
    file.write_bytes(change(file.read_text(encoding="utf-8")).encode(encoding))


# --- encodings -----------------------------------------------------------------------------------------------------


def test_a_byte_order_mark_is_read_in_silence(folder: Path) -> None:
    for file in folder.iterdir():
        rewrite(file, "utf-8-sig")
    reading = read_fleet(folder, TODAY)
    assert reading.problems == ()
    assert_same_records(reading)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_with_a_byte_order_mark_is_read_with_a_notice(folder: Path, encoding: str) -> None:
    rewrite(folder / "craft.csv", encoding, lambda text: text if encoding == "utf-16" else "\ufeff" + text)
    reading = read_fleet(folder, TODAY)
    assert the_notice(reading, "it was read as UTF-16").file == "craft.csv"
    assert_same_records(reading)


def test_windows_1252_is_read_with_a_notice_that_shows_a_line_to_judge_by(folder: Path) -> None:
    rewrite(folder / "craft.csv", "cp1252")
    reading = read_fleet(folder, TODAY)
    assert "Ødegård Boats" in the_notice(reading, "it was read as Windows-1252").reason
    assert_same_records(reading)


def test_line_ends_of_any_system_are_the_same(folder: Path) -> None:
    for file, end in (("hours.csv", "\r\n"), ("craft.csv", "\r"), ("water.csv", "\r\n")):
        rewrite(folder / file, "utf-8", lambda text, end=end: text.replace("\n", end))  # type: ignore[misc]
    reading = read_fleet(folder, TODAY)
    assert reading.problems == ()
    assert_same_records(reading)


# --- what parts the columns ----------------------------------------------------------------------------------------


def reparted(file: Path, delimiter: str, first_line: str = "") -> None:
    lines = [delimiter.join(f'"{c}"' if delimiter in c else c for c in row) for row in rows_of(file)]
    file.write_text(first_line + "\n".join(lines).replace('"Two"', "Two") + "\n", encoding="utf-8")


@pytest.mark.parametrize(("delimiter", "name"), [(";", "semicolons"), ("\t", "tabs"), ("|", "vertical bars")])
def test_other_signs_between_columns_are_read_with_a_notice(folder: Path, delimiter: str, name: str) -> None:
    reparted(folder / "hours.csv", delimiter)
    reading = read_fleet(folder, TODAY)
    the_notice(reading, f"columns are parted by {name}")
    assert_same_records(reading)


def test_a_line_that_declares_the_sign_is_no_row(folder: Path) -> None:
    reparted(folder / "hours.csv", ";", first_line="sep=;\n")
    set_row = rows_of(folder / "hours.csv")
    assert set_row[0] == ["sep=;"]
    assert_same_records(read_fleet(folder, TODAY))


def test_a_decimal_comma_is_read_in_a_file_parted_by_semicolons(folder: Path) -> None:
    rewrite(folder / "hours.csv", "utf-8", lambda text: text.replace(",", ";").replace(".", ","))
    reading = read_fleet(folder, TODAY)
    notice = the_notice(reading, "decimal comma")
    assert (notice.column, notice.row) == ("meter", None)
    assert f"{notice.value} was read as {str(notice.value).replace(',', '.')}" in notice.reason
    assert_same_records(reading)


# --- rows as a spreadsheet numbers them ----------------------------------------------------------------------------


def test_rows_are_numbered_as_a_spreadsheet_does(folder: Path) -> None:
    rows = rows_of(folder / "craft.csv")
    rows[1][1] = "Otter\nwith a second line\n\nand a fourth"  # one row of a spreadsheet, five lines of the file
    rows.insert(2, [])
    rows.insert(3, ["", " ", ""])
    rows[4][4] = "x"  # C002's model year
    write_rows(folder / "craft.csv", rows)
    reading = read_fleet(folder, TODAY)
    (problem,) = reading.problems
    assert (problem.row, problem.value) == (5, "x")
    assert reading.records.craft.index.tolist() == [2, 5, 6, 7]


def test_both_parsers_read_the_same(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    quick = read_fleet(folder, TODAY)

    def refuse(*_: object, **__: object) -> None:
        raise pd.errors.ParserError("as if a row did not fit the header")

    monkeypatch.setattr(text_files.pd, "read_csv", refuse)
    by_record = read_fleet(folder, TODAY)
    assert by_record.problems == quick.problems == ()
    assert_same_records(by_record)


def test_open_quotation_marks_spoil_one_line_each_and_not_what_is_between_them(folder: Path) -> None:
    lines = (folder / "hours.csv").read_text().splitlines()
    for row in (5, 70, 71):
        lines[row - 1] = lines[row - 1].replace(",2025", ',"2025')
    (folder / "hours.csv").write_text("\n".join(lines))
    reading = read_fleet(folder, TODAY)
    assert [(p.row, p.value) for p in reading.problems] == [(row, lines[row - 1]) for row in (5, 70, 71)]
    assert reading.read["hours"] == 77


def test_a_note_of_several_lines_is_no_open_quotation_mark(folder: Path) -> None:
    rows = [[*row, "calm"] for row in rows_of(folder / "hours.csv")]
    rows[0][-1] = "notes"
    rows[5][-1] = "rough sea\nspray in the vents\n"
    write_rows(folder / "hours.csv", rows)
    reading = read_fleet(folder, TODAY)
    assert_same_records(reading)
    assert reading.kept_aside["hours"].loc[6, "notes"] == "rough sea\nspray in the vents\n"


def test_hundreds_of_open_quotation_marks_are_one_problem_of_the_file(folder: Path) -> None:
    # each line closes the quotation of the one before it and opens another, which the last line leaves open
    (folder / "hours.csv").write_text("craft_id,read_on,meter\n" + 'C"001,"2025-05-05\n' * 300)
    (problem,) = read_fleet(folder, TODAY).stops_answer
    assert "more than 100 quotation marks" in problem.reason


# --- headers -------------------------------------------------------------------------------------------------------


def test_headers_are_read_whatever_their_case_and_blanks_with_a_notice(folder: Path) -> None:
    rewrite(folder / "hours.csv", "utf-8", lambda text: text.replace("craft_id,read_on", " Craft ID ,Read-On", 1))
    reading = read_fleet(folder, TODAY)
    assert [(p.row, p.column, p.value) for p in reading.problems] == [
        (1, "craft_id", " Craft ID "),
        (1, "read_on", "Read-On"),
    ]
    assert_same_records(reading)


def test_columns_that_are_not_in_the_contract_are_kept_aside_and_told(folder: Path) -> None:
    rows = rows_of(folder / "water.csv")
    for row, more in zip(rows, (["who", "seen by", ""], ["Ann", "x", ""], ["", "", ""], ["Bo", "", "!"]), strict=True):
        row += more
    write_rows(folder / "water.csv", rows)
    reading = read_fleet(folder, TODAY)
    assert_same_records(reading)
    assert [(p.row, p.column, p.refused) for p in reading.problems] == [
        (1, "who", False),
        (1, "seen by", False),
        (1, "column 10", False),
    ]
    kept = reading.kept_aside["water"]
    assert list(kept.columns) == ["who", "seen by", "column 10"]
    assert kept.loc[4].tolist() == ["Bo", "", "!"]


def test_a_header_that_nearly_is_one_names_it(folder: Path) -> None:
    rewrite(folder / "rebuilds.csv", "utf-8", lambda text: text.replace("slip_found", "slip_fond", 1))
    notice = the_notice(read_fleet(folder, TODAY), "kept aside")
    assert notice.column == "slip_fond"
    assert notice.remedy == "If slip_found is meant, rename the header to slip_found."


def test_empty_columns_without_a_header_are_no_news(folder: Path) -> None:
    rewrite(folder / "hours.csv", "utf-8", lambda text: text.replace("\n", ",,\n"))
    reading = read_fleet(folder, TODAY)
    assert reading.problems == ()
    assert_same_records(reading)


def test_a_column_that_is_there_twice_is_used_where_both_say_the_same(folder: Path) -> None:
    rows = rows_of(folder / "hours.csv")
    rows = [[*row, row[2]] for row in rows]
    rows[4][4] = "7"
    write_rows(folder / "hours.csv", rows)
    reading = read_fleet(folder, TODAY)
    (problem,) = reading.problems
    assert (problem.row, problem.column, problem.value) == (5, "meter", f"{rows[4][2]} | 7")
    assert "there twice" in problem.reason
    assert reading.read["hours"] == 79


def test_a_describing_column_that_is_there_twice_is_blank_where_the_two_differ(folder: Path) -> None:
    rows = [[*row, row[5]] for row in rows_of(folder / "craft.csv")]
    rows[1][-1] = "fresh"
    write_rows(folder / "craft.csv", rows)
    reading = read_fleet(folder, TODAY)
    (problem,) = reading.problems
    assert (problem.row, problem.value, problem.refused) == (2, "salt | fresh", False)
    assert reading.records.craft["water"].tolist() == ["unknown", "fresh", "brackish", "unknown"]


def test_a_title_above_the_header_is_pointed_out(folder: Path) -> None:
    rewrite(folder / "hours.csv", "utf-8", lambda text: "Our engine hours\n\n" + text)
    problems = read_fleet(folder, TODAY).stops_answer
    assert [problem.column for problem in problems] == ["craft_id", "read_on", "meter"]
    assert all(problem.remedy.endswith("Row 3 looks like the header.") for problem in problems)


def test_blank_lines_above_the_header_are_passed_over(folder: Path) -> None:
    rewrite(folder / "hours.csv", "utf-8", lambda text: "\n,,,\n" + text)
    reading = read_fleet(folder, TODAY)
    assert reading.problems == ()
    assert reading.records.hours.index[0] == 4


def test_rows_that_do_not_fit_below_blank_lines_keep_their_numbers(folder: Path) -> None:
    rows = [[], ["", "", "", "", "", ""], *rows_of(folder / "hours.csv")]
    rows[7] += ["two", "more"]
    write_rows(folder / "hours.csv", rows)
    reading = read_fleet(folder, TODAY)
    assert [(p.row, p.value) for p in reading.problems] == [(8, "two | more")]
    assert reading.records.hours.index[:5].tolist() == [4, 5, 6, 7, 9]


# --- files of a folder ---------------------------------------------------------------------------------------------


def test_file_names_are_read_whatever_their_case_with_a_notice(folder: Path) -> None:
    (folder / "craft.csv").rename(folder / "Craft .CSV")
    reading = read_fleet(folder, TODAY)
    assert the_notice(reading, "the file was read as craft.csv").file == "Craft .CSV"
    assert_same_records(reading)


def test_two_files_of_one_name_are_not_chosen_between(folder: Path) -> None:
    shutil.copy(folder / "water.csv", folder / "Water.csv")
    (folder / "water.csv").rename(folder / "WATER.csv")
    (problem,) = read_fleet(folder, TODAY).stops_answer
    assert problem.file == "water.csv"
    assert "WATER.csv and Water.csv could each be meant" in problem.reason


def test_the_file_of_the_exact_name_is_read_and_its_namesake_told(folder: Path) -> None:
    (folder / "Water.csv").write_text("craft_id\n")
    reading = read_fleet(folder, TODAY)
    assert the_notice(reading, "water.csv is there too and is read instead").file == "Water.csv"
    assert_same_records(reading)


def test_other_tables_in_the_folder_are_told_and_not_read(folder: Path) -> None:
    (folder / "hours_2024.csv").write_text("craft_id,read_on,meter\n")
    (folder / "~$craft.xlsx").write_bytes(b"the lock of an open workbook")
    (folder / "notes.txt").write_text("not a table")
    assert the_notice(read_fleet(folder, TODAY), "not read").file == "hours_2024.csv"


@pytest.mark.parametrize("content", ["", "\n \n"])
def test_an_empty_file_means_nothing_recorded_and_says_so(folder: Path, content: str) -> None:
    (folder / "checks.csv").write_text(content)
    reading = read_fleet(folder, TODAY)
    assert "nothing is recorded" in the_notice(reading, "the file is empty").reason
    assert reading.read["checks"] == 0


def test_a_file_with_only_a_header_means_nothing_recorded(folder: Path) -> None:
    (folder / "checks.csv").write_text("unit_id,checked_on\n")
    reading = read_fleet(folder, TODAY)
    assert reading.problems == ()
    assert reading.read["checks"] == 0


@pytest.mark.parametrize("table", ["craft", "fittings"])
@pytest.mark.parametrize("content", ["", "header"])
def test_empty_craft_or_fittings_stop_the_answer(folder: Path, table: str, content: str) -> None:
    header = ",".join(TABLES[table].columns) + "\n"
    (folder / f"{table}.csv").write_text(header if content else "")
    (problem,) = read_fleet(folder, TODAY).stops_answer
    assert (problem.file, problem.row) == (f"{table}.csv", None)


def test_craft_of_which_every_row_is_refused_stop_the_answer(folder: Path) -> None:
    rewrite(folder / "craft.csv", "utf-8", lambda text: text.replace("C00", ""))
    for row in range(2, 6):
        set_cell(folder / "craft.csv", row, "craft_id", "")
    reading = read_fleet(folder, TODAY)
    (problem,) = reading.stops_answer
    assert "every row was refused" in problem.reason
    assert reading.refused_counts["craft"] == 4
    assert reading.refused_counts["hours"] == 0  # one mistake is told once


def test_a_file_that_cannot_be_opened_is_one_problem(folder: Path) -> None:
    (folder / "hours.csv").unlink()
    (folder / "hours.csv").mkdir()
    (problem,) = read_fleet(folder, TODAY).stops_answer
    assert problem.file == "hours.csv"
    assert "cannot be opened" in problem.reason


def test_a_file_beyond_the_size_limit_is_refused(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading_room, "MAX_CSV_BYTES", 1_000)
    (problem,) = read_fleet(folder, TODAY).stops_answer
    assert problem.file == "hours.csv"
    assert "at most 1,000 bytes are read" in problem.reason


def test_the_default_settings_hold_without_fleet_toml(folder: Path) -> None:
    (folder / "fleet.toml").unlink()
    reading = read_fleet(folder, TODAY)
    assert reading.problems == ()
    assert reading.records.settings.currency == "USD"


def test_every_wrong_setting_is_told_at_once(folder: Path) -> None:
    (folder / "fleet.toml").write_text('[costs]\nrebuild = "dear"\ncheck = -1\n')
    problems = read_fleet(folder, TODAY).stops_answer
    assert len(problems) == 2
    assert "costs.rebuild" in problems[0].reason
    assert "costs.check" in problems[1].reason


def test_settings_that_are_no_utf_8_are_a_problem(folder: Path) -> None:
    (folder / "fleet.toml").write_bytes('currency = "€"'.encode("cp1252"))
    (problem,) = read_fleet(folder, TODAY).stops_answer
    assert problem.remedy == "Save the file as UTF-8."


# --- a source that is nowhere, or no fleet -------------------------------------------------------------------------


def test_a_source_that_is_nowhere_names_the_nearest(folder: Path) -> None:
    with pytest.raises(SourceError, match=r"fleat is nowhere\. The nearest name there is fleet\."):
        read_fleet(folder.parent / "fleat", TODAY)


def test_a_source_deep_in_nowhere_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match="is nowhere"):
        read_fleet(tmp_path / "a" / "b" / "c", TODAY)


@pytest.mark.parametrize("name", ["x" * 5000, "a\0b"])
def test_a_name_that_cannot_be_one_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(SourceError):
        read_fleet(tmp_path / name, TODAY)


def test_a_folder_that_is_no_fleet_says_what_was_looked_for_and_found(tmp_path: Path) -> None:
    (tmp_path / "crafts.csv").write_text("craft_id\n")
    (tmp_path / "letters.txt").write_text("")
    with pytest.raises(SourceError) as refusal:
        read_fleet(tmp_path, TODAY)
    said = str(refusal.value)
    assert "Looked for: craft.csv, fittings.csv" in said
    assert "Found: crafts.csv, letters.txt." in said
    assert "crafts.csv may be meant as craft.csv: rename it" in said


def test_the_folder_above_a_fleet_points_to_it(folder: Path) -> None:
    with pytest.raises(SourceError, match="the folder fleet in it holds a fleet: give that"):
        read_fleet(folder.parent, TODAY)


def test_one_file_of_a_fleet_points_to_its_folder(folder: Path) -> None:
    with pytest.raises(SourceError, match="neither a fleet folder nor a workbook"):
        read_fleet(folder / "craft.csv", TODAY)


# --- workbooks -----------------------------------------------------------------------------------------------------


def as_workbook(folder: Path, path: Path, change: Callable[[openpyxl.Workbook], None] | None = None) -> Path:
    """The fleet folder as a workbook, cells typed as a spreadsheet would: dates, numbers, texts."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for table in TABLES.values():
        sheet = book.create_sheet(table.name)
        header, *rows = rows_of(folder / table.file)
        sheet.append(header)
        for row in rows:
            sheet.append([typed(text, table.columns[name].kind) for name, text in zip(header, row, strict=True)])
    if change:
        change(book)
    book.save(path)
    return path


def typed(text: str, kind: str) -> object:
    if not text:
        return None
    if kind == "date":
        return date.fromisoformat(text)
    return float(text) if kind in ("number", "whole") else text


def test_a_workbook_reads_as_the_folder_does(folder: Path, tmp_path: Path) -> None:
    reading = read_fleet(as_workbook(folder, tmp_path / "small_fleet.xlsx"), TODAY)
    assert reading.problems == ()
    assert reading.records.name == "small_fleet"
    assert_same_records(reading)


def test_problems_of_a_workbook_name_the_sheet(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["hours"]["C5"] = "a lot"

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    (problem,) = reading.problems
    assert (problem.file, problem.row, problem.column) == ("fleet.xlsx, sheet hours", 5, "meter")


def cell_case(name: str, value: object, reason: str, shown: str | None) -> object:
    return pytest.param(value, reason, shown, id=name)


@pytest.mark.parametrize(
    ("value", "reason", "shown"),
    [
        cell_case("formula", "=C4+1", "cell C5 holds a formula whose value is not stored", "=C4+1"),
        cell_case("error", "#REF!", "cell C5 holds an error value", "#REF!"),
        cell_case("duration", timedelta(hours=140, minutes=30), "a time of day or a duration", "140:30:00"),
        cell_case("yes or no", True, "not a number", "TRUE"),
        cell_case("decimal comma", "140,5", "a comma can mark decimals or thousands", "140,5"),
    ],
)
def test_cells_that_only_a_workbook_can_hold_are_refused_by_name(
    folder: Path, tmp_path: Path, value: object, reason: str, shown: str
) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["hours"]["C5"] = value

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    (problem,) = reading.problems
    assert (problem.row, problem.column, problem.value) == (5, "meter", shown)
    assert reason in problem.reason
    assert reading.read["hours"] == 79


def test_a_formula_with_its_value_stored_is_read(folder: Path, tmp_path: Path) -> None:
    path = as_workbook(folder, tmp_path / "fleet.xlsx")
    meter = cell(folder / "hours.csv", 5, "meter")
    in_parts(path, "hours", lambda xml: with_cell(xml, "C5", f"<f>C4+6.4</f><v>{meter}</v>"))
    reading = read_fleet(path, TODAY)
    assert reading.problems == ()
    assert_same_records(reading)


def test_a_formula_whose_stored_value_is_the_empty_text_is_a_blank_cell(folder: Path, tmp_path: Path) -> None:
    path = as_workbook(folder, tmp_path / "fleet.xlsx")
    blank = '<c r="D5" t="str"><f>IF(A5="","yes","")</f><v></v></c>'
    in_parts(path, "hours", lambda xml: with_cell(xml, "D5", "").replace('<c r="D5" t="inlineStr"></c>', blank))
    reading = read_fleet(path, TODAY)
    assert reading.problems == ()
    assert_same_records(reading)


def test_a_number_and_its_text_in_one_column_are_the_same(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["craft"]["E3"] = "2022"  # C001's model year is the number 2022

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    assert reading.problems == ()
    assert reading.records.craft["model_year"].tolist()[:2] == [2022, 2022]


def test_a_yes_or_no_beside_the_number_one_stays_itself(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["hours"]["C62"] = 1
        book["hours"]["C63"] = True

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    assert [(p.row, p.value) for p in reading.problems if "not a number" in p.reason] == [(63, "TRUE")]
    assert reading.records.hours.loc[62, "meter"] == 1


def test_merged_cells_refuse_the_rows_that_they_blank(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["hours"].merge_cells("A5:A7")

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    merged = [p for p in reading.problems if "merged" in p.reason]
    assert [(p.row, p.column) for p in merged] == [(6, "craft_id"), (7, "craft_id")]
    assert "cell A6 is merged into A5:A7" in merged[0].reason
    assert reading.read["hours"] == 78


def test_a_formula_in_a_row_of_its_own_is_not_lost(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["checks"]["C9"] = "=A1"

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    assert {p.row for p in reading.problems} == {9}
    assert reading.refused_counts["checks"] == 1


def test_days_typed_as_plain_numbers_are_read_with_a_notice(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["hours"]["B5"] = 45803  # 2025-05-26
        book["hours"]["B5"].number_format = "General"

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    assert "45803 was read as 2025-05-26" in the_notice(reading, "spreadsheet's day numbers").reason
    assert_same_records(reading)


def test_a_workbook_that_counts_days_from_1904_is_read_so(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book.epoch = datetime(1904, 1, 1)
        book["hours"]["B5"] = 45803 - 1462
        book["hours"]["B5"].number_format = "General"

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    assert "44341 was read as 2025-05-26" in the_notice(reading, "spreadsheet's day numbers").reason
    assert_same_records(reading)


def test_settings_of_a_workbook_stand_in_their_own_sheet(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        sheet = book.create_sheet("fleet")
        for row in (
            ["key", "value"],
            ["currency", "EUR"],
            ["costs.rebuild", 710],
            ["season.opens", date(2026, 4, 15)],
            ["bench.budget", None],
        ):
            sheet.append(row)

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    settings = reading.records.settings
    assert (settings.currency, settings.costs.rebuild, settings.season.opens) == ("EUR", 710, "04-15")
    (notice,) = reading.problems
    assert (notice.row, notice.column, notice.value) == (4, "season.opens", "2026-04-15")


@pytest.mark.parametrize(
    ("key", "value", "reason"),
    [
        ("costs.rebuilt", 3, "The nearest known key is rebuild"),
        ("costs rebuild", 3, "is not a key"),
        ("costs.check", "dear", "costs.check"),
        ("currency", "a\nb\nc\nd\ne", "currency"),
    ],
)
def test_wrong_settings_in_a_workbook_stop_the_answer(
    folder: Path, tmp_path: Path, key: str, value: object, reason: str
) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book.create_sheet("fleet").append([key, value])

    (problem,) = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY).stops_answer
    assert problem.file == "fleet.xlsx, sheet fleet"
    assert reason in problem.reason


def test_sheets_by_other_names_are_told(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["hours"].title = " Hours"
        book.create_sheet("scribbles")

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    assert {(p.file, p.reason) for p in reading.problems} == {
        ("fleet.xlsx, sheet  Hours", "the sheet was read as hours"),
        ("fleet.xlsx, sheet scribbles", "this is not one of a fleet's sheets; it is not read"),
    }
    assert_same_records(reading)


def test_a_workbook_without_fittings_stops_the_answer(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["fittings"].title = "fitting"

    (problem,) = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY).stops_answer
    assert problem.remedy == "Add a sheet fittings. If fitting is meant, rename it."


def test_a_workbook_that_is_no_fleet_says_what_was_looked_for_and_found(tmp_path: Path) -> None:
    openpyxl.Workbook().save(tmp_path / "other.xlsx")
    with pytest.raises(SourceError, match=r"Looked for: craft, fittings.*Found: Sheet\."):
        read_fleet(tmp_path / "other.xlsx", TODAY)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "not a workbook, or it is damaged"),
        (b"craft_id\nC001\n", "not a workbook, or it is damaged"),
        (b"PK\x03\x04 and then nothing of a zip", "not a workbook, or it is damaged"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "locked with a password"),
    ],
)
def test_a_file_that_is_no_workbook_is_refused_in_words(tmp_path: Path, content: bytes, reason: str) -> None:
    (tmp_path / "fleet.xlsx").write_bytes(content)
    with pytest.raises(SourceError, match=reason):
        read_fleet(tmp_path / "fleet.xlsx", TODAY)


# --- workbooks that mean harm, or are broken -----------------------------------------------------------------------


def in_parts(path: Path, sheet: str, change: Callable[[str], str]) -> None:
    """Rewrite a sheet's own XML inside a workbook."""
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    part = f"xl/worksheets/sheet{1 + list(TABLES).index(sheet)}.xml"
    parts[part] = change(parts[part].decode()).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, content)


def with_cell(xml: str, place: str, inside: str) -> str:
    """A sheet's XML with one cell's inside replaced."""
    start = xml.index(f'<c r="{place}"')
    end = xml.index("</c>", start)
    return xml[: xml.index(">", start) + 1] + inside + xml[end:]


def test_one_cell_at_the_far_corner_is_refused_before_it_takes_all_memory(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["hours"]["XFD1048576"] = "x"

    (problem,) = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY).stops_answer
    assert "reaches to cell XFD1048576" in problem.reason
    assert "Delete the rows below" in problem.remedy


@pytest.mark.parametrize(
    "cell_xml",
    [
        """<row r='1048576'><c r='XFD1048576'><v>1</v></c></row>""",
        """<row\n r = "1048576"><c\tr\n=\t"xfd1048576"><v>1</v></c></row>""",
        """<x:row r="1048576"><x:c r="XFD1048576"><x:v>1</x:v></x:c></x:row>""",
    ],
)
def test_a_far_cell_is_found_however_it_is_spelt(folder: Path, tmp_path: Path, cell_xml: str) -> None:
    path = as_workbook(folder, tmp_path / "fleet.xlsx")
    in_parts(path, "hours", lambda xml: xml.replace("</sheetData>", f"{cell_xml}</sheetData>"))
    (problem,) = read_fleet(path, TODAY).stops_answer
    assert "reaches to cell XFD1048576" in problem.reason


def test_a_far_but_bearable_cell_is_read(folder: Path, tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["hours"]["ZZ3"] = "a note"
        book["water"]["A20000"] = "C-nowhere"

    reading = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY)
    assert reading.read == {"craft": 4, "fittings": 8, "hours": 80, "water": 3, "rebuilds": 3, "checks": 2}
    assert reading.kept_aside["hours"].columns.tolist() == ["column 702"]
    assert {p.row for p in reading.problems if p.refused} == {20000}


def test_a_far_row_whose_cells_do_not_say_where_they_are_is_read_for_what_it_is(folder: Path, tmp_path: Path) -> None:
    path = as_workbook(folder, tmp_path / "fleet.xlsx")
    far = '<row r="1048576"><c><v>1</v></c></row></sheetData>'
    in_parts(path, "hours", lambda xml: xml.replace("</sheetData>", far))
    assert {p.row for p in read_fleet(path, TODAY).problems if p.refused} == {1_048_576}


def test_cells_that_do_not_say_where_they_are_are_counted(folder: Path, tmp_path: Path) -> None:
    path = as_workbook(folder, tmp_path / "fleet.xlsx")
    sprawl = "<row>" + "<c><v>1</v></c>" * 9_000 + "</row>" + "<row/>" * 100_000 + "</sheetData>"
    in_parts(path, "hours", lambda xml: xml.replace("</sheetData>", sprawl))
    (problem,) = read_fleet(path, TODAY).stops_answer
    assert "Delete the rows below" in problem.remedy


def test_a_document_type_in_a_workbook_is_refused(folder: Path, tmp_path: Path) -> None:
    path = as_workbook(folder, tmp_path / "fleet.xlsx")
    bomb = '<!DOCTYPE w [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]><worksheet'
    in_parts(path, "hours", lambda xml: with_cell(xml.replace("<worksheet", bomb, 1), "C5", "<f>&b;</f>"))
    (problem,) = read_fleet(path, TODAY).stops_answer
    assert "document type" in problem.reason


def test_a_workbook_that_unpacks_beyond_the_limit_is_refused(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workbook_xml, "MAX_UNPACKED_BYTES", 5_000)
    with pytest.raises(SourceError, match="unpacks to"):
        read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx"), TODAY)


def test_a_workbook_beyond_the_size_limit_is_refused(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading_room, "MAX_WORKBOOK_BYTES", 100)
    with pytest.raises(SourceError, match="at most 100 bytes are read"):
        read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx"), TODAY)


def test_more_merged_cells_than_rows_are_refused(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbooks, "MOST_MERGED_ROWS", 10)

    def change(book: openpyxl.Workbook) -> None:
        sheet: Worksheet = book["hours"]
        sheet.merge_cells("A2:A80")

    (problem,) = read_fleet(as_workbook(folder, tmp_path / "fleet.xlsx", change), TODAY).stops_answer
    assert problem.remedy == "Unmerge all cells of the sheet."


@pytest.fixture(scope="module")
def workbook_bytes(undamaged: Path, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return as_workbook(undamaged, tmp_path_factory.mktemp("book") / "fleet.xlsx").read_bytes()


@given(place=st.integers(0, 10_000_000), byte=st.integers(0, 255), cut=st.booleans())
def test_a_damaged_workbook_is_read_or_refused_and_nothing_else(
    workbook_bytes: bytes, tmp_path_factory: pytest.TempPathFactory, place: int, byte: int, cut: bool
) -> None:
    place %= len(workbook_bytes)
    damaged = bytearray(workbook_bytes)
    damaged[place] = byte
    path = tmp_path_factory.mktemp("damaged") / "fleet.xlsx"
    path.write_bytes(bytes(damaged[:place] if cut else damaged))
    with suppress(ForecasterError):
        read_fleet(path, TODAY)


# --- any bytes at all ----------------------------------------------------------------------------------------------

WORDS = [
    b"craft_id",
    b"read_on",
    b"meter",
    b"new_meter",
    b"C001",
    b"yes",
    b"2025-05-05",
    b"05/05/2025",
    b"12.5",
    b"1,5",
]
SIGNS = [b",", b";", b"\t", b"\n", b"\r", b'"', b'""', b"sep=;\n", b"\xef\xbb\xbf", b"\xff\xfe", b"\x00", b"\xe9", b" "]
FRAGMENTS = st.sampled_from([*WORDS, *SIGNS])
BYTES = st.one_of(st.binary(max_size=200), st.lists(FRAGMENTS, max_size=60).map(b"".join))
HEADER = b"craft_id,read_on,meter\n"


@given(BYTES, st.booleans())
@example(b"", False)
@example(b'"C001",2025-05-05,1\n"', True)
@example(b"sep=;\ncraft_id;read_on;meter\nC001;2025-05-05;12,5\n", False)
@example(b'"' + b"x" * 200_000, True)
@example(b"\xff\xfe\x00\xd8", False)
@example(b"C001,2025-05-05,1e400\nC001,99999-01-01,1\n", True)
def test_any_bytes_are_checked_or_refused_and_nothing_else(content: bytes, below_a_header: bool) -> None:
    try:
        raw = read_text_table((HEADER if below_a_header else b"") + content, TABLES["hours"], "hours.csv")
    except ForecasterError:
        return
    checked = check_table(raw, TODAY)
    assert checked.rows.index.is_unique
    assert len(checked.accepted) + len(checked.refused()) == len(raw.cells)
    assert all(problem.reason and problem.remedy for problem in checked.problems)


@settings(max_examples=8)
@given(BYTES)
def test_any_bytes_as_a_file_of_a_fleet_spoil_nothing_else(
    undamaged: Path, tmp_path_factory: pytest.TempPathFactory, content: bytes
) -> None:
    folder = Path(shutil.copytree(undamaged, tmp_path_factory.mktemp("any") / "fleet"))
    (folder / "hours.csv").write_bytes(HEADER + content)
    reading = read_fleet(folder, TODAY)
    assert reading.read | {"hours": 0} == {
        "craft": 4,
        "fittings": 8,
        "hours": 0,
        "water": 3,
        "rebuilds": 3,
        "checks": 2,
    }


@pytest.mark.parametrize("encoding", ["utf-7", "no-such-encoding"])
@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/_rels/workbook.xml.rels"])
def test_a_workbook_that_names_an_encoding_of_no_use_is_refused_in_plain_words(
    tmp_path: Path, part: str, encoding: str
) -> None:
    parts = dict(good_workbook())
    parts[part] = f'<?xml version="1.0" encoding="{encoding}"?>'.encode() + parts[part].partition(b"?>")[2]
    file = tmp_path / "fleet.xlsx"
    file.write_bytes(packed(parts))
    with pytest.raises(SourceError, match="the workbook is damaged"):
        read_fleet(file, TODAY)

"""The work list: read back with another library, cell by cell."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from io import BytesIO
from typing import Any
from zipfile import ZipFile

import openpyxl
import pytest
from openpyxl.utils.escape import unescape

from forecaster.paper import wording
from forecaster.paper.content import PaperContent
from forecaster.paper.work_list import MOST_CHARACTERS, PRINTED_COLUMNS, work_list
from forecaster.problems import Problem
from forecaster.safe_cells import begins_a_formula
from forecaster.visible_texts import visible
from forecaster.written_days import DateFormat
from tests.sample_papers import content_written, in_week, renamed, sample_content

# Characters that start a formula in a cell: OWASP, "CSV Injection" (from memory).
STARTS = ["=", "+", "-", "@", "\t", "\r"]


def book_of(written: bytes) -> Any:
    return openpyxl.load_workbook(BytesIO(written))


def head_of(sheet: Any) -> int:
    """The row of the headings, as a spreadsheet numbers rows: it is the one that is repeated on each printed page."""
    return int(sheet.print_title_rows.split("$")[1].rstrip(":"))


def rows_of(sheet: Any) -> list[dict[str, Any]]:
    """The sheet's rows by heading; of equal headings the first."""
    head = [cell.value for cell in sheet[head_of(sheet)]]
    rows = sheet.iter_rows(min_row=head_of(sheet) + 1)
    return [dict(reversed(list(zip(head, row, strict=True)))) for row in rows]


@pytest.fixture(scope="module")
def content() -> PaperContent:
    return sample_content()


@pytest.fixture(scope="module")
def book(content: PaperContent) -> Any:
    return book_of(work_list(content))


def test_it_holds_every_unit_with_its_work(content: PaperContent, book: Any) -> None:
    rows = rows_of(book["work list"])
    assert [row["unit"].value for row in rows] == [unit.unit_id for unit in content.units]
    for row, unit in zip(rows, content.units, strict=True):
        week = row["week of"].value
        assert (week.date() if week else None) == unit.instruction.week_of
        assert row["action"].value == wording.to_do(unit)
        assert row["owner"].value == unit.owner
        assert row["fails within 50 h"].value == pytest.approx(unit.forecast.fails_within.mean)
        assert row["saves"].value == (pytest.approx(unit.saving.mean) if unit.saving else None)
        assert (row["do not run: why"].value is None) == (unit not in content.stopped)


def test_costs_add_up_to_what_is_spent(content: PaperContent, book: Any) -> None:
    costs = [row["cost"].value or 0.0 for row in rows_of(book["work list"])]
    assert sum(costs) == pytest.approx(content.spent)


def test_dates_shares_and_money_are_numbers_in_their_own_format(book: Any) -> None:
    row = next(row for row in rows_of(book["work list"]) if row["action"].value == "rebuild")
    assert isinstance(row["week of"].value, datetime)
    assert row["week of"].number_format == "d mmm yyyy"
    assert row["fails within 50 h"].number_format == "0.0%"
    assert row["cost"].number_format == '#,##0 "USD"'
    assert row["hours since rebuild"].data_type == "n"


@pytest.mark.parametrize(("form", "number_format"), [("month-day-year", "mmm d, yyyy"), ("iso", "yyyy-mm-dd")])
def test_days_are_formatted_as_the_fleet_writes_them(form: DateFormat, number_format: str) -> None:
    book = book_of(work_list(content_written(form)))
    row = next(row for row in rows_of(book["work list"]) if row["action"].value == "rebuild")
    assert isinstance(row["week of"].value, datetime)
    assert {row[name].number_format for name in ("week of", "last meter reading")} == {number_format}


def test_sheets_can_be_filtered_stay_headed_and_print_on_paper(book: Any) -> None:
    assert book.sheetnames == ["work list", "parts", "prices", "problems"]
    for sheet in book:
        head = head_of(sheet)
        assert sheet.auto_filter.ref.startswith(f"A{head}:")
        assert sheet.freeze_panes == f"B{head + 1}"
        assert all(cell.value is None for cell in sheet[head - 1])
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.print_title_rows == f"${head}:${head}"
        assert sheet.column_dimensions["A"].width > 8


@pytest.mark.parametrize("start", STARTS)
def test_a_name_that_looks_like_a_formula_stays_a_text(content: PaperContent, start: str) -> None:
    name = start + 'HYPERLINK("http://example.invalid","click")'
    written = work_list(renamed(content, 0, craft_name=name, base=name, remarks=(name,)))
    row = rows_of(book_of(written)["work list"])[0]
    for column in ("craft name", "base", "remarks on its record"):
        assert unescape(row[column].value) == visible(name)  # a carriage return is written out
        assert row[column].data_type == "s"
        assert row[column].quotePrefix == begins_a_formula(visible(name))
    with ZipFile(BytesIO(written)) as parts:
        sheets = [parts.read(part) for part in parts.namelist() if part.startswith("xl/worksheets/")]
    assert not any(b"<f>" in sheet or b"<hyperlink" in sheet for sheet in sheets)


def test_what_the_bench_needs_prints_on_one_page_width_with_room_to_write(content: PaperContent, book: Any) -> None:
    sheet = book["work list"]
    printed = sheet[sheet.print_area.split("!")[1].replace("$", "")]
    at = head_of(sheet)
    head = [cell.value for cell in printed[at - 1]]
    wanted = {"unit", "craft", "action", "week of", "do not run: why", "reasons", "saves, low (90 %)"}
    assert wanted | {"done on", "found"} <= set(head)
    assert len(printed) == at + len(content.units)
    assert all(row[head.index("done on")].value is None for row in printed[at:])
    assert sum(column.width for column in PRINTED_COLUMNS) < 215  # some 7 points on an A4 page, printed across


def test_a_text_that_looks_like_a_number_or_a_link_stays_a_text(content: PaperContent) -> None:
    row = rows_of(book_of(work_list(renamed(content, 0, unit_id="007", base="http://example.invalid")))["work list"])[0]
    assert (row["unit"].value, row["unit"].data_type) == ("007", "s")
    assert row["base"].hyperlink is None


def test_a_text_too_long_for_a_cell_says_that_it_was_cut(content: PaperContent) -> None:
    row = rows_of(book_of(work_list(renamed(content, 0, remarks=("x" * 40_000,))))["work list"])[0]
    told = row["remarks on its record"].value
    assert len(told) == MOST_CHARACTERS
    assert told.endswith("(cut off here)")


def test_problems_stand_with_file_row_value_and_remedy(content: PaperContent) -> None:
    problem = Problem("hours.csv", 17, "meter", "-77", "less than 0", "Correct the reading.", refused=True)
    (row,) = rows_of(book_of(work_list(replace(content, problems=(problem,))))["problems"])
    assert [row[c].value for c in ("file", "row", "column", "value", "refused", "reason", "remedy")] == [
        "hours.csv", 17, "meter", "-77", "yes", "less than 0", "Correct the reading."
    ]  # fmt: skip
    assert row["value"].data_type == "s"


def test_parts_and_prices_are_those_of_the_plan(content: PaperContent, book: Any) -> None:
    parts = {row["part"].value: row["for planned rebuilds"].value for row in rows_of(book["parts"])}
    assert parts == {line.part: line.count for line in content.parts.parts}
    prices = {row["what"].value: row["money"].value for row in rows_of(book["prices"])}
    assert prices["a new unit, where the core is lost"] == content.prices.new_unit
    assert prices["spent by the plan, as expected"] == pytest.approx(content.spent)


def test_units_that_must_not_run_stand_above_the_table_each_with_craft_and_why(content: PaperContent) -> None:
    sheet = book_of(work_list(content))["work list"]
    wet, milky = (sheet[cell].value.replace("\N{NO-BREAK SPACE}", " ") for cell in ("A2", "A3"))
    assert wet.startswith("DO NOT RUN: S0034 on craft C023, Upper Lake 1: water of unknown treatment on 24 Sep 2026")
    assert wet.endswith("It must be treated before it is started, and opened and rebuilt before it is ridden.")
    assert milky.startswith("DO NOT RUN: S0036 on craft C012, North Pier 12: oil milky on 12 Aug 2026, 39 h ago")
    assert sheet["A4"].value.startswith("Craft in service with no unit on them")
    assert head_of(sheet) == 6
    others = tuple(unit for unit in content.units if unit not in content.stopped)
    none = replace(content, units=others, craft_without_unit=())
    assert head_of(book_of(work_list(none))["work list"]) == 3
    assert not any("DO NOT RUN" in str(cell.value) for cell in book_of(work_list(none))["work list"]["A"])


def test_of_many_units_that_must_not_run_the_rest_is_counted_and_stands_in_its_column(content: PaperContent) -> None:
    units = tuple(replace(in_week(u, "stop, rebuild", None), stop=("rattled",)) for u in content.units)
    sheet = book_of(work_list(replace(content, units=units)))["work list"]
    assert str(sheet["A14"].value).startswith(f"and {len(units) - 12} units more")
    assert all(row["do not run: why"].value == "rattled" for row in rows_of(sheet))


def test_an_owners_list_tells_the_own_part_of_the_budget_and_not_the_whole(content: PaperContent) -> None:
    plan = replace(content.plan, plan=replace(content.plan.plan, budget=3000.0))
    mine = replace(content, owner="Old Mole Boathouse", plan=plan, kept_budget=True)
    prices = {row["what"].value: row["money"].value for row in rows_of(book_of(work_list(mine))["prices"])}
    assert prices["budget of the off-season kept for these craft (blank: no limit)"] == 3000.0


def test_craft_whose_day_rate_is_assumed_are_named_with_it(content: PaperContent, book: Any) -> None:
    told = {row["what"].value: row["money"].value for row in rows_of(book["prices"])}
    assumed = {what: money for what, money in told.items() if "assumed" in str(what)}
    assert assumed == {f"day rate of {craft}: not recorded, so assumed": 200.0 for craft in content.assumed_rates}
    assert len(assumed) == 4


def test_the_same_content_is_the_same_file_and_its_day_is_the_answers(content: PaperContent, book: Any) -> None:
    assert work_list(content) == work_list(content)
    assert book.properties.created.date() == date(2026, 11, 1)

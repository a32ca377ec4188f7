"""One table on its own against the contract: dates, numbers, codes, and agreement with the record models."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from forecaster.column_ranges import METER_HOURS
from forecaster.number_cells import plain_number
from forecaster.problems import Problem
from forecaster.ranges import FIRST_DAY, NEAREST_TO_0
from forecaster.records import TABLES, Column, empty_frame
from forecaster.row_checks import LEFT_BLANK, CheckedTable, check_table
from forecaster.text_files import read_text_table

TODAY = date(2026, 1, 15)


def checked(table: str, rows: Sequence[Sequence[str]], delimiter: str = ",") -> CheckedTable:
    """Rows (the first one the header) as a checked table."""
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter).writerows(rows)
    return check_table(read_text_table(text.getvalue().encode(), TABLES[table], f"{table}.csv"), TODAY)


def days(*texts: str) -> CheckedTable:
    """The texts as days of readings, in rows 2, 3, ..."""
    return checked("hours", [["craft_id", "read_on", "meter"], *(["C1", text, str(n)] for n, text in enumerate(texts))])


def read_days(table: CheckedTable) -> dict[int, str]:
    return dict(table.accepted["read_on"].dt.strftime("%Y-%m-%d"))


def meters(*texts: str, delimiter: str = ",") -> CheckedTable:
    """The texts as meter readings, in rows 2, 3, ..."""
    rows = [["craft_id", "read_on", "meter"], *(["C1", "2025-05-05", text] for text in texts)]
    return checked("hours", rows, delimiter)


def read_meters(table: CheckedTable) -> dict[int, float]:
    return dict(table.accepted["meter"])


def notices(table: CheckedTable) -> list[Problem]:
    return [p for p in table.problems if p.row is None]


# --- dates ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["2025-12-31", " 2025-12-31 ", "2025-12-31T23:59", "2025-12-31 00:00:00", "2025-12-31T08:30:00.5Z", "20251231"],
)
def test_iso_8601_is_read_in_silence(text: str) -> None:
    table = days(text)
    assert read_days(table) == {2: "2025-12-31"}
    assert table.problems == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("31.12.2025", "day first"),
        ("31. 12. 2025", "day first"),
        ("31/12/2025", "day first"),
        ("31-12-2025 14:05", "day first"),
        ("12/31/2025", "month first"),
        ("2025/12/31", "not written as ISO 8601"),
        ("2025.12.31", "not written as ISO 8601"),
        ("31 Dec 2025", "month in words"),
        ("31-Dec-2025", "month in words"),
        ("December 31, 2025", "month in words"),
        ("46022", "day numbers"),
        ("46022.75", "day numbers"),
    ],
)
def test_other_ways_to_write_a_day_are_read_with_a_notice_that_shows_one(text: str, said: str) -> None:
    table = days(text)
    assert read_days(table) == {2: "2025-12-31"}
    (notice,) = table.problems
    assert said in notice.reason
    assert f"{text} was read as 2025-12-31" in notice.reason
    assert (notice.row, notice.column, notice.refused) == (None, "read_on", False)


def test_one_day_above_12_decides_the_order_of_the_whole_column() -> None:
    assert read_days(days("03/04/2025", "13/04/2025")) == {2: "2025-04-03", 3: "2025-04-13"}
    assert read_days(days("03/04/2025", "04/13/2025")) == {2: "2025-03-04", 3: "2025-04-13"}


def test_the_notice_shows_a_date_that_the_column_decided() -> None:
    (notice,) = days("13/04/2025", "03/04/2025").problems
    assert notice.value == "03/04/2025"
    assert "was read as 2025-04-03" in notice.reason


def test_iso_dates_beside_others_are_read_for_what_they_are() -> None:
    assert read_days(days("2025-04-03", "03/04/2025", "13/04/2025")) == {
        2: "2025-04-03",
        3: "2025-04-03",
        4: "2025-04-13",
    }


def test_an_open_order_refuses_the_rows_that_hang_on_it_and_shows_both_readings() -> None:
    table = days("03/04/2025", "05/05/2025", "2025-06-07")
    assert read_days(table) == {3: "2025-05-05", 4: "2025-06-07"}  # 5 May is the same both ways
    (problem,) = table.problems
    assert problem.row == 2
    assert "2025-04-03 (day first) or 2025-03-04 (month first)" in problem.reason


def test_two_orders_in_one_column_decide_nothing() -> None:
    table = days("13/04/2025", "04/13/2025", "03/04/2025")
    assert read_days(table) == {2: "2025-04-13", 3: "2025-04-13"}
    (problem,) = [p for p in table.problems if p.refused]
    assert "other rows of this column are day first, and others month first" in problem.reason


def test_dots_mean_day_first_whatever_else_the_column_holds() -> None:
    assert read_days(days("03.04.2025", "12.11.2025")) == {2: "2025-04-03", 3: "2025-11-12"}
    assert read_days(days("03.04.2025", "04/13/2025")) == {2: "2025-04-03", 3: "2025-04-13"}


def test_dates_with_dots_do_not_decide_for_dates_with_strokes() -> None:
    assert read_days(days("13.04.2025", "03/04/2025")) == {2: "2025-04-13"}
    assert read_days(days("13.04.2025", "04/13/2025", "03/04/2025"))[4] == "2025-03-04"


@pytest.mark.parametrize(
    "text", ["12345", "99999", "5.5.25", "2025-5", "May 2025", "31/11/2025", "2025-00-10", "1/1/0000"]
)
def test_what_is_no_day_is_refused(text: str) -> None:
    assert read_days(days(text)) == {}


def test_a_day_may_be_today_and_not_later() -> None:
    assert read_days(days("2026-01-15", "2026-01-16")) == {2: "2026-01-15"}


@given(st.dates(FIRST_DAY, TODAY))
def test_every_day_is_read_from_every_certain_way_to_write_it(day: date) -> None:
    months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    ways = [day.isoformat(), f"{day:%Y%m%d}", f"{day:%d.%m.%Y}", f"{day.day}. {day.month}. {day.year}"]
    ways += [f"{day.day} {months[day.month - 1]} {day.year}", f"{day:%Y/%m/%d}"]
    assert set(read_days(days(*ways)).values()) == {day.isoformat()}
    decided = days(f"{day:%d/%m/%Y}", "31/12/2024")
    assert read_days(decided)[2] == day.isoformat()


# --- numbers -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "number"),
    [("12", 12), (" 12.50 ", 12.5), ("+12.5", 12.5), (".5", 0.5), ("12.", 12), ("1.2E+02", 120), ("007", 7)],
)
def test_plain_numbers_are_read_in_silence(text: str, number: float) -> None:
    table = meters(text)
    assert read_meters(table) == {2: number}
    assert table.problems == ()


def test_a_point_is_decimal_in_a_file_parted_by_commas() -> None:
    assert read_meters(meters("1.234")) == {2: 1.234}


def test_three_digits_after_the_only_sign_are_in_doubt_in_a_file_parted_by_semicolons() -> None:
    table = meters("1,234", "1.234", "12", delimiter=";")
    assert read_meters(table) == {4: 12}
    assert ["decimals or thousands" in p.reason for p in table.problems if p.refused] == [True, True]


def test_another_cell_of_the_column_shows_which_sign_is_decimal() -> None:
    assert read_meters(meters("1,234", "12,5", delimiter=";")) == {2: 1.234, 3: 12.5}
    assert read_meters(meters("1.234", "12.5", delimiter=";")) == {2: 1.234, 3: 12.5}
    assert read_meters(meters("0,125", "1,125", delimiter=";")) == {2: 0.125, 3: 1.125}


def test_where_both_signs_mark_decimals_what_is_in_doubt_stays_so() -> None:
    table = meters("1,234", "12,5", "12.5", "1.234", delimiter=";")
    assert read_meters(table) == {3: 12.5, 4: 12.5}


def test_a_decimal_comma_shows_a_point_before_three_digits_to_part_thousands() -> None:
    table = meters("1.234", "12,5", delimiter=";")
    assert read_meters(table) == {3: 12.5}
    (problem,) = [p for p in table.problems if p.refused]
    assert "1234" in problem.remedy


@pytest.mark.parametrize("text", ["1.234,5", "1,234.5", "1'234", "1 234", "1\u00a0234,5", "1.234.567"])
@pytest.mark.parametrize("delimiter", [",", ";"])
def test_signs_between_thousands_are_refused(text: str, delimiter: str) -> None:
    table = meters(text, delimiter=delimiter)
    assert read_meters(table) == {}
    (problem,) = [p for p in table.problems if p.refused]
    assert "decimals or thousands" in problem.reason


@pytest.mark.parametrize(
    "text", ["١٢", "1_000", "0x1F", "twelve", "12h30", "1e9999", "--5", "1..2", "½", "9" * 400 + "e9"]
)
def test_what_is_no_number_is_refused(text: str) -> None:
    assert read_meters(meters(text)) == {}


def test_one_bad_number_does_not_change_how_the_others_are_read() -> None:
    good = ["0", "12.5", "1e2", "999999.9"]
    assert list(read_meters(meters(*good, "x")).values()) == list(read_meters(meters(*good)).values())


@given(st.lists(st.just(0.0) | st.floats(NEAREST_TO_0, METER_HOURS.most), min_size=1, max_size=8))
def test_numbers_are_read_as_they_were_written(numbers: list[float]) -> None:
    assert list(read_meters(meters(*map(plain_number, numbers))).values()) == numbers
    assert list(read_meters(meters(*map(repr, numbers))).values()) == numbers


def test_whole_numbers_may_carry_a_decimal_zero() -> None:
    table = checked(
        "craft", [["craft_id", "model_year"], ["C1", "2021"], ["C2", "2021.0"], ["C3", "2021.5"], ["C4", ""]]
    )
    assert table.accepted["model_year"].astype(object).where(lambda s: s.notna(), None).tolist() == [
        2021,
        2021,
        None,
        None,
    ]
    assert table.accepted["model_year"].dtype == "Int64"
    assert [p.row for p in table.problems] == [4]


# --- codes and texts -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "code"), [("Salt ", "salt"), ("FRESH", "fresh"), ("", "unknown"), ("  ", "unknown")])
def test_codes_are_read_whatever_their_case_and_blanks(text: str, code: str) -> None:
    table = checked("craft", [["craft_id", "water"], ["C1", text]])
    assert table.accepted["water"].tolist() == [code]
    assert table.problems == ()


@pytest.mark.parametrize("text", ["not_done", "Not done", "not-done"])
def test_blanks_and_hyphens_inside_a_code_are_underscores(text: str) -> None:
    table = checked("checks", [["unit_id", "checked_on", "spin"], ["S1", "2025-05-05", text]])
    assert table.accepted["spin"].tolist() == ["not_done"]


def test_texts_lose_their_outer_blanks_and_nothing_else() -> None:
    table = checked("craft", [["craft_id", "name", "base"], [" C1 ", " Otter  II ", "  "]])
    assert table.accepted[["craft_id", "name", "base"]].iloc[0].tolist() == ["C1", "Otter  II", None]


def test_words_such_as_na_are_texts_like_any_other() -> None:
    table = checked("craft", [["craft_id", "name"], ["NA", "null"], ["nan", "None"]])
    assert table.accepted[["craft_id", "name"]].to_numpy().tolist() == [["NA", "null"], ["nan", "None"]]


# --- frames --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("table", list(TABLES))
def test_frames_have_the_contracts_columns_and_dtypes_with_and_without_rows(table: str) -> None:
    required = [column.name for column in TABLES[table].columns.values() if column.required]
    blank = checked(table, [required])
    assert blank.accepted.dtypes.to_dict() == empty_frame(table).dtypes.to_dict()
    assert blank.accepted.index.name == "row"
    filled = {"date": "2025-05-05", "number": "1", "text": "X", "code": ""}
    row = [TABLES[table].columns[name] for name in required]
    one = checked(table, [required, [c.codes[0] if c.codes else filled[c.kind] for c in row]])
    assert len(one.accepted) == 1
    assert one.accepted.dtypes.to_dict() == empty_frame(table).dtypes.to_dict()


def test_a_period_that_ends_before_it_begins_blanks_both_ends_of_a_craft() -> None:
    table = checked(
        "craft",
        [["craft_id", "in_service_on", "retired_on"], ["C1", "2025-05-05", "2024-05-05"], ["C2", "2025-05-05", ""]],
    )
    assert table.accepted["in_service_on"].isna().tolist() == [True, False]
    (problem,) = table.problems
    assert "both count as not recorded" in problem.reason


def test_only_optional_columns_may_be_left_blank() -> None:
    for table, names in LEFT_BLANK.items():
        assert all(not TABLES[table].columns[name].required for name in names)


# --- the record models say the same --------------------------------------------------------------------------------


def cells(column: Column) -> st.SearchStrategy[object]:
    """Values of a column, most of them good: as a record takes them, their text as a file holds them."""
    junk = st.sampled_from(["", "?", "unknwon", "x", "-"])
    kinds: dict[str, st.SearchStrategy[object]] = {
        "text": st.text(st.characters(categories=["L", "N", "P", "Zs"]), max_size=5).map(str.strip),
        "code": st.one_of(st.sampled_from(column.codes), junk) if column.codes else junk,
        "date": st.one_of(st.dates(date(1950, 1, 1), TODAY), st.sampled_from(["2025-02-30", "soon"])),
        "number": st.one_of(st.floats(-2, 1e6), st.sampled_from([float("nan"), float("inf"), -0.0, "x"])),
        "whole": st.one_of(st.integers(1940, 2110), st.sampled_from([2020.5, 2020.0, "x"])),
    }
    values = kinds[column.kind]
    return values if column.required else st.one_of(st.none(), values)


@pytest.mark.parametrize("name", list(TABLES))
@given(choices=st.data())
def test_a_row_is_right_for_the_file_checks_where_it_is_right_for_the_record(name: str, choices: st.DataObject) -> None:
    table = TABLES[name]
    row = {column.name: choices.draw(cells(column), label=column.name) for column in table.columns.values()}
    texts = ["" if value is None else str(value) for value in row.values()]
    given_ = {key: value for key, value in row.items() if value not in (None, "")}
    found = checked(name, [list(row), texts])
    if not any(texts):
        assert found.rows.empty  # a blank line of a spreadsheet
        return
    try:
        record = table.record.model_validate(given_)
    except ValidationError:
        assert found.problems
        return
    assert found.problems == ()
    (accepted,) = found.accepted.to_dict("records")
    for key, value in record.model_dump().items():
        if value is None or value == "":
            assert pd.isna(accepted[key])
        else:
            assert (accepted[key].date() if isinstance(value, date) else accepted[key]) == value

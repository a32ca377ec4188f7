"""Changes of a plan by hand, written down: what is written reads back, and a row that cannot be used is told."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import SourceError, WrongUsage
from forecaster.plan_changes import (
    ACTIONS,
    MOST_NOTE,
    Changeable,
    PlanChanges,
    change_in_text,
    changes_file,
    read_changes,
    text_of_change,
)
from forecaster.plan_problem import PlanEdit

FIRST, LAST = date(2026, 11, 2), date(2027, 5, 17)
KNOWN = Changeable(frozenset({"S1", "S2", "S3"}), FIRST, LAST)
HEADER = "unit_id,action,week_of,note"

# What a record's name and a note may hold: anything on one line that can be seen.
names = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)
notes = st.text(st.characters(exclude_categories=["C"]), max_size=30).map(lambda text: " ".join(text.split()))
weeks = st.none() | st.integers(0, 27).map(lambda week: FIRST + timedelta(weeks=week))
edits = st.builds(PlanEdit, st.sampled_from(ACTIONS), weeks, notes).map(
    lambda edit: PlanEdit("leave", None, edit.note) if edit.action == "leave" else edit
)


def read(text: str | bytes, known: Changeable = KNOWN) -> PlanChanges:
    return read_changes(text.encode() if isinstance(text, str) else text, "mine.csv", known)


def refused(*rows: str, header: str = HEADER) -> str:
    with pytest.raises(SourceError) as refusal:
        read("\n".join([header, *rows]))
    return str(refusal.value)


# Read back ------------------------------------------------------------------------------------------------------------


@given(st.dictionaries(names, edits, max_size=6))
def test_a_file_of_changes_reads_back_as_it_was_written(changes: dict[str, PlanEdit]) -> None:
    assert read(changes_file(changes), Changeable(frozenset(changes), FIRST, LAST)) == PlanChanges(changes)


@given(names, edits)
def test_a_line_of_text_is_the_same_change_again(unit: str, edit: PlanEdit) -> None:
    assert change_in_text(text_of_change(unit, edit)) == (unit, edit)


def test_a_change_is_told_in_few_signs() -> None:
    assert text_of_change("S0005", PlanEdit("rebuild", date(2026, 11, 9))) == "S0005:rebuild:2026-11-09"
    assert text_of_change("S0026", PlanEdit("leave")) == "S0026:leave"
    assert text_of_change("S1", PlanEdit("check", None, "at 9:30")) == "S1:check::at 9:30"


# As spreadsheets write it ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        f"{HEADER}\nS1,rebuild,2026-12-24,\nS2,leave,,sold\n",
        f"\ufeff{HEADER}\r\nS1,rebuild,2026-12-24,\r\nS2,leave,,sold\r\n",
        "unit_id;action;week_of;note\nS1;rebuild;24.12.2026;\nS2;leave;;sold\n",
        "sep=;\nunit_id;action;week_of;note\nS1;rebuild;2026-12-24;\nS2;leave;;sold\n",
        "Unit ID\tAction\tWeek of\tNote\nS1\tREBUILD\t2026-12-24\t\nS2\t leave\t\tsold\n",
        "note,week_of,action,unit_id\n,2026-12-24,rebuild,S1\nsold,,leave,S2\n",
        f"{HEADER}\n\nS1,rebuild,2026-12-24\n\nS2,leave,,sold\n",
    ],
)
def test_it_is_read_as_spreadsheets_write_it(text: str) -> None:
    assert read(text).edits == {"S1": PlanEdit("rebuild", date(2026, 12, 24)), "S2": PlanEdit("leave", None, "sold")}


def test_utf_16_and_windows_1252_are_read_and_told() -> None:
    for encoding in ("utf-16", "cp1252"):
        found = read(f"{HEADER}\nS1,leave,,für Ödegård\n".encode(encoding))
        assert found.edits == {"S1": PlanEdit("leave", None, "für Ödegård")}
        assert [notice.reason for notice in found.notices] != []


def test_how_a_file_was_read_and_columns_that_are_not_used_are_told() -> None:
    found = read("unit_id;action;week_of;colour\nS1;rebuild;24.12.2026;red\n")
    told = [(notice.column, notice.reason.split(";")[0].split(":")[0]) for notice in found.notices]
    assert told == [
        (None, "columns are parted by semicolons"),
        ("colour", "changes.csv has no column of this name"),
        ("week_of", "dates are written day first"),
    ]


def test_a_file_with_its_header_alone_changes_nothing() -> None:
    assert read(f"{HEADER}\n").edits == {}


# Refused --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (
            "S9,leave,,",
            "mine.csv row 3, unit_id 'S9': no unit of this name is in the plan. Name one that is in service",
        ),
        ("S2,polish,,", "mine.csv row 3, action 'polish': this is not one of the known words. Type one of: rebuild, "),
        ("S2,rebuld,,", "The nearest is rebuild."),
        ("S2,,2026-12-01,", "mine.csv row 3, action '': the cell is blank, and the row says nothing without it"),
        (",leave,,", "mine.csv row 3, unit_id '': the cell is blank"),
        ("S2,check,soon,", "mine.csv row 3, week_of 'soon': this is not a date. Write dates as year-month-day"),
        ("S2,check,2026-02-30,", "mine.csv row 3, week_of '2026-02-30': there is no such day in the calendar"),
        ("S2,check,03/04/2027,", "this can be 2027-04-03 (day first) or 2027-03-04 (month first)"),
        (
            "S2,check,2026-11-01,",
            "the week of 2026-10-26 is outside of what can be planned. Name a day from 2026-11-02",
        ),
        ("S2,check,2027-05-24,", "the week of 2027-05-24 is outside"),
        (
            "S2,leave,2026-12-01,",
            "mine.csv row 3, week_of '2026-12-01': a unit that is left has no week. Clear the cell",
        ),
        ("S1,leave,,", "mine.csv row 3, unit_id 'S1': row 2 changes this unit already. Keep one row."),
        (f"S2,leave,,{'x' * 201}", f"this note has 201 characters; at most {MOST_NOTE} are kept. Shorten it."),
        ("S2,leave,,sold,again", "mine.csv row 3 'again': the row has more cells than the header"),
        ('S2,leave,"', "mine.csv row 3"),
    ],
)
def test_a_row_that_cannot_be_used_refuses_the_file_and_is_told(row: str, told: str) -> None:
    assert told in refused("S1,rebuild,2026-12-24,", row)


def test_all_faults_are_told_at_once_in_the_files_order() -> None:
    lines = refused("S9,leave,,", "S1,polish,never,", "S2,leave,,").splitlines()
    assert lines[0] == "These changes cannot be read, and none was made:"
    assert [line.split(":")[0].strip() for line in lines[1:]] == [
        "mine.csv row 2, unit_id 'S9'",
        "mine.csv row 3, action 'polish'",
        "mine.csv row 3, week_of 'never'",
    ]


def test_many_faults_are_counted() -> None:
    assert refused(*[f"X{n},leave,," for n in range(40)]).splitlines()[-1].strip() == "and 28 more"


@pytest.mark.parametrize(
    ("header", "told"),
    [
        ("unit_id,week_of", "mine.csv, action: the required column action is missing"),
        ("unit,action", "Rename the header 'unit' to unit_id."),
        ("unit_id,action,action", "mine.csv row 1, action: the column is there twice. Keep one column action."),
    ],
)
def test_a_header_that_does_not_do_is_told(header: str, told: str) -> None:
    assert told in refused("S1,leave", header=header)


@pytest.mark.parametrize(
    ("content", "told"),
    [(b"", "mine.csv: the file is empty"), (b"PK\x03\x04rest", "this is a workbook"), (b"a\x00b", "control character")],
)
def test_what_is_no_such_file_is_told(content: bytes, told: str) -> None:
    with pytest.raises(SourceError, match=told):
        read(content)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("S1", "is no change of a plan: unit, work and week are needed, written S0005:rebuild:2026-11-09"),
        ("S1:polish", "with work one of rebuild, check, leave"),
        (":leave", "is no change of a plan"),
        ("S1:rebuild:soon", "'soon' is no day"),
        ("S1:leave:2026-11-09", "a unit that is left has no week"),
        (f"S1:leave::{'x' * 300}", "the note has 300 characters"),
    ],
)
def test_a_line_that_is_no_change_is_refused(text: str, told: str) -> None:
    with pytest.raises(WrongUsage, match=told):
        change_in_text(text)

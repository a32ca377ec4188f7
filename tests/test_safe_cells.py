"""Texts in files for people: none begins a formula, and each reads back as it was, on every way out of the program."""

from __future__ import annotations

import ast
import csv
import io
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster import PlanEdit, dashboard_app
from forecaster.plan_changes import Changeable, changes_file, read_changes
from forecaster.reading import read_fleet
from forecaster.safe_cells import as_given, begins_a_formula, csv_for_people, neutral, neutral_table, shown_table
from forecaster.writing import write_fleet, write_refused
from tests.small_fleet import TODAY, add_row, rows_of, set_cell, small_fleet_folder

STARTS = ["=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", " =", '"=', "'="]
TEXTS = st.text(st.sampled_from("=+-@'\"\t\r\n;|, a1.\u202e\uff1d"), max_size=8)
FORMULA = '=HYPERLINK("http://example.invalid","click")'


@pytest.mark.parametrize("start", STARTS)
def test_a_text_that_begins_like_a_formula_is_written_after_a_mark(start: str) -> None:
    assert neutral(f"{start}SUM(A1)") == f"'{start}SUM(A1)"
    assert begins_a_formula(f"{start}SUM(A1)")


@pytest.mark.parametrize("text", ["-3.5", "+4", "-1,234.5", "-.5", "-2e-3", "120", "W001", "'twas", "2026-05-01", ""])
def test_numbers_days_and_plain_texts_stay_as_they_are(text: str) -> None:
    assert neutral(text) == as_given(text) == text
    assert not begins_a_formula(text)


@pytest.mark.parametrize("text", ["-3+cmd|' /C calc'!A0", "+1-2", "-1e9999"])
def test_what_only_begins_like_a_number_is_no_number(text: str) -> None:
    assert neutral(text).startswith("'")


def test_where_columns_are_parted_by_semicolons_no_part_begins_a_formula() -> None:
    assert neutral("dry;=1+1|@x") == "dry;'=1+1|'@x"


@given(TEXTS)
def test_what_is_written_reads_back_as_it_was(text: str) -> None:
    assert as_given(neutral(text)) == text


@given(TEXTS)
def test_what_is_written_begins_no_formula_even_when_a_spreadsheet_parts_it(text: str) -> None:
    for part in neutral(text).replace("|", ";").split(";"):
        number = part.strip().lstrip("+-").replace(",", "").replace(".", "")
        assert not part.strip().startswith(("=", "+", "-", "@")) or number.isdigit()


@given(TEXTS)
def test_a_file_for_people_holds_every_text_again(text: str) -> None:
    written = csv_for_people(pd.DataFrame({text: [text, "plain"]})).decode("utf-8-sig")
    header, row, _ = csv.reader(io.StringIO(written, newline=""))
    assert (as_given(header[0]), as_given(row[0])) == (text, text)


def test_only_texts_of_a_table_are_marked() -> None:
    rows = pd.DataFrame({"=n": [-3.5, 2.0], "t": ["=x", None], "d": pd.to_datetime(["2026-05-01", None])})
    marked = neutral_table(rows)
    assert list(marked.columns) == ["'=n", "t", "d"]
    assert marked["'=n"].tolist() == [-3.5, 2.0]
    assert marked["t"].tolist() == ["'=x", None]
    assert marked["d"].equals(rows["d"])


def test_a_table_on_a_screen_shows_what_nobody_sees() -> None:
    assert shown_table(pd.DataFrame({"name": ["a\u202eb", "=x"]}))["name"].tolist() == ["a\\u202eb", "'=x"]


# --- the ways out -------------------------------------------------------------------------------------------------


def test_a_fleet_with_names_like_formulas_reads_as_it_was_written(tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    set_cell(folder / "craft.csv", 2, "name", FORMULA)
    for file, row in (("craft.csv", 3), ("fittings.csv", 3)):
        set_cell(folder / file, row, "craft_id", "=C9")
    first = read_fleet(folder, TODAY)
    write_fleet(first.records, tmp_path / "again")
    again = read_fleet(tmp_path / "again", TODAY)
    assert first.records.craft["name"].iloc[0] == again.records.craft["name"].iloc[0] == FORMULA
    assert "=C9" in set(again.records.craft["craft_id"])
    assert not any(cell.startswith("=") for row in rows_of(tmp_path / "again" / "craft.csv") for cell in row)


def test_refused_rows_with_formulas_are_mended_copied_back_and_read(tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    add_row(folder / "craft.csv", craft_id="C077", name=FORMULA, model_year="20x6", base="-3.5")
    add_row(folder / "craft.csv", craft_id="C001", name="twin")
    reading = read_fleet(folder, TODAY)
    write_refused(reading, tmp_path / "out")
    header, twin = rows_of(tmp_path / "out" / "refused_craft.csv")
    twin[header.index("name")] = neutral(FORMULA)  # as this program writes it, and a spreadsheet keeps it
    twin[header.index("craft_id")] = "C078"
    at = [header.index(name) for name in rows_of(folder / "craft.csv")[0]]
    with (folder / "craft.csv").open("a", encoding="utf-8", newline="") as text:
        csv.writer(text).writerow([twin[n] for n in at])
    craft = read_fleet(folder, TODAY).records.craft.set_index("craft_id")
    assert craft.loc["C078", "name"] == craft.loc["C077", "name"] == FORMULA
    assert craft.loc["C077", "base"] == "-3.5"


def test_headers_of_refused_rows_begin_no_formula(tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    text = (folder / "hours.csv").read_text(encoding="utf-8")
    header, *rows = text.splitlines()
    spoiled = [f"{header},=cmd()", *(f"{row},note" for row in rows)]
    (folder / "hours.csv").write_text("\n".join(spoiled), encoding="utf-8")
    set_cell(folder / "hours.csv", 5, "meter", "@x")
    write_refused(read_fleet(folder, TODAY), tmp_path / "out")
    header_out, row = rows_of(tmp_path / "out" / "refused_hours.csv")
    assert "'=cmd()" in header_out
    assert "'@x" in row


def test_changes_of_a_plan_are_written_without_formulas_and_read_as_they_were() -> None:
    edits = {"=S1": PlanEdit("leave", None, "+its owner; =wants it")}
    written = changes_file(edits)
    assert b"\r\n'=S1," in written
    monday = date(2026, 11, 9)
    assert read_changes(written, "changes.csv", Changeable(["=S1"], monday, monday)).edits == edits


def test_every_table_of_cells_on_a_screen_goes_through_the_safe_one() -> None:
    calls = set()
    for file in sorted(dashboard_app().parent.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and node.attr in ("dataframe", "data_editor", "to_csv"):
                calls.add(file.name)
    assert calls == {"tables.py"}

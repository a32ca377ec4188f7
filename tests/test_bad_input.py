"""Every kind of bad input, put into a good fleet: it is named by file, row, column, value and remedy, and no good row
is lost with it. Each case runs on the small fleet and on the sample fleet."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from forecaster.problems import Problem, Reading
from forecaster.reading import read_fleet
from forecaster.records import TABLES
from tests.conftest import ROOT, SAMPLE_DAY
from tests.small_fleet import TODAY, add_row, cell, rows_of, set_cell, small_fleet_folder, write_rows

SAMPLE = ROOT / "sample_fleet"


@dataclass(frozen=True)
class GoodFleet:
    """A good fleet that a test may damage, and what was read of it before."""

    folder: Path
    today: date
    before: Reading

    @property
    def counts(self) -> dict[str, int]:
        return self.before.read

    def read(self) -> Reading:
        return read_fleet(self.folder, self.today)

    def file(self, table: str) -> Path:
        return self.folder / f"{table}.csv"

    def row(self, table: str) -> int:
        """A row on which no other row depends."""
        return ROW_OF[table](rows_of(self.file(table)))

    def less(self, **lost: int) -> dict[str, int]:
        """The counts without the lost rows."""
        return {table: count - lost.get(table, 0) for table, count in self.counts.items()}


def _middle_reading(rows: list[list[str]]) -> int:
    """A reading well inside the log of a craft whose meter was never changed."""
    changed = {row[0] for row in rows if row[3] == "yes"}
    craft = next(row[0] for row in rows[1:] if row[0] not in changed)
    numbers = sorted((row[1], n) for n, row in enumerate(rows, 1) if row[0] == craft)
    return numbers[len(numbers) // 2][1]


def _later_fitting(rows: list[list[str]]) -> int:
    """A fitting of a unit that was fitted before."""
    first: dict[str, str] = {}
    for row in rows[1:]:
        first[row[0]] = min(row[2], first.get(row[0], row[2]))
    return next(n for n, row in enumerate(rows, 1) if n > 1 and row[2] > first[row[0]])


ROW_OF: dict[str, Callable[[list[list[str]]], int]] = {
    "craft": lambda rows: 3,
    "fittings": _later_fitting,
    "hours": _middle_reading,
    "water": lambda rows: 3,
    "rebuilds": lambda rows: next(n for n, row in enumerate(rows, 1) if "rebuilt" in row),
    "checks": lambda rows: 2,
}


@pytest.fixture(scope="module", params=["small", "sample"])
def undamaged(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> GoodFleet:
    small = request.param == "small"
    folder = small_fleet_folder(tmp_path_factory.mktemp("good") / "fleet") if small else SAMPLE
    today = TODAY if small else SAMPLE_DAY
    reading = read_fleet(folder, today)
    assert [p for p in reading.problems if p.refused or p.stops_answer] == []
    return GoodFleet(folder, today, reading)


@pytest.fixture
def good(undamaged: GoodFleet, tmp_path: Path) -> GoodFleet:
    return replace(undamaged, folder=Path(shutil.copytree(undamaged.folder, tmp_path / "fleet")))


def refusals(reading: Reading) -> list[Problem]:
    return [problem for problem in reading.problems if problem.refused]


def the_only(problems: list[Problem]) -> Problem:
    assert len(problems) == 1, [str(problem) for problem in problems]
    return problems[0]


# --- one cell ------------------------------------------------------------------------------------------------------

TOMORROW = "tomorrow"
REFUSED_CELLS = [
    ("hours", "craft_id", "", "blank", "Fill in craft_id"),
    ("hours", "craft_id", "C-nowhere", "nowhere in craft.csv", "add the craft"),
    ("hours", "craft_id", "x" * 81, "81 characters", "shorter"),
    ("hours", "read_on", "", "blank", "Fill in read_on"),
    ("hours", "read_on", "2025-02-30", "no such day", "year-month-day"),
    ("hours", "read_on", "31/04/2025", "no such day", "year-month-day"),
    ("hours", "read_on", "last Tuesday", "not a date", "2025-12-31"),
    ("hours", "read_on", "03/04/2025", "2025-04-03 (day first) or 2025-03-04 (month first)", "2025-12-31"),
    ("hours", "read_on", "03/04/25", "two digits", "2025-12-31"),
    ("hours", "read_on", "1989-12-31", "before the days that are read, 1990-01-01 to 2100-12-31", "year"),
    ("hours", "read_on", "2101-01-01", "after the days that are read, 1990-01-01 to 2100-12-31", "year"),
    ("hours", "read_on", TOMORROW, "is after", "planned is not recorded"),
    ("hours", "meter", "", "blank", "Fill in meter"),
    ("hours", "meter", "12 h", "more than a number", "Type only the number: 12, in h."),
    ("hours", "meter", "-77", "0 or more", "Correct"),
    ("hours", "meter", "152300", "it must be from 0 to 99999.9 h", "Correct"),
    ("hours", "meter", "nan", "not a number", "blank"),
    ("hours", "meter", "inf", "not a number", "blank"),
    ("hours", "meter", "1e-320", "nearer to 0 than anything that is measured", "Type 0"),
    ("hours", "meter", "1e999", "larger than any number", "Correct"),
    ("hours", "meter", "1,234", "decimals or thousands", "1234"),
    ("hours", "meter", "1 234", "decimals or thousands", "1234"),
    ("hours", "meter", "123,4", "comma", "123.4"),
    ("hours", "meter", "36:30", "duration", "36.5"),
    ("hours", "meter", "1.2.3", "not a number", "12.5"),
    ("hours", "new_meter", "perhaps", "known words", "yes, no"),
    ("water", "kind", "swampt", "known words", "The nearest is swamped"),
    ("water", "treated", "yess", "known words", "The nearest is yes"),
    ("rebuilds", "unit_id", "S-nowhere", "nowhere in fittings.csv", "add the unit"),
    ("rebuilds", "reason", "falure", "known words", "The nearest is failure"),
    ("rebuilds", "bearing", "", "blank", "sound, rough, rusted"),
    ("rebuilds", "bearing", "rustd", "known words", "The nearest is rusted"),
    ("rebuilds", "outcome", "rebuild", "known words", "The nearest is rebuilt"),
    ("rebuilds", "parts", "OEMM", "known words", "The nearest is oem"),
    ("checks", "checked_on", "2025-13-01", "no such day", "2025-12-31"),
    ("checks", "spin", "rattles", "known words", "The nearest is rattle"),
    ("fittings", "fitted_on", "soon", "not a date", "2025-12-31"),
    ("fittings", "hours_at_fitting", "-3", "0 or more", "Correct"),
    ("fittings", "removed_on", "1999-01-01", "is before fitted_on", "Correct fitted_on or removed_on"),
    ("fittings", "hours_at_fitting", "137000", "it must be from 0 to 5000 h", "leave the cell blank"),
    ("fittings", "parts", "cheap", "known words", "oem, aftermarket, unknown"),
]


@pytest.mark.parametrize(("table", "column", "text", "reason", "remedy"), REFUSED_CELLS)
def test_an_unusable_cell_that_counts_refuses_its_row_alone(
    good: GoodFleet, table: str, column: str, text: str, reason: str, remedy: str
) -> None:
    text = str(good.today + timedelta(days=1)) if text == TOMORROW else text
    row = good.row(table)
    set_cell(good.file(table), row, column, text)
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.file, problem.row, problem.column, problem.value) == (f"{table}.csv", row, column, text)
    assert reason in problem.reason
    assert remedy in problem.remedy
    assert reading.read == good.less(**{table: 1})
    given = "reason (given)" if column == "reason" else column
    assert reading.refused[table].loc[row, given] == text
    assert problem.reason in reading.refused[table].loc[row, "reason"]


DESCRIPTIVE_CELLS = [
    ("water", "treated_within_h", "-2", "0 or more", "leave the cell blank"),
    ("rebuilds", "hours", "about 40", "more than a number", "Type only the number: 40, in h."),
    ("rebuilds", "hours", "40000", "it must be from 0 to 5000 h", "leave the cell blank"),
    ("water", "treated_within_h", "1e6", "it must be from 0 to 26328 clock hours", "leave the cell blank"),
    ("craft", "model_year", "2019.5", "whole number", "Correct"),
    ("craft", "model_year", "1902", "1950 or more", "Correct"),
    ("craft", "water", "slat", "known words", "The nearest is salt"),
    ("craft", "tune", "stage 2", "known words", "stock, tuned, unknown"),
    ("craft", "in_service_on", "spring", "not a date", "2025-12-31"),
    ("craft", "retired_on", TOMORROW, "is after", "planned is not recorded"),
    ("craft", "day_rate", "$310", "more than a number", "Type only the number: 310, in money."),
    ("water", "water", "salty sea", "known words", "salt, fresh, brackish"),
    ("water", "oil", "milk", "known words", "The nearest is milky"),
    ("rebuilds", "cost", "$650", "more than a number", "Type only the number: 650"),
    ("rebuilds", "slip_found", "-1", "0 or more", "leave the cell blank"),
    ("rebuilds", "slip_found", "155", "it must be from 0 to 40 lb·ft", "leave the cell blank"),
    ("rebuilds", "cost", "1e308", "it must be from 0 to 1000000000", "leave the cell blank"),
    ("craft", "day_rate", "1e10", "it must be from 0 to 1000000000", "leave the cell blank"),
    ("checks", "oil_water_ppm", "1000001", "it must be from 0 to 1000000 ppm", "leave the cell blank"),
    ("checks", "boost_kpa", "-200", "-101.4 or more", "leave the cell blank"),
    ("checks", "shaft_play_mm", "30", "it must be from 0 to 20 mm", "leave the cell blank"),
    ("rebuilds", "impeller", "rub", "known words", "rubbed"),
    ("checks", "shaft_play_mm", "0,1", "comma", "0.1"),
    ("checks", "oil", "dark", "known words", "clear, milky, unknown"),
]


@pytest.mark.parametrize(("table", "column", "text", "reason", "remedy"), DESCRIPTIVE_CELLS)
def test_an_unusable_cell_that_only_describes_is_left_blank_and_its_row_used(
    good: GoodFleet, table: str, column: str, text: str, reason: str, remedy: str
) -> None:
    text = str(good.today + timedelta(days=1)) if text == TOMORROW else text
    row = good.row(table)
    before = good.before.records.table(table)
    set_cell(good.file(table), row, column, text)
    reading = good.read()
    problem = the_only([p for p in reading.problems if p.value == text])
    assert (problem.file, problem.row, problem.column) == (f"{table}.csv", row, column)
    assert not problem.refused
    assert reason in problem.reason
    assert remedy in problem.remedy
    assert reading.read == good.counts
    after = reading.records.table(table)
    blank = TABLES[table].columns[column].blank
    assert after[column].isna()[row] if blank is None else after.loc[row, column] == blank
    assert after.drop(columns=column).equals(before.drop(columns=column))


def test_a_row_with_several_faults_has_several_problems_and_is_refused_once(good: GoodFleet) -> None:
    row = good.row("hours")
    set_cell(good.file("hours"), row, "meter", "12 h")
    set_cell(good.file("hours"), row, "read_on", "someday")
    reading = good.read()
    assert [(p.row, p.column) for p in refusals(reading)] == [(row, "read_on"), (row, "meter")]
    assert reading.read == good.less(hours=1)


def test_all_bad_rows_are_told_at_once(good: GoodFleet) -> None:
    for table, column, text in (
        ("hours", "meter", "x"),
        ("water", "kind", "x"),
        ("checks", "spin", "x"),
        ("rebuilds", "outcome", "x"),
    ):
        set_cell(good.file(table), good.row(table), column, text)
    reading = good.read()
    assert [p.file for p in refusals(reading)] == ["hours.csv", "water.csv", "rebuilds.csv", "checks.csv"]
    assert reading.read == good.less(hours=1, water=1, rebuilds=1, checks=1)


# --- one row -------------------------------------------------------------------------------------------------------


def _append_line(file: Path, line: str) -> int:
    text = file.read_text(encoding="utf-8")
    file.write_text(text + line + "\n", encoding="utf-8")
    return len(rows_of(file))


def test_a_row_with_too_many_cells_is_refused_alone(good: GoodFleet) -> None:
    row = good.row("hours")
    rows = rows_of(good.file("hours"))
    rows[row - 1] += ["surplus"]
    write_rows(good.file("hours"), rows)
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.row, problem.value) == (row, "surplus")
    assert "more cells than the header" in problem.reason
    assert reading.read == good.less(hours=1)


def test_a_row_with_far_too_many_cells_is_refused_alone(good: GoodFleet) -> None:
    row = good.row("hours")
    rows = rows_of(good.file("hours"))
    rows[row - 1] += ["", "far", "too", "many"]
    write_rows(good.file("hours"), rows)
    reading = good.read()
    assert the_only(refusals(reading)).value == "far | too | many"
    assert reading.read == good.less(hours=1)


def test_missing_cells_at_the_end_of_a_row_are_blank(good: GoodFleet) -> None:
    row = good.row("hours")
    rows = rows_of(good.file("hours"))
    rows[row - 1] = rows[row - 1][:3]
    write_rows(good.file("hours"), rows)
    reading = good.read()
    assert refusals(reading) == []
    assert reading.read == good.counts


def test_a_stray_quotation_mark_spoils_its_own_line_only(good: GoodFleet) -> None:
    file = good.file("hours")
    row = good.row("hours")
    lines = file.read_text(encoding="utf-8").splitlines()
    lines[row - 1] = '"' + lines[row - 1]
    file.write_text("\n".join(lines), encoding="utf-8")
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.row, problem.value) == (row, lines[row - 1])
    assert "not closed in it" in problem.reason
    assert reading.read == good.less(hours=1)


@pytest.mark.parametrize("table", ["fittings", "water", "rebuilds", "checks", "craft"])
def test_a_row_typed_twice_counts_once(good: GoodFleet, table: str) -> None:
    file = good.file(table)
    lines = file.read_text(encoding="utf-8").splitlines()
    row = _append_line(file, lines[1])
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.file, problem.row) == (f"{table}.csv", row)
    assert "repeats row 2" in problem.reason
    assert reading.read == good.counts
    assert reading.doubtful_units == {}


def test_a_reading_typed_twice_is_no_contradiction(good: GoodFleet) -> None:
    file = good.file("hours")
    _append_line(file, file.read_text(encoding="utf-8").splitlines()[good.row("hours") - 1])
    reading = good.read()
    assert refusals(reading) == []
    assert reading.read == good.less(hours=-1)


def test_a_craft_described_twice_is_refused_the_second_time(good: GoodFleet) -> None:
    name = cell(good.file("craft"), 2, "craft_id")
    row = add_row(good.file("craft"), craft_id=name, name="another story")
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.row, problem.column, problem.value) == (row, "craft_id", name)
    assert "already in row 2" in problem.reason
    assert "name" in problem.reason
    assert reading.read == good.counts


def test_a_digit_too_many_on_the_meter_is_refused_with_the_value_that_would_fit(good: GoodFleet) -> None:
    row = good.row("hours")
    meter = cell(good.file("hours"), row, "meter")
    wrong = meter.replace(".", "")
    assert wrong != meter
    set_cell(good.file("hours"), row, "meter", wrong)
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.row, problem.column, problem.value) == (row, "meter", wrong)
    assert f"({meter} would fit: the decimal point is missing)" in problem.remedy
    assert reading.read == good.less(hours=1)


def test_a_meter_reading_that_runs_backwards_is_refused_alone(good: GoodFleet) -> None:
    row = good.row("hours")
    set_cell(good.file("hours"), row, "meter", "0.4")
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.row, problem.value) == (row, "0.4")
    assert "runs backwards" in problem.reason
    assert "new_meter" in problem.remedy
    assert reading.read == good.less(hours=1)


def test_a_fitting_that_overlaps_two_others_is_refused_alone(good: GoodFleet) -> None:
    fittings = rows_of(good.file("fittings"))
    running = [row for row in fittings[1:] if not row[4]]
    unit, day = running[0][0], max(running[0][2], running[1][2])
    row = add_row(good.file("fittings"), unit_id=unit, craft_id=running[1][1], fitted_on=day)
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.file, problem.row, problem.value) == ("fittings.csv", row, unit)
    assert f"unit {unit} is on {running[0][1]} at that time" in problem.reason
    assert "removed_on" in problem.remedy
    assert reading.read == good.counts
    assert list(reading.doubtful_units) == [unit]


def test_an_opening_after_the_unit_was_scrapped_is_refused_alone(good: GoodFleet) -> None:
    rebuilds = rows_of(good.file("rebuilds"))
    outcome = rebuilds[0].index("outcome")
    unit, ended = next((row[0], row[1]) for row in rebuilds if row[outcome] in ("scrapped", "replaced"))
    later = str(date.fromisoformat(ended) + timedelta(days=9))
    row = add_row(
        good.file("rebuilds"), unit_id=unit, opened_on=later, reason="other", bearing="sound", outcome="rebuilt"
    )
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.row, problem.column, problem.value) == (row, "opened_on", later)
    assert ended in problem.reason
    assert "a name of its own" in problem.remedy
    assert reading.read == good.counts


def test_an_incident_long_before_the_craft_was_there_is_refused_alone(good: GoodFleet) -> None:
    craft = cell(good.file("craft"), 2, "craft_id")
    row = add_row(good.file("water"), craft_id=craft, happened_on="2015-07-01", kind="swamped")
    reading = good.read()
    problem = the_only(refusals(reading))
    assert (problem.file, problem.row, problem.value) == ("water.csv", row, "2015-07-01")
    assert "in service only from" in problem.reason
    assert reading.read == good.counts


def test_a_refused_craft_refuses_what_hangs_on_it_and_says_so(good: GoodFleet) -> None:
    craft = cell(good.file("craft"), 3, "craft_id")
    rows = rows_of(good.file("craft"))
    rows[2] += ["surplus"]
    write_rows(good.file("craft"), rows)
    reading = good.read()
    hanging = [p for p in refusals(reading) if p.file in ("fittings.csv", "hours.csv", "water.csv")]
    assert hanging
    for problem in hanging:
        assert problem.value == craft
        assert problem.reason == f"craft {craft} was refused in craft.csv row 3"
    for table in ("hours", "water", "fittings"):
        lost = sum(craft in row for row in rows_of(good.file(table)))
        assert reading.read[table] == good.counts[table] - lost


# --- a whole file --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("table", ["craft", "fittings"])
def test_without_craft_or_fittings_there_is_no_answer(good: GoodFleet, table: str) -> None:
    good.file(table).unlink()
    reading = good.read()
    (problem,) = reading.stops_answer
    assert (problem.file, problem.row) == (f"{table}.csv", None)
    assert f"Add {table}.csv" in problem.remedy
    assert reading.read == good.less(**{table: good.counts[table]})


@pytest.mark.parametrize("table", ["hours", "water", "rebuilds", "checks"])
def test_another_missing_file_means_nothing_recorded(good: GoodFleet, table: str) -> None:
    good.file(table).unlink()
    reading = good.read()
    assert [p for p in reading.problems if p.refused or p.stops_answer] == []
    assert reading.read == good.less(**{table: good.counts[table]})


@pytest.mark.parametrize(("table", "column"), [("craft", "craft_id"), ("fittings", "fitted_on"), ("hours", "meter")])
def test_a_missing_required_column_stops_the_answer_and_names_what_may_be_meant(
    good: GoodFleet, table: str, column: str
) -> None:
    file = good.file(table)
    rows = rows_of(file)
    rows[0][rows[0].index(column)] = f"{column}x"
    write_rows(file, rows)
    reading = good.read()
    (problem,) = reading.stops_answer
    assert (problem.file, problem.row, problem.column) == (f"{table}.csv", None, column)
    assert problem.remedy == f"Rename the header '{column}x' to {column}."
    assert reading.refused_counts[table] == good.counts[table]


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"PK\x03\x04" + b"\x00" * 40, "a workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old-style or locked workbook"),
        (b"%PDF-1.7", "a PDF"),
        (b"craft_id,read_on,meter\nC001,2025-05-05,1\x002\n", "control character 0"),
        (bytes(range(256)) * 9, "no text"),
        (b"craft_id,read_on,meter\nC00\x81,2025-05-05,12\n", "0x81"),
    ],
)
def test_a_file_that_is_no_text_is_one_problem_of_the_whole_file(good: GoodFleet, content: bytes, reason: str) -> None:
    good.file("hours").write_bytes(content)
    reading = good.read()
    (problem,) = reading.stops_answer
    assert (problem.file, problem.row) == ("hours.csv", None)
    assert reason in problem.reason
    assert "save it as CSV" in problem.remedy
    assert reading.read == good.less(hours=good.counts["hours"])


def test_wrong_settings_stop_the_answer_and_lose_no_row(good: GoodFleet) -> None:
    (good.folder / "fleet.toml").write_text("[costs]\nrebuilt = 650\n")
    reading = good.read()
    (problem,) = reading.stops_answer
    assert (problem.file, problem.row) == ("fleet.toml", None)
    assert "The nearest known key is rebuild" in problem.reason
    assert reading.read == good.counts

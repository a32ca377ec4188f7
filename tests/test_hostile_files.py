"""Files that ask for far more than they are: each is read or refused, in words, within bounds of time and memory."""

from __future__ import annotations

import json
import os
import re
import resource
import socket
import subprocess
import sys
import threading
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster import sheet_extents
from forecaster.date_cells import parse_dates
from forecaster.errors import ForecasterError, SourceError
from forecaster.problems import MOST_ALIKE, MOST_SHOWN, Problem, how_many, listed
from forecaster.raw_tables import RawTable
from forecaster.reading import read_fleet
from forecaster.received_files import received_folder
from forecaster.records import TABLES
from forecaster.refusals import NOTHING_REFUSED, Refusals, Refused
from forecaster.regular_files import NotReadable, regular_content
from forecaster.report.as_json import validation_json
from forecaster.report.text import PROBLEMS_TOLD, Page, validation_text
from forecaster.row_checks import check_table
from forecaster.text_files import read_text_table
from forecaster.workbooks import Workbook
from forecaster.writing import write_refused
from tests.bounded_reading import Outcome, outcomes
from tests.hostile_files import MAKERS, bad_rows, sheet, strange_words, with_readings, workbook
from tests.small_fleet import TODAY, small_fleet_folder

LONGEST_SENTENCE = 1_000  # characters of a problem or a refusal: a paragraph, whatever the file holds


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Outcome]:
    """What became of every hostile source, each read within the bounds of ``bounded_reading``."""
    place = tmp_path_factory.mktemp("hostile")
    sources = []
    for name, hostile in MAKERS.items():
        (place / name).mkdir()
        sources.append(hostile.make(place / name, hostile.size))
    return dict(zip(MAKERS, outcomes(sources), strict=True))


@pytest.mark.parametrize("name", MAKERS)
def test_a_hostile_file_is_answered_within_its_bounds(outcome: dict[str, Outcome], name: str) -> None:
    told = outcome[name]
    assert told.fault == ""
    assert told.refusal or told.used
    assert "\n" not in told.refusal
    assert max(len(told.refusal), told.longest_problem) < LONGEST_SENTENCE
    assert told.problems <= 10 * MOST_ALIKE


# --- regular files --------------------------------------------------------------------------------------------------


def test_a_regular_file_is_read_whole_also_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert regular_content(tmp_path / "a", 3) == regular_content(tmp_path / "b", 3) == b"abc"


def test_a_file_of_one_byte_more_than_may_be_read_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abcd")
    with pytest.raises(NotReadable, match="the file has 4 bytes; at most 3 bytes are read"):
        regular_content(tmp_path / "a", 3)


def _pipe(path: Path) -> None:
    os.mkfifo(path)


def _socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as there:
        here = os.getcwd()
        os.chdir(path.parent)  # the path of a socket is short
        there.bind(path.name)
        os.chdir(here)


OTHER_KINDS = {
    "a folder": Path.mkdir,
    "a pipe": _pipe,
    "a socket": _socket,
    "a device": lambda path: path.symlink_to("/dev/zero"),
    "symbolic links": lambda path: path.symlink_to(path),
}


@pytest.mark.parametrize("kind", OTHER_KINDS)
def test_what_is_no_regular_file_is_refused_unopened(tmp_path: Path, kind: str) -> None:
    OTHER_KINDS[kind](tmp_path / "hours.csv")
    with pytest.raises(NotReadable, match=kind):
        regular_content(tmp_path / "hours.csv", 100)


@pytest.mark.parametrize("kind", OTHER_KINDS)
@pytest.mark.parametrize("file", ["hours.csv", "fleet.toml"])
def test_it_is_one_problem_of_a_fleet_folder(tmp_path: Path, kind: str, file: str) -> None:
    fleet = small_fleet_folder(tmp_path / "fleet")
    (fleet / file).unlink()
    OTHER_KINDS[kind](fleet / file)
    (problem,) = read_fleet(fleet, TODAY).stops_answer
    assert problem.file == file
    assert kind in problem.reason


@pytest.mark.parametrize("kind", ["a pipe", "a socket", "a device", "symbolic links"])
def test_as_a_source_it_is_told_to_be_no_fleet(tmp_path: Path, kind: str) -> None:
    OTHER_KINDS[kind](tmp_path / "fleet.xlsx")
    with pytest.raises(SourceError, match="neither a folder nor a file that can be read"):
        read_fleet(tmp_path / "fleet.xlsx", TODAY)


def test_a_device_among_the_files_of_a_folder_is_no_part_of_it(tmp_path: Path) -> None:
    fleet = small_fleet_folder(tmp_path / "fleet")
    (fleet / "more.csv").symlink_to("/dev/zero")
    assert all(file.name != "more.csv" for file in received_folder(fleet).files)


def test_a_file_that_grows_while_it_is_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "hours.csv"
    file.write_bytes(b"abc")
    opens = os.open

    def and_grow(path: Path, flags: int) -> int:
        opened = opens(path, flags)
        looked = os.fstat

        def and_write(of: int) -> os.stat_result:
            there = looked(of)
            with file.open("ab") as more:
                more.write(b"d" * 100)
            return there

        monkeypatch.setattr(os, "fstat", and_write)
        return opened

    monkeypatch.setattr(os, "open", and_grow)
    with pytest.raises(NotReadable, match="grows while it is read"):
        regular_content(file, 1_000)


def test_a_pipe_that_takes_a_files_place_keeps_nobody_waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    os.mkfifo(tmp_path / "hours.csv")
    (tmp_path / "file").write_bytes(b"abc")
    there = os.stat(tmp_path / "file")
    monkeypatch.setattr(os, "stat", lambda _: there)
    done = []

    def read() -> None:
        with pytest.raises(NotReadable, match="a pipe"):
            regular_content(tmp_path / "hours.csv", 100)
        done.append(True)

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    reader.join(timeout=20)
    assert done


# --- problems kept, the rest counted --------------------------------------------------------------------------------


def test_every_refused_row_is_kept_whatever_is_listed(tmp_path: Path) -> None:
    rows = MOST_ALIKE + 234
    reading = read_fleet(bad_rows(tmp_path, rows), TODAY)
    assert len(reading.refused["hours"]) == rows
    assert reading.refused_counts["hours"] == rows
    assert reading.refused["hours"]["reason"].str.startswith("the cell is blank, and the row says nothing").all()
    (file,) = write_refused(reading, tmp_path / "refused")
    assert len(file.read_text().splitlines()) == rows + 1


def test_problems_that_are_alike_are_listed_up_to_a_limit_and_counted_beyond(tmp_path: Path) -> None:
    reading = read_fleet(strange_words(tmp_path, MOST_ALIKE + 234), TODAY)
    *told, last = (p for p in reading.problems if p.column == "new_meter")
    assert [p.row for p in told] == list(range(2, MOST_ALIKE + 2))
    assert (last.row, last.more, last.refused) == (None, 234, True)
    assert "234 more problems in this column are not listed" in str(last)
    assert reading.problems_not_listed == 234
    assert how_many(reading.problems) == MOST_ALIKE + 234


def test_a_terminal_is_told_a_few_hundred_problems_and_how_many_more_there_are(tmp_path: Path) -> None:
    reading = read_fleet(bad_rows(tmp_path, 5_000), TODAY)
    text = validation_text(reading, Page(width=1_000))
    assert sum(line.startswith("- ") for line in text.splitlines()) == PROBLEMS_TOLD + 1
    assert f"And {how_many(reading.problems) - PROBLEMS_TOLD:,} more problems" in text
    assert f"with {how_many(reading.problems):,} problems to look at" in text


def test_other_programs_are_told_how_many_are_not_listed(tmp_path: Path) -> None:
    told = validation_json(read_fleet(strange_words(tmp_path, 5_000), TODAY))
    assert told["problems_not_listed"] == 5_000 - MOST_ALIKE
    assert len(json.dumps(told)) < 2_000_000


def test_a_good_fleet_lists_all(tmp_path: Path) -> None:
    assert validation_json(read_fleet(small_fleet_folder(tmp_path), TODAY))["problems_not_listed"] == 0


@given(st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from("xyz"), st.booleans()), max_size=60))
def test_no_problem_is_lost_or_counted_twice_however_often_they_are_put_together(kinds: list[tuple]) -> None:
    problems = [Problem(file, row, column, None, "", "", no) for row, (file, column, no) in enumerate(kinds)]
    many = [problem for problem in problems for _ in range(MOST_ALIKE // 3)]
    once = listed(many)
    by_and_by = listed([*listed(many[: len(many) // 2]), *many[len(many) // 2 :]])
    assert how_many(once) == how_many(by_and_by) == len(many)
    assert [p for p in once if not p.more] == [p for p in by_and_by if not p.more]


@given(st.lists(st.lists(st.tuples(st.integers(2, 9), st.sampled_from("abc")), max_size=8), max_size=6))
def test_a_rows_reasons_are_told_once_each_in_the_order_of_their_finding(found: list[list[tuple[int, str]]]) -> None:
    refusals, expected = NOTHING_REFUSED, {}
    for part in found:
        reasons = sorted({reason for _, reason in part})
        rows = np.array([row for row, _ in part], dtype=np.int32)
        which = np.array([reasons.index(reason) for _, reason in part], dtype=np.int32)
        refusals += Refusals((Refused(rows, which, reasons),))
        for row, reason in part:
            expected.setdefault(row, {})[reason] = None
    assert bool(refusals) == bool(expected)
    assert refusals.rows.tolist() == sorted(expected)
    assert refusals.texts().tolist() == [". ".join(expected[row]) for row in sorted(expected)]


def test_a_long_value_is_cut_short_in_its_problem_and_whole_in_the_refused_row(tmp_path: Path) -> None:
    fleet = small_fleet_folder(tmp_path)
    name = "C" * 5_000
    with (fleet / "hours.csv").open("a") as file:
        file.write(f"{name},2025-12-01,500,\n")
    reading = read_fleet(fleet, TODAY)
    (problem,) = (p for p in reading.problems if p.refused)
    assert len(problem.value or "") < MOST_SHOWN + 30
    assert "5,000 characters" in str(problem)
    assert reading.refused["hours"]["craft_id"].tolist() == [name]


def test_a_row_whose_describing_cell_is_too_long_is_used_without_it(tmp_path: Path) -> None:
    fleet = small_fleet_folder(tmp_path)
    with (fleet / "craft.csv").open("a") as file:
        file.write("C009," + "n" * 40_000 + "\n")
    reading = read_fleet(fleet, TODAY)
    (problem,) = reading.problems
    assert "at most 32,767 are read" in problem.reason
    assert reading.records.craft.set_index("craft_id").loc["C009", "name"] is None


# --- wide files -----------------------------------------------------------------------------------------------------


def _hours(content: str) -> RawTable:
    return read_text_table(content.encode(), TABLES["hours"], "hours.csv")


def test_columns_far_out_that_hold_something_are_kept_aside_and_the_blank_ones_beyond_left_out() -> None:
    blank = "," * 5_000
    raw = _hours(f"craft_id,read_on,meter{blank}\nC001,2025-12-01,500,,x{blank[2:]}\n")
    assert len(raw.headers) == 5
    checked = check_table(raw, TODAY)
    assert checked.kept_aside is not None
    assert checked.kept_aside.columns.tolist() == ["column 5"]
    assert len(checked.accepted) == 1


def test_headers_of_one_name_are_kept_apart_in_refused_rows() -> None:
    checked = check_table(_hours("craft_id,read_on,meter,x,x,x\n,2025-12-01,500,1,2,3\n"), TODAY)
    assert checked.refused().columns.tolist()[3:] == ["x", "x (again)", "x (again 2)", "reason"]
    assert checked.kept_aside is not None
    assert checked.kept_aside.columns.tolist() == ["x", "x (again)", "x (again 2)"]


# --- every pattern in time of its text's length ---------------------------------------------------------------------

MOST_CPU_SECONDS = 60  # a bound: forty thousand of anything take seconds, and the square of it hours


def test_every_pattern_takes_time_of_its_texts_length() -> None:
    limit = (resource.RLIMIT_CPU, (MOST_CPU_SECONDS, MOST_CPU_SECONDS))
    ran = subprocess.run(
        [sys.executable, "-m", "tests.linear_patterns"],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parent.parent,
        preexec_fn=lambda: resource.setrlimit(*limit),
    )
    assert ran.stdout.splitlines()[-1] == "all of them", ran.stderr


# --- workbooks: what was measured is what is laid out ---------------------------------------------------------------

PLACES = st.sampled_from(
    [b"A1", b"B2", b"c3", b"AA7", b"Z40", b"ZZ9", b"A00012", b"XFD1", b"A99999", b"B", b"7", b"", b"$A$1"]
)
SPELT = st.sampled_from(
    [
        b' r="%s"',
        b" r='%s'",
        b' r = "%s"',
        b'\tr="%s"',
        b'\nr\r=\t"%s"',
        b' s="1"r="%s"',
        b' s="1" r="%s"',
        b"",
        b' R="%s"',
    ]
)
TAGS = st.sampled_from([b"c", b"x:c", b"\xc3\xa9:c", b"c", b"c"])


@st.composite
def odd_sheets(draw: st.DrawFn) -> bytes:
    """Sheets that name their places in every way that XML allows, and some that it does not."""
    rows = []
    for _ in range(draw(st.integers(0, 4))):
        cells = []
        for _ in range(draw(st.integers(0, 4))):
            tag, spelt = draw(TAGS), draw(SPELT)
            place = spelt % draw(PLACES) if spelt else b""
            cells.append(b"<%s%s><v>%d</v></%s>" % (tag, place, draw(st.integers(0, 12)), tag))
        number = draw(st.sampled_from([b"", b' r="3"', b" r='90000'", b' r="0"', b' r="x"']))
        rows.append(b"<row%s>%s</row>" % (number, b"".join(cells)))
    return sheet(b"".join(rows)).replace(b"<worksheet", b'<worksheet xmlns:x="x"')


@given(xml=odd_sheets())
@settings(max_examples=300)
def test_no_sheet_reaches_further_than_was_measured(tmp_path_factory: pytest.TempPathFactory, xml: bytes) -> None:
    """Near the first cell the measure is one for all, so that there it is made to look at every place."""
    content = workbook(tmp_path_factory.mktemp("odd") / "book.xlsx", xml, noise=0).read_bytes()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(sheet_extents, "_NEAR_ROWS", 1)
        patched.setattr(sheet_extents, "_NEAR_COLUMNS", 1)
        patched.setattr(sheet_extents, "_NOT_NEAR", re.compile(b' r="'))
        try:
            plainly = sheet_extents._spelt_plainly(xml)
            rows, columns = sheet_extents._extent(plainly, plainly.count(b"<c"))
            laid_out = Workbook(content).rows("hours")
        except SourceError:
            return
    assert len(laid_out) <= rows
    assert max(map(len, laid_out), default=0) <= columns


def test_the_lists_of_a_workbook_cannot_point_past_what_was_measured(tmp_path: Path) -> None:
    """Another list of sheets, to which the package's own list points, is not what is read."""
    elsewhere = sheet(b'<row r="1"><c r="A1"><v>99</v></c></row>')
    path = workbook(tmp_path / "book.xlsx", with_readings(b""), noise=0)
    with zipfile.ZipFile(path) as packed:
        parts = {info.filename: packed.read(info) for info in packed.infolist()}
    parts["_rels/.rels"] = parts["_rels/.rels"].replace(b"xl/workbook.xml", b"other/workbook.xml")
    for name in ("workbook.xml", "_rels/workbook.xml.rels"):
        parts[f"other/{name}"] = parts[f"xl/{name}"]
    for number in (1, 2, 3):
        parts[f"other/worksheets/sheet{number}.xml"] = elsewhere
    with zipfile.ZipFile(path, "w") as packed:
        for name, part in parts.items():
            packed.writestr(name, part)
    assert Workbook(path.read_bytes()).rows("hours")[0][0] == "craft_id"


@pytest.mark.parametrize("encoding", ["utf-7", "x", "utf-16"])
def test_a_list_of_sheets_in_a_strange_encoding_is_damage(tmp_path: Path, encoding: str) -> None:
    path = workbook(tmp_path / "book.xlsx", with_readings(b""), noise=0)
    with zipfile.ZipFile(path) as packed:
        parts = {info.filename: packed.read(info) for info in packed.infolist()}
    parts["xl/workbook.xml"] = f'<?xml version="1.0" encoding="{encoding}"?>'.encode() + parts["xl/workbook.xml"]
    with zipfile.ZipFile(path, "w") as packed:
        for name, part in parts.items():
            packed.writestr(name, part)
    with pytest.raises(SourceError, match="damaged"):
        read_fleet(path, TODAY)


def test_a_workbook_in_a_zip_is_measured_by_the_size_of_the_zip(tmp_path: Path) -> None:
    from forecaster.packed_sizes import ALWAYS_READ_BYTES
    from forecaster.workbook_xml import unpack

    path = workbook(tmp_path / "book.xlsx", with_readings(b" " * 2 * ALWAYS_READ_BYTES), noise=0)
    stored = tmp_path / "stored.xlsx"
    with zipfile.ZipFile(path) as packed, zipfile.ZipFile(stored, "w", zipfile.ZIP_STORED) as anew:
        for info in packed.infolist():
            anew.writestr(info.filename, packed.read(info))
    unpack(stored.read_bytes())
    with pytest.raises(ForecasterError, match="times its size"):
        unpack(stored.read_bytes(), packed_bytes=10_000)


def test_dates_of_any_length_are_no_dates() -> None:
    parsed = parse_dates(["2025-01-01" + " " * 300 + "x"], TODAY)
    assert parsed.faults[0].reason == "this is not a date"

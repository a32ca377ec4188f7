"""Hostile fleets, files, keys, options, workbooks and uploads, some of each in every run of the tests.

The cases are always the same ones. ``python -m tests.fuzz_round`` tries others, for as long as one likes.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forecaster.commands import COMMANDS
from forecaster.reading import read_fleet
from forecaster.records import TABLES
from tests.fuzz_round import Judge, signature
from tests.fuzz_runs import Case, Ran, judged, row_faults, run_faults
from tests.fuzz_screens import screens, screens_judged
from tests.fuzzed_fleets import cells, good_files, keys, tables_of, whole_files, written
from tests.fuzzed_options import options, taken_values
from tests.fuzzed_workbooks import uploads, workbooks
from tests.small_fleet import TODAY


def judge(case: Case, how: Judge = judged, own_process: bool = False) -> None:
    """Run a case in a room of its own; nothing may be at fault with it."""
    with TemporaryDirectory() as room:
        faults = how(case, Path(room), own_process).faults
    assert not faults, "\n".join([f"{case.kind}: {' '.join(case.words)}", *case.did, *faults])


def some(count: int) -> settings:
    """So many cases, whatever they cost."""
    return settings(max_examples=count, suppress_health_check=list(HealthCheck))


@some(20)
@given(cells())
def test_no_cell_row_or_header_brings_a_fault_and_rows_add_up(case: Case) -> None:
    judge(case)


@some(15)
@given(whole_files())
def test_no_file_brings_a_fault(case: Case) -> None:
    judge(case)


@some(20)
@given(keys())
def test_no_key_or_value_of_settings_priors_experience_and_changes_brings_a_fault(case: Case) -> None:
    judge(case)


@some(40)
@given(options())
def test_no_option_of_any_command_brings_a_fault(case: Case) -> None:
    judge(case)


@some(40)
@given(workbooks())
def test_no_part_of_a_workbook_brings_a_fault(case: Case) -> None:
    judge(case)


@some(40)
@given(uploads())
def test_no_upload_brings_a_fault(case: Case) -> None:
    judge(case)


@some(3)
@given(st.one_of(cells(), keys(), options(), workbooks()))
def test_the_program_in_a_process_of_its_own_has_no_other_faults(case: Case) -> None:
    judge(case, own_process=True)


@some(4)
@given(screens())
def test_no_screen_shows_an_exception_whatever_the_fleet(case: Case) -> None:
    judge(case, screens_judged)


# Rows add up, whatever lies between them ------------------------------------------------------------------------------

ROWS = ("as it was", "again", "blank", "of blanks", "at fault")


def laid_out(kinds: list[str], rows: list[list[str]]) -> list[list[str]]:
    """A table's rows as they were, then one row of each kind; blank ones have as many cells as the header, or none."""
    more = {
        "as it was": rows[1],
        "again": rows[-1],
        "blank": [],
        "of blanks": [" "] * len(rows[0]),
        "at fault": ["nowhere", *["x"] * (len(rows[0]) - 1)],
    }
    return [rows[0], *(row for kind in kinds for row in (more[kind], rows[-1])), *rows[1:]]


@some(6)
@given(st.sampled_from(tuple(TABLES)), st.lists(st.sampled_from(ROWS), max_size=12), st.sets(st.integers(2, 30)))
def test_rows_read_and_refused_are_those_given_in_a_folder_and_in_a_workbook_with_hidden_rows(
    table: str, kinds: list[str], hidden: set[int]
) -> None:
    tables = tables_of(good_files())
    tables[table] = laid_out(kinds, tables[table])
    with TemporaryDirectory() as place:
        folder = Path(place) / "fleet"
        case = Case("rows", {f"fleet/{t.file}": written(tables[name]) for name, t in TABLES.items()}, rows=tables)
        case.lay_out(Path(place))
        assert row_faults(case, Path(place)) == []
        in_folder = read_fleet(folder, TODAY)
        book = openpyxl.Workbook()
        book.remove(book.active)
        for name, rows in tables.items():
            sheet = book.create_sheet(name)
            for row in rows:
                sheet.append(row or [None])
            for number in hidden:
                sheet.row_dimensions[number].hidden = True
        book.save(Path(place) / "fleet.xlsx")
        in_workbook = read_fleet(Path(place) / "fleet.xlsx", TODAY)
    assert (in_workbook.read, in_workbook.refused_counts) == (in_folder.read, in_folder.refused_counts)


# The round itself -----------------------------------------------------------------------------------------------------


def test_every_option_of_every_command_can_be_given_a_value_that_it_takes() -> None:
    for command in COMMANDS.by_name.values():
        for argument in command.arguments:
            assert argument.options.get("action") == "store_true" or taken_values(argument), (command.name, argument)


@pytest.mark.parametrize(
    ("ran", "told"),
    [
        (Ran(3), "exit status 3"),
        (Ran(2, "an answer", "forecaster: no"), "answered and refused"),
        (Ran(1), "without a word"),
        (Ran(1, err="forecaster: a fault of the program, not of your records: KeyError"), "told: forecaster: a fault"),
        (Ran(0, err="x.py:3: RuntimeWarning: overflow"), "RuntimeWarning"),
        (Ran(0, '{"risk": NaN}'), "NaN in JSON"),
        (Ran(0, "it is nan %"), "no JSON"),
        (Ran(None, raised="Traceback"), "raised"),
        (Ran(0, warned=("RuntimeWarning: overflow",)), "warned"),
    ],
)
def test_the_round_sees_each_kind_of_fault(ran: Ran, told: str) -> None:
    assert any(told in fault for fault in run_faults(Case("options", words=("forecast", "--json")), ran))


def test_the_round_sees_words_of_the_machine_that_no_user_wrote() -> None:
    assert run_faults(Case("options", words=("forecast",)), Ran(0, "nan % of None"))
    assert not run_faults(Case("options", words=("forecast", "nan", "none")), Ran(0, "nan % of None"))


def test_the_round_sees_rows_that_are_lost(tmp_path: Path) -> None:
    tables = tables_of(good_files())
    case = Case("rows", {f"fleet/{name}": content for name, content in good_files().items()}, rows=tables)
    case.lay_out(tmp_path)
    assert row_faults(case, tmp_path) == []
    written_rows = len(tables["hours"]) - 1
    tables["hours"].append(["C001", "2025-09-30", "260", "no"])
    (fault,) = row_faults(case, tmp_path)
    assert fault == f"hours: {written_rows + 1} rows given, {written_rows} read and {written_rows} in all"


def test_one_fault_is_told_once_wherever_it_was_met() -> None:
    places = '  File "/tmp/tmpa{0}/x.py", line 1\n  File "/x/forecaster/slip.py", line 9\n'
    first, second = (f"raised: Traceback\n{places}ValueError: {{0}}.5".format(number) for number in ("11111", "22222"))
    assert signature(first) == signature(second) == "raised: ValueError: #.5 (at forecaster/slip.py:9)"

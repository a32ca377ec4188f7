"""The table of limits: it holds what the code applies, all of it, and `forecaster help` prints it."""

from __future__ import annotations

import ast
import json
import re
import shutil
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

from forecaster import limits as limits_room
from forecaster import reading, sheet_extents, small_files, text_files, workbook_xml, zip_folders
from forecaster.commands import COMMANDS
from forecaster.errors import ForecasterError, SettingsError
from forecaster.limits import Limit, limits
from forecaster.plan_changes import change_in_text
from forecaster.priors import PARAMETERS, PLACES, RANGES, read_priors
from forecaster.reading import read_fleet
from forecaster.received_files import receive
from forecaster.report.limits_text import allowed, limits_text
from forecaster.report.text import Page
from forecaster.settings import read_settings
from forecaster.zip_folders import ReceivedFile
from tests.command_answers import asked
from tests.conftest import ROOT
from tests.fuzzed_fleets import PRIORS
from tests.fuzzed_workbooks import good_workbook, packed
from tests.small_fleet import TODAY, add_row, small_fleet_folder
from tests.test_doors import imported

TABLE = limits(COMMANDS)
# Rooms that read what comes from outside.
READING = (
    *("reading", "text_files", "workbooks", "workbook_xml", "zip_folders", "received_files", "headers", "raw_tables"),
    *("number_cells", "date_cells", "cells", "row_checks", "cross_checks", "settings", "priors", "experience"),
    *("small_files", "ranges", "settings_sheet", "problems", "refusals", "regular_files", "meters", "doubts"),
    *("sheet_extents", "packed_sizes"),
    *("plan_changes", "flooding_facts", "opened_unit", "records"),
)
LIMITING = re.compile(r"^(?:MAX|MOST|LONGEST|HIGHEST|LARGEST)_|_(?:MAX|MOST)$|^_(?:MAX|MOST)_")
# These bound what is looked for or told, and refuse nothing; the last keeps squares of numbers within numbers.
NOT_BY_NAME = {
    *(
        "cells.MAX_SUGGESTIONS",
        "cells.MAX_COMPARISONS",
        "cells.LONGEST_WORD",
        "problems.MOST_SHOWN",
        "problems._MOST_TOLD",
    ),
    *("cross_checks._MOST_NAMED", "headers._MOST_NAMED", "reading._MOST_NAMED", "received_files._MOST_NAMED"),
    *("problems._MOST_NAMED", "problems._MOST_OF_NAME", "problems._MOST_OF_EACH"),
    *("workbook_xml._MOST_SHOWN", "doubts._MOST_REASONS", "experience.LARGEST"),
}


def the(what: str, of: str = "") -> Limit:
    (found,) = [limit for limit in TABLE if limit.what == what and limit.of == of]
    return found


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return small_fleet_folder(tmp_path / "fleet")


def test_every_limiting_constant_of_the_rooms_that_read_is_in_the_table() -> None:
    gathered = imported(Path(limits_room.__file__))
    found = set()
    for room in READING:
        tree = ast.parse(Path(import_module(f"forecaster.{room}").__file__ or "").read_text(encoding="utf-8"))
        targets = [t for node in tree.body if isinstance(node, ast.Assign) for t in node.targets]
        named = {name.id for t in targets for name in ast.walk(t) if isinstance(name, ast.Name)}
        found |= {f"{room}.{name}" for name in named if LIMITING.search(name)}
    assert len(found) > 10
    assert {name for name in found - NOT_BY_NAME if f"forecaster.{name}" not in gathered} == set()


def test_every_limit_says_what_where_how_much_and_what_is_said_beyond() -> None:
    for limit in TABLE:
        assert limit.what, limit
        assert limit.beyond, limit
        assert (limit.least, limit.most) != (None, None), limit
        assert (limit.change == "fixed") == (limit.by == ""), limit


def test_no_limit_is_told_twice() -> None:
    assert len({(limit.group, limit.of, limit.what) for limit in TABLE}) == len(TABLE)


# What the table says is what the code does ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("room", "constant", "file", "what"),
    [
        (reading, "MAX_CSV_BYTES", "hours.csv", "a CSV file"),
        (small_files, "MOST_BYTES", "fleet.toml", "fleet.toml, priors.toml or an experience file"),
    ],
)
def test_a_file_at_the_limit_is_read_and_one_byte_more_is_not(
    folder: Path, monkeypatch: pytest.MonkeyPatch, room: ModuleType, constant: str, file: str, what: str
) -> None:
    assert the(what).most == getattr(room, constant) / (limits_room.MB if the(what).unit == "MB" else 1)
    size = (folder / file).stat().st_size
    monkeypatch.setattr(room, constant, size)
    assert not read_fleet(folder, TODAY).stops_answer
    monkeypatch.setattr(room, constant, size - 1)
    (problem,) = read_fleet(folder, TODAY).stops_answer
    assert re.sub(r"[\d,.]+ (MB|bytes)", "#", the(what).beyond) in re.sub(r"[\d,.]+ (MB|bytes)", "#", problem.reason)


@pytest.mark.parametrize(
    ("room", "constant", "value", "what"),
    [
        (workbook_xml, "MAX_PARTS", 3, "parts of a workbook"),
        (workbook_xml, "MAX_UNPACKED_BYTES", 3_000_000, "a workbook, unpacked"),
        (sheet_extents, "MAX_SHEET_CELLS", 4, "a sheet, from A1 to its last cell"),
        (sheet_extents, "MAX_SHEET_TEXT", 10, "all texts of a sheet"),
        (workbook_xml, "MAX_SHEETS", 2, "sheets of a workbook"),
    ],
)
def test_a_workbook_beyond_a_limit_is_refused_in_the_words_of_the_table(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, room: object, constant: str, value: int, what: str
) -> None:
    assert the(what).most == getattr(room, constant) / (limits_room.MB if constant.endswith("BYTES") else 1)
    monkeypatch.setattr(room, constant, value if constant != "MAX_UNPACKED_BYTES" else 10)
    file = tmp_path / "fleet.xlsx"
    file.write_bytes(packed(good_workbook()))
    try:
        said = " ".join(problem.reason for problem in read_fleet(file, TODAY).stops_answer)
    except ForecasterError as refusal:
        said = str(refusal)
    assert _without_numbers(the(what).beyond) in _without_numbers(said)


def test_a_zip_beyond_a_limit_is_refused_in_the_words_of_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    zipped = ReceivedFile("fleet.zip", packed({"craft.csv": b"craft_id\n", "fittings.csv": b"unit_id\n"}))
    for constant, what in (("MAX_MEMBERS", "files in a ZIP"), ("MAX_UNPACKED_BYTES", "a ZIP, unpacked")):
        with monkeypatch.context() as patch:
            patch.setattr(zip_folders, constant, 1)
            with pytest.raises(ForecasterError) as refusal:
                receive([zipped])
        assert _without_numbers(the(what).beyond) in _without_numbers(str(refusal.value))


def test_quotation_marks_left_open_beyond_the_limit_are_refused_in_the_words_of_the_table(folder: Path) -> None:
    limit = the("quotation marks left open in a CSV file")
    assert limit.most == text_files.MOST_OPEN_QUOTES
    for _ in range(text_files.MOST_OPEN_QUOTES + 1):
        add_row(folder / "hours.csv", craft_id="C001")
    file = folder / "hours.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("C001,,,", 'C001,"2025,,'), encoding="utf-8")
    (problem,) = read_fleet(folder, TODAY).stops_answer
    assert limit.beyond in problem.reason


@pytest.mark.parametrize(
    "limit", [one for one in TABLE if one.group == "settings"], ids=lambda limit: limit.of + limit.what
)
def test_a_setting_beyond_its_range_is_refused_in_the_words_of_the_table(limit: Limit) -> None:
    assert isinstance(limit.least, (int, float))
    ends = {limit.least - 1} | ({limit.most + 1} if isinstance(limit.most, (int, float)) else set())
    said = []
    for outside in ends:
        with pytest.raises(SettingsError) as refusal:
            read_settings(f"{limit.of}\n{limit.what} = {outside}\n")
        said.append(str(refusal.value))
    assert any(limit.beyond in one for one in said)


@pytest.mark.parametrize("name", PARAMETERS)
def test_a_belief_beyond_its_range_is_refused_in_the_words_of_the_table(tmp_path: Path, name: str) -> None:
    section, key, scale = PLACES[name]
    part = "mean" if scale == "plain" else "median"
    limit = the(f"{part} of {key}", f"[{section}]")
    assert (limit.least, limit.most) == RANGES[name]
    at = PRIORS.index(f"{part} = ", PRIORS.index(f"\n{key} ", PRIORS.index(f"[{section}]")))
    file = tmp_path / "priors.toml"
    for outside in (RANGES[name][0] - 1, RANGES[name][1] + 1):
        file.write_text(PRIORS[:at] + re.sub(r"= [\d.]+", f"= {outside}", PRIORS[at:], count=1), encoding="utf-8")
        with pytest.raises(SettingsError, match=re.escape(limit.beyond)):
            read_priors(file)


@pytest.mark.parametrize(
    "limit", [x for x in TABLE if x.group == "options" and x.what.startswith("-")], ids=lambda x: f"{x.of} {x.what}"
)
def test_an_option_beyond_its_range_is_refused_in_the_words_of_the_table(
    limit: Limit,
) -> None:
    command = COMMANDS.by_name[limit.of.split(", ")[0]]
    places = ["x"] * sum(not one.names[0].startswith("-") for one in command.arguments)
    assert isinstance(limit.least, (int, float))
    assert isinstance(limit.most, (int, float))
    for outside in (limit.least - 1, limit.most + 1):
        status, out, err = asked(command.name, *places, f"{limit.what}={outside}")
        assert (status, out) == (2, "")
        assert limit.beyond in err


def test_every_option_that_takes_a_number_has_its_range_in_the_table() -> None:
    told = {(name, limit.what) for limit in TABLE if limit.group == "options" for name in limit.of.split(", ")}
    for command in COMMANDS.by_name.values():
        for argument in command.arguments:
            if argument.options.get("metavar") in ("H", "M", "N", "B", "P", "MONEY", "SHARE", "WEEKS", "MM", "LB_FT"):
                assert (command.name, argument.names[0]) in told


def test_a_note_beyond_the_limit_is_refused_in_the_words_of_the_table() -> None:
    limit = the("a note in a file of changes")
    assert isinstance(limit.most, int)
    assert change_in_text("S1:leave::" + "x" * limit.most)
    with pytest.raises(ForecasterError, match=limit.beyond):
        change_in_text("S1:leave::" + "x" * (limit.most + 1))


def _without_numbers(text: str) -> str:
    return re.sub(r"[\d,.]+", "#", text)


# How it is told -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [80, 120, 160])
def test_the_table_fits_its_page(width: int) -> None:
    lines = limits_text(TABLE, Page(width)).splitlines()
    assert max(map(len, lines)) <= width


def test_the_text_names_every_limit_and_its_range() -> None:
    words = set(re.split(r"[\s,;]+", limits_text(TABLE, Page(160))))
    for limit in TABLE:
        assert set(re.split(r"[\s,;]+", f"{limit.what} {allowed(limit)}")) <= words, limit


def test_help_lists_its_topics() -> None:
    status, out, _ = asked("help")
    assert status == 0
    assert "limits" in out


def test_help_limits_is_the_table() -> None:
    status, out, _ = asked("help", "limits")
    assert status == 0
    assert out.strip() == limits_text(TABLE, Page(80)).strip()


def test_help_limits_for_programs_holds_every_limit() -> None:
    _, out, _ = asked("help", "limits", "--json")
    told = json.loads(out)["limits"]
    assert [(one["group"], one["of"], one["what"]) for one in told] == [(x.group, x.of, x.what) for x in TABLE]
    assert set(told[0]) == {"group", "of", "what", "least", "most", "unit", "change", "by", "beyond"}


def test_help_of_a_command_is_that_commands_own() -> None:
    assert asked("help", "plan") == asked("plan", "--help")


def test_an_unknown_topic_names_the_nearest_and_exits_with_2() -> None:
    status, out, err = asked("help", "limit")
    assert (status, out) == (2, "")
    assert "'limit' is no topic. The nearest is `forecaster help limits`." in err


def test_a_page_that_ships_with_the_program_is_a_topic(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(ROOT / "forecaster" / "docs", tmp_path / "docs")
    (tmp_path / "docs" / "keys.md").write_text("# Keys of every answer\n\nAll of them.\n", encoding="utf-8")
    monkeypatch.setattr("forecaster.help_command.resources.files", lambda _: tmp_path)
    assert "keys    Keys of every answer" in asked("help")[1]
    assert asked("help", "keys")[1] == "# Keys of every answer\n\nAll of them.\n"
    assert json.loads(asked("help", "keys", "--json")[1])["text"].endswith("All of them.\n")

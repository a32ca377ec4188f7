"""The command ``report``: which files it writes, what it prints, and what it refuses."""

from __future__ import annotations

import json
import re
from argparse import Namespace
from collections.abc import Callable
from datetime import date
from pathlib import Path
from zipfile import is_zipfile

import pytest

from forecaster import Fleet, question_options, report_command
from forecaster.commands import main
from forecaster.paper import files, owners
from forecaster.report_command import ALL_OWNERS, PAPER_KINDS
from tests.conftest import ROOT, SAMPLE_DAY
from tests.small_fleet import small_fleet_folder

SAMPLE = str(ROOT / "sample_fleet")
DAY = SAMPLE_DAY.isoformat()
QUICK = ("--as-of", "2026-01-15", "--no-look-back")
Ask = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The small fleet's folder: one of its craft has an owner, Ødegård Boats."""
    return str(small_fleet_folder(tmp_path_factory.mktemp("fleets") / "small"))


@pytest.fixture(scope="module")
def kept() -> dict[str, tuple[Fleet, date]]:
    """Fleets that were opened, by source: what they learned is kept from test to test."""
    return {}


@pytest.fixture
def ask(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, kept: dict[str, tuple[Fleet, date]]
) -> Ask:
    """Run the command; its exit status, what it printed and what it told."""

    def opened(asked: Namespace) -> tuple[Fleet, date]:
        if asked.source not in kept:
            kept[asked.source] = question_options.opened(asked)
        return kept[asked.source]

    def run(*words: str) -> tuple[int, str, str]:
        capsys.readouterr()
        status = main(("report", *words))
        told = capsys.readouterr()
        return status, told.out, told.err

    monkeypatch.setattr(report_command, "opened", opened)
    return run


def test_the_words_of_the_command_are_those_of_the_core() -> None:
    assert PAPER_KINDS == files.KINDS
    assert owners.ALL_OWNERS == ALL_OWNERS


def test_it_writes_a_report_a_work_list_and_a_calendar(ask: Ask, small: str, tmp_path: Path) -> None:
    out = tmp_path / "papers" / "new"
    status, printed, _ = ask(small, *QUICK, "--out", str(out))
    assert status == 0
    assert sorted(file.name for file in out.iterdir()) == [f"small-2026-01-15.{k}" for k in sorted(PAPER_KINDS)]
    assert (out / "small-2026-01-15.pdf").read_bytes().startswith(b"%PDF-")
    assert is_zipfile(out / "small-2026-01-15.xlsx")
    assert (out / "small-2026-01-15.ics").read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")
    assert re.match(r"(Rebuild|Check) \d .*of 3 units this off-season", printed)
    for kind in PAPER_KINDS:
        assert str(out / f"small-2026-01-15.{kind}") in printed


def test_one_kind_alone_can_be_asked_for(ask: Ask, small: str, tmp_path: Path) -> None:
    assert ask(small, *QUICK, "--out", str(tmp_path / "out"), "--only", "ics")[0] == 0
    assert [file.name for file in (tmp_path / "out").iterdir()] == ["small-2026-01-15.ics"]


def test_a_file_that_is_there_is_not_written_over_unless_told(ask: Ask, small: str, tmp_path: Path) -> None:
    mine = tmp_path / "small-2026-01-15.ics"
    mine.write_text("my own notes")
    words = (small, *QUICK, "--out", str(tmp_path), "--only", "ics", "--only", "pdf")
    status, printed, told = ask(*words)
    assert (status, printed) == (2, "")
    assert "small-2026-01-15.ics is there already" in told
    assert mine.read_text() == "my own notes"
    assert not (tmp_path / "small-2026-01-15.pdf").exists()
    assert ask(*words, "--force")[0] == 0
    assert mine.read_bytes().startswith(b"BEGIN:VCALENDAR")


def test_an_owner_gets_the_own_craft_and_the_name_in_the_files(ask: Ask, small: str, tmp_path: Path) -> None:
    status, printed, _ = ask(small, *QUICK, "--owner", "Ødegård Boats", "--out", str(tmp_path / "out"), "--json")
    told = json.loads(printed)
    assert status == 0
    assert [(one["owner"], one["units"]) for one in told["reports"]] == [("Ødegård Boats", 1)]
    assert (tmp_path / "out" / "small-Ødegård Boats-2026-01-15.pdf").exists()


def test_all_owners_tells_which_craft_are_in_no_report(ask: Ask, small: str, tmp_path: Path) -> None:
    status, printed, told = ask(small, *QUICK, "--owner", "all", "--out", str(tmp_path / "out"), "--only", "ics")
    assert status == 0
    assert printed.startswith("Ødegård Boats: ")
    assert "3 craft have no owner in craft.csv" in told


def test_an_unknown_owner_is_refused_with_the_owners_there_are(ask: Ask) -> None:
    status, printed, told = ask(SAMPLE, "--as-of", DAY, "--owner", "Old Mole")
    assert (status, printed) == (2, "")
    assert "Old Mole Boathouse; Pellan Reach Boats; Quillfeather Water Hire" in told


def test_all_owners_of_a_fleet_without_any_is_refused(ask: Ask, tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path / "small")
    craft = folder / "craft.csv"
    craft.write_text(craft.read_text(encoding="utf-8").replace("Ødegård Boats", ""), encoding="utf-8")
    status, _, told = ask(str(folder), *QUICK, "--owner", "all")
    assert status == 2
    assert "names no owner" in told


def test_a_fleet_with_nothing_in_service_is_refused_in_plain_words(ask: Ask, tmp_path: Path) -> None:
    (tmp_path / "craft.csv").write_text("craft_id\nC001\n")
    (tmp_path / "fittings.csv").write_text("unit_id,craft_id,fitted_on,removed_on\nS1,C001,2025-05-01,2025-06-01\n")
    status, printed, told = ask(str(tmp_path), *QUICK, "--out", str(tmp_path / "out"))
    assert (status, printed) == (1, "")
    assert "No unit is in service on 2026-01-15" in told
    assert not (tmp_path / "out").exists()


def test_an_empty_fleet_is_refused_in_plain_words(ask: Ask, tmp_path: Path) -> None:
    (tmp_path / "craft.csv").write_text("craft_id\nC001\n")
    (tmp_path / "fittings.csv").write_text("unit_id,craft_id,fitted_on\n")
    status, printed, told = ask(str(tmp_path), *QUICK, "--out", str(tmp_path / "out"))
    assert (status, printed) == (1, "")
    assert "fittings.csv: there is a header and no row below it" in told


def test_a_file_in_the_place_of_the_folder_is_told(ask: Ask, small: str, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    status, _, told = ask(small, *QUICK, "--out", str(tmp_path / "out"), "--only", "ics")
    assert status == 1
    assert "cannot be written" in told


def test_the_json_is_documented_key_for_key(ask: Ask, small: str, tmp_path: Path) -> None:
    _, printed, _ = ask(small, *QUICK, "--out", str(tmp_path / "out"), "--json", "--only", "ics")
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    example = json.loads(text.split("\n`report --json`")[1].split("```json\n")[1].split("```")[0])
    told = json.loads(printed)
    assert set(told) == set(example)
    assert set(told["reports"][0]) == set(example["reports"][0])
    assert told["reports"][0]["files"][0].keys() == example["reports"][0]["files"][0].keys()


def test_the_plans_options_reach_the_paper(ask: Ask, small: str, tmp_path: Path) -> None:
    words = (small, *QUICK, "--out", str(tmp_path / "out"), "--only", "ics", "--json", "--force")
    assert json.loads(ask(*words, "--budget", "0")[1])["reports"][0]["answer"].startswith("Leave all 3 units")
    assert ask(*words, "--from", "2020-01-01")[0] == 2

"""Characters that nobody sees: refused in names that rows refer to, written out everywhere else."""

from __future__ import annotations

import json
import sys
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster import commands
from forecaster.paper.files import safe_name
from forecaster.plain_streams import BOLD, plain
from forecaster.problems import Problem
from forecaster.reading import read_fleet
from forecaster.visible_texts import hidden_in_name, visible
from tests.small_fleet import TODAY, set_cell, small_fleet_folder
from words import plain as in_markdown

UNSEEN = ["\u202e", "\u2066", "\u200b", "\u200f", "\ufeff", "\x9b", "\x1b", "\u00ad", "\U000e0041"]


@pytest.mark.parametrize("unseen", UNSEEN)
def test_what_nobody_sees_is_written_out(unseen: str) -> None:
    shown = visible(f"a{unseen}b")
    assert shown == f"a{json.dumps(unseen)[1:-1]}b"
    assert shown.isascii()


@given(st.text())
def test_nothing_that_turns_text_around_or_gives_orders_is_left(text: str) -> None:
    left = {c for c in visible(text) if unicodedata.category(c) in ("Cc", "Zl", "Zp")}
    assert left <= {"\t", "\n"}
    assert not any(unicodedata.bidirectional(c) in ("RLO", "LRO", "RLE", "LRE", "PDF", "RLI", "LRI", "FSI", "PDI")
                   for c in visible(text))  # fmt: skip


@given(st.text())
def test_what_is_written_out_stays_so_and_inside_json_is_still_the_same_text(text: str) -> None:
    assert visible(visible(text)) == visible(text)
    assert json.loads(visible(json.dumps(text, ensure_ascii=False))) == text


@pytest.mark.parametrize("text", ["Ødegård", "Żółw 3", "日本", "عوامة", "Мыс", "a b\tc"])
def test_letters_of_every_script_stay(text: str) -> None:
    assert visible(text) == text


@pytest.mark.parametrize("unseen", [*"\u202e\u200b\ufeff\u2060\x9b"])
def test_a_unit_whose_name_looks_like_another_is_refused(tmp_path: Path, unseen: str) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    set_cell(folder / "craft.csv", 2, "craft_id", f"C0{unseen}01")
    problem = next(p for p in read_fleet(folder, TODAY).problems if p.row == 2 and p.file == "craft.csv")
    assert problem.refused
    assert hidden_in_name(unseen) in problem.reason
    assert "type the name anew" in problem.remedy


def test_a_name_that_only_describes_is_kept_written_out_and_told(tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    set_cell(folder / "craft.csv", 2, "name", "Ott\u202ere")
    reading = read_fleet(folder, TODAY)
    assert reading.records.craft["name"].iloc[0] == "Ott\\u202ere"
    (told,) = [p for p in reading.problems if p.column == "name"]
    assert not told.refused
    assert "nobody sees" in told.reason


def test_a_fleets_folder_cannot_turn_text_around(tmp_path: Path) -> None:
    reading = read_fleet(small_fleet_folder(tmp_path / "gro\u202etset"), TODAY)
    assert reading.records.name == "gro\\u202etset"
    assert "\\" not in safe_name(reading.records.name)


def test_a_problem_names_files_and_columns_visibly() -> None:
    told = str(Problem("x\u202e.csv", 2, "a\x1bb", "v\u200b", "so\x9b", "do\u2066", refused=True))
    assert visible(told) == told


def test_markdown_on_a_screen_shows_it_too() -> None:
    assert "u202e" in in_markdown("a\u202eb")


# --- the terminal -------------------------------------------------------------------------------------------------


def test_only_the_programs_own_bold_passes_to_the_terminal() -> None:
    assert plain(f"{BOLD}Do not run\x1b[0m \x1b]0;title\x07\x1b[2J") == (
        f"{BOLD}Do not run\x1b[0m \\u001b]0;title\\u0007\\u001b[2J"
    )


@pytest.mark.skipif(sys.platform == "win32", reason="no such names of files there")
def test_no_file_gives_the_terminal_an_order(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "excepthook", sys.excepthook)
    folder = small_fleet_folder(tmp_path / "fl\x1b[31meet")
    (folder / "more\x1b]0;x\x07.csv").write_text("a\n", encoding="utf-8")
    set_cell(folder / "craft.csv", 2, "name", "Ott\u202e\x9b2Jer")
    (folder / "fleet.toml").write_text('currency = "U\\u001b[2m"\n', encoding="utf-8")
    for words in (["validate", str(folder)], ["forecast", str(folder), "--as-of", "2025-09-01"], ["plan", "no\x1b[2J"]):
        commands.main(words)
        said = "".join(capsys.readouterr())
        assert said
        assert not {c for c in said if unicodedata.category(c) == "Cc"} - {"\n"}
        assert "\u202e" not in said

"""The paper's files: names that every system takes, written whole, never over another file in silence."""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import SourceError, WrongUsage
from forecaster.paper.files import names_of, paper_name, refuse_to_overwrite, safe_name, write_files

DAY = date(2026, 11, 25)
# Windows' rules for file names: these characters are reserved, names of devices are not allowed, a name does not end
# in a dot or a space (from memory).
RESERVED = '<>:"/\\|?*'
DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{name}{n}" for name in ("COM", "LPT") for n in range(10))}


def test_a_name_holds_fleet_owner_and_day() -> None:
    assert paper_name("harbour", None, DAY) == "harbour-2026-11-25"
    assert paper_name("harbour", "Ødegård Boats", DAY) == "harbour-Ødegård Boats-2026-11-25"


@given(st.text(max_size=400))
def test_any_text_makes_a_name_that_windows_takes(text: str) -> None:
    name = safe_name(text)
    assert name
    assert not set(name) & set(RESERVED)
    assert all(ord(c) >= 32 for c in name)
    assert name == name.strip(" .") or name == "_"
    assert name.split(".")[0].upper() not in DEVICES
    assert len(f"{name}-{name}-2026-11-25-99.xlsx".encode()) <= 255


@pytest.mark.parametrize(
    ("text", "name"),
    [("a/b\\c", "a_b_c"), ("../../etc", "_.._etc"), ("con", "con_"), ("Nul.x", "Nul_.x"), ("", "_"), ("...", "_")],
)
def test_texts_that_would_lead_elsewhere_are_made_plain(text: str, name: str) -> None:
    assert safe_name(text) == name


@given(st.lists(st.sampled_from(["A/B", "A:B", "a_b", "A_B", "C", None]), unique=True))
def test_no_two_papers_share_a_name_capitals_apart(owners: list[str | None]) -> None:
    names = names_of("fleet", owners, DAY)
    assert list(names) == owners
    assert len({name.casefold() for name in names.values()}) == len(owners)


def test_files_are_written_into_a_folder_that_is_made(tmp_path: Path) -> None:
    place = tmp_path / "new" / "folder" / "a.pdf"
    assert write_files({place: b"one"}) == [place]
    assert place.read_bytes() == b"one"
    assert [file.name for file in place.parent.iterdir()] == ["a.pdf"]


def test_a_file_that_cannot_be_written_leaves_the_old_one_and_nothing_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "a.pdf"
    place.write_bytes(b"old")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(SourceError, match=r"a\.pdf cannot be written \(Permission denied\)\. Close it"):
        write_files({place: b"new"})
    assert place.read_bytes() == b"old"
    assert [file.name for file in tmp_path.iterdir()] == ["a.pdf"]


def test_a_new_file_may_be_read_by_those_who_may_read_others(tmp_path: Path) -> None:
    (usual := tmp_path / "usual").write_bytes(b"")
    (place,) = write_files({tmp_path / "a.ics": b""})
    assert place.stat().st_mode == usual.stat().st_mode


def test_a_file_that_is_there_already_is_refused_by_name(tmp_path: Path) -> None:
    there, free = tmp_path / "a.pdf", tmp_path / "b.pdf"
    there.write_bytes(b"mine")
    refuse_to_overwrite([free])
    with pytest.raises(WrongUsage, match=r"a\.pdf is there already.*--force"):
        refuse_to_overwrite([there, free])

"""The names of the paper's files: such as every system takes."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.paper.files import names_of, paper_name, safe_name

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

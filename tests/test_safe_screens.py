"""Screens over a fleet whose names are formulas and hidden characters: shown for what they are, and safe to save."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecaster import open_fleet, simulate_fleet, write_fleet
from tests.opened_screen import LANDING, open_screen, read
from tests.small_fleet import rows_of, set_cell

SCREENS = [LANDING, *(f"screens/{name}.py" for name in ("one_unit", "off_season_plan", "bench", "data_problems"))]
AS_OF = date(2024, 11, 1)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six craft; the first is called a formula, at a base that turns text around, and a row of it is refused."""
    place = tmp_path_factory.mktemp("fleets") / "six craft"
    write_fleet(simulate_fleet(craft=6, seasons=1, seed=4, first_year=2024).records, place)
    set_cell(place / "craft.csv", 2, "name", "=1+1")
    set_cell(place / "craft.csv", 2, "base", "North\u202ereiP")
    set_cell(place / "hours.csv", 3, "meter", "=cmd|x!A0")
    craft = rows_of(place / "craft.csv")[1][0]
    for file in ("craft", "fittings", "hours", "water"):
        text = (place / f"{file}.csv").read_text(encoding="utf-8")
        (place / f"{file}.csv").write_text(text.replace(craft, f"@{craft}"), encoding="utf-8")
    return place


@pytest.fixture(params=SCREENS)
def screen(request: pytest.FixtureRequest, folder: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    return open_screen(monkeypatch, folder, request.param, as_of=AS_OF.isoformat())


def cells(app: AppTest) -> list[str]:
    """Every text and header of every table of cells on the screen, those to be edited too."""
    tables = [table.value for table in app.dataframe]
    return [
        text
        for table in tables
        for text in [*table.columns, *table.to_numpy(dtype=object).ravel()]
        if isinstance(text, str)
    ]


def test_no_cell_of_a_table_begins_a_formula_or_hides_a_character(screen: AppTest) -> None:
    assert not [text for text in cells(screen) if text.lstrip().startswith(("=", "@", "+"))]
    assert "\u202e" not in "".join(cells(screen))


def test_no_text_turns_what_stands_around_it(screen: AppTest) -> None:
    assert "\u202e" not in read(screen)


def test_the_fleet_is_still_the_same(folder: Path, tmp_path: Path) -> None:
    fleet = open_fleet(folder, AS_OF)
    write_fleet(fleet.records, tmp_path / "again")
    shutil.copy(folder / "hours.csv", tmp_path / "again" / "hours.csv")  # with the row that is refused
    again = open_fleet(tmp_path / "again", AS_OF)
    assert again.forecast(AS_OF).units == fleet.forecast(AS_OF).units
    assert any(unit.craft_id.startswith("@") for unit in fleet.forecast(AS_OF).units)

"""The dashboard's panel for the paper: made when asked for, four files to take along."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecaster import Fleet, WrongUsage
from tests.opened_screen import LANDING, open_screen
from tests.small_fleet import small_fleet_folder

DAY = "2026-01-15"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_fleet_folder(tmp_path_factory.mktemp("fleets") / "small")


@pytest.fixture
def app(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """The fleet's screen on the small fleet."""
    return open_screen(monkeypatch, folder, LANDING, as_of=DAY)


def files(app: AppTest) -> list[str]:
    return [button.proto.label for button in app.get("download_button")]


def test_nothing_is_made_before_it_is_asked_for(app: AppTest) -> None:
    assert not app.exception
    assert files(app) == []


def test_asked_for_it_offers_the_four_files_and_the_answer(app: AppTest) -> None:
    app.button(key="make-report").click().run()
    assert not app.exception
    assert files(app) == ["Report to print (PDF)", "Work list (XLSX)", "Calendar (ICS)", "Work list (CSV)"]
    assert any("of 3 units" in text.value for text in app.markdown)


def test_another_owner_asks_anew(app: AppTest) -> None:
    app.button(key="make-report").click().run()
    (whose,) = [box for box in app.selectbox if box.label == "For"]
    assert whose.options == ["the whole fleet", "Ødegård Boats"]
    whose.select_index(1).run()
    assert files(app) == []
    app.button(key="make-report").click().run()
    assert not app.exception
    assert len(files(app)) == 4


def test_what_cannot_be_reported_is_told_in_plain_words(app: AppTest, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise WrongUsage("No whole week lies between these days.")

    monkeypatch.setattr(Fleet, "report", refuse)
    app.slider(key="hours").set_value(75)  # another question, so that nothing kept stands in
    app.button(key="make-report").click().run()
    assert not app.exception
    assert [error.value for error in app.error] == ["No whole week lies between these days\\."]
    assert files(app) == []

"""The dashboard's panel for the paper: made when asked for, three files to take along."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecaster import Fleet, WrongUsage, dashboard_app
from tests.small_fleet import small_fleet_folder

sys.path.insert(0, str(dashboard_app().parent))  # the screens import each other by bare names, as Streamlit runs them

DAY = "2026-01-15"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_fleet_folder(tmp_path_factory.mktemp("fleets") / "small")


@pytest.fixture
def app(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """The fleet's screen on the small fleet."""
    monkeypatch.setenv("FORECASTER_SOURCE", str(folder))
    opened = AppTest.from_file(dashboard_app(), default_timeout=120)
    opened.query_params.update({"as_of": DAY})
    return opened.run()


def files(app: AppTest) -> list[str]:
    return [button.proto.label for button in app.get("download_button")]


def test_nothing_is_made_before_it_is_asked_for(app: AppTest) -> None:
    assert not app.exception
    assert files(app) == []


def test_asked_for_it_offers_the_three_files_and_the_answer(app: AppTest) -> None:
    app.button(key="make-report").click().run()
    assert not app.exception
    assert files(app) == ["Report to print (PDF)", "Work list (XLSX)", "Calendar (ICS)"]
    assert any("of 3 units" in text.value for text in app.markdown)


def test_another_owner_asks_anew(app: AppTest) -> None:
    app.button(key="make-report").click().run()
    (whose,) = [box for box in app.selectbox if box.label == "For"]
    assert whose.options == ["the whole fleet", "Ødegård Boats"]
    whose.select_index(1).run()
    assert files(app) == []
    app.button(key="make-report").click().run()
    assert not app.exception
    assert len(files(app)) == 3


def test_what_cannot_be_reported_is_told_in_plain_words(app: AppTest, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise WrongUsage("No whole week lies between these days.")

    monkeypatch.setattr(Fleet, "report", refuse)
    app.slider(key="hours").set_value(75)  # another question, so that nothing kept stands in
    app.button(key="make-report").click().run()
    assert not app.exception
    assert [error.value for error in app.error] == ["No whole week lies between these days\\."]
    assert files(app) == []

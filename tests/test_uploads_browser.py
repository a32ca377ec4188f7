"""Uploads in a real browser: a phone hands over a folder's files, and they are gone when its page is closed."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from forecaster import simulate_fleet, write_fleet
from tests.browsing import CUT_OFF, PATIENCE, PHONE, TOO_WIDE, drawn, served_dashboard

pytestmark = pytest.mark.browser

UPLOADS = "forecaster-upload-*"


@pytest.fixture(scope="module")
def temporary(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the server keeps temporary files."""
    return tmp_path_factory.mktemp("temporary")


@pytest.fixture(scope="module")
def served(temporary: Path) -> Iterator[str]:
    """A dashboard that was named no fleet."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("TMPDIR", "TEMP", "TMP"):
            patch.setenv(name, str(temporary))
        patch.setenv("FORECASTER_SOURCE", "")
        with served_dashboard(None) as address:
            yield address


@pytest.fixture
def page(browser: Any, served: str) -> Iterator[Any]:
    """The start page on a phone."""
    window = browser.new_context(**PHONE)
    opened = window.new_page()
    opened.set_default_timeout(PATIENCE)
    opened.goto(served)
    drawn(opened)
    yield opened
    window.close()


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The files of a fleet of six craft."""
    folder = tmp_path_factory.mktemp("fleets") / "six craft"
    write_fleet(simulate_fleet(craft=6, seasons=1, seed=4, first_year=date.today().year - 2).records, folder)
    return [str(file) for file in sorted(folder.iterdir()) if file.suffix in (".csv", ".toml")]


def opened(page: Any, files: list[str]) -> None:
    page.locator("input[type=file]").set_input_files(files)
    page.get_by_role("button", name=f"Open {len(files)} files").click()
    page.wait_for_function("() => document.querySelector('h1')?.innerText.includes('of 6')")


def kept(temporary: Path) -> list[Path]:
    return list(temporary.glob(UPLOADS))


def gone(temporary: Path) -> bool:
    """Whether the uploads are deleted within some seconds of a page's end."""
    for _ in range(200):
        if not kept(temporary):
            return True
        time.sleep(0.1)
    return False


def test_the_start_page_fits_a_phone(page: Any) -> None:
    assert not page.evaluate(TOO_WIDE)
    assert page.evaluate(CUT_OFF) == []


def test_files_opened_on_a_phone_are_answered_and_deleted_when_the_page_is_closed(
    page: Any, files: list[str], temporary: Path
) -> None:
    opened(page, files)
    assert len(kept(temporary)) == 1
    page.close()
    assert gone(temporary)


def test_the_week_is_weighed_by_itself_once_the_page_stands(page: Any, files: list[str]) -> None:
    opened(page, files)
    page.wait_for_function(
        "() => /in season pays|off-season plan/.test(document.querySelector('.st-key-this-week')?.innerText)"
    )
    assert page.get_by_role("link", name="This week").get_attribute("href").endswith("#this-week")
    assert not page.evaluate(TOO_WIDE)


def test_a_reloaded_page_has_forgotten_the_upload(page: Any, files: list[str], temporary: Path) -> None:
    opened(page, files)
    page.reload()
    drawn(page)
    page.get_by_text("No fleet is open yet").wait_for()
    assert gone(temporary)

"""For all tests: fixed seeds, no deadlines, no skips where they are forbidden, and the two fleets to ask."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Generator, Iterator
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import pytest
from hypothesis import settings

from forecaster import Fleet, dashboard_app, open_fleet
from tests.browsing import QUIET

Report = TypeVar("Report", pytest.TestReport, pytest.CollectReport)
ROOT = Path(__file__).resolve().parent.parent
SAMPLE_DAY = date(2026, 11, 1)  # after the sample's last season
sys.path.insert(0, str(dashboard_app().parent))  # the screens import each other by bare names, as Streamlit runs them

# Derandomised: the same run, the same cases. No deadline: a busy machine is no fault of the code.
settings.register_profile("fixed", derandomize=True, deadline=None, max_examples=40)
settings.load_profile("fixed")


NO_SKIPS = os.environ.get("FORECASTER_NO_SKIPS") == "1"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """A test that skips fails where skips are forbidden."""
    return _forbid_skip((yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """So does a whole file that skips."""
    return _forbid_skip((yield))


def _forbid_skip(report: Report) -> Report:
    """With FORECASTER_NO_SKIPS=1 a skip is a failure: whoever sets it believes that everything ran."""
    if NO_SKIPS and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, which FORECASTER_NO_SKIPS=1 forbids: {report.longrepr}"
    return report


@cache
def sample_fleet() -> Fleet:
    """The sample fleet as of its day, opened once: what it has learned serves every file of tests."""
    return open_fleet(ROOT / "sample_fleet", SAMPLE_DAY)


@pytest.fixture(scope="session")
def sample() -> Fleet:
    """The sample fleet, to ask."""
    return sample_fleet()


@pytest.fixture
def sample_copy(tmp_path: Path) -> Path:
    """A copy of the sample fleet that a test may change."""
    return Path(shutil.copytree(ROOT / "sample_fleet", tmp_path / "sample_fleet"))


@pytest.fixture(scope="session")
def chromium() -> str:
    """The browser for browser tests: FORECASTER_CHROMIUM, else `chromium` on the path; without it they are skipped."""
    found = os.environ.get("FORECASTER_CHROMIUM") or shutil.which("chromium")
    if not found:
        pytest.skip("no Chromium here: install it, or name it in FORECASTER_CHROMIUM")
    return found


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Any]:
    """A real browser for the tests of one file: while it runs, nothing else in this process can wait on a network."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    with sync_api.sync_playwright() as play:
        started = play.chromium.launch(executable_path=chromium, args=QUIET)
        yield started
        started.close()

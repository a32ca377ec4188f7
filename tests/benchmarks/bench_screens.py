"""How long a user waits: from the command to the first page, a reload, a change of screen, a slider.

    python tests/benchmarks/bench_screens.py            sample fleet and 500 invented craft, medians of five
    python tests/benchmarks/bench_screens.py --runs 3 --fleet sample

Each is timed in headless Chromium on this machine, from the act to the moment that the answer stands: the sentence of
the screen and, where the screen has one, the marks of its picture. What a screen goes on to work out below that is not
waited for; it is a line of its own.
"""

from __future__ import annotations

import argparse
import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from playwright.sync_api import sync_playwright  # noqa: E402 - the path first

from forecaster import sample_fleet_folder, simulate_fleet, write_fleet  # noqa: E402

# Goals in seconds: the sample fleet of 28 craft, and 500 craft.
ACTS = ("command to first page", "reload", "change of screen", "slider")
GOALS = {
    "sample": dict(zip(ACTS, (3.5, 1.0, 1.0, 0.3), strict=True)),
    "500 craft": dict(zip(ACTS, (5.0, 1.5, 1.5, 0.5), strict=True)),
}
SLOWER = 180_000  # ms: give up, it is broken
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync", "--no-first-run"]
ANSWERED = "() => !!document.querySelector('h1')"
PICTURED = "() => document.querySelectorAll('.js-plotly-plot .scatterlayer path').length > 3"
STILL = "() => !document.querySelector('[data-testid=stApp][data-test-script-state=running]')"
OTHER = "old => document.querySelector('h1') && document.querySelector('h1').innerText !== old"


def main() -> None:
    """Time every act on every fleet and print the table against the goals."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--runs", type=int, default=5)
    words.add_argument("--fleet", choices=list(GOALS), action="append")
    asked = words.parse_args()
    print("| fleet | act | median, s | least | most | goal, s | |\n| --- | --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as place, sync_playwright() as play:
        chromium = os.environ.get("FORECASTER_CHROMIUM") or shutil.which("chromium")
        browser = play.chromium.launch(executable_path=chromium, args=QUIET)
        for fleet in asked.fleet or list(GOALS):
            folder = _folder(fleet, Path(place))
            times: dict[str, list[float]] = {}
            for _ in range(asked.runs):
                for act, seconds in _visit(browser, folder):
                    times.setdefault(act, []).append(seconds)
            for act, seconds in times.items():
                _print_row(fleet, act, seconds)
        browser.close()


def _print_row(fleet: str, act: str, seconds: list[float]) -> None:
    median, goal = statistics.median(seconds), GOALS[fleet].get(act)
    kept = "" if goal is None else "kept" if median <= goal else "missed"
    told = "" if goal is None else f"{goal:g}"
    print(f"| {fleet} | {act} | {median:.2f} | {min(seconds):.2f} | {max(seconds):.2f} | {told} | {kept} |", flush=True)


def _folder(fleet: str, place: Path) -> Path:
    if fleet == "sample":
        return sample_fleet_folder()
    folder = place / "fleet500"
    folder.mkdir()
    # Its last season ended last year, so that today is a day that a user asks for.
    write_fleet(simulate_fleet(craft=500, seasons=3, seed=5, first_year=date.today().year - 3).records, folder)
    return folder


def _visit(browser: Any, folder: Path) -> Iterator[tuple[str, float]]:
    """One start of the program and every act of a visit."""
    page = browser.new_context(viewport={"width": 1366, "height": 768}).new_page()
    page.set_default_timeout(SLOWER)
    begun = time.perf_counter()
    with _served(folder) as address:
        _open(page, address)
        _drawn(page)
        yield ACTS[0], time.perf_counter() - begun
        page.wait_for_function(STILL)
        yield "and all below it", time.perf_counter() - begun
        yield ACTS[1], _timed(lambda: (page.reload(), _drawn(page)))
        page.wait_for_function(STILL)
        yield ACTS[3], _slide(page)
        # A link's text is its icon's name, then its own.
        screens = [text.split("\n")[-1] for text in page.get_by_test_id("stTopNavLink").all_inner_texts()]
        for screen in screens[1:]:
            yield f"first look at {screen}", _timed(lambda screen=screen: _change_to(page, screen))
            page.wait_for_function(STILL)
            _change_to(page, "Fleet today")
            page.wait_for_function(STILL)
            yield ACTS[2], _timed(lambda screen=screen: _change_to(page, screen))
            page.wait_for_function(STILL)
            _change_to(page, "Fleet today")
            page.wait_for_function(STILL)
        page.context.close()


def _timed(act: Any) -> float:
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def _drawn(page: Any) -> None:
    page.wait_for_function(ANSWERED)
    page.wait_for_function(PICTURED)


def _slide(page: Any) -> float:
    slider = page.get_by_role("slider").first
    slider.focus()
    before = page.inner_text("h1")
    begun = time.perf_counter()
    slider.press("ArrowRight")
    page.wait_for_function(OTHER, arg=before, polling=20)
    return time.perf_counter() - begun


def _change_to(page: Any, screen: str) -> None:
    before = page.inner_text("h1")
    page.get_by_test_id("stTopNavLink").filter(has_text=screen).first.click()
    page.wait_for_function(OTHER, arg=before, polling=20)


def _open(page: Any, address: str) -> None:
    """Go there once the server answers, which is when the command opens a browser."""
    while True:
        try:
            urllib.request.urlopen(f"{address}/_stcore/health", timeout=2.0).close()
        except OSError:
            time.sleep(0.02)
        else:
            break
    page.goto(address)


@contextmanager
def _served(folder: Path) -> Iterator[str]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = subprocess.Popen(
        [sys.executable, "-m", "forecaster", "dashboard", str(folder), "--port", str(port), "--no-browser"],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(timeout=30)


if __name__ == "__main__":
    main()

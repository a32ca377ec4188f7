"""How long a user waits: from the command to the first page, a reload, a change of screen, a slider.

    python tests/benchmarks/bench_screens.py            sample fleet and 500 invented craft, medians of five
    python tests/benchmarks/bench_screens.py --runs 3 --fleet sample

Each is timed in headless Chromium on this machine, from the act to the moment that the answer stands: the sentence of
the screen and, where the screen has one, the marks of its picture. What a screen goes on to work out below that is not
waited for; it is a line of its own.

Seconds are those of a machine and an hour. So each round also opens a bare page, ``streamlit run`` of a title and one
picture, and each of our times is told beside the bare one of its round, or beside the sample's: the median of those
ratios is what is to be kept.
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

FIRST, RELOAD, CHANGE, SLIDER, BELOW = (
    "command to first page",
    "reload",
    "change of screen",
    "slider",
    "and all below it",
)
LOOK = "first look at {}"
AT_ONCE = "first look at {}, straight after the first page"  # before anything could be made ready in between
BARE, SAMPLE, LARGE = "bare page", "sample", "500 craft"
# Beside what each act is told, (act, of which page), and the most that the ratio may be.
BESIDE: dict[tuple[str, str], tuple[str, str, float | None]] = {
    (SAMPLE, FIRST): (FIRST, BARE, 1.15),
    (SAMPLE, RELOAD): (RELOAD, BARE, None),
    (LARGE, FIRST): (FIRST, BARE, 1.5),
    (LARGE, RELOAD): (RELOAD, BARE, None),
    (LARGE, CHANGE): (CHANGE, SAMPLE, None),
    (LARGE, SLIDER): (SLIDER, SAMPLE, 1.3),
    (LARGE, LOOK.format("Now or later")): (FIRST, BARE, 1.0),
    (LARGE, LOOK.format("Off-season plan")): (FIRST, BARE, 1.0),
    (LARGE, AT_ONCE.format("Now or later")): (FIRST, BARE, 1.0),
    (LARGE, AT_ONCE.format("Off-season plan")): (FIRST, BARE, 1.0),
}
SECONDS = {  # goals on a quiet machine
    SAMPLE: {FIRST: 3.5, RELOAD: 1.0, CHANGE: 1.0, SLIDER: 0.3},
    LARGE: {FIRST: 5.0, RELOAD: 1.5, CHANGE: 1.5, SLIDER: 0.5},
}
SLOWER = 180_000  # ms: give up, it is broken
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync", "--no-first-run"]
ANSWERED = "() => !!document.querySelector('h1')"
PICTURED = "() => document.querySelectorAll('.js-plotly-plot .scatterlayer path').length > 3"
STILL = "() => !document.querySelector('[data-testid=stApp][data-test-script-state=running]')"
OTHER = "old => document.querySelector('h1') && document.querySelector('h1').innerText !== old"
BARE_SCRIPT = """import plotly.graph_objects as go
import streamlit as st

st.title("A bare page")
st.plotly_chart(go.Figure(go.Scatter(x=list(range(28)), y=list(range(28)), mode="markers")))
"""

Times = dict[tuple[str, str], list[float]]  # by page and act, one of each round


def main() -> None:
    """Time every act on every page, round by round, and print the table."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--runs", type=int, default=5)
    words.add_argument("--fleet", choices=list(SECONDS), action="append")
    asked = words.parse_args()
    times: Times = {}
    with tempfile.TemporaryDirectory() as place, sync_playwright() as play:
        chromium = os.environ.get("FORECASTER_CHROMIUM") or shutil.which("chromium")
        browser = play.chromium.launch(executable_path=chromium, args=QUIET)
        pages = {BARE: _bare_command(Path(place))}
        pages |= {fleet: _command(_folder(fleet, Path(place))) for fleet in asked.fleet or list(SECONDS)}
        for done in range(asked.runs):
            for name, command in pages.items():
                acts = [*_visit(browser, command), *([] if name == BARE else _looks_at_once(browser, command))]
                for act, seconds in acts:
                    times.setdefault((name, act), []).append(seconds)
                print(f"round {done + 1} of {asked.runs}: {name}", file=sys.stderr, flush=True)
        browser.close()
    _print_table(times)


def _print_table(times: Times) -> None:
    print("| page | act | median, s | least | most | goal, s | beside | times that | goal | |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for (name, act), seconds in times.items():
        within = SECONDS.get(name, {}).get(act)
        beside, ratio, goal = _beside(times, name, act)
        kept = "" if goal is None or ratio is None else "kept" if ratio <= goal else "missed"
        cells = [name, act, *(f"{one:.2f}" for one in (statistics.median(seconds), min(seconds), max(seconds)))]
        cells += ["" if within is None else f"{within:g}", beside]
        cells += ["" if one is None else f"{one:.2f}" for one in (ratio, goal)]
        print(f"| {' | '.join([*cells, kept])} |")


def _beside(times: Times, name: str, act: str) -> tuple[str, float | None, float | None]:
    """What a time is told beside, the median of its rounds' ratios, and the most that it may be."""
    other, page, goal = BESIDE.get((name, act), ("", "", None))
    if (page, other) not in times:
        return "", None, None
    ratios = [own / beside for own, beside in zip(times[name, act], times[page, other], strict=True)]
    return f"{page}: {other}", statistics.median(ratios), goal


def _bare_command(place: Path) -> list[str]:
    """A page of a title and one picture, as anybody would serve it; ``{port}`` stands for the port."""
    script = place / "bare_page.py"
    script.write_text(BARE_SCRIPT, encoding="utf-8")
    quiet = ["--server.headless=true", "--browser.gatherUsageStats=false", "--server.address=127.0.0.1"]
    return [sys.executable, "-m", "streamlit", "run", str(script), *quiet, "--server.port={port}"]


def _command(folder: Path) -> list[str]:
    return [sys.executable, "-m", "forecaster", "dashboard", str(folder), "--no-browser", "--port={port}"]


def _folder(fleet: str, place: Path) -> Path:
    if fleet == SAMPLE:
        return sample_fleet_folder()
    folder = place / "fleet500"
    folder.mkdir()
    # Its last season ended last year, so that today is a day that a user asks for.
    write_fleet(simulate_fleet(craft=500, seasons=3, seed=5, first_year=date.today().year - 3).records, folder)
    return folder


def _visit(browser: Any, command: list[str]) -> Iterator[tuple[str, float]]:
    """One start of the program and every act of a visit."""
    page = _new_page(browser)
    begun = time.perf_counter()
    with _served(command) as address:
        _open(page, address)
        _drawn(page)
        yield FIRST, time.perf_counter() - begun
        page.wait_for_function(STILL)
        yield BELOW, time.perf_counter() - begun
        yield RELOAD, _timed(lambda: (page.reload(), _drawn(page)))
        page.wait_for_function(STILL)
        # A link's text is its icon's name, then its own.
        screens = [text.split("\n")[-1] for text in page.get_by_test_id("stTopNavLink").all_inner_texts()]
        if screens:
            yield SLIDER, _slide(page)
        for screen in screens[1:]:
            yield LOOK.format(screen), _timed(lambda screen=screen: _change_to(page, screen))
            page.wait_for_function(STILL)
            _change_to(page, screens[0])
            page.wait_for_function(STILL)
            yield CHANGE, _timed(lambda screen=screen: _change_to(page, screen))
            page.wait_for_function(STILL)
            _change_to(page, screens[0])
            page.wait_for_function(STILL)
        page.context.close()


def _looks_at_once(browser: Any, command: list[str]) -> Iterator[tuple[str, float]]:
    """A start of the program for each of the screens that take longest, and the look at it once there is a page."""
    for screen in ("Now or later", "Off-season plan"):
        page = _new_page(browser)
        with _served(command) as address:
            _open(page, address)
            _drawn(page)
            yield AT_ONCE.format(screen), _timed(lambda page=page, screen=screen: _change_to(page, screen))
            page.context.close()


def _new_page(browser: Any) -> Any:
    page = browser.new_context(viewport={"width": 1366, "height": 768}).new_page()
    page.set_default_timeout(SLOWER)
    return page


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
def _served(command: list[str]) -> Iterator[str]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = subprocess.Popen(
        [part.format(port=port) for part in command], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(timeout=30)


if __name__ == "__main__":
    main()

"""The three jobs from a cold start, each as its user does it: rental fleet, bench, a craft just under water."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from tests.browsing import LAPTOP, PHONE, served_dashboard
from tests.conftest import SAMPLE_DAY
from tests.ten_craft import AS_OF, ten_craft_folder
from tests.tour import Stop, Walk

axe_script = pytest.importorskip("axe_playwright_python.base", reason="axe-playwright-python is not installed")

pytestmark = pytest.mark.browser

# What Streamlit brings by itself, by axe-core's rule: the elements in which it lies. Reasons in DEVELOPERS.md.
STREAMLITS_OWN: dict[str, str] = {}
JOBS = pytest.mark.parametrize("job", ["rental_fleet", "rebuilder", "owner"])
ROW = 35  # px: height of a table's header and of each of its rows
IN_ORDER = """() => {
  const craft = [...document.querySelectorAll('[id^=glide-cell-2-]')].map(cell => cell.textContent)
  return craft.length > 5 && craft.join() === [...craft].sort().join()
}"""
Walker = Callable[[str, dict[str, Any]], Walk]


@pytest.fixture(scope="module")
def walk(browser: Any) -> Iterator[Walker]:
    """Begins a walk at the root of a dashboard that was started without a fleet."""
    with served_dashboard(None) as address:

        def begin(name: str, device: dict[str, Any]) -> Walk:
            page = browser.new_context(**device, color_scheme="light").new_page()
            begun = Walk(name, page, axe_script.AXE_SCRIPT, STREAMLITS_OWN)
            page.goto(address)
            return begun

        yield begin


@pytest.fixture(scope="module")
def rental_fleet(walk: Walker) -> Walk:
    """The manager of a rental fleet on a laptop, with the sample fleet."""
    tour = walk("rental fleet", LAPTOP)
    page = tour.page
    tour.answered("Which superchargers should be opened")
    tour.stop("no fleet")

    page.get_by_role("button", name="Open the sample fleet").click()
    tour.answered("of 26 units")
    _type_day(page, SAMPLE_DAY)
    tour.answered(r"20\d\d; S0005 first")
    tour.stop("fleet today")

    _sort_by_craft(page)
    page.get_by_role("slider").first.focus()  # leaving the table behind opens nothing
    tour.answered(r"\d+ of 26 units should be opened")
    page.get_by_text("More", exact=True).click()
    tour.at_rest()  # unfolded: a list closes when what is around it moves
    bases = page.get_by_role("combobox", name="Base")
    bases.fill("Lagoon")
    bases.press("Enter")
    page.wait_for_url("**base=Lagoon**")
    page.keyboard.press("Escape")  # closes the list
    tour.answered("at Lagoon")
    tour.stop("one base")

    page.locator(".st-key-first-units a").first.click()
    unit = tour.answered(r"^S\d{4}: .* to fail within").split(":")[0]
    tour.stop("one unit")

    page.get_by_role("link", name=f"Rebuild {unit} now or later").click()
    before = tour.answered(f"{unit} .*USD")
    tour.stop("now or later")
    price = page.get_by_role("textbox", name="Rebuild", exact=True)
    price.fill("4000")
    price.press("Enter")
    page.get_by_role("button", name="Back to the fleet's prices").and_(page.locator(":enabled")).wait_for()
    tour.stop("a dearer rebuild")
    assert tour.answer() != before
    page.get_by_role("button", name="Back to the fleet's prices").click()
    page.get_by_role("button", name="Back to the fleet's prices").and_(page.locator(":disabled")).wait_for()
    tour.at_rest()
    assert tour.answer() == before

    _go_to(page, "Off-season plan")
    without_limit = tour.answered("this off-season")
    tour.stop("off-season plan")
    budget = page.get_by_role("textbox", name="Budget")
    budget.fill("8000")
    budget.press("Enter")
    best = tour.answered(f"^(?!{re.escape(without_limit[:25])})")
    _leave_the_first(page)
    page.get_by_role("button", name="Back to the best plan").wait_for()
    tour.stop("plan changed by hand")
    page.get_by_role("button", name="Back to the best plan").click()
    page.get_by_role("button", name="Back to the best plan").wait_for(state="detached")
    tour.at_rest()
    assert tour.answer() == best

    _go_to(page, "Fleet today")
    tour.answered("at Lagoon")
    page.get_by_role("button", name="Make the report").click()
    assert _saved(page, "Report to print (PDF)").startswith(b"%PDF")
    assert _saved(page, "Work list (XLSX)").startswith(b"PK")
    tour.stop("report")
    return tour


@pytest.fixture(scope="module")
def fleet_zip(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A customer's fleet of ten craft and two seasons as one ZIP, with one bad row."""
    folder = ten_craft_folder(tmp_path_factory.mktemp("fleets"), bad_row=True)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as files:
        for file in sorted(folder.iterdir()):
            files.write(file, f"ten_craft/{file.name}")
    return packed.getvalue()


@pytest.fixture(scope="module")
def rebuilder(walk: Walker, fleet_zip: bytes) -> Walk:
    """A rebuilder who is sent a customer's fleet, has one of its units on the bench, and pitches to one owner."""
    tour = walk("rebuilder", LAPTOP)
    page = tour.page
    tour.answered("Which superchargers should be opened")
    sent = {"name": "ten_craft.zip", "mimeType": "application/zip", "buffer": fleet_zip}
    page.locator("input[type=file]").set_input_files(sent)
    page.get_by_role("button", name="Open 1 file").click()
    tour.answered(r"of \d+ units")
    _type_day(page, AS_OF)
    tour.answered("season opens on 1 May 2023")

    _go_to(page, "Data")
    tour.answered("1 row was refused")
    tour.stop("data with a problem")

    _go_to(page, "Bench")
    tour.answered("Measure before you decide")
    _choose(page, "Bearing, spun by hand", "Rough")
    for part in ("Impeller", "Front housing", "Rear housing"):
        _choose(page, part, "Good")
    tour.answered("rebuild the unit")
    tour.stop("bench")

    _go_to(page, "Evidence")
    tour.answered("Learned from")
    tour.stop("evidence")

    _go_to(page, "Fleet today")
    tour.answered("season opens on 1 May 2023")
    _choose_owner(page)
    page.get_by_role("button", name="Make the report").click()
    assert _saved(page, "Report to print (PDF)").startswith(b"%PDF")
    tour.stop("report of one owner")
    return tour


@pytest.fixture(scope="module")
def owner(walk: Walker) -> Walk:
    """An owner on a phone, with no fleet, whose craft was just under water."""
    tour = walk("owner", PHONE)
    page = tour.page
    tour.answered("Which superchargers should be opened")
    page.get_by_test_id("stExpandSidebarButton").tap()
    page.get_by_role("link", name="After water").tap()
    tour.answered("Do not start it. Do not crank it.")
    tour.stop("after water, nothing told")
    for question, told in (
        ("How long was it under?", "About 10 min"),
        ("Which water got in?", "Salt"),
        ("Was the engine running as it went under?", "Off"),
        ("What does the oil look like now?", "Milky"),
        ("Oil changed until clear, and the engine run warm?", "Not yet"),
    ):
        _choose(page, question, told)
    tour.answered("STOP: do not run it")
    page.get_by_text("Show what to do").tap()
    page.get_by_role("checkbox", name="People first").check(force=True)
    tour.stop("after water, stop")
    assert "in 10 such superchargers fail within" in page.locator(".stMain").inner_text()
    return tour


@JOBS
def test_every_stop_opens_with_its_answer(job: str, request: pytest.FixtureRequest) -> None:
    for stop in _stops(job, request):
        assert len(stop.answer.split()) > 4, stop.name


@JOBS
def test_no_stop_shows_a_fault(job: str, request: pytest.FixtureRequest) -> None:
    assert {stop.name: stop.faults for stop in _stops(job, request) if stop.faults} == {}


@JOBS
def test_no_stop_scrolls_sideways_in_any_size(job: str, request: pytest.FixtureRequest) -> None:
    assert {stop.name: stop.too_wide for stop in _stops(job, request) if stop.too_wide} == {}


@JOBS
def test_no_text_is_cut_off_in_any_size(job: str, request: pytest.FixtureRequest) -> None:
    assert {stop.name: stop.cut_off for stop in _stops(job, request) if stop.cut_off} == {}


@JOBS
def test_axe_finds_nothing_grave_by_day_or_by_night(job: str, request: pytest.FixtureRequest) -> None:
    assert {stop.name: stop.hard_to_use for stop in _stops(job, request) if stop.hard_to_use} == {}


@JOBS
def test_the_browser_complains_of_nothing(job: str, request: pytest.FixtureRequest) -> None:
    assert request.getfixturevalue(job).complaints == []


def _stops(job: str, request: pytest.FixtureRequest) -> list[Stop]:
    walk: Walk = request.getfixturevalue(job)
    assert walk.stops
    return walk.stops


def _type_day(page: Any, day: date) -> None:
    """Type a day into "As of", digit by digit, as people do: day first, as these fleets write days."""
    page.get_by_test_id("stDateInput").get_by_role("spinbutton").first.focus()
    page.keyboard.type(f"{day:%d%m%Y}")
    page.keyboard.press("Escape")  # closes the calendar that opens beside it: Streamlit then takes the day
    page.wait_for_url(f"**as_of={day.isoformat()}**")


def _sort_by_craft(page: Any) -> None:
    """Click the header "On craft": the rows stand in the order of the craft."""
    table = page.locator("[class*=st-key-units-table] canvas").first
    _below_the_top(page, table)
    box = table.bounding_box()
    page.mouse.click(box["x"] + 120, box["y"] + ROW / 2)
    page.wait_for_function(IN_ORDER)


def _leave_the_first(page: Any) -> None:
    """In the table of the plan, by keyboard: choose "leave" as the work of the first unit."""
    table = page.get_by_test_id("stDataFrame").locator("canvas").first
    _below_the_top(page, table)
    box = table.bounding_box()
    page.mouse.click(box["x"] + 80, box["y"] + 1.5 * ROW)
    page.keyboard.press("Enter")
    page.locator("#portal input").wait_for(state="attached")
    page.keyboard.type("leave")
    page.locator("#portal").get_by_text("leave", exact=True).last.wait_for()
    page.keyboard.press("Enter")


def _below_the_top(page: Any, table: Any) -> None:
    """Bring the head of a table into view, below the row of screens."""
    table.evaluate("e => { e.scrollIntoView(); document.querySelector('.stMain').scrollBy(0, -150) }")
    page.wait_for_timeout(500)


def _go_to(page: Any, screen: str) -> None:
    page.get_by_test_id("stTopNavLink").filter(has_text=screen).click()


def _choose(page: Any, question: str, told: str) -> None:
    """Tap an answer of a question that has its answers beside each other."""
    page.get_by_role("radiogroup", name=question).get_by_text(told, exact=True).click()


def _choose_owner(page: Any) -> None:
    """The first owner in the list of the report's panel."""
    whose = page.get_by_role("combobox", name="For")
    whose.focus()
    page.wait_for_timeout(500)  # scrolling closes a list
    whose.press("ArrowDown")
    page.get_by_role("option").nth(1).click()


def _saved(page: Any, button: str) -> bytes:
    """The bytes of a file that is downloaded."""
    with page.expect_download() as saving:
        page.get_by_role("button", name=button).click()
    return Path(saving.value.path()).read_bytes()

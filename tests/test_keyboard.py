"""The dashboard without a mouse: every control is reached in its order, the focus is seen, and nothing happens by passing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from tests.browsing import LAPTOP, PATIENCE, QUIET, drawn, served_dashboard
from tests.conftest import SAMPLE_DAY

sync_api = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")

pytestmark = pytest.mark.browser

FORMS = {
    "": ".st-key-controls",
    "now_or_later": ".st-key-prices",
    "off_season_plan": ".st-key-plan-limits",
    "after_water": ".st-key-touch-water",
    "bench": ".st-key-touch-bench",
}
ON_FORMS = pytest.mark.parametrize("path", FORMS)
MOST_STOPS = 80  # Tab stops of a form: none has so many
# What a control is called, where it stands, and the box in which its focus shows; of each control, the one that Tab takes.
NAMED = """element => {
  const group = element.closest('[role=radiogroup], [data-testid=stDateInputField]') ?? element
  const box = (element.closest('label, [data-testid=stNumberInputContainer], [data-rac]') ?? element).getBoundingClientRect()
  return {name: group.getAttribute('aria-label') ?? element.getAttribute('aria-label') ?? element.innerText,
          box: {x: box.x - 6, y: box.y - 6, width: box.width + 12, height: box.height + 12}}
}"""
ASKED = """form => [...form.querySelectorAll('[role=radiogroup], input[type=number], input[type=range]')]
  .filter(e => e.closest('[data-testid=stElementContainer]').offsetParent).map(e => e.getAttribute('aria-label'))"""
Opener = Callable[[str], Any]


@dataclass(frozen=True)
class Reached:
    """One stop of Tab within a form: its name, its place, whether it looks different with the focus than without."""

    name: str
    x: float
    y: float
    seen: bool


@pytest.fixture(scope="module")
def go(chromium: str) -> Iterator[Opener]:
    """Opens a screen of the sample fleet."""
    with served_dashboard(None) as address, sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=QUIET)

        def open_at(path: str) -> Any:
            page = browser.new_context(**LAPTOP, reduced_motion="reduce").new_page()
            page.set_default_timeout(PATIENCE)
            page.goto(f"{address}/{path}?fleet=sample&as_of={SAMPLE_DAY}")
            drawn(page)
            page.wait_for_function("() => !document.body.innerText.includes('eighing each unit')")
            drawn(page)
            return page

        yield open_at
        browser.close()


@pytest.fixture(scope="module")
def walked(go: Opener) -> Callable[[str], tuple[list[str], list[Reached]]]:
    """What a screen's form asks, and what Tab reaches of it, one after the other."""
    known: dict[str, tuple[list[str], list[Reached]]] = {}

    def walk(path: str) -> tuple[list[str], list[Reached]]:
        if path not in known:
            page = go(path)
            form = page.locator(FORMS[path]).first
            known[path] = form.evaluate(ASKED), _tab_through(page, FORMS[path])
        return known[path]

    return walk


@ON_FORMS
def test_tab_reaches_every_control(walked: Callable[[str], Any], path: str) -> None:
    asked, reached = walked(path)
    names = {stop.name for stop in reached}
    assert len(names) > 2
    assert set(asked) - names == set()


@ON_FORMS
def test_tab_follows_the_order_in_which_they_are_read(walked: Callable[[str], Any], path: str) -> None:
    _, reached = walked(path)
    rows = [stop.y for stop in reached]
    assert all(later > earlier - 30 for earlier, later in zip(rows, rows[1:], strict=False))  # px; 30: one line


@ON_FORMS
def test_the_focus_is_seen(walked: Callable[[str], Any], path: str) -> None:
    _, reached = walked(path)
    assert [stop.name for stop in reached if not stop.seen] == []  # WCAG 2.2, 2.4.7 focus visible


def test_passing_the_table_with_tab_opens_nothing_and_its_rows_are_chosen_by_keyboard(go: Opener) -> None:
    page = go("")
    page.locator("[class*=st-key-units-table] canvas").first.focus()
    page.keyboard.press("ArrowDown")
    page.wait_for_timeout(1000)
    drawn(page)
    assert "one_unit" not in page.url  # WCAG 2.2, 3.2.1 on focus
    page.keyboard.press("Shift+Space")
    page.wait_for_url("**/one_unit**")


def test_a_finding_is_told_to_the_bench_with_the_arrow_keys(go: Opener) -> None:
    page = go("bench")
    before = page.inner_text("h1")
    page.get_by_role("radiogroup", name="Bearing, spun by hand").locator("input").first.focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
        drawn(page)
    page.wait_for_function("old => document.querySelector('h1')?.innerText !== old", arg=before)
    page.wait_for_url("**found_bearing=failed**")


def _tab_through(page: Any, form: str) -> list[Reached]:
    """Press Tab from the form's first stop until the focus leaves it."""
    page.evaluate(
        """form => { const first = document.createElement('span'); first.tabIndex = 0
           document.querySelector(form).prepend(first); first.focus() }""",
        form,
    )
    reached: list[Reached] = []
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        focus = page.evaluate_handle("() => document.activeElement")
        if not focus.evaluate("(element, form) => element.closest(form) !== null", form):
            break
        focus.evaluate("element => element.scrollIntoView({block: 'center'})")
        told = focus.evaluate(NAMED)
        with_focus = page.screenshot(clip=told["box"])
        focus.evaluate("element => element.blur()")
        without = page.screenshot(clip=told["box"])
        focus.evaluate("element => element.focus({focusVisible: true})")
        scrolled = page.evaluate("document.querySelector('.stMain').scrollTop")
        reached.append(Reached(told["name"], told["box"]["x"], told["box"]["y"] + scrolled, with_focus != without))
    return reached

"""The dashboard by keyboard alone, with the sample fleet: from the top of a screen, by the keys that it tells."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest

from forecaster import sample_fleet_folder
from tests.browsing import LAPTOP, PATIENCE, drawn, served_dashboard
from tests.conftest import SAMPLE_DAY
from tests.focus_walk import TABLE, UNFOLDED, Walk, go_to, on, walk
from tests.tour import AT_REST, SIZES

pytestmark = pytest.mark.browser

SCREENS = {"": "light", "after_water": "dark", "off_season_plan": "light", "bench": "dark"}  # by day, by night
ON_SCREENS = pytest.mark.parametrize("path", SCREENS)
FIRST = "Skip to main content"
TOLD_KEYS = "arrow keys, then Shift and space"
TOLD_WAY_OUT = "Escape, then Tab, leaves the table"
SAYS = "words => document.querySelector('h1')?.innerText.replaceAll('\\u00a0', ' ').includes(words)"
Visit = Callable[..., Any]


@pytest.fixture(scope="module")
def go(browser: Any) -> Iterator[Visit]:
    """Opens a screen anew, in one window for all: the screens keep nothing of what an earlier test did."""
    with served_dashboard(sample_fleet_folder()) as address:
        # Without motion: what a stop looks like is measured at once.
        window = browser.new_context(**LAPTOP, reduced_motion="reduce")
        page = window.new_page()
        page.set_default_timeout(PATIENCE)

        def open_at(path: str, size: str = "laptop", scheme: str = "light") -> Any:
            page.set_viewport_size(SIZES[size])
            page.emulate_media(color_scheme=scheme)
            page.goto(f"{address}/{path}?as_of={SAMPLE_DAY}")
            drawn(page)
            page.wait_for_function(AT_REST)
            return page

        yield open_at
        window.close()


@pytest.fixture(scope="module")
def at(go: Visit) -> Visit:
    """A screen as an earlier test left it, or opened anew: for tests to which that makes no difference."""
    last: list[Any] = []

    def there(path: str) -> Any:
        if not last or urlsplit(last[0].url).path != f"/{path}" or last[0].viewport_size != SIZES["laptop"]:
            last[:] = [go(path)]
        last[0].wait_for_function(AT_REST)
        return last[0]

    return there


@pytest.fixture(scope="module")
def walked(go: Visit) -> Callable[[str], tuple[Walk, Walk, str]]:
    """A screen gone through forth and back, once for all the tests that look at it; and where that led."""
    seen: dict[str, tuple[Walk, Walk, str]] = {}

    def both_ways(path: str) -> tuple[Walk, Walk, str]:
        if path not in seen:
            page = go(path, scheme=SCREENS[path])
            forth, back = walk(page, "Tab"), walk(page, "Shift+Tab")
            page.wait_for_function(AT_REST)
            seen[path] = forth, back, page.url
        return seen[path]

    return both_ways


def says(page: Any, words: str) -> None:
    """Wait until the answer holds these words."""
    page.wait_for_function(SAYS, arg=words)


Walked = Callable[[str], tuple[Walk, Walk, str]]


@ON_SCREENS
def test_whatever_has_the_focus_shows_it(walked: Walked, path: str) -> None:
    assert walked(path)[0].faint == []


@ON_SCREENS
def test_nothing_stands_over_what_has_the_focus(walked: Walked, path: str) -> None:
    forth, back, _ = walked(path)
    assert forth.covered == []
    assert back.covered == []


@ON_SCREENS
def test_tab_passes_over_no_control(walked: Walked, path: str) -> None:
    forth = walked(path)[0]
    assert len(forth.names) > 30
    assert forth.missed == []


@ON_SCREENS
def test_the_focus_is_trapped_nowhere(walked: Walked, path: str) -> None:
    forth, back, _ = walked(path)
    assert forth.names[0] == back.names[-1] == FIRST
    assert forth.names[-1] == back.names[0] != FIRST
    assert forth.left
    assert back.left


@pytest.mark.parametrize("path", ["", "off_season_plan"])
def test_passing_a_table_opens_and_changes_nothing(walked: Walked, path: str) -> None:
    forth, back, address = walked(path)
    assert address.endswith(f"/{path}?as_of={SAMPLE_DAY}")
    assert TABLE in forth.names
    assert TABLE in back.names


def test_the_horizon_is_moved_by_arrow_keys_and_the_answer_follows(at: Visit) -> None:
    page = at("")
    go_to(page, "Look ahead")
    page.keyboard.press("ArrowRight")
    says(page, "within the next 55 h")
    page.wait_for_url("**hours=55**")
    assert str(SAMPLE_DAY) in page.url
    assert on(page).startswith("Look ahead")  # drawn anew, the page leaves the focus where it was
    page.keyboard.press("ArrowLeft")
    says(page, "within the next 50 h")


def test_a_table_is_left_at_once_by_the_keys_that_the_screen_tells(at: Visit) -> None:
    page = at("")
    assert page.get_by_text(TOLD_WAY_OUT).is_visible()
    go_to(page, TABLE)
    page.keyboard.press("Escape")
    page.keyboard.press("Tab")
    assert on(page) != TABLE


def test_a_row_of_the_table_opens_its_unit_by_the_keys_that_the_screen_tells(at: Visit) -> None:
    page = at("")
    assert page.get_by_text(TOLD_KEYS).is_visible()
    third = page.locator(".st-key-first-units a").nth(2).inner_text()
    go_to(page, TABLE)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Shift+Space")
    page.wait_for_url(f"**/one_unit?**unit={third}**")
    says(page, f"{third}:")


def test_what_is_folded_away_beside_the_horizon_is_unfolded_and_used_in_turn(go: Visit) -> None:
    page = go("")
    go_to(page, "More")
    page.keyboard.press("Enter")
    page.wait_for_function(UNFOLDED)
    page.keyboard.press("Tab")
    assert on(page) == "Base"
    page.wait_for_timeout(500)  # scrolling closes a list
    page.keyboard.press("ArrowDown")
    page.get_by_role("option", name="Lagoon").wait_for()
    page.keyboard.press("Enter")
    says(page, "at Lagoon")
    page.wait_for_url("**base=Lagoon**")


def test_after_water_arrow_keys_answer_and_the_steps_and_the_answer_follow(at: Visit) -> None:
    page = at("after_water")
    go_to(page, "Which water got in?")
    unless = page.get_by_role("checkbox", name="Unless it was fresh water")
    assert unless.count() == 1
    page.keyboard.press("ArrowRight")
    unless.wait_for(state="detached")
    page.wait_for_url("**water=salt**")
    assert on(page) == "Which water got in?"
    go_to(page, "What does the oil look like now?")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    says(page, "STOP")
    page.wait_for_url("**oil=milky**")
    assert on(page) == "What does the oil look like now?"


def test_after_water_space_ticks_a_step_off(at: Visit) -> None:
    page = at("after_water")
    go_to(page, "Step 1. People first")
    page.keyboard.press("Space")
    page.get_by_role("checkbox", name="People first", checked=True).wait_for(state="attached")
    page.wait_for_function(AT_REST)
    assert page.locator(".st-key-first-steps input:checked").count() == 1
    assert on(page).startswith("Step 1. People first")


def test_a_budget_typed_changes_the_plan(at: Visit) -> None:
    page = at("off_season_plan")
    without_limit = page.inner_text("h1")
    go_to(page, "Budget")
    page.keyboard.type("8000")
    page.keyboard.press("Enter")
    page.wait_for_function("old => document.querySelector('h1').innerText !== old", arg=without_limit)
    assert "this off-season" in page.inner_text("h1")
    page.get_by_text("with a budget of").wait_for()
    page.wait_for_url("**budget=8000**")
    assert on(page) == "Budget"


def test_work_in_the_plans_table_is_changed_and_taken_back(at: Visit) -> None:
    page = at("off_season_plan")
    best = page.inner_text("h1")
    go_to(page, TABLE)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.locator("#portal input").wait_for(state="attached")
    page.keyboard.type("leave")
    page.locator("#portal").get_by_text("leave", exact=True).last.wait_for()
    page.keyboard.press("Enter")
    page.wait_for_url("**edit=**leave**")
    page.wait_for_function(AT_REST)
    go_to(page, "Back to the best plan", "Shift+Tab")
    page.keyboard.press("Space")
    page.wait_for_function("best => document.querySelector('h1')?.innerText === best", arg=best)


def test_enter_on_a_screens_name_opens_it_and_the_next_is_one_tab_away(at: Visit) -> None:
    page = at("")
    go_to(page, "Off-season plan")
    page.keyboard.press("Enter")
    says(page, "this off-season")
    page.keyboard.press("Tab")
    assert on(page) == "After water"
    page.keyboard.press("Enter")
    page.wait_for_url("**/after_water**")
    says(page, "Do not start it")


def test_the_row_of_screens_can_be_skipped(at: Visit) -> None:
    page = at("after_water")
    go_to(page, FIRST, "Shift+Tab")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert on(page).startswith("Step 1. People first: everybody out of the water, counted")


def test_in_a_narrow_window_the_folded_menu_shows_what_has_the_focus_and_leads_on(go: Visit) -> None:
    page = go("after_water", "laptop at 200 %")
    beginning = walk(page, "Tab", 12)
    assert {"Fleet today", "Bench", "Data"} <= set(beginning.names)
    assert beginning.covered == []
    go_to(page, "Data", "Shift+Tab")
    page.keyboard.press("Enter")
    says(page, "rows are in use")

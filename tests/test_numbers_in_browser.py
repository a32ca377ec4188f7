"""Numbers typed into a real browser, English and German: what was typed is what is answered, or the field refuses."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from bench_form import ASKS, PREFIX
from forecaster import (
    FleetSettings,
    SlipLimits,
    advise_teardown,
    finding_of,
    slip_sentence,
    teardown_reasons,
)
from tests.browsing import LAPTOP, PATIENCE, PHONE, drawn, served_dashboard
from tests.tour import AT_REST, Walk
from told_wrong import NO_ANSWER

axe_script = pytest.importorskip("axe_playwright_python.base", reason="axe-playwright-python is not installed")

pytestmark = pytest.mark.browser

LANGUAGES = pytest.mark.parametrize("language", ["en-US", "de-DE"])
PLAY, LIMIT, SLIP = "shaft_play_mm", "play_limit_mm", "slip_found_lb_ft"
STATES_ANSWER = "words => document.querySelector('h1')?.innerText.replaceAll('\\u00a0', ' ').includes(words)"
HOLDS = '([name, text]) => document.querySelector(`input[aria-label="${name}"]`)?.value === text'
Visit = Callable[..., Any]


@pytest.fixture(scope="module")
def go(browser: Any) -> Iterator[Visit]:
    """Opens a screen in a fresh window that speaks a language, with no fleet."""
    windows = []
    with served_dashboard(None) as address:

        def open_at(path: str, language: str = "en-US", size: dict[str, Any] = LAPTOP) -> Any:
            window = browser.new_context(**size, locale=language)
            windows.append(window)
            page = window.new_page()
            page.set_default_timeout(PATIENCE)
            page.goto(f"{address}/{path}")
            drawn(page)
            page.wait_for_function(AT_REST)
            return page

        yield open_at
        for window in windows:
            window.close()


def enter(page: Any, name: str, typed: str, key: str) -> None:
    """Type into a field of the bench and leave it by a key."""
    field = page.get_by_role("textbox", name=ASKS[name])
    field.focus()
    page.keyboard.press("Control+a")
    page.keyboard.type(typed)
    page.keyboard.press(key)


def in_link(page: Any, name: str) -> str | None:
    return parse_qs(urlsplit(page.url).query).get(f"{PREFIX}{name}", [None])[0]


@LANGUAGES
@pytest.mark.parametrize("key", ["Enter", "Tab"])
def test_what_is_typed_with_a_comma_is_that_number_in_the_link_and_in_the_answer(
    go: Visit, language: str, key: str
) -> None:
    page = go("bench", language)
    assert page.evaluate("navigator.language") == language
    for name, typed, number in ((PLAY, "0,05", "0.05"), (LIMIT, "0.04", "0.04"), (SLIP, "13,5", "13.5")):
        enter(page, name, typed, key)
        page.wait_for_url(f"**{PREFIX}{name}={number}**")
    page.wait_for_function(AT_REST)
    assert [in_link(page, name) for name in (PLAY, LIMIT, SLIP)] == ["0.05", "0.04", "13.5"]
    fields = [page.get_by_role("textbox", name=ASKS[name]).input_value() for name in (PLAY, LIMIT, SLIP)]
    assert fields == ["0,05", "0.04", "13,5"]
    found = finding_of({PLAY: 0.05, LIMIT: 0.04, SLIP: 13.5})
    advice = advise_teardown(found, FleetSettings().costs, False, SlipLimits.of(FleetSettings()))
    shown = page.inner_text(".stMain").replace("\u00a0", " ")
    assert slip_sentence(advice) in shown
    assert all(reason in shown for reason in teardown_reasons(advice))


@LANGUAGES
def test_what_could_be_two_numbers_is_refused_beneath_its_field_and_at_the_top(go: Visit, language: str) -> None:
    page = go("bench", language, PHONE)
    enter(page, SLIP, "1,234", "Enter")
    page.wait_for_function(STATES_ANSWER, arg=NO_ANSWER)
    page.wait_for_function(AT_REST)
    field = page.get_by_role("textbox", name=ASKS[SLIP])
    assert field.input_value() == "1,234"
    assert field.evaluate("field => field === document.activeElement")
    below = page.locator(".st-key-touch-bench").get_by_role("alert")
    gap = below.bounding_box()["y"] - (field.bounding_box()["y"] + field.bounding_box()["height"])
    assert 0 <= gap < 24  # CSS px
    page.reload()
    page.wait_for_function(STATES_ANSWER, arg=NO_ANSWER)
    page.wait_for_function(HOLDS, arg=[ASKS[SLIP], "1,234"])


@pytest.mark.parametrize(
    "link",
    [f"bench?{PREFIX}{SLIP}=1,234&{PREFIX}bearing=loose", "after_water?water=salt&age=old&oil=black"],
)
def test_what_is_refused_can_be_read_in_any_size_by_day_and_by_night(go: Visit, link: str) -> None:
    seen = Walk("numbers", go(link), axe_script.AXE_SCRIPT, {}).stop("refused")
    assert seen.answer == NO_ANSWER
    assert (seen.faults, seen.too_wide, seen.cut_off, seen.hard_to_use) == ([], [], {}, {})


def test_a_form_that_a_broken_link_would_fold_is_open_beneath_what_is_wrong(go: Visit) -> None:
    page = go("after_water?water=salt&oil=black&age=80", size=PHONE)
    told = page.get_by_text("oil=black")
    assert told.bounding_box()["y"] < page.locator("h1").bounding_box()["y"]
    assert page.get_by_role("radiogroup", name="What does the oil look like now?").is_visible()
    whole = go("after_water?water=salt&age=80", size=PHONE)
    assert not whole.get_by_role("radiogroup", name="What does the oil look like now?").is_visible()

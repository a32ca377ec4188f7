"""The dashboard as people meet it: a real browser, a phone and a laptop, light and dark, no way out to the world."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from forecaster import open_fleet
from tests.browsing import CUT_OFF, LAPTOP, PATIENCE, PHONE, TOO_WIDE, drawn, served_dashboard
from tests.ten_craft import AS_OF, BAD_ROW, ten_craft_folder

pytestmark = pytest.mark.browser

DEVICES = {"phone by night": (PHONE, "dark"), "laptop by day": (LAPTOP, "light")}
ON_DEVICES = pytest.mark.parametrize("device", DEVICES)
SCREENS = pytest.mark.parametrize(
    "path", ["", "one_unit", "now_or_later", "off_season_plan", "after_water", "bench", "evidence", "data_problems"]
)
WITH_TABLES = ("", "evidence")  # whose wide tables a phone is given as cards or lines
Visit = Callable[..., Any]

# Contrast (WCAG 2.2) of the text of every tick and label of the picture with the page behind it.
CONTRASTS = """() => {
  const linear = v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4
  const of = colour => {
    const [r, g, b] = colour.match(/[\\d.]+/g).map(v => linear(Number(v) / 255))
    return 0.2126 * r + 0.7152 * g + 0.0722 * b
  }
  const page = of(getComputedStyle(document.querySelector('.stApp')).backgroundColor)
  return [...document.querySelectorAll('.js-plotly-plot text')].filter(t => t.textContent.trim() && t.style.fill)
    .map(t => of(getComputedStyle(t).fill)).map(l => (Math.max(l, page) + 0.05) / (Math.min(l, page) + 0.05))
}"""
PAGE = "() => getComputedStyle(document.querySelector('.stApp')).backgroundColor"
MARKED = "document.querySelectorAll('.js-plotly-plot .scatterlayer path').length > 3"
# Looks at every frame from the first until the picture stands: was what is meant for a wide screen ever seen?
WIDE_ON_SIGHT = f"""
  const look = () => {{
    window.wideSeen ||= [...document.querySelectorAll('[class*=st-key-wide-]')].some(e => e.offsetParent)
    if (!({MARKED})) requestAnimationFrame(look)
  }}
  requestAnimationFrame(look)
"""
BEGINS = "unit => document.querySelector('h1')?.innerText.startsWith(unit)"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fleet of ten craft and two seasons, with one bad row."""
    return ten_craft_folder(tmp_path_factory.mktemp("fleets"), bad_row=True)


@pytest.fixture(scope="module")
def ranked(folder: Path) -> list[str]:
    """The fleet's units, highest risk first."""
    return [unit.unit_id for unit in open_fleet(folder, AS_OF).forecast(AS_OF).units]


@pytest.fixture(scope="module")
def served(folder: Path) -> Iterator[str]:
    """The dashboard's address, served by the command as a user starts it; ended by its process."""
    with served_dashboard(folder) as address:
        yield address


@pytest.fixture(scope="module")
def go(browser: Any, served: str) -> Iterator[Visit]:
    """Opens a screen in a fresh window and waits until it is drawn.

    ``page.asked`` lists every address it asked for, ``page.complaints`` the errors on its console.
    """
    windows = []

    def open_at(path: str = "", size: dict[str, Any] = LAPTOP, scheme: str = "light", **link: str) -> Any:
        window = browser.new_context(**size, color_scheme=scheme)
        windows.append(window)
        page = window.new_page()
        page.set_default_timeout(PATIENCE)
        page.asked = []
        page.on("request", lambda request: page.asked.append(request.url))
        page.complaints = []
        page.on("console", lambda said: page.complaints.append(said.text) if said.type == "error" else None)
        if path in WITH_TABLES:
            page.add_init_script(WIDE_ON_SIGHT)
        choices = "&".join(f"{name}={value}" for name, value in {"as_of": AS_OF.isoformat(), **link}.items())
        page.goto(f"{served}/{path}?{choices}")
        drawn(page)
        if path not in ("data_problems", "bench"):
            pictured(page)
        return page

    yield open_at
    for window in windows:
        window.close()


@pytest.fixture(scope="module")
def seen(go: Visit) -> Visit:
    """A screen that is only looked at: opened once for all the tests that look at it."""
    pages: dict[tuple[str, str], Any] = {}

    def look(path: str, device: str) -> Any:
        if (path, device) not in pages:
            size, scheme = DEVICES[device]
            pages[path, device] = go(path, size, scheme)
        return pages[path, device]

    return look


def pictured(page: Any) -> None:
    """Wait until the picture has its marks."""
    page.wait_for_function(f"() => {MARKED}")


@ON_DEVICES
@SCREENS
def test_nothing_scrolls_sideways(seen: Visit, path: str, device: str) -> None:
    assert not seen(path, device).evaluate(TOO_WIDE)


@ON_DEVICES
@SCREENS
def test_no_text_is_cut_off(seen: Visit, path: str, device: str) -> None:
    assert seen(path, device).evaluate(CUT_OFF) == []


@ON_DEVICES
@pytest.mark.parametrize("path", ["", "one_unit", "now_or_later", "off_season_plan", "after_water", "evidence"])
def test_the_pictures_text_can_be_read_by_day_and_by_night(seen: Visit, path: str, device: str) -> None:
    contrasts = seen(path, device).evaluate(CONTRASTS)
    assert len(contrasts) > 5
    assert min(contrasts) >= 4.5  # WCAG 2.2, 1.4.3 contrast (minimum)


def test_a_picture_stays_readable_when_the_page_turns_dark_at_dusk(go: Visit) -> None:
    page = go("one_unit")
    bright = page.evaluate(PAGE)
    page.emulate_media(color_scheme="dark")
    page.wait_for_function(f"bright => ({PAGE})() !== bright", arg=bright)
    assert min(page.evaluate(CONTRASTS)) >= 4.5


@SCREENS
def test_nothing_is_asked_of_another_machine(seen: Visit, served: str, path: str) -> None:
    own = (served, served.replace("http", "ws"), "data:", "blob:")
    assert [url for url in seen(path, "laptop by day").asked if not url.startswith(own)] == []


@SCREENS
def test_a_screen_opened_by_its_own_address_leaves_the_console_empty(seen: Visit, path: str) -> None:
    assert seen(path, "laptop by day").complaints == []


@pytest.mark.parametrize("path", WITH_TABLES)
def test_what_is_for_a_wide_screen_is_never_seen_on_a_phone_even_while_it_loads(seen: Visit, path: str) -> None:
    assert seen(path, "laptop by day").evaluate("window.wideSeen")
    assert not seen(path, "phone by night").evaluate("window.wideSeen")


@ON_DEVICES
def test_the_answer_is_on_the_first_screen(seen: Visit, device: str) -> None:
    box = seen("", device).locator("h1").bounding_box()
    assert box["y"] + box["height"] < DEVICES[device][0]["viewport"]["height"] / 2


@ON_DEVICES
def test_the_controls_can_be_reached(seen: Visit, device: str) -> None:
    page = seen("", device)
    more = page.get_by_text("More", exact=True)
    for control in (page.get_by_role("slider"), page.get_by_test_id("stDateInput"), more):
        box = control.first.bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= DEVICES[device][0]["viewport"]["width"]


@pytest.mark.parametrize("path", ["after_water", "bench"])
def test_answers_and_steps_are_large_enough_for_a_wet_thumb(seen: Visit, path: str) -> None:
    hit = "[class*=st-key-touch-] [role=radiogroup] label, .st-key-steps .stCheckbox label"
    sizes = (
        seen(path, "phone by night")
        .locator(hit)
        .evaluate_all("all => all.filter(e => e.offsetParent).map(e => e.getBoundingClientRect().height)")
    )
    assert len(sizes) > 15
    assert min(sizes) >= 44  # CSS px, WCAG 2.2, 2.5.5 target size (enhanced)


def test_after_water_stop_and_first_steps_fill_the_first_screen_of_the_phone_and_advice_comes_before_the_form(
    go: Visit,
) -> None:
    page = go("after_water", PHONE, oil="milky", water="salt")
    assert "STOP" in page.inner_text("h1")
    battery = page.get_by_role("checkbox", name="Take the battery off").locator("xpath=ancestor::label").bounding_box()
    assert battery["y"] + battery["height"] < PHONE["viewport"]["height"]
    advice = page.get_by_text("once the steps have put that right").bounding_box()
    assert advice["y"] < page.get_by_text("Tell what you know").bounding_box()["y"]
    next_step = page.locator(".st-key-steps label").first.bounding_box()
    assert next_step["y"] < 1.9 * PHONE["viewport"]["height"]
    assert next_step["y"] < page.locator(".js-plotly-plot").first.bounding_box()["y"]


def test_pictures_are_described_for_those_who_cannot_see_them(seen: Visit, ranked: list[str]) -> None:
    picture = seen("", "laptop by day").locator(".st-key-risk-picture [aria-label]").first
    described = picture.get_attribute("aria-label")
    assert ranked[0] in described
    assert "Chance of failing within 50 engine hours" in described


def test_a_link_beneath_the_answer_opens_the_unit_and_keeps_the_choices(go: Visit, ranked: list[str]) -> None:
    page = go("", hours="80")
    page.locator(".st-key-first-units a").nth(1).click()
    page.wait_for_url("**/one_unit**")
    page.wait_for_function(BEGINS, arg=ranked[1])
    assert "next 80" in page.inner_text("h1").replace("\u00a0", " ")
    page.wait_for_url(f"**unit={ranked[1]}**")
    page.wait_for_url("**hours=80**")
    page.wait_for_url(f"**as_of={AS_OF}**")


def test_choosing_a_row_of_the_table_opens_the_unit(go: Visit, ranked: list[str]) -> None:
    page = go("")
    table = page.locator("[class*=st-key-units-table] canvas").first
    table.scroll_into_view_if_needed()
    page.wait_for_timeout(500)
    box = table.bounding_box()
    row = 35  # px: height of the header and of each row
    page.mouse.click(box["x"] + row / 2, box["y"] + 3.5 * row)
    page.wait_for_url("**/one_unit**")
    page.wait_for_function(BEGINS, arg=ranked[2])
    page.locator(".js-plotly-plot").first.wait_for()  # drawn to its end: a page still drawing ignores the way back
    page.wait_for_load_state("networkidle")
    page.go_back()  # and the way back is open: the row is no longer chosen
    page.wait_for_function("() => document.querySelector('h1')?.innerText.includes('units')")
    page.wait_for_timeout(500)
    assert "one_unit" not in page.url


def test_a_card_of_the_phone_opens_the_unit(go: Visit, ranked: list[str]) -> None:
    page = go("", PHONE)
    assert not page.locator("[class*=st-key-units-table]").is_visible()
    page.locator(".st-key-cards a").first.click()
    page.wait_for_function(BEGINS, arg=ranked[0])


def test_the_phones_menu_leads_to_every_screen(go: Visit) -> None:
    page = go("", PHONE)
    page.get_by_test_id("stExpandSidebarButton").click()
    page.get_by_role("link", name="Data").click()
    page.wait_for_url("**/data_problems**")
    page.wait_for_function("() => document.querySelector('h1')?.innerText.includes('refused')")


def test_going_from_screen_to_screen_keeps_the_day_and_the_horizon(go: Visit) -> None:
    page = go("", hours="80")
    for name, path in (("Data", "data_problems"), ("Evidence", "evidence"), ("One unit", "one_unit")):
        page.get_by_role("link", name=name).first.click()
        page.wait_for_url(f"**/{path}**")
        drawn(page)
    page.wait_for_url("**hours=80**")
    page.wait_for_url(f"**as_of={AS_OF}**")


def test_the_picture_is_saved_without_a_network(go: Visit, tmp_path: Path) -> None:
    page = go("")
    page.context.set_offline(True)
    page.locator(".js-plotly-plot").first.hover()
    with page.expect_download() as saving:
        page.locator(".modebar-btn").first.click()
    saving.value.save_as(tmp_path / "picture.png")
    assert (tmp_path / "picture.png").read_bytes().startswith(b"\x89PNG")


def test_refused_rows_are_saved_as_they_were_given(go: Visit, tmp_path: Path) -> None:
    page = go("data_problems")
    with page.expect_download() as saving:
        page.get_by_role("button", name="Download refused rows of hours.csv").click()
    saving.value.save_as(tmp_path / "refused.csv")
    header, row, *_ = (tmp_path / "refused.csv").read_text(encoding="utf-8-sig").splitlines()
    assert header.startswith("row,")
    assert BAD_ROW in row


# --- after water, on the phone of somebody at the dock ----------------------------------------------------------------


def in_view(page: Any, words: str) -> bool:
    """Whether a text is on the screen without scrolling."""
    box = page.get_by_text(words).last.bounding_box()
    return box is not None and box["y"] >= 0 and box["y"] + box["height"] <= page.viewport_size["height"]


@ON_DEVICES
def test_before_any_question_the_phone_says_not_to_start_it_and_what_comes_first(go: Visit, device: str) -> None:
    size, scheme = DEVICES[device]
    page = go("after_water", size, scheme)
    assert "Do not start it. Do not crank it." in page.inner_text("h1")
    for words in (
        "People first",
        "Take the key and the stop cord out",
        "Open the seat and all hatches",
        "Take the battery off",
    ):
        assert in_view(page, words), words
    question = page.get_by_text("On which day?").bounding_box()
    assert question["y"] > page.get_by_text("Take all spark plugs out").first.bounding_box()["y"]


def test_a_stop_is_seen_where_the_answer_was_given(go: Visit) -> None:
    page = go("after_water", PHONE, "dark")
    answer = page.get_by_role("radiogroup", name="What does the oil look like now?").get_by_text("Milky", exact=True)
    answer.scroll_into_view_if_needed()
    answer.tap()
    beneath = page.get_by_role("alert").filter(has_text="STOP: do not run it. The oil is milky")
    beneath.wait_for()
    drawn(page)
    assert in_view(page, "STOP: do not run it. The oil is milky")


def test_ticks_survive_a_reload(go: Visit) -> None:
    page = go("after_water", PHONE, "light")
    page.get_by_role("checkbox", name="Take the battery off").check(force=True)
    page.wait_for_url("**ticked=battery_off**")
    page.reload()
    drawn(page)
    page.get_by_role("checkbox", name="Take the battery off", checked=True).wait_for(state="attached")


def test_the_printed_page_has_the_steps_and_not_the_questions(go: Visit) -> None:
    page = go("after_water", LAPTOP, "light", oil="milky")
    page.emulate_media(media="print")
    for words in ("STOP: do not run it.", "Take the battery off", "Plan to look at the oil again"):
        page.get_by_text(words).first.wait_for(state="visible")
    page.get_by_text("Tell what you know").first.wait_for(state="hidden")
    page.get_by_role("button", name="Keep this answer").wait_for(state="hidden")


def test_the_sheet_is_one_click_away(go: Visit, tmp_path: Path) -> None:
    page = go("after_water", LAPTOP, "light", water="salt")
    with page.expect_download() as download:
        page.get_by_role("button", name="Keep this answer").click()
    file = tmp_path / download.value.suggested_filename
    download.value.save_as(file)
    assert file.name.startswith("after-water-craft-")
    assert file.read_bytes().startswith(b"%PDF")


def test_what_a_link_tells_wrong_is_still_said_when_the_page_has_drawn_itself_anew(go: Visit) -> None:
    page = go("", base="Nowhere")
    page.wait_for_function("() => !document.body.innerText.includes('eighing each unit')")
    page.wait_for_function("() => !document.querySelector('[data-testid=stApp][data-test-script-state=running]')")
    assert page.get_by_role("alert").first.inner_text().startswith("The link asks for base=Nowhere")

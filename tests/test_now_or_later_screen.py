"""The screen "Now or later", and One unit's way to it: it says what the core says; prices, links, empty fleets."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from forecaster import Amount, Fleet, NowOrLater, sample_fleet_folder
from loading import load
from now_or_later_charts import cost_by_week, season_name, what_moves_it
from now_or_later_rows import month_rows, swing_rows, week_file
from now_or_later_words import answer, before, changed_sentence, costs_beside, figures, likely, waiting_sentence
from tests.opened_screen import bare, labelled, open_screen, read, spaced, title, told
from told_wrong import NO_ANSWER
from words import day_words, money, plain, span

AS_OF = date(2026, 11, 1)  # after the sample's last season
MIDSUMMER = date(2026, 8, 20)
SAMPLE = sample_fleet_folder()
SCREEN, UNIT = "screens/now_or_later.py", "screens/one_unit.py"
OLD, FRESH, MILKY = "S0003", "S0004", "S0036"
Opener = Callable[..., AppTest]


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    """The very fleet that the screens ask."""
    return load(str(SAMPLE), date.today()).fleet


@pytest.fixture(scope="module")
def old(fleet: Fleet) -> NowOrLater:
    return fleet.now_or_later(OLD, AS_OF)


@pytest.fixture(scope="module")
def one_craft(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fleet of one craft and one unit, of which hardly anything is known."""
    place = tmp_path_factory.mktemp("fleets") / "one"
    place.mkdir()
    (place / "craft.csv").write_text("craft_id\nC1\n", encoding="utf-8")
    (place / "fittings.csv").write_text("unit_id,craft_id,fitted_on\nS1,C1,2026-05-01\n", encoding="utf-8")
    (place / "fleet.toml").write_text('currency = "EUR"\n[costs]\nrebuild = 700\n', encoding="utf-8")
    return place


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opener:
    """Opens the dashboard on a source, at a screen, with a link."""

    def open_at(source: Path = SAMPLE, screen: str = SCREEN, **link: str) -> AppTest:
        return open_screen(monkeypatch, source, screen, **{"as_of": AS_OF.isoformat(), **link})

    return open_at


# --- the answer ----------------------------------------------------------------------------------------------------


def test_it_opens_with_the_answer_for_the_unit_of_the_link(opened: Opener, old: NowOrLater) -> None:
    app = opened(unit=OLD)
    assert title(app) == answer(old, "USD")
    assert spaced(title(app)).startswith(
        f"By costs alone, rebuild {OLD} before the season opens on 1 May 2027: USD 650 now against about USD "
        f"{old.instead.mean:,.0f} ({old.instead.low:,.0f}–{old.instead.high:,.0f}) if it is only checked by then; "
    )
    assert app.query_params["unit"] == OLD


def test_a_fresh_unit_is_left(opened: Opener, fleet: Fleet) -> None:
    app = opened(unit=FRESH)
    fresh = fleet.now_or_later(FRESH, AS_OF)
    assert spaced(title(app)).startswith(f"By costs alone, leave {FRESH} for now: a rebuild in the week of ")
    assert f"about USD {-fresh.saved.mean:,.0f} (" in spaced(title(app))


def test_every_unit_has_an_answer(fleet: Fleet) -> None:
    for unit_id in fleet.histories(AS_OF).in_service().lives["unit_id"]:
        one = fleet.now_or_later(unit_id, AS_OF)
        sentence = answer(one, "USD")
        assert unit_id in sentence
        assert "likely that now is the cheaper one" in spaced(sentence)
        assert sentence.startswith("By costs alone, rebuild ") == one.now_is_best


def test_the_instruction_stands_before_the_costs(opened: Opener, fleet: Fleet) -> None:
    app = opened(unit=OLD)
    told_first = fleet.instructions(AS_OF)[OLD]
    assert any(bare(info.value).startswith(f"**{OLD}: rebuild, week of ") for info in app.info)
    assert told_first.code == "rebuild"


def test_where_costs_alone_would_say_otherwise_it_says_why_the_instruction_stands(fleet: Fleet) -> None:
    by_unit = {unit: fleet.now_or_later(unit, MIDSUMMER) for unit in fleet.instructions(MIDSUMMER)}
    differing = [one for one in by_unit.values() if one.instruction and one.alone != one.instruction.act]
    assert differing
    for one in by_unit.values():
        assert ("the instruction stands, since" in costs_beside(one)) == (one in differing)


def test_it_says_what_stands_behind_it_and_what_it_is_not(opened: Opener, old: NowOrLater) -> None:
    shown = told(opened(unit=OLD))
    assert f"Learned from {old.evidence.lives} lives, {old.evidence.failures} failures among them" in shown
    assert "This compares costs; it is no leave to run anything" in shown
    for line in figures(old, "USD"):
        assert spaced(line) in shown
    assert spaced(waiting_sentence(old, "USD")) in shown


def test_a_unit_with_milky_oil_is_not_to_run_at_any_price(opened: Opener, fleet: Fleet) -> None:
    assert fleet.now_or_later(MILKY, AS_OF).stop
    app = opened(unit=MILKY)
    assert f"Do not run {MILKY} as it is" in app.error[0].value
    assert "oil milky on 12 Aug 2026" in spaced(app.error[0].value)
    assert not opened(unit=OLD).error


def test_a_month_by_month_table_stands_on_the_screen(opened: Opener, old: NowOrLater) -> None:
    rows = month_rows(old, "USD")
    assert list(opened(unit=OLD).table[0].value.columns) == list(rows.columns)
    first = rows.iloc[0]
    assert spaced(first.iloc[0]) == "29 Nov 2026 to 28 Mar 2027"  # nothing runs and no price changes
    assert spaced(first.iloc[1]) == "0 (0–0)"


def test_the_weeks_can_be_taken_along(opened: Opener, old: NowOrLater) -> None:
    app = opened(unit=OLD)
    assert [button.label for button in app.get("download_button")] == ["Download this table (CSV)"]
    file = pd.read_csv(io.BytesIO(week_file(old, "USD")))
    assert len(file) == len(old.weeks)
    assert file["rebuild_then_expected"].to_numpy() == pytest.approx(old.weeks["rebuild"].to_numpy(), abs=1e-3)
    assert file["week_of"].iloc[0] == "2026-11-01"
    assert set(file["in_season"]) == {"yes", "no"}
    assert set(file["currency"]) == {"USD"}


# --- prices --------------------------------------------------------------------------------------------------------


def test_another_price_answers_anew_and_goes_into_the_link(opened: Opener, fleet: Fleet) -> None:
    app = opened(unit=OLD)
    labelled(app, "Rebuild").set_value("900").run()
    assert not app.exception
    changed = fleet.now_or_later(OLD, AS_OF, rebuild=900.0)
    assert title(app) == answer(changed, "USD")
    assert app.query_params["rebuild"] == "900"
    assert "rebuild USD 900 (the fleet's: USD 650)" in told(app)


def test_a_chance_is_moved_in_percent(opened: Opener, fleet: Fleet) -> None:
    app = opened(unit=OLD)
    labelled(app, "Core lost at a failure").set_value(90.0).run()
    assert title(app) == answer(fleet.now_or_later(OLD, AS_OF, core_lost=0.9), "USD")
    assert app.query_params["core_lost"] == "0.9"


def test_a_link_with_prices_opens_with_them_and_back_to_the_fleets(
    opened: Opener, fleet: Fleet, old: NowOrLater
) -> None:
    app = opened(unit=OLD, day_rate="600", engine_hit="0.3")
    assert title(app) == answer(fleet.now_or_later(OLD, AS_OF, day_rate=600.0, engine_hit=0.3), "USD")
    app.button(key="fleet-prices").click().run()
    assert title(app) == answer(old, "USD")
    assert "day_rate" not in app.query_params
    assert "What if" not in told(app)
    assert app.button(key="fleet-prices").disabled


def test_prices_that_nobody_moved_are_the_fleets_to_the_last_digit(opened: Opener, old: NowOrLater) -> None:
    """A chance is shown in whole percent, a mean day rate without its cents; neither counts as moved."""
    app = opened(unit=OLD)
    assert labelled(app, "Core lost at a failure").value == round(100 * old.prices.core_lost)
    assert set(app.query_params) == {"as_of", "unit"}
    assert title(app) == answer(old, "USD")


def test_another_unit_has_its_own_day_rate_and_keeps_what_was_moved(opened: Opener, fleet: Fleet) -> None:
    app = opened(unit=OLD, rebuild="900")
    other = FRESH
    assert fleet.now_or_later(other, AS_OF).prices.day_rate != fleet.now_or_later(OLD, AS_OF).prices.day_rate
    app.selectbox(key="unit_choice").set_value(other).run()
    assert title(app) == answer(fleet.now_or_later(other, AS_OF, rebuild=900.0), "USD")
    assert app.query_params["unit"] == other
    assert app.query_params["rebuild"] == "900"


def test_a_link_with_a_chance_that_makes_no_sense_is_told_so_above_the_answer(opened: Opener, old: NowOrLater) -> None:
    app = opened(unit=OLD, core_lost="60")
    assert "core_lost=60" in bare(app.main[0].warning[0].value)
    assert title(app) == answer(old, "USD")


@pytest.mark.parametrize(
    ("name", "value", "label"),
    [("rebuild", "cheap", "Rebuild"), ("new_unit", "-5", "New unit"), ("check_days", "1,234", "Days lost to a check")],
)
def test_a_link_with_a_price_that_cannot_be_used_is_told_so_and_not_answered(
    opened: Opener, name: str, value: str, label: str
) -> None:
    app = opened(unit=OLD, **{name: value})
    assert f"{name}={value}" in bare(app.main[0].warning[0].value)
    assert title(app) == NO_ANSWER
    assert bare(app.error[0].value).startswith(f"{label}: “{value}”")
    assert labelled(app, label).value == value
    assert not app.get("plotly_chart")
    more = next(block for block in app.expander if block.label == "More")
    assert more.proto.expanded == (name == "check_days")


def test_a_price_is_typed_with_a_comma_or_a_point(opened: Opener, fleet: Fleet) -> None:
    app = opened(unit=OLD)
    labelled(app, "Rebuild").set_value("900,5").run()
    assert title(app) == answer(fleet.now_or_later(OLD, AS_OF, rebuild=900.5), "USD")
    assert app.query_params["rebuild"] == "900.5"
    assert labelled(app, "Rebuild").value == "900,5"


def test_a_price_that_could_be_two_is_refused_until_the_fleets_own_are_taken_back(
    opened: Opener, old: NowOrLater
) -> None:
    app = opened(unit=OLD)
    labelled(app, "Rebuild").set_value("1,234").run()
    assert title(app) == NO_ANSWER
    assert app.query_params["rebuild"] == "1,234"
    app.button(key="fleet-prices").click().run()
    assert title(app) == answer(old, "USD")
    assert labelled(app, "Rebuild").value == "650"
    assert "rebuild" not in app.query_params


def test_a_cleared_price_is_the_fleets_own(opened: Opener, old: NowOrLater) -> None:
    app = opened(unit=OLD, rebuild="900")
    labelled(app, "Rebuild").set_value("").run()
    assert title(app) == answer(old, "USD")
    assert labelled(app, "Rebuild").placeholder == "650"


def test_what_must_not_run_is_told_whatever_the_prices(opened: Opener) -> None:
    app = opened(unit=MILKY, rebuild="cheap")
    assert title(app) == NO_ANSWER
    assert f"Do not run {MILKY} as it is" in app.error[0].value


# --- other fleets and links ----------------------------------------------------------------------------------------


def test_a_unit_that_is_nowhere_is_told_and_the_first_one_shown(opened: Opener, fleet: Fleet) -> None:
    app = opened(unit="S9999")
    assert "S9999 is not in service" in told(app)
    assert plain(fleet.forecast(AS_OF).units[0].unit_id) in title(app)


def test_a_fleet_of_one_craft_answers_in_its_currency_from_general_experience(opened: Opener, one_craft: Path) -> None:
    app = opened(one_craft)
    assert "S1" in title(app)
    assert "EUR" in title(app)
    assert "Mostly general experience: no failures in 1 life" in told(app)
    assert labelled(app, "Rebuild").value == "700"
    app.switch_page(UNIT).run()
    assert not app.exception
    assert "Its lives so far" in told(app)


@pytest.mark.parametrize("screen", [SCREEN, UNIT])
@pytest.mark.parametrize(
    ("row", "remedy"),
    [
        ("", "Without one row of fittings.csv at least there is no fleet to ask about"),
        ("S1,C1,2026-05-01,2026-06-01\n", "Add the rows of what is fitted now to fittings.csv"),
    ],
)
def test_a_fleet_with_nothing_in_service_says_what_to_do(
    opened: Opener, one_craft: Path, tmp_path: Path, screen: str, row: str, remedy: str
) -> None:
    empty = Path(shutil.copytree(one_craft, tmp_path / "empty"))
    (empty / "fittings.csv").write_text(f"unit_id,craft_id,fitted_on,removed_on\n{row}", encoding="utf-8")
    app = opened(empty, screen)
    assert not app.title
    assert remedy in read(app)


def test_in_season_now_is_now(opened: Opener, fleet: Fleet) -> None:
    day = date(2026, 8, 1)
    app = opened(unit=OLD, as_of=day.isoformat())
    one = fleet.now_or_later(OLD, day)
    assert title(app) == answer(one, "USD")
    assert before(one) == "now"


def test_one_unit_and_now_or_later_lead_to_each_other(opened: Opener) -> None:
    for screen, other in ((SCREEN, "one_unit"), (UNIT, "now_or_later")):
        links = [link.proto for link in opened(screen=screen, unit=OLD).get("page_link")]
        (found,) = (link for link in links if link.page == other)
        assert f"unit={OLD}" in found.query_string
        assert "as_of=2026-11-01" in found.query_string


def test_one_unit_shows_its_lives_and_their_table(opened: Opener, fleet: Fleet) -> None:
    app = opened(screen=UNIT, unit="S0013")
    assert "Its lives so far" in told(app)
    table = next(t.value for t in app.dataframe if list(t.value.columns) == ["on", "life_number", "hours", "what"])
    assert set(table["life_number"]) == set(fleet.timeline("S0013", AS_OF).lives["life_number"])
    assert table["what"].str.contains("rusted").any()


# --- words and pictures --------------------------------------------------------------------------------------------


def test_amounts_are_told_with_their_sign_and_interval() -> None:
    assert spaced(money(1480.4, "USD")) == "USD 1,480"
    assert spaced(money(-0.2, "USD")) == "USD 0"
    assert spaced(money(-31.0, "USD")) == "USD −31"
    assert spaced(span(-31.4, 401.4)) == "−31 to 401"
    assert spaced(span(654.0, 1833.0)) == "654–1,833"
    assert Amount(-461.0, -681.0, -249.0).opposite == Amount(461.0, 249.0, 681.0)


def test_draws_show_neither_a_nought_nor_a_certainty() -> None:
    assert [spaced(likely(share, 48)) for share in (0.0, 1 / 48, 0.84, 1.0)] == [
        "under 2 %",
        "2 %",
        "84 %",
        "over 98 %",
    ]


def test_only_moved_prices_are_named(fleet: Fleet, old: NowOrLater) -> None:
    assert changed_sentence(old, "USD") == ""
    moved = fleet.now_or_later(OLD, AS_OF, failure_days=14.0, core_lost=0.9)
    core = 100 * moved.fleet_prices.core_lost
    assert spaced(changed_sentence(moved, "USD")) == (
        "What if: days lost to a failure 14 days (the fleet's: 9 days) and core lost at a failure 90 % (the fleet's: "
        f"{core:.0f} %)."
    )


def test_the_picture_marks_now_the_best_week_and_each_season(old: NowOrLater) -> None:
    never = old.never
    figure = cost_by_week(
        old.weeks,
        (never.expected_cost, never.low, never.high),
        old.seasons,
        (old.best.action, old.best.on, old.best.expected_cost),
        "USD",
    )
    texts = {spaced(annotation.text) for annotation in figure.layout.annotations}
    assert {"now", "season 2027", "season 2028", "rebuild then", "check then", "never"} <= texts
    assert "<b>best: 1 Nov 2026</b>" in texts
    assert figure.layout.title.text == "Expected cost over two years, USD"
    assert figure.layout.xaxis.title.text == "week in which it is done"
    best = next(trace for trace in figure.data if trace.hovertext == f"least cost: {day_words(date(2026, 11, 1))}")
    assert best.y[0] == pytest.approx(old.weeks["rebuild"].min())
    shaded = [shape for shape in figure.layout.shapes if shape.type == "rect"]
    assert [(shape.x0, shape.x1) for shape in shaded] == list(old.seasons)


def test_never_can_be_the_best_and_is_marked_at_the_end(old: NowOrLater) -> None:
    figure = cost_by_week(old.weeks, (10.0, 5.0, 20.0), (), ("none", None, 10.0), "USD")
    assert "<b>best: never</b>" in {annotation.text for annotation in figure.layout.annotations}


def test_a_season_over_the_turn_of_the_year_is_named_by_both() -> None:
    assert season_name(date(2026, 11, 1), date(2027, 3, 31)) == "season 2026/27"


def test_the_picture_of_what_moves_it_shows_every_input(fleet: Fleet, old: NowOrLater) -> None:
    swings = fleet.decisions(AS_OF).swings(OLD)
    figure = what_moves_it(swing_rows(swings, "USD"), old.saved.mean, "USD")
    low, high = figure.data
    assert list(low.x) == pytest.approx([swing.low for swing in swings])
    assert list(high.x) == pytest.approx([swing.high for swing in swings])
    assert low.marker.symbol != high.marker.symbol
    assert figure.layout.xaxis.title.text == "a rebuild now saves, USD"

"""The screen "Bench": the teardown's answer and the clutches' slip, with and without a fleet, as the core says them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest
from streamlit.testing.v1 import AppTest

from bench_form import ANSWERS, ASKS, GROUPS, PREFIX
from bench_words import moment, quote_words, slip_answer, teardown_answer
from forecaster import (
    Finding,
    Fleet,
    FleetSettings,
    TeardownAdvice,
    advise_teardown,
    finding_of,
    slip_sentence,
    teardown_parts,
    teardown_reasons,
    teardown_steps,
)
from tests.conftest import ROOT, SAMPLE_DAY
from tests.opened_screen import bare, open_screen, spaced, told
from told_wrong import NO_ANSWER
from words import SPACE, plain

SAMPLE = ROOT / "sample_fleet"
SCREEN = "screens/bench.py"
ROUGH = {"bearing": "rough", "impeller": "good", "front_housing": "good", "rear_housing": "good"}
Opener = Callable[..., AppTest]


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opener:
    """Opens the bench on a source (None: no fleet), with what was found."""

    def open_at(source: Path | None = None, **found: str) -> AppTest:
        link = {"as_of": SAMPLE_DAY.isoformat(), **{f"{PREFIX}{name}": value for name, value in found.items()}}
        return open_screen(monkeypatch, source, SCREEN, **link)

    return open_at


def off_season(**found: object) -> TeardownAdvice:
    return advise_teardown(finding_of(found), FleetSettings().costs, in_season=False)


def test_the_form_asks_for_every_field_of_a_finding_and_offers_all_its_words(opened: Opener) -> None:
    assert {name for names in GROUPS.values() for name in names} == set(Finding.model_fields) == set(ASKS)
    app = opened(front_housing="scored")
    for name, field in Finding.model_fields.items():
        if not name.endswith(("_mm", "_lb_ft")):
            words = [ANSWERS.get(word, word).capitalize() for word in get_args(field.annotation) if word != "unknown"]
            offered = app.radio(key=f"{PREFIX}{name}").options
            assert sorted(set(offered) - {"Not looked", "Don't know"}) == sorted(words)
            assert len(offered) == len(get_args(field.annotation))


def test_the_bench_opens_with_what_to_do_and_what_it_comes_to(opened: Opener) -> None:
    (title,) = opened(**ROUGH).title
    assert title.value == teardown_answer(off_season(**ROUGH), "USD")
    assert title.value.replace(SPACE, " ") == (
        "The supercharger's bearing is rough and will fail: rebuild the unit for about USD 650; a new unit would cost "
        "USD 1,700."
    )


def test_a_core_that_nobody_inspected_is_quoted_both_ways(opened: Opener) -> None:
    app = opened(bearing="rusted")
    assert "if both housings and the impeller pass inspection" in app.title[0].value
    assert "the core is not known to be sound until they are inspected" in told(app)
    assert app.table[0].value.iloc[0, -1].replace(SPACE, " ") == "USD 650 to 1,700"


def test_every_reason_part_step_and_caution_of_the_core_is_shown(opened: Opener) -> None:
    advice = off_season(bearing="failed", front_housing="scored", oil="milky")
    text = told(opened(bearing="failed", front_housing="scored", oil="milky"))
    sentences = (*teardown_reasons(advice), *teardown_parts(advice), *teardown_steps(advice), slip_sentence(advice))
    for line in (*sentences, *advice.cautions):
        assert spaced(plain(line)) in text


def test_what_must_not_run_is_told_under_the_answer(opened: Opener) -> None:
    (stop,) = opened(bearing="failed").error
    assert stop.value.startswith("Do not run the engine before duct")
    assert not opened(**ROUGH).error


def test_how_deep_a_scoring_is_is_asked_only_where_there_is_one(opened: Opener) -> None:
    app = opened(**ROUGH)
    assert f"{PREFIX}scored_deeply" not in [r.key for r in app.radio]
    app.radio(key=f"{PREFIX}front_housing").set_value("scored").run()
    app.radio(key=f"{PREFIX}scored_deeply").set_value("yes").run()
    assert "the front housing cannot be used again" in app.title[0].value
    app.radio(key=f"{PREFIX}front_housing").set_value("good").run()
    assert app.title[0].value == teardown_answer(off_season(**ROUGH), "USD")
    assert f"{PREFIX}scored_deeply" not in app.query_params


def test_what_was_found_stands_in_the_link(opened: Opener) -> None:
    app = opened()
    app.radio(key=f"{PREFIX}bearing").set_value("rough").run()
    app.text_input(key=f"{PREFIX}slip_found_lb_ft").set_value("8.5").run()
    assert app.query_params[f"{PREFIX}bearing"] == "rough"
    assert app.query_params[f"{PREFIX}slip_found_lb_ft"] == "8.5"


def test_a_word_of_the_link_that_cannot_be_is_told_above_the_answer(opened: Opener) -> None:
    app = opened(bearing="loose")
    assert f"{PREFIX}bearing=loose" in bare(app.main[0].warning[0].value)
    assert app.title[0].value == teardown_answer(off_season(), "USD")


@pytest.mark.parametrize(
    ("name", "value", "why"),
    [
        ("shaft_play_mm", "25", "“25” is too high: a number from 0 to 20 is needed"),
        ("slip_found_lb_ft", "low", "“low” is not a number"),
        ("play_limit_mm", "0", "“0” is too low: a number from 0.01 to 20 is needed"),
    ],
)
def test_a_number_of_the_link_that_cannot_be_used_is_told_at_the_top_and_not_taken_for_unmeasured(
    opened: Opener, name: str, value: str, why: str
) -> None:
    app = opened(**ROUGH, **{name: value})
    assert f"{PREFIX}{name}={value}" in bare(app.main[0].warning[0].value)
    assert app.title[0].value == NO_ANSWER
    assert bare(app.error[0].value).startswith(f"{ASKS[name]}: {why}")
    assert app.text_input(key=f"{PREFIX}{name}").value == value
    assert not app.table


@pytest.mark.parametrize(("typed", "meant"), [("0,05", 0.05), ("0.05", 0.05), (" 13,5 ", 13.5), ("2", 2.0)])
def test_a_measure_is_typed_with_a_comma_or_a_point(opened: Opener, typed: str, meant: float) -> None:
    app = opened(**ROUGH)
    for name in ("shaft_play_mm", "slip_found_lb_ft"):
        app.text_input(key=f"{PREFIX}{name}").set_value(typed).run()
        assert app.query_params[f"{PREFIX}{name}"] == f"{meant:g}"
        assert app.text_input(key=f"{PREFIX}{name}").value == typed
    told_so = off_season(**ROUGH, shaft_play_mm=meant, slip_found_lb_ft=meant)
    assert app.title[0].value == teardown_answer(told_so, "USD")
    assert spaced(plain(told_so.slip)) in told(app)


def test_a_measure_that_could_be_two_is_told_beneath_its_field_and_gives_no_answer_until_it_is_mended(
    opened: Opener,
) -> None:
    app = opened(**ROUGH)
    slip = f"{PREFIX}slip_found_lb_ft"
    app.text_input(key=slip).set_value("1,234").run()
    assert app.title[0].value == NO_ANSWER
    top, beneath = (bare(error.value) for error in app.error)
    assert top == f"{ASKS['slip_found_lb_ft']}: {beneath}"
    assert app.query_params[slip] == "1,234"
    assert not app.table
    app.text_input(key=slip).set_value("").run()
    assert app.title[0].value == teardown_answer(off_season(**ROUGH), "USD")
    assert slip not in app.query_params


def test_every_number_that_cannot_be_used_is_named(opened: Opener) -> None:
    app = opened(shaft_play_mm="x", slip_found_lb_ft="y")
    assert ASKS["shaft_play_mm"] in bare(app.error[0].value)
    assert ASKS["slip_found_lb_ft"] in bare(app.error[0].value)


def test_a_number_that_cannot_be_used_is_still_refused_after_a_look_at_another_screen(opened: Opener) -> None:
    app = opened(SAMPLE, **ROUGH)
    slip = f"{PREFIX}slip_found_lb_ft"
    app.text_input(key=slip).set_value("1,234").run()
    app.switch_page("screens/after_water.py").run()
    app.switch_page(SCREEN).run()
    assert app.title[0].value == NO_ANSWER
    assert app.text_input(key=slip).value == "1,234"


def test_what_was_typed_is_forgotten_when_another_fleet_is_opened(opened: Opener, sample_copy: Path) -> None:
    app = opened(sample_copy)
    app.text_input(key=f"{PREFIX}slip_found_lb_ft").set_value("1,234").run()
    app.switch_page("screens/data_problems.py").run()
    app.button(key="to-sample").click().run()
    app.switch_page(SCREEN).run()
    assert app.text_input(key=f"{PREFIX}slip_found_lb_ft").value == ""
    assert app.title[0].value == teardown_answer(off_season(), "USD")


def test_the_season_of_the_price_can_be_chosen(opened: Opener) -> None:
    assert "no rush surcharge" in told(opened(**ROUGH))  # the day is off season
    app = opened(**ROUGH, season="in")
    assert "rebuild the unit for about USD 770" in app.title[0].value.replace(SPACE, " ")


def test_a_fleet_brings_its_prices_and_its_slip_settings(opened: Opener, sample_copy: Path) -> None:
    (sample_copy / "fleet.toml").write_text(
        'currency = "EUR"\n[costs]\nrebuild = 900\n[slip]\nset_stock_lb_ft = 13\n', encoding="utf-8"
    )
    app = opened(sample_copy, **ROUGH)
    assert "rebuild the unit for about EUR 900" in app.title[0].value.replace(SPACE, " ")
    assert "Set the slip to about 13 lb·ft" in told(app)


def test_the_clutches_are_those_of_the_core_in_its_order(opened: Opener, sample: Fleet) -> None:
    slip = sample.slip(SAMPLE_DAY)
    app = opened(SAMPLE)
    assert spaced(slip_answer(slip)) in told(app)
    rows = app.dataframe[0].value
    assert list(rows["unit"]) == [one.unit_id for one in slip.units]
    assert list(rows["slip"]) == [moment(one.slip_now) for one in slip.units]
    assert list(rows["limit"]) == [one.limit for one in slip.units]
    assert not rows[["low_now", "low_soon"]].isin([f"0{SPACE}%"]).any().any()
    assert not rows["advice"].str.contains(r"\b0 ?%").any()


def test_without_a_fleet_there_is_no_table_of_clutches(opened: Opener) -> None:
    app = opened()
    assert not app.dataframe
    assert "With a fleet open, the slip" in told(app)


def test_a_fleet_that_cannot_be_read_leaves_the_teardown_to_the_program_s_prices(
    opened: Opener, tmp_path: Path
) -> None:
    app = opened(tmp_path / "gone", **ROUGH)
    assert "cannot be read" in told(app)
    assert app.title[0].value == teardown_answer(off_season(**ROUGH), "USD")


def test_a_fleet_with_nothing_in_service_has_no_clutch_to_tell_of(opened: Opener, tmp_path: Path) -> None:
    (tmp_path / "craft.csv").write_text("craft_id\nC1\n", encoding="utf-8")
    (tmp_path / "fittings.csv").write_text(
        "unit_id,craft_id,fitted_on,removed_on\nS1,C1,2026-05-01,2026-06-01\n", encoding="utf-8"
    )
    app = opened(tmp_path, **ROUGH)
    assert app.title[0].value == teardown_answer(off_season(**ROUGH), "USD")
    assert "No unit is in service" in told(app)


def test_a_price_range_is_told_with_both_ends() -> None:
    advice = off_season(bearing="rough")
    assert quote_words(advice, "USD").replace(SPACE, " ") == "USD 650 to 1,700"

"""The command ``compare``: what it says is what the screen says, in text and for programs."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from forecaster import Amount, Fleet, NowOrLater
from forecaster.report.compare_text import compare_json, compare_text
from forecaster.report.text import Page
from tests.command_answers import answer_to
from tests.conftest import ROOT

UNIT = "S0003"
LAST_DAY = date(2026, 10, 15)  # of the season: the unit runs no more before spring, and next week is off season
# Documented in interfaces.md: these stay.
KEYS = {
    "unit_id",
    "as_of",
    "options",
    "best",
    "chance_now_is_cheaper",
    "break_even_rebuild_price",
    "value_of_check",
    "cost_of_waiting_per_month",
}
PAGE = Page(width=1000)


def asked(*words: str) -> dict[str, Any]:
    status, out, _ = answer_to("compare", str(ROOT / "sample_fleet"), UNIT, "--as-of", str(LAST_DAY), "--json", *words)
    assert status == 0
    answer: dict[str, Any] = json.loads(out)
    return answer


@pytest.fixture(scope="module")
def screen(sample: Fleet) -> NowOrLater:
    """What the screen "Now or later" is drawn from."""
    return sample.now_or_later(UNIT, LAST_DAY)


def test_now_is_the_cheapest_week_before_it_runs_again_as_on_the_screen(sample: Fleet, screen: NowOrLater) -> None:
    assert screen.now.week == 1  # a day later no rental day is lost to the rebuild
    told = asked()
    assert told["chance_now_is_cheaper"] == screen.chance_now_is_cheaper
    assert told["break_even_rebuild_price"] == screen.break_even.mean
    assert told["saves"] == {"mean": screen.saved.mean, "low": screen.saved.low, "high": screen.saved.high}
    moved = next(one for one in told["moves_it"] if one["what"] == "new_unit")
    dearer = sample.now_or_later(UNIT, LAST_DAY, new_unit=1.25 * screen.prices.new_unit)
    assert moved["high"] == pytest.approx(dearer.saved.mean)


def test_the_documented_keys_stay_and_every_option_is_in_them() -> None:
    told = asked()
    assert set(told) >= KEYS
    assert [option["action"] for option in told["options"]] == ["rebuild"] * 104 + ["check"] * 104 + ["none"]
    assert told["options"][0]["on"] == told["as_of"] == LAST_DAY.isoformat()
    assert told["options"][-1]["on"] is None
    assert told["best"] == min(told["options"], key=lambda option: option["expected_cost"])


def test_prices_are_those_that_the_question_sets(sample: Fleet) -> None:
    told = asked("--rebuild-price", "900", "--day-rate", "300")
    other = sample.now_or_later(UNIT, LAST_DAY, rebuild=900.0, day_rate=300.0)
    assert told["chance_now_is_cheaper"] == other.chance_now_is_cheaper
    assert told["best_later"]["expected_cost"] == other.later.expected_cost


@pytest.mark.parametrize(("share", "told"), [(0.0, "under 2 %"), (0.5, "50 %"), (1.0, "over 98 %")])
def test_draws_that_all_agree_are_no_certainty(screen: NowOrLater, share: float, told: str) -> None:
    text = compare_text(replace(screen, chance_now_is_cheaper=share, n_draws=48), (), "USD", PAGE)
    assert f"now is the cheaper one with a chance of {told}." in text


def test_every_amount_has_its_interval(screen: NowOrLater) -> None:
    one = replace(screen, break_even=Amount(1115.0, 654.0, 1833.0), check_saves=Amount(-88.0, -270.0, 52.0))
    text = compare_text(one, (), "USD", PAGE)
    assert "A rebuild now pays up to a price of USD 1,115 (654-1,833)." in text
    assert "No check pays: the best costs USD 88 (-52 to 270) more than none." in text
    assert compare_json(one, ())["value_of_check"] == 0.0


def test_a_rebuild_that_would_not_pay_for_nothing_is_told_so(screen: NowOrLater) -> None:
    text = compare_text(replace(screen, break_even=Amount(-5.0, -9.0, -1.0)), (), "USD", PAGE)
    assert "A rebuild now would not pay even if it cost nothing." in text


def test_of_a_large_fleet_it_says_that_the_plan_was_not_asked_and_how_to_ask(monkeypatch: pytest.MonkeyPatch) -> None:
    words = ("compare", str(ROOT / "sample_fleet"), UNIT, "--as-of", str(LAST_DAY))
    anew = answer_to.__wrapped__  # of a fleet that is large now
    usual = answer_to(*words)
    monkeypatch.setattr("forecaster.fleet.PLANNED_FOR_ONE_UNIT", 0)
    status, out, said = anew(*words)
    assert status == 0
    assert out.startswith(f"{UNIT}: do as the plan says. Why: ")
    assert "the plan was not asked, which weighs all units together" in " ".join(out.split())
    assert "add --with-plan, or see forecaster plan" in said
    assert anew(*words, "--with-plan") == usual
    told = json.loads(anew(*words, "--json")[1])
    assert (told["instruction"]["act"], told["instruction"]["reasons"]) == (None, ["plan_not_asked"])
    assert told["instruction_stands_by"] == ["plan_not_asked"]

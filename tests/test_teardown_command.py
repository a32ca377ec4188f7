"""`forecaster teardown`: the answer in one sentence, whose prices the quote has, and refusals in plain words."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path
from typing import get_args

import pytest

from forecaster.finding_options import NUMBERS, WORDS
from forecaster.opened_unit import Finding
from tests.command_answers import answer_to
from tests.conftest import ROOT
from tests.test_commands import documented, keys_of

OFF = "--off-season"
GOES_BACK = ("--bearing", "sound")
NOISY = ("--bearing", "rough", "--shaft-play-mm", "0.03")
ROUGH = (*NOISY, "--impeller", "good", "--front-housing", "good", "--rear-housing", "good")
run = partial(answer_to, "teardown")


def told(*words: str) -> str:
    """The answer as one line."""
    status, out, err = run(*words)
    assert (status, err) == (0, "")
    return " ".join(out.split())


def answered(*words: str) -> dict:
    status, out, _ = run(*words, "--json")
    assert status == 0
    answer: dict = json.loads(out)
    return answer


def test_the_options_are_the_fields_and_words_of_a_finding() -> None:
    fields = Finding.model_fields
    assert {field for _, field, *_ in (*WORDS, *NUMBERS)} == set(fields)
    assert {field: choices for _, field, choices, _ in WORDS} == {
        field: get_args(fields[field].annotation) for _, field, *_ in WORDS
    }


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (ROUGH, "Rebuild this unit for about USD 650; a new one would cost USD 1,700."),
        (NOISY, "Rebuild this unit for about USD 650 if both housings and the impeller pass inspection;"),
        (("--bearing", "failed", "--impeller", "destroyed"), "Fit a new unit for about USD 1,700: the core is lost."),
        ((*NOISY, "--impeller", "scored"), "Measure before you decide: the job may come to USD 650 to 1,700."),
        (("--bearing", "sound"), "Put this unit back for about USD 60: no rebuild and no new unit."),
        (("--bearing", "sound", "--slip-found", "8"), "Reset its clutch and put this unit back for about USD 60:"),
        ((*ROUGH, "--rebuild-price", "1900"), "Fit a new unit for about USD 1,700: a rebuild would cost more."),
    ],
)
def test_the_answer_comes_first_in_one_sentence(words: tuple[str, ...], sentence: str) -> None:
    assert told(*words, OFF).startswith(sentence)


def test_a_rebuild_tells_what_is_used_again_and_what_is_renewed() -> None:
    text = told(*ROUGH, OFF)
    assert "Cleaned, inspected and used again: front housing, rear housing and impeller." in text
    assert "Renewed: 1 shaft assembly with bearings, 1 drive gear, 1 set of clutch washers" in text
    assert "it will fail, also with hardly any play" in text
    assert "The maker's manual comes first" in text


def test_a_core_that_nobody_inspected_is_quoted_both_ways() -> None:
    text = told(*NOISY, OFF)
    assert "this job 650 to 1,700" in text
    assert "Cleaned, inspected and used again, if they pass: front housing, rear housing and impeller." in text
    assert "the core is not known to be sound until they are inspected" in text


def test_a_fleet_s_own_slip_setting_is_told(sample_copy: Path) -> None:
    (sample_copy / "fleet.toml").write_text("[slip]\nset_stock_lb_ft = 13\ntoo_low_lb_ft = 8\n", encoding="utf-8")
    text = told(str(sample_copy), *GOES_BACK, "--slip-found", "7.5", OFF, "--as-of", "2026-11-01")
    assert "too low for full boost: reset it to about 13 lb·ft" in text
    assert "Slip was 8.5 lb·ft: leave it." in told(
        str(sample_copy), *GOES_BACK, "--slip-found", "8.5", OFF, "--as-of", "2026-11-01"
    )


def test_the_surcharge_is_in_both_prices_in_season_alone() -> None:
    assert "rebuild 770 new unit 1,820" in told(*ROUGH, "--in-season")
    assert "rebuild 740 new unit 1,790" in told(*ROUGH, "--in-season", "--rush-surcharge", "90")
    assert "rebuild 650 new unit 1,700" in told(*ROUGH, OFF)


def test_without_word_of_the_season_the_day_decides() -> None:
    assert answered(*ROUGH, "--as-of", "2026-07-04")["in_season"] is True
    assert answered(*ROUGH, "--as-of", "2026-12-24")["in_season"] is False


def test_a_fleet_brings_its_own_prices_and_currency(sample_copy: Path) -> None:
    (sample_copy / "fleet.toml").write_text('currency = "EUR"\n[costs]\nrebuild = 900\n', encoding="utf-8")
    text = told(str(sample_copy), *ROUGH, OFF, "--as-of", "2026-11-01")
    assert text.startswith("Rebuild this unit for about EUR 900;")
    assert "Prices: those of sample_fleet." in text


def test_prices_that_nobody_gave_are_told_to_be_defaults() -> None:
    assert "Prices: the program's defaults" in told(*ROUGH, OFF)
    assert "Prices: as given (new unit), else the program's defaults" in told(*ROUGH, OFF, "--new-unit-price", "2000")


def test_feared_debris_names_the_engine_that_the_quote_does_not_hold() -> None:
    text = told("--bearing", "failed", "--impeller", "good", "--front-housing", "good", OFF)
    assert "Not in them: an engine repair, about USD 5,200" in text
    assert "Do not run the engine before" in text


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("--bearing", "rusty"), "argument --bearing: invalid choice: 'rusty' (choose from"),
        (("--shaft-play-mm", "25"), "shaft_play_mm (play of the shaft, mm) = 25.0: must be less than or equal to 20."),
        (("--slip-found", "low"), "'low' is not a number of lb·ft, 0 or more"),
        (("--in-season", "--off-season"), "--in-season and --off-season contradict each other"),
    ],
)
def test_what_cannot_be_used_is_refused_in_plain_words(words: tuple[str, ...], reason: str) -> None:
    status, out, err = run(*words)
    assert (status, out) == (2, "")
    assert err.startswith("forecaster: ")
    assert reason in err


def test_its_json_is_documented_key_for_key() -> None:
    assert keys_of(answered(*ROUGH, OFF)) == keys_of(documented("teardown"))


def test_the_text_fits_a_narrow_terminal() -> None:
    _, out, _ = run(str(ROOT / "sample_fleet"), *NOISY, "--impeller", "scored", "--oil", "milky", "--in-season")
    assert out
    assert max(map(len, out.splitlines())) <= 80

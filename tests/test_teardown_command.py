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
SOUND = ("--bearing", "sound")
NOISY = ("--bearing", "rough", "--shaft-play-mm", "0.03")
GOOD = ("--impeller", "good", "--front-housing", "good", "--rear-housing", "good")
ROUGH = (*NOISY, *GOOD)
FAILS = "The supercharger's bearing is rough and will fail"
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
        (ROUGH, f"{FAILS}: rebuild the unit for about USD 650; a new unit would cost USD 1,700."),
        (NOISY, f"{FAILS}: rebuild the unit for about USD 650 if both housings and the impeller pass inspection; else"),
        (
            ("--bearing", "failed", "--impeller", "destroyed"),
            "The supercharger's bearing has failed, and the impeller cannot be used again: fit a new unit for about "
            "USD 1,700.",
        ),
        (
            (*NOISY, "--impeller", "scored"),
            "Measure before you decide: the supercharger's bearing is rough and will fail, and whether the impeller "
            "can be used again is not known. The job may come to USD 650 to 1,700.",
        ),
        ((*SOUND, *GOOD), "The supercharger's bearing is sound: put the unit back for about USD 150; it needs no"),
        (
            (*SOUND, *GOOD, "--slip-found", "8"),
            "The supercharger's bearing is sound: reset its clutch and put the unit back for about USD 150;",
        ),
        (
            (*ROUGH, "--rebuild-price", "1900"),
            f"{FAILS}: fit a new unit for about USD 1,700; a rebuild would cost USD 1,900.",
        ),
    ],
)
def test_the_answer_comes_first_in_one_sentence(words: tuple[str, ...], sentence: str) -> None:
    assert told(*words, OFF).startswith(sentence)


def test_a_rebuild_tells_what_is_used_again_and_what_is_renewed() -> None:
    text = told(*ROUGH, OFF)
    assert "Cleaned, inspected and used again if they pass: front housing, rear housing and impeller." in text
    assert "Renewed: 1 shaft assembly with bearings, 1 drive gear, 1 set of clutch washers" in text
    assert "it will fail, also with hardly any play" in text
    assert "The maker's manual comes first" in text


def test_a_core_that_nobody_inspected_is_quoted_both_ways() -> None:
    text = told(*NOISY, OFF)
    assert "this job 650 to 1,700" in text
    assert "Cleaned, inspected and used again if they pass: front housing, rear housing and impeller." in text
    assert "the core is not known to be sound until they are inspected" in text


def test_a_fleet_s_own_slip_setting_is_told(sample_copy: Path) -> None:
    (sample_copy / "fleet.toml").write_text("[slip]\nset_stock_lb_ft = 13\ntoo_low_lb_ft = 8\n", encoding="utf-8")
    text = told(str(sample_copy), *SOUND, "--slip-found", "7.5", OFF, "--as-of", "2026-11-01")
    assert "Reset the slip to about 13 lb·ft" in text
    assert "Leave the slip at 8.5 lb·ft." in told(
        str(sample_copy), *SOUND, "--slip-found", "8.5", OFF, "--as-of", "2026-11-01"
    )


def test_the_surcharge_is_in_the_rebuild_in_season_alone() -> None:
    assert "rebuild 770 new unit 1,700" in told(*ROUGH, "--in-season")
    assert "rebuild 740 new unit 1,700" in told(*ROUGH, "--in-season", "--rush-surcharge", "90")
    assert "rebuild 650 new unit 1,700" in told(*ROUGH, OFF)


def test_without_word_of_the_season_the_day_decides() -> None:
    assert answered(*ROUGH, "--as-of", "2026-07-04")["in_season"] is True
    assert answered(*ROUGH, "--as-of", "2026-12-24")["in_season"] is False


def test_a_fleet_brings_its_own_prices_and_currency(sample_copy: Path) -> None:
    (sample_copy / "fleet.toml").write_text('currency = "EUR"\n[costs]\nrebuild = 900\n', encoding="utf-8")
    text = told(str(sample_copy), *ROUGH, OFF, "--as-of", "2026-11-01")
    assert text.startswith(f"{FAILS}: rebuild the unit for about EUR 900;")
    assert "Prices: those of sample_fleet." in text


def test_prices_that_nobody_gave_are_told_to_be_defaults() -> None:
    assert "Prices: the program's defaults" in told(*ROUGH, OFF)
    assert "Prices: as given (new unit), else the program's defaults" in told(*ROUGH, OFF, "--new-unit-price", "2000")


def test_feared_debris_names_the_engine_that_the_quote_does_not_hold() -> None:
    text = told("--bearing", "failed", "--impeller", "good", "--front-housing", "good", OFF)
    assert "Not in it: an engine repair, about USD 5,200" in text
    assert "Do not run the engine before" in text


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("--bearing", "rusty"), "argument --bearing: invalid choice: 'rusty' (choose from"),
        (("--shaft-play-mm", "25"), "'25' is not a play in mm from 0 to 20"),
        (("--slip-found", "135"), "slip_found_lb_ft (clutch slip moment, lb·ft) = 135.0: above 40 lb·ft"),
        (("--slip-found", "low"), "'low' is not a moment in lb·ft from 0 to 4,000"),
        (("--in-season", "--off-season"), "--in-season and --off-season contradict each other"),
    ],
)
def test_what_cannot_be_used_is_refused_in_plain_words(words: tuple[str, ...], reason: str) -> None:
    status, out, err = run(*words)
    assert (status, out) == (2, "")
    assert err.startswith("forecaster: ")
    assert reason in err


def test_its_json_is_documented_key_for_key(sample_copy: Path) -> None:
    (sample_copy / "fleet.toml").write_text("[parts]\nimpeller = 300\n", encoding="utf-8")
    lost = (*SOUND, *GOOD, "--impeller", "destroyed", OFF, "--as-of", "2026-11-01")
    assert keys_of(answered(str(sample_copy), *lost)) == keys_of(documented("teardown"))


def test_its_codes_stand_beside_its_sentences() -> None:
    answer = answered(*SOUND, *GOOD, "--reason", "failure", OFF)
    assert (answer["at_least"], answer["at_most"], answer["decision"]) == ("put back", "rebuild", "measure first")
    assert answer["because_codes"][0] == "cause_not_found"
    assert answer["because"][0].startswith("It failed in use")
    assert len(answer["because"]) == len(answer["because_codes"])
    assert len(answer["follow_up"]) == len(answer["follow_up_codes"])


def test_opening_and_putting_back_has_a_price_of_its_own(sample_copy: Path) -> None:
    assert answered(*SOUND, *GOOD, OFF)["quote"]["low"] == 150.0
    assert answered(*SOUND, *GOOD, OFF, "--open-and-reset-price", "90")["quote"]["low"] == 90.0
    (sample_copy / "fleet.toml").write_text("[costs]\nopen_and_reset = 175\n", encoding="utf-8")
    assert answered(str(sample_copy), *SOUND, *GOOD, OFF, "--as-of", "2026-11-01")["quote"]["put_back"] == 175.0


def test_the_text_fits_a_narrow_terminal() -> None:
    _, out, _ = run(str(ROOT / "sample_fleet"), *NOISY, "--impeller", "scored", "--oil", "milky", "--in-season")
    assert out
    assert max(map(len, out.splitlines())) <= 80

"""`forecaster flooded`: STOP first, the steps numbered by when, the risk with its intervals; text and JSON."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from forecaster.commands import COMMANDS
from forecaster.experience import save_experience
from forecaster.flooding_facts import Flooding
from forecaster.learning import fit_two_stage
from forecaster.lives import LIVES, Histories, frame
from forecaster.records import TABLES
from tests.command_answers import answer_to
from tests.conftest import ROOT, SAMPLE_DAY

SAMPLE = str(ROOT / "sample_fleet")
DAY = ("--as-of", "2026-09-20")
FRESH = (*DAY, "--water", "salt", "--under-minutes", "10", "--engine", "off", "--treated", "no")
ALONE = (*FRESH, "--hours-since-rebuild", "80")
run = partial(answer_to, "flooded")


def told(*words: str, status: int = 0) -> str:
    """What the command prints; of a refusal, what it says on standard error, where the answer stays empty."""
    exit_status, out, err = run(*words)
    assert exit_status == status
    assert (out == "") == (status != 0)
    return out if status == 0 else err


def answered(*words: str) -> dict:
    answer: dict = json.loads(told(*words, "--json"))
    return answer


# Text -----------------------------------------------------------------------------------------------------------------


def test_stop_is_said_first() -> None:
    text = told(*ALONE, "--oil", "milky")
    assert text.startswith("STOP: do not run it.\n\n- the oil is milky")
    several = told(*ALONE, "--oil", "milky", "--spin", "rattle")
    assert several.startswith("STOP: do not run it.\n\n- the supercharger rattles")
    assert "\n- the oil is milky" in several


def test_whoever_tells_nothing_is_told_not_to_start_it() -> None:
    assert told(*DAY).startswith("Do not start it. Do not crank it.")
    assert not told(*DAY, "--treated", "yes").startswith("Do not start it")


def test_hours_ago_say_whether_a_treatment_can_still_be_in_time() -> None:
    water = ("--happened-on", "2026-09-19", "--hours-since-rebuild", "80", *FRESH)
    assert "treated today, in time" in " ".join(told(*water, "--hours-ago", "18").split())
    assert "treated today, which is late" in " ".join(told(*water, "--hours-ago", "30").split())
    assert "both cannot be" in told(*water, "--hours-ago", "60", status=2)


def test_hours_ago_alone_never_complain_of_a_day_that_nobody_gave() -> None:
    for hours in ("0", "20", "30", "100"):
        assert answered(*ALONE, "--hours-ago", hours)["flooding"]["hours_ago"] == float(hours)
    assert answered(*ALONE, "--hours-ago", "30")["flooding"]["happened_on"] == "2026-09-19"


def test_without_a_reason_to_stop_the_answer_follows_at_once() -> None:
    text = " ".join(told(SAMPLE, "C001", *FRESH).split())
    assert text.startswith("Do not start it. Do not crank it. C001 (unit ")
    assert re.search(r"do the steps first, then (check|have the supercharger opened)", text[:160])
    assert "STOP" not in text


def test_the_risk_is_told_in_words_before_it_is_told_in_figures() -> None:
    text = " ".join(told(*ALONE).split())
    assert re.search(r"About \d in 10 such superchargers fail within 100 engine hours if nobody opens them", text)
    assert text.index("in 10 such superchargers") < text.index("The chance that the supercharger's bearing fails")
    assert "cheapest in" not in text


def test_a_sheet_is_written_and_never_over_a_file_in_silence(tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.pdf"
    assert told(*ALONE, "--sheet", str(sheet)).endswith(f"On one page to print: {sheet}\n")
    assert sheet.read_bytes().startswith(b"%PDF")
    refusal = told(*ALONE, "--spin", "quiet", "--sheet", str(sheet), status=2)
    assert "sheet.pdf is there already. Name another place, or write over it with --force." in refusal
    assert "On one page to print" in told(*ALONE, "--sheet", str(sheet), "--force")


def test_the_blocks_stand_in_their_order_and_steps_are_numbered_on() -> None:
    text = told(*ALONE)
    titles = ["Now:", "Within a day:", "Before the next ride:", "Call a mechanic now if:", "Cautions:"]
    titles += ["Chance of failing", "What each way costs"]
    places = [text.index(title) for title in [*titles, "Why:", "No fleet's records stand behind these figures"]]
    assert places == sorted(places)
    numbers = [int(n) for n in re.findall(r"^ ?(\d+)\. ", text, re.MULTILINE)]
    assert numbers == list(range(1, len(numbers) + 1))


@pytest.mark.parametrize("words", [ALONE, DAY, (SAMPLE, "C001", *FRESH)])
def test_it_fits_80_columns(words: tuple[str, ...]) -> None:
    assert max(map(len, told(*words).splitlines())) <= 80


def test_the_risk_is_told_with_its_interval_for_every_horizon() -> None:
    lines = told(*ALONE).splitlines()
    for hours in (5, 10, 25, 50, 100):
        [line] = [line for line in lines if line.strip().startswith(f"{hours} h  ")]
        assert line.count("(") == line.count("%)") == 4


def test_an_unknown_treatment_gets_a_column_of_its_own() -> None:
    text = told(*DAY)
    assert "as it is" in text
    assert "Nobody knows whether and how soon it was treated" in text.replace("\n", " ")


def test_a_fleets_lives_stand_behind_its_answer() -> None:
    text = told(SAMPLE, "C001", *FRESH).replace("\n", " ")
    assert re.search(r"Learned from \d+ lives, \d+ of them ended by a failed bearing", text)
    assert "No fleet's records" not in text


# JSON -----------------------------------------------------------------------------------------------------------------


def keys_of(answer: object) -> object:
    """The keys of an answer, all the way down; of a list those of its first member."""
    if isinstance(answer, dict):
        return {key: keys_of(value) for key, value in answer.items()}
    return [keys_of(answer[0])] if isinstance(answer, list) and answer and isinstance(answer[0], dict) else None


def test_its_json_is_documented_key_for_key() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    documented = json.loads(text.split("\n`flooded --json`")[1].split("```json\n")[1].split("```")[0])
    assert keys_of(answered(SAMPLE, "C001", *FRESH)) == keys_of(documented)
    assert keys_of(answered(*ALONE)) == keys_of(documented | {"instruction": None})


def test_the_json_says_what_the_text_says() -> None:
    answer = answered(*ALONE, "--oil", "milky")
    assert answer["stop"] is True
    assert {step["when"] for step in answer["steps"]} == {"now", "within a day", "before the next ride"}
    assert [row["hours"] for row in answer["risk"]] == [5, 10, 25, 50, 100]
    assert answer["advice"] in ("open it now", *(f"check it after {n} hours" for n in (5, 10, 25)))
    for row in answer["risk"]:
        for name in ("treated", "late", "untreated", "no_incident"):
            assert row[name]["low"] <= row[name]["mean"] <= row[name]["high"]
    assert answer["craft_id"] is None


def test_a_fleets_log_fills_in_what_is_not_told() -> None:
    answer = answered(SAMPLE, "C007", *DAY, "--happened-on", "2026-09-17")
    assert answer["flooding"]["treated"] == "no"  # as water.csv has it
    assert answer["applies"] == "untreated"


def test_another_fleets_experience_is_taken(tmp_path: Path) -> None:
    fit = fit_two_stage(Histories(SAMPLE_DAY, frame(LIVES)))
    harsher = replace(fit.draws, theta=fit.draws.theta - 0.7 * (np.arange(fit.theta.shape[1]) == 1))
    save_experience(replace(fit, draws=harsher), tmp_path / "shop.json")
    with_it, without = (answered(*ALONE, *words) for words in (("--experience", str(tmp_path / "shop.json")), ()))
    assert with_it["risk"][-1]["no_incident"]["mean"] > without["risk"][-1]["no_incident"]["mean"]
    assert with_it["fit"]["prior"].startswith("experience of 0 lives")


# Wrong usage ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((SAMPLE,), "Name the craft that was under water after SOURCE"),
        ((SAMPLE, "C999"), "There is no craft 'C999' in craft.csv. Did you mean"),
        ((SAMPLE, "C001", "--parts", "oem"), "--hours-since-rebuild and --parts are for a craft without records"),
        (
            ("--hours-since-rebuild", "1000000"),
            "is not a number of engine hours from 0 to 5,000. No such engine has run longer",
        ),
        (("--hours-ago", "2", "--hours-since-water", "8"), "ran for 8 engine hours since then"),
        (
            ("--under-minutes", "100000"),
            "from 0 to 10,080. A craft that truly lay under for over a week is for a mechanic",
        ),
        (("--under-minutes", "-3"), "'-3' is not a number of minutes from 0 to 10,080. See"),
        (("--hours-since-rebuild", "many"), "'many' is not a number of engine hours from 0 to 5,000. See"),
        (("--water", "sweet"), "choose from"),
        (("--treated-within-h", "5"), "treated_within_h (5 h) is given, but treated is 'unknown'"),
        ((*DAY, "--happened-on", "2026-09-21"), "It happened on 2026-09-21, after 2026-09-20"),
        (("--spin", "rattle", "--spun", "now"), "--spun is not an option here. The nearest is --spin"),
    ],
)
def test_wrong_usage_says_what_is_wrong_and_exits_with_2(words: tuple[str, ...], said: str) -> None:
    assert said in told(*words, status=2)


def test_a_source_or_experience_that_is_not_there_is_told() -> None:
    assert "no such place" in told("no such place", "C001", status=1)
    assert "no such file" in told("--experience", "no such file", status=1)


def test_the_options_offered_are_those_of_the_facts() -> None:
    offered = {a.names[0].lstrip("-").replace("-", "_"): a.options for a in COMMANDS.by_name["flooded"].arguments}
    told_by_name = {name: info for name, info in Flooding.model_fields.items() if name != "hours_run_since"}
    assert set(told_by_name) <= set(offered)
    for name, info in told_by_name.items():
        codes = getattr(info.annotation, "__args__", ()) if "choices" in offered[name] else ()
        if codes:
            assert set(offered[name]["choices"]) == set(codes)
            assert offered[name]["default"] == info.default
    assert set(offered["parts"]["choices"]) == set(TABLES["fittings"].columns["parts"].codes)

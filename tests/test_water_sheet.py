"""The answer after water on one page: it fits whatever was answered, and says what the screen says."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from typing import Any

import pytest

from forecaster import Fleet
from forecaster.flooding import AfterWater
from forecaster.flooding_facts import flooding_of
from forecaster.paper.water_sheet import water_sheet
from forecaster.report.after_water_wording import words_after_water
from tests.conftest import SAMPLE_DAY
from tests.flooded_answers import ANSWERS, answer_to_flooding

GRAVEST: dict[str, Any] = {
    "under_minutes": 10.0,
    "water": "unknown",
    "engine": "running",
    "oil": "milky",
    "water_in_cylinder": "yes",
    "spin": "rattle",
}


def pages(pdf: bytes) -> list[str]:
    """The text of each page as one line of ordinary spaces."""
    if not shutil.which("pdftotext"):
        pytest.skip("no poppler here: install poppler-utils")
    read = subprocess.run(["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True)
    return [" ".join(page.split()) for page in read.stdout.decode().split("\f") if page.strip()]


def raw_words(answer: AfterWater, **more: Any) -> str:
    """The sheet's text in reading order, as one line."""
    if not shutil.which("pdftotext"):
        pytest.skip("no poppler here: install poppler-utils")
    read = subprocess.run(["pdftotext", "-raw", "-", "-"], input=water_sheet(answer, **more), capture_output=True)
    return " ".join(read.stdout.decode().replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.mark.parametrize("facts", [*ANSWERS[::9], GRAVEST], ids=str)
def test_every_answer_fits_on_one_page(facts: dict[str, Any]) -> None:
    assert len(pages(water_sheet(answer_to_flooding(**facts)))) == 1


def test_the_longest_names_and_records_fit_too(sample: Fleet) -> None:
    answer = sample.after_water("C003", flooding_of(happened_on=SAMPLE_DAY, **GRAVEST), SAMPLE_DAY)
    remarks = ("A remark. " * 60,) * 5
    assert len(pages(water_sheet(replace(answer, remarks=remarks), "Heron of the far lagoon " * 12))) == 1


def test_stop_stands_before_the_steps_and_every_step_has_its_box_and_number() -> None:
    answer = answer_to_flooding(**GRAVEST)
    said, words = raw_words(answer), words_after_water(answer)
    assert said.index("STOP: do not run it.") < said.index("1. People first") < said.index("2. Take the key")
    for step in words.steps:
        assert f"{step.number}. {step.do}" in said
    assert said.count("\N{BALLOT BOX}") == len(words.steps)


def test_it_says_the_risk_in_words_and_what_to_tell_a_mechanic() -> None:
    answer = answer_to_flooding(water="salt", treated="no", engine="off")
    said, words = raw_words(answer), words_after_water(answer)
    assert words.risk in said
    assert "Call a mechanic now if" in said
    for what, known in words.hand_over:
        assert f"{what}: {known}" in said.replace("4 Jul 2026", "2026-07-04")


@pytest.mark.parametrize(
    ("form", "day"), [("day-month-year", "4 Jul 2026"), ("month-day-year", "Jul 4, 2026"), ("iso", "2026-07-04")]
)
def test_days_are_written_as_the_fleet_wants_them(form: Any, day: str) -> None:
    assert f"Day of the water: {day}" in raw_words(answer_to_flooding(), date_format=form)


def test_the_same_answer_is_the_same_file() -> None:
    assert water_sheet(answer_to_flooding(**GRAVEST)) == water_sheet(answer_to_flooding(**GRAVEST))


@pytest.mark.parametrize(
    ("chance", "told"),
    [
        (0.001, "fewer than 1 in 100"),
        (0.011, "about 1 in 100"),
        (0.024, "about 1 in 50"),
        (0.06, "about 1 in 20"),
        (0.08, "about 1 in 10"),
        (0.42, "about 4 in 10"),
        (0.94, "about 9 in 10"),
        (0.97, "nearly all"),
    ],
)
def test_a_chance_is_told_as_a_count_that_anybody_can_picture(chance: float, told: str) -> None:
    from forecaster.report.figures import out_of_ten

    assert out_of_ten(chance) == told

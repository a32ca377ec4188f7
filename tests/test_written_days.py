"""Days as readers want them written: one rule, texts that keep their days apart, and the setting that chooses."""

from __future__ import annotations

import json
import pickle
from datetime import date
from pathlib import Path

import pytest

from forecaster.errors import DataStopsAnswer, SettingsError
from forecaster.histories import build_histories
from forecaster.reading import read_fleet
from forecaster.settings import FleetSettings, read_settings
from forecaster.templates import template_folder
from forecaster.writing import settings_toml
from forecaster.written_days import (
    DATE_FORMATS,
    USUAL_DATE_FORMAT,
    DatedText,
    DateFormat,
    joined,
    written_day,
    written_day_of_year,
    written_text,
)
from forecaster.zip_folders import ReceivedFile
from tests.paper_fleet import opened, paper_fleet
from tests.small_fleet import TODAY

MAY = date(2027, 5, 1)
WRITTEN: dict[DateFormat, str] = {
    "day-month-year": "1 May 2027",
    "month-day-year": "May 1, 2027",
    "iso": "2027-05-01",
}
OF_YEAR: dict[DateFormat, str] = {"day-month-year": "1 May", "month-day-year": "May 1", "iso": "2027-05-01"}


def spaced(text: str) -> str:
    """A text with ordinary spaces."""
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_every_format_is_tried_here() -> None:
    assert set(WRITTEN) == set(OF_YEAR) == set(DATE_FORMATS)


@pytest.mark.parametrize("form", DATE_FORMATS)
def test_a_day_is_written_as_asked_and_on_one_line(form: DateFormat) -> None:
    assert spaced(written_day(MAY, form)) == WRITTEN[form]
    assert " " not in written_day(MAY, form)


@pytest.mark.parametrize("form", DATE_FORMATS)
def test_a_year_that_is_plain_is_left_out_where_a_format_can(form: DateFormat) -> None:
    assert spaced(written_day_of_year(MAY, form)) == OF_YEAR[form]


def test_an_early_year_keeps_its_four_figures_in_iso() -> None:
    assert written_day(date(205, 1, 2), "iso") == date(205, 1, 2).isoformat()


# Texts with days in them ----------------------------------------------------------------------------------------------


def test_a_dated_text_reads_iso_where_nobody_asks() -> None:
    text = DatedText("planned for the week of ", MAY, ": swamped")
    assert text == "planned for the week of 2027-05-01: swamped"
    assert f"{text}." == "planned for the week of 2027-05-01: swamped."
    assert json.loads(json.dumps({"why": text})) == {"why": str(text)}


@pytest.mark.parametrize("form", DATE_FORMATS)
def test_a_dated_text_writes_all_its_days_as_asked(form: DateFormat) -> None:
    text = DatedText("from ", MAY, DatedText(" to ", date(2027, 6, 1)))
    first, second = written_day(MAY, form), written_day(date(2027, 6, 1), form)
    assert text.written(form) == written_text(text, form) == f"from {first} to {second}"


def test_what_looks_like_a_day_in_somebodys_own_words_is_left_alone() -> None:
    said = "unit {0} of 2027-05-01"
    assert written_text(said, "month-day-year") == said
    assert spaced(DatedText(said, " on ", MAY).written("month-day-year")) == f"{said} on May 1, 2027"


def test_texts_that_are_joined_keep_their_days() -> None:
    together = joined(" and ", [DatedText("before ", MAY), "later"])
    assert together == "before 2027-05-01 and later"
    assert spaced(together.written("day-month-year")) == "before 1 May 2027 and later"
    assert joined("; ", []) == ""


def test_a_dated_text_survives_being_stored() -> None:
    text = DatedText("on ", MAY)
    assert pickle.loads(pickle.dumps(text)).written("month-day-year") == text.written("month-day-year")


def test_a_refusal_keeps_the_days_of_its_message_and_prints_them_as_iso() -> None:
    refusal = DataStopsAnswer(DatedText("No unit is in service on ", MAY))
    assert str(refusal) == "No unit is in service on 2027-05-01"
    assert spaced(written_text(refusal.message, "month-day-year")) == "No unit is in service on May 1, 2027"


def test_a_remark_on_a_record_keeps_its_days() -> None:
    look = opened("S9", "2027-05-01", "scheduled", "sound", "rebuilt")
    (remark,) = build_histories(paper_fleet(["C1"], rebuilds=[look]), date(2027, 6, 1)).remarks
    assert "S9 was opened on 2027-05-01 but never fitted" in remark.text
    assert "S9 was opened on May 1, 2027 but never fitted" in spaced(written_text(remark.text, "month-day-year"))


# The setting ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", DATE_FORMATS)
def test_the_fleets_own_format_is_read_and_written_back(form: DateFormat) -> None:
    settings = read_settings(f'date_format = "{form}"')
    assert settings.date_format == form
    assert read_settings(settings_toml(settings)) == settings


def test_without_the_key_days_are_written_day_first() -> None:
    assert FleetSettings().date_format == USUAL_DATE_FORMAT == "day-month-year"


@pytest.mark.parametrize("wrong", ['"MM/DD/YYYY"', '"ISO"', "1", '""'])
def test_an_unknown_format_is_refused_with_those_that_are_known(wrong: str) -> None:
    with pytest.raises(SettingsError) as refused:
        read_settings(f"date_format = {wrong}")
    said = str(refused.value)
    assert said.startswith("fleet.toml: date_format = ")
    assert said.endswith(": must be 'day-month-year', 'month-day-year' or 'iso'.")


def test_the_key_is_found_where_it_was_put_into_a_section() -> None:
    with pytest.raises(SettingsError, match="date_format is not a known key"):
        read_settings('[season]\ndate_format = "iso"')


def test_a_template_folder_holds_the_key_and_its_answer_can_be_changed(tmp_path: Path) -> None:
    from forecaster.received_files import receive

    source = receive([ReceivedFile("my_fleet.zip", template_folder())]).lay_out(tmp_path)
    toml = source / "fleet.toml"
    assert 'date_format = "day-month-year"' in toml.read_text(encoding="utf-8")
    toml.write_text(toml.read_text(encoding="utf-8").replace("day-month-year", "iso"), encoding="utf-8")
    assert read_fleet(source, TODAY).records.settings.date_format == "iso"

"""Papers for one owner: nothing of another's on them, and what is learned from all."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from io import BytesIO

import openpyxl
import pandas as pd
import pytest

from forecaster import Fleet, Paper
from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.paper.content import Answers, gather
from forecaster.paper.owners import Readership, owners_of, refuse_unknown_owner
from forecaster.problems import Problem, Reading
from forecaster.records import FleetRecords
from tests.conftest import SAMPLE_DAY, sample_fleet
from tests.sample_papers import all_papers
from tests.small_fleet import TODAY, small_fleet

OWNERS = ["Old Mole Boathouse", "Pellan Reach Boats", "Quillfeather Water Hire"]


def owned_by(owners: dict[str, str | None]) -> FleetRecords:
    """The small fleet with its craft given to owners."""
    records = small_fleet()
    craft = records.craft.assign(owner=[owners.get(c) for c in records.craft["craft_id"]])
    return replace(records, craft=craft)


MINE = {"C001": "Ada", "C002": "Ada", "C003": "Bo", "C004": None}


# Nothing of another's -------------------------------------------------------------------------------------------------


def words_of(paper: Paper) -> str:
    """All text of a paper's three files."""
    pdf = subprocess.run(["pdftotext", "-", "-"], input=paper.pdf(), capture_output=True, check=True).stdout.decode()
    book = openpyxl.load_workbook(BytesIO(paper.xlsx()))
    cells = [str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    calendar = paper.ics().replace(b"\r\n ", b"").decode()
    told = "\n".join([pdf, *cells, calendar, str(book.properties.title), paper.name, paper.answer])
    return told.replace("\N{NO-BREAK SPACE}", " ")


def names_of_others(fleet: Fleet, owner: str) -> set[str]:
    """Every unit, craft, craft's name and owner in the records that is not this owner's."""
    craft, fittings = fleet.records.craft, fleet.records.fittings
    others = craft[craft["owner"] != owner]
    last = fittings.sort_values("fitted_on", kind="stable").drop_duplicates("unit_id", keep="last")
    theirs = last.loc[last["craft_id"].isin(others["craft_id"]), "unit_id"]
    return {*others["craft_id"], *others["name"], *others["owner"], *theirs}


@pytest.mark.parametrize("owner", OWNERS)
def test_an_owners_paper_names_nobody_elses_unit_craft_or_owner(owner: str) -> None:
    if not shutil.which("pdftotext"):
        pytest.skip("no poppler here: install poppler-utils")
    words = words_of(all_papers()[owner])
    others = names_of_others(sample_fleet(), owner)
    assert len(others) > 20
    assert [name for name in others if re.search(rf"(?<!\w){re.escape(name)}(?!\w)", words)] == []
    assert owner in words


def test_the_search_for_others_would_find_them() -> None:
    if not shutil.which("pdftotext"):
        pytest.skip("no poppler here: install poppler-utils")
    words = words_of(all_papers()[None])
    others = names_of_others(sample_fleet(), OWNERS[0])
    assert sum(bool(re.search(rf"(?<!\w){re.escape(name)}(?!\w)", words)) for name in others) > 20


def test_the_owners_papers_together_are_the_fleets() -> None:
    papers = all_papers()
    whole = papers[None].content
    parts = [papers[owner].content for owner in OWNERS]
    assert sorted(u.unit_id for part in parts for u in part.units) == sorted(u.unit_id for u in whole.units)
    assert sum(part.spent for part in parts) == pytest.approx(whole.spent)
    assert sum(part.saving.mean for part in parts) == pytest.approx(whole.saving.mean)
    assert sum(part.parts.rebuilds for part in parts) == whole.parts.rebuilds
    assert {u.unit_id: u.planned for part in parts for u in part.units} == {u.unit_id: u.planned for u in whole.units}


def test_an_owners_saving_has_an_interval_of_its_own() -> None:
    for owner in OWNERS:
        saving = all_papers()[owner].content.saving
        assert saving.low < saving.mean < saving.high


def test_an_owners_paper_says_that_the_model_is_learned_from_all() -> None:
    content = all_papers()[OWNERS[0]].content
    assert content.evidence == all_papers()[None].content.evidence
    assert content.whole is None
    assert content.other_units == len(all_papers()[None].content.units) - len(content.units)


def test_an_owners_day_rate_is_that_of_the_own_craft() -> None:
    craft = sample_fleet().records.craft
    for owner in OWNERS:
        own = craft.loc[craft["owner"] == owner, "day_rate"]
        assert all_papers()[owner].content.prices.day_rate == pytest.approx(own.mean())


# Whose is whose -------------------------------------------------------------------------------------------------------


def test_a_unit_belongs_to_the_craft_that_it_sat_on_last() -> None:
    """S2 and S3 changed craft on 2025-08-03: S2 to C003, S3 to C002."""
    records = owned_by(MINE)
    assert Readership(records, TODAY, "Ada").units == {"S1", "S3"}
    assert Readership(records, TODAY, "Bo").units == {"S2"}
    assert Readership(records, date(2025, 7, 15), "Ada").units == {"S1", "S2"}


def test_the_fleets_own_paper_names_all() -> None:
    whole = Readership(owned_by(MINE), TODAY)
    assert whole.craft == {"C001", "C002", "C003", "C004"}
    assert whole.may_read("S2 on C003 of Bo")


@pytest.mark.parametrize(
    ("text", "readable"),
    [
        ("S1 on C001, by 2025-07-02", True),
        ("S3 on C003, by 2025-07-02", False),  # its own unit on another's craft
        ("s2 was refused", False),
        ('seen on Gull "Two"', False),
        ("the owner Bo says so", False),
        ("S20 and C0035 are other names", True),
        ("Bottom paint", True),
    ],
)
def test_a_text_that_names_another_owners_craft_is_not_for_this_reader(text: str, readable: bool) -> None:
    assert Readership(owned_by(MINE), TODAY, "Ada").may_read(text) is readable


def test_what_is_held_back_is_counted() -> None:
    ada = Readership(owned_by(MINE), TODAY, "Ada")
    assert ada.readable(["S1 is fine", "S2 is not"]) == (
        "S1 is fine",
        "Not shown here, since other customers' craft are named in them: 1 remark.",
    )


def test_problems_of_a_row_go_to_the_owner_of_its_craft() -> None:
    refused = pd.DataFrame({"craft_id": ["C001", "C003"], "reason": ["x", "y"]}, index=pd.Index([90, 91], name="row"))
    own = Problem("hours.csv", 90, "meter", "-77", "less than 0", "Correct it.", refused=True)
    other = Problem("hours.csv", 91, "meter", "-78", "less than 0", "Correct it.", refused=True)
    naming = Problem("hours.csv", 90, "meter", "C003", "no number", "Correct it.", refused=True)
    whole_file = Problem("checks.csv", None, None, None, "is not there", "Add it.", refused=False)
    accepted = Problem("craft.csv", 2, "model_year", "2022", "looks odd", "Look.", refused=False)
    reading = Reading(owned_by(MINE), (own, other, naming, whole_file, accepted), {"hours": refused})
    assert Readership(reading.records, TODAY, "Ada").problems(reading) == (own, accepted)
    assert Readership(reading.records, TODAY).problems(reading) == reading.problems


# Refusals -------------------------------------------------------------------------------------------------------------


def test_an_owner_that_is_not_known_is_refused_with_the_owners_that_are() -> None:
    with pytest.raises(WrongUsage, match=r"no owner 'ada'\. Did you mean 'Ada'\? Its owners: Ada; Bo\."):
        refuse_unknown_owner(owned_by(MINE), "ada")
    with pytest.raises(WrongUsage, match="Old Mole Boathouse; Pellan Reach Boats; Quillfeather Water Hire"):
        sample_fleet().report(SAMPLE_DAY, "Nobody")


def test_a_fleet_without_owners_says_so() -> None:
    records = owned_by({})
    assert owners_of(records) == ()
    with pytest.raises(WrongUsage, match=r"craft\.csv names no owner"):
        refuse_unknown_owner(records, "Ada")


def test_an_owner_with_nothing_in_service_is_refused() -> None:
    content = all_papers()[None].content
    fleet = sample_fleet()
    records = replace(fleet.records, craft=fleet.records.craft.assign(owner="Ada"))
    extra = records.craft.iloc[[0]].assign(craft_id="C999", owner="Bo")
    records = replace(records, craft=pd.concat([records.craft, extra]))
    assert content.whole is not None
    answers = Answers(
        Reading(records), fleet.forecast(SAMPLE_DAY), content.whole, content.prices, lambda unit: content.curves[0]
    )
    with pytest.raises(DataStopsAnswer, match="No unit of Bo is in service on 2026-11-01"):
        gather(answers, Readership(records, SAMPLE_DAY, "Bo"))


def test_a_fleet_with_nothing_in_service_is_refused() -> None:
    with pytest.raises(DataStopsAnswer, match="No unit is in service on 2020-01-01"):
        sample_fleet().report(date(2020, 1, 1))


def test_a_kind_of_paper_that_is_not_known_is_refused() -> None:
    with pytest.raises(WrongUsage, match="pdf, xlsx, ics"):
        all_papers()[None].file("docx")


def test_a_prior_named_after_another_customer_is_not_named() -> None:
    fleet, whole = sample_fleet(), all_papers()[None].content
    assert whole.whole is not None
    forecast = fleet.forecast(SAMPLE_DAY)
    named = replace(forecast, evidence=replace(forecast.evidence, prior="experience of Pellan Reach Boats"))
    answers = Answers(Reading(fleet.records), named, whole.whole, whole.prices, lambda unit: whole.curves[0])
    assert (
        gather(answers, Readership(fleet.records, SAMPLE_DAY, OWNERS[0])).evidence.prior == "what other fleets taught"
    )
    assert "Pellan" in gather(answers, Readership(fleet.records, SAMPLE_DAY)).evidence.prior

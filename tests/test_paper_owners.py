"""Papers for one owner: nothing of another's on them, and what is learned from all."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import Counter
from dataclasses import replace
from datetime import date
from io import BytesIO

import openpyxl
import pandas as pd
import pytest

from forecaster import Fleet, Paper, PlanEdit
from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.paper import wording
from forecaster.paper.files import KINDS
from forecaster.paper.owners import Readership, owners_of, refuse_unknown_owner
from forecaster.priors import read_priors
from forecaster.problems import Problem, Reading
from forecaster.records import FleetRecords
from forecaster.written_days import SPACE
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


def words_of_file(paper: Paper, kind: str) -> str:
    """All text of one of a paper's files, with ordinary spaces."""
    if kind == "pdf":
        run = subprocess.run(["pdftotext", "-", "-"], input=paper.pdf(), capture_output=True, check=True)
        told = run.stdout.decode()
    elif kind == "xlsx":
        book = openpyxl.load_workbook(BytesIO(paper.xlsx()))
        cells = [cell.value for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
        told = "\n".join(map(str, [*cells, book.properties.title]))
    else:
        told = paper.ics().replace(b"\r\n ", b"").decode()
    return told.replace("\N{NO-BREAK SPACE}", " ")


def words_of(paper: Paper) -> str:
    """All text of a paper's three files."""
    return "\n".join([*(words_of_file(paper, kind) for kind in KINDS), paper.name, paper.answer])


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


def test_the_owners_papers_together_hold_every_unit_with_the_fleets_risk() -> None:
    papers = all_papers()
    whole = {unit.unit_id: unit.forecast for unit in papers[None].content.units}
    own = {unit.unit_id: unit.forecast for owner in OWNERS for unit in papers[owner].content.units}
    assert set(own) == set(whole)
    for unit, one in own.items():
        assert vars(one.fails_within) == pytest.approx(vars(whole[unit].fails_within))
        assert vars(one.fails_this_season) == pytest.approx(vars(whole[unit].fails_this_season))


def test_the_owners_plans_do_the_fleets_work_where_no_limit_binds_but_for_what_costs_the_same() -> None:
    """Each alone, at its own prices (others' bills are not read): where the work differs, it costs next to nothing."""
    papers = all_papers()
    assert not papers[None].content.plan.plan.limits
    own = {u.unit_id: u for owner in OWNERS for u in papers[owner].content.units}
    whole = {unit.unit_id: unit for unit in papers[None].content.units}
    differ = [unit for unit in own if own[unit].instruction.act != whole[unit].instruction.act]
    assert len(differ) <= 1
    edits = {unit: PlanEdit(own[unit].planned.action, own[unit].planned.week_of) for unit in differ}
    more = sample_fleet().plan_with(edits, SAMPLE_DAY).costs_more
    assert more.mean < 0.001 * papers[None].content.saving.mean


def test_the_owners_weeks_together_keep_within_the_bench() -> None:
    papers = all_papers()
    bench = {week.monday: week.places for week in papers[None].content.plan.bench}
    kept, taken = Counter[date](), Counter[date]()
    for owner in OWNERS:
        content = papers[owner].content
        kept.update({week.monday: int(week.places) for week in content.plan.bench})
        for monday, units in content.by_week():
            taken[monday] += sum(unit.instruction.act == "rebuild" for unit in units)
    assert dict(kept) == bench  # every craft of the sample has an owner
    assert taken.total() > 10
    assert all(taken[monday] <= bench[monday] for monday in taken)


def test_an_owners_paper_says_whose_weeks_these_are() -> None:
    for owner in OWNERS:
        told = " ".join(wording.evidence(all_papers()[owner].content))
        assert (
            "The weeks are planned for these craft alone, in the bench places that the workshop keeps for them; the "
            "workshop confirms them."
        ) in told
    assert "workshop" not in " ".join(wording.evidence(all_papers()[None].content))


def test_a_bench_or_budget_that_is_wished_counts_for_the_owner_as_it_stands() -> None:
    fleet = sample_fleet()
    content = fleet.report(SAMPLE_DAY, OWNERS[0], bench_per_week=2.0, budget=1400.0, look_back=False).content
    assert {week.places for week in content.plan.bench} == {2.0}
    assert content.plan.plan.budget == 1400.0
    assert content.spent <= 1400.0
    told = " ".join(wording.evidence(content))
    assert "The weeks are planned for these craft alone; the workshop confirms them." in told


def test_a_budget_of_fleet_toml_is_dealt_out() -> None:
    fleet = sample_fleet()
    bench = fleet.settings.bench.model_copy(update={"budget": 14_000.0})
    records = replace(fleet.records, settings=fleet.settings.model_copy(update={"bench": bench}))
    content = Fleet(Reading(records)).report(SAMPLE_DAY, OWNERS[0], look_back=False).content
    assert content.plan.plan.budget == pytest.approx(14_000.0 * 6 / 28)
    assert content.kept_budget


def test_an_owner_without_a_place_on_the_bench_is_told_so() -> None:
    fleet = sample_fleet()
    owners = ["Ada" if name == "C007" else "Bo" for name in fleet.records.craft["craft_id"]]
    bench = fleet.settings.bench.model_copy(update={"rebuilds_per_week": 0.0})
    settings = fleet.settings.model_copy(update={"bench": bench})
    records = replace(fleet.records, craft=fleet.records.craft.assign(owner=owners), settings=settings)
    paper = Fleet(Reading(records)).report(SAMPLE_DAY, "Ada", look_back=False)
    assert paper.answer == "Leave the one unit this off-season: the workshop has no bench place free then."


def test_an_owners_saving_has_an_interval_of_its_own() -> None:
    for owner in OWNERS:
        saving = all_papers()[owner].content.saving
        assert saving.low < saving.mean < saving.high


def test_how_sure_names_whose_lives_were_learned_from() -> None:
    lives = sample_fleet().histories(SAMPLE_DAY).lives
    for owner in OWNERS:
        own = lives["craft_id"].isin(Readership(sample_fleet().records, SAMPLE_DAY, owner).craft).sum()
        told = wording.evidence(all_papers()[owner].content)[0]
        assert told.startswith(
            f"Learned from your {own} lives and {len(lives) - own} of the workshop's other customers (a life is "
        )
    assert all_papers()[OWNERS[0]].content.evidence == all_papers()[None].content.evidence
    whole = wording.evidence(all_papers()[None].content)[0]
    assert whole.startswith(f"Learned from {len(lives)} lives of this fleet's units (a life is ")


def test_how_sure_names_the_experience_that_was_given() -> None:
    content = all_papers()[None].content
    assert "What these lives cannot tell comes from general experience." in wording.evidence(content)
    taught = replace(content.evidence, prior="experience of 9 lives elsewhere")
    assert (
        "What these lives cannot tell comes from experience of 9 lives elsewhere (the experience file that was given)."
    ) in wording.evidence(replace(content, evidence=taught))


def test_an_owners_paper_says_which_day_rates_are_assumed_and_how_much() -> None:
    assumed = {owner: all_papers()[owner].content.assumed_rates for owner in OWNERS}
    assert assumed[OWNERS[0]] == {"C027": 200.0, "C028": 200.0}
    assert assumed[OWNERS[1]] == {}
    told = wording.assumed_rates(all_papers()[OWNERS[0]].content).replace(SPACE, " ")
    each = "USD 200 an in-season day is assumed for each of them."
    assert told == f"No rental income of a day is recorded for C027 and C028: {each}"
    if not shutil.which("pdftotext"):
        pytest.skip("no poppler here: install poppler-utils")
    for kind, text in (("pdf", told), ("xlsx", "day rate of C027: not recorded, so assumed")):
        assert text in " ".join(words_of_file(all_papers()[OWNERS[0]], kind).split())
    wished = sample_fleet().report(SAMPLE_DAY, OWNERS[0], look_back=False, prices={"day_rate": 300.0}).content
    assert (wished.assumed_rates, wished.prices.day_rate) == ({}, 300.0)


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
    fleet = sample_fleet()
    extra = fleet.records.craft.iloc[[0]].assign(craft_id="C999", owner="Bo")
    records = replace(fleet.records, craft=pd.concat([fleet.records.craft, extra]))
    with pytest.raises(DataStopsAnswer, match="No unit of Bo is in service on 2026-11-01"):
        Fleet(Reading(records)).report(SAMPLE_DAY, "Bo", look_back=False)


def test_a_fleet_with_nothing_in_service_is_refused() -> None:
    with pytest.raises(DataStopsAnswer, match="No unit is in service on 2020-01-01"):
        sample_fleet().report(date(2020, 1, 1))


def test_a_kind_of_paper_that_is_not_known_is_refused() -> None:
    with pytest.raises(WrongUsage, match="pdf, xlsx, ics"):
        all_papers()[None].file("docx")


def test_a_prior_named_after_another_customer_is_not_named() -> None:
    fleet = sample_fleet()
    named = read_priors()
    named = named.with_normal(named.mean, named.covariance, "experience of Pellan Reach Boats")
    taught = Fleet(Reading(fleet.records), named)
    own, whole = (taught.report(SAMPLE_DAY, owner, look_back=False).content for owner in (OWNERS[0], None))
    assert own.evidence.prior == "what other fleets taught"
    assert "Pellan" in whole.evidence.prior

"""The paper is my plan: all four files, the screen's table and the JSON tell the same work, as limited and changed."""

from __future__ import annotations

import csv
import io
import re
import shutil
from collections.abc import Mapping
from datetime import date, timedelta
from functools import cache
from typing import Any

import icalendar
import pandas as pd
import pytest

from fleet_rows import craft_places
from forecaster import Fleet, Paper, PlanByHand, PlanEdit, WrongUsage
from forecaster.paper import wording
from forecaster.paper.asking import PaperWishes
from forecaster.plan_limits import PlanWishes
from forecaster.plan_problem import TOLERANCE
from forecaster.report.plan_text import plan_json
from plan_rows import plan_file, table_rows
from tests.conftest import SAMPLE_DAY, sample_fleet
from tests.papers_read_back import Work, in_csv, in_ics, in_pdf, in_xlsx, week_in
from tests.sample_papers import all_papers, renamed
from tests.test_paper_owners import names_of_others, words_of, words_of_file

IN_SEASON = date(2026, 8, 10)
OWNERS = ("Old Mole Boathouse", "Pellan Reach Boats", "Quillfeather Water Hire")
LIMITS: PlanWishes = {
    "budget": 5_000.0,
    "bench_per_week": 2.0,
    "ready_by": date(2027, 3, 1),
    "closed": (date(2026, 12, 24), date(2026, 12, 31)),
    "spare_units": 1,
    "prices": {"check": 80.0},
}
EVERY = [(day, owner) for day in (SAMPLE_DAY, IN_SEASON) for owner in (None, *OWNERS)]


@pytest.fixture(scope="module", autouse=True)
def poppler() -> None:
    if not shutil.which("pdftotext"):
        pytest.skip("no poppler here: install poppler-utils")


def part_of(owner: str | None) -> Fleet:
    return sample_fleet() if owner is None else sample_fleet().of_owner(owner)


@cache
def edits_on(day: date) -> dict[str, PlanEdit]:
    """Of each owner: a unit with work left, where there is one, another checked, one that was left rebuilt late."""
    edits: dict[str, PlanEdit] = {}
    for owner in OWNERS:
        best = part_of(owner).plan(day, **LIMITS)
        worked = [a.unit_id for a in best.plan.actions if a.action != "leave"]
        left = [a.unit_id for a in best.plan.actions if a.action == "leave"]
        edits.update(dict.fromkeys(worked[:1], PlanEdit("leave", None, "its owner sells it")))
        edits[(worked[1:] or left[1:])[0]] = PlanEdit("check", best.bench[3].monday)
        edits[left[0]] = PlanEdit("rebuild", best.later_weeks[1])
    return edits


@cache
def papers_on(day: date) -> dict[str | None, Paper]:
    fleet = sample_fleet()
    papers = fleet.reports(day, (None, *OWNERS), edits=edits_on(day), look_back=False, **LIMITS)
    return {paper.content.owner: paper for paper in papers}


@cache
def made_on(day: date, owner: str | None) -> PlanByHand:
    """What the core answers when it is asked for that plan, paper or not."""
    part = part_of(owner)
    units = set(part.histories(day).in_service().lives["unit_id"])
    return part.plan_with({u: e for u, e in edits_on(day).items() if u in units}, day, **LIMITS)


def work_of(made: PlanByHand) -> Work:
    return {one.unit_id: (one.action, one.week_of) for one in made.answer.plan.actions}


def instructed(paper: Paper) -> Work:
    """What the paper's content has each unit told."""
    return {unit.unit_id: (unit.instruction.act, unit.instruction.week_of) for unit in paper.content.units}


# The law --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("day", "owner"), EVERY)
def test_all_four_files_tell_the_same_work_and_it_is_the_plan_that_was_asked_for(day: date, owner: str | None) -> None:
    paper, made = papers_on(day)[owner], made_on(day, owner)
    for read in (in_xlsx, in_csv, in_ics, in_pdf):
        assert read(paper) == instructed(paper)
    planned = work_of(made)
    first = {u.unit_id for u in paper.content.units if u.stop or u.instruction.at_once or "first" in u.instruction.code}
    assert set(instructed(paper)) == set(planned)
    assert {u: w for u, w in instructed(paper).items() if u not in first} == {
        u: w for u, w in planned.items() if u not in first
    }


@pytest.mark.parametrize(("day", "owner"), EVERY)
def test_the_changes_are_in_it_and_it_says_so(day: date, owner: str | None) -> None:
    paper, made = papers_on(day)[owner], made_on(day, owner)
    by_hand = paper.content.by_hand
    assert by_hand is not None
    assert by_hand.units == tuple(sorted(made.edits))
    assert by_hand.costs_more == made.costs_more
    assert by_hand.broken == made.broken
    assert any(line.startswith("Ready by") for line in by_hand.broken)
    words = " ".join(words_of(paper).split())
    assert wording.by_hand(paper.content).replace("\N{NO-BREAK SPACE}", " ") in words
    for line in wording.broken(paper.content):
        assert line.replace("\N{NO-BREAK SPACE}", " ") in words
    assert all(unit.changed == (unit.unit_id in made.edits) for unit in paper.content.units)
    sold = any(edit.note for edit in made.edits.values())
    assert ("changed by hand: its owner sells it" in words) == sold


@pytest.mark.parametrize("day", [SAMPLE_DAY, IN_SEASON])
def test_the_screens_table_its_file_and_the_json_tell_the_same(day: date) -> None:
    made, fleet = made_on(day, None), sample_fleet()
    planned = work_of(made)
    told = fleet.instructions_by(made.answer)
    shown = table_rows(made.answer.plan.actions, made.answer, craft_places(fleet.records), told, made.edits)
    on_screen = {r.unit: (r.work, r.week) for r in shown.itertuples()}
    assert {u: (w, week_in(k)) for u, (w, k) in on_screen.items()} == planned
    file = pd.read_csv(io.BytesIO(plan_file(made.answer, made.edits, told)), keep_default_na=False)
    assert {r.unit_id: (r.work, week_in(r.week_of)) for r in file.itertuples()} == planned
    written = plan_json(made.answer, told, made)
    assert {a["unit_id"]: (a["action"], week_in(a["week_of"])) for a in written["actions"]} == planned
    assert {e["unit_id"] for e in written["edits"]} == set(made.edits)
    assert {a["unit_id"] for a in written["actions"] if a["changed_by_hand"]} == set(made.edits)
    assert written["broken"] == list(made.broken)
    assert written["costs_more"]["mean"] == made.costs_more.mean


@pytest.mark.parametrize(("day", "owner"), EVERY)
def test_parts_costs_and_the_day_to_order_follow_the_changed_plan(day: date, owner: str | None) -> None:
    content = papers_on(day)[owner].content
    work = [unit for unit in content.units if unit.instruction.week_of is not None]
    to_come = content.plan.to_come.to_order  # in season: what the off-season may bring, with 95 % chance
    planned = sum(unit.instruction.act == "rebuild" for unit in work)
    assert content.parts.rebuilds == (planned if to_come is None else to_come)
    assert content.spent == pytest.approx(sum(unit.planned.cost for unit in work))
    first = min((unit.instruction.week_of for unit in work if unit.instruction.week_of), default=None)
    lead = timedelta(weeks=content.parts.lead_time_weeks)
    assert content.parts.order_by == (None if first is None else first - lead)
    assert content.plan.spares == made_on(day, owner).answer.spares


@pytest.mark.parametrize("day", [SAMPLE_DAY, IN_SEASON])
def test_the_limits_are_kept_by_all_that_was_not_changed_by_hand(day: date) -> None:
    made = made_on(day, None)
    for one in made.answer.plan.actions:
        if one.week_of is not None and one.unit_id not in made.edits:
            assert one.week_of + timedelta(days=7) <= date(2027, 3, 1)
            assert one.week_of not in (date(2026, 12, 21), date(2026, 12, 28))
    best = sample_fleet().plan(day, **LIMITS).plan
    assert best.spent <= 5_000 + TOLERANCE


def test_the_limits_stand_on_the_paper() -> None:
    content = papers_on(SAMPLE_DAY)[None].content
    within = wording.planned_within(content).replace("\N{NO-BREAK SPACE}", " ")
    assert within == (
        "Planned within: work from 1 Nov 2026; to be ready by 1 Mar 2027; 2 bench places in each week, closed in the "
        "weeks of 21 Dec 2026 and 28 Dec 2026; 1 spare unit to stand in."
    )
    for kind in ("pdf", "xlsx"):
        assert within in " ".join(words_of_file(papers_on(SAMPLE_DAY)[None], kind).split())


def test_work_put_too_late_is_named_where_all_is_said_to_be_ready() -> None:
    content = papers_on(SAMPLE_DAY)[OWNERS[0]].content
    assert content.by_hand is not None
    (late,) = content.by_hand.late
    assert f"All work, but for {late}, is to be ready by" in wording.ready(content)
    (ready,) = [
        str(event["summary"])
        for event in icalendar.Calendar.from_ical(papers_on(SAMPLE_DAY)[OWNERS[0]].ics()).walk("VEVENT")
        if "superchargers ready" in str(event["summary"])
    ]
    assert ready == f"All superchargers ready but {late}"


# Every wish flows through --------------------------------------------------------------------------------------------


def test_a_paper_takes_every_wish_of_a_plan() -> None:
    assert set(PlanWishes.__annotations__) < set(PaperWishes.__annotations__)


def test_a_wish_that_no_plan_knows_is_refused() -> None:
    with pytest.raises(WrongUsage, match="colour is nothing that a plan can be asked for"):
        sample_fleet().report(SAMPLE_DAY, look_back=False, colour="red")  # type: ignore[call-arg]


def test_changes_that_change_nothing_leave_the_best_plan_and_what_more_would_buy() -> None:
    best = sample_fleet().plan(SAMPLE_DAY, budget=5_000.0)
    same = {a.unit_id: PlanEdit(a.action, a.week_of) for a in best.plan.actions}
    content = sample_fleet().report(SAMPLE_DAY, look_back=False, budget=5_000.0, edits=same).content
    assert content.by_hand is None
    assert content.plan.plan == best.plan
    assert wording.limits(content)


# Whose changes --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("owner", OWNERS)
def test_an_owners_paper_names_no_unit_that_was_changed_for_another(owner: str) -> None:
    words = words_of(papers_on(SAMPLE_DAY)[owner])
    others = names_of_others(sample_fleet(), owner)
    assert set(edits_on(SAMPLE_DAY)) & others
    assert [name for name in others if re.search(rf"(?<!\w){re.escape(name)}(?!\w)", words)] == []


def noted(note: str, *owners: str | None) -> list[Paper]:
    unit = next(unit for unit, edit in edits_on(SAMPLE_DAY).items() if edit.action == "leave")
    return list(
        sample_fleet().reports(SAMPLE_DAY, owners, edits={unit: PlanEdit("leave", None, note)}, look_back=False)
    )


def test_a_note_that_names_anothers_craft_is_on_the_fleets_paper_alone() -> None:
    whole, own = noted("goes onto C001 of Quillfeather Water Hire", None, OWNERS[0])
    assert "goes onto C001" in words_of(whole)
    assert "goes onto C001" not in words_of(own)
    assert "changed by hand" in words_of(own)


def test_changes_of_others_move_no_byte_of_an_owners_paper() -> None:
    mine, theirs = (set(part_of(owner).histories(SAMPLE_DAY).in_service().lives["unit_id"]) for owner in OWNERS[:2])
    edits = edits_on(SAMPLE_DAY)
    own = {unit: edit for unit, edit in edits.items() if unit in mine}
    assert {*edits} & theirs
    alone, beside = (
        sample_fleet().report(SAMPLE_DAY, OWNERS[0], look_back=False, edits=given, **LIMITS) for given in (own, edits)
    )
    assert all(alone.file(kind) == beside.file(kind) for kind in ("pdf", "xlsx", "ics", "csv"))


@pytest.mark.parametrize("owner", [None, OWNERS[0]])
def test_a_change_of_no_unit_at_all_is_refused_rather_than_left_out(owner: str | None) -> None:
    with pytest.raises(WrongUsage, match="S9999 is not in service on 2026-11-01"):
        sample_fleet().report(SAMPLE_DAY, owner, look_back=False, edits={"S9999": PlanEdit("leave")})


# This week ------------------------------------------------------------------------------------------------------------


def test_this_week_follows_the_changed_plan() -> None:
    fleet, monday = sample_fleet(), date(2026, 11, 2)
    one, other = sorted(a.unit_id for a in fleet.plan(SAMPLE_DAY).plan.actions if a.action == "leave")[:2]

    def planned(**edits: PlanEdit) -> dict[str, str]:
        week = fleet.this_week(SAMPLE_DAY, edits=edits)
        return {task.unit_id: task.kind for task in week.tasks if task.week_of and task.unit_id in (one, other)}

    assert planned() == {}
    assert planned(**{one: PlanEdit("rebuild", monday), other: PlanEdit("rebuild", monday)}) == {
        one: "rebuild",
        other: "rebuild",
    }
    assert planned(**{one: PlanEdit("check", monday), other: PlanEdit("leave")}) == {one: "check"}


def test_this_week_asks_for_the_plan_with_every_wish(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    plan_with = Fleet.plan_with

    def keep(fleet: Fleet, edits: Mapping[str, PlanEdit], as_of: date, progress: Any = None, **wish: Any) -> PlanByHand:
        asked.append((edits, wish))
        return plan_with(fleet, edits, as_of, progress, **wish)

    monkeypatch.setattr(Fleet, "plan_with", keep)
    sample_fleet().this_week(SAMPLE_DAY, edits=edits_on(SAMPLE_DAY), **LIMITS)
    assert asked == [(edits_on(SAMPLE_DAY), LIMITS)]


# The table ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_in_the_table_a_text_that_looks_like_a_formula_is_marked_as_a_text(start: str) -> None:
    paper = all_papers()[None]
    named = Paper(renamed(paper.content, 0, base=f"{start}SUM(A1)"), paper.name)
    (row, *_) = csv.DictReader(io.StringIO(named.csv().decode("utf-8-sig"), newline=""))
    assert row["base"] == f"'{start}SUM(A1)"


def test_the_table_says_of_every_unit_what_the_work_list_says() -> None:
    paper = all_papers()[None]
    rows = list(csv.DictReader(io.StringIO(paper.csv().decode("utf-8-sig"), newline="")))
    assert [row["unit_id"] for row in rows] == [unit.unit_id for unit in paper.content.units]
    assert sum(float(row["cost_expected"] or 0) for row in rows) == pytest.approx(paper.content.spent)
    for row, unit in zip(rows, paper.content.units, strict=True):
        assert row["instruction"] == wording.to_do(unit)
        assert float(row["fails_within_hours_ahead"]) == pytest.approx(unit.forecast.fails_within.mean)
        assert (row["do_not_run"] != "") == (unit in paper.content.stopped)

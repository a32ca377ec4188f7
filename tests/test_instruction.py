"""One unit, one instruction: of plan, triggers and record one is made, and all three files give the same."""

from __future__ import annotations

import re
import shutil
import subprocess
from datetime import date, timedelta
from functools import cache
from io import BytesIO
from itertools import accumulate, combinations, product
from typing import Any, get_args

import icalendar
import openpyxl
import pytest

from forecaster import Instruction, Paper
from forecaster.instruction import OnRecord, decided
from forecaster.instruction_codes import Code, Order, code_on_record
from forecaster.paper.front_pages import RANKED_WIDTHS
from forecaster.paper.page_parts import MARGIN, TEXT_WIDTH
from forecaster.plan_problem import Action, PlannedAction
from forecaster.season_triggers import Due
from forecaster.settings import Season
from forecaster.unsafe import Unsafe
from tests.conftest import SAMPLE_DAY, sample_fleet
from tests.sample_papers import all_papers

MONDAY, AUTUMN, SUMMER = date(2026, 11, 2), date(2026, 10, 31), date(2026, 7, 15)
SEASON = Season()
RATTLED = Unsafe("rattle", "rebuild", "rattled when spun by hand")
MILKY = Unsafe("milky", "check", "oil milky")
WET = Unsafe("untreated", "check", "untreated water")
HEARD = Unsafe("untreated", "leave", "untreated water")
LATE = Unsafe("treated_late", "check", "water treated late")
FOUND = [chosen for n in range(3) for chosen in combinations((RATTLED, MILKY, WET, HEARD, LATE), n)]
RANK = ["leave", "check", "rebuild"]


# One is made of all -------------------------------------------------------------------------------------------------


def planned(action: Action) -> PlannedAction:
    return PlannedAction("S1", "C1", action, None if action == "leave" else MONDAY, 650.0, 900.0)


Case = tuple[PlannedAction, tuple[Unsafe, ...], Due | None, Order, date]
NOT_DUE: tuple[None, Order] = (None, "leave")
CASES: list[Case] = [
    (planned(action), found, due, when, day)
    for action, found, day in product(get_args(Action), FOUND, (AUTUMN, SUMMER))
    for due, when in (
        ((None, "leave"), *product(get_args(Due), ("now", "soon"))) if day == SUMMER else ((None, "leave"),)
    )
]


def instruction(plan: PlannedAction, found: tuple[Unsafe, ...], due: Due | None, when: Order, day: date) -> Instruction:
    return decided(OnRecord("S1", "C1", True, found), day, plan, due, when, SEASON)


def test_every_case_has_an_instruction_and_every_instruction_a_case() -> None:
    on_record = {"stop", "look first", "as planned"}
    assert {instruction(*case).code for case in CASES} == set(get_args(Code)) - on_record
    assert {code_on_record(found) for found in FOUND} == {"stop, rebuild", "treat", *on_record}


@pytest.mark.parametrize("case", CASES)
def test_nothing_that_is_asked_for_is_made_less_of(case: Case) -> None:
    plan, found, due, _, day = case
    told = instruction(*case)
    at_once = [one.act for one in found] + ([due] if due else [])
    asked = at_once if day == SUMMER and at_once else [*at_once, plan.action]
    assert RANK.index(told.act or "leave") == max(map(RANK.index, asked))
    asks = {one.asks for one in found}
    assert (told.order == "stop") == ("stop" in asks)
    assert told.stops == bool(asks & {"stop", "treat"})
    assert (told.order == "first") == (asks == {"first"})
    assert (told.order in ("now", "soon")) == (due is not None and not found)


@pytest.mark.parametrize("case", CASES)
def test_a_week_stands_only_where_the_plans_work_is_what_is_to_be_done(case: Case) -> None:
    plan, found, due, _, day = case
    told = instruction(*case)
    if told.week_of is not None:
        assert (told.week_of, told.act) == (plan.week_of, plan.action)
        assert told.by == (day if told.order == "treat" else plan.week_of)  # what is wet is treated today
        assert day != SUMMER or not (found or due)
    assert told.at_once == (told.week_of is None and told.order != "leave")


def test_without_anything_else_the_plan_is_the_instruction() -> None:
    for action in get_args(Action):
        plan = planned(action)
        told = instruction(plan, (), None, "leave", SUMMER)
        assert (told.act, told.week_of, told.source, told.reasons) == (action, plan.week_of, "plan", ("planned",))


def test_each_says_from_which_rule_it_comes_and_by_when() -> None:
    rebuild = planned("rebuild")
    told = {
        found: instruction(rebuild, found, None, "leave", SUMMER)
        for found in ((RATTLED,), (WET,), (LATE,), (WET, MILKY))
    }
    assert [one.source for one in told.values()] == ["record", "water", "water", "record"]
    assert {one.by for one in told.values()} == {SUMMER}
    assert instruction(rebuild, (), "check", "now", SUMMER).source == "trigger"
    assert instruction(rebuild, (), "check", "soon", SUMMER).by == date(2026, 7, 21)


# All files give the same --------------------------------------------------------------------------------------------

# After the season, before it ends, in its middle, and on a day on which triggers were reached.
DAYS = [SAMPLE_DAY, date(2026, 9, 20), date(2026, 7, 15), date(2026, 8, 10)]
Told = dict[str, tuple[str, date | None]]
WORD = re.compile(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="[\d.]+" yMax="[\d.]+">(.*?)</word>')
UNIT, TO_DO = 1, 3  # columns of the ranked table


@cache
def papers(day: date) -> tuple[Paper, ...]:
    if day == SAMPLE_DAY:
        return tuple(all_papers().values())
    fleet = sample_fleet()
    return fleet.reports(day, (None, *fleet.owners), look_back=False)


def by_work_list(paper: Paper) -> Told:
    sheet = openpyxl.load_workbook(BytesIO(paper.xlsx()))["work list"]
    rows = list(sheet.iter_rows(values_only=True))
    at = next(n for n, row in enumerate(rows) if row[0] == "unit")
    found = [dict(reversed(list(zip(rows[at], row, strict=True)))) for row in rows[at + 1 :]]
    return {row["unit"]: (row["action"], row["week of"].date() if row["week of"] else None) for row in found}


def events(paper: Paper) -> list[Any]:
    return list(icalendar.Calendar.from_ical(paper.ics()).walk("VEVENT"))


def by_calendar(paper: Paper) -> Told:
    """What each event says of its unit; a unit of which there is none but the first is said not to run."""
    told: Told = {}
    for event in events(paper):
        work = re.fullmatch(r"(.*): (S\d{4}) on craft .*", str(event["summary"]))
        if work:
            first, end = event.decoded("dtstart"), event.decoded("dtend")
            week = first if end - first == timedelta(weeks=1) else None
            assert week or (first, end - first) == (paper.content.as_of, timedelta(days=1))
            assert work[2] not in told
            told[work[2]] = (work[1][0].lower() + work[1][1:], week)
    return told


def by_pdf(paper: Paper) -> dict[str, str]:
    """The cell "what to do" of each row of the ranked table."""
    pages = subprocess.run(
        ["pdftotext", "-enc", "UTF-8", "-bbox", "-", "-"], input=paper.pdf(), capture_output=True, check=True
    ).stdout.decode()
    edges = [MARGIN + part * TEXT_WIDTH / sum(RANKED_WIDTHS) for part in accumulate(RANKED_WIDTHS, initial=0)]
    told: dict[str, str] = {}
    unit = ""
    for page in pages.split("<page ")[1:]:
        lines: dict[float, list[tuple[float, str]]] = {}
        for x, y, word in WORD.findall(page):
            lines.setdefault(round(float(y)), []).append((float(x), word))
        for _, words in sorted(lines.items()):
            words.sort()
            first = [word for x, word in words if edges[UNIT] <= x < edges[UNIT + 1]]
            if re.fullmatch(r"\d+", words[0][1]) and first and re.match(r"S\d{4}", first[0]):
                unit = first[0][:5]
                told[unit] = ""
            elif first or words[0][0] < edges[UNIT]:
                unit = ""  # the reasons beneath the row, or another part of the page
            if unit:
                cell = [word for x, word in words if edges[TO_DO] <= x < edges[TO_DO + 1]]
                told[unit] = " ".join([told[unit], *cell]).strip().replace("\N{NO-BREAK SPACE}", " ")
    return told


@pytest.mark.parametrize("day", DAYS)
def test_work_list_calendar_and_print_give_each_unit_the_same_instruction(day: date) -> None:
    if not shutil.which("pdftotext"):
        pytest.skip("no poppler here: install poppler-utils")
    for paper in papers(day):
        listed, dated, printed = by_work_list(paper), by_calendar(paper), by_pdf(paper)
        assert set(listed) == set(printed) == {unit.unit_id for unit in paper.content.units}
        (stop, *_) = [*events(paper), {"summary": ""}]
        stopped = set(re.findall(r"S\d{4}", stop["summary"])) if stop["summary"].startswith("Do not run:") else set()
        for unit, (act, week) in listed.items():
            week_words = f" {week.day} {week:%b %Y}" if week else ""
            assert printed[unit] == act + week_words
            assert (unit in stopped) == act.startswith("do not ")
            if act == "leave" or (unit in stopped and week is None):
                assert unit not in dated
            else:
                assert dated[unit] == (act, week)


def test_the_days_tried_show_units_that_must_not_run_that_are_due_now_and_that_are_planned() -> None:
    acts = {act for day in DAYS for paper in papers(day) for act, _ in by_work_list(paper).values()}
    assert {"do not run; rebuild", "do not run; check before it runs again", "rebuild now", "check now"} <= acts
    assert {"rebuild", "check", "leave"} <= acts


@pytest.mark.parametrize("day", DAYS)
def test_no_file_has_a_second_opinion(day: date) -> None:
    for paper in papers(day):
        book = openpyxl.load_workbook(BytesIO(paper.xlsx()))
        head = next(row for row in book["work list"].iter_rows(values_only=True) if row[0] == "unit")
        assert [name for name in head if name and ("advice" in name or "action" in name)] == ["action"]
        assert "weighed alone" not in paper.answer


@pytest.mark.parametrize("day", DAYS)
def test_what_is_due_now_stands_in_the_answer(day: date) -> None:
    for paper in papers(day):
        for unit, (act, _) in by_work_list(paper).items():
            if act in ("rebuild now", "check now"):
                assert re.search(rf"Now: [^.]*\b{act.split()[0]} [^.;]*{unit}", paper.answer)
            if act.startswith("do not "):
                assert re.match(rf"Do not run [^.]*{unit}[^.]* as ", paper.answer)


@pytest.mark.parametrize("day", DAYS)
def test_work_counted_and_paid_for_is_the_work_that_has_a_week(day: date) -> None:
    for paper in papers(day):
        content, listed = paper.content, by_work_list(paper)
        weeks = [unit.unit_id for _, units in content.by_week() for unit in units]
        assert sorted(weeks) == sorted(unit for unit, (_, week) in listed.items() if week)
        assert content.spent == pytest.approx(sum(u.planned.cost for u in content.units if u.unit_id in weeks))
        rebuilt = [u for u in content.units if u.unit_id in weeks and u.instruction.act == "rebuild"]
        to_come = content.plan.to_come.to_order  # in season: some will not run until the work begins
        assert content.parts.rebuilds == (len(rebuilt) if to_come is None else to_come)

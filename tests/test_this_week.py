"""What needs doing this week: what must not run, water that waits, triggers reached, and the plan's weeks."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from forecaster import Fleet, open_fleet
from forecaster.by_week import ByWeek
from forecaster.instruction import instructions
from forecaster.plan_problem import PlannedAction
from forecaster.report.instruction_wording import what_to_do, why_so
from forecaster.season_triggers import Triggers
from forecaster.this_week import ThisWeek, this_week
from forecaster.unsafe import JUST_NOW_H
from tests.conftest import ROOT

SUMMER, AUTUMN = date(2026, 7, 15), date(2026, 11, 4)  # Wednesdays, in season and off it (settings' defaults)
TODAY = date(2026, 12, 1)
CRAFT = "craft_id,name\nC1,Heron\nC2,Tern\nC3,Gull\n"
FITTINGS = (
    "unit_id,craft_id,fitted_on,hours_at_fitting,removed_on\n"
    "S1,C1,2026-05-01,0,\nS2,C2,2026-05-01,0,\nS3,C3,2026-05-01,0,2026-07-10\n"
)
HOURS = "craft_id,read_on,meter\n" + "".join(
    f"{craft},{day},{hours}\n"
    for craft in ("C1", "C2", "C3")
    for day, hours in (("2026-05-01", 100), ("2026-06-01", 130), ("2026-07-01", 160), ("2026-07-14", 172))
)
WATER = "craft_id,happened_on,kind,treated,treated_within_h\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three craft; the third's unit lies on the shelf since 10 July."""
    for name, text in {"craft": CRAFT, "fittings": FITTINGS, "hours": HOURS}.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    return tmp_path


def noted(folder: Path, as_of: date = SUMMER, **tables: str) -> ThisWeek:
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return open_fleet(folder, TODAY).noted_this_week(as_of)


def told(week: ThisWeek) -> list[tuple[str, str]]:
    return [(task.kind, task.unit_id) for task in week.tasks]


# --- what the records alone say ------------------------------------------------------------------------------------


def test_a_quiet_week_has_nothing_to_do(folder: Path) -> None:
    week = noted(folder)
    assert week.tasks == ()
    assert (week.as_of, week.until) == (SUMMER, SUMMER + timedelta(days=6))
    assert not week.weighed


@pytest.mark.parametrize(
    ("treated", "does"),
    [
        ("no,", "do not start it before it is treated"),
        ("unknown,", "find out whether it was treated; until then do not start it"),
        ("yes,40", "spin it by hand before the next ride"),
    ],
)
def test_water_that_was_not_treated_in_time_waits(folder: Path, treated: str, does: str) -> None:
    water = [
        task for task in noted(folder, water=f"{WATER}C1,2026-07-12,swamped,{treated}\n").tasks if task.kind == "water"
    ]
    assert [(task.unit_id, task.craft_id) for task in water] == [("S1", "C1")]
    assert what_to_do(water[0]).startswith(does)
    assert "on 2026-07-12" in why_so(water[0])
    assert water[0].water_on == date(2026, 7, 12)


def test_water_that_was_treated_within_a_day_is_settled(folder: Path) -> None:
    assert noted(folder, water=f"{WATER}C1,2026-07-12,swamped,yes,3\n").tasks == ()


def test_late_treatment_is_settled_by_a_quiet_spin_since(folder: Path) -> None:
    water = f"{WATER}C1,2026-07-10,swamped,yes,40\n"
    soon, later = (f"unit_id,checked_on,spin\nS1,{day},quiet\n" for day in ("2026-07-12", "2026-07-13"))
    assert told(noted(folder, water=water)) == [("water", "S1")]
    assert told(noted(folder, water=water, checks=soon)) == [("water", "S1")]  # rust cannot be heard within two days
    assert told(noted(folder, water=water, checks=later)) == []


@pytest.mark.parametrize(("day", "counts"), [("2026-07-14", True), ("2026-07-05", True), ("2026-07-01", False)])
def test_water_counts_until_it_was_run_for_ten_hours(folder: Path, day: str, counts: bool) -> None:
    assert JUST_NOW_H == 10.0  # of the 12 h from the reading of 1 July to that of the 14th
    assert (("water", "S1") in told(noted(folder, water=f"{WATER}C1,{day},leak,unknown,\n"))) == counts


def test_a_unit_on_the_shelf_rusts_too(folder: Path) -> None:
    assert ("water", "S3") in told(noted(folder, water=f"{WATER}C3,2026-07-08,swamped,no,\n"))


def test_a_unit_that_was_rebuilt_since_has_no_water_left(folder: Path) -> None:
    rebuilds = "unit_id,opened_on,reason,bearing,outcome\nS1,2026-07-13,water,sound,rebuilt\n"
    assert noted(folder, water=f"{WATER}C1,2026-07-12,swamped,no,\n", rebuilds=rebuilds).tasks == ()


def test_a_unit_that_rattled_must_not_run_and_comes_first(folder: Path) -> None:
    checks = "unit_id,checked_on,spin\nS2,2026-07-13,rattle\n"
    week = noted(folder, water=f"{WATER}C1,2026-07-12,swamped,unknown,\n", checks=checks)
    assert told(week) == [("stop", "S2"), ("water", "S1")]
    assert week.tasks[0].code == "stop, rebuild"


def test_what_is_written_down_later_changes_nothing(folder: Path) -> None:
    before = noted(folder, water=f"{WATER}C1,2026-07-12,swamped,no,\n")
    later = "unit_id,checked_on,spin\nS2,2026-07-16,rattle\n"
    assert noted(folder, water=f"{WATER}C1,2026-07-12,swamped,no,\nC2,2026-07-16,swamped,no,\n", checks=later) == before


# --- triggers ------------------------------------------------------------------------------------------------------


def weighed(
    folder: Path, as_of: date, triggers: Triggers, age_h: float = 72.0, plan: Any = None, remarks: tuple[str, ...] = ()
) -> ThisWeek:
    """The week with given triggers of S1, on a craft that runs 10 h in it; S2 has none."""
    fleet = open_fleet(folder, TODAY)
    costs = ByWeek.of(np.zeros((3, 104)))
    ones: Any = {
        unit: SimpleNamespace(triggers=own, age_h=age_h, rebuild_weeks=costs, check_weeks=costs)
        for unit, own in (("S1", triggers), ("S2", Triggers(None, None)))
    }
    season = fleet.settings.season
    decided = instructions(fleet.histories(as_of), season, ones, {"C1": 10.0, "C2": 10.0, "C3": 10.0}, plan)
    return this_week(as_of, decided.values(), remarks)


@pytest.mark.parametrize(("at", "due"), [(60.0, True), (72.0, True), (82.0, True), (82.2, False), (None, False)])
def test_a_trigger_is_due_once_the_hours_of_the_week_reach_it(folder: Path, at: float | None, due: bool) -> None:
    week = weighed(folder, SUMMER, Triggers(at, None))
    assert told(week) == ([("check", "S1")] if due else [])
    assert week.weighed


def test_a_trigger_says_whether_its_hours_are_run_or_expected(folder: Path) -> None:
    (run,) = weighed(folder, SUMMER, Triggers(70.0, None)).tasks
    (expected,) = weighed(folder, SUMMER, Triggers(80.0, None)).tasks
    assert (run.code, expected.code) == ("check now", "check soon")
    assert why_so(run) == "has run 70 h since rebuild, at which a check in season pays"
    assert why_so(expected).startswith("reaches by 2026-07-21, at the hours expected, 80 h")
    assert (run.age_h, run.at_hours) == (72.0, 70.0)


@pytest.mark.parametrize(("until", "due"), [(SUMMER, True), (SUMMER - timedelta(days=1), False), (None, True)])
def test_a_trigger_that_no_longer_pays_is_not_due(folder: Path, until: date | None, due: bool) -> None:
    week = weighed(folder, SUMMER, Triggers(70.0, None, check_until=until))
    assert [task.pays_until for task in week.tasks] == ([until] if due else [])


def test_a_rebuild_comes_before_a_check_of_the_same_unit(folder: Path) -> None:
    assert told(weighed(folder, SUMMER, Triggers(70.0, 75.0))) == [("rebuild", "S1")]


def test_in_the_week_in_which_the_season_opens_its_triggers_count(folder: Path) -> None:
    assert told(weighed(folder, date(2027, 4, 27), Triggers(70.0, None))) == [("check", "S1")]


# --- the plan ------------------------------------------------------------------------------------------------------


def planned(*actions: PlannedAction) -> Any:
    plan = SimpleNamespace(actions=actions, next_1000=0.0, next_bench_place=0.0, next_spare_unit=0.0)
    return SimpleNamespace(plan=plan, because={"S1": ("aftermarket parts",)}, triggers={})


@pytest.mark.parametrize(
    ("monday", "this"), [(date(2026, 11, 2), False), (date(2026, 11, 9), True), (date(2026, 11, 16), False)]
)
def test_the_plans_week_that_begins_within_seven_days_is_this_weeks(folder: Path, monday: date, this: bool) -> None:
    plan = planned(PlannedAction("S1", "C1", "rebuild", monday, 650.0, 100.0))
    week = weighed(folder, AUTUMN, Triggers(None, None), plan=plan)
    assert told(week) == ([("rebuild", "S1")] if this else [])


def test_the_plans_work_says_why(folder: Path) -> None:
    plan = planned(
        PlannedAction("S1", "C1", "check", date(2026, 11, 9), 60.0, 20.0),
        PlannedAction("S2", "C2", "leave", None, 0, 0),
    )
    (task,) = weighed(folder, AUTUMN, Triggers(None, None), plan=plan).tasks
    assert why_so(task) == "planned for the week of 2026-11-09: aftermarket parts"
    assert task.week_of == task.by == date(2026, 11, 9)


def test_off_season_no_trigger_of_the_coming_season_is_due(folder: Path) -> None:
    assert weighed(folder, AUTUMN, Triggers(10.0, 10.0), plan=planned()).tasks == ()


def test_where_no_whole_week_is_left_before_the_season_that_is_told(sample: Fleet) -> None:
    week = sample.this_week(date(2026, 4, 28))
    (remark,) = week.remarks
    assert remark.startswith("Nothing is planned: No whole week lies between 2026-04-28 and 2026-05-01")
    assert all(task.week_of is None for task in week.tasks)


# --- the whole -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sample() -> Fleet:
    return open_fleet(ROOT / "sample_fleet", TODAY)


def test_triggers_are_those_that_each_unit_is_weighed_with(sample: Fleet) -> None:
    day = date(2026, 8, 20)
    said = {(task.kind, task.unit_id) for task in sample.this_week(day).tasks if task.source == "trigger"}
    decisions = sample.decisions(day)
    expected = set()
    for unit_id in sample.histories(day).in_service().lives["unit_id"]:
        found, ahead = decisions.waiting(unit_id).triggers, decisions.ahead(unit_id)
        craft_id = decisions.unit(unit_id).lives["craft_id"].iloc[0]
        then = ahead.age_h + decisions.weekly_hours[craft_id][0]
        if found.rebuild_at_hours is not None and found.rebuild_at_hours <= then:
            expected.add(("rebuild", unit_id))
        elif found.check_at_hours is not None and found.check_at_hours <= then:
            expected.add(("check", unit_id))
    assert said == expected
    assert expected


def test_a_question_asked_again_is_not_worked_out_again(sample: Fleet) -> None:
    day, said = date(2026, 8, 20), []
    first = sample.this_week(day)
    assert sample.this_week(day, progress=said.append) == first
    assert said == []


def test_what_the_records_alone_say_is_part_of_the_whole(sample: Fleet) -> None:
    day = date(2026, 8, 20)
    noted, whole = sample.noted_this_week(day), sample.this_week(day)
    assert {(task.unit_id, task.order) for task in noted.tasks} <= {(task.unit_id, task.order) for task in whole.tasks}
    assert (noted.weighed, whole.weighed) == (False, True)

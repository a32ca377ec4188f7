"""One rule says "do not run this unit": every face that stops some names the same ones, for the same reasons."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from icalendar import Calendar

from forecaster import Fleet, flooding_of, open_fleet
from forecaster.report.compare_text import compare_json, compare_text
from forecaster.report.instruction_wording import why_so
from forecaster.report.plan_text import plan_json, plan_text
from forecaster.report.text import Page
from forecaster.written_days import written_day
from tests.opened_screen import bare, open_screen, spaced

ISO = r"\d{4}-\d{2}-\d{2}"
AS_OF = date(2026, 7, 15)
UNITS = ("S1", "S2", "S3", "S4", "S5", "S6", "S7", "S8")
STOPPED = {
    "S1": "rattled when spun by hand on 2026-07-01, 12 h ago",  # spun quiet since, which undoes nothing
    "S2": "oil milky on 2026-07-10, 4 h ago, not clear since; "
    "water of unknown treatment on 2026-07-10, 4 h ago, not spun since",
    "S3": "found rough and put back on 2026-07-01, 12 h ago",
    "S8": "untreated water on 2026-07-12, 3 h ago, not spun since",
}
LOOKED_AT_FIRST = {"S4": "water treated late on 2026-07-12, 3 h ago, not spun since"}
# S5 made a little noise; S6's milky oil was changed until clear within hours; S7 rattled, and was found sound.
TABLES = {
    "craft": "craft_id,name\n" + "".join(f"C{n},Craft {n}\n" for n in range(1, 9)),
    "fittings": "unit_id,craft_id,fitted_on,hours_at_fitting\n"
    + "".join(f"S{n},C{n},2026-05-01,0\n" for n in range(1, 9)),
    "hours": "craft_id,read_on,meter\n"
    + "".join(
        f"C{n},{day},{meter}\n"
        for n in range(1, 9)
        for day, meter in (("2026-05-01", 100), ("2026-06-01", 130), ("2026-07-01", 160), ("2026-07-15", 172))
    ),
    "checks": "unit_id,checked_on,spin\nS1,2026-07-01,rattle\nS1,2026-07-12,quiet\nS5,2026-07-12,slight\n"
    "S7,2026-07-01,rattle\n",
    "water": "craft_id,happened_on,kind,oil,treated,treated_within_h\nC2,2026-07-10,swamped,milky,unknown,\n"
    "C4,2026-07-12,swamped,clear,yes,40\nC8,2026-07-12,swamped,clear,no,\nC6,2026-07-10,swamped,milky,yes,3\n",
    "rebuilds": "unit_id,opened_on,reason,bearing,outcome\nS3,2026-07-01,check,rough,closed\n"
    "S7,2026-07-10,check,sound,closed\n",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("fleets") / "do_not_run"
    place.mkdir()
    for name, text in TABLES.items():
        (place / f"{name}.csv").write_text(text, encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def fleet(folder: Path) -> Fleet:
    return open_fleet(folder, AS_OF)


def by_week(fleet: Fleet) -> dict[str, str]:
    return {task.unit_id: why_so(task) for task in fleet.this_week(AS_OF).tasks if task.stops}


def by_what_the_records_say_alone(fleet: Fleet) -> dict[str, str]:
    return {task.unit_id: why_so(task) for task in fleet.noted_this_week(AS_OF).tasks if task.stops}


def by_forecast(fleet: Fleet) -> dict[str, str]:
    units = fleet.forecast(AS_OF).units
    told = {unit.unit_id: [why.split(": do not ")[0] for why in unit.because if ": do not " in why] for unit in units}
    return {unit_id: "; ".join(stops) for unit_id, stops in told.items() if stops}


def by_plan(fleet: Fleet) -> dict[str, str]:
    return {unit: "; ".join(reasons) for unit, reasons in fleet.plan(AS_OF).stop.items()}


def by_plan_for_programs(fleet: Fleet) -> dict[str, str]:
    answer = fleet.plan(AS_OF)
    told = plan_json(answer, fleet.instructions_by(answer))["actions"]
    return {one["unit_id"]: "; ".join(one["stop"]) for one in told if one["stop"]}


def by_now_or_later(fleet: Fleet) -> dict[str, str]:
    told = {unit: fleet.now_or_later(unit, AS_OF).stop for unit in UNITS}
    return {unit: "; ".join(reasons) for unit, reasons in told.items() if reasons}


def by_comparison(fleet: Fleet) -> dict[str, str]:
    told = {unit: compare_json(fleet.now_or_later(unit, AS_OF), ())["stop"] for unit in UNITS}
    return {unit: "; ".join(reasons) for unit, reasons in told.items() if reasons}


def by_after_water(fleet: Fleet) -> dict[str, str]:
    """Asked of water that by itself is no reason to stop: the engine was off, and nothing else is told."""
    stops = {}
    for unit in UNITS:
        answer = fleet.after_water(f"C{unit[1:]}", flooding_of(happened_on=AS_OF, engine="off"), AS_OF)
        if answer.stop:
            stops[unit] = "; ".join(stop.found or stop.code for stop in answer.stops)
    return stops


FACES = (
    by_week,
    by_what_the_records_say_alone,
    by_forecast,
    by_plan,
    by_plan_for_programs,
    by_now_or_later,
    by_comparison,
)


@pytest.mark.parametrize("face", FACES)
def test_every_face_stops_the_same_units_for_the_same_reasons(
    fleet: Fleet, face: Callable[[Fleet], dict[str, str]]
) -> None:
    assert face(fleet) == STOPPED


def test_after_water_stops_them_too_and_names_of_all_water_of_unknown_treatment_the_one_asked_about(
    fleet: Fleet,
) -> None:
    assert by_after_water(fleet) == {unit: why.split("; ")[0] for unit, why in STOPPED.items()}


def test_what_a_command_prints_stops_them_before_all_else(fleet: Fleet) -> None:
    answer = fleet.plan(AS_OF)
    plan = plan_text(answer, fleet.instructions_by(answer), Page(200))
    _, second, *_ = plan.split("\n\n")
    assert [line.split(":")[0].removeprefix("- ") for line in second.splitlines()[1:]] == list(STOPPED)
    for unit in UNITS:
        first = compare_text(fleet.now_or_later(unit, AS_OF), (), "USD", Page(200)).split("\n\n")[0]
        assert first.startswith(f"Do not run {unit} as it is") == (unit in STOPPED)


def with_days(reason: str) -> str:
    """A reason as a screen writes its days."""
    return re.sub(ISO, lambda day: spaced(written_day(date.fromisoformat(day[0]))), reason)


@pytest.mark.parametrize("screen", ["screens/fleet_today.py", "screens/off_season_plan.py"])
def test_a_screen_stops_them_above_everything(folder: Path, monkeypatch: pytest.MonkeyPatch, screen: str) -> None:
    app = open_screen(monkeypatch, folder, screen, as_of=AS_OF.isoformat())
    (stop,) = (bare(error.value) for error in app.error)
    assert stop.startswith("**Do not run as it is:**")
    named = [unit for unit in STOPPED if unit in stop]
    assert len(named) == (3 if "more unit" in stop else len(STOPPED))  # the rest is counted, and stands in the list
    assert all(with_days(STOPPED[unit]) in stop for unit in named)


def test_the_paper_stops_them_first_and_tells_the_one_to_be_checked_from_them(fleet: Fleet) -> None:
    paper = fleet.report(AS_OF, look_back=False)
    written = {
        unit: re.sub(ISO, lambda day: written_day(date.fromisoformat(day[0])), why) for unit, why in STOPPED.items()
    }
    assert {unit.unit_id: "; ".join(unit.stop) for unit in paper.content.stopped} == written
    assert paper.answer.startswith("Do not run S1, S2, S3 and S8 as they are. Before the next ride: check S4.")
    codes = {unit.unit_id: unit.instruction.code for unit in paper.content.units}
    assert codes["S4"] == "check first"
    assert {codes[unit] for unit in STOPPED} == {"stop, rebuild", "stop, check", "treat, check"}
    events = [str(event["summary"]) for event in Calendar.from_ical(paper.ics()).walk("VEVENT")]
    assert events[0] == "Do not run: S1 (C1), S2 (C2), S3 (C3), S8 (C8)"
    assert "Check before the next ride: S4 on craft C4, Craft 4" in events
    assert not any("S4" in remark for remark in paper.content.remarks)  # its instruction says it, once


# --- to be checked before the next ride ----------------------------------------------------------------------------


def test_water_treated_late_stops_nothing_and_asks_every_face_for_a_check(fleet: Fleet) -> None:
    ((unit, why),) = LOOKED_AT_FIRST.items()
    noted = [task for task in fleet.noted_this_week(AS_OF).tasks if not task.stops]
    assert [(task.unit_id, task.code, why_so(task)) for task in noted] == [(unit, "look first", why)]
    assert f"{why}: check before the next ride" in fleet.forecast(AS_OF).unit(unit).because
    assert f"Check {unit} before its next ride, whatever is planned: {why}." in fleet.plan(AS_OF).remarks
    assert {one: found for one in UNITS if (found := fleet.now_or_later(one, AS_OF).check_first)} == {unit: (why,)}
    assert compare_json(fleet.now_or_later(unit, AS_OF), ())["check_first"] == [why]
    text = compare_text(fleet.now_or_later(unit, AS_OF), (), "USD", Page(200))
    assert text.startswith(f"Check {unit} before its next ride:\n- {why}\n")


def test_the_screen_of_costs_asks_for_that_check_before_them(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = open_screen(monkeypatch, folder, "screens/now_or_later.py", unit="S4", as_of=AS_OF.isoformat())
    assert not app.error
    assert bare(app.warning[0].value) == f"**Check S4 before its next ride:** {with_days(LOOKED_AT_FIRST['S4'])}."


# --- after water, a unit that was unsafe before --------------------------------------------------------------------


def test_after_water_a_unit_that_rattled_before_is_opened_whatever_it_sounds_like_now(fleet: Fleet) -> None:
    quiet = flooding_of(happened_on=AS_OF, engine="off", treated="yes", treated_within_h=1.0, oil="clear", spin="quiet")
    answer = fleet.after_water("C1", quiet, AS_OF)
    assert (answer.stop, answer.best.action) == (True, "open")
    opened = [step.when for step in answer.steps if step.code == "open_supercharger"]
    assert opened == ["now"]
    assert not fleet.after_water("C7", quiet, AS_OF).stop  # found sound since it rattled


def test_after_water_a_rattle_that_is_told_is_not_told_twice(fleet: Fleet) -> None:
    rattling = flooding_of(happened_on=AS_OF, engine="off", oil="clear", spin="rattle")
    (stop,) = fleet.after_water("C1", rattling, AS_OF).stops
    assert stop.code == "rattle"

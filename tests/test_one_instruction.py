"""One unit on one day has one instruction, whichever face is asked; laws over many combinations of what is recorded."""

from __future__ import annotations

import random
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from forecaster import Fleet, Instruction, flooding_of
from forecaster.instruction_codes import GRAVEST_FIRST, LEAST_FIRST, Code, code_on_record
from forecaster.problems import Reading
from forecaster.records import FleetRecords
from forecaster.report import instruction_wording
from forecaster.report.as_json import forecast_json
from forecaster.report.compare_text import compare_json
from forecaster.report.flooding_text import flooding_json
from forecaster.report.plan_text import plan_json
from forecaster.settings import FleetSettings
from forecaster.unsafe import found_unsafe
from tests.conftest import ROOT
from tests.small_fleet import frame_of

SUMMER, AUTUMN = date(2026, 7, 15), date(2026, 10, 28)  # in season and off it (settings' defaults)
OPENED, CLOSED = date(2026, 5, 1), date(2026, 10, 15)
DAYS_AGO = (0, 1, 2, 3, 7, 13, 14, 20)
UNITS = 20  # of each fleet: so many combinations at a time


@dataclass(frozen=True)
class Told:
    """What is recorded of one unit."""

    kind: str | None = None  # of water; None: none came
    treated: str = "no"
    within: float | None = None
    days_ago: int = 1
    spin_after: str | None = None
    spin_before: str | None = None
    milky: bool = False
    rattle: bool = False
    opened_since: bool = False
    hours: float = 60.0  # since rebuild
    runs: float = 6.0  # engine hours a week


TREATMENTS = (("no", None), ("unknown", None), ("yes", 3.0), ("yes", 40.0), ("yes", None))
COMBINATIONS = [
    Told(kind, treated, within, days, after, before, milky, rattle, opened, hours, runs)
    for kind, (treated, within), days, after, before, milky, rattle, opened, hours, runs in product(
        (None, "swamped", "submerged"),
        TREATMENTS,
        DAYS_AGO,
        (None, "quiet", "slight"),
        (None, "quiet"),
        (False, True),
        (False, True),
        (False, True),
        (20.0, 120.0, 400.0),
        (0.3, 6.0, 14.0),
    )
    if within is None
    or within <= 24.0 * (days + 1 / 2)  # else it was not treated yet: what is written later is an event
]


def fleet_of(units: list[Told], as_of: date, budget: float | None = None) -> Fleet:
    """A fleet with one craft for each unit."""
    tables: dict[str, list[dict[str, Any]]] = {
        name: [] for name in ("craft", "fittings", "hours", "water", "checks", "rebuilds")
    }
    for number, unit in enumerate(units, 1):
        _record(f"S{number:02}", f"C{number:02}", unit, as_of, tables)
    _record_what_taught(tables)
    settings = FleetSettings.model_validate({"bench": {} if budget is None else {"budget": budget}})
    frames = {name: frame_of(name, rows) for name, rows in tables.items()}
    return Fleet(Reading(FleetRecords(**frames, settings=settings, name="told")))


def _record(unit_id: str, craft_id: str, unit: Told, as_of: date, tables: dict[str, list[dict[str, Any]]]) -> None:
    days = [OPENED + timedelta(weeks=week) for week in range((as_of - OPENED).days // 7 + 1)]
    meter = {day: 100.0 + unit.runs * (min(day, CLOSED) - OPENED).days / 7 for day in {*days, as_of}}
    began = max(unit.hours - (meter[as_of] - 100.0), 0.0)
    tables["craft"].append({"craft_id": craft_id, "water": "salt", "day_rate": 280.0})
    tables["fittings"].append(
        {"unit_id": unit_id, "craft_id": craft_id, "fitted_on": OPENED, "hours_at_fitting": began}
    )
    tables["hours"] += [{"craft_id": craft_id, "read_on": day, "meter": meter[day]} for day in sorted(meter)]
    happened = as_of - timedelta(days=unit.days_ago)
    if unit.kind is not None:
        water = {"craft_id": craft_id, "happened_on": happened, "kind": unit.kind, "treated": unit.treated}
        tables["water"].append(water | {"treated_within_h": unit.within, "oil": "milky" if unit.milky else "clear"})
    if unit.opened_since:
        opened = {"unit_id": unit_id, "opened_on": as_of, "reason": "check", "bearing": "sound", "outcome": "closed"}
        tables["rebuilds"].append(opened)
    for spin, day in ((unit.spin_before, happened - timedelta(days=9)), (unit.spin_after, as_of)):
        if spin is not None:
            tables["checks"].append({"unit_id": unit_id, "checked_on": day, "spin": spin})
    if unit.rattle:
        rattled = {"unit_id": unit_id, "checked_on": as_of - timedelta(days=4), "spin": "rattle"}
        tables["checks"].append(rattled)


def _record_what_taught(tables: dict[str, list[dict[str, Any]]]) -> None:
    """Units of the year before, whose bearings failed: without them nothing would be worth a rebuild."""
    first, failed = date(2025, 5, 1), date(2025, 9, 1)
    for number, hours in enumerate(range(60, 220, 10), 1):
        unit, craft = {"unit_id": f"F{number:02}"}, {"craft_id": f"K{number:02}"}
        tables["craft"].append(craft | {"water": "salt", "day_rate": 280.0})
        fitted = {"fitted_on": first, "hours_at_fitting": 0.0, "removed_on": failed}
        tables["fittings"].append(unit | craft | fitted)
        tables["hours"] += [
            craft | {"read_on": day, "meter": at} for day, at in ((first, 10.0), (failed, 10.0 + hours))
        ]
        opened = {"opened_on": failed, "reason": "failure", "bearing": "failed", "outcome": "scrapped"}
        tables["rebuilds"].append(unit | opened)


def some(seed: int) -> list[Told]:
    """So many of the combinations, those with water more often than not."""
    return random.Random(seed).sample(COMBINATIONS, UNITS)


@cache
def asked(seed: int, as_of: date, budget: float | None) -> Fleet:
    return fleet_of(some(seed), as_of, budget)


FLEETS = [(1, SUMMER, None), (2, SUMMER, 0.0), (3, AUTUMN, None), (4, AUTUMN, 0.0), (5, AUTUMN, 3_000.0)]
each_fleet = pytest.mark.parametrize(("seed", "as_of", "budget"), FLEETS)
Codes = dict[str, str]


# --- every face says the same --------------------------------------------------------------------------------------


def by_the_core(fleet: Fleet, as_of: date) -> Codes:
    return {unit_id: told.code for unit_id, told in fleet.instructions(as_of).items()}


def by_plan(fleet: Fleet, as_of: date) -> Codes:
    answer = fleet.plan(as_of)
    actions = plan_json(answer, fleet.instructions_by(answer))["actions"]
    return {one["unit_id"]: one["instruction"]["code"] for one in actions}


def by_comparison(fleet: Fleet, as_of: date) -> Codes:
    units = fleet.histories(as_of).in_service().lives["unit_id"]
    return {unit: compare_json(fleet.now_or_later(unit, as_of), ())["instruction"]["code"] for unit in units}


def by_paper(fleet: Fleet, as_of: date) -> Codes:
    paper = fleet.report(as_of, look_back=False)
    return {unit.unit_id: unit.instruction.code for unit in paper.content.units}


@each_fleet
@pytest.mark.parametrize("face", [by_plan, by_comparison, by_paper])
def test_every_face_gives_the_instruction_of_the_core(
    face: Callable[[Fleet, date], Codes], seed: int, as_of: date, budget: float | None
) -> None:
    fleet = asked(seed, as_of, budget)
    assert face(fleet, as_of) == by_the_core(fleet, as_of)


@each_fleet
def test_this_weeks_tasks_are_the_instructions_of_the_week(seed: int, as_of: date, budget: float | None) -> None:
    fleet = asked(seed, as_of, budget)
    week, all_of_them = fleet.this_week(as_of), fleet.instructions(as_of)
    assert all(all_of_them[task.unit_id] == task for task in week.tasks)
    left_out = set(all_of_them) - {task.unit_id for task in week.tasks}
    for told in (all_of_them[unit_id] for unit_id in left_out):
        assert told.code == "leave" or (told.week_of is not None and not as_of <= told.week_of <= week.until)


@each_fleet
def test_the_records_alone_say_nothing_that_the_whole_takes_back(seed: int, as_of: date, budget: float | None) -> None:
    fleet = asked(seed, as_of, budget)
    whole = fleet.instructions(as_of)
    for unit_id, told in fleet.instructions_on_record(as_of).items():
        if told.order != "unweighed":
            assert (whole[unit_id].order, whole[unit_id].reasons[: len(told.reasons)]) == (told.order, told.reasons)
        assert told.act in (None, whole[unit_id].act)


@each_fleet
def test_the_forecast_says_what_the_records_alone_say(seed: int, as_of: date, budget: float | None) -> None:
    fleet = asked(seed, as_of, budget)
    on_record = fleet.instructions_on_record(as_of)
    for unit in forecast_json(fleet.forecast(as_of))["units"]:
        assert unit["instruction"] == on_record[unit["unit_id"]].code
        assert unit["advice"] == instruction_wording.CODE_WORDS[unit["instruction"]]


def recorded_water(units: list[Told], as_of: date) -> Iterator[tuple[str, str, date, Told]]:
    for number, unit in enumerate(units, 1):
        if unit.kind is not None:
            yield f"S{number:02}", f"C{number:02}", as_of - timedelta(days=unit.days_ago), unit


@each_fleet
def test_after_water_that_is_recorded_gives_the_same_act(seed: int, as_of: date, budget: float | None) -> None:
    fleet = asked(seed, as_of, budget)
    whole = fleet.instructions(as_of)
    for unit_id, craft_id, day, _ in recorded_water(some(seed), as_of):
        answer = fleet.after_water(craft_id, flooding_of(happened_on=day, engine="off"), as_of)
        told = flooding_json(answer, "USD")
        assert not told["told_now"]
        assert told["instruction"]["code"] == whole[unit_id].code
        assert answer.best.action == {"rebuild": "open", "check": "check", "leave": "ride"}[whole[unit_id].act or ""]
        assert (answer.order in ("stop", "do_not_start")) == whole[unit_id].stops
        assert answer.best.action != "ride" or whole[unit_id].order in ("leave", "treat")


@pytest.mark.parametrize("as_of", [SUMMER, AUTUMN])
@pytest.mark.parametrize("treated", ["no", "unknown", "yes"])
def test_what_after_water_is_told_now_is_what_all_say_once_it_is_written_down(as_of: date, treated: str) -> None:
    dry = [Told(hours=hours) for hours in (20.0, 120.0, 260.0)]
    within = 2.0 if treated == "yes" else None
    for number in (1, 3):
        water = flooding_of(
            happened_on=as_of, engine="off", water="salt", oil="clear", treated=treated, treated_within_h=within
        )
        answer = fleet_of(dry, as_of).after_water(f"C{number:02}", water, as_of)
        wet = list(dry)
        wet[number - 1] = replace(dry[number - 1], kind="submerged", treated=treated, within=within, days_ago=0)
        records = fleet_of(wet, as_of).records
        records.water["water"] = "salt"
        once_written = Fleet(Reading(records)).instructions(as_of)[f"S{number:02}"]
        assert answer.told_now
        assert answer.instruction is not None
        assert (answer.instruction.code, answer.instruction.by) == (once_written.code, once_written.by)


def test_after_water_what_the_records_cannot_hold_stops_it_here() -> None:
    fleet = fleet_of([Told(kind="submerged", treated="yes", within=2.0)], SUMMER)
    day = SUMMER - timedelta(days=1)
    answer = fleet.after_water("C01", flooding_of(happened_on=day, engine="running", under_minutes=5.0), SUMMER)
    assert answer.instruction is not None
    assert (answer.instruction.order, answer.stop) == ("stop", True)
    assert answer.best.action != "ride"


def test_of_a_large_fleet_after_water_waits_for_no_plan_and_is_no_milder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("forecaster.fleet.PLANNED_FOR_ONE_UNIT", 0)
    monkeypatch.setattr(Fleet, "plan", lambda *_, **__: pytest.fail("the plan was asked"))
    fleet = fleet_of([Told(kind="submerged", hours=20.0), Told()], SUMMER)
    answer = fleet.after_water("C01", flooding_of(happened_on=SUMMER - timedelta(days=1), engine="off"), SUMMER)
    assert answer.instruction is not None
    assert (answer.instruction.code, answer.order) == ("treat", "do_not_start")
    assert answer.best.action != "ride"


def test_what_the_records_alone_say_brings_neither_plan_nor_solver_along() -> None:
    script = (
        "import sys; from datetime import date; from forecaster import open_fleet;"
        "open_fleet('sample_fleet', date(2026, 12, 1)).instructions_on_record(date(2026, 11, 1));"
        "print([name for name in sys.modules if name in ('forecaster.plan', 'forecaster.waiting', 'scipy.optimize')])"
    )
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=True)
    assert told.stdout == "[]\n"


# --- what gets graver, and what must not get milder ----------------------------------------------------------------


def gravity(told: Instruction) -> tuple[int, int]:
    """Order and act as numbers: higher is graver."""
    return -GRAVEST_FIRST.index(told.order), LEAST_FIRST.index(told.act or "leave")


@each_fleet
def test_what_must_not_run_today_must_not_run_tomorrow_unless_something_happens(
    seed: int, as_of: date, budget: float | None
) -> None:
    fleet = asked(seed, as_of, budget)
    today, tomorrow = (fleet.instructions(as_of + timedelta(days=n)) for n in (0, 1))
    stopped = {unit_id for unit_id, told in today.items() if told.stops}
    assert stopped
    assert stopped <= {unit_id for unit_id, told in tomorrow.items() if told.stops}


@pytest.mark.parametrize("as_of", [SUMMER, AUTUMN])
@pytest.mark.parametrize("days", [1, 13, 14, 20, 60])
def test_water_that_nobody_dealt_with_is_not_forgotten(as_of: date, days: int) -> None:
    still = Told(kind="submerged", treated="no", days_ago=days, runs=0.3)
    assert fleet_of([still], as_of).instructions(as_of)["S01"].order == "treat"


MORE: dict[str, dict[str, Any]] = {
    "untreated water": {"kind": "submerged", "treated": "no", "days_ago": 1},
    "water of unknown treatment": {"kind": "swamped", "treated": "unknown", "days_ago": 3},
    "water treated late": {"kind": "swamped", "treated": "yes", "within": 40.0, "days_ago": 3},
    "a rattle": {"rattle": True},
    "milky oil after water": {"kind": "swamped", "treated": "no", "milky": True, "days_ago": 1},
}


@pytest.mark.parametrize("as_of", [SUMMER, AUTUMN])
@pytest.mark.parametrize("what", MORE)
def test_one_thing_more_on_record_never_makes_an_instruction_milder(as_of: date, what: str) -> None:
    units = [Told(hours=hours) for hours in (0.0, 60.0, 120.0, 180.0, 260.0, 400.0)]
    before = fleet_of(units, as_of).instructions(as_of)
    for at, unit in enumerate(units):
        more = [*units[:at], replace(unit, **MORE[what]), *units[at + 1 :]]
        after = fleet_of(more, as_of).instructions(as_of)[f"S{at + 1:02}"]
        assert all(now >= then for now, then in zip(gravity(after), gravity(before[f"S{at + 1:02}"]), strict=True))


@each_fleet
def test_safety_comes_before_the_plan_whatever_the_budget(seed: int, as_of: date, budget: float | None) -> None:
    fleet = asked(seed, as_of, budget)
    units = fleet.histories(as_of).in_service()
    unsafe = found_unsafe(units)
    told = fleet.instructions(as_of)
    for unit_id, life_id in zip(units.lives["unit_id"], units.lives["life_id"], strict=True):
        found = unsafe.get(life_id, ())
        assert told[unit_id].stops == any(one.stops for one in found)
        assert all(LEAST_FIRST.index(told[unit_id].act or "leave") >= LEAST_FIRST.index(one.act) for one in found)
        if found:
            assert told[unit_id].order == next(o for o in GRAVEST_FIRST if o in {one.asks for one in found})
            assert told[unit_id].code.startswith(code_on_record(found).split(",")[0].split()[0]) or not found[0].stops


# --- the combinations show what they are for -----------------------------------------------------------------------


def test_the_fleets_asked_have_every_order_but_those_of_triggers() -> None:
    orders = {told.order for one in FLEETS for told in asked(*one).instructions(one[1]).values()}
    assert {"stop", "treat", "first", "week", "leave"} <= orders


def test_a_hand_changed_plan_is_what_counts() -> None:
    fleet = fleet_of([Told(hours=400.0, runs=14.0), Told(hours=20.0)], AUTUMN)
    best = fleet.instructions(AUTUMN)
    made = fleet.plan_with({"S01": _leave()}, AUTUMN)
    by_hand = fleet.instructions_by(made.answer)
    assert (best["S01"].code, by_hand["S01"].code) == ("rebuild", "leave")
    assert by_hand["S02"].code == best["S02"].code


def _leave() -> Any:
    from forecaster import PlanEdit

    return PlanEdit("leave", None)


# --- words are in the wording room alone ---------------------------------------------------------------------------


def test_other_words_change_nothing_that_is_decided(monkeypatch: pytest.MonkeyPatch) -> None:
    def answers() -> list[Any]:
        fleet = fleet_of(some(3), AUTUMN)
        told = fleet.instructions(AUTUMN)
        week = [(task.unit_id, task.kind, task.by) for task in fleet.this_week(AUTUMN).tasks]
        content = fleet.report(AUTUMN, look_back=False).content
        paper = [(unit.unit_id, unit.instruction.at_once) for unit in content.units]
        water = [
            (answer.best.action, [step.code for step in answer.steps])
            for _, craft_id, day, _ in recorded_water(some(3), AUTUMN)
            if (answer := fleet.after_water(craft_id, flooding_of(happened_on=day, engine="off"), AUTUMN))
        ]
        return [{unit: one.code for unit, one in told.items()}, week, paper, content.spent, water]

    as_they_are = answers()
    for table in ("CODE_WORDS", "DO_WORDS", "LEGEND_WORDS", "ACT_WORDS"):
        reworded = {code: f"word {n}" for n, code in enumerate(getattr(instruction_wording, table))}
        for code, words in reworded.items():
            monkeypatch.setitem(getattr(instruction_wording, table), code, words)
    assert answers() == as_they_are


def test_no_other_room_or_screen_holds_the_words_of_an_instruction() -> None:
    own = ROOT / "forecaster" / "report" / "instruction_wording.py"
    told = [words for words in instruction_wording.CODE_WORDS.values() if len(words.split()) > 2]
    files = [*(ROOT / "forecaster").rglob("*.py"), *(ROOT / "dashboard").rglob("*.py")]
    code = {_name(file): _code(file) for file in files if file not in (own, RECORDS_OWN)}
    assert [(name, words) for name, text in code.items() for words in told if f'"{words}"' in text] == []


RECORDS_OWN = ROOT / "forecaster" / "unsafe.py"  # why a unit must not run, in the record's own words


def _code(file: Path) -> str:
    """A file's code without its docstrings."""
    return re.sub(r'""".*?"""', "", file.read_text(encoding="utf-8"), flags=re.DOTALL)


def _name(file: Path) -> str:
    return str(file.relative_to(ROOT))


def test_every_code_has_words() -> None:
    codes = set(Code.__args__)  # type: ignore[attr-defined]
    assert set(instruction_wording.CODE_WORDS) == set(instruction_wording.DO_WORDS) == codes
    assert len(set(instruction_wording.CODE_WORDS.values())) == len(codes)

"""Questions asked in Python with days and numbers that nobody means: the same ranges hold as on the command line."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecaster import Fleet, flooded_alone, flooding_of, open_fleet, read_fleet, sample_fleet_folder, simulate_fleet
from forecaster.errors import ForecasterError, ModelError, WrongUsage
from forecaster.flooding_facts import Flooding
from forecaster.opened_unit import Finding, finding_of
from forecaster.plan_by_hand import PlanEdit
from forecaster.plan_limits import RANGES, PlanWishes, limits_of
from forecaster.prices import Prices
from forecaster.told_numbers import told_numbers
from tests.conftest import SAMPLE_DAY

DAYS = (date.min, date(1989, 12, 31), date(2101, 1, 1), date.max, datetime(2026, 11, 1), pd.Timestamp(2026, 11, 1))
NO_DAYS = (*DAYS, "2026-11-01", None, 20261101, float("nan"))
NO_NUMBERS = (True, False, "50", None, [50.0], np.nan, np.inf, -np.inf, -1.0, 1e308, 10**400, 1e-320, -1e-320)
UNIT, CRAFT = "S0034", "C001"
WATER = flooding_of(happened_on=SAMPLE_DAY)


# What a question of Fleet needs besides its day.
NEEDED: dict[str, tuple[Any, ...]] = {
    "curve": (UNIT,),
    "timeline": (UNIT,),
    "now_or_later": (UNIT,),
    "after_water": (CRAFT, WATER),
    "plan_with": ({},),
    "read_changes": (b"unit_id,action,week_of,note\r\n", "changes.csv"),
}
QUESTIONS = sorted(
    name
    for name, method in inspect.getmembers(Fleet, inspect.isfunction)
    if not name.startswith("_") and "as_of" in inspect.signature(method).parameters
)


def test_questions_of_a_day_were_found() -> None:
    assert {"forecast", "plan", "now_or_later", "slip", "backtest", "reports", "prices", "off_season"} <= set(QUESTIONS)


@pytest.mark.parametrize("name", QUESTIONS)
@pytest.mark.parametrize("day", NO_DAYS, ids=map(str, NO_DAYS))
def test_every_question_refuses_a_day_outside_of_the_span(sample: Fleet, name: str, day: Any) -> None:
    with pytest.raises(WrongUsage, match=r"must lie between 1990-01-01 and 2100-12-31|must be a date without a time"):
        getattr(sample, name)(*NEEDED.get(name, ()), as_of=day)


@pytest.mark.parametrize("day", NO_DAYS, ids=map(str, NO_DAYS))
def test_so_does_whoever_opens_a_fleet(day: Any) -> None:
    for opens in (open_fleet, read_fleet):
        with pytest.raises(WrongUsage, match="The day up to which rows are read must"):
            opens(sample_fleet_folder(), day)


@pytest.mark.parametrize("day", NO_DAYS, ids=map(str, NO_DAYS))
def test_so_does_a_craft_without_records(day: Any) -> None:
    with pytest.raises(WrongUsage):
        flooded_alone(WATER, day)


# --- numbers ----------------------------------------------------------------------------------------------------------

ASKS_HOURS: dict[str, Callable[[Fleet, Any], Any]] = {
    "forecast": lambda fleet, hours: fleet.forecast(SAMPLE_DAY, hours),
    "curve": lambda fleet, hours: fleet.curve(UNIT, SAMPLE_DAY, hours_ahead=hours),
    "slip": lambda fleet, hours: fleet.slip(SAMPLE_DAY, hours),
    "backtest": lambda fleet, hours: fleet.backtest(SAMPLE_DAY, hours),
    "report": lambda fleet, hours: fleet.report(SAMPLE_DAY, hours=hours, look_back=False),
}


@pytest.mark.parametrize("name", ASKS_HOURS)
@pytest.mark.parametrize("hours", [one for one in NO_NUMBERS if one is not None], ids=repr)
def test_a_horizon_that_is_none_is_refused(sample: Fleet, name: str, hours: Any) -> None:
    with pytest.raises(WrongUsage, match=r"number of engine hours from 0(\.1)? to 5,000"):
        ASKS_HOURS[name](sample, hours)


@pytest.mark.parametrize("name", Prices.__dataclass_fields__)
@pytest.mark.parametrize("price", NO_NUMBERS, ids=repr)
def test_a_price_that_is_none_is_refused(sample: Fleet, name: str, price: Any) -> None:
    with pytest.raises(WrongUsage, match=f"The price {name} must be"):
        sample.prices(SAMPLE_DAY, **{name: price})


@pytest.mark.parametrize("name", RANGES)
@pytest.mark.parametrize("value", [one for one in NO_NUMBERS if one is not None], ids=repr)
def test_a_limit_of_a_plan_that_is_none_is_refused(name: str, value: Any) -> None:
    if name in ("budget", "season_budget") and value == np.inf:
        return  # no limit
    with pytest.raises(WrongUsage, match=f"{RANGES[name][1]} must be"):
        limits_of({name: value})  # type: ignore[misc]


def test_every_number_among_the_wishes_has_its_range() -> None:
    numbers = {name for name, kind in PlanWishes.__annotations__.items() if "float" in str(kind) or "int" in str(kind)}
    assert numbers - {"prices"} == set(RANGES)


@pytest.mark.parametrize("name", ["under_minutes", "treated_within_h", "hours_run_since", "hours_ago"])
@pytest.mark.parametrize("value", [one for one in NO_NUMBERS if one is not None], ids=repr)
def test_a_number_told_of_the_water_that_is_none_is_refused(name: str, value: Any) -> None:
    with pytest.raises(WrongUsage, match=f"^{name} must be a number of"):
        flooding_of(happened_on=SAMPLE_DAY, treated="yes", **{name: value})


def test_every_number_told_of_the_water_is_tried() -> None:
    numbers = {name for name, info in Flooding.model_fields.items() if "float" in str(info.annotation)}
    assert numbers == {"under_minutes", "treated_within_h", "hours_run_since", "hours_ago"}


@pytest.mark.parametrize("name", ["shaft_play_mm", "play_limit_mm", "slip_found_lb_ft"])
@pytest.mark.parametrize("value", [one for one in NO_NUMBERS if one is not None], ids=repr)
def test_a_number_found_on_the_bench_that_is_none_is_refused(name: str, value: Any) -> None:
    assert "float" in str(Finding.model_fields[name].annotation)
    with pytest.raises(WrongUsage, match=f"^{name} "):
        finding_of({name: value})


@pytest.mark.parametrize("value", [one for one in NO_NUMBERS if one is not None], ids=repr)
def test_hours_since_rebuilt_that_are_none_are_refused(value: Any) -> None:
    with pytest.raises(WrongUsage, match="Hours since the last rebuild must be a number of engine hours"):
        flooded_alone(WATER, SAMPLE_DAY, value)


@pytest.mark.parametrize(
    "asked", [{"craft": 10**9}, {"seasons": 51}, {"seed": -1}, {"craft": 2.5}, {"first_year": 1989}]
)
def test_an_invented_fleet_beyond_its_ranges_is_refused(asked: dict[str, Any]) -> None:
    with pytest.raises(WrongUsage, match=f"{next(iter(asked))} must be"):
        simulate_fleet(**asked)


@pytest.mark.parametrize("day", [date.min, date(1989, 12, 31), date(2101, 1, 1), date.max])
def test_work_moved_by_hand_far_away_is_refused(sample: Fleet, day: date) -> None:
    edits = {UNIT: PlanEdit("rebuild", day)}
    with pytest.raises(ForecasterError):
        sample.plan_with(edits, SAMPLE_DAY)


@pytest.mark.parametrize("lost", [np.nan, np.inf, -np.inf])
def test_what_came_out_as_no_number_is_not_told(lost: float) -> None:
    with pytest.raises(ModelError, match=r"A chance came out as no number, so there is no answer. Look for an extreme"):
        told_numbers(np.array([[0.5, lost]]), "A chance")

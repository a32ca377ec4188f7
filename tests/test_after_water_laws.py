"""After water: laws that hold for every combination of answers, stated over codes. Common practice, no source.

Each test walks all of ``COMBINATIONS``: what the form can tell, today, yesterday, days and weeks after the water.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from functools import cache
from itertools import product
from typing import Any, get_args

import pytest

from forecaster.flooding_facts import Flooding, flooding_of
from forecaster.flooding_steps import (
    FIRST_STEPS,
    RUNS_ENGINE,
    STEPS,
    WHENS,
    MechanicCode,
    Step,
    StopCode,
    may_ride,
    mechanic_calls,
    order_of,
    reasons_to_stop,
    steps_after,
)
from tests.flooded_answers import ANSWERS, answer_to_flooding

DAY = date(2026, 7, 4)
DAYS = (0, 1, 2, 3, 30)
# What the advice may add to the steps: open it, check it after some hours, or neither.
ADVICE: tuple[dict[str, Any], ...] = ({}, {"opens": True}, {"check_after_h": 5.0})
FACTS: dict[str, tuple[Any, ...]] = {
    "under_minutes": (None, 0.0, 10.0),
    "water": ("unknown", "salt", "fresh"),  # brackish is dealt with as salt: see test_brackish_water_counts_as_salt
    "engine": ("unknown", "off", "running"),
    "oil": ("unknown", "clear", "milky"),
    "treated": ("unknown", "no", "yes"),
    "water_in_cylinder": ("unknown", "no", "yes"),
    "spin": ("not_done", "quiet", "slight", "rattle"),
    "compression": ("unknown", "good", "low"),
    "hours_run_since": (None, 8.0),
}


@cache
def combinations() -> tuple[tuple[Flooding, date, tuple[Step, ...]], ...]:
    """Every flooding that can be said, the day asked about, and its steps with each advice."""
    return tuple(_walk())


def _walk() -> Iterator[tuple[Flooding, date, tuple[Step, ...]]]:
    names = list(FACTS)
    for at, values in enumerate(product(*FACTS.values())):
        # One model_construct a combination: pydantic's checks have their own tests and would take a minute here.
        told = Flooding.model_construct(**USUAL | dict(zip(names, values, strict=True)))
        for number, days in enumerate(DAYS):
            as_of = DAY + timedelta(days)
            yield told, as_of, steps_after(told, as_of, **ADVICE[(at + number) % len(ADVICE)])


USUAL = flooding_of(happened_on=DAY).model_dump()


def holds_everywhere(law: Callable[[Flooding, date, list[str]], bool]) -> None:
    """Assert a law of flooding, day and step codes for every combination; the first that breaks it is shown."""
    for told, as_of, steps in combinations():
        codes = [step.code for step in steps]
        assert law(told, as_of, codes), f"{told!r} as of {as_of}: {codes}"


def before(codes: list[str], first: str, then: str) -> bool:
    """Whether `first` stands before `then`, or one of them does not stand at all."""
    return first not in codes or then not in codes or codes.index(first) < codes.index(then)


def runs_at(codes: list[str]) -> int | None:
    """Place of the first step that runs the engine."""
    return min((codes.index(code) for code in RUNS_ENGINE if code in codes), default=None)


# -- order -------------------------------------------------------------------------------------------------------------


def test_the_combinations_are_thousands_and_all_different() -> None:
    walked = combinations()
    assert len(walked) == 3**7 * 4 * 2 * len(DAYS)
    assert len({(told, as_of) for told, as_of, _ in walked}) == len(walked)


def test_nothing_runs_the_engine_before_the_cylinders_are_known_to_be_dry() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        at = runs_at(codes)
        if at is None or told.water_in_cylinder == "no":
            return True
        looked = "look_into_cylinders" if told.water_in_cylinder == "unknown" else "clear_cylinders"
        return looked in codes[:at] and "plugs_out" in codes[: codes.index(looked)]

    holds_everywhere(law)


def test_nothing_runs_the_engine_before_the_oil_was_looked_at_and_changed() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        at = runs_at(codes)
        if at is None:
            return True
        seen = told.oil != "unknown" or "look_at_oil" in codes[:at]
        return seen and any(code.startswith("change_oil") for code in codes[:at])

    holds_everywhere(law)


def test_nothing_runs_the_engine_before_the_supercharger_was_spun_by_hand() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        at = runs_at(codes)
        return at is None or told.spin != "not_done" or "spin_by_hand" in codes[:at]

    holds_everywhere(law)


def test_an_engine_that_ran_under_water_is_not_run_before_a_mechanic_tested_its_compression() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        if not told.ran_under or told.compression != "unknown":
            return True
        at = len(codes) if runs_at(codes) is None else runs_at(codes)
        return "call_mechanic" in codes[:at] and "compression_test" in codes[:at]

    holds_everywhere(law)


def test_a_rattling_supercharger_is_opened_and_pre_oiled_before_the_engine_runs() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        if told.spin != "rattle":
            return True
        at = len(codes) if runs_at(codes) is None else runs_at(codes)
        return "open_supercharger" in codes[:at] and "pre_oil" in codes[:at]

    holds_everywhere(law)


def test_parts_that_are_new_are_pre_oiled_after_they_are_fitted() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        opened = [code for code in ("open_supercharger", "open_before_ride") if code in codes]
        return bool(opened) == ("pre_oil" in codes) and all(before(codes, code, "pre_oil") for code in opened)

    holds_everywhere(law)


def test_air_and_battery_come_before_all_work_in_the_hull() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        work = ("plugs_out", "look_into_cylinders", "clear_cylinders", "spin_by_hand", "run_warm", "fuel_and_intake")
        if "air_the_hull" not in codes:
            return runs_at(codes) is None and "clear_cylinders" not in codes
        return all(before(codes, first, code) for first in ("air_the_hull", "battery_off") for code in work)

    holds_everywhere(law)


def test_the_first_steps_stand_first_and_in_their_order() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        own = [code for code in codes if code in FIRST_STEPS]
        return own == [code for code in FIRST_STEPS if code in own]

    holds_everywhere(law)


def test_towing_comes_before_the_hatches_are_opened() -> None:
    holds_everywhere(lambda told, as_of, codes: before(codes, "tow_slowly", "air_the_hull"))


def test_rust_is_inhibited_after_the_drying_and_oil_that_cannot_be_changed_today_is_thought_of() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        changes = any(code.startswith("change_oil") for code in codes)
        dries = ("run_warm" in codes) == ("inhibit_rust" in codes)
        return dries and before(codes, "run_warm", "inhibit_rust") and changes == ("oil_not_today" in codes)

    holds_everywhere(law)


def test_no_step_stands_twice_and_the_whens_follow_each_other() -> None:
    for told, as_of, steps in combinations():
        codes = [step.code for step in steps]
        assert len(set(codes)) == len(codes), (told, as_of, codes)
        whens = [WHENS.index(step.when) for step in steps]
        assert whens == sorted(whens), (told, as_of, codes)


# -- stop, mechanic, ride ----------------------------------------------------------------------------------------------


def test_stop_excludes_ride_and_untreated_salt_does_too() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        stops = reasons_to_stop(told)
        if stops or (told.treated != "yes" and told.water != "fresh"):
            return not may_ride(told, stops)
        return may_ride(told, stops)

    holds_everywhere(law)


def test_a_mechanic_is_named_wherever_it_ran_under_is_wet_inside_rattles_or_is_milky() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        grave = told.water_in_cylinder == "yes" or told.spin == "rattle" or told.oil == "milky"
        applies = any(call.applies for call in mechanic_calls(told, as_of))
        if grave or (told.ran_under and told.compression != "good"):
            return applies and "call_mechanic" in codes
        return applies if told.ran_under else True

    holds_everywhere(law)


def test_every_answer_lists_when_to_call_a_mechanic_what_is_so_first() -> None:
    for told, as_of, _ in combinations()[:: len(DAYS)]:
        calls = mechanic_calls(told, as_of)
        assert {call.code for call in calls} == set(get_args(MechanicCode))
        assert [call.applies for call in calls] == sorted((call.applies for call in calls), reverse=True)


def test_until_it_is_known_to_be_treated_it_is_not_to_be_started() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        order = order_of(told, reasons_to_stop(told))
        return (order == "none") == (told.treated == "yes" and not reasons_to_stop(told))

    holds_everywhere(law)


def test_water_in_a_cylinder_always_gets_oil_a_warm_run_after_clearing_and_a_mechanic() -> None:
    def law(told: Flooding, as_of: date, codes: list[str]) -> bool:
        if told.water_in_cylinder != "yes":
            return True
        needed = {"call_mechanic", "clear_cylinders", "run_warm"}
        return needed <= set(codes) and any(code in codes for code in ("change_oil", "change_oil_again"))

    holds_everywhere(law)


def test_brackish_water_counts_as_salt() -> None:
    for told, as_of, _ in combinations():
        if told.water == "salt":
            brackish = told.model_copy(update={"water": "brackish"})
            assert steps_after(brackish, as_of) == steps_after(told, as_of)
            assert may_ride(brackish, ()) == may_ride(told, ())


# Pairs of codes that would contradict each other side by side.
CONTRADICTIONS = (
    ("change_oil", "change_oil_again"),
    ("change_oil", "change_oil_unless_done"),
    ("change_oil_unless_done", "change_oil_again"),
    ("open_supercharger", "open_before_ride"),
    ("open_supercharger", "plan_check"),
    ("open_before_ride", "plan_check"),
    ("open_supercharger", "refit"),
    ("spin_by_hand", "refit"),
    ("spin_by_hand", "open_supercharger"),
    ("write_down", "log_in_water_csv"),
)


def test_no_two_steps_contradict_each_other() -> None:
    """With a rattle the advice is to open, never to check: ``_safe_ways`` sees to it, and the next test to that."""
    for told, as_of, steps in combinations():
        codes = {step.code for step in steps}
        if told.spin != "rattle" or "plan_check" not in codes:
            assert not [pair for pair in CONTRADICTIONS if codes.issuperset(pair)], (told, as_of)


# -- the whole answer, on a few hundred combinations -------------------------------------------------------------------


@pytest.mark.parametrize("facts", ANSWERS, ids=str)
def test_the_whole_answer_keeps_what_its_codes_promise(facts: dict[str, Any]) -> None:
    answer = answer_to_flooding(**facts)
    codes = [step.code for step in answer.steps]
    ways = {option.action for option in answer.options}
    assert ("ride" in ways) == may_ride(answer.flooding, answer.stops)
    assert answer.best in answer.options
    if any(stop.code == "rattle" for stop in answer.stops):
        assert ways == {"open"}
    assert not [pair for pair in CONTRADICTIONS if set(codes).issuperset(pair)]
    assert ("plan_check" in codes) == (answer.best.action == "check")
    assert answer.best.action != "ride" or (not answer.stop and answer.order != "stop")


def test_every_code_is_reached_by_some_combination() -> None:
    reached = {step.code for _, _, steps in combinations() for step in steps}
    assert reached == set(STEPS) - {"fit_catch_can", "log_in_water_csv"}  # those come from a fleet's records
    stops = {stop.code for told, *_ in combinations()[:: len(DAYS)] for stop in reasons_to_stop(told)}
    assert stops == set(get_args(StopCode)) - {"on_record"}

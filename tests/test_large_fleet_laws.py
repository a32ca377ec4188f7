"""A large fleet is asked as a small one is: one unit's answer needs no other's, and no batch changes a byte of it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster import Fleet, simulate_fleet
from forecaster.by_week import ByWeek
from forecaster.decisions import Decisions
from forecaster.now_or_later import NowOrLater
from forecaster.outlook import TwoStageStanding
from forecaster.problems import Reading
from forecaster.rebuilds_to_come import number_of_units
from forecaster.records import FleetRecords
from forecaster.report.as_json import written
from forecaster.report.compare_text import compare_json
from forecaster.report.plan_text import plan_json
from forecaster.waiting import Waiting

OFF_SEASON, IN_SEASON = date(2026, 11, 1), date(2026, 7, 15)
DAYS = pytest.mark.parametrize("as_of", [OFF_SEASON, IN_SEASON])


@pytest.fixture(scope="module")
def records() -> FleetRecords:
    return simulate_fleet(craft=12, seasons=3, seed=7, first_year=2024).records


def fleet_of(records: FleetRecords) -> Fleet:
    return Fleet(Reading(records))


def same_bytes(one: Waiting, other: Waiting) -> None:
    for name in ("rebuild", "check", "none", "running", "rattles", "comes_off"):
        assert getattr(one, name).tobytes() == getattr(other, name).tobytes(), name
    for name in ("rebuild", "check", "closed", "at_triggers", "running", "rattles", "fails", "comes_off"):
        assert getattr(one.off_season, name).tobytes() == getattr(other.off_season, name).tobytes(), name
    assert (one.age_h, one.left, one.triggers) == (other.age_h, other.left, other.triggers)


# --- one unit's question --------------------------------------------------------------------------------------------


@DAYS
def test_a_unit_s_costs_asked_alone_are_those_that_the_plan_weighs(records: FleetRecords, as_of: date) -> None:
    weighed = fleet_of(records).decisions(as_of).weigh()
    alone = fleet_of(records).decisions(as_of)
    for unit_id, one in weighed.items():
        same_bytes(alone.waiting(unit_id), one)


@DAYS
def test_how_a_unit_stands_does_not_depend_on_who_else_is_asked_about(records: FleetRecords, as_of: date) -> None:
    fleet = fleet_of(records)
    fit, units = fleet.two_stage(as_of), fleet.histories(as_of).in_service()
    hours = np.array([0.0, 5.0, 50.0])
    every = fit.standing(units).ahead(hours)
    for place, unit_id in enumerate(units.lives["unit_id"]):
        standing = fit.standing(units.unit_in_service(unit_id))
        assert isinstance(standing, TwoStageStanding)
        alone = standing.ahead(hours)
        assert alone.failed[:, 0].tobytes() == every.failed[:, place].tobytes()
        assert alone.defective[:, 0].tobytes() == every.defective[:, place].tobytes()


def compared(fleet: Fleet, as_of: date, planned: bool | None = None) -> Mapping[str, NowOrLater]:
    units = fleet.histories(as_of).in_service().lives["unit_id"]
    return {unit_id: fleet.now_or_later(unit_id, as_of, planned) for unit_id in units}


@DAYS
def test_of_a_large_fleet_one_unit_is_compared_without_weighing_another(
    records: FleetRecords, as_of: date, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = compared(fleet_of(records), as_of)
    monkeypatch.setattr("forecaster.fleet.PLANNED_FOR_ONE_UNIT", 0)
    monkeypatch.setattr(Decisions, "weigh", lambda *_: pytest.fail("all units were weighed"))
    for unit_id, one in compared(fleet_of(records), as_of).items():
        told, whole = compare_json(one, ()), compare_json(small[unit_id], ())
        left_to_the_plan = ("instruction", "instruction_stands_by", "costs_alone")
        assert {**told, **dict.fromkeys(left_to_the_plan)} == {**whole, **dict.fromkeys(left_to_the_plan)}


@DAYS
def test_what_is_told_of_it_without_the_plan_is_the_same_or_left_to_the_plan(
    records: FleetRecords, as_of: date, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = compared(fleet_of(records), as_of)
    monkeypatch.setattr("forecaster.fleet.PLANNED_FOR_ONE_UNIT", 0)
    orders = set()
    for unit_id, one in compared(fleet_of(records), as_of).items():
        told, whole = one.instruction, small[unit_id].instruction
        assert told is not None
        assert whole is not None
        assert told.because == whole.because
        orders.add(told.order)
        if told.order == "unweighed":
            assert not whole.at_once
            assert told.act is None
            assert one.stands == ("plan_not_asked",)
        elif as_of == IN_SEASON:  # what is unsafe or due is not the plan's to decide
            assert (told.code, told.by, told.reasons) == (whole.code, whole.by, whole.reasons)
        else:
            assert (told.order, told.found) == (whole.order, whole.found)
    assert "unweighed" in orders


def test_whoever_wants_the_plan_for_one_unit_gets_it(records: FleetRecords, monkeypatch: pytest.MonkeyPatch) -> None:
    small = compared(fleet_of(records), OFF_SEASON)
    monkeypatch.setattr("forecaster.fleet.PLANNED_FOR_ONE_UNIT", 0)
    for unit_id, one in compared(fleet_of(records), OFF_SEASON, planned=True).items():
        assert compare_json(one, ()) == compare_json(small[unit_id], ())


# --- batches --------------------------------------------------------------------------------------------------------


@DAYS
@pytest.mark.parametrize("at_once", [1, 7, 1000])
def test_how_many_are_weighed_at_once_changes_no_byte(
    records: FleetRecords, as_of: date, at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    usual, told = fleet_of(records), _plan_told(fleet_of(records), as_of)
    monkeypatch.setattr("forecaster.decisions.WEIGHED_AT_ONCE", at_once)
    monkeypatch.setattr("forecaster.off_season.REASONED_AT_ONCE", at_once)
    monkeypatch.setattr("forecaster.season_risk.UNITS_AT_ONCE", at_once)
    other = fleet_of(records)
    found = other.decisions(as_of).weigh()
    for unit_id, one in usual.decisions(as_of).weigh().items():
        same_bytes(found[unit_id], one)
    assert _plan_told(other, as_of) == told
    assert other.forecast(as_of) == usual.forecast(as_of)


@DAYS
def test_upkeeps_that_are_not_kept_change_no_byte(
    records: FleetRecords, as_of: date, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = _plan_told(fleet_of(records), as_of)
    monkeypatch.setattr("forecaster.decisions.KEPT_UPKEEPS", 2)  # as of a fleet too large to keep them
    assert _plan_told(fleet_of(records), as_of) == told


def _plan_told(fleet: Fleet, as_of: date) -> str:
    answer = fleet.plan(as_of, budget=4_000.0)
    told = written(plan_json(answer, fleet.instructions_by(answer)))
    assert json.loads(told)["actions"]
    return told


# --- what is held of each unit --------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_amounts_by_week_are_held_to_the_last_bit(data: st.DataObject) -> None:
    weeks, draws = data.draw(st.integers(1, 30)), data.draw(st.integers(1, 5))
    chosen = data.draw(st.lists(st.integers(0, 3), min_size=weeks, max_size=weeks))
    amounts = np.random.default_rng(weeks).normal(size=(draws, 4))[:, chosen]
    for given_so in (np.ascontiguousarray(amounts), np.asfortranarray(amounts)):
        held = ByWeek.of(given_so)
        assert held.whole.tobytes() == amounts.tobytes()
        assert held.mean.tobytes() == given_so.mean(axis=0).tobytes()
        assert all(held.week(week).tobytes() == amounts[:, week].tobytes() for week in range(weeks))
        assert held.different.shape[1] == 1 + int(np.count_nonzero(np.diff(chosen)))


def test_of_a_unit_nothing_is_held_but_what_differs_from_week_to_week(records: FleetRecords) -> None:
    """No view of a whole path: it would keep the path in memory with it."""
    for one in fleet_of(records).decisions(OFF_SEASON).weigh().values():
        kept = [one.none, *vars(one.off_season).values()]
        assert all(
            part.base is None or part.base.nbytes == part.nbytes for part in kept if isinstance(part, np.ndarray)
        )
        assert one.off_season.rebuild_weeks is one.rebuild_weeks
        assert one.rebuild_weeks.different.shape[1] < one.weeks.n


@settings(deadline=None, max_examples=50)
@given(st.lists(st.sampled_from([0.0, 0.2, 0.5, 1.0]), min_size=1, max_size=30))
def test_units_of_which_nothing_can_come_true_change_no_number(chances: list[float]) -> None:
    with_none, likely = np.array([chances]), [one for one in chances if one]
    if likely:
        told, without = number_of_units(with_none), number_of_units(np.array([likely]))
        assert told.mean == pytest.approx(without.mean)
        assert told.mean == pytest.approx(sum(chances))
        assert (told.low, told.high) == (without.low, without.high)
    else:
        assert number_of_units(with_none).high == 0

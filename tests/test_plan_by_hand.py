"""A plan changed by hand: what the change costs, and which limit it breaks, in words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import pytest

from forecaster import Fleet, PlanAnswer, PlanByHand, PlanEdit, WrongUsage, open_fleet
from tests.conftest import ROOT

AS_OF = date(2026, 10, 31)
MONDAY = date(2026, 11, 23)  # the first week in which parts ordered on that day are here
CHRISTMAS = date(2026, 12, 24)
READY = date(2027, 2, 1)
LIMITS = {"budget": 7_000.0, "bench_per_week": 2.0, "ready_by": READY, "closed": (CHRISTMAS,)}


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return open_fleet(ROOT / "sample_fleet", date(2026, 11, 25))


@pytest.fixture(scope="module")
def best(fleet: Fleet) -> PlanAnswer:
    return fleet.plan(AS_OF, **LIMITS)  # type: ignore[arg-type]


def changed(fleet: Fleet, edits: Mapping[str, PlanEdit]) -> PlanByHand:
    return fleet.plan_with(edits, AS_OF, **LIMITS)  # type: ignore[arg-type]


def of_action(answer: PlanAnswer, action: str) -> list[str]:
    return [a.unit_id for a in answer.plan.actions if a.action == action]


def test_without_a_change_it_is_the_best_plan(fleet: Fleet, best: PlanAnswer) -> None:
    same = changed(fleet, {})
    assert same.answer.plan.actions == best.plan.actions
    assert (same.costs_more.mean, same.costs_more.low, same.costs_more.high) == (0.0, 0.0, 0.0)
    assert (dict(same.edits), same.broken) == ({}, ())


def test_the_best_plan_keeps_within_its_limits(fleet: Fleet, best: PlanAnswer) -> None:
    assert best.plan.spent <= 7_000
    weeks = [a.week_of for a in best.plan.actions if a.week_of]
    assert date(2026, 12, 21) not in weeks
    assert [week.monday for week in best.bench if week.closed] == [date(2026, 12, 21)]
    assert max(weeks) + timedelta(days=7) <= READY


def test_leaving_a_unit_costs_what_its_work_would_have_saved(fleet: Fleet, best: PlanAnswer) -> None:
    unit = of_action(best, "rebuild")[0]
    left = changed(fleet, {unit: PlanEdit("leave")})
    now = next(a for a in left.answer.plan.actions if a.unit_id == unit)
    assert now.in_season  # what was freed pays for acting on it at its triggers
    assert left.costs_more.mean == pytest.approx(best.savings[unit].mean - now.saves)
    assert left.answer.plan.spent == pytest.approx(best.plan.spent - 650)
    assert left.broken == ()
    assert set(left.edits) == {unit}
    others = [a for a in left.answer.plan.actions if a.unit_id != unit]
    assert others == [a for a in best.plan.actions if a.unit_id != unit]


def test_what_an_edit_costs_is_what_the_whole_plan_then_costs_more(fleet: Fleet, best: PlanAnswer) -> None:
    one, other = of_action(best, "rebuild")[:2]
    both = changed(fleet, {one: PlanEdit("check"), other: PlanEdit("leave")})
    assert both.costs_more.mean == pytest.approx(both.answer.plan.expected_cost - best.plan.expected_cost)


def test_more_work_than_the_budget_pays_for_is_told(fleet: Fleet, best: PlanAnswer) -> None:
    left = of_action(best, "leave")[:2]
    broken = changed(fleet, {unit: PlanEdit("rebuild") for unit in left}).broken
    (told,) = broken
    spent = best.plan.spent + best.plan.season_spent + 1300
    assert told.startswith(f"The budget: the work costs {spent:,.0f}, ")
    assert told.endswith("above 7,000.")


def test_too_much_work_in_one_week_is_told(fleet: Fleet, best: PlanAnswer) -> None:
    three = of_action(best, "rebuild")[:3]
    everything = {a.unit_id: PlanEdit("leave") for a in best.plan.actions}
    broken = changed(fleet, {**everything, **dict.fromkeys(three, PlanEdit("rebuild", MONDAY))}).broken
    assert broken == (f"The bench: the work in the week of {MONDAY} takes 3 places, and there are 2.",)


def test_a_check_takes_the_bench_by_its_chance_of_a_rattle(fleet: Fleet, best: PlanAnswer) -> None:
    units = [a.unit_id for a in best.plan.actions]
    week = {unit: PlanEdit("rebuild" if k < 2 else "check", MONDAY) for k, unit in enumerate(units[:3])}
    told = next(line for line in changed(fleet, week).broken if str(MONDAY) in line)
    assert "(a check counts as its chance of a rattle), and there are 2." in told


def test_work_in_a_closed_week_is_told_whatever_its_day(fleet: Fleet, best: PlanAnswer) -> None:
    unit = of_action(best, "rebuild")[0]
    broken = changed(fleet, {unit: PlanEdit("rebuild", CHRISTMAS)}).broken
    assert broken == (f"The bench is closed in the week of 2026-12-21, and {unit} is in it.",)


def test_work_too_late_is_told_and_costed(fleet: Fleet, best: PlanAnswer) -> None:
    unit = of_action(best, "rebuild")[0]
    late = changed(fleet, {unit: PlanEdit("rebuild", READY)})
    assert late.broken == (f"Ready by {READY}: {unit} in the week of {READY} would be done too late.",)
    assert READY in best.later_weeks


def test_after_the_opening_it_is_told_and_costs_more(fleet: Fleet) -> None:
    whole = fleet.plan(AS_OF)
    unit = of_action(whole, "rebuild")[0]
    late = fleet.plan_with({unit: PlanEdit("rebuild", whole.later_weeks[-1])}, AS_OF)
    assert "after the opening on 2027-05-01" in late.broken[0]
    assert late.costs_more.mean > 200


def test_work_without_a_week_gets_the_earliest_free_ones_of_least_cost(fleet: Fleet, best: PlanAnswer) -> None:
    three = of_action(best, "rebuild")[:3]
    everything = {a.unit_id: PlanEdit("leave") for a in best.plan.actions}
    plan = changed(fleet, {**everything, **dict.fromkeys(three, PlanEdit("rebuild"))})
    weeks = [a.week_of for a in plan.answer.plan.actions if a.week_of]
    assert sorted(weeks) == [MONDAY, MONDAY, MONDAY + timedelta(days=7)]  # none runs in winter: all weeks cost the same
    assert plan.broken == ()


def test_parts_and_triggers_follow_the_change(fleet: Fleet, best: PlanAnswer) -> None:
    unit = of_action(best, "rebuild")[0]
    left = changed(fleet, {unit: PlanEdit("leave")}).answer
    assert left.parts.rebuilds == best.parts.rebuilds - 1
    assert left.doubtful == best.doubtful
    assert left.because == best.because


@pytest.mark.parametrize(
    ("unit", "edit", "told"),
    [
        ("S9999", PlanEdit("leave"), "S9999 is not in the plan"),
        ("S0005", PlanEdit("polish"), "'polish' is nothing that can be done"),  # type: ignore[arg-type]
        ("S0005", PlanEdit("rebuild", date(2026, 10, 5)), "the week of 2026-10-05 is outside"),
        ("S0005", PlanEdit("check", date(2030, 1, 7)), "the week of 2030-01-07 is outside"),
    ],
)
def test_an_edit_that_makes_no_sense_is_refused(
    fleet: Fleet, best: PlanAnswer, unit: str, edit: PlanEdit, told: str
) -> None:
    with pytest.raises(WrongUsage, match=told):
        changed(fleet, {unit: edit})

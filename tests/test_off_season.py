"""The off-season plan of a whole fleet: days, what leaving means, and the laws that a plan obeys."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from forecaster import open_fleet, sample_fleet_folder
from forecaster.decisions import Decisions
from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.off_season import plan_off_season, planned_season
from forecaster.plan_answer import PlanAnswer
from forecaster.plan_days import off_season_days
from forecaster.plan_limits import PlanLimits
from forecaster.settings import Season

TODAY = date(2026, 11, 25)
AS_OF = date(2026, 10, 31)
SEASON = Season(opens="05-01", closes="10-15")


@pytest.fixture(scope="module")
def decisions() -> Decisions:
    return open_fleet(sample_fleet_folder(), TODAY).decisions(AS_OF)


@pytest.fixture(scope="module")
def answer(decisions: Decisions) -> PlanAnswer:
    return plan_off_season(decisions)


def test_the_off_season_is_the_one_we_are_in() -> None:
    days = off_season_days(SEASON, AS_OF)
    assert (days.begins, days.season_opens) == (AS_OF, date(2027, 5, 1))


def test_asked_in_season_it_is_the_next_one() -> None:
    days = off_season_days(SEASON, date(2026, 7, 1))
    assert (days.begins, days.season_opens) == (date(2026, 10, 16), date(2027, 5, 1))


@pytest.mark.parametrize(
    ("begins", "ready"), [(date(2026, 12, 1), date(2026, 11, 1)), (date(2020, 1, 1), None), (None, date(2040, 1, 1))]
)
def test_days_out_of_order_are_refused(begins: date | None, ready: date | None) -> None:
    with pytest.raises(WrongUsage, match="ready"):
        off_season_days(SEASON, AS_OF, begins, ready)


@pytest.mark.parametrize("days_later", [1, 9])
def test_leaving_a_unit_is_not_rebuilding_it_just_before_the_opening(days_later: int) -> None:
    """Whatever the weekday asked on: a worn unit's rebuild saves real money beside leaving it to the season."""
    decisions = open_fleet(sample_fleet_folder(), TODAY).decisions(AS_OF + timedelta(days=days_later))
    saves = {a.unit_id: a.saves for a in plan_off_season(decisions, gap=0.05).plan.actions}
    assert saves["S0005"] > 300


def test_the_units_most_at_risk_are_not_left(answer: PlanAnswer) -> None:
    acted = {a.unit_id: a.action for a in answer.plan.actions}
    assert {acted[unit] for unit in ("S0005", "S0026", "S0034")} == {"rebuild"}


def test_every_unit_in_service_has_its_action_and_its_triggers(decisions: Decisions, answer: PlanAnswer) -> None:
    in_service = set(decisions.histories.in_service().lives["unit_id"])
    assert {a.unit_id for a in answer.plan.actions} == in_service == set(answer.triggers)


def test_the_plan_is_never_dearer_than_every_unit_past_n_hours(answer: PlanAnswer) -> None:
    assert answer.plan.expected_cost <= answer.rule.plan.expected_cost + 1e-6


def test_a_budget_is_kept_and_costs_what_it_forgoes(decisions: Decisions, answer: PlanAnswer) -> None:
    poor = plan_off_season(decisions, budget=3_000, gap=0.05)
    assert poor.plan.spent <= 3_000
    assert poor.plan.expected_cost >= answer.plan.expected_cost - 0.01 * answer.plan.saves
    assert poor.plan.next_1000 > 0


def test_no_more_rebuilds_than_the_bench_has_places(decisions: Decisions) -> None:
    plan = plan_off_season(decisions, bench_per_week=0.25).plan
    assert plan.count("rebuild") <= 7


def test_work_is_done_between_its_first_day_and_the_day_to_be_ready(decisions: Decisions) -> None:
    plan = plan_off_season(decisions, begins=date(2027, 1, 1), ready_by=date(2027, 3, 1)).plan
    weeks = [a.week_of for a in plan.actions if a.week_of is not None]
    assert weeks
    assert min(weeks) >= date(2027, 1, 1)
    assert max(weeks) + timedelta(days=7) <= date(2027, 3, 1)


def test_what_units_save_adds_up_to_what_the_work_saves(answer: PlanAnswer) -> None:
    units = [action.unit_id for action in answer.plan.actions]
    whole = answer.saving_among(units)
    assert whole.mean == pytest.approx(answer.plan.saves)
    assert sum(answer.saving_among([unit]).mean for unit in units) == pytest.approx(answer.plan.saves)
    assert {unit: answer.savings[unit].mean for unit in units} == pytest.approx(
        {unit: answer.saving_among([unit]).mean for unit in units}
    )


def test_the_plan_is_held_against_never_acting_and_against_working_in_season_only(answer: PlanAnswer) -> None:
    plan = answer.plan
    assert answer.saving.mean == pytest.approx(plan.expected_cost_do_nothing - plan.expected_cost)
    beside = answer.saving_beside_triggers
    assert beside.mean == pytest.approx(plan.expected_cost_at_triggers - plan.expected_cost)
    assert plan.expected_cost < plan.expected_cost_at_triggers < plan.expected_cost_do_nothing


def test_no_unit_saves_nothing_and_an_unknown_one_is_refused(answer: PlanAnswer) -> None:
    assert answer.saving_among([]).mean == 0.0
    with pytest.raises(WrongUsage, match="S9999"):
        answer.saving_among(["S9999"])


def test_what_the_plan_saves_beside_the_rule_has_its_interval(answer: PlanAnswer) -> None:
    beside = answer.saving_beside_rule
    assert beside is not None
    assert beside.mean == pytest.approx(answer.rule.plan.expected_cost - answer.plan.expected_cost, abs=1e-6)
    assert beside.low <= beside.mean <= beside.high


def test_every_n_of_the_rule_is_priced_beside_the_plan(answer: PlanAnswer) -> None:
    cheapest = min(answer.rules, key=lambda rule: rule.expected_cost)
    assert cheapest.expected_cost == pytest.approx(answer.rule.plan.expected_cost, abs=0.02)
    assert answer.rules[0].n_hours is None
    known = [rule.n_hours for rule in answer.rules if rule.n_hours is not None]
    assert known == sorted(known, reverse=True)
    assert [rule.rebuilds for rule in answer.rules] == sorted(rule.rebuilds for rule in answer.rules)
    assert all(
        rule.costs_more.mean == pytest.approx(rule.expected_cost - answer.plan.expected_cost, abs=1e-6)
        for rule in answer.rules
    )


def test_the_reasons_are_those_of_the_forecast(answer: PlanAnswer) -> None:
    forecast = open_fleet(sample_fleet_folder(), TODAY).forecast(AS_OF)
    assert dict(answer.because) == {unit.unit_id: unit.because for unit in forecast.units}


def test_of_weeks_that_cost_the_same_the_first_are_filled(answer: PlanAnswer) -> None:
    weeks = sorted(a.week_of for a in answer.plan.actions if a.week_of is not None and a.action == "rebuild")
    assert weeks[0] == date(2026, 11, 23)  # when parts ordered today are here
    assert max(weeks) <= weeks[0] + timedelta(weeks=answer.plan.count("rebuild") // 3)


def test_without_a_unit_in_service_the_plan_is_refused(decisions: Decisions) -> None:
    histories = decisions.histories
    nobody = replace(decisions, histories=histories.select((histories.lives["ended_by"] != "running").to_numpy()))
    with pytest.raises(DataStopsAnswer, match="No unit is in service on 2026-10-31"):
        plan_off_season(nobody)


def test_a_closed_week_takes_no_work_and_all_closed_is_refused(decisions: Decisions) -> None:
    days = {"begins": date(2027, 1, 4), "ready_by": date(2027, 1, 25)}
    plan = plan_off_season(decisions, closed=(date(2027, 1, 13),), **days).plan  # type: ignore[arg-type]
    assert {a.week_of for a in plan.actions} - {None} == {date(2027, 1, 4), date(2027, 1, 18)}
    with pytest.raises(WrongUsage, match="closed in every week"):
        plan_off_season(decisions, closed=tuple(date(2027, 1, k) for k in (4, 11, 18)), **days)  # type: ignore[arg-type]


def test_work_begins_when_parts_that_are_ordered_today_are_here(decisions: Decisions, answer: PlanAnswer) -> None:
    assert not answer.parts.late
    assert min(a.week_of for a in answer.plan.actions if a.week_of) >= answer.parts.here_on
    later = plan_off_season(decisions, begins=answer.parts.here_on)
    assert later.plan.actions == answer.plan.actions  # off season nothing runs meanwhile


def test_kits_on_the_shelf_let_work_begin_at_once_and_are_not_ordered(decisions: Decisions, answer: PlanAnswer) -> None:
    begun = plan_off_season(decisions, kits=4)
    early = [a for a in begun.plan.actions if a.week_of and a.week_of < answer.parts.here_on]
    assert sum(1.0 if a.action == "rebuild" else a.rattle for a in early) == 4
    assert not begun.parts.late
    assert (begun.parts.rebuilds, begun.parts.from_stock) == (answer.parts.rebuilds - 4, 4)
    assert plan_off_season(decisions, kits=100).parts.order_by is None


def test_no_check_waits_while_an_earlier_week_has_room_and_costs_no_more(decisions: Decisions) -> None:
    planned = planned_season(decisions, PlanLimits(budget=8_000.0, overspend_chance=1.0))
    plan, problem = planned.answer.plan, planned.case.problem
    checks = [a for a in plan.actions if a.action == "check"]
    assert checks
    taken = dict.fromkeys(problem.weeks, 0.0)
    for one in plan.actions:
        if one.week_of:
            taken[one.week_of] += 1.0 if one.action == "rebuild" else one.rattle
    for one in checks:
        assert one.week_of is not None
        own = list(problem.weeks).index(one.week_of)
        cost = problem.check_cost[list(problem.unit_ids).index(one.unit_id)]
        for week in range(problem.parts_week, own):
            full = taken[problem.weeks[week]] + one.rattle > problem.bench_places[week] + 1e-6
            assert full or cost[week] > cost[own] + 1e-6


def test_a_tight_season_is_told(decisions: Decisions) -> None:
    plan = plan_off_season(decisions, budget=650.0, season_budget=3_000.0, season_rebuilds_per_week=3.0).plan
    assert 0 < plan.season_spent <= 3_000
    assert any(told.startswith("The season's budget binds") for told in plan.limits)


@pytest.fixture
def rattling(sample_copy: Path) -> Decisions:
    """The sample with a rattle on record for a fresh unit."""
    with (sample_copy / "checks.csv").open("a", encoding="utf-8") as rows:
        header = (sample_copy / "checks.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
        told = {"unit_id": "S0004", "checked_on": "2026-10-30", "spin": "rattle"}
        rows.write(",".join(told.get(name, "") for name in header) + "\n")
    return open_fleet(sample_copy, TODAY).decisions(AS_OF)


def test_a_unit_that_rattled_is_rebuilt_and_told_not_to_run(rattling: Decisions) -> None:
    answer = plan_off_season(rattling, budget=700)
    (work,) = (a for a in answer.plan.actions if a.action == "rebuild")
    assert work.unit_id == "S0004"
    assert answer.stop["S0004"] == ("rattled when spun by hand on 2026-10-30, 0 h ago",)


def test_where_the_budget_does_not_pay_for_it_the_plan_says_so_instead_of_refusing(rattling: Decisions) -> None:
    answer = plan_off_season(rattling, budget=0)
    assert answer.plan.spent == 0
    assert "In the way: the budget: they cost 650, and it is 0" in answer.remarks[0]
    assert "stays off the water" in answer.remarks[0]

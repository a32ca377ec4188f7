"""The off-season plan of a whole fleet: days, what leaving means, and the laws that a plan obeys."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from forecaster import open_fleet, sample_fleet_folder
from forecaster.decisions import Decisions
from forecaster.errors import WrongUsage
from forecaster.off_season import off_season, plan_off_season
from forecaster.plan_answer import PlanAnswer

TODAY = date(2026, 11, 25)
AS_OF = date(2026, 10, 31)


@pytest.fixture(scope="module")
def decisions() -> Decisions:
    return open_fleet(sample_fleet_folder(), TODAY).decisions(AS_OF)


@pytest.fixture(scope="module")
def answer(decisions: Decisions) -> PlanAnswer:
    return plan_off_season(decisions)


def test_the_off_season_is_the_one_we_are_in(decisions: Decisions) -> None:
    days = off_season(decisions)
    assert (days.begins, days.season_opens) == (AS_OF, date(2027, 5, 1))


def test_asked_in_season_it_is_the_next_one() -> None:
    days = off_season(open_fleet(sample_fleet_folder(), TODAY).decisions(date(2026, 7, 1)))
    assert (days.begins, days.season_opens) == (date(2026, 10, 16), date(2027, 5, 1))


@pytest.mark.parametrize(
    ("begins", "ready"), [(date(2026, 12, 1), date(2026, 11, 1)), (date(2020, 1, 1), None), (None, date(2040, 1, 1))]
)
def test_days_out_of_order_are_refused(decisions: Decisions, begins: date | None, ready: date | None) -> None:
    with pytest.raises(WrongUsage, match="ready"):
        off_season(decisions, begins, ready)


@pytest.mark.parametrize("days_later", [1, 4, 9])
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
    poor = plan_off_season(decisions, budget=3_000)
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

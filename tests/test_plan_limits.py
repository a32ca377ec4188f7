"""Every limit of a plan: all plans of small fleets tried in full, and the laws that hold of any."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import WrongUsage
from forecaster.plan import solve_plan
from forecaster.plan_limits import PlanLimits, limits_of
from forecaster.plan_overspend import chance_of_overspending
from forecaster.plan_places import Schedule, fill
from forecaster.plan_problem import CHECK, REBUILD, SEASON, Plan, PlanProblem, act_of
from forecaster.plan_rules import best_every_n_hours, every_n_hours
from forecaster.settings import Bench, FleetSettings, Stock
from tests.limited_plans import MONDAY, chance_of_all_outcomes, greatest_worth_of_all_plans, limited_problem, worth_of
from tests.test_plan import problem
from tests.tight_budgets import at_budgets, most_dangerous, sample_case

FEW = settings(max_examples=20, deadline=None, derandomize=True)
AS_OF = date(2026, 10, 31)


def exact(p: PlanProblem) -> Plan:
    return solve_plan(p, gap=0.0)


def acts(plan: Plan) -> list[tuple[int, int]]:
    return [(i, act_of(one)) for i, one in enumerate(plan.actions)]


def leaving(n: int = 2, **values: object) -> PlanProblem:
    """Alike units: closed through the season 2,000; acted on in it 1,500, for 770 with a chance of .5."""
    given_values: dict[str, object] = {
        "rebuild_cost": np.full((n, 2), 2100.0),
        "season_cost": np.full(n, 1500.0),
        "season_spend": np.full(n, 385.0),
        "season_chance": np.full(n, 0.5),
        "season_week": np.zeros(n),
        "season_bench": np.full(n, 0.5),
    }
    return problem(n, 2, **{**given_values, **values})


@pytest.mark.parametrize("overspend", [False, True])
@pytest.mark.parametrize("seed", range(60))
def test_the_program_finds_the_best_of_all_plans_within_every_limit(seed: int, overspend: bool) -> None:
    p = limited_problem(seed, overspend=overspend)
    assert worth_of(p, exact(p)) == pytest.approx(greatest_worth_of_all_plans(p), abs=1e-6)


@pytest.mark.parametrize("seed", range(60))
def test_the_chance_of_overspending_is_that_of_all_outcomes(seed: int) -> None:
    p = limited_problem(seed)
    plan = exact(p)
    assert plan.overspend_chance == pytest.approx(chance_of_all_outcomes(p, acts(plan)), abs=0.002)
    assert plan.overspend_chance <= p.overspend_chance + 1e-9


def test_the_chance_of_many_checks_is_that_of_their_binomial() -> None:
    from scipy.stats import binom

    n = 40
    p = problem(n, 2, budget=12_000.0, check_bench=np.full(n, 0.3), check_spend=np.full(n, 60 + 0.3 * 650))
    checks = [(i, CHECK) for i in range(n)]
    expected = binom.sf((12_000 - 60 * n) // 650, n, 0.3)
    assert chance_of_overspending(p, checks) == pytest.approx(expected, abs=1e-9)
    draws = np.tile([0.2, 0.4], (n, 1))  # nobody knows whether this fleet's rattle seldom or often
    mixed = np.mean([binom.sf((12_000 - 60 * n) // 650, n, q) for q in (0.2, 0.4)])
    assert chance_of_overspending(replace(p, rattle_draws=draws), checks) == pytest.approx(mixed, abs=1e-9)
    assert mixed > expected


def test_work_that_is_certain_to_be_within_the_budget_is_allowed_at_any_limit() -> None:
    p = problem(3, 2, budget=1300.0, overspend_chance=0.0)
    plan = exact(p)
    assert (plan.count("rebuild"), plan.overspend_chance) == (2, 0.0)


def test_a_check_whose_rattle_could_not_be_paid_is_not_risked() -> None:
    checked = np.full((1, 1), 900.0)
    p = problem(1, 1, check_cost=checked, check_spend=np.array([125.0]), check_bench=np.array([0.1]), budget=500.0)
    assert exact(replace(p, overspend_chance=0.1)).count("check") == 1
    assert exact(replace(p, overspend_chance=0.09)).count("check") == 0


def test_the_chance_of_overspending_binds_and_says_so() -> None:
    checked = np.full((1, 1), 900.0)
    p = problem(1, 1, check_cost=checked, check_spend=np.array([125.0]), check_bench=np.array([0.1]), budget=500.0)
    plan = exact(replace(p, overspend_chance=0.05))
    assert plan.no_overspend_limit == pytest.approx(1100.0)
    assert plan.limits[-1].startswith("The chance of overspending binds, at most 5 %: without that limit")
    assert "with a chance of 10 %" in plan.limits[-1]


@FEW
@given(st.integers(0, 10_000), st.sampled_from(["budget", "season_budget", "kits", "bench", "season_bench", "chance"]))
def test_more_of_any_limit_never_makes_the_plan_worth_less(seed: int, more: str) -> None:
    p = limited_problem(seed)
    wider = {
        "budget": lambda: replace(p, budget=None if p.budget is None else p.budget + 400),
        "season_budget": lambda: replace(p, season_budget=None if p.season_budget is None else p.season_budget + 400),
        "kits": lambda: replace(p, kits=p.kits + 1),
        "bench": lambda: replace(p, bench_places=p.bench_places + 1),
        "season_bench": lambda: replace(p, season_places=p.season_places + 1),
        "chance": lambda: replace(p, overspend_chance=min(p.overspend_chance + 0.2, 1.0)),
    }[more]()
    assert worth_of(wider, exact(wider)) >= worth_of(p, exact(p)) - 1e-6


@FEW
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_the_order_of_the_units_changes_nothing(seed: int, dice: object) -> None:
    p = limited_problem(seed)
    order = list(range(p.n))
    dice.shuffle(order)  # type: ignore[attr-defined]
    assert sorted(map(repr, exact(p.of_units(order)).actions)) == sorted(map(repr, exact(p).actions))


@FEW
@given(st.integers(0, 10_000))
def test_no_rule_is_worth_more_than_the_plan_and_it_too_keeps_within_the_limits(seed: int) -> None:
    p = limited_problem(seed)
    hours = np.random.default_rng(seed).uniform(0, 300, p.n)
    plan, best = exact(p), best_every_n_hours(p, hours)
    assert worth_of(p, plan) >= worth_of(p, best.plan) - 1e-6
    for n_hours in [0.0, *hours, 1000.0]:
        rule = every_n_hours(p, hours, n_hours)
        assert worth_of(p, best.plan) >= worth_of(p, rule) - 0.01
        assert rule.overspend_chance <= p.overspend_chance + 1e-9


def test_a_unit_that_is_left_is_acted_on_in_season_where_that_pays() -> None:
    plan = exact(leaving())
    assert [(a.action, a.in_season, a.saves, a.season_spend) for a in plan.actions] == [
        ("leave", True, 500.0, 385.0)
    ] * 2
    assert (plan.spent, plan.season_spent, plan.saves) == (0.0, 770.0, 1000.0)


def test_the_seasons_bench_binds_and_says_so() -> None:
    plan = exact(leaving(3, season_places=np.array([1.0, 3.0])))
    assert sum(a.in_season for a in plan.actions) == 2
    assert plan.next_season_place == pytest.approx(500.0)
    assert any(told.startswith("The season's bench binds") for told in plan.limits)


def test_the_seasons_own_budget_binds_and_says_so() -> None:
    plan = exact(leaving(3, season_budget=800.0))
    assert sum(a.in_season for a in plan.actions) == 2
    assert plan.next_season_1000 == pytest.approx(500.0)
    assert any(told.startswith("The season's budget binds") for told in plan.limits)


def test_without_a_budget_of_its_own_the_season_takes_what_is_left() -> None:
    p = leaving(2, rebuild_cost=np.array([[1000.0] * 2, [2100.0] * 2]), budget=1000.0)
    plan = exact(p)
    assert [a.action for a in plan.actions] == ["rebuild", "leave"]
    assert not plan.actions[1].in_season  # 650 + 385 is more than 1,000
    assert exact(replace(p, budget=1035.0)).actions[1].in_season
    assert exact(replace(p, season_budget=400.0)).actions[1].in_season


def test_a_unit_that_must_be_rebuilt_is_not_left_to_the_season() -> None:
    plan = exact(leaving(2, must=frozenset({"S1"})))
    assert [a.action for a in plan.actions] == ["leave", "rebuild"]


def test_at_a_tight_budget_what_is_dear_to_leave_comes_first() -> None:
    """Both save the surcharge alone where either may be rebuilt in season; one of them will fail before."""
    cost = np.array([[1000.0] * 2, [1000.0] * 2])
    p = leaving(2, rebuild_cost=cost, leave_cost=np.array([4000.0, 1300.0]), season_cost=np.array([1120.0, 1120.0]))
    assert [a.action for a in exact(replace(p, budget=650.0, season_budget=0.0)).actions] == ["rebuild", "leave"]


def test_work_waits_for_parts_but_for_kits_on_the_shelf() -> None:
    p = problem(3, 4, parts_week=2, kits=0.0)
    weeks = sorted(a.week_of for a in exact(p).actions if a.week_of)
    assert weeks == [MONDAY + timedelta(weeks=2), MONDAY + timedelta(weeks=3)]
    with_one = exact(replace(p, kits=1.0))
    assert sorted(a.week_of for a in with_one.actions if a.week_of)[0] == MONDAY
    assert exact(p).next_kit == pytest.approx(1000.0)
    assert any(told.startswith("Parts bind") for told in exact(p).limits)


def test_the_kit_on_the_shelf_goes_to_what_saves_most() -> None:
    p = problem(3, 5, parts_week=2, kits=1.0, leave_cost=np.array([1500.0, 2500.0, 2000.0]))
    weeks = [a.week_of for a in exact(p).actions]
    assert weeks == [MONDAY + timedelta(weeks=k) for k in (3, 0, 2)]


def test_a_check_counts_as_its_chance_of_a_rattle_where_parts_are_short() -> None:
    checked = np.full((3, 2), 900.0)
    p = problem(3, 2, check_cost=checked, check_bench=np.full(3, 0.4), bench_places=np.array([2.0, 0.0]), parts_week=1)
    assert exact(replace(p, kits=1.0)).count("check") == 2
    assert exact(replace(p, kits=0.0)).count("check") == 0


def test_what_must_be_rebuilt_waits_for_parts_too_and_the_refusal_names_them() -> None:
    p = problem(2, 2, must=frozenset({"S0", "S1"}), parts_week=1, kits=0.0)
    with pytest.raises(WrongUsage, match="parts: 0 sets on the shelf"):
        exact(p)
    assert exact(replace(p, kits=1.0)).count("rebuild") == 2


def test_work_that_saves_less_than_its_share_is_left() -> None:
    p = problem(1, 1, rebuild_cost=np.array([[1968.0]]))  # saves 32 for 650
    assert exact(p).count("rebuild") == 1
    assert exact(replace(p, least_gain=0.05)).count("rebuild") == 0
    assert fill(Schedule(replace(p, least_gain=0.05))).work == []


def test_dearer_work_must_save_its_share_beside_cheaper_work() -> None:
    """A rebuild saves 20 more than acting in season, for 265 more: not worth it."""
    p = leaving(1, rebuild_cost=np.full((1, 2), 1480.0), least_gain=0.1)
    assert acts(exact(p)) == [(0, SEASON)]
    assert acts(exact(replace(p, least_gain=0.0))) == [(0, REBUILD)]


def test_by_default_nothing_is_limited_that_was_not() -> None:
    p = problem()
    assert (p.season_cost == p.leave_cost).all()
    assert (p.kits, p.parts_week, p.least_gain, p.overspend_chance) == (math.inf, 0, 0.0, 1.0)
    assert exact(p).next_kit == exact(p).next_season_place == exact(p).season_spent == 0.0


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"season_chance": np.array([0.5, 1.5])}, "cannot be above 1"),
        ({"season_cost": np.array([1.0])}, r"season_cost must have shape \(2,\)"),
        ({"season_week": np.array([0, 5]), "season_places": np.ones(3)}, "season's 3 weeks"),
        ({"season_budget": -1.0}, "season's budget"),
        ({"kits": -1.0}, "fewer than 0 kits"),
        ({"least_gain": math.nan}, "least gain"),
        ({"overspend_chance": 1.5}, "from 0 to 1"),
    ],
)
def test_limits_that_make_no_sense_are_refused(wrong: dict[str, object], words: str) -> None:
    with pytest.raises(WrongUsage, match=words):
        problem(**wrong)  # type: ignore[arg-type]


def test_what_is_not_wished_is_fleet_tomls() -> None:
    fleet = FleetSettings(
        bench=Bench(rebuilds_per_week=2, season_rebuilds_per_week=1, season_budget=900, budget=5000, lead_time_weeks=2),
        stock=Stock(kits=3, spare_units=1),
    )
    weeks = [date(2026, 11, 2) + timedelta(weeks=k) for k in range(4)]
    usual = PlanLimits().of_problem(weeks, 3, AS_OF, fleet)
    assert (usual["kits"], usual["spare_units"], usual["budget"], usual["season_budget"]) == (3, 1, 5000, 900)
    assert usual["season_places"].tolist() == [1, 1, 1]
    assert usual["parts_week"] == 2  # here on 14 November
    assert (usual["least_gain"], usual["overspend_chance"]) == (0.05, 0.1)
    wished = limits_of(
        {
            "kits": 0,
            "lead_time_weeks": 0.0,
            "season_budget": math.inf,
            "season_rebuilds_per_week": 2.0,
            "least_gain": 0.2,
        }
    ).of_problem(weeks, 3, AS_OF, fleet)
    assert (wished["kits"], wished["parts_week"], wished["season_budget"], wished["least_gain"]) == (
        0,
        0,
        math.inf,
        0.2,
    )
    assert wished["season_places"].tolist() == [2, 2, 2]


def test_the_seasons_bench_is_by_default_that_of_the_off_season() -> None:
    bench = Bench(rebuilds_per_week=2)
    assert PlanLimits().season_places(3, bench).tolist() == [2, 2, 2]
    assert PlanLimits(bench_per_week=1.0).season_places(3, bench).tolist() == [1, 1, 1]


def test_the_most_dangerous_unit_is_worked_at_every_budget_that_pays_for_it() -> None:
    fleet, case = sample_case(AS_OF)
    unit, saved = most_dangerous(fleet, AS_OF), 0.0
    for one in at_budgets(case.problem, unit, 650.0, case.problem.overspend_chance):
        assert one.worked or not one.pays
        assert one.saves >= saved - 0.01 * one.saves
        saved = one.saves

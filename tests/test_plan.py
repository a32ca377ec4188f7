"""The off-season plan: by hand, a published knapsack, every small fleet tried in full, and the laws of a best plan."""

from __future__ import annotations

import itertools
import math
import os
import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import WrongUsage
from forecaster.parts_order import parts_order, rattles_to_expect
from forecaster.plan import solve_plan
from forecaster.plan_places import Schedule, fill, schedule_of
from forecaster.plan_problem import CHECK, LEAVE, REBUILD, Plan, PlanProblem, bench_places_by_week
from forecaster.plan_rules import best_every_n_hours, every_n_hours
from forecaster.solver_silence import silent_solver
from tests.conftest import ROOT

MONDAY = date(2026, 11, 2)
FEW = settings(max_examples=25, deadline=None, derandomize=True)


def problem(n: int = 2, w: int = 2, **given_values: object) -> PlanProblem:
    """Alike units: left 2,000; rebuilt 1,000 for a spending of 650; a check saves nothing. One bench place a week."""
    values: dict[str, object] = {
        "unit_ids": [f"S{i}" for i in range(n)],
        "craft_ids": [f"C{i}" for i in range(n)],
        "weeks": [MONDAY + timedelta(weeks=k) for k in range(w)],
        "rebuild_cost": np.full((n, w), 1000.0),
        "check_cost": np.full((n, w), 2100.0),
        "leave_cost": np.full(n, 2000.0),
        "rebuild_spend": np.full(n, 650.0),
        "check_spend": np.full(n, 100.0),
        "check_bench": np.full(n, 0.1),
        "bench_places": np.ones(w),
        "craft_needed": np.zeros(w, dtype=bool),
    }
    return PlanProblem(**{**values, **given_values})  # type: ignore[arg-type]


def random_problem(seed: int, most_units: int = 5, most_weeks: int = 3) -> PlanProblem:
    """A small fleet with every kind of limit, now tight, now loose; half the time some unit must be rebuilt."""
    rng = np.random.default_rng(seed)
    n, w = int(rng.integers(1, most_units + 1)), int(rng.integers(1, most_weeks + 1))
    leave = rng.uniform(500, 4000, n)
    return problem(
        n,
        w,
        rebuild_cost=leave[:, None] - rng.uniform(-300, 1500, (n, w)),
        check_cost=leave[:, None] - rng.uniform(-300, 900, (n, w)),
        leave_cost=leave,
        rebuild_spend=rng.integers(400, 900, n).astype(float),
        check_spend=rng.uniform(60, 400, n),
        check_bench=rng.uniform(0, 0.8, n),
        bench_places=rng.integers(0, 3, w).astype(float),
        craft_needed=rng.random(w) < 0.4,
        budget=None if rng.random() < 0.2 else float(rng.uniform(0, 450 * n)),
        out_weeks=int(rng.integers(1, 3)),
        spare_units=int(rng.integers(0, 3)),
    )


def exact(given_problem: PlanProblem, **options: object) -> Plan:
    return solve_plan(given_problem, gap=0.0, **options)  # type: ignore[arg-type]


def dearer(one: Plan, other: Plan) -> float:
    return one.expected_cost - other.expected_cost


def least_cost_of_all_plans(p: PlanProblem) -> float:
    """Every plan there is, one by one, each limit written out anew."""
    n, w = p.rebuild_cost.shape
    choices = [(LEAVE, 0), *((act, week) for act in (CHECK, REBUILD) for week in range(w))]
    best = math.inf
    for plan in itertools.product(choices, repeat=n):
        spent, cost = 0.0, 0.0
        bench, away = np.zeros(w), np.zeros(w + p.out_weeks)
        closed = False
        for unit, (act, week) in enumerate(plan):
            if act == LEAVE:
                cost += p.leave_cost[unit]
                continue
            closed |= p.bench_places[week] == 0
            takes = 1.0 if act == REBUILD else p.check_bench[unit]
            spent += p.rebuild_spend[unit] if act == REBUILD else p.check_spend[unit]
            cost += (p.rebuild_cost if act == REBUILD else p.check_cost)[unit, week]
            bench[week] += takes
            away[week : week + p.out_weeks] += takes
        needed = [p.craft_needed[min(k, w - 1)] for k in range(len(away))]
        short = any(need and away[k] > p.spare_units + 1e-9 for k, need in enumerate(needed))
        if closed or short or (bench > p.bench_places + 1e-9).any() or (p.budget is not None and spent > p.budget):
            continue
        best = min(best, cost)
    return best


# Knapsack: Kreher & Stinson, Combinatorial Algorithms; the set as Burkardt publishes it, best 309 with items 1 2 3 4 6.
WEIGHTS = np.array([23.0, 31, 29, 44, 53, 38, 63, 85, 89, 82])
PROFITS = np.array([92.0, 57, 49, 68, 60, 43, 67, 84, 87, 72])


def knapsack() -> PlanProblem:
    return problem(
        10,
        1,
        leave_cost=np.full(10, 500.0),
        rebuild_cost=500.0 - PROFITS[:, None],
        check_cost=np.full((10, 1), 501.0),
        rebuild_spend=WEIGHTS,
        bench_places=np.array([10.0]),
        budget=165.0,
    )


def test_the_published_knapsack() -> None:
    plan = exact(knapsack())
    assert plan.saves == pytest.approx(309.0)
    assert [int(a.unit_id[1:]) + 1 for a in plan.actions if a.action == "rebuild"] == [1, 2, 3, 4, 6]
    assert (plan.spent, plan.gap) == (165.0, 0.0)


@pytest.mark.parametrize("seed", range(100))
def test_the_program_finds_the_best_of_all_plans(seed: int) -> None:
    p = random_problem(seed, 4 if seed % 4 else 5, 3 if seed % 4 else 2)
    assert exact(p).expected_cost == pytest.approx(least_cost_of_all_plans(p), abs=1e-6)


def test_by_hand() -> None:
    """Budget for two of three; the older two save more, and the dearer week is left empty."""
    p = problem(
        3,
        3,
        rebuild_cost=np.array([[1000.0, 1010, 1300], [1000, 1020, 1300], [1000, 1030, 1300]]),
        leave_cost=np.array([2000.0, 2500, 1500]),
        budget=1400.0,
    )
    plan = exact(p)
    assert [(a.action, a.week_of) for a in plan.actions] == [
        ("rebuild", MONDAY + timedelta(weeks=1)),
        ("rebuild", MONDAY),
        ("leave", None),
    ]
    assert (plan.spent, plan.expected_cost, plan.expected_cost_do_nothing) == (1300.0, 3510.0, 6000.0)
    assert [a.saves for a in plan.actions] == [990.0, 1500.0, 0.0]
    assert plan.next_1000 == pytest.approx(200.0)  # the third, for want of another, in the dear week
    assert plan.next_bench_place == pytest.approx(10.0)  # both in the first week
    assert plan.next_bench_week == MONDAY
    assert plan.limits == (
        "The budget binds: the next 1,000 would save a further 200.",
        "The bench binds in weeks 2026-11-02, 2026-11-09: one more place in the week of 2026-11-02 would save a "
        "further 10.",
    )


def test_a_check_is_chosen_where_it_saves_more() -> None:
    plan = exact(problem(1, 1, check_cost=np.array([[900.0]])))
    [planned] = plan.actions
    assert (planned.action, planned.cost, planned.saves, planned.rattle) == ("check", 100.0, 1100.0, 0.1)


def test_what_saves_nothing_is_left() -> None:
    plan = exact(problem(rebuild_cost=np.full((2, 2), 2000.0)))
    assert (plan.count("leave"), plan.spent, plan.saves, plan.limits) == (2, 0.0, 0.0, ())


def test_a_saving_that_is_mere_rounding_is_no_reason_to_rebuild() -> None:
    p = problem(rebuild_cost=np.full((2, 2), 2000.0 - 1e-9), check_cost=np.full((2, 2), 2000.0 - 1e-9))
    assert exact(p).count("leave") == 2
    assert solve_plan(p, time_limit_s=0.0).count("leave") == 2
    assert best_every_n_hours(p, np.array([100.0, 200.0])).n_hours is None


def test_without_units_there_is_nothing_to_plan() -> None:
    assert exact(problem(0, 2)).actions == ()


def test_nothing_is_spent_of_a_budget_of_nothing() -> None:
    for seed in range(20):
        plan = exact(replace(random_problem(seed), budget=0.0))
        assert plan.spent == 0.0


def test_a_closed_week_takes_no_work_not_even_a_check_that_will_not_rattle() -> None:
    p = problem(1, 2, check_cost=np.array([[100.0, 900.0]]), check_bench=np.zeros(1), bench_places=np.array([0.0, 1.0]))
    assert exact(p).actions[0].week_of == MONDAY + timedelta(weeks=1)


def test_a_unit_away_in_a_week_that_earns_needs_a_spare() -> None:
    p = problem(2, 2, out_weeks=2, craft_needed=np.array([False, True]), bench_places=np.full(2, 2.0))
    assert exact(p).count("rebuild") == 0  # out in the first week, it would still be away in the second
    assert exact(replace(p, out_weeks=1)).count("rebuild") == 2
    with_one = exact(replace(p, spare_units=1))
    assert with_one.count("rebuild") == 1
    assert with_one.next_spare_unit == pytest.approx(1000.0)
    assert "Spare units bind" in with_one.limits[-1]


def test_after_the_last_week_all_stays_as_in_it() -> None:
    p = problem(1, 1, out_weeks=3, craft_needed=np.array([True]))
    assert exact(p).count("rebuild") == 0
    assert exact(replace(p, spare_units=1)).count("rebuild") == 1


def test_what_must_be_rebuilt_is_even_where_it_does_not_pay() -> None:
    p = problem(3, 1, leave_cost=np.array([2000.0, 900.0, 2000.0]), must=frozenset({"S1"}))
    plan = exact(p)
    assert [a.action for a in plan.actions] == ["leave", "rebuild", "leave"]
    assert plan.saves == -100.0


@pytest.mark.parametrize(
    ("limits", "named"),
    [
        ({"budget": 1000.0}, r"the budget: they cost 1,300, and it is 1,000"),
        ({"bench_places": np.array([1.0, 0.0])}, "the bench: it has 1 places"),
        ({"craft_needed": np.ones(2, dtype=bool)}, "spare units: 0 to stand in"),
    ],
)
def test_where_not_all_can_be_that_must_the_limit_is_named(limits: dict[str, object], named: str) -> None:
    p = problem(2, 2, must=frozenset({"S0", "S1"}), **limits)
    with pytest.raises(WrongUsage, match=named):
        exact(p)
    with pytest.raises(WrongUsage, match="cannot all be"):
        best_every_n_hours(p, np.array([10.0, 20.0]))


@FEW
@given(st.integers(0, 10_000), st.floats(0, 2000))
def test_more_budget_never_makes_the_plan_dearer(seed: int, more: float) -> None:
    p = replace(random_problem(seed), budget=500.0)
    richer = exact(replace(p, budget=500.0 + more))
    assert dearer(richer, exact(p)) <= 1e-6


@FEW
@given(st.integers(0, 10_000), st.integers(0, 2))
def test_one_more_bench_place_never_makes_the_plan_dearer(seed: int, week: int) -> None:
    p = random_problem(seed)
    places = p.bench_places.copy()
    places[week % len(places)] += 1
    assert dearer(exact(replace(p, bench_places=places)), exact(p)) <= 1e-6


def test_what_a_little_more_buys_is_what_it_buys() -> None:
    for seed in range(12):
        p = replace(random_problem(seed), budget=700.0)
        plan = exact(p)
        assert plan.next_1000 == pytest.approx(dearer(plan, exact(replace(p, budget=1700.0))), abs=0.01)
        gains = [0.0]
        for week in np.flatnonzero(p.bench_places > 0):
            places = p.bench_places.copy()
            places[week] += 1
            gains.append(dearer(plan, exact(replace(p, bench_places=places))))
        assert plan.next_bench_place == pytest.approx(max(gains), abs=0.01)


@FEW
@given(st.integers(0, 10_000))
def test_no_rule_of_every_n_hours_is_cheaper_than_the_plan(seed: int) -> None:
    p = random_problem(seed)
    hours = np.random.default_rng(seed).uniform(0, 300, p.n)
    plan = exact(p)
    best = best_every_n_hours(p, hours)
    assert dearer(plan, best.plan) <= 1e-6
    for n_hours in [0.0, *hours, 1000.0]:
        assert dearer(best.plan, every_n_hours(p, hours, n_hours)) <= 1e-6


def test_a_plan_stopped_at_once_is_still_no_dearer_than_its_rivals() -> None:
    p = replace(random_problem(3), budget=900.0)
    hours = np.arange(p.n, dtype=float)
    rule = best_every_n_hours(p, hours).plan
    hurried = solve_plan(p, time_limit_s=0.0, rivals=[rule])
    assert dearer(hurried, rule) <= 1e-9
    assert dearer(hurried, fill(Schedule(p)).plan()) <= 1e-9
    assert hurried.gap >= 0.0


@FEW
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_the_order_of_the_units_changes_nothing(seed: int, dice: object) -> None:
    p = random_problem(seed)
    order = list(range(p.n))
    dice.shuffle(order)  # type: ignore[attr-defined]
    shuffled = p.of_units(order)
    plan, again = exact(p), exact(shuffled)
    assert [a.unit_id for a in again.actions] == list(shuffled.unit_ids)
    assert sorted(map(repr, again.actions)) == sorted(map(repr, plan.actions))


def test_of_alike_units_the_same_are_chosen_whatever_their_order() -> None:
    p = problem(6, 3, budget=1400.0)
    turned = replace(p, unit_ids=list(p.unit_ids)[::-1], craft_ids=list(p.craft_ids)[::-1])
    assert sorted(map(repr, solve_plan(turned).actions)) == sorted(map(repr, solve_plan(p).actions))


def test_the_rule_takes_the_oldest_first_and_never_one_of_unknown_age() -> None:
    p = problem(4, 2, budget=1400.0)
    hours = np.array([50.0, math.nan, 120.0, 80.0])
    plan = every_n_hours(p, hours, 60.0)
    assert [a.action for a in plan.actions] == ["leave", "leave", "rebuild", "rebuild"]
    assert every_n_hours(p, hours, 10.0).actions == plan.actions  # the bench is full
    assert best_every_n_hours(p, hours).n_hours == 80.0


def test_the_best_rule_may_be_never() -> None:
    p = problem(2, 2, rebuild_cost=np.full((2, 2), 2500.0))
    best = best_every_n_hours(p, np.array([100.0, 200.0]))
    assert best.n_hours is None
    assert best.plan.saves == 0.0


def test_units_of_the_same_age_are_past_n_hours_together() -> None:
    p = problem(2, 2, rebuild_cost=np.array([[1000.0] * 2, [2900.0] * 2]))
    best = best_every_n_hours(p, np.array([100.0, 100.0]))
    assert best.plan.count("rebuild") == 2
    assert best.plan.saves == pytest.approx(100.0)


def test_work_beyond_the_limits_is_no_schedule() -> None:
    p = problem(2, 2, budget=700.0)
    assert schedule_of(p, [(0, REBUILD, 0)]) is not None
    assert schedule_of(p, [(0, REBUILD, 0), (1, REBUILD, 1)]) is None
    assert schedule_of(p, [(0, CHECK, 0), (0, CHECK, 1)]) is None


def test_half_a_rebuild_is_carried_over_to_the_next_open_week() -> None:
    assert bench_places_by_week(2.5, [True, True, False, True, True]).tolist() == [2, 3, 0, 2, 3]
    assert bench_places_by_week(0.1, [True] * 10).tolist() == [0] * 9 + [1]
    assert bench_places_by_week(0.0, [True] * 3).tolist() == [0] * 3


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"weeks": [MONDAY, MONDAY + timedelta(days=8)]}, "Monday"),
        ({"weeks": [MONDAY, MONDAY + timedelta(weeks=2)]}, "follow one another"),
        ({"unit_ids": ["S0", "S0"]}, "S0 is listed more than once"),
        ({"craft_ids": ["C0"]}, "2 units, but 1 craft"),
        ({"leave_cost": np.array([1.0, math.nan])}, "leave_cost holds a value that is no number"),
        ({"leave_cost": np.array([1.0])}, r"leave_cost must have shape \(2,\)"),
        ({"rebuild_spend": np.array([1.0, -2.0])}, "rebuild_spend cannot be below 0"),
        ({"check_bench": np.array([0.1, 1.2])}, "cannot be above 1"),
        ({"budget": -1.0}, "budget"),
        ({"out_weeks": 0}, "at least 1 week"),
        ({"must": frozenset({"S9"})}, "S9 must be rebuilt"),
    ],
)
def test_an_impossible_problem_is_refused(wrong: dict[str, object], words: str) -> None:
    with pytest.raises(WrongUsage, match=words):
        problem(**wrong)


def test_parts_are_those_of_the_rebuilds_with_a_reserve_for_what_may_rattle() -> None:
    p = problem(3, 3, check_cost=np.array([[2100.0] * 3, [2100.0] * 3, [300.0] * 3]))
    order = parts_order(exact(p), as_of=date(2026, 10, 12))
    assert {line.part: line.count for line in order.parts}["drive gear"] == 2
    assert {line.part: line.count for line in order.in_reserve}["drive gear"] == order.rattles == 1
    assert (order.order_by, order.late) == (date(2026, 10, 12), False)
    assert parts_order(exact(p), as_of=date(2026, 10, 13)).late
    assert parts_order(exact(p), as_of=date(2026, 10, 13), lead_time_weeks=2.0).order_by == date(2026, 10, 19)


def test_without_work_no_parts_are_ordered() -> None:
    order = parts_order(exact(problem(budget=0.0)), as_of=MONDAY)
    assert (order.parts, order.in_reserve, order.order_by, order.late) == ((), (), None, False)


def test_the_reserve_by_hand() -> None:
    """Two checks with chances .1 and .2: none rattles with .72, at most one with .98."""
    assert rattles_to_expect([0.1, 0.2], 0.7) == 0
    assert rattles_to_expect([0.1, 0.2], 0.95) == 1
    assert rattles_to_expect([0.1, 0.2], 0.99) == 2
    assert rattles_to_expect([]) == 0


def test_compiled_chatter_stays_off_standard_output() -> None:
    script = (
        "import os\nfrom forecaster.solver_silence import silent_solver\n"
        "print('answer', end=' ')\nwith silent_solver():\n    os.write(1, b'chatter')\nprint('stands')"
    )
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT)
    assert (told.stdout.strip(), told.stderr) == ("answer stands", "")


def test_without_standard_output_the_solver_works_too(monkeypatch: pytest.MonkeyPatch) -> None:
    def closed(_: int) -> int:
        raise OSError(9, "Bad file descriptor")

    monkeypatch.setattr(os, "dup", closed)
    with silent_solver():
        reached = True
    assert reached


@FEW
@given(st.integers(0, 10_000))
def test_work_fits_into_a_week_where_there_is_room_for_it(seed: int) -> None:
    """One week asked alone, beside all weeks at once, on the way of filling a plan at random."""
    p, rng = random_problem(seed), np.random.default_rng(seed)
    schedule = Schedule(p)
    for _ in range(2 * p.n):
        unit, act, week = int(rng.integers(p.n)), int(rng.choice([CHECK, REBUILD])), int(rng.integers(len(p.weeks)))
        fits = schedule.fits(unit, act, week)
        assert fits == schedule.room(unit, act)[week]
        if fits:
            schedule.take(unit, act, week)

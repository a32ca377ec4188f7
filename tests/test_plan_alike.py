"""Weeks that are alike, taken as one: the same best plan as with each on its own, and laid out within the limits."""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import numpy as np
import pytest

from forecaster import plan_program
from forecaster.plan_alike import alike_weeks, laid_out
from forecaster.plan_problem import CHECK, REBUILD, PlanProblem
from forecaster.plan_program import LITTLE_MISSED, gap_left, solve
from tests.test_plan import exact, least_cost_of_all_plans, problem, random_problem


def with_alike_weeks(seed: int) -> PlanProblem:
    """A random small fleet in which all weeks cost the same, some of them in season or closed."""
    p = random_problem(seed, 4, 3)
    weeks = len(p.weeks)
    return replace(
        p,
        rebuild_cost=np.repeat(p.rebuild_cost[:, :1], weeks, axis=1),
        check_cost=np.repeat(p.check_cost[:, :1], weeks, axis=1),
    )


@pytest.mark.parametrize("seed", range(60))
def test_the_best_of_all_plans_is_found(seed: int) -> None:
    p = with_alike_weeks(seed)
    assert exact(p).expected_cost == pytest.approx(least_cost_of_all_plans(p), abs=1e-6)


def test_weeks_are_alike_where_every_cost_is_the_same_but_for_rounding() -> None:
    costs = np.full((2, 5), 1000.0)
    costs[0, 1] += 1e-9
    costs[1, 3] += 0.01
    p = problem(2, 5, rebuild_cost=costs, bench_places=np.array([1.0, 2, 0, 1, 1]))
    assert list(alike_weeks(p)) == [0, 0, 2, 3, 0]


def test_a_week_whose_work_is_away_into_the_season_stands_alone() -> None:
    p = problem(2, 4, craft_needed=np.array([False, False, False, True]), out_weeks=2, spare_units=1)
    assert list(alike_weeks(p)) == [0, 0, 2, 3]


def test_work_is_spread_over_the_weeks_rebuilds_first() -> None:
    p = problem(4, 3, check_bench=np.array([0.1, 0.6, 0.5, 0.5]))
    work = [(0, REBUILD, 0), (1, CHECK, 0), (2, CHECK, 0), (3, CHECK, 0)]
    spread, left_out = laid_out(p, work, alike_weeks(p))
    assert spread == [(0, REBUILD, 0), (1, CHECK, 1), (2, CHECK, 2), (3, CHECK, 2)]
    assert left_out == []


def test_checks_that_fit_only_when_cut_in_two_are_left_out() -> None:
    """Three checks of 0.6 places fit into two places taken together, and not into two weeks of one place each."""
    p = problem(
        3, 2, check_cost=np.full((3, 2), 900.0), check_bench=np.full(3, 0.6), rebuild_cost=np.full((3, 2), 2500.0)
    )
    spread, left_out = laid_out(p, [(i, CHECK, 0) for i in range(3)], alike_weeks(p))
    assert (spread, left_out) == ([(0, CHECK, 0), (1, CHECK, 1)], [(2, CHECK, 0)])
    plan = exact(p)
    assert plan.count("check") == 2
    assert plan.expected_cost == pytest.approx(least_cost_of_all_plans(p))


def test_an_exchange_of_two_checks_makes_room_for_a_third() -> None:
    """.6 and .3 in one week, .5 and .4 in the other: .2 fits once .5 lies where .4 did, beside what was left there."""
    p = problem(5, 2, check_bench=np.array([0.6, 0.5, 0.3, 0.3, 0.2]))
    spread, left_out = laid_out(p, [(i, CHECK, 0) for i in range(5)], alike_weeks(p))
    assert left_out == []
    taken = [sum(p.check_bench[unit] for unit, _, at in spread if at == week) for week in (0, 1)]
    assert max(taken) <= 1.0 + 1e-9


def test_work_of_weeks_that_are_not_alike_is_never_exchanged() -> None:
    costs = np.full((4, 2), 1000.0)
    costs[:, 1] = 1200.0
    p = problem(4, 2, check_cost=costs, check_bench=np.array([0.6, 0.4, 0.3, 0.2]))
    work = [(0, CHECK, 1), (1, CHECK, 1), (2, CHECK, 0), (3, CHECK, 0)]
    spread, left_out = laid_out(p, work, alike_weeks(p))
    assert sorted(spread) == sorted(work)
    assert left_out == []


def test_few_units_whose_checks_do_not_fit_together_are_planned_week_by_week() -> None:
    """Three checks of .6 save 300 in two places taken together, in two weeks but 200; one of them and one of .9 249.

    What saves most for its money, the greedy plan, is two of .6 as well.
    """
    saves = np.array([100.0, 100.0, 100.0, 149.0])
    p = problem(
        4, 2, leave_cost=np.full(4, 1500.0), check_cost=np.repeat(1500.0 - saves[:, None], 2, axis=1),
        rebuild_cost=np.full((4, 2), 2500.0), check_bench=np.array([0.6, 0.6, 0.6, 0.9]),
        check_spend=np.array([60.0, 60.0, 60.0, 200.0]),
    )  # fmt: skip
    assert exact(p).saves == pytest.approx(249.0)


def test_many_checks_come_close_to_the_bound_without_a_program_of_each_week_alone() -> None:
    """For 300 units that program gets nowhere near it in the time it is given."""
    rng = np.random.default_rng(1)
    n, weeks = 300, 12
    bench = rng.uniform(0.08, 0.25, n)
    saves = 40.0 + 800.0 * bench + rng.uniform(0, 60, n)
    p = problem(
        n, weeks, leave_cost=np.full(n, 1500.0), check_cost=np.repeat(1500.0 - saves[:, None], weeks, axis=1),
        rebuild_cost=np.full((n, weeks), 2500.0), check_bench=bench, bench_places=np.full(weeks, 2.0),
        check_spend=np.full(n, 60.0), rebuild_spend=np.full(n, 650.0),
    )  # fmt: skip
    with patch.object(plan_program, "milp", wraps=plan_program.milp) as solver:
        solved = solve(p, 0.0025, 20.0)
    assert solver.call_count == 1
    assert solved.schedule is not None
    assert gap_left(solved.schedule.saves, solved.bound) <= LITTLE_MISSED

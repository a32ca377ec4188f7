"""Weeks that are alike, taken as one: the same best plan as with each on its own, and laid out within the limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from forecaster.plan_alike import alike_weeks, laid_out
from forecaster.plan_places import CHECK, REBUILD
from forecaster.plan_problem import PlanProblem
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
    assert laid_out(p, work, alike_weeks(p)) == [(0, REBUILD, 0), (1, CHECK, 1), (2, CHECK, 2), (3, CHECK, 2)]


def test_checks_that_fit_only_when_cut_in_two_are_no_plan() -> None:
    """Three checks of 0.6 places fit into two places taken together, and not into two weeks of one place each."""
    p = problem(
        3, 2, check_cost=np.full((3, 2), 900.0), check_bench=np.full(3, 0.6), rebuild_cost=np.full((3, 2), 2500.0)
    )
    assert laid_out(p, [(i, CHECK, 0) for i in range(3)], alike_weeks(p)) is None
    plan = exact(p)
    assert plan.count("check") == 2
    assert plan.expected_cost == pytest.approx(least_cost_of_all_plans(p))

"""Time, gap and saving of off-season plans for invented fleets, beside the greedy plan and "every N hours".

    python tests/benchmarks/bench_plan.py [UNITS ...]

26 weeks, the last four in season; half of the units that pay can be paid for. Each fleet twice: with no limit but
those, then with the season's work and bench, parts that come after three weeks, a least gain, and a chance of
overspending of .1 at most. Wall time of one run, the rule's included; the solver's own number of threads.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from forecaster.plan import solve_plan
from forecaster.plan_places import Schedule, fill
from forecaster.plan_problem import PlanProblem
from forecaster.plan_rules import best_every_n_hours

WEEKS = 26


def invented_problem(n: int, seed: int = 1) -> tuple[PlanProblem, np.ndarray]:
    """Units of ages from 0 to 300 h, whose risk grows with age and, in a few, with water; waiting costs a little."""
    rng = np.random.default_rng(seed)
    hours = rng.uniform(0, 300, n)
    risk = np.clip(0.5 * (hours / 250) ** 2 + np.where(rng.random(n) < 0.15, 0.3, 0.0), 0.0, 0.95)
    weeks = [date(2026, 11, 2) + timedelta(weeks=w) for w in range(WEEKS)]
    week = np.arange(WEEKS)
    in_season = week >= WEEKS - 4
    leave = 900 + 3500 * risk * rng.uniform(0.8, 1.2, n)
    rebuild = 650 + 900 + 6 * week + in_season * (400 + 900 * risk[:, None])
    rattle = np.clip(0.3 * risk, 0.02, 0.9)
    check = 60 + leave[:, None] - 0.45 * 3500 * (risk**1.5)[:, None] + rattle[:, None] * 650 + 5 * week + in_season * 90
    return PlanProblem(
        unit_ids=[f"S{i:05}" for i in range(n)],
        craft_ids=[f"C{i:05}" for i in range(n)],
        weeks=weeks,
        rebuild_cost=rebuild,
        check_cost=check,
        leave_cost=leave,
        rebuild_spend=np.full(n, 650.0) + rng.integers(0, 5, n) * 25,
        check_spend=60 + rattle * 650,
        check_bench=rattle,
        bench_places=np.where(np.isin(week, (7, 8)), 0.0, np.ceil(n / 100)),
        craft_needed=in_season,
        budget=650.0 * round(n / 6),
        out_weeks=2,
        spare_units=max(1, n // 50),
    ), hours


def with_every_limit(problem: PlanProblem) -> PlanProblem:
    """The same with units acted on in season, parts after three weeks, a least gain and little overspending."""
    rng, n = np.random.default_rng(2), problem.n
    chance = rng.uniform(0.1, 0.9, n)
    return replace(
        problem,
        season_cost=problem.leave_cost - 400 * chance,
        season_spend=770 * chance,
        season_chance=chance,
        season_week=rng.integers(0, 20, n),
        season_bench=chance,
        season_places=np.full(20, np.ceil(n / 100)),
        kits=0.0,
        parts_week=3,
        least_gain=0.05,
        overspend_chance=0.1,
        least_wait=6.5,
    )


def main(sizes: list[int]) -> None:
    """Print a row per size."""
    print(
        f"{'units':>6} {'seconds':>8} {'gap':>8} {'saves':>10} {'greedy':>10} {'N hours':>10} {'next 1000':>10} "
        f"{'bench':>7} {'spare':>7}"
    )
    for n in sizes:
        invented, hours = invented_problem(n)
        for problem in (invented, with_every_limit(invented)):
            _row(problem, hours)


def _row(problem: PlanProblem, hours: np.ndarray) -> None:
    """Print one row."""
    begun = time.perf_counter()
    rule = best_every_n_hours(problem, hours)
    greedy = fill(Schedule(problem)).saves
    plan = solve_plan(problem, rivals=[rule.plan])
    taken = time.perf_counter() - begun
    print(
        f"{problem.n:>6} {taken:>8.2f} {plan.gap:>8.4%} {plan.saves:>10,.0f} {greedy:>10,.0f} "
        f"{rule.plan.saves:>10,.0f} {plan.next_1000:>10,.0f} {plan.next_bench_place:>7,.0f} "
        f"{plan.next_spare_unit:>7,.0f}"
    )


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]] or [28, 200, 500])

"""Small fleets under every limit that a plan knows, and every plan there is for them, tried one by one."""

from __future__ import annotations

import itertools
from datetime import date, timedelta

import numpy as np

from forecaster.plan_problem import CHECK, LEAVE, REBUILD, SEASON, Plan, PlanProblem

MONDAY = date(2026, 11, 2)


def limited_problem(seed: int, most_units: int = 4, most_weeks: int = 2, overspend: bool = True) -> PlanProblem:
    """Each limit now tight, now loose, now none; what is risked and saved by chance."""
    rng = np.random.default_rng(seed)
    n, w, s = int(rng.integers(1, most_units + 1)), int(rng.integers(1, most_weeks + 1)), int(rng.integers(1, 3))
    closed = rng.uniform(1500, 5000, n)
    rattle = rng.uniform(0, 0.8, n)
    chance = rng.uniform(0, 0.9, n)
    rebuild = 650.0 + 25.0 * rng.integers(0, 3, n)
    share = np.where(rng.random(n) < 0.5, 1.0, rng.uniform(0.1, 0.4, n))  # of those acted on that end on the bench
    return PlanProblem(
        unit_ids=[f"S{i:03}" for i in range(n)],
        craft_ids=[f"C{i:03}" for i in range(n)],
        weeks=[MONDAY + timedelta(weeks=k) for k in range(w)],
        rebuild_cost=closed[:, None] - rng.uniform(-300, 1500, (n, 1)) + rng.choice([0.0, 40.0], (n, w)),
        check_cost=closed[:, None] - rng.uniform(-300, 1200, (n, w)),
        leave_cost=closed,
        rebuild_spend=rebuild,
        check_spend=60 + rebuild * rattle,
        check_bench=rattle,
        bench_places=rng.integers(0, 3, w).astype(float),
        craft_needed=rng.random(w) < 0.2,
        budget=None if rng.random() < 0.15 else float(rng.uniform(0, 500 * n)),
        out_weeks=int(rng.integers(1, 3)),
        spare_units=int(rng.integers(0, 3)),
        season_cost=closed - rng.uniform(-100, 900, n),
        season_spend=np.where(share < 1, 60 * chance, 0) + 770 * chance * share,
        season_chance=chance,
        season_week=rng.integers(-1, s, n),
        season_bench=chance * share,
        season_places=np.empty(0) if rng.random() < 0.3 else rng.integers(0, 2, s).astype(float),
        season_budget=None if rng.random() < 0.5 else float(rng.uniform(0, 600 * n)),
        kits=float("inf") if rng.random() < 0.3 else float(rng.integers(0, 3)),
        parts_week=int(rng.integers(0, w + 1)),
        least_gain=float(rng.choice([0.0, 0.05, 0.3])),
        overspend_chance=float(rng.choice([0.0, 0.1, 0.3, 1.0])) if overspend else 1.0,
        rattle_draws=np.clip(rattle[:, None] * np.array([0.7, 1.0, 1.3]), 0, 1),
    )


def worth_of(p: PlanProblem, plan: Plan) -> float:
    """What a plan saves, less the least that its money must bring."""
    return plan.saves - p.least_gain * sum(one.cost + one.season_spend for one in plan.actions)


def greatest_worth_of_all_plans(p: PlanProblem) -> float:
    """Every plan there is, one by one, each limit written out anew."""
    n, w = p.rebuild_cost.shape
    choices = [(LEAVE, 0), (SEASON, 0), *((act, week) for act in (CHECK, REBUILD) for week in range(w))]
    return max(
        worth
        for work in itertools.product(choices, repeat=n)
        if (worth := _worth(p, work)) >= 0 and _within_limits(p, work) and _chance(p, work) <= p.overspend_chance + 1e-9
    )


def _worth(p: PlanProblem, work: tuple[tuple[int, int], ...]) -> float:
    worth = 0.0
    for i, (act, week) in enumerate(work):
        if act == REBUILD:
            worth += p.leave_cost[i] - p.rebuild_cost[i, week] - p.least_gain * p.rebuild_spend[i]
        elif act == CHECK:
            worth += p.leave_cost[i] - p.check_cost[i, week] - p.least_gain * p.check_spend[i]
        elif act == SEASON:
            worth += p.leave_cost[i] - p.season_cost[i] - p.least_gain * p.season_spend[i]
    return worth


def _within_limits(p: PlanProblem, work: tuple[tuple[int, int], ...]) -> bool:
    w = len(p.weeks)
    bench, away, kits = np.zeros(w), np.zeros(w + p.out_weeks), 0.0
    season, now, later = np.zeros(max(len(p.season_places), 3)), 0.0, 0.0
    for i, (act, week) in enumerate(work):
        if act in (CHECK, REBUILD):
            takes = 1.0 if act == REBUILD else p.check_bench[i]
            if p.bench_places[week] == 0:
                return False
            bench[week] += takes
            away[week : week + p.out_weeks] += takes
            kits += takes if week < p.parts_week else 0.0
            now += p.rebuild_spend[i] if act == REBUILD else p.check_spend[i]
        elif act == SEASON:
            later += p.season_spend[i]
            if p.season_week[i] >= 0:
                season[p.season_week[i]] += p.season_bench[i]
    needed = [p.craft_needed[min(k, w - 1)] for k in range(len(away))]
    if any(need and away[k] > p.spare_units + 1e-9 for k, need in enumerate(needed)):
        return False
    if (bench > p.bench_places + 1e-9).any() or kits > p.kits + 1e-9:
        return False
    if len(p.season_places) and (season[: len(p.season_places)] > p.season_places + 1e-9).any():
        return False
    if p.season_budget is not None and later > p.season_budget:
        return False
    shared = later if p.season_budget is None else 0.0
    return p.budget is None or now + shared <= p.budget


def chance_of_all_outcomes(p: PlanProblem, work: list[tuple[int, int]]) -> float:
    """The chance that this work, (unit, act) each, overspends: every outcome under every draw, one by one."""
    found = 0.0
    for d in range(p.rattle_draws.shape[1]):
        money: list[tuple[float, float, float, bool]] = []  # sure, on top, its chance, whether the season's
        for i, act in work:
            if act == REBUILD:
                money.append((p.rebuild_spend[i], 0.0, 0.0, False))
            elif act == CHECK:
                sure = max(p.check_spend[i] - p.check_bench[i] * p.rebuild_spend[i], 0.0)
                on_top = (p.check_spend[i] - sure) / p.check_bench[i] if p.check_bench[i] else 0.0
                money.append((sure, on_top, p.rattle_draws[i, d], False))
            elif act == SEASON and p.season_bench[i] < p.season_chance[i]:  # a check
                sure = min(
                    p.season_chance[i] * (p.check_spend[i] - p.check_bench[i] * p.rebuild_spend[i]), p.season_spend[i]
                )
                on_top = (p.season_spend[i] - sure) / p.season_bench[i]
                money.append((sure, on_top, p.season_bench[i], True))
            elif act == SEASON:
                on_top = p.season_spend[i] / p.season_chance[i] if p.season_chance[i] else 0.0
                money.append((0.0, on_top, p.season_chance[i], True))
        for comes in itertools.product((False, True), repeat=len(money)):
            chance = np.prod([q if yes else 1 - q for yes, (_, _, q, _) in zip(comes, money, strict=True)])
            spent = [0.0, 0.0]
            for yes, (sure, on_top, _, of_season) in zip(comes, money, strict=True):
                spent[of_season and p.season_budget is not None] += sure + on_top * yes
            over = (p.budget is not None and spent[0] > p.budget + 0.005) or (
                p.season_budget is not None and spent[1] > p.season_budget + 0.005
            )
            found += float(chance) * over / p.rattle_draws.shape[1]
    return found


def _chance(p: PlanProblem, work: tuple[tuple[int, int], ...]) -> float:
    return 0.0 if p.overspend_chance >= 1 else chance_of_all_outcomes(p, [(i, act) for i, (act, _) in enumerate(work)])

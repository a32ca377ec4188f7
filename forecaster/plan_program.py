"""The off-season plan as a mixed-integer program: the work that saves most within the budget, the bench and the spares.

One 0/1 variable for each unit, kind of work and week in which it would save something, and one for acting in season:
    maximise   sum of savings, each less the least that its money must bring
    such that  each unit gets at most one work (exactly one rebuild if it must be rebuilt)
               sum of spending <= budget, with the season's, or that <= a budget of its own
               bench places taken in each week, and in each of the season's <= places of that week
               rebuilds before ordered parts are here <= kits on the shelf
               units away in each week in which craft earn <= spare units
               not all work of a set at once that would too often cost more than there is (``covers``)
All limits are upper ones, so that work that saves nothing can be left out beforehand. Solved by branch and bound
(HiGHS, through scipy).
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from forecaster.plan_alike import alike_weeks, laid_out, with_alike_costs
from forecaster.plan_overspend import Piece
from forecaster.plan_places import NO_WEEK, Schedule, fill, schedule_of
from forecaster.plan_problem import CHECK, LEAST_SAVING, REBUILD, SEASON, TOLERANCE, PlanProblem
from forecaster.solver_silence import silent_solver

# Taking weeks that are alike each on its own is worth its time for few units, or where much is missed without. Measured
# on 16 invented fleets of 28 to 300 units: in 4 s it found the same plan or one that saves up to 5 % less, and one that
# saves 0.2 % more once.
FEW_UNITS = 30
LITTLE_MISSED = 0.01
Covers = Sequence[tuple[frozenset[Piece], int]]  # sets of work, and how many of each may be done at most


@dataclass(frozen=True)
class Solved:
    """A program's answer: `schedule` (None: none was found in time), and a bound above which no plan can save.

    `extra_week`: where the additional bench place went, if one was offered and used. `feasible`: False where no plan
    whatever keeps within the limits. `left_out`: how much work of the answer found no place in weeks taken as one.
    `seldom`: the chance of overspending kept it from being better (``plan_seldom``).
    """

    schedule: Schedule | None
    bound: float
    extra_week: int | None = None
    feasible: bool = True
    left_out: int = 0
    seldom: bool = False


@dataclass(frozen=True)
class _Options:
    """Work that may be chosen, one entry each: unit, act and week, what it is worth, spends and takes of the bench."""

    unit: np.ndarray
    act: np.ndarray
    week: np.ndarray
    saving: np.ndarray
    spend: np.ndarray
    places: np.ndarray

    def in_weeks(self, wanted: np.ndarray) -> _Options:
        """Those in the weeks that are wanted, (W,) bool, and all of the season."""
        kept = wanted[self.week] | (self.act == SEASON)
        return _Options(*(part[kept] for part in vars(self).values()))

    def and_more(self, other: _Options) -> _Options:
        """These, and the others after them."""
        pairs = zip(vars(self).values(), vars(other).values(), strict=True)
        return _Options(*(np.concatenate(pair) for pair in pairs))


def _options(problem: PlanProblem, must_only: bool, extra_place: bool) -> _Options:
    p = problem
    must = np.array([unit in p.must for unit in p.unit_ids], dtype=bool)
    saving = np.stack([p.worth(CHECK), p.worth(REBUILD)])
    spend = np.broadcast_to(np.stack([p.check_spend + p.check_reserve, p.rebuild_spend])[:, :, None], saving.shape)
    places = np.broadcast_to(np.stack([p.check_bench, np.ones(p.n)])[:, :, None], saving.shape)
    wanted = (saving >= LEAST_SAVING) & (not must_only)
    wanted[0, must], wanted[1, must] = False, True
    wanted &= (p.bench_places > 0) & (places <= p.bench_places + extra_place + TOLERANCE)
    wanted &= (np.arange(len(p.weeks)) >= p.parts_week) | (places <= p.kits + TOLERANCE)
    if p.budget is not None:
        wanted &= spend <= p.budget + TOLERANCE
    kind, unit, week = np.nonzero(wanted)
    now = _Options(unit, np.array([CHECK, REBUILD])[kind], week, saving[wanted], spend[wanted], places[wanted])
    return now if must_only else now.and_more(_in_season(p, ~must))


def _in_season(problem: PlanProblem, allowed: np.ndarray) -> _Options:
    """Acting in season, of the units that may be left, (n,) bool."""
    p, spend = problem, problem.season_spend + problem.season_reserve
    wanted = allowed & (p.worth(SEASON) >= LEAST_SAVING)
    if len(p.season_places):
        most = np.where(p.season_week >= 0, p.season_places[p.season_week], np.inf)
        wanted &= p.season_bench <= most + TOLERANCE
    budget = p.budget if p.season_budget is None else p.season_budget
    if budget is not None:
        wanted &= spend <= budget + TOLERANCE
    unit = np.flatnonzero(wanted)
    act, week = np.full(len(unit), SEASON), np.full(len(unit), NO_WEEK)
    return _Options(unit, act, week, p.worth(SEASON)[unit], spend[unit], p.season_bench[unit])


def solve(
    problem: PlanProblem,
    gap: float,
    time_limit_s: float,
    extra_place: bool = False,
    must_only: bool = False,
    covers: Covers = (),
) -> Solved:
    """The work of greatest worth, to within `gap` (a share of it), or the best found in `time_limit_s`.

    The chance of overspending is not looked at but for `covers`: sets of (unit, act) of which not all may be done.
    `extra_place`: one more bench place in an open week of the solver's choice. `must_only`: nothing but what must be.
    Weeks that are alike are taken as one. What then finds no place in them is left out; where too much is missed for
    it, the weeks are taken once more each on its own.
    """
    begun, first = time.monotonic(), alike_weeks(problem)
    asked = (extra_place, must_only, covers)
    together = _solve(problem, first, gap, time_limit_s, *asked)
    if together.schedule is None or not together.left_out:
        return together
    missed = gap_left(fill(together.schedule).worth, together.bound)
    if missed <= gap or (missed <= LITTLE_MISSED and together.schedule.problem.n > FEW_UNITS):
        return together
    left = time_limit_s - (time.monotonic() - begun)
    apart = _solve(problem, np.arange(len(first)), gap, left, *asked)
    better = together if apart.schedule is None or apart.schedule.worth < together.schedule.worth else apart
    return replace(better, bound=min(together.bound, apart.bound))


def gap_left(worth: float, bound: float) -> float:
    """What could at most still be gained where no plan is worth more than `bound`, as a share of what this one is."""
    return (bound - worth) / max(abs(worth), LEAST_SAVING) if bound - worth > LEAST_SAVING else 0.0


def _solve(
    problem: PlanProblem,
    first: np.ndarray,
    gap: float,
    time_limit_s: float,
    extra_place: bool,
    must_only: bool,
    covers: Covers,
) -> Solved:
    """The same with weeks taken together that have the same `first`, (W,)."""
    own = first == np.arange(len(first))
    options = _options(with_alike_costs(problem, first), must_only, extra_place).in_weeks(own)
    offered = np.flatnonzero((problem.bench_places > 0) & own) if extra_place else np.array([], dtype=int)
    m = len(options.unit)
    if m == 0:
        return Solved(Schedule(problem) if not problem.must else None, 0.0, feasible=not problem.must)
    places = np.bincount(first, weights=problem.bench_places, minlength=len(first))
    matrix, least, most = _limits(problem, options, offered, places, covers)
    greatest = float(np.abs(options.saving).max())
    with silent_solver():
        answer = milp(
            np.concatenate([-options.saving / greatest, np.zeros(len(offered))]),
            integrality=np.ones(m + len(offered), dtype=int),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(matrix, least, most),
            # Without presolve: on these programs it took 3 to 8 times as long with it.
            options={"time_limit": max(time_limit_s, 0.01), "mip_rel_gap": gap, "presolve": False},
        )
    bound = _bound(problem, options, answer.mip_dual_bound, greatest)
    if answer.x is None:
        return Solved(None, bound, feasible=answer.status != 2)
    chosen = np.flatnonzero(answer.x[:m] > 0.5)
    extra = offered[answer.x[m:] > 0.5]
    work = [(int(options.unit[j]), int(options.act[j]), int(options.week[j])) for j in chosen]
    extra_week = int(extra[0]) if len(extra) else None
    wider = with_place(problem, extra_week)
    spread, left_out = laid_out(wider, [one for one in work if one[1] != SEASON], first)
    spread += [one for one in work if one[1] == SEASON]
    return Solved(schedule_of(replace(wider, overspend_chance=1.0), spread), bound, extra_week, left_out=len(left_out))


def with_place(problem: PlanProblem, week: int | None) -> PlanProblem:
    """The same problem with one more bench place in a week; None: as it is."""
    if week is None:
        return problem
    places = problem.bench_places.copy()
    places[week] += 1.0
    return replace(problem, bench_places=places)


def _bound(problem: PlanProblem, options: _Options, dual: float | None, greatest: float) -> float:
    """No plan is worth more: the solver's bound, or, where it ran out of time before it had one, each unit's best."""
    best = np.zeros(problem.n)
    np.maximum.at(best, options.unit, options.saving)
    loose = float(best.sum())
    return min(loose, -dual * greatest) if dual is not None and math.isfinite(dual) else loose


def _limits(
    problem: PlanProblem, options: _Options, offered: np.ndarray, places: np.ndarray, covers: Covers
) -> tuple[coo_array, np.ndarray, np.ndarray]:
    """Rows of the program: units, benches, money, parts, one extra place at most, spares that stand in, and covers.

    `places` (W,): bench places of each week, those of weeks that are alike at the first of them.
    """
    m = len(options.unit)
    column, extra = np.arange(m), m + np.arange(len(offered))
    now = np.flatnonzero(options.act != SEASON)
    later = np.flatnonzero(options.act == SEASON)
    must = np.array([unit in problem.must for unit in problem.unit_ids], dtype=bool)
    rows = _Rows()

    units = rows.add(np.where(must, 1.0, -np.inf), np.ones(problem.n))
    rows.put(units + options.unit, column, np.ones(m))

    bench = rows.add(None, places)
    rows.put(bench + options.week[now], now, options.places[now])
    rows.put(bench + offered, extra, -np.ones(len(offered)))

    if len(problem.season_places):
        of_season = rows.add(None, problem.season_places)
        at = problem.season_week[options.unit[later]]
        rows.put(of_season + at[at >= 0], later[at >= 0], options.places[later[at >= 0]])

    shared = problem.season_budget is None
    rows.put_money(problem.budget, column if shared else now, options.spend)
    if not shared:
        rows.put_money(problem.season_budget, later, options.spend)

    early = now[options.week[now] < problem.parts_week]
    if math.isfinite(problem.kits) and len(early):
        rows.put_one(problem.kits, early, options.places[early])

    if len(offered):
        rows.put_one(1.0, extra, np.ones(len(offered)))

    spares = problem.spares_by_week
    away = rows.add(None, spares)
    for after in range(problem.out_weeks):
        held = now[np.isfinite(spares[options.week[now] + after])]
        rows.put(away + options.week[held] + after, held, options.places[held])

    for cover, most in covers:
        among = np.array([(u, a) in cover for u, a in zip(options.unit.tolist(), options.act.tolist(), strict=True)])
        rows.put_one(float(most), np.flatnonzero(among), np.ones(int(among.sum())))
    return rows.matrix(m + len(offered))


class _Rows:
    """The sparse matrix of the program, built row block by row block."""

    def __init__(self) -> None:
        self.least: list[np.ndarray] = []
        self.most: list[np.ndarray] = []
        self.entries: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
        self.height = 0

    def add(self, least: np.ndarray | None, most: np.ndarray) -> int:
        """New rows with these limits; returns the first one's number."""
        first = self.height
        self.least.append(np.full(len(most), -np.inf) if least is None else least)
        self.most.append(most)
        self.height += len(most)
        return first

    def put_one(self, most: float, column: np.ndarray, value: np.ndarray) -> None:
        """One row with an upper limit."""
        self.put(np.full(len(column), self.add(None, np.array([most]))), column, value)

    def put_money(self, budget: float | None, column: np.ndarray, spend: np.ndarray) -> None:
        """A budget, where there is one, for the work of these columns."""
        if budget is None or math.isinf(budget) or not len(column):
            return
        # Whole cents, rounded against us, in parts of the dearest work: what the solver takes for 0 is below a cent.
        unit = max(float(spend[column].max()), 1.0)
        most = np.floor(budget * 100 + TOLERANCE) / 100 / unit
        self.put_one(most, column, np.ceil(spend[column] * 100 - TOLERANCE) / 100 / unit)

    def put(self, row: np.ndarray, column: np.ndarray, value: np.ndarray) -> None:
        self.entries.append((row, column, value))

    def matrix(self, width: int) -> tuple[coo_array, np.ndarray, np.ndarray]:
        row, column, value = (np.concatenate(part) for part in zip(*self.entries, strict=True))
        matrix = coo_array((value, (row, column)), shape=(self.height, width))
        return matrix, np.concatenate(self.least), np.concatenate(self.most)

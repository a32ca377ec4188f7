"""The off-season plan: what to do with each unit, and when, at the least expected cost within the limits."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from forecaster.errors import ModelError, WrongUsage
from forecaster.plan_binding import limits_in_words
from forecaster.plan_early import earliest
from forecaster.plan_overspend import chance_of_overspending, has_money_limit
from forecaster.plan_places import NO_WEEK, Schedule, fill, schedule_of
from forecaster.plan_problem import (
    CHECK,
    LEAST_SAVING,
    LEAVE,
    REBUILD,
    SAME_COST,
    SEASON,
    TOLERANCE,
    Plan,
    PlanProblem,
    act_of,
)
from forecaster.plan_program import Solved, gap_left, solve, with_place
from forecaster.plan_seldom import solve_seldom

MORE_BUDGET = 1000.0
# What a little more of a limit would save is a difference of two plans, and their slack would drown it: so the solver
# is asked for a quarter of the gap first, and where its time was too short for the gap itself, once more for just that.
FINE = 0.25
# Of the time: for the fine plan, for the coarse one, and for each limit of which a little more is tried.
FINE_SHARE, COARSE_SHARE, MORE_SHARE = 0.2, 0.3, 0.08

Progress = Callable[[str], None]


def solve_plan(
    problem: PlanProblem,
    gap: float = 0.01,
    time_limit_s: float = 20.0,
    progress: Progress | None = None,
    rivals: Sequence[Plan] = (),
) -> Plan:
    """The plan of least expected cost, to within `gap` of what can be saved at all (``Plan.gap``: what it came to).

    Within `time_limit_s` for everything, what a little more of each limit buys included; where the program has no
    answer by then, the plan is filled by greatest saving for its money. `rivals`: plans of the same problem that are
    known already, such as a rule's; the answer is never worth less than any of them. Of weeks that cost the same, work
    gets the earliest that is free (``plan_early``).

    WrongUsage where the units that must be rebuilt cannot all be: the message says which limit stands in the way.
    """
    tell = progress or (lambda _: None)
    given, problem = problem, _in_order(problem)  # so that the order of the units changes nothing
    tell(f"Planning {problem.n:,} units over {len(problem.weeks)} weeks ...")
    must = must_be_done(problem, time_limit_s)
    known = [again for rival in rivals if (again := _again(problem, rival)) is not None]
    best, bound = _best(problem, must, known, gap, time_limit_s)
    best = max((earliest(schedule) for schedule in (best, *known)), key=lambda schedule: schedule.worth)
    more = _More(problem, best, FINE * gap, MORE_SHARE * time_limit_s, tell)
    place, week = more.bench_place()
    unlimited, risk = more.no_overspend_limit()
    plan = replace(
        best.plan(),
        gap=gap_left(best.worth, bound),
        next_1000=more.budget(),
        next_bench_place=place,
        next_bench_week=None if week is None else problem.weeks[week],
        next_spare_unit=more.spare_unit(),
        next_season_1000=more.season_budget(),
        next_season_place=more.season_place(),
        next_kit=more.kit(),
        no_overspend_limit=unlimited,
    )
    by_unit = {planned.unit_id: planned for planned in plan.actions}
    actions = tuple(by_unit[unit] for unit in given.unit_ids)
    return replace(plan, actions=actions, limits=limits_in_words(problem, best, plan, risk))


def _in_order(problem: PlanProblem) -> PlanProblem:
    return problem.of_units(sorted(range(problem.n), key=lambda i: problem.unit_ids[i]))


def must_be_done(problem: PlanProblem, time_limit_s: float = 20.0) -> Schedule:
    """The rebuilds that must be, each where it costs least, and nothing else; an empty schedule where none must be.

    WrongUsage where they do not fit: which limit stands in the way. ModelError where the time ran out.
    """
    if not problem.must:
        return Schedule(problem)
    solved = solve(problem, 0.0, time_limit_s, must_only=True)
    if not solved.feasible:
        raise WrongUsage(_why_not(problem))
    if solved.schedule is None:
        raise ModelError(
            f"No week was found in {time_limit_s:g} s for the units that must be rebuilt. Allow more time."
        )
    return solved.schedule


def _why_not(problem: PlanProblem) -> str:
    """Which limit keeps the units that must be rebuilt from being rebuilt."""
    units = sorted(problem.must)
    spend = sum(float(problem.rebuild_spend[i]) for i, unit in enumerate(problem.unit_ids) if unit in problem.must)
    bench = float(np.floor(problem.bench_places + TOLERANCE).sum())
    why = []
    if problem.budget is not None and spend > problem.budget + TOLERANCE:
        why.append(f"the budget: they cost {spend:,.0f}, and it is {problem.budget:,.0f}")
    if len(units) > bench:
        why.append(f"the bench: it has {bench:,.0f} places in these weeks")
    if problem.parts_week and math.isfinite(problem.kits):
        here = problem.bench_places[problem.parts_week :]
        if len(units) > problem.kits + float(np.floor(here + TOLERANCE).sum()):
            why.append(
                f"parts: {problem.kits:,.0f} sets on the shelf, and ordered ones are here too late for the bench"
            )
    if not why:
        free = replace(problem, craft_needed=np.zeros(len(problem.weeks), dtype=bool), budget=None)
        if solve(free, 0.0, 5.0, must_only=True).feasible:
            why.append(f"spare units: {problem.spare_units} to stand in, in weeks in which the craft earn")
    told = "; and ".join(why) or "the limits taken together"
    return (
        f"{len(units)} units must be rebuilt ({', '.join(units[:10])}{' ...' if len(units) > 10 else ''}), and cannot "
        f"all be. In the way: {told}. Raise that limit, give the work more time, or let fewer units be rebuilt."
    )


def _again(problem: PlanProblem, plan: Plan) -> Schedule | None:
    """A plan as a schedule of this problem; None where it does not keep within its limits."""
    at = {unit: number for number, unit in enumerate(problem.unit_ids)}
    week = {monday: number for number, monday in enumerate(problem.weeks)}
    if {planned.unit_id for planned in plan.actions} != set(at):
        raise WrongUsage("A rival plan must hold the same units as the problem.")
    work = [
        (at[a.unit_id], act, week[a.week_of] if a.week_of else NO_WEEK)
        for a in plan.actions
        if (act := act_of(a)) != LEAVE
    ]
    left_out = {a.unit_id for a in plan.actions if a.action != "rebuild"} & problem.must
    return None if left_out else schedule_of(problem, work)


def _copy(problem: PlanProblem, schedule: Schedule) -> Schedule | None:
    """The same work under other limits."""
    return schedule_of(problem, [(i, act, int(schedule.week[i])) for i, act in schedule.work])


def _best(
    problem: PlanProblem, must: Schedule, known: Sequence[Schedule], gap: float, time_limit_s: float
) -> tuple[Schedule, float]:
    """The best of the program's plan, the greedy ones and those known; and the bound above which none is worth."""
    solved = solve_seldom(problem, FINE * gap, FINE_SHARE * time_limit_s)
    begun = [solved.schedule, _copy(problem, must), *known]
    for first in ((REBUILD,), (REBUILD, CHECK)):
        if (again := _copy(problem, must)) is not None:
            begun.append(fill(again, first))
    found = [fill(schedule) for schedule in begun if schedule is not None]
    best, bound = max(found, key=lambda schedule: schedule.worth), solved.bound
    if gap_left(best.worth, bound) > gap and not solved.seldom:
        coarse = solve_seldom(problem, gap, COARSE_SHARE * time_limit_s)
        bound = min(bound, coarse.bound)
        if coarse.schedule is not None:
            best = max(best, fill(coarse.schedule), key=lambda schedule: schedule.worth)
    return best, max(bound, best.worth)


@dataclass(frozen=True)
class _More:
    """What a little more of each limit would save, solved again; never below 0, since the plan still holds."""

    problem: PlanProblem
    best: Schedule
    gap: float
    time_limit_s: float
    tell: Progress

    def budget(self) -> float:
        if self.problem.budget is None:
            return 0.0
        self.tell("What the next 1,000 of budget would save ...")
        return self._gain(replace(self.problem, budget=self.problem.budget + MORE_BUDGET))

    def season_budget(self) -> float:
        own = self.problem.season_budget
        if own is None or math.isinf(own):
            return 0.0
        self.tell("What the next 1,000 of the season's budget would save ...")
        return self._gain(replace(self.problem, season_budget=own + MORE_BUDGET))

    def bench_place(self) -> tuple[float, int | None]:
        if self._has_room():
            return 0.0, None
        self.tell("What one more bench place would save ...")
        solved = solve_seldom(self.problem, self.gap, self.time_limit_s, extra_place=True)
        if solved.extra_week is None:
            return 0.0, None
        gain = self._gained(with_place(self.problem, solved.extra_week), solved)
        return gain, solved.extra_week if gain > LEAST_SAVING else None

    def no_overspend_limit(self) -> tuple[float, float]:
        """Without a limit on overspending, and the chance of it then."""
        if self.problem.overspend_chance >= 1 or not has_money_limit(self.problem):
            return 0.0, 0.0
        wider = replace(self.problem, overspend_chance=1.0)
        solved = solve_seldom(wider, self.gap, self.time_limit_s)
        gain = self._gained(wider, solved)
        return gain, 0.0 if solved.schedule is None else chance_of_overspending(wider, solved.schedule.work)

    def season_place(self) -> float:
        if not _season_is_short(self.problem):
            return 0.0
        self.tell("What one more rebuild a week in season would save ...")
        return self._gain(replace(self.problem, season_places=self.problem.season_places + 1.0))

    def kit(self) -> float:
        early = self.problem.bench_places[: self.problem.parts_week]
        if math.isinf(self.problem.kits) or early.sum() <= self.problem.kits or self._has_room():
            return 0.0
        self.tell("What one more set of parts on the shelf would save ...")
        return self._gain(replace(self.problem, kits=self.problem.kits + 1.0))

    def spare_unit(self) -> float:
        if not (self.problem.craft_needed & (self.problem.bench_places > 0)).any():
            return 0.0
        self.tell("What one more spare unit would save ...")
        return self._gain(replace(self.problem, spare_units=self.problem.spare_units + 1))

    def _has_room(self) -> bool:
        """Whether a place is free in a week that is as good for all work as any: then one more changes nothing."""
        p, schedule = self.problem, self.best
        is_open = p.bench_places > 0
        costs = np.concatenate([p.rebuild_cost, p.check_cost])
        if not is_open.any() or not p.n:
            return True
        as_good = (costs <= costs[:, is_open].min(axis=1)[:, None] + SAME_COST).all(axis=0) & is_open
        as_good &= np.arange(len(p.weeks)) >= (p.parts_week if math.isfinite(p.kits) else 0)
        spare = sliding_window_view(schedule.spares, p.out_weeks).min(axis=1)
        return bool((as_good & (schedule.places >= 1 - TOLERANCE) & (spare >= 1 - TOLERANCE)).any())

    def _gain(self, wider: PlanProblem) -> float:
        return self._gained(wider, solve_seldom(wider, self.gap, self.time_limit_s))

    def _gained(self, wider: PlanProblem, solved: Solved) -> float:
        """Saved over and above; the plan as it is, filled up, stands in where the solver found nothing better."""
        found = [schedule for schedule in (solved.schedule, _copy(wider, self.best)) if schedule is not None]
        best = max((fill(schedule) for schedule in found), key=lambda schedule: schedule.worth)
        gain = best.saves - self.best.saves
        return gain if gain > LEAST_SAVING else 0.0


def _season_is_short(problem: PlanProblem) -> bool:
    """Whether in some week of the season the bench cannot take all units that would first act in it."""
    p = problem
    acts = (p.season_week >= 0) & (p.worth(SEASON) >= LEAST_SAVING)
    if not len(p.season_places) or not acts.any():
        return False
    wanted = np.bincount(p.season_week[acts], weights=p.season_bench[acts], minlength=len(p.season_places))
    return bool((wanted > p.season_places + TOLERANCE).any())

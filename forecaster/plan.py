"""The off-season plan: what to do with each unit, and when, at the least expected cost within the limits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from forecaster.errors import ModelError, WrongUsage
from forecaster.plan_early import earliest
from forecaster.plan_places import CHECK, LEAVE, REBUILD, Schedule, fill, schedule_of
from forecaster.plan_problem import LEAST_SAVING, TOLERANCE, Plan, PlanProblem
from forecaster.plan_program import Solved, gap_left, solve, with_place

MORE_BUDGET = 1000.0
# What a little more of a limit would save is a difference of two plans, and their slack would drown it: so the solver
# is asked for a quarter of the gap first, and where its time was too short for the gap itself, once more for just that.
FINE = 0.25
# Of the time: for the fine plan, for the coarse one, and for each limit of which a little more is tried.
FINE_SHARE, COARSE_SHARE, MORE_SHARE = 0.2, 0.4, 0.1

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
    known already, such as a rule's; the answer is never dearer than any of them. Of weeks that cost the same, work
    gets the earliest that is free (``plan_early``).

    WrongUsage where the units that must be rebuilt cannot all be: the message says which limit stands in the way.
    """
    tell = progress or (lambda _: None)
    given, problem = problem, _in_order(problem)  # so that the order of the units changes nothing
    tell(f"Planning {problem.n:,} units over {len(problem.weeks)} weeks ...")
    must = must_be_done(problem, time_limit_s)
    known = [again for rival in rivals if (again := _again(problem, rival)) is not None]
    best, bound = _best(problem, must, known, gap, time_limit_s)
    best = earliest(best)
    more = _More(problem, best, FINE * gap, MORE_SHARE * time_limit_s, tell)
    budget, (place, week), spare = more.budget(), more.bench_place(), more.spare_unit()
    plan = replace(
        best.plan(),
        gap=gap_left(best.saves, bound),
        next_1000=budget,
        next_bench_place=place,
        next_bench_week=None if week is None else problem.weeks[week],
        next_spare_unit=spare,
    )
    by_unit = {planned.unit_id: planned for planned in plan.actions}
    actions = tuple(by_unit[unit] for unit in given.unit_ids)
    return replace(plan, actions=actions, limits=_limits_in_words(problem, best, plan))


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
    if not why:
        free = replace(problem, craft_needed=np.zeros(len(problem.weeks), dtype=bool), budget=None)
        if solve(free, 0.0, 5.0, must_only=True).feasible:
            why.append(f"spare units: {problem.spare_units} to stand in, in weeks in which the craft earn")
    told = "; and ".join(why) or "the limits taken together"
    return (
        f"{len(units)} units must be rebuilt ({', '.join(units[:10])}{' ...' if len(units) > 10 else ''}), and cannot "
        f"all be. In the way: {told}. Raise that limit, start earlier, or let fewer units be rebuilt."
    )


def _again(problem: PlanProblem, plan: Plan) -> Schedule | None:
    """A plan as a schedule of this problem; None where it does not keep within its limits."""
    at = {unit: number for number, unit in enumerate(problem.unit_ids)}
    week = {monday: number for number, monday in enumerate(problem.weeks)}
    if {planned.unit_id for planned in plan.actions} != set(at):
        raise WrongUsage("A rival plan must hold the same units as the problem.")
    work = [
        (at[a.unit_id], REBUILD if a.action == "rebuild" else CHECK, week[a.week_of]) for a in plan.actions if a.week_of
    ]
    left_out = {a.unit_id for a in plan.actions if a.action != "rebuild"} & problem.must
    return None if left_out else schedule_of(problem, work)


def _copy(problem: PlanProblem, schedule: Schedule) -> Schedule | None:
    """The same work under other limits."""
    worked = np.flatnonzero(schedule.act != LEAVE)
    return schedule_of(problem, [(int(i), int(schedule.act[i]), int(schedule.week[i])) for i in worked])


def _best(
    problem: PlanProblem, must: Schedule, known: Sequence[Schedule], gap: float, time_limit_s: float
) -> tuple[Schedule, float]:
    """The best of the program's plan, the greedy one and those known; and the bound above which none can save."""
    solved = solve(problem, FINE * gap, FINE_SHARE * time_limit_s)
    begun = [solved.schedule, _copy(problem, must), *known]
    if (rebuilds := _copy(problem, must)) is not None:
        begun.append(fill(rebuilds, (REBUILD,)))
    found = [fill(schedule) for schedule in begun if schedule is not None]
    best, bound = max(found, key=lambda schedule: schedule.saves), solved.bound
    if gap_left(best.saves, bound) > gap:
        again = solve(problem, gap, COARSE_SHARE * time_limit_s)
        bound = min(bound, again.bound)
        if again.schedule is not None:
            best = max(best, fill(again.schedule), key=lambda schedule: schedule.saves)
    return best, max(bound, best.saves)


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
        wider = replace(self.problem, budget=self.problem.budget + MORE_BUDGET)
        return self._gain(wider, solve(wider, self.gap, self.time_limit_s))

    def bench_place(self) -> tuple[float, int | None]:
        self.tell("What one more bench place would save ...")
        solved = solve(self.problem, self.gap, self.time_limit_s, extra_place=True)
        if solved.extra_week is None:
            return 0.0, None
        gain = self._gain(with_place(self.problem, solved.extra_week), solved)
        return gain, solved.extra_week if gain > LEAST_SAVING else None

    def spare_unit(self) -> float:
        if not (self.problem.craft_needed & (self.problem.bench_places > 0)).any():
            return 0.0
        self.tell("What one more spare unit would save ...")
        wider = replace(self.problem, spare_units=self.problem.spare_units + 1)
        return self._gain(wider, solve(wider, self.gap, self.time_limit_s))

    def _gain(self, wider: PlanProblem, solved: Solved) -> float:
        """Saved over and above; the plan as it is, filled up, stands in where the solver found nothing better."""
        found = [schedule for schedule in (solved.schedule, _copy(wider, self.best)) if schedule is not None]
        gain = max(fill(schedule).saves for schedule in found) - self.best.saves
        return gain if gain > LEAST_SAVING else 0.0


def _limits_in_words(problem: PlanProblem, best: Schedule, plan: Plan) -> tuple[str, ...]:
    """Which limits bind: only those of which a little more would save something."""
    told = []
    if problem.budget is not None and plan.next_1000 > 0:
        told.append(f"The budget binds: the next 1,000 would save a further {plan.next_1000:,.0f}.")
    if plan.next_bench_place > 0:
        full = [w for w in np.flatnonzero(problem.bench_places > 0) if best.places[w] < 1.0 - TOLERANCE]
        weeks = ", ".join(problem.weeks[int(w)].isoformat() for w in full)
        told.append(
            f"The bench binds{f' in weeks {weeks}' if full else ''}: one more place in the week of "
            f"{plan.next_bench_week} would save a further {plan.next_bench_place:,.0f}."
        )
    if plan.next_spare_unit > 0:
        told.append(
            f"Spare units bind in the weeks in which craft earn: one more would save a further "
            f"{plan.next_spare_unit:,.0f}."
        )
    return tuple(told)

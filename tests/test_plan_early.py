"""Of plans that cost the same the earliest: by hand, and the laws that it costs nothing and ends."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from forecaster.plan import solve_plan
from forecaster.plan_early import earliest
from forecaster.plan_places import Schedule
from forecaster.plan_problem import CHECK, LEAVE, REBUILD, TOLERANCE
from tests.test_plan import problem, random_problem


def weeks_of(schedule: Schedule) -> list[int]:
    return [int(week) for week in schedule.week]


def placed(p: Schedule, *work: tuple[int, int, int]) -> Schedule:
    for unit, act, week in work:
        p.take(unit, act, week)
    return p


def test_work_moves_up_to_the_earliest_free_week_that_costs_the_same() -> None:
    late = placed(Schedule(problem(2, 4)), (0, REBUILD, 3), (1, REBUILD, 2))
    assert weeks_of(earliest(late)) == [0, 1]
    assert weeks_of(late) == [3, 2]  # the one given stays as it was


def test_what_saves_most_comes_first() -> None:
    p = problem(3, 3, leave_cost=np.array([1800.0, 2600, 2200]))
    assert weeks_of(earliest(placed(Schedule(p), *((i, REBUILD, i) for i in range(3))))) == [2, 0, 1]


def test_a_week_that_costs_more_is_not_taken_however_early() -> None:
    p = problem(1, 3, rebuild_cost=np.array([[1000.01, 1000.0, 1000.0]]))
    assert weeks_of(earliest(placed(Schedule(p), (0, REBUILD, 2)))) == [1]


def test_a_cost_that_differs_by_rounding_alone_is_the_same() -> None:
    p = problem(1, 3, rebuild_cost=np.array([[1000.0 + 1e-9, 1000.0, 1000.0]]))
    assert weeks_of(earliest(placed(Schedule(p), (0, REBUILD, 2)))) == [0]


def test_a_closed_week_stays_empty() -> None:
    p = problem(2, 4, bench_places=np.array([0.0, 1, 0, 1]))
    assert weeks_of(earliest(placed(Schedule(p), (0, REBUILD, 3)))) == [1, -1]


def test_nobody_changes_places_with_one_who_would_pay_for_it() -> None:
    """The second saves more, but the first's rebuild would cost more a week later."""
    costs = np.array([[1000.0, 1100], [1000.0, 1000]])
    p = problem(2, 2, rebuild_cost=costs, leave_cost=np.array([2000.0, 3000]))
    assert weeks_of(earliest(placed(Schedule(p), (0, REBUILD, 0), (1, REBUILD, 1)))) == [0, 1]


@given(st.integers(0, 10_000))
def test_it_costs_nothing_breaks_nothing_and_leaves_no_earlier_place_free(seed: int) -> None:
    p = random_problem(seed, 6, 5)
    alike = problem(
        **{name: getattr(p, name) for name in ("leave_cost", "rebuild_spend", "check_spend", "check_bench")},
        n=p.n,
        w=len(p.weeks),
        rebuild_cost=np.repeat(p.rebuild_cost[:, :1], len(p.weeks), axis=1),
        check_cost=np.repeat(p.check_cost[:, :1], len(p.weeks), axis=1),
        bench_places=p.bench_places,
        craft_needed=p.craft_needed,
        out_weeks=p.out_weeks,
        spare_units=p.spare_units,
    )
    rng, begun = np.random.default_rng(seed), Schedule(alike)
    for unit in rng.permutation(alike.n):
        act = int(rng.choice([CHECK, REBUILD]))
        free = np.flatnonzero(begun.room(int(unit), act))
        if len(free):
            begun.take(int(unit), act, int(rng.choice(free)))
    done = earliest(begun)
    assert (done.act == begun.act).all()
    assert abs(done.saves - begun.saves) < 1e-6
    assert (done.week <= begun.week).all() or (done.week.sum() <= begun.week.sum())
    assert (done.places >= -TOLERANCE).all()
    assert (done.spares >= -TOLERANCE).all()
    for unit in np.flatnonzero(done.act != LEAVE):
        alone = done.copy()
        alone.give_back(int(unit))
        room = np.flatnonzero(alone.room(int(unit), int(done.act[unit])))
        assert not len(room) or room[0] >= done.week[unit]


def test_the_plan_is_filled_from_its_first_week() -> None:
    p = problem(5, 8, bench_places=np.full(8, 2.0), leave_cost=np.array([2000.0, 2100, 2200, 2300, 2400]))
    weeks = [a.week_of for a in solve_plan(p, gap=0.0).actions]
    assert weeks == [p.weeks[k] for k in (2, 1, 1, 0, 0)]


def test_work_waits_for_no_later_week_that_saves_less_than_waiting_must() -> None:
    """Few hours run in winter: a check in spring is dearer now by a trifle, and the bench stands empty."""
    p = problem(2, 4, check_cost=900.0 - np.arange(4.0) * np.ones((2, 1)), least_wait=6.5)
    assert [a.week_of for a in solve_plan(p, gap=0.0).actions] == [p.weeks[0], p.weeks[0]]
    assert [a.week_of for a in solve_plan(replace(p, least_wait=2.5), gap=0.0).actions] == [p.weeks[1], p.weeks[1]]
    assert [a.week_of for a in solve_plan(replace(p, least_wait=0.0), gap=0.0).actions] == [p.weeks[3], p.weeks[3]]


def test_to_be_moved_up_once_is_enough() -> None:
    p = problem(2, 4, check_cost=900.0 - np.arange(4.0) * np.ones((2, 1)), least_wait=2.5)
    schedule = Schedule(p)
    schedule.take(0, CHECK, 3)
    assert earliest(earliest(schedule)).week.tolist() == earliest(schedule).week.tolist() == [1, -1]

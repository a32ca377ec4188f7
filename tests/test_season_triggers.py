"""When to act in a season: by hand, and beside every stopping rule tried one by one."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.season_triggers import NO_TRIGGERS, SeasonAct, Stopped, Triggers, stopped

OPENS = date(2027, 5, 3)
COSTS = st.lists(st.tuples(st.integers(0, 50), st.integers(0, 50)), min_size=1, max_size=12)


def season(rebuild: list[float], check: list[float], at_close: float) -> Stopped:
    """A season of one week each, week 10 of those ahead being its first; 10 h a week from 100 h on."""
    n = len(rebuild)
    days = [OPENS + timedelta(weeks=k) for k in range(n)]
    return stopped(np.arange(10, 10 + n), days, 100.0 + 10 * np.arange(n), np.array(rebuild), np.array(check), at_close)


def test_nothing_pays_where_the_close_is_cheapest() -> None:
    assert season([9, 8, 8], [9, 9, 9], 7.0) == Stopped(NO_TRIGGERS, None, 7.0)


def test_the_first_act_is_the_cheapest_and_each_kind_pays_from_its_hours_to_its_day() -> None:
    """A check in week 2 beats all that follows; had it not been made, a rebuild would pay in the weeks 3 and 4."""
    found = season([9, 9, 6, 7, 9], [9, 5, 9, 9, 9], 8.0)
    assert found.first == SeasonAct("check", 11)
    assert found.expected_cost == 5.0
    assert found.triggers == Triggers(110.0, 120.0, OPENS + timedelta(weeks=1), OPENS + timedelta(weeks=3))


def test_a_check_after_the_hours_of_the_rebuild_is_none() -> None:
    found = season([6, 9, 9], [9, 7, 9], 8.0)
    assert (found.triggers.check_at_hours, found.triggers.rebuild_at_hours) == (None, 100.0)


def test_without_a_week_that_runs_the_close_is_all_there_is() -> None:
    assert season([], [], 3.0) == Stopped(NO_TRIGGERS, None, 3.0)


@given(COSTS, st.integers(0, 50))
def test_no_stopping_rule_costs_less(costs: list[tuple[int, int]], at_close: int) -> None:
    rebuild, check = ([float(pair[k]) for pair in costs] for k in (0, 1))
    found = season(rebuild, check, float(at_close))
    assert found.expected_cost == min([float(at_close), *rebuild, *check])
    if found.first is None:
        assert found.expected_cost == at_close
    else:
        week = found.first.week - 10
        assert {"rebuild": rebuild, "check": check}[found.first.action][week] == found.expected_cost


@pytest.mark.parametrize(("hours", "on", "due"), [(109.9, 0, None), (110.0, 0, "check"), (125.0, 0, "rebuild")])
def test_what_is_due_goes_by_hours_and_day(hours: float, on: int, due: str | None) -> None:
    triggers = Triggers(110.0, 120.0, OPENS, OPENS)
    assert triggers.reached(hours, OPENS + timedelta(days=on)) == due
    assert triggers.reached(hours, OPENS + timedelta(days=1)) is None

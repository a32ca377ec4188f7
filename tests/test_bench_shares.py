"""One bench dealt out among owners: laws of what each gets, and what it rests on."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.bench_shares import BenchShare
from forecaster.plan_days import mondays, off_season_days
from forecaster.plan_limits import PlanLimits
from forecaster.plan_problem import bench_places_by_week
from forecaster.settings import Bench, Season

OWNERS = st.lists(st.sampled_from(["Ada", "Bo", "Cy", None]), min_size=1, max_size=60)
WEEKS = st.lists(st.integers(0, 7), min_size=1, max_size=40)


def shares(owners: list[str | None]) -> dict[str | None, BenchShare]:
    """Each owner's share of rows in this order; craft without an owner are one more group."""
    return {
        owner: BenchShare(tuple(row for row, name in enumerate(owners) if name == owner), len(owners))
        for owner in dict.fromkeys(owners)
    }


@given(OWNERS, WEEKS)
def test_the_dealt_places_add_up_to_the_benchs_in_every_week(owners: list[str | None], weeks: list[int]) -> None:
    dealt = [share.places(np.array(weeks, dtype=float)) for share in shares(owners).values()]
    assert np.sum(dealt, axis=0).tolist() == weeks
    assert all((one == one.astype(int)).all() for one in dealt)  # only whole places: a rebuild comes off whole


@given(OWNERS, st.floats(0, 1e6))
def test_the_budgets_add_up_and_no_limit_stays_none(owners: list[str | None], budget: float) -> None:
    parts = [share.budget(budget) for share in shares(owners).values()]
    assert sum(part for part in parts if part is not None) == pytest.approx(budget)
    assert all(share.budget(None) is None for share in shares(owners).values())


@given(OWNERS, WEEKS, st.tuples(*[st.sampled_from(["Bo", "Cy", "Di", None])] * 3))
def test_what_one_gets_rests_on_nothing_of_the_others_but_their_rows(
    owners: list[str | None], weeks: list[int], other: tuple[str | None, ...]
) -> None:
    """Renamed or joined into one, the others change nothing."""
    renamed = dict(zip(["Bo", "Cy", None], other, strict=True))
    mine = shares(["Ada", *owners])["Ada"]
    others = ["Ada", *(name if name == "Ada" else f"not Ada but {renamed[name]}" for name in owners)]
    assert shares(others)["Ada"] == mine
    assert shares(others)["Ada"].places(np.array(weeks)).tolist() == mine.places(np.array(weeks)).tolist()


@given(OWNERS, st.integers(1, 4))
def test_every_row_gets_as_many_places_in_full_rounds(owners: list[str | None], rounds: int) -> None:
    one_a_week = np.ones(rounds * len(owners))
    for share in shares(owners).values():
        assert share.places(one_a_week).sum() == rounds * len(share.rows)


@pytest.mark.parametrize("rows", [(0, 6), (6, 14), (14, 28), (27, 28)])
def test_an_owners_places_are_spread_over_the_weeks(rows: tuple[int, int]) -> None:
    """Rows that stand together: after any week the own part of the places so far is right to within two places."""
    share, bench = BenchShare(tuple(range(*rows)), 28), np.full(25, 3.0)
    so_far, fair = share.places(bench).cumsum(), bench.cumsum() * len(share.rows) / 28
    assert np.abs(so_far - fair).max() < 2.0


def test_a_wish_counts_as_it_stands_and_a_share_only_of_what_fleet_toml_says() -> None:
    weeks = mondays(off_season_days(Season(), date(2026, 11, 1)))
    bench, share = Bench(rebuilds_per_week=2.5, budget=14_000), BenchShare((0, 1, 2), 12)
    whole = bench_places_by_week(2.5, [True] * len(weeks))
    mine = PlanLimits(share=share)
    assert mine.bench_places(weeks, bench).tolist() == share.places(whole).tolist()
    assert mine.money(bench) == pytest.approx(14_000 / 4)
    wished = PlanLimits(share=share, bench_per_week=2.5, budget=900.0)
    assert wished.bench_places(weeks, bench).tolist() == whole.tolist()
    assert wished.money(bench) == 900.0
    assert PlanLimits(share=share, budget=float("inf")).money(bench) is None
    assert PlanLimits().bench_places(weeks, bench).tolist() == whole.tolist()


def test_closed_weeks_have_no_places_to_deal() -> None:
    weeks = mondays(off_season_days(Season(), date(2026, 11, 1)))
    shut = PlanLimits(share=BenchShare((0,), 1), closed=(weeks[2],))
    places = shut.bench_places(weeks, Bench())
    assert places[2] == 0
    assert places.sum() == 3 * (len(weeks) - 1)

"""Now or later, laid out to be read: agrees with the costs that it is made of, and says what must not run."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from forecaster import Fleet, NowOrLater, WrongUsage
from forecaster.decisions import decisions_for
from forecaster.now_or_later import seasons_within
from forecaster.settings import Season
from forecaster.unsafe import check_first, found_unsafe, not_to_run
from tests.conftest import SAMPLE_DAY

AS_OF = SAMPLE_DAY
IN_SEASON = date(2026, 8, 1)
OLD, FRESH = "S0003", "S0004"  # 154 h and 3 h since rebuild


@pytest.fixture(scope="module")
def old(sample: Fleet) -> NowOrLater:
    return sample.now_or_later(OLD, AS_OF)


@pytest.fixture(scope="module")
def fresh(sample: Fleet) -> NowOrLater:
    return sample.now_or_later(FRESH, AS_OF)


def test_a_worn_unit_is_rebuilt_now_and_a_fresh_one_is_left(old: NowOrLater, fresh: NowOrLater) -> None:
    assert old.now_is_best
    assert old.saved.mean > 0
    assert not fresh.now_is_best
    assert fresh.saved.mean < 0


@pytest.mark.parametrize("unit_id", [OLD, FRESH])
def test_it_agrees_with_the_costs_that_it_is_made_of(sample: Fleet, unit_id: str) -> None:
    told, costs = sample.now_or_later(unit_id, AS_OF), sample.decisions(AS_OF).waiting(unit_id)
    assert told.saved.mean == pytest.approx(costs.best_later.expected_cost - costs.best_now.expected_cost)
    saved = costs.draws_of(costs.best_later) - costs.draws_of(costs.best_now)
    assert told.chance_now_is_cheaper == (saved >= 0).mean()
    unchecked = min(costs.rebuild.mean(axis=0).min(), costs.none.mean())
    assert told.check_saves.mean == pytest.approx(unchecked - costs.check.mean(axis=0).min())
    assert told.best == costs.best
    assert list(zip(told.by_month["until"].dt.date, told.by_month["extra"], strict=True)) == [
        (day, pytest.approx(cost, abs=1e-6)) for day, cost in costs.cost_of_waiting
    ]


def test_every_week_has_its_costs_and_their_interval(old: NowOrLater) -> None:
    weeks = old.weeks
    assert len(weeks) == 104
    assert weeks["first_day"].iloc[0] == pd.Timestamp(AS_OF)
    for action in ("rebuild", "check"):
        assert (weeks[f"{action}_low"] <= weeks[action]).all()
        assert (weeks[action] <= weeks[f"{action}_high"]).all()
    assert (np.diff(weeks["runs"]) <= 1e-12).all()  # what ran no longer does not run again
    assert (weeks["rattles"] <= weeks["runs"]).all()


def test_the_interval_of_the_saving_is_that_of_the_difference(old: NowOrLater) -> None:
    """What both ways share falls out: narrower than if the two intervals were set beside each other."""
    apart = (old.later.high - old.later.low) + (old.now.high - old.now.low)
    assert old.saved.low <= old.saved.mean <= old.saved.high
    assert old.saved.high - old.saved.low < apart


def test_break_even_is_the_price_at_which_both_cost_the_same(old: NowOrLater) -> None:
    """Only this rebuild's price: later ones keep theirs."""
    assert old.break_even.mean - old.prices.rebuild == pytest.approx(old.saved.mean)
    assert old.instead.mean - old.price_now == pytest.approx(old.saved.mean)


def test_in_season_a_rebuild_now_is_charged_the_rush_and_the_lost_days(sample: Fleet) -> None:
    told = sample.now_or_later(OLD, IN_SEASON)
    prices = told.prices
    lost = prices.rebuild_days * prices.day_rate
    assert told.now.on == IN_SEASON
    assert told.price_now == pytest.approx(prices.rebuild + prices.rebuild_in_season_extra + lost)
    assert told.runs_from == IN_SEASON


def test_off_season_the_first_running_week_is_told(old: NowOrLater) -> None:
    assert old.runs_from is not None
    assert old.price_now == old.prices.rebuild
    assert date(2027, 3, 1) < old.runs_from < date(2027, 5, 8)


def test_other_prices_answer_as_the_engine_does_and_are_named(sample: Fleet) -> None:
    told = sample.now_or_later(OLD, AS_OF, rebuild=900.0, core_lost=0.9)
    costs = sample.decisions(AS_OF).waiting(OLD, rebuild=900.0, core_lost=0.9)
    assert told.now.expected_cost == costs.option("rebuild").expected_cost
    own = sample.decisions(AS_OF).prices(told.craft_id)
    assert told.changed == {"rebuild": (900.0, own.rebuild), "core_lost": (0.9, own.core_lost)}
    assert sample.now_or_later(OLD, AS_OF).changed == {}


def test_a_dearer_new_unit_never_makes_waiting_look_better(sample: Fleet) -> None:
    saved = [sample.now_or_later(OLD, AS_OF, new_unit=price).saved.mean for price in (1000.0, 1700.0, 3000.0)]
    assert saved == sorted(saved)


def test_what_moves_the_answer_is_tried_around_the_given_prices(sample: Fleet) -> None:
    tried: list[str] = []
    swings = sample.decisions(AS_OF).swings(OLD, tried.append, day_rate=600.0)
    rate = next(swing for swing in swings if swing.what == "day_rate")
    assert rate.high == pytest.approx(sample.now_or_later(OLD, AS_OF, day_rate=750.0).saved.mean)
    assert rate.low == pytest.approx(sample.now_or_later(OLD, AS_OF, day_rate=450.0).saved.mean)
    assert set(tried) == {swing.what for swing in swings}
    spans = [abs(swing.high - swing.low) for swing in swings]
    assert spans == sorted(spans, reverse=True)


@pytest.mark.parametrize(
    ("price", "why"),
    [
        ({"rebuilt": 3.0}, "no price 'rebuilt'"),
        ({"rebuild": -1.0}, "an amount of money from 0 to 1,000,000,000"),
        ({"day_rate": float("nan")}, "an amount of money from 0 to 1,000,000,000"),
        ({"core_lost": 1.2}, "from 0 to 1"),
    ],
)
def test_a_price_that_makes_no_sense_is_refused(sample: Fleet, price: dict[str, float], why: str) -> None:
    with pytest.raises(WrongUsage, match=why):
        sample.now_or_later(OLD, AS_OF, **price)


def test_a_unit_that_is_not_in_service_is_refused(sample: Fleet) -> None:
    with pytest.raises(WrongUsage, match="'S9999' is not in service"):
        sample.now_or_later("S9999", AS_OF)


def test_asking_price_after_price_does_not_fill_the_memory(sample: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("forecaster.decisions.KEPT_UPKEEPS", 3)
    decisions = decisions_for(sample.records, sample.histories(AS_OF), sample.two_stage(AS_OF))
    for price in (701.0, 702.0, 703.0, 704.0):
        decisions.waiting(OLD, rebuild=price)
    assert len(decisions._upkeeps) <= 3


# --- seasons -------------------------------------------------------------------------------------------------------


def test_the_seasons_to_come_are_those_that_touch_the_weeks() -> None:
    season = Season(opens="05-01", closes="10-15")
    assert seasons_within(season, date(2026, 11, 1), 104) == (
        (date(2027, 5, 1), date(2027, 10, 15)),
        (date(2028, 5, 1), date(2028, 10, 15)),
    )
    assert seasons_within(season, date(2026, 8, 1), 10) == ((date(2026, 5, 1), date(2026, 10, 15)),)
    assert seasons_within(season, date(2026, 11, 1), 10) == ()


def test_a_season_over_the_turn_of_the_year_is_one() -> None:
    season = Season(opens="11-01", closes="03-31")
    assert seasons_within(season, date(2026, 12, 1), 52) == (
        (date(2026, 11, 1), date(2027, 3, 31)),
        (date(2027, 11, 1), date(2028, 3, 31)),
    )


# --- what must not run ---------------------------------------------------------------------------------------------


def test_a_unit_that_must_not_run_is_told_so_by_the_rule_that_all_share(sample: Fleet) -> None:
    units = sample.histories(AS_OF).in_service()
    life_of = dict(zip(units.lives["unit_id"], units.lives["life_id"], strict=True))
    found = found_unsafe(units)
    assert found
    for unit_id in (OLD, FRESH, *(unit for unit, life_id in life_of.items() if life_id in found)):
        told, reasons = sample.now_or_later(unit_id, AS_OF), found.get(life_of[unit_id], ())
        assert (told.stop, told.check_first) == (not_to_run(reasons), check_first(reasons))

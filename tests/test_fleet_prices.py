"""Prices of a fleet as a whole: its craft's day rates, its own failures, what the user sets instead."""

from __future__ import annotations

from dataclasses import replace

import pytest

from forecaster.core_loss import core_loss
from forecaster.errors import WrongUsage
from forecaster.fleet_prices import DayRate, day_rates, fleet_prices, prices_by_craft
from forecaster.reading import read_fleet
from forecaster.records import FleetRecords
from tests.conftest import ROOT, SAMPLE_DAY


@pytest.fixture(scope="module")
def records() -> FleetRecords:
    return read_fleet(ROOT / "sample_fleet", SAMPLE_DAY).records


def with_rates(records: FleetRecords, **rates: float) -> FleetRecords:
    """The records with the day rates of some craft changed; NaN: not recorded."""
    own = dict(zip(records.craft["craft_id"], records.craft["day_rate"], strict=True)) | rates
    return replace(records, craft=records.craft.assign(day_rate=list(own.values())))


def test_they_are_the_settings_and_the_fleets_own_failures(records: FleetRecords) -> None:
    prices, loss = fleet_prices(records, SAMPLE_DAY), core_loss(records, SAMPLE_DAY)
    assert prices.rebuild == records.settings.costs.rebuild
    assert (prices.core_lost, prices.engine_hit) == (loss.core_lost.mean, loss.engine_hit.mean)


def test_a_crafts_day_rate_is_its_own_or_the_settings_and_that_is_told(records: FleetRecords) -> None:
    costs = records.settings.costs.model_copy(update={"day_rate_if_unknown": 77.0})
    settings = records.settings.model_copy(update={"costs": costs})
    rates = day_rates(replace(with_rates(records, C001=310.5, C002=float("nan"), C003=0.0), settings=settings))
    assert (rates["C001"], rates["C002"]) == (DayRate(310.5, False), DayRate(77.0, True))
    assert rates["C003"] == DayRate(0.0, False)


def test_another_crafts_rate_never_moves_a_crafts_own_prices(records: FleetRecords) -> None:
    blank = with_rates(records, C001=float("nan"))
    others = {str(craft): 9_000.0 for craft in records.craft["craft_id"] if craft != "C001"}
    prices = prices_by_craft(blank, SAMPLE_DAY)["C001"]
    assert prices.day_rate == records.settings.costs.day_rate_if_unknown
    assert prices == prices_by_craft(with_rates(blank, **others), SAMPLE_DAY)["C001"]


def test_a_fleets_day_rate_is_the_mean_of_its_crafts_own_or_assumed(records: FleetRecords) -> None:
    rates = [rate.amount for rate in day_rates(records).values()]
    assert fleet_prices(records, SAMPLE_DAY).day_rate == pytest.approx(sum(rates) / len(rates))
    two = with_rates(records, C001=100.0, C002=float("nan"))
    assumed = records.settings.costs.day_rate_if_unknown
    some = fleet_prices(two, SAMPLE_DAY, craft_ids={"C001", "C002"})
    assert some.day_rate == pytest.approx((100.0 + assumed) / 2)


def test_what_the_user_sets_counts_instead(records: FleetRecords) -> None:
    assert fleet_prices(records, SAMPLE_DAY, {"day_rate": 0.0}).planned(True) == 650 + 120


@pytest.mark.parametrize(("name", "value"), [("rebild", 1.0), ("rebuild", -1.0), ("rebuild", float("nan"))])
def test_a_price_that_makes_no_sense_is_refused(records: FleetRecords, name: str, value: float) -> None:
    with pytest.raises(WrongUsage, match="price"):
        fleet_prices(records, SAMPLE_DAY, {name: value})


def test_each_craft_has_prices_at_its_own_day_rate(records: FleetRecords) -> None:
    prices, rates = prices_by_craft(records, SAMPLE_DAY), day_rates(records)
    assert {craft: one.day_rate for craft, one in prices.items()} == {c: rate.amount for c, rate in rates.items()}


def test_what_the_user_sets_counts_on_every_craft(records: FleetRecords) -> None:
    prices = prices_by_craft(records, SAMPLE_DAY, {"day_rate": 12.0, "rebuild": 1.0})
    assert {(one.day_rate, one.rebuild) for one in prices.values()} == {(12.0, 1.0)}

"""Prices of a fleet as a whole: the craft's mean day rate, its own failures, what the user sets instead."""

from __future__ import annotations

from dataclasses import replace

import pytest

from forecaster.core_loss import core_loss
from forecaster.errors import WrongUsage
from forecaster.fleet_prices import USUAL_DAY_RATE, fleet_prices, prices_by_craft, usual_day_rate
from forecaster.reading import read_fleet
from forecaster.records import FleetRecords
from tests.conftest import ROOT, SAMPLE_DAY


@pytest.fixture(scope="module")
def records() -> FleetRecords:
    return read_fleet(ROOT / "sample_fleet", SAMPLE_DAY).records


def test_they_are_the_settings_the_mean_day_rate_and_the_fleets_own_failures(records: FleetRecords) -> None:
    prices, loss = fleet_prices(records, SAMPLE_DAY), core_loss(records, SAMPLE_DAY)
    assert prices.rebuild == records.settings.costs.rebuild
    assert prices.day_rate == pytest.approx(records.craft["day_rate"].mean())
    assert (prices.core_lost, prices.engine_hit) == (loss.core_lost.mean, loss.engine_hit.mean)


def test_where_no_craft_records_its_day_rate_the_usual_one_counts(records: FleetRecords) -> None:
    silent = replace(records, craft=records.craft.assign(day_rate=float("nan")))
    assert usual_day_rate(silent) == USUAL_DAY_RATE


def test_what_the_user_sets_counts_instead(records: FleetRecords) -> None:
    assert fleet_prices(records, SAMPLE_DAY, {"day_rate": 0.0}).planned(True) == 650 + 120


@pytest.mark.parametrize(("name", "value"), [("rebild", 1.0), ("rebuild", -1.0), ("rebuild", float("nan"))])
def test_a_price_that_makes_no_sense_is_refused(records: FleetRecords, name: str, value: float) -> None:
    with pytest.raises(WrongUsage, match="price"):
        fleet_prices(records, SAMPLE_DAY, {name: value})


def test_each_craft_has_its_own_day_rate_or_the_usual_one(records: FleetRecords) -> None:
    rates = records.craft.set_index("craft_id")["day_rate"]
    first, second = rates.index[:2]
    craft = records.craft.assign(day_rate=records.craft["day_rate"].where(records.craft["craft_id"] != first))
    prices = prices_by_craft(replace(records, craft=craft), SAMPLE_DAY)
    assert prices[first].day_rate == pytest.approx(rates.iloc[1:].mean())
    assert prices[second].day_rate == rates[second]
    assert set(prices) == set(rates.index)

"""The prices of a fleet as a whole: fleet.toml, its craft's day rates, and what its failures took with them."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date

from forecaster.core_loss import chances_at_failure
from forecaster.errors import WrongUsage
from forecaster.prices import Prices, prices_of
from forecaster.ranges import CHANCE, DAYS_LOST, PRICE, NumberRange, refuse_day
from forecaster.records import FleetRecords
from forecaster.shown_values import shown

CHANCES_AND_SHARES = ("core_lost", "engine_hit", "use")  # the fields of Prices that are neither money nor days


@dataclass(frozen=True)
class DayRate:
    """Rental income of one in-season day of a craft; `assumed`: craft.csv has none, and fleet.toml's stands for it."""

    amount: float
    assumed: bool


def day_rates(records: FleetRecords) -> dict[str, DayRate]:
    """Each craft's day rate, by craft_id: its own, else ``day_rate_if_unknown`` of fleet.toml."""
    assumed = records.settings.costs.day_rate_if_unknown
    return {
        str(craft_id): DayRate(assumed, True) if math.isnan(own) else DayRate(float(own), False)
        for craft_id, own in zip(records.craft["craft_id"], records.craft["day_rate"], strict=True)
    }


def refuse_wrong_prices(overrides: Mapping[str, float]) -> None:
    """Raises WrongUsage for a price that is not known or not of its range: money, days, or a chance."""
    for name, value in overrides.items():
        if name not in Prices.__dataclass_fields__:
            raise WrongUsage(f"There is no price {shown(name)}. Known: {', '.join(Prices.__dataclass_fields__)}.")
        range_of_price(name).asked(value, f"The price {name}")


def range_of_price(name: str) -> NumberRange:
    """What a field of ``Prices`` may be."""
    if name in CHANCES_AND_SHARES:
        return CHANCE
    return DAYS_LOST if name.endswith("_days") else PRICE


def fleet_prices(
    records: FleetRecords,
    as_of: date,
    overrides: Mapping[str, float] | None = None,
    craft_ids: Collection[str] | None = None,
) -> Prices:
    """Prices that stand for every craft of the fleet, or for some: the day rate is the mean of theirs.

    `craft_ids`: those that count, all when None. `overrides` replaces fields of ``Prices``. Raises WrongUsage as
    ``refuse_wrong_prices`` says.
    """
    refuse_day(as_of)
    refuse_wrong_prices(overrides or {})
    rates = [rate.amount for craft, rate in day_rates(records).items() if craft_ids is None or craft in craft_ids]
    mean = sum(rates) / len(rates) if rates else records.settings.costs.day_rate_if_unknown
    prices = prices_of(records.settings, mean, *chances_at_failure(records, as_of))
    return prices.with_values(**(overrides or {}))


def prices_by_craft(
    records: FleetRecords, as_of: date, overrides: Mapping[str, float] | None = None
) -> dict[str, Prices]:
    """Prices that stand for each craft, by craft_id, at its own day rate (see ``day_rates``).

    `overrides` replaces some of them on every craft. Raises WrongUsage as ``refuse_wrong_prices`` says.
    """
    shared = fleet_prices(records, as_of, overrides)
    return {
        craft_id: shared.with_values(**{"day_rate": rate.amount, **(overrides or {})})
        for craft_id, rate in day_rates(records).items()
    }

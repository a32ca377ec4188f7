"""The prices of a fleet as a whole: fleet.toml, its craft's mean day rate, and what its failures took with them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date

from forecaster.core_loss import chances_at_failure
from forecaster.errors import WrongUsage
from forecaster.prices import Prices, prices_of
from forecaster.records import FleetRecords

# Rental income of a day where no craft of the fleet records one: common practice, no source.
USUAL_DAY_RATE = 200.0


def usual_day_rate(records: FleetRecords) -> float:
    """Rental income of one in-season day, the mean over the craft that record it; USUAL_DAY_RATE where none does."""
    rates = records.craft["day_rate"].dropna()
    return float(rates.mean()) if len(rates) else USUAL_DAY_RATE


def refuse_wrong_prices(overrides: Mapping[str, float]) -> None:
    """Raises WrongUsage for a price that is not known, negative or no number."""
    for name, value in overrides.items():
        if name not in Prices.__dataclass_fields__:
            raise WrongUsage(f"There is no price {name!r}. Known: {', '.join(Prices.__dataclass_fields__)}.")
        if not (math.isfinite(value) and value >= 0):
            raise WrongUsage(f"The price {name} must be a number of at least 0, not {value!r}.")


def fleet_prices(records: FleetRecords, as_of: date, overrides: Mapping[str, float] | None = None) -> Prices:
    """Prices that stand for every craft of the fleet; `overrides` replaces fields of ``Prices``.

    Raises WrongUsage as ``refuse_wrong_prices`` says.
    """
    refuse_wrong_prices(overrides or {})
    prices = prices_of(records.settings, usual_day_rate(records), *chances_at_failure(records, as_of))
    return prices.with_values(**(overrides or {}))


def prices_by_craft(
    records: FleetRecords, as_of: date, overrides: Mapping[str, float] | None = None
) -> dict[str, Prices]:
    """Prices that stand for each craft, by craft_id: its own day rate, the fleet's usual one where it records none.

    `overrides` replaces some of them on every craft. Raises WrongUsage as ``refuse_wrong_prices`` says.
    """
    refuse_wrong_prices(overrides or {})
    usual = fleet_prices(records, as_of)
    rates = records.craft["day_rate"].fillna(usual.day_rate)
    return {
        str(craft_id): usual.with_values(day_rate=float(rate)).with_values(**(overrides or {}))
        for craft_id, rate in zip(records.craft["craft_id"], rates, strict=True)
    }

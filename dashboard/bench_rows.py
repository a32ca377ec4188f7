"""The bench's answers laid out as frames: nothing is worked out here, only put in order."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import pandas as pd

import forecaster
from bench_words import hours_to_limit, low_share, moment, since_set
from words import capital, money


def quote_rows(advice: forecaster.TeardownAdvice, currency: str) -> pd.DataFrame:
    """This job, and the ways that it may go beside each other."""
    told = forecaster.quote_lines(advice, partial(money, currency=currency))
    return pd.DataFrame({"Job": [capital(label) for label, _ in told], "Price": [price for _, price in told]})


def slip_rows(slip: forecaster.FleetSlip, craft: Mapping[str, str]) -> pd.DataFrame:
    """A row for each clutch, most likely too low first; `craft`: craft_id by unit_id."""
    return pd.DataFrame(
        [
            {
                "unit": one.unit_id,
                "craft": craft.get(one.unit_id, ""),
                "action": one.action,
                "slip": moment(one.slip_now),
                "limit": one.limit,
                "fall": moment(one.fall_per_100_h),
                "left": hours_to_limit(one.hours_to_limit),
                "low_now": low_share(one.chance_too_low_now),
                "low_soon": low_share(one.chance_too_low_soon),
                "set": since_set(one.hours_since_set),
                "readings": one.readings,
                "advice": one.advice,
            }
            for one in slip.units
        ]
    )

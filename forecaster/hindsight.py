"""The records as they stood on a day: nothing dated later, and no field that was filled in later."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd

from forecaster.day_numbers import days_of
from forecaster.records import FleetRecords


def without_hindsight(records: FleetRecords, as_of: date) -> FleetRecords:
    """What the same books said on the evening of `as_of`.

    Left out: every row dated later. Blanked: ``removed_on`` and ``retired_on`` that were still to come, and a water
    incident's treatment that was: ``happened_on`` plus ``treated_within_h`` past the end of that day makes it unknown.
    """
    day = pd.Timestamp(as_of)
    return replace(
        records,
        craft=_blank_later(records.craft, "retired_on", day),
        fittings=_blank_later(_until(records.fittings, "fitted_on", day), "removed_on", day),
        hours=_until(records.hours, "read_on", day),
        water=_treatment_so_far(_until(records.water, "happened_on", day), day),
        rebuilds=_until(records.rebuilds, "opened_on", day),
        checks=_until(records.checks, "checked_on", day),
    )


def _until(table: pd.DataFrame, column: str, day: pd.Timestamp) -> pd.DataFrame:
    known: pd.DataFrame = table[table[column] <= day]
    return known


def _blank_later(table: pd.DataFrame, column: str, day: pd.Timestamp) -> pd.DataFrame:
    return table.assign(**{column: table[column].where(table[column] <= day)})


def _treatment_so_far(water: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    days_since = days_of(pd.Series([day]))[0] - days_of(water["happened_on"])
    # counted from the start of the incident's day to the end of `day`; a blank is not later than anything
    still_to_come = water["treated_within_h"] > 24.0 * (days_since + 1)
    return water.assign(
        treated=water["treated"].where(~still_to_come, "unknown"),
        treated_within_h=water["treated_within_h"].where(~still_to_come),
    )

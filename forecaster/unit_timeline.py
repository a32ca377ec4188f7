"""A unit's lives on the hour axis: water, looks, meter readings, and what was found at each opening."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecaster.causes import check_label, incident_label
from forecaster.day_numbers import days_of
from forecaster.engine_hours import follow_meters
from forecaster.errors import WrongUsage
from forecaster.findings import ends_life
from forecaster.hindsight import without_hindsight
from forecaster.lives import Histories
from forecaster.records import FleetRecords

LIVES = {
    "life_id": "object",
    "life_number": "int64",
    "began_on": "datetime64[ns]",
    "ended_on": "datetime64[ns]",  # the day itself for a life that goes on
    "from_h": "float64",  # where its record starts
    "to_h": "float64",
    "to_h_low": "float64",
    "to_h_high": "float64",
    "age_known": "bool",  # False: the hours before the record are not known, and the axis counts from there
    "goes_on": "bool",
    "ended_by": "object",
    "seen": "object",
    "bearing": "object",  # as entered at the opening that ended it; "" where no row tells
    "impeller": "object",
    "front_housing": "object",
    "outcome": "object",
    "slip_found": "float64",
}
WATER = {
    "life_id": "object",
    "at_h": "float64",
    "on": "datetime64[ns]",
    "kind": "object",
    "treatment": "object",
    "label": "object",
}
LOOKS = {
    "life_id": "object",
    "at_h": "float64",
    "on": "datetime64[ns]",
    "spin": "object",
    "known_state": "object",
    "label": "object",
}
READINGS = {
    "life_id": "object",
    "at_h": "float64",
    "on": "datetime64[ns]",
    "craft_id": "object",
    "meter": "float64",
}
FOUND = ["bearing", "impeller", "front_housing", "outcome", "slip_found"]


@dataclass(frozen=True)
class UnitTimeline:
    """What is known of a unit's lives by a day, ready to be drawn: columns as listed in this room.

    All places on the axis are engine hours since new or since the last rebuild; in a life whose starting age is unknown
    they count from where its record starts. ``lives`` in order of time, the rest by life, then hours. ``readings``:
    the meter readings of its craft while it sat on them; none where the hours are what people stated.
    """

    unit_id: str
    as_of: date
    lives: pd.DataFrame
    water: pd.DataFrame
    looks: pd.DataFrame
    readings: pd.DataFrame


def unit_timeline(records: FleetRecords, histories: Histories, unit_id: str) -> UnitTimeline:
    """Where on the hour axis did a unit's lives begin and end, and what happened on the way?

    `histories`: the fleet's, made from `records` as of the same day. Raises WrongUsage for a unit that has no life in
    the record by then.
    """
    own = histories.select(histories.lives["unit_id"] == unit_id)
    if own.n_lives == 0:
        known = ", ".join(list(dict.fromkeys(histories.lives["unit_id"]))[:12])
        raise WrongUsage(
            f"Unit {unit_id!r} has no life in the record by {histories.as_of}. Known: {known or 'no unit yet'}."
        )
    known_by = without_hindsight(records, histories.as_of)
    lives = _lives(own, known_by.rebuilds)
    start = lives.set_index("life_id")["from_h"]
    return UnitTimeline(
        unit_id=unit_id,
        as_of=histories.as_of,
        lives=lives,
        water=_happened(own.incidents, start, "happened_on", incident_label, ["kind", "treatment"], WATER),
        looks=_happened(own.checks, start, "checked_on", check_label, ["spin", "known_state", "bearing"], LOOKS),
        readings=_readings(known_by, own, start),
    )


def _lives(own: Histories, rebuilds: pd.DataFrame) -> pd.DataFrame:
    lives = own.lives
    from_h = lives["hours_at_entry"].fillna(0.0)
    table = pd.DataFrame(
        {
            "life_id": lives["life_id"],
            "life_number": lives["life_number"],
            "began_on": lives["began_on"],
            "ended_on": lives["ended_on"],
            "from_h": from_h,
            "to_h": from_h + lives["hours_observed"],
            "to_h_low": from_h + lives["hours_observed_low"],
            "to_h_high": from_h + lives["hours_observed_high"],
            "age_known": lives["hours_at_entry"].notna(),
            "goes_on": lives["ended_by"].isin(["running", "stored"]),
            "ended_by": lives["ended_by"],
            "seen": lives["seen"],
        }
    )
    found = table["ended_on"].where(~table["goes_on"]).map(_openings(rebuilds, str(lives["unit_id"].iloc[0])))
    for name in FOUND:
        blank = np.nan if LIVES[name] == "float64" else ""
        table[name] = [row[name] if isinstance(row, dict) else blank for row in found]
    return table.astype(LIVES)


def _openings(rebuilds: pd.DataFrame, unit_id: str) -> dict[pd.Timestamp, dict[Any, Any]]:
    """What was found by the day of each opening that ended a life of the unit."""
    rows = rebuilds[rebuilds["unit_id"] == unit_id]
    ends = [ends_life(outcome, bearing) for outcome, bearing in zip(rows["outcome"], rows["bearing"], strict=True)]
    rows = rows[np.array(ends, dtype=bool)]
    return {row["opened_on"]: row for row in rows[["opened_on", *FOUND]].to_dict("records")}


def _happened(
    rows: pd.DataFrame,
    start: pd.Series,
    day: str,
    in_words: Callable[..., str],
    read: list[str],
    columns: dict[str, str],
) -> pd.DataFrame:
    """Water or looks on the axis; `day`: their column of days, `in_words`: what words them, from the columns `read`.

    `columns`: those of the answer.
    """
    table = rows.assign(
        at_h=rows["observed_hours"] + rows["life_id"].map(start),
        on=rows[day],
        label=[in_words(*cells) for cells in rows[read].itertuples(index=False)],
    )
    return table[list(columns)].astype(columns)


def _readings(records: FleetRecords, own: Histories, start: pd.Series) -> pd.DataFrame:
    """Each reading of a unit's craft taken after it was fitted and no later than it left, at the hours it then had."""
    readings = records.hours[records.hours["craft_id"].isin(set(own.stretches["craft_id"]))]
    stretches = own.stretches.reset_index(names="stretch")
    rows = readings.merge(stretches, on="craft_id")
    rows = rows[(rows["read_on"] > rows["from_on"]) & (rows["read_on"] <= rows["to_on"])]
    meters = follow_meters(readings, records.settings.season, own.as_of)  # a craft's hours rest on its own readings
    craft_ids = rows["craft_id"].to_numpy(dtype=object)
    since, day, until = (days_of(rows[name]) for name in ("from_on", "read_on", "to_on"))
    ran = meters.between(craft_ids, since, day).best
    told = meters.covered_days(craft_ids, since, until) > 0  # else the hours there are what people stated
    table = pd.DataFrame(
        {
            "life_id": rows["life_id"],
            "at_h": rows["from_observed_hours"] + ran + rows["life_id"].map(start),
            "on": rows["read_on"],
            "craft_id": rows["craft_id"],
            "meter": rows["meter"],
        }
    )[told]
    order = np.lexsort((table["at_h"], table["on"], table["life_id"].map({k: i for i, k in enumerate(start.index)})))
    return table.iloc[order].reset_index(drop=True).astype(READINGS)

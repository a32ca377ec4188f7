"""A craft in service and what other rows say of it then: water, units, and engine hours on days when it was not.

What a craft runs after it retired counts for no life, and its units are not forecast: where its meter shows that it ran
on, the day is asked about, and the lives that it cuts short teach nothing about other units until it is mended.
"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from forecaster.number_cells import plain_number
from forecaster.problems import Problem
from forecaster.row_checks import CheckedTable, each

# Engine hours out of service that are no trial run and no rounding. Common practice, no source.
RAN_ON_H = 5.0
# A craft is bought, and its unit on it, so many days before its first day in service at most; and a fleet that began to
# read its meters late knows of fittings from so many days before. Common practice, no source.
WAITING_DAYS = 366
UNREAD_DAYS = 5 * 366


def incidents_out_of_service(water: CheckedTable, craft: CheckedTable, fittings: CheckedTable) -> Iterator[Problem]:
    """Incidents before a craft was in service, or after it retired.

    Refused where no unit was fitted then, since it would count for none: the day must be wrong. Where one was, two
    rows say that the craft was in use: the incident is used, with a notice. In service without a unit: a notice.
    """
    rows = water.accepted
    if rows.empty:
        return
    service = craft.accepted.set_index("craft_id")
    rows = rows.assign(
        begins=rows["craft_id"].map(service["in_service_on"]),
        ends=rows["craft_id"].map(service["retired_on"]),
        fitted=_unit_fitted(rows, fittings.accepted),
    )
    early = rows["happened_on"] < rows["begins"]
    late = rows["happened_on"] > rows["ends"]
    odd = rows.assign(early=early, outside=early | late)[early | late | ~rows["fitted"]]
    for row, name, when, begins, ends, fitted, is_early, outside in each(
        odd, "craft_id", "happened_on", "begins", "ends", "fitted", "early", "outside"
    ):
        if outside:
            said = f"in service only from {begins.date()}" if is_early else f"retired on {ends.date()}"
            end = "in_service_on" if is_early else "retired_on"
            but = "but had a unit fitted on that day; the incident is used"
            reason = f"{name} was {said}, {but if fitted else 'and no unit was fitted on it on that day'}"
            remedy = f"Correct the day, or {end} in {craft.file}."
        else:
            reason = f"no unit was fitted on {name} on that day, so that the incident counts for none"
            remedy = f"Correct the day, or the fittings of {name} in {fittings.file}."
        yield Problem(water.file, row, "happened_on", str(when.date()), reason, remedy, refused=outside and not fitted)


def _unit_fitted(incidents: pd.DataFrame, fittings: pd.DataFrame) -> pd.Series:
    """Whether a unit sat on the craft that day; one fitted on the very day came after the incident."""
    asked = incidents[["craft_id", "happened_on"]].assign(row=incidents.index).sort_values("happened_on")
    periods = fittings[["craft_id", "fitted_on", "removed_on"]].sort_values("fitted_on", kind="stable")
    found = pd.merge_asof(
        asked, periods, left_on="happened_on", right_on="fitted_on", by="craft_id", allow_exact_matches=False
    ).set_index("row")
    there = found["fitted_on"].notna() & ~(found["removed_on"] < found["happened_on"])
    return there.reindex(incidents.index)


def fitted_after_retirement(fittings: CheckedTable, craft: CheckedTable) -> Iterator[Problem]:
    """Notices: a unit fitted on a craft that had retired."""
    rows = fittings.accepted
    rows = rows.assign(retired=rows["craft_id"].map(craft.accepted.set_index("craft_id")["retired_on"]))
    late = rows[rows["fitted_on"] > rows["retired"]]
    for row, name, when, retired in each(late, "craft_id", "fitted_on", "retired"):
        reason = f"{name} retired on {retired.date()}; the row is used"
        remedy = f"Correct the day, or retired_on in {craft.file}."
        yield Problem(fittings.file, row, "fitted_on", str(when.date()), reason, remedy, refused=False)


def ran_out_of_service(craft: CheckedTable, hours: CheckedTable) -> Iterator[Problem]:
    """Notices: a craft whose meter shows more than `RAN_ON_H` before it was in service, or after it retired.

    Only hours between two readings of one meter on days out of service count.
    """
    service = craft.accepted.assign(craft_row=craft.accepted.index).set_index("craft_id")
    read = hours.accepted
    span = read.groupby("craft_id")["read_on"].agg(["min", "max"]).reindex(service.index)
    outside = (span["min"] < service["in_service_on"]) | (span["max"] > service["retired_on"])
    read = read[read["craft_id"].isin(service.index[outside])]
    if read.empty:
        return
    read = read.sort_values(["craft_id", "read_on", "new_meter", "meter"], kind="stable")
    same = read["craft_id"].eq(read["craft_id"].shift()) & (read["new_meter"] != "yes")
    steps = read[["craft_id", "read_on"]].assign(
        since=read["read_on"].shift(), ran=read["meter"].diff().where(same, 0.0).clip(lower=0.0)
    )
    steps = steps.join(service[["craft_row", "in_service_on", "retired_on"]], on="craft_id")
    for column, out in (
        ("in_service_on", steps["read_on"] <= steps["in_service_on"]),
        ("retired_on", steps["since"] >= steps["retired_on"]),
    ):
        ran = steps[out].groupby("craft_row")["ran"].sum()
        asked = craft.accepted.join(ran[ran > RAN_ON_H], how="inner")
        for row, name, day, run in each(asked, "craft_id", column, "ran"):
            yield _ran(craft.file, row, column, name, day, run)


def _ran(file: str, row: int, column: str, name: str, day: pd.Timestamp, run: float) -> Problem:
    hours = f"{plain_number(round(run, 1))} h"
    if column == "retired_on":
        reason = (
            f"{name} is said to have retired then, yet its meter shows {hours} more since: these count for no unit, "
            "and from lives that end there nothing is learned about others"
        )
    else:
        reason = f"{name} is said to be in service only from then, yet its meter shows {hours} before; all are used"
    remedy = f"Correct {column}, or the readings; if both are right, leave the row."
    held_back = column == "retired_on"
    return Problem(file, row, column, str(day.date()), reason, remedy, refused=False, held_back=held_back)


def fitted_long_before(fittings: CheckedTable, craft: CheckedTable, hours: CheckedTable) -> Iterator[Problem]:
    """Notices that hold a row back: a unit fitted long before its craft was in service, or had its meter read.

    More than `WAITING_DAYS` before the craft's first day in service; where that is not recorded, more than
    `UNREAD_DAYS` before its first reading. What it may have run by then is anybody's guess.
    """
    rows = fittings.accepted
    begins = rows["craft_id"].map(craft.accepted.set_index("craft_id")["in_service_on"])
    read = rows["craft_id"].map(hours.accepted.groupby("craft_id")["read_on"].min())
    rows = rows.assign(begins=begins, read=read)
    before_service = rows["fitted_on"] < rows["begins"] - pd.Timedelta(days=WAITING_DAYS)
    before_reading = begins.isna() & (rows["fitted_on"] < rows["read"] - pd.Timedelta(days=UNREAD_DAYS))
    asked = rows[before_service | before_reading]
    for row, unit, name, when, service, first in each(asked, "unit_id", "craft_id", "fitted_on", "begins", "read"):
        known = (
            f"was first in service on {service.date()}" if service == service else f"was first read on {first.date()}"
        )
        reason = (
            f"unit {unit} sat on {name} long before that {known}; what it ran by then is not known, and nothing about "
            "others is learned from that life"
        )
        remedy = f"Correct fitted_on, or in_service_on of {name} in {craft.file}; if both are right, leave the row."
        yield Problem(fittings.file, row, "fitted_on", str(when.date()), reason, remedy, refused=False, held_back=True)

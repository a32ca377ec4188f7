"""Fittings of a unit that was renewed by what they say, while no opening tells of it.

A unit that goes on again with 0 h was rebuilt after it came off; one with other rotating parts since it was fitted
before. Where rebuilds.csv has no such
opening the row is missing, or its day or its unit is typed wrong: then a life ends at the wrong hours, or goes on for
ever, and all units learn from that. Both rows are used; the reader is asked.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from forecaster.problems import Problem
from forecaster.row_checks import CheckedTable, each

# A unit may be opened so many days before the day that is written down as that of its removal. Common practice, no
# source.
PAPERWORK_DAYS = 7
# Engine hours up to which a unit may still be called fresh: a trial run. Common practice, no source.
RAN_H = 5.0


def renewed_without_opening(fittings: CheckedTable, rebuilds: CheckedTable, hours: CheckedTable) -> Iterator[Problem]:
    """Notices: fittings after the unit's first that say it was renewed, and no opening in time explains it.

    With 0 h: from `PAPERWORK_DAYS` before it came off, and only where the readings show that it had run; with other
    parts: from the day of the fitting before.
    """
    again = _fitted_again(fittings.accepted)
    asked = again[again["fresh"] | again["other_parts"]].sort_values("fitted_on", kind="stable")
    if asked.empty:
        return
    opened = rebuilds.accepted[["unit_id", "opened_on"]].sort_values("opened_on", kind="stable")
    asked = pd.merge_asof(asked, opened, left_on="fitted_on", right_on="opened_on", by="unit_id")
    asked = asked[~(asked["opened_on"] >= asked["since"])]
    if asked.empty:
        return
    asked = asked[asked["other_parts"] | (_ran_before(asked, hours.accepted) > RAN_H)].set_index("fitting_row")
    for row, unit, since, before, parts, fresh in each(asked, "unit_id", "since", "parts_before", "parts", "fresh"):
        what = "goes on again with 0 h" if fresh else f"goes on again with {parts} parts after {before} ones"
        column, value = ("hours_at_fitting", "0") if fresh else ("parts", parts)
        reason = f"unit {unit} {what}, and {rebuilds.file} has no opening of it since {since.date()}"
        remedy = f"Add the opening to {rebuilds.file}, or correct its day or its unit there; or correct {column} here."
        yield Problem(fittings.file, row, column, value, reason, remedy, refused=False)


def _fitted_again(rows: pd.DataFrame) -> pd.DataFrame:
    """Fittings after a unit's first: what they say is new, the fitting before, since when an opening explains it."""
    rows = rows.assign(fitting_row=rows.index).sort_values(["unit_id", "fitted_on"], kind="stable")
    named = {"fitted_on": "before", "removed_on": "off", "parts": "parts_before", "craft_id": "craft_before"}
    earlier = rows.groupby("unit_id")[list(named)].shift().rename(columns=named)
    again = rows.join(earlier)[earlier["before"].notna()]
    fresh = again["hours_at_fitting"] == 0
    off = (again["off"] - pd.Timedelta(days=PAPERWORK_DAYS)).clip(lower=again["before"]).fillna(again["before"])
    told = (again["parts"] != "unknown") & (again["parts_before"] != "unknown")
    return again.assign(
        fresh=fresh,
        other_parts=told & (again["parts"] != again["parts_before"]),
        since=off.where(fresh, again["before"]),
    )


def _ran_before(asked: pd.DataFrame, readings: pd.DataFrame) -> np.ndarray:
    """Engine hours that the readings show of the craft before, while the unit sat on it, (n,)."""
    read = readings[readings["craft_id"].isin(asked["craft_before"])]
    read = read.sort_values(["craft_id", "read_on", "new_meter", "meter"], kind="stable")
    ran = read.groupby("craft_id")["meter"].diff().where(read["new_meter"] != "yes").clip(lower=0.0).fillna(0.0)
    by_craft = {
        name: (own["read_on"].to_numpy(), own["ran"].cumsum().to_numpy(dtype=float))
        for name, own in read.assign(ran=ran).groupby("craft_id")
    }
    shown = np.zeros(len(asked))
    for at, (craft, begin, end) in enumerate(zip(asked["craft_before"], asked["before"], asked["off"], strict=True)):
        if craft not in by_craft:
            continue
        days, run = by_craft[craft]
        first = int(np.searchsorted(days, np.datetime64(begin), side="left"))
        last = int(np.searchsorted(days, np.datetime64(end), side="right")) - 1 if end == end else len(days) - 1
        shown[at] = run[last] - run[first] if last > first else 0.0
    return shown

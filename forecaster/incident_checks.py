"""One water incident that two rows may tell of: the same craft, a day or two apart, and hardly an hour run in between.

Somebody notes the day of the water and somebody else the day of the treatment, and the model then thinks that the
bearing was wet twice. It may also have been; so both rows are used, and the reader is asked.
"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from forecaster.problems import Problem
from forecaster.row_checks import CheckedTable

NEIGHBOURING_DAYS = 2
# Engine hours between two incidents that show that the craft was in use again: to treat it, run it warm and try it
# takes less. Common practice, no source.
RAN_BETWEEN_H = 2.0
# The kind that says no more than that water got in: it may be what another row tells more of.
UNSPECIFIC = "ingestion"


def incidents_told_twice(water: CheckedTable, hours: CheckedTable) -> Iterator[Problem]:
    """Notices: incidents that may be one with an earlier row, of the same kind or of a kind that says little.

    Not where readings from the one day to the other show `RAN_BETWEEN_H` engine hours or more. Incidents of one day
    are told elsewhere.
    """
    pairs = _neighbours(water.accepted)
    if pairs.empty:
        return
    pairs = pairs[_least_hours(pairs, hours.accepted) < RAN_BETWEEN_H]
    for row, same in pairs.groupby("row", sort=True):
        one = same.iloc[0]  # the nearest day
        others = same[same["earlier_on"] == one["earlier_on"]]["earlier_row"].astype(str).tolist()
        named = f"{'row' if len(others) == 1 else 'rows'} {' and '.join(others)}"
        kinds = one["kind"] if one["kind"] == one["earlier_kind"] else f"{one['earlier_kind']}, then {one['kind']}"
        reason = (
            f"{one['craft_id']} took water on {one['earlier_on'].date()} too ({named}; {kinds}), and no readings show "
            f"that it ran {RAN_BETWEEN_H:g} h in between: each counts"
        )
        remedy = "If it was one incident, keep one row, with the day on which it happened; if it was two, leave both."
        yield Problem(
            water.file, int(str(row)), "happened_on", str(one["happened_on"].date()), reason, remedy, refused=False
        )


def _neighbours(incidents: pd.DataFrame) -> pd.DataFrame:
    """Pairs of incidents that may be one: columns of both, the later's row and the earlier's, nearest days first."""
    later = incidents[["craft_id", "happened_on", "kind"]].assign(row=incidents.index)
    earlier = later.rename(columns={"happened_on": "earlier_on", "kind": "earlier_kind", "row": "earlier_row"})
    pairs = pd.concat(
        [
            later.assign(earlier_on=later["happened_on"] - pd.Timedelta(days=days)).merge(
                earlier, on=["craft_id", "earlier_on"]
            )
            for days in range(1, NEIGHBOURING_DAYS + 1)
        ],
        ignore_index=True,
    )
    kinds = pairs[["kind", "earlier_kind"]]
    return pairs[(pairs["kind"] == pairs["earlier_kind"]) | (kinds == UNSPECIFIC).any(axis=1)]


def _least_hours(pairs: pd.DataFrame, readings: pd.DataFrame) -> pd.Series:
    """Engine hours that the readings of the days of each pair, both included, show to have been run in between."""
    read = readings[readings["craft_id"].isin(pairs["craft_id"])]
    read = read.sort_values(["craft_id", "read_on", "meter"], kind="stable")
    ran = read.groupby("craft_id")["meter"].diff().where(read["new_meter"] != "yes").clip(lower=0.0)
    read = read[["craft_id", "read_on"]].assign(ran=ran, since=read.groupby("craft_id")["read_on"].shift())
    spans = pairs[["craft_id", "earlier_on", "happened_on"]].reset_index(names="pair").merge(read, on="craft_id")
    between = spans[(spans["since"] >= spans["earlier_on"]) & (spans["read_on"] <= spans["happened_on"])]
    return between.groupby("pair")["ran"].sum().reindex(pairs.index, fill_value=0.0)

"""One water incident that two rows may tell of: the same craft, a day or two apart, and hardly an hour run in between.

Somebody notes the day of the water and somebody else the day of the treatment, and the model then thinks that the
bearing was wet twice. It may also have been; so both rows are used, and the reader is asked.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from forecaster.problems import Problem
from forecaster.row_checks import CheckedTable

NEIGHBOURING_DAYS = 2
# Engine hours between two incidents that show that the craft was in use again: to treat it, run it warm and try it
# takes less. Common practice, no source.
RAN_BETWEEN_H = 2.0
# The kind that says no more than that water got in: it may be what another row tells more of.
UNSPECIFIC = "ingestion"
_MOST_OF_ONE_DAY = 3
_DAYS = 1_000_000  # more than lie between any two days that are read


def incidents_told_twice(water: CheckedTable, hours: CheckedTable) -> Iterator[Problem]:
    """Notices: incidents that may be one with an earlier row, of the same kind or of a kind that says little.

    Not where readings from the one day to the other show `RAN_BETWEEN_H` engine hours or more. Incidents of one day
    are told elsewhere.
    """
    pairs = _neighbours(water.accepted)
    if pairs.empty:
        return
    pairs = pairs[_least_hours(pairs, hours.accepted) < RAN_BETWEEN_H]
    nearest = pairs.drop_duplicates("row").set_index("row").sort_index()
    same_day = pairs["earlier_on"] == pairs["row"].map(nearest["earlier_on"])
    others: dict[int, list[str]] = {}
    for row, earlier in pairs.loc[same_day, ["row", "earlier_row"]].itertuples(index=False, name=None):
        others.setdefault(row, []).append(str(earlier))
    for row, craft, on, kind, earlier_on, earlier_kind in nearest[
        ["craft_id", "happened_on", "kind", "earlier_on", "earlier_kind"]
    ].itertuples(name=None):
        named = f"{'row' if len(others[row]) == 1 else 'rows'} {' and '.join(others[row])}"
        kinds = kind if kind == earlier_kind else f"{earlier_kind}, then {kind}"
        reason = (
            f"{craft} took water on {earlier_on.date()} too ({named}; {kinds}), and no readings show "
            f"that it ran {RAN_BETWEEN_H:g} h in between: each counts"
        )
        remedy = "If it was one incident, keep one row, with the day on which it happened; if it was two, leave both."
        yield Problem(water.file, int(row), "happened_on", str(on.date()), reason, remedy, refused=False)


def _neighbours(incidents: pd.DataFrame) -> pd.DataFrame:
    """Pairs of incidents that may be one: columns of both, the later's row and the earlier's, nearest days first.

    Of many of one craft, day and kind the first few stand for all.
    """
    later = incidents[["craft_id", "happened_on", "kind"]].assign(row=incidents.index)
    few = later[later.groupby(["craft_id", "happened_on", "kind"]).cumcount() < _MOST_OF_ONE_DAY]
    earlier = few.rename(columns={"happened_on": "earlier_on", "kind": "earlier_kind", "row": "earlier_row"})
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
    since = read.groupby("craft_id")["read_on"].shift()
    names = pd.Index(read["craft_id"].unique())
    craft, of_pair = names.get_indexer(read["craft_id"]), names.get_indexer(pairs["craft_id"])
    total = np.append(0.0, ran.fillna(0.0).cumsum().to_numpy())
    first = np.searchsorted(_in_order(craft, since), _in_order(of_pair, pairs["earlier_on"]), side="left")
    last = np.searchsorted(_in_order(craft, read["read_on"]), _in_order(of_pair, pairs["happened_on"]), side="right")
    between = np.where(of_pair >= 0, total[np.maximum(first, last)] - total[first], 0.0)
    return pd.Series(between, index=pairs.index)


def _in_order(craft: np.ndarray, days: pd.Series) -> np.ndarray:
    """Numbers that rise with the craft and, of one craft, with the day; no day comes before all days."""
    numbers = days.to_numpy().astype("datetime64[D]").astype(np.int64)
    return craft * _DAYS + np.where(days.isna(), -_DAYS // 2, numbers)

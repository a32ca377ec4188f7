"""A fleet's records as one owner's paper may use them: the own rows, and of others' evidence about bearings alone.

What a bearing went through is learned from all customers: on which craft a unit sat and when, the hours it ran, the
water that got in and what was done about it, and what was found of the bearing. All else in others' rows is their
business and is blanked, so that nothing of it can move a figure of this owner's: names, bases, day rates, bills.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from forecaster.bench_shares import BenchShare
from forecaster.records import TABLES, FleetRecords

# All that histories, life models and the forecast of hours read of a row, and what says that a unit must not run.
EVIDENCE: Mapping[str, tuple[str, ...]] = {
    "craft": ("craft_id", "water", "tune", "in_service_on", "retired_on"),
    "fittings": ("unit_id", "craft_id", "fitted_on", "hours_at_fitting", "removed_on", "parts"),
    "hours": ("craft_id", "read_on", "meter", "new_meter"),
    "water": ("craft_id", "happened_on", "oil", "treated", "treated_within_h"),
    "rebuilds": ("unit_id", "opened_on", "reason", "bearing", "outcome", "parts", "hours"),
    "checks": ("unit_id", "checked_on", "spin", "oil", "oil_water_ppm"),
}
# What stands for a code that must be there and has no word for "unknown".
NEUTRAL = {("water", "kind"): "water"}
DAYS = {"rebuilds": "opened_on", "checks": "checked_on"}


@dataclass(frozen=True)
class OwnersPart:
    """One owner's part of a fleet: the own craft, and their part of the bench."""

    owner: str
    craft: frozenset[str]
    share: BenchShare


def owners_part(records: FleetRecords, owner: str) -> OwnersPart:
    """The part of an owner that craft.csv names."""
    craft = records.craft.sort_values("craft_id")  # so that the order of the file's rows changes nothing
    own = (craft["owner"] == owner).to_numpy()
    rows = BenchShare(tuple(int(row) for row in np.flatnonzero(own)), len(own))
    return OwnersPart(owner, frozenset(craft["craft_id"][own]), rows)


def own_records(records: FleetRecords, craft: frozenset[str]) -> FleetRecords:
    """The records with every row that is not of these `craft` blanked but for `EVIDENCE`; of none: every row.

    A row of rebuilds.csv or checks.csv is of the craft that the unit sat on, or sat on last, before that day.
    """
    blanked: dict[str, Any] = {
        name: _redacted(records.table(name), name, _is_own(records, name, craft)) for name in TABLES
    }
    return replace(records, **blanked)


def _is_own(records: FleetRecords, name: str, craft: frozenset[str]) -> np.ndarray:
    """Which rows of a table are of these craft, (n,)."""
    table = records.table(name)
    on = table["craft_id"] if name not in DAYS else _craft_before(table, DAYS[name], records.fittings)
    own: np.ndarray = on.isin(craft).to_numpy()
    return own


def _craft_before(table: pd.DataFrame, day: str, fittings: pd.DataFrame) -> pd.Series:
    """The craft that each row's unit sat on before its day, its first one where it had sat nowhere yet, (n,)."""
    fitted = fittings[["unit_id", "craft_id", "fitted_on"]].sort_values("fitted_on", kind="stable")
    rows = table[["unit_id", day]].assign(at=np.arange(len(table))).sort_values(day, kind="stable")
    sat = pd.merge_asof(rows, fitted, left_on=day, right_on="fitted_on", by="unit_id", allow_exact_matches=False)
    first = fitted.drop_duplicates("unit_id").set_index("unit_id")["craft_id"]
    found = sat["craft_id"].fillna(sat["unit_id"].map(first))
    return found.set_axis(sat["at"]).sort_index()


def _redacted(table: pd.DataFrame, name: str, own: np.ndarray) -> pd.DataFrame:
    """The table with all but the evidence blanked in rows that are not `own`."""
    columns = TABLES[name].columns.values()
    told = {
        column.name: _blanked(table[column.name], own, NEUTRAL.get((name, column.name), column.blank))
        for column in columns
        if column.name not in EVIDENCE[name]
    }
    return table.assign(**told)


def _blanked(cells: pd.Series, kept: np.ndarray, blank: object) -> pd.Series:
    """The cells, those that are not `kept` blank, of the same dtype."""
    if cells.dtype != object:
        return cells.where(kept)
    told = [cell if keep else blank for cell, keep in zip(cells, kept, strict=True)]
    return pd.Series(told, index=cells.index, dtype=object)

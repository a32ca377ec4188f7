"""Units whose answer may be wrong because of a row that was refused, or is used and asked about.

A refused row is not used, and for most rows that only makes the answer a little less sharp. Not so where the row
would have told where a unit was, that it was opened or looked at, that water got in, or how far it has run. A row that
is held back tells how far a unit has run, and that is hardly so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from forecaster.row_checks import CheckedTable

_WHAT = {"fittings": "a fitting", "rebuilds": "an opening", "checks": "a check"}
_MOST_REASONS = 3


def doubtful_units(tables: Mapping[str, CheckedTable]) -> dict[str, str]:
    """Each doubtful unit with the reason, in the order of their names. Rows that only repeat others cast no doubt.

    A refused fitting, opening or check makes its unit doubtful; a refused incident the unit that sat on the craft
    on that day (any that ever did where the day cannot be read); refused readings the units on the craft where no
    reading is left, where they come after the last one that is left, or where they would tell of a new meter. A row
    that is held back makes the unit doubtful of whose hours it tells.
    """
    reasons: dict[str, list[str]] = {}
    for name, what in _WHAT.items():
        for row, unit in _cells(_refused(tables[name]), "unit_id"):
            reasons.setdefault(unit, []).append(f"{what} of it was refused ({tables[name].file} row {row})")
    for unit, reason in (*_by_incidents(tables), *_by_readings(tables), *_by_held_back(tables)):
        reasons.setdefault(unit, []).append(reason)
    return {unit: _together(reasons[unit]) for unit in sorted(reasons)}


def _refused(table: CheckedTable) -> pd.DataFrame:
    rows = table.rows
    lost = set(table.reasons) - table.repeats
    return rows[rows.index.isin(list(lost))]


def _cells(rows: pd.DataFrame, *columns: str) -> Iterator[tuple[Any, ...]]:
    """Row number and cells of the rows whose first named cell can be read."""
    named = rows[rows[columns[0]].notna()]
    return zip(named.index.tolist(), *(named[column].tolist() for column in columns), strict=True)


def _together(reasons: list[str]) -> str:
    shown = list(dict.fromkeys(reasons))
    more = f"; and {len(shown) - _MOST_REASONS} more" if len(shown) > _MOST_REASONS else ""
    return "; ".join(shown[:_MOST_REASONS]) + more


def _by_incidents(tables: Mapping[str, CheckedTable]) -> Iterator[tuple[str, str]]:
    fittings, water = tables["fittings"].accepted, tables["water"]
    refused = _refused(water)
    fitted = refused[["craft_id", "happened_on"]].assign(row=refused.index).merge(fittings, on="craft_id")
    day = fitted["happened_on"]
    then = day.isna() | ((fitted["fitted_on"] < day) & ~(fitted["removed_on"] < day))
    for unit, craft, row in fitted.loc[then, ["unit_id", "craft_id", "row"]].itertuples(index=False, name=None):
        yield unit, f"a water incident of {craft} was refused ({water.file} row {row})"


def _by_readings(tables: Mapping[str, CheckedTable]) -> Iterator[tuple[str, str]]:
    fittings, hours = tables["fittings"].accepted, tables["hours"]
    refused = _refused(hours)
    refused = refused[refused["craft_id"].isin(set(fittings["craft_id"]))]
    if refused.empty:
        return
    accepted = hours.accepted
    last = accepted.assign(last_row=accepted.index).sort_values(["read_on", "last_row"]).groupby("craft_id").last()
    refused = refused.assign(
        last_on=refused["craft_id"].map(last["read_on"]), last_row=refused["craft_id"].map(last["last_row"])
    )
    later = (refused["read_on"] > refused["last_on"]) | (
        refused["read_on"].isna() & (refused.index.to_numpy() > refused["last_row"])
    )
    for mask, why, from_last in (
        (refused["last_on"].isna(), "every reading of {craft} was refused", False),
        (later, "the latest reading of {craft} was refused", True),
        (refused["new_meter"] == "yes", "the first reading of a new meter of {craft} was refused", False),
    ):
        first = refused[mask].assign(row=refused.index[mask]).drop_duplicates("craft_id")
        fitted = first[["craft_id", "row", "last_on"]].merge(fittings, on="craft_id")
        if from_last:
            fitted = fitted[~(fitted["removed_on"] <= fitted["last_on"])]
        for unit, craft, row in fitted[["unit_id", "craft_id", "row"]].itertuples(index=False, name=None):
            yield unit, f"{why.format(craft=craft)} ({hours.file} row {row})"


def _by_held_back(tables: Mapping[str, CheckedTable]) -> Iterator[tuple[str, str]]:
    """Units whose hours a row tells of that is asked about: its own, or those on its craft on that day and since."""
    for name in ("fittings", "rebuilds"):
        table = tables[name]
        for row, unit in _cells(_held_back(table), "unit_id"):
            yield unit, f"the hours stated of it are asked about ({table.file} row {row})"
    fittings = tables["fittings"].accepted
    for name, day, what in (
        ("hours", "read_on", "a reading of {craft} is asked about"),
        ("craft", "retired_on", "the day on which {craft} retired is asked about"),
    ):
        table = tables[name]
        asked = _held_back(table)
        asked = asked[["craft_id", day]].rename(columns={day: "asked_on"}).assign(row=asked.index)
        fitted = asked.merge(fittings, on="craft_id")
        fitted = fitted[~(fitted["removed_on"] < fitted["asked_on"])]
        if name == "hours":
            fitted = fitted[fitted["fitted_on"] < fitted["asked_on"]]
        for unit, craft, row in fitted[["unit_id", "craft_id", "row"]].itertuples(index=False, name=None):
            yield unit, f"{what.format(craft=craft)} ({table.file} row {row})"


def _held_back(table: CheckedTable) -> pd.DataFrame:
    return table.rows[table.rows.index.isin(list(table.held_back))]

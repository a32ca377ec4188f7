"""Units whose answer may be wrong because of a row that was refused, or is used and asked about.

A refused row is not used, and for most rows that only makes the answer a little less sharp. Not so where the row
would have told where a unit was, that it was opened or looked at, that water got in, or how far it has run. A row that
is held back tells how far a unit has run, and that is hardly so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
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
    doubts: dict[str, _Doubt] = {}
    for name, what in _WHAT.items():
        for row, unit in _cells(_refused(tables[name]), "unit_id"):
            doubts.setdefault(unit, _Doubt()).add(f"{what} of it was refused ({tables[name].file} row {row})")
    for unit, reason, times in _by_incidents(tables):
        doubts.setdefault(unit, _Doubt()).add(reason, times)
    for unit, reason in (*_by_readings(tables), *_by_held_back(tables)):
        doubts.setdefault(unit, _Doubt()).add(reason)
    return {unit: str(doubts[unit]) for unit in sorted(doubts)}


class _Doubt:
    """The reasons to doubt one unit: the first few in words, the others counted."""

    def __init__(self) -> None:
        self._shown: list[str] = []
        self._more = 0

    def add(self, reason: str, times: int = 1) -> None:
        """One more reason, or `times` of which this one is an example."""
        if reason in self._shown:
            return
        if len(self._shown) < _MOST_REASONS:
            self._shown.append(reason)
            times -= 1
        self._more += times

    def __str__(self) -> str:
        return "; ".join(self._shown) + (f"; and {self._more:,} more" if self._more else "")


def _refused(table: CheckedTable) -> pd.DataFrame:
    rows = table.rows
    lost = table.refused_rows[~np.isin(table.refused_rows, list(table.repeats))]
    return rows[rows.index.isin(lost)]


def _cells(rows: pd.DataFrame, *columns: str) -> Iterator[tuple[Any, ...]]:
    """Row number and cells of the rows whose first named cell can be read."""
    named = rows[rows[columns[0]].notna()]
    return zip(named.index.tolist(), *(named[column].tolist() for column in columns), strict=True)


def _by_incidents(tables: Mapping[str, CheckedTable]) -> Iterator[tuple[str, str, int]]:
    """Unit, reason, and how many such reasons there are: the unit that sat on the craft on the day of an incident.

    Of a day that cannot be read, every unit that ever sat on the craft.
    """
    fittings, water = tables["fittings"].accepted, tables["water"]
    refused = _refused(water)
    refused = refused[["craft_id", "happened_on"]].assign(row=refused.index).dropna(subset="craft_id")
    reason = "a water incident of {} was refused ({} row {})"
    dated = refused.dropna(subset="happened_on").sort_values("happened_on", kind="stable")
    periods = fittings[["craft_id", "unit_id", "fitted_on", "removed_on"]].sort_values("fitted_on", kind="stable")
    then = pd.merge_asof(
        dated, periods, left_on="happened_on", right_on="fitted_on", by="craft_id", allow_exact_matches=False
    )
    then = then[then["unit_id"].notna() & ~(then["removed_on"] < then["happened_on"])].sort_values("row")
    for unit, craft, row in then[["unit_id", "craft_id", "row"]].itertuples(index=False, name=None):
        yield unit, reason.format(craft, water.file, row), 1
    units = fittings[["craft_id", "unit_id"]].drop_duplicates().groupby("craft_id")["unit_id"].agg(list)
    for craft, rows in refused[refused["happened_on"].isna()].groupby("craft_id")["row"]:
        for unit in units.get(craft, []):
            for row in rows.iloc[: _MOST_REASONS - 1]:
                yield unit, reason.format(craft, water.file, row), 1
            if len(rows) >= _MOST_REASONS:
                row = rows.iloc[_MOST_REASONS - 1]
                yield unit, reason.format(craft, water.file, row), len(rows) - _MOST_REASONS + 1


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
